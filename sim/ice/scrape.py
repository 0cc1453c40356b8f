"""Turn scrape, compiled: the extra groove a blade must cut to follow a path tighter than its own track."""

import math

import numpy as np

from sim.blade.section import cut, leaned, rise
from sim.compiled import kernel
from sim.ice.contact import gap, slant
from sim.ice.drag import groove_area

YAW_STEPS = (
    12  # golden section: yaw to 0.2 % of its range, the area there to a hundred-thousandth of the range of areas
)
GOLDEN = 0.5 * (math.sqrt(5.0) - 1.0)


@kernel
def swept_area(steel, patch, path_radius, yaw, arc_points, columns):
    """Area of the union of the immersed sections seen along a circular track, m^2.

    The section at x (from the deepest point) sits at delta = yaw x - x^2/(2 rho) inward of the track. In columns U
    along the leg axis it is the section shifted by -delta cos(lean), and the ice over it stays n(x) deep at its own
    lowest edge: P(U) = max over x of n(x) - h(U + delta cos(lean)), h(u) = v(u) + u (tan(lean) + tilt) less its least
    value, 0 <= u <= w.
    The area is the integral of P. Between neighbouring x the walls are followed by linear interpolation.
    """
    t, w = patch.t + steel.tilt, steel.thickness
    cos_l = 1.0 / math.sqrt(1.0 + patch.t * patch.t)
    shift, depth = np.empty(arc_points), np.empty(arc_points)
    section = leaned(abs(t), w, steel.hollow)
    u_min, u_max = 0.0, 0.0
    for i in range(arc_points):
        x = patch.tail + (patch.front - patch.tail) * i / (arc_points - 1)
        s = x - patch.deepest
        shift[i] = (yaw * s - s * s / (2.0 * path_radius)) * cos_l
        depth[i] = max(patch.depth - gap(steel, patch, x), 0.0)
        left, right = cut(depth[i], section)
        reach = w if right < w or t < 0.0 else left
        u_min = min(u_min, -shift[i])
        u_max = max(u_max, reach - shift[i])
    inside = _columns(section, shift, depth, t, u_min, 0.0, max(columns // 2, 8)) if u_min < 0.0 else 0.0
    return inside + _columns(section, shift, depth, t, 0.0, u_max, columns)


@kernel
def _columns(section, shift, depth, t, start, stop, columns):
    """Midpoint sum over columns of the deepest cut in each."""
    w = section.w
    low, du = min(0.0, w * t), (stop - start) / columns
    best = np.zeros(columns)
    for i in range(len(shift)):
        first = start + 0.5 * du + shift[i]  # u of the first column in this section
        left, right = cut(depth[i], section)
        if t < 0.0:  # seen from the other edge
            left, right = w - right, w - left
        for part in range(2):
            u_low, u_high = (0.0, left) if part == 0 else (right, w)
            if u_high > u_low:
                for k in range(max(math.ceil((u_low - first) / du), 0), min(int((u_high - first) // du) + 1, columns)):
                    u = first + k * du
                    best[k] = max(best[k], depth[i] - u * t + low - rise(u, w, section.hollow))
        if i > 0 and shift[i] != shift[i - 1]:
            for wall in (0.0, w):  # columns that a wall crosses between two stations
                a, b = wall - shift[i - 1] - start - 0.5 * du, wall - shift[i] - start - 0.5 * du
                for k in range(max(math.ceil(min(a, b) / du), 0), min(int(max(a, b) // du) + 1, columns)):
                    share = (k * du - a) / (b - a)
                    best[k] = max(best[k], depth[i - 1] + share * (depth[i] - depth[i - 1]) - wall * t + low)
    return np.sum(best) * du


@kernel
def tightest_clean_radius(steel, patch):
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
def turn_scrape(steel, ice, patch, path_radius, arc_points, columns, gx, gw):
    """Scrape force in a turn of path radius rho, N: H min over yaw of (swept area - groove area).

    Rigid-plastic work per metre of the ice actually swept beyond the groove of a straight run (derived here).
    """
    if path_radius >= tightest_clean_radius(steel, patch):
        return 0.0
    groove = groove_area(steel, patch, gx, gw)
    half = 0.5 * (patch.front - patch.tail) / path_radius
    low, high = -half, half
    a, b = high - GOLDEN * (high - low), low + GOLDEN * (high - low)
    f_a = swept_area(steel, patch, path_radius, a, arc_points, columns)
    f_b = swept_area(steel, patch, path_radius, b, arc_points, columns)
    for _ in range(YAW_STEPS):
        if f_a < f_b:
            high, b, f_b = b, a, f_a
            a = high - GOLDEN * (high - low)
            f_a = swept_area(steel, patch, path_radius, a, arc_points, columns)
        else:
            low, a, f_a = a, b, f_b
            b = low + GOLDEN * (high - low)
            f_b = swept_area(steel, patch, path_radius, b, arc_points, columns)
    # the minimum is sharply kinked where the blade is tangent at its deepest point: look there too
    straight = swept_area(steel, patch, path_radius, 0.0, arc_points, columns)
    return max(0.0, ice.hardness * (min(f_a, f_b, straight) - groove))
