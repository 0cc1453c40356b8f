"""Recipes: zones of stated length and radius, blended, with end sweeps, turned into a blade curve."""

import math
from dataclasses import dataclass
from itertools import accumulate, pairwise

import numpy as np
import scipy

from sim.blade.curve import BladeCurve
from sim.errors import BladeError
from sim.quantities import MM_PER_M

STEEPEST_PITCH_RAD = math.radians(10.0)  # of the steel against a boot (common practice, no published source)
FAMILIES = ("single_radius", "rear_flat", "rear_flat_eased", "mid_flat", "graded", "spline", "zoned")


@dataclass(frozen=True)
class Zone:
    """A stretch of steel ground to one radius. length_m: arc length; radius_m: may be inf for a flat."""

    length_m: float
    radius_m: float


@dataclass(frozen=True)
class Sweep:
    """The turned-up end of a runner: the last length_m at radius_m (assumption of ours: 20 mm at R 120 mm)."""

    length_m: float = 0.020
    radius_m: float = 0.120


@dataclass(frozen=True)
class Recipe:
    """What a grinder is asked for. Radii run heel to toe; their meaning depends on the family.

    family: single_radius (one radius), rear_flat (radius grows from toe to heel), rear_flat_eased (grows, then
    eases near the heel), mid_flat (longest under mid-foot), graded (curvature linear in arc length from the heel
    radius to the toe radius), spline (curvature through evenly spaced knots, monotone cubic; Fritsch & Carlson 1980),
    zoned (zones in any order).
    shares: relative zone lengths, heel to toe (equal when empty); unused by graded and spline.
    length_m: whole runner, sweeps included. blend_m: arc over which curvature ramps linearly across each boundary.
    """

    name: str
    family: str
    radii_m: tuple[float, ...]
    shares: tuple[float, ...] = ()
    length_m: float = 0.280
    blend_m: float = 0.020
    level_m: float = 0.0
    pitch_offset_rad: float = 0.0
    heel_sweep: Sweep = Sweep()
    toe_sweep: Sweep = Sweep()

    def __post_init__(self) -> None:
        _check_family(self)
        _check_lengths(self)
        _check_pitch(self)

    @property
    def working_m(self) -> float:
        """Arc length between the sweeps."""
        return self.length_m - self.heel_sweep.length_m - self.toe_sweep.length_m

    @property
    def zones(self) -> tuple[Zone, ...]:
        """The zones between the sweeps, heel to toe (for graded and spline: none)."""
        if self.family in ("graded", "spline"):
            return ()
        shares = self.shares or (1.0,) * len(self.radii_m)
        return tuple(Zone(self.working_m * c / sum(shares), r) for c, r in zip(shares, self.radii_m))

    def turned_up(self, line_m: float) -> str:
        """Why nobody stands at a load line (m from mid-runner, toe positive): it lies on a turned-up end; else "".

        A sweep is there to run over ruts. It carries a load, but as a rocker so short that balance means nothing.
        """
        toe = line_m > 0
        begins = self.length_m / 2 - (self.toe_sweep if toe else self.heel_sweep).length_m
        if not begins + 1e-9 < abs(line_m) < self.length_m / 2:
            return ""
        return (
            f"{line_m * MM_PER_M:.4g} mm stands on the turned-up {'toe' if toe else 'heel'} end, which begins at "
            f"{math.copysign(begins, line_m) * MM_PER_M:.4g} mm; move it toward mid-runner."
        )

    def curve(self) -> BladeCurve:
        """The blade curve. Raises BladeError when blends overlap or a zone vanishes."""
        if self.zones:
            arc, kappa = self._zoned()
        else:
            arc, kappa = self._continuous()
        return BladeCurve(np.array(arc), np.array(kappa), self.level_m, self.pitch_offset_rad)

    def _zoned(self) -> tuple[list[float], list[float]]:
        pieces = [self.heel_sweep, *self.zones, self.toe_sweep]
        pieces = [p for p in pieces if p.length_m > 0]
        return _ramped([p.length_m for p in pieces], [1.0 / p.radius_m for p in pieces], self.blend_m, self.name)

    def _continuous(self) -> tuple[list[float], list[float]]:
        """Curvature knots along the working arc; the sweeps are ramped on at its ends, as between zones."""
        lengths = self.heel_sweep.length_m, self.working_m, self.toe_sweep.length_m
        _check_room([length for length in lengths if length > 0], self.blend_m, self.name)
        half, start = self.blend_m / 2, self.heel_sweep.length_m
        stop = self.length_m - self.toe_sweep.length_m
        knots = np.linspace(start, stop, len(self.radii_m))
        kappa = 1.0 / np.array(self.radii_m)
        if self.family == "graded" or len(knots) == 2:
            inner, inner_k = np.array([start, stop]), kappa[[0, -1]]
        else:
            inner = np.linspace(start, stop, round((stop - start) * 1e3) + 1)
            inner_k = np.maximum(
                scipy.interpolate.PchipInterpolator(knots, kappa)(inner), 0.0
            )  # a flat knot may round to below 0
        arc, values = [], []
        if self.heel_sweep.length_m > 0:
            arc, values = [0.0, start - half], [1 / self.heel_sweep.radius_m] * 2
        keep = (inner > start + half) & (inner < stop - half)
        ends = np.array([start + half, stop - half])
        end_k = np.interp(ends, inner, inner_k)
        if self.heel_sweep.length_m == 0:
            ends[0], end_k[0] = 0.0, inner_k[0]
        if self.toe_sweep.length_m == 0:
            ends[1], end_k[1] = self.length_m, inner_k[-1]
        arc += [ends[0], *inner[keep], ends[1]]
        values += [end_k[0], *inner_k[keep], end_k[1]]
        if self.toe_sweep.length_m > 0:
            arc += [stop + half, self.length_m]
            values += [1 / self.toe_sweep.radius_m] * 2
        return list(accumulate(arc, max)), values  # a sweep that is all half a blend: see `_ramped`


def _ramped(lengths: list[float], kappa: list[float], blend: float, name: str) -> tuple[list[float], list[float]]:
    """Breakpoints of curvature: constant in each piece, linear over `blend` centred on each boundary."""
    _check_room(lengths, blend, name)
    bounds = list(accumulate(lengths, initial=0.0))
    arc, values = [0.0], [kappa[0]]
    for i in range(1, len(lengths)):
        arc += [bounds[i] - blend / 2, bounds[i] + blend / 2]
        values += [kappa[i - 1], kappa[i]]
    # where a stretch is all blend, the end of one and the start of the next are one place, which rounding may cross
    return list(accumulate([*arc, bounds[-1]], max)), [*values, kappa[-1]]


def _check_room(lengths: list[float], blend: float, name: str) -> None:
    """Refuse stretches, heel to toe, that are shorter than the halves of the blends that lie on them."""
    for i, length in enumerate(lengths):
        needed = blend / 2 * ((i > 0) + (i < len(lengths) - 1))
        if length < needed - 1e-12:
            raise BladeError(
                f"recipe {name!r}: stretch {i + 1} from the heel is {length * MM_PER_M:.1f} mm long, but its "
                f"blends need {needed * MM_PER_M:.1f} mm; shorten the blend or lengthen the zone."
            )


def _check_family(recipe: Recipe) -> None:
    name, family, radii = recipe.name, recipe.family, recipe.radii_m
    where = f"recipe {name!r}"
    if family not in FAMILIES:
        raise BladeError(f"{where}: family {family!r} is unknown; choose one of {', '.join(FAMILIES)}.")
    for i, r in enumerate(radii):
        if math.isnan(r) or r <= 0:
            raise BladeError(
                f"{where}: radius {i + 1} from the heel is {r:g} m, a concave or impossible zone; use a radius above 0."
            )
    least = {"single_radius": 1, "zoned": 1, "rear_flat": 2, "graded": 2}.get(family, 3)
    most = {"single_radius": 1, "graded": 2}.get(family, 12)
    if not least <= len(radii) <= most:
        wanted = f"{least}" if least == most else f"{least} to {most}"
        raise BladeError(f"{where}: {family} takes {wanted} radii, heel to toe, and got {len(radii)}.")
    grows = [a > b for a, b in pairwise(radii)]  # True: radius grows toward the heel across this boundary
    if family == "rear_flat" and not all(grows):
        raise BladeError(f"{where}: in rear_flat the radius must grow from toe to heel; list falling radii.")
    if family == "rear_flat_eased" and not (not grows[0] and all(grows[1:])):
        raise BladeError(
            f"{where}: in rear_flat_eased the radius grows from toe toward the heel and only the heel zone is shorter; "
            "list radii heel to toe, for example 10, 13, 9, 7 ft."
        )
    if family == "mid_flat" and not (radii.index(max(radii)) not in (0, len(radii) - 1)):
        raise BladeError(f"{where}: in mid_flat the longest radius must lie between shorter ones.")


def _check_pitch(recipe: "Recipe") -> None:
    if not abs(recipe.pitch_offset_rad) <= STEEPEST_PITCH_RAD:
        pitch, most = (math.degrees(x) for x in (recipe.pitch_offset_rad, STEEPEST_PITCH_RAD))
        raise BladeError(
            f"recipe {recipe.name!r}: a pitch of {pitch:.3g} deg is no skate's; use {-most:g} to {most:g} deg."
        )


def _check_lengths(recipe: Recipe) -> None:
    where = f"recipe {recipe.name!r}"
    if not (0.1 <= recipe.length_m <= 0.6):
        raise BladeError(f"{where}: length {recipe.length_m * MM_PER_M:.0f} mm is no blade; use 100 mm to 600 mm.")
    if not (0.0 <= recipe.blend_m <= 0.2):
        raise BladeError(f"{where}: blend {recipe.blend_m * MM_PER_M:.1f} mm; use 0 mm to 200 mm.")
    for end in (recipe.heel_sweep, recipe.toe_sweep):
        if not (0.0 <= end.length_m <= recipe.length_m / 4 and end.radius_m > 0):
            raise BladeError(f"{where}: an end sweep needs a radius above 0 and at most a quarter of the length.")
    if recipe.shares and len(recipe.shares) != len(recipe.radii_m):
        raise BladeError(f"{where}: {len(recipe.shares)} zone shares for {len(recipe.radii_m)} radii; give one each.")
    if any(not c > 0 or not math.isfinite(c) for c in recipe.shares):
        raise BladeError(f"{where}: a zone of zero or negative length; every zone share must be above 0.")
