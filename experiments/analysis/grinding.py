"""What can be ground: the limits of a shop, and where and by how much a recipe goes beyond them."""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from experiments.analysis.grinding_depth import depth_to_grind
from experiments.request.fields import Fields
from sim.blade.curve import STEEPEST_RAD, BladeCurve
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import FOOT_M

LIMITS = (
    "least radius", "greatest radius", "zone length", "blend length", "room for blends", "curvature change",
    "template resolution", "wheel radius", "steel available", "level point", "turning",
)  # fmt: skip
ROUNDING = 1e-9  # an excess up to this is rounding
MOST_EXCESS = 1e3  # excesses are cut off here, so that a jump of curvature stays a number
_NONE = ((-1.0, None),)  # a limit that has nothing to say


@dataclass(frozen=True)
class Grinding:
    """Limits and tolerances of a shop, SI; where each number comes from stands in configs/grinding.

    least_radius_m, greatest_radius_m (may be inf), steepest_per_m2 (curvature per arc) hold between the sweeps: sweeps
    stay as the runner came. least_blend_m holds at every boundary. wheel_radius_m: the wheel runs along the blade.
    A wheel outside a convex curve touches it in one place, whatever the radii; its centre then runs on the parallel
    curve, of radius R + wheel, which never folds. Only a hollow tighter than the wheel cannot be ground, and no
    recipe has a hollow. negative_template: the template is the negative of the blade, a hollow of the blade's radii,
    and the follower has the wheel's size (so that it copies truly); no radius may then be tighter, sweeps included.
    template_resolution_m: least height a template shows; radius_tolerance: relative. cleaning_cut_m: what any visit
    takes off all along, whatever the curve.
    """

    name: str
    least_radius_m: float
    greatest_radius_m: float
    least_zone_m: float
    least_blend_m: float
    steepest_per_m2: float
    wheel_radius_m: float
    negative_template: bool
    template_resolution_m: float
    radius_tolerance: float
    boundary_tolerance_m: float
    steel_available_m: float = math.inf
    cleaning_cut_m: float = 0.0


def read_grinding(f: Fields) -> Grinding:
    """Limits from a config, checked. Raises BladeError with the place and what would be right."""
    limits = Grinding(
        f.text("name", 40), f.radius("least_radius"), f.radius("greatest_radius"), f.quantity("least_zone", "m"),
        f.quantity("least_blend", "m"), 1e3 * f.number("curvature_change", 1e-6, 1e3), f.quantity("wheel_radius", "m"),
        f.flag("negative_template"), f.quantity("template_resolution", "m"), f.number("radius_tolerance", 0, 0.2),
        f.quantity("boundary_tolerance", "m"),
        f.quantity("steel_available", "m") if f.has("steel_available") else math.inf,
        f.quantity("cleaning_cut", "m") if f.has("cleaning_cut") else 0.0,
    )  # fmt: skip
    f.done()
    if not limits.least_radius_m < limits.greatest_radius_m:
        raise BladeError(f"{f.path('least_radius')}: must be a shorter radius than greatest_radius.")
    for key, value, most in (
        ("least_zone", limits.least_zone_m, 0.6), ("least_blend", limits.least_blend_m, 0.2),
        ("template_resolution", limits.template_resolution_m, 1e-3),
        ("boundary_tolerance", limits.boundary_tolerance_m, 0.02), ("cleaning_cut", limits.cleaning_cut_m, 2e-3),
    ):  # fmt: skip
        if not 0 <= value <= most:
            raise BladeError(f"{f.path(key)}: {value * 1e3:g} mm; use 0 mm to {most * 1e3:g} mm.")
    for key, value in (("wheel_radius", limits.wheel_radius_m), ("steel_available", limits.steel_available_m)):
        if not value > 0:
            raise BladeError(f"{f.path(key)}: {value * 1e3:g} mm; use a length above 0 mm.")
    return limits


def check(recipe: Recipe, limits: Grinding, stock: BladeCurve | None = None) -> list[str]:
    """Every violated limit as a sentence: which, where, by how much; empty when the recipe can be ground.

    stock: the curve that it is ground out of; without one the steel available is not looked at.
    Raises BladeError when the stock's runner is not the recipe's length (2 mm).
    """
    found = _excesses(recipe, limits, stock)
    return [f"{limit}: {say()}" for limit, items in zip(LIMITS, found) for excess, say in items if excess > ROUNDING]


def violations(recipe: Recipe, limits: Grinding, stock: BladeCurve | None = None) -> np.ndarray:
    """Greatest excess over each of LIMITS, (11,), as a share of the limit; above 0 (ROUNDING) is a violation.

    -1 to 1000; 0.1 is a tenth beyond; -1 where a limit has nothing to say. Continuous in the recipe's numbers, for a
    search, and says the same as `check`. Two zones of one radius are one zone; of nearly one radius, too little for the
    template: that excess falls to 0 on both sides. Takes about 50 us for zones, 0.2 ms for graded, 0.5 ms for a spline
    (most of it the recipe's own interpolation), and 0.2 ms more with a stock.
    """
    found = _excesses(recipe, limits, stock)
    return np.array([min(max(max(excess for excess, _ in items), -1.0), MOST_EXCESS) for items in found])


def _excesses(recipe, limits, stock):
    """For each of LIMITS its (excess, sentence when asked) items: one source for `check` and `violations`."""
    zones = recipe.zones
    stretches, curve = _stretches(recipe, zones), None
    if not zones or (stock is not None and math.isfinite(limits.steel_available_m)):
        try:
            curve = recipe.curve()
        except BladeError:  # room, level point or turning say why
            curve = None
    if zones:
        radius, change = _zone_radii(recipe, limits), _zone_changes(recipe, limits)
    else:
        radius, change = _continuous(recipe, limits, curve)
    return (
        *radius, _zone_lengths(recipe, zones, limits), _blend(recipe, stretches, limits),
        _room(recipe, stretches, limits), change, _told_apart(zones, limits), _wheel(recipe, limits),
        _steel(limits, curve, stock), _level(recipe), _turning(recipe, zones),
    )  # fmt: skip


# --- zones


def _zone_radii(recipe, limits):
    least, greatest = [], []
    for i, k in enumerate(1.0 / r for r in recipe.radii_m):
        least.append(_tight(limits, k, lambda i=i: _zone(recipe, i)))
        greatest.append(_long(limits, k, lambda i=i: _zone(recipe, i)))
    return least, greatest


def _tight(limits, k, where):
    def say():
        return (
            f"{where()} has {feet(1 / k)}, {feet(limits.least_radius_m - 1 / k)} tighter than the "
            f"{feet(limits.least_radius_m)} that can be ground."
        )

    return limits.least_radius_m * k - 1.0, say


def _long(limits, k, where):
    if math.isinf(limits.greatest_radius_m):
        return -1.0, None

    def say():
        over = f", {feet(1 / k - limits.greatest_radius_m)}" if k > 0 else ","
        has = feet(1 / k) if k > 0 else "no curvature"
        return f"{where()} has {has}{over} longer than the {feet(limits.greatest_radius_m)} that can be ground."

    return 1.0 - limits.greatest_radius_m * k, say


def _zone_lengths(recipe, zones, limits):
    if not zones or limits.least_zone_m == 0:
        return _NONE

    def say(i, length):
        return (
            f"{_zone(recipe, i)} is {length * 1e3:.1f} mm long, {(limits.least_zone_m - length) * 1e3:.1f} mm short of "
            f"the {limits.least_zone_m * 1e3:g} mm that can be ground."
        )

    return [
        (1.0 - zone.length_m / limits.least_zone_m, lambda i=i, zone=zone: say(i, zone.length_m))
        for i, zone in enumerate(zones)
    ]


def _zone_changes(recipe, limits):
    """Ramps between zones; those to the sweeps are left out, for the sweeps stay as the runner came."""
    out = []
    for i, (a, b) in enumerate(pairwise(recipe.radii_m)):
        jump = abs(1.0 / a - 1.0 / b)
        change = jump / max(recipe.blend_m, 1e-9)
        out.append(_steep(limits, change, lambda i=i: f"between zones {i + 1} and {i + 2} from the heel"))
    return out or _NONE


def _steep(limits, change, where):
    def say():
        most = limits.steepest_per_m2
        return (
            f"{where()} curvature changes by {_number(change / 1e3)} 1/m per mm, {_number(change / most)} times the "
            f"{most / 1e3:g} 1/m per mm that can be ground."
        )

    return change / limits.steepest_per_m2 - 1.0, say


def _told_apart(zones, limits):
    """Sagitta by which two neighbours differ over the shorter one, L^2 (k1 - k2)/8, against what a template shows."""
    out, resolution = [], limits.template_resolution_m
    if resolution == 0:
        return _NONE

    def say(i, height):
        return (
            f"zones {i + 1} and {i + 2} from the heel differ by {height * 1e6:.2g} um over the shorter one, "
            f"{(resolution - height) * 1e6:.2g} um less than the {resolution * 1e6:g} um that a template shows."
        )

    for i, (a, b) in enumerate(pairwise(zones)):
        height = min(a.length_m, b.length_m) ** 2 * abs(1.0 / a.radius_m - 1.0 / b.radius_m) / 8.0
        q = height / resolution
        out.append((4.0 * q * (1.0 - q), lambda i=i, height=height: say(i, height)))
    return out or _NONE


# --- continuous curvature


def _continuous(recipe, limits, curve):
    """((least, greatest), change) of graded and spline, from the curve's own curvature between the sweeps' blends."""
    if curve is None:  # no curve can be made: the knots still lead a search
        s = np.linspace(recipe.heel_sweep.length_m, recipe.length_m - recipe.toe_sweep.length_m, len(recipe.radii_m))
        k = 1.0 / np.array(recipe.radii_m)
    else:
        start, stop = _between_sweeps(recipe)
        inside = (curve.arc_m >= start - 1e-12) & (curve.arc_m <= stop + 1e-12)
        s, k = curve.arc_m[inside], curve.curvature_per_m[inside]
    change = np.abs(np.diff(k) / np.maximum(np.diff(s), 1e-9))
    high, low, steep = int(np.argmax(k)), int(np.argmin(k)), int(np.argmax(change))

    def at(arc):
        return lambda: f"the curve at x = {_x(recipe, arc):.1f} mm"

    least = [_tight(limits, float(k[high]), at(s[high]))]
    greatest = [_long(limits, float(k[low]), at(s[low]))]
    return (least, greatest), [_steep(limits, float(change[steep]), at(0.5 * (s[steep] + s[steep + 1])))]


def _between_sweeps(recipe):
    """Ends of the arc that neither a sweep nor its blend touches."""
    half = recipe.blend_m / 2
    start, stop = recipe.heel_sweep.length_m, recipe.length_m - recipe.toe_sweep.length_m
    return start + half * (recipe.heel_sweep.length_m > 0), stop - half * (recipe.toe_sweep.length_m > 0)


# --- every family


def _stretches(recipe, zones):
    """(name, length) heel to toe of what a boundary can lie between."""
    named = [(f"zone {i + 1} from the heel", z.length_m) for i, z in enumerate(zones)]
    named = named or [("the curve", recipe.working_m)]
    sweeps = ("the heel sweep", recipe.heel_sweep.length_m), ("the toe sweep", recipe.toe_sweep.length_m)
    return [stretch for stretch in (sweeps[0], *named, sweeps[1]) if stretch[1] > 0]


def _blend(recipe, stretches, limits):
    if limits.least_blend_m == 0 or len(stretches) < 2:
        return _NONE

    def say():
        has, least = recipe.blend_m * 1e3, limits.least_blend_m * 1e3
        return (
            f"at every boundary it is {has:.2f} mm, {least - has:.2f} mm short of the {least:g} mm that can be ground."
        )

    return ((1.0 - recipe.blend_m / limits.least_blend_m, say),)


def _room(recipe, stretches, limits):
    """Whether the blends of a stretch fit into it: without this there is no curve."""
    scale, last = max(limits.least_zone_m, 1e-3), len(stretches) - 1

    def say(name, length, needed):
        return f"{name} is {length * 1e3:.1f} mm long, {(needed - length) * 1e3:.1f} mm short of what its blends take."

    out = []
    for i, (name, length) in enumerate(stretches):
        needed = recipe.blend_m / 2 * ((i > 0) + (i < last))
        args = (name, length, needed)
        out.append(((needed - length) / scale, lambda args=args: say(*args)))
    return out


def _wheel(recipe, limits):
    if not limits.negative_template:
        return _NONE

    def say(name, r):
        return (
            f"{name} has {r * 1e3:.1f} mm, {(limits.wheel_radius_m - r) * 1e3:.1f} mm tighter than the wheel and its "
            f"follower of {limits.wheel_radius_m * 1e3:g} mm, which cannot enter the template there."
        )

    named = [(f"radius {i + 1} from the heel", r) for i, r in enumerate(recipe.radii_m)]
    for name, sweep in (("the heel sweep", recipe.heel_sweep), ("the toe sweep", recipe.toe_sweep)):
        if sweep.length_m > 0:
            named.append((name, sweep.radius_m))
    return [(limits.wheel_radius_m / r - 1.0, lambda name=name, r=r: say(name, r)) for name, r in named]


def _steel(limits, curve, stock):
    if stock is None or curve is None or math.isinf(limits.steel_available_m):
        return _NONE
    depth, where = depth_to_grind(curve, stock)
    depth += limits.cleaning_cut_m

    def say():
        goes, there = depth * 1e3, limits.steel_available_m * 1e3
        over = f"{goes - there:.2f} mm more than the {there:g} mm available."
        return f"at x = {where * 1e3:.0f} mm {goes:.2f} mm of steel would have to be removed, {over}"

    return ((depth / limits.steel_available_m - 1.0, say),)


def _level(recipe):
    half = recipe.length_m / 2 * (1 - 1e-6)  # the very end is refused too

    def say():
        over = (abs(recipe.level_m) - half) * 1e3
        return f"at x = {recipe.level_m * 1e3:.1f} mm it is {over:.1f} mm off the steel."

    return ((abs(recipe.level_m) / half - 1.0, say),)


def _turning(recipe, zones):
    """Heel against toe; a curve of more than STEEPEST_RAD is refused by BladeCurve."""
    turned = sum(s.length_m / s.radius_m for s in (recipe.heel_sweep, recipe.toe_sweep))
    if zones:
        turned += sum(z.length_m / z.radius_m for z in zones)
    else:
        k = [1.0 / r for r in recipe.radii_m]
        turned += recipe.working_m * sum(0.5 * (a + b) for a, b in pairwise(k)) / (len(k) - 1)

    def say():
        has, over = math.degrees(turned), math.degrees(turned - STEEPEST_RAD)
        return f"from heel to toe the runner turns by {has:.0f} deg, {over:.1f} deg too much for a blade."

    return ((turned / STEEPEST_RAD - 1.0, say),)


# --- words


def feet(length_m: float) -> str:
    """A radius in both units of the trade: "9.5 ft (2896 mm)"."""
    return f"{length_m / FOOT_M:.4g} ft ({length_m * 1e3:.0f} mm)"


def _number(value):
    return f"{value:.3g}" if value < MOST_EXCESS else f"over {MOST_EXCESS:.0f}"


def _x(recipe, arc):
    """mm from mid-runner, along the arc (within 0.2 mm of x on a skate)."""
    return round((arc - recipe.length_m / 2) * 1e3, 3) + 0.0  # no "-0"


def _zone(recipe, i):
    """A zone by its number from the heel and its ends."""
    lengths = [zone.length_m for zone in recipe.zones]
    start = recipe.heel_sweep.length_m + sum(lengths[:i])
    return f"zone {i + 1} from the heel (x {_x(recipe, start):.0f} to {_x(recipe, start + lengths[i]):.0f} mm)"
