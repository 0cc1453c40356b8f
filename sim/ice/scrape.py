"""Turn scrape, compiled: the extra groove a blade must cut to follow a path tighter than its own track."""

import math

import numpy as np

from sim.blade.section import cut, leaned, rise
from sim.blade.steel import Steel, slant
from sim.compiled import kernel
from sim.ice.contact import Patch, gap
from sim.ice.drag import groove_area
from sim.ice.ice import IceNumbers

FIRST_YAW = 0.05  # half-width of the first bracket of yaw, as a share of half the arc over the path radius
YAW_STEPS = 11  # of golden section, once the bracket holds the minimum
SHORT = 0.5 * (3.0 - math.sqrt(5.0))  # golden section: the shorter part of 1


@kernel
def swept_area(steel: Steel, patch: Patch, path_radius: float, yaw: float, arc_points: int, columns: int) -> float:
    """Area of the union of the immersed sections seen along a circular track, m^2.

    The section at x (from the deepest point) sits at delta = yaw x - x^2/(2 rho) inward of the track. In columns U
    along the leg axis it is the section shifted by -delta cos(lean), and the ice over it stays n(x) deep at its own
    lowest edge: P(U) = max over x of n(x) - h(U + delta cos(lean)), h(u) = v(u) + u (tan(lean) + tilt) less its least
    value, 0 <= u <= w.
    The area is the integral of P. Between neighbouring x the walls are followed by linear interpolation.
    """
    return _swept(steel, patch, _sections(steel, patch, arc_points), path_radius, yaw, columns)


@kernel
def _sections(steel: Steel, patch: Patch, arc_points: int) -> np.ndarray:
    """Stations from the rear to the front of the immersed arc: x from the deepest point, penetration, and where the
    strip at the inside edge ends and the one at the outside edge begins; (4, arc_points)."""
    t, w = patch.t + steel.tilt, steel.thickness
    section, out = leaned(abs(t), w, steel.hollow), np.empty((4, arc_points))
    for i in range(arc_points):
        x = patch.tail + (patch.front - patch.tail) * i / (arc_points - 1)
        n = max(patch.depth - gap(steel, patch, x), 0.0)
        left, right = cut(n, section)
        out[0, i], out[1, i] = x - patch.deepest, n
        out[2, i], out[3, i] = (left, right) if t >= 0.0 else (w - right, w - left)  # seen from the other edge
    return out


@kernel
def _swept(steel: Steel, patch: Patch, sections: np.ndarray, path_radius: float, yaw: float, columns: int) -> float:
    """As `swept_area`, of known sections."""
    t, w = patch.t + steel.tilt, steel.thickness
    cos_l = 1.0 / math.sqrt(1.0 + patch.t * patch.t)
    shift = (yaw - sections[0] / (2.0 * path_radius)) * sections[0] * cos_l
    u_min, u_max = 0.0, 0.0
    for i in range(len(shift)):
        reach = w if sections[3, i] < w or t < 0.0 else sections[2, i]
        u_min, u_max = min(u_min, -shift[i]), max(u_max, reach - shift[i])
    inside = 0.0
    if u_min < 0.0:
        inside = _columns(sections, shift, t, w, steel.hollow, u_min, 0.0, max(columns // 2, 8))
    return inside + _columns(sections, shift, t, w, steel.hollow, 0.0, u_max, columns)


@kernel
def _columns(
    sections: np.ndarray, shift: np.ndarray, t: float, w: float, hollow: float, start: float, stop: float, columns: int
) -> float:
    """Midpoint sum over columns of the deepest cut in each; from the deepest section outward, to reject soon."""
    du = (stop - start) / columns
    best, middle = np.zeros(columns), np.argmax(sections[1])
    for j in range(len(shift)):
        i = middle + j if middle + j < len(shift) else len(shift) - 1 - j
        top = sections[1, i] + min(0.0, w * t)
        first = start + 0.5 * du + shift[i]  # u of the first column in this section
        for part in range(2):
            u_low, u_high = (0.0, sections[2, i]) if part == 0 else (sections[3, i], w)
            if u_high <= u_low:
                continue
            for k in range(*_within(u_low - first, u_high - first, du, columns)):
                u = first + k * du
                if top - u * t > best[k]:
                    best[k] = max(best[k], top - u * t - rise(u, w, hollow))
        if i > 0 and shift[i] != shift[i - 1]:
            change = (sections[1, i] - sections[1, i - 1]) / (shift[i - 1] - shift[i])
            for wall in (0.0, w):  # columns that a wall crosses between two stations
                a, b = wall - first + shift[i] - shift[i - 1], wall - first
                for k in range(*_within(min(a, b), max(a, b), du, columns)):
                    best[k] = max(best[k], top - wall * t + change * (k * du - b))
    return np.sum(best) * du


@kernel
def _within(low: float, high: float, du: float, columns: int) -> tuple[int, int]:
    """(first, one past the last) column k with low < k du <= high."""
    return (int(low / du) + 1 if low >= 0.0 else 0), (min(int(high / du) + 1, columns) if high >= 0.0 else 0)


@kernel
def tightest_clean_radius(steel: Steel, patch: Patch) -> float:
    """Smallest path radius that the immersed arc can follow without scrape, m.

    Single radius R: rho_c = R sin(lean + gamma)/cos(gamma), gamma the bite angle (derived here: a section further
    along must rise at least as fast as the bottom face it slides out over). With edges tilted against each other it is
    R cos(lean) (tan(lean) + tan(gamma) + tilt). For any curve R is replaced by the largest x^2/(2 gap) over the
    immersed arc, x from the deepest point. inf when the outside edge is immersed too (depth > w (tan(lean) + tilt)):
    its wall then scrapes on any turn.
    """
    if patch.t + steel.tilt <= 0.0 or patch.depth > steel.thickness * slant(steel, patch.t):
        return math.inf
    worst = 0.0
    steps = 64
    for i in range(steps + 1):
        x = patch.tail + (patch.front - patch.tail) * i / steps
        s = x - patch.deepest
        if abs(s) > 5e-4:
            worst = max(worst, s * s / (2.0 * gap(steel, patch, x)))
    bite = 0.0 if math.isinf(steel.hollow) else math.asin(0.5 * steel.thickness / steel.hollow)
    return worst * (math.sin(math.atan(patch.t) + bite) / math.cos(bite) + steel.tilt / math.sqrt(1.0 + patch.t**2))


@kernel
def turn_scrape(
    steel: Steel,
    ice: IceNumbers,
    patch: Patch,
    path_radius: float,
    arc_points: int,
    columns: int,
    gx: np.ndarray,
    gw: np.ndarray,
) -> float:
    """Scrape force in a turn of path radius rho, N: H min over yaw of (swept area - groove area).

    Rigid-plastic work per metre of the ice actually swept beyond the groove of a straight run (derived here).
    """
    if path_radius >= tightest_clean_radius(steel, patch):
        return 0.0
    groove = groove_area(steel, patch, gx, gw)
    sections = _sections(steel, patch, arc_points)
    # The minimum is sharply kinked, and lies at or near the yaw at which the blade is tangent at its deepest point.
    width = FIRST_YAW * 0.5 * (patch.front - patch.tail) / path_radius
    low, yaw, high = -width, 0.0, width
    f_low = _swept(steel, patch, sections, path_radius, low, columns)
    least = _swept(steel, patch, sections, path_radius, yaw, columns)
    f_high = _swept(steel, patch, sections, path_radius, high, columns)
    for _ in range(8):  # downhill until it rises again
        if least <= min(f_low, f_high):
            break
        width *= 2.0
        if f_low < f_high:
            low, yaw, high, f_high, least = low - width, low, yaw, least, f_low
            f_low = _swept(steel, patch, sections, path_radius, low, columns)
        else:
            low, yaw, high, f_low, least = yaw, high, high + width, least, f_high
            f_high = _swept(steel, patch, sections, path_radius, high, columns)
    for _ in range(YAW_STEPS):  # golden section
        new = yaw + SHORT * (high - yaw) if high - yaw > yaw - low else yaw - SHORT * (yaw - low)
        area = _swept(steel, patch, sections, path_radius, new, columns)
        if area < least:
            low, high = (yaw, high) if new > yaw else (low, yaw)
            yaw, least = new, area
        else:
            low, high = (low, new) if new > yaw else (new, high)
    return max(0.0, ice.hardness * (least - groove))
