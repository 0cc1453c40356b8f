"""The cross-section of a blade: hollow, loaded width and rise, in closed form."""

import math
from collections import namedtuple
from dataclasses import dataclass

from sim.compiled import kernel
from sim.errors import BladeError

STEEL_MODULUS_PA = 200e9  # Young's modulus of steel, handbook

Leaned = namedtuple("Leaned", "t w hollow drop reach2 share")
Leaned.__doc__ = """A leaned section. t: slope of its edge line; w, hollow: m. For the circle's equation in `cut`:
drop, m, so that c = n + drop; reach2 = R^2 (1 + t^2), m^2; share = 1/(1 + t^2)."""


@dataclass(frozen=True)
class Section:
    """A runner `thickness_m` thick with a hollow of radius `hollow_m` centred on it (inf: flat bottom).

    With u from the inside edge and s = u - w/2 the bottom stands v(u) = sqrt(R^2 - s^2) - sqrt(R^2 - w^2/4) above
    the line through both edges (circle geometry). proud_m: how far the inside edge stands out beyond the outside one;
    the line through the edges is then tilted by proud/w against the blade. `inside` is the side the blade leans to.
    height_m: of the runner, from the edges to where the holder takes it; span_m: effective distance between the
    supports in the holder, over which it bends as a beam; 0: rigid, as a runner in a tube.
    Raises BladeError when the hollow is not wider than the blade, the edges differ by more than 0.3 mm, or no runner
    has that height or span.
    """

    thickness_m: float
    hollow_m: float
    proud_m: float = 0.0
    height_m: float = 0.025
    span_m: float = 0.0

    def __post_init__(self) -> None:
        if not 0.5e-3 <= self.thickness_m <= 10e-3:
            raise BladeError(f"thickness: {self.thickness_m * 1e3:g} mm is no runner; use 0.5 mm to 10 mm.")
        if not self.hollow_m > self.thickness_m / 2:
            raise BladeError(
                f"hollow: a radius of {self.hollow_m * 1e3:g} mm is not larger than half the thickness "
                f"({self.thickness_m * 500:g} mm); use a larger hollow, or 'flat'."
            )
        if not abs(self.proud_m) <= 0.3e-3:
            raise BladeError(
                f"inside_edge_proud: {self.proud_m * 1e6:.0f} um is more than the edges of a runner differ by; use "
                "-300 um to 300 um."
            )
        if not 5e-3 <= self.height_m <= 60e-3:
            raise BladeError(f"runner height: {self.height_m * 1e3:g} mm is no runner; use 5 mm to 60 mm.")
        if not 0 <= self.span_m <= 0.3:
            raise BladeError(
                f"span: {self.span_m * 1e3:g} mm between the supports of a runner; use 0 mm (rigid) to 300 mm."
            )

    @property
    def rigidity(self) -> float:
        """E I = E w h^3/12 of the runner as a beam, N m^2. w 2.9 mm, h 25 mm: 755."""
        return STEEL_MODULUS_PA * self.thickness_m * self.height_m**3 / 12

    @property
    def tilt(self) -> float:
        """Slope of the line through the edges against the blade, proud/w. 25 um on 2.9 mm: 0.0086, about 0.5 deg."""
        return self.proud_m / self.thickness_m

    @property
    def depth_m(self) -> float:
        """Depth of hollow v(w/2), m. w 3.0 mm, R 12.7 mm: 88.9 um."""
        return rise(self.thickness_m / 2, self.thickness_m, self.hollow_m)

    @property
    def bite_rad(self) -> float:
        """Bite angle asin(w / 2R) between the edge's bottom and the flat, rad. w 3.0 mm, R 12.7 mm: 6.78 deg."""
        return math.asin(self.thickness_m / (2 * self.hollow_m))


@kernel
def rise(u: float, w: float, hollow: float) -> float:
    """Height v(u) of the bottom above the edges, m; u from the inside edge."""
    if math.isinf(hollow):
        return 0.0
    s = u - 0.5 * w
    # (a - b) as (a^2 - b^2)/(a + b): the two roots differ by micrometres in millimetres
    return (0.25 * w * w - s * s) / (math.sqrt(hollow * hollow - s * s) + math.sqrt(hollow * hollow - 0.25 * w * w))


@kernel
def leaned(t: float, w: float, hollow: float) -> Leaned:
    """A section at slope t of its edge line: what many cuts at different penetrations share."""
    flat = math.isinf(hollow)
    drop = 0.0 if flat else math.sqrt(hollow * hollow - 0.25 * w * w) - 0.5 * t * w
    return Leaned(t, w, hollow, drop, 0.0 if flat else hollow * hollow * (1.0 + t * t), 1.0 / (1.0 + t * t))


@kernel
def cut(n: float, s: Leaned) -> tuple[float, float]:
    """Where a leaned section is immersed at penetration n along the leg axis.

    Returns (b, c): the strip [0, b] at the inside edge and the strip [c, w] at the outside edge (c = w: none);
    (w, w) once the crown of the hollow is covered. The edge of a strip solves
    (1 + t^2) s^2 - 2 c t s + c^2 - R^2 = 0, c = n + sqrt(R^2 - w^2/4) - t w/2 (circle cut by the ice line).
    """
    if n <= 0.0:
        return 0.0, s.w
    if math.isinf(s.hollow):
        return (s.w, s.w) if n >= s.w * s.t else (n / s.t, s.w)
    c = n + s.drop
    under = s.reach2 - c * c
    if under <= 0.0:
        return s.w, s.w
    root, middle = math.sqrt(under), 0.5 * s.w
    left = middle + (c * s.t - root) * s.share
    right = middle + (c * s.t + root) * s.share
    if left >= s.w:
        return s.w, s.w
    return max(left, 0.0), min(right, s.w)


@kernel
def strips(n: float, t: float, w: float, hollow: float) -> tuple[float, float]:
    """As `cut`, of a section given by its numbers; t >= 0: slope of the edge line.

    t is tan(lean) for level edges; with one edge proud see contact.slant.
    """
    return cut(n, leaned(t, w, hollow))


@kernel
def loaded_width(n: float, t: float, w: float, hollow: float) -> float:
    """Width a(n, lean) of ice under the blade, m."""
    left, right = strips(n, t, w, hollow)
    return left + (w - right)


@kernel
def rises(n: float, t: float, w: float, hollow: float, tilt: float) -> tuple[float, float]:
    """(r_L, r_R), m: total rise of the immersed bottom that faces outward, and inward, sideways motion.

    The bottom stands v(u) + tilt u above the inside edge, measured along the blade; it is highest at u_c, where
    v' = -tilt: s = R tilt/sqrt(1 + tilt^2).
    """
    return climbs(*strips(n, t, w, hollow), w, hollow, tilt)


@kernel
def climbs(left: float, right: float, w: float, hollow: float, tilt: float) -> tuple[float, float]:
    """As `rises`, of a bottom immersed over [0, left] and [right, w]."""
    crown = 0.5 * w
    if math.isinf(hollow):
        crown = w if tilt > 0.0 else 0.0
    elif tilt != 0.0:
        crown = min(max(0.5 * w + hollow * tilt / math.sqrt(1.0 + tilt * tilt), 0.0), w)
    top = rise(crown, w, hollow) + tilt * crown
    if left >= w:
        return top, top - tilt * w
    r_out = rise(min(left, crown), w, hollow) + tilt * min(left, crown)
    r_in = 0.0
    if left > crown:
        r_in += top - rise(left, w, hollow) - tilt * left
    if right < w:
        r_in += rise(max(right, crown), w, hollow) + tilt * (max(right, crown) - w)
        if right < crown:
            r_out += top - rise(right, w, hollow) - tilt * right
    return r_out, r_in


@kernel
def breaks(t: float, w: float, hollow: float) -> tuple[float, float]:
    """(n_w, n_c): penetrations where a(n) has a kink: the outside edge enters; the crown of the hollow is covered."""
    n_c = 0.0
    if not math.isinf(hollow) and t * hollow / math.sqrt(1.0 + t * t) < 0.5 * w:
        n_c = hollow * math.sqrt(1.0 + t * t) - math.sqrt(hollow * hollow - 0.25 * w * w) + 0.5 * t * w
    return w * t, n_c
