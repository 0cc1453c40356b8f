"""The contact patch, compiled: where a pitched, leaned curve pressed to a depth touches, and what it carries."""

import math
from collections import namedtuple

import numpy as np

from sim.blade.section import Leaned, breaks, cut, leaned, loaded_width
from sim.blade.steel import Steel, height, lowest, meet, meet_from, slant
from sim.compiled import kernel
from sim.ice.ice import IceNumbers

Law = namedtuple("Law", "standing rebound rear_full slip_line film scuff")
Law.__doc__ = """Model-form switches, as floats 0/1 but for scuff.

standing: full hardness on both sides of the deepest point (a blade pressed in, not sliding); rebound: ice behind the
deepest point springs back; rear_full: loaded width behind taken as a(d); slip_line: slip-line pressure factors on
leaned faces; film: melt film on; scuff: sideways friction coefficient.
"""

Patch = namedtuple("Patch", "depth beta t tail rear deepest front rebound load centre base")
Patch.__doc__ = """A solved contact. Lengths m, blade frame; penetration n(x) = depth - gap(x).

t: tan(lean); tail, front: ends of the immersed arc; rear, front: ends of the loaded arc; rebound: e, the height over
which pressure falls to nothing behind the deepest point; load: N in the blade plane; centre: centre of pressure;
base: height of the deepest point in the pitched frame, so that gap = z cos(beta) - x sin(beta) - base.
"""


def _quadrature(n: int) -> tuple[np.ndarray, np.ndarray]:
    """n Gauss points on (-1, 1) drawn toward both ends by u = g (3 - g^2)/2, and their weights.

    Where the crown of the hollow is covered, the loaded width ends in a square root; in g it is smooth. Over the static
    measures 16 such points are as good as 24 plain ones: 1.5e-5 off at worst.
    """
    g, w = np.polynomial.legendre.leggauss(n)
    return 0.5 * g * (3 - g * g), 1.5 * (1 - g * g) * w


GAUSS = {n: _quadrature(n) for n in (8, 12, 16, 24, 32)}  # what every gx, gw (n,) below is taken from
DEEPEST_ALLOWED = 3.0e-3  # m; a blade sunk further is not skating
SHIFT_M = 0.01  # unit in which shifts of the centre of pressure are counted while solving
EXACT = 1e-10  # a contact is solved to within this share of the load, and of SHIFT_M
FIRST_SLOPES = (1.4, 0.0, 0.3, 1.0)  # first guess of the four derivatives in `_stand_from`


@kernel
def gap(steel: Steel, patch: Patch, x: float) -> float:
    """Height of the curve above its deepest point, m, at blade position x."""
    return height(steel, x)[0] * math.cos(patch.beta) - x * math.sin(patch.beta) - patch.base


@kernel
def _rear_end(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, x0: float, base: float, d: float, front: float
) -> tuple[float, float, float]:
    """(x_r, e, tail): rear end of the loaded arc, the rebound height, and the rear end of the immersed arc or nan.

    e = (2/pi)(ln(2 l/a_d) + 1/2) H a_d / E*: mean rebound of a uniformly loaded l x a_d rectangle on a half-space
    (Love's solution for a long rectangle; derived here, see DEVELOPERS). l contains x_r, so Newton on x_r.
    """
    if law.standing > 0.0:
        tail = meet(steel, beta, x0, base, d, -1.0)
        return tail, math.inf, tail
    if law.rebound <= 0.0 or front - steel.x_first < 1e-9:  # the latter: rocked over the heel end, no arc is left
        return x0, 0.0, math.nan
    a_d = loaded_width(d, slant(steel, t), steel.thickness, steel.hollow)
    scale = (2.0 / math.pi) * ice.hardness * a_d / ice.modulus
    sin_b, cos_b = math.sin(beta), math.cos(beta)
    nearest = min(x0, front - 1e-9)  # keeps some length of arc, whose logarithm is taken
    e = max(scale * (math.log(2.0 * (front - nearest) / a_d) + 0.5), 0.0)
    x = min(max(x0 - (front - x0) * math.sqrt(e / d), steel.x_first), nearest)
    for _ in range(20):
        z, slope = height(steel, x)
        e = scale * (math.log(2.0 * (front - x) / a_d) + 0.5)
        miss = e - (z * cos_b - x * sin_b - base)
        step = miss / (-scale / (front - x) - (slope * cos_b - sin_b))
        x = min(max(x - step, steel.x_first), nearest)
        if abs(step) < 1e-7:  # Newton: the error left is about the square of the last step
            break
    e = scale * (math.log(2.0 * (front - x) / a_d) + 0.5)
    if e < d and x > steel.x_first:
        return x, max(e, 0.0), math.nan
    tail = meet(steel, beta, x0, base, d, -1.0)  # loaded up to where the steel leaves the ice
    return tail, scale * (math.log(2.0 * max(front - tail, 1e-9) / a_d) + 0.5), tail


@kernel
def bottom_factor(law: Law, t: float) -> float:
    """Pressure factor of the leaned bottom face: 1, or slip-line (1 + pi/2 - lean)/(1 + pi/2)."""
    return (1.0 + 0.5 * math.pi - math.atan(t)) / (1.0 + 0.5 * math.pi) if law.slip_line > 0.0 else 1.0


@kernel
def wall_factor(law: Law, t: float) -> float:
    """Pressure factor of the immersed side wall: 1, or slip-line (1 + lean)/(1 + pi/2)."""
    return (1.0 + math.atan(t)) / (1.0 + 0.5 * math.pi) if law.slip_line > 0.0 else 1.0


@kernel
def pressed(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, x: float, n: float) -> tuple[float, float]:
    """(p, a): pressure, Pa, and loaded width, m, at x with penetration n."""
    section = leaned(slant(steel, patch.t), steel.thickness, steel.hollow)
    return _pressed(section, ice.hardness * bottom_factor(law, patch.t), law, patch, x, n)


@kernel
def _pressed(section: Leaned, hard: float, law: Law, patch: Patch, x: float, n: float) -> tuple[float, float]:
    """As `pressed`, of a leaned section on ice this hard under a bottom so leaned."""
    if n <= 0.0 or x < patch.rear:
        return 0.0, 0.0
    full = x >= patch.deepest or law.standing > 0.0
    left, right = cut(patch.depth if law.rear_full > 0.0 and not full else n, section)
    p = hard if full else hard * max(0.0, 1.0 - (patch.depth - n) / patch.rebound)
    return p, left + (section.w - right)


@kernel
def limits(steel: Steel, patch: Patch, out: np.ndarray) -> int:
    """Fill `out` (8,) with the sorted ends, m, of the pieces over which everything is smooth; returns how many."""
    out[0] = patch.rear
    count = 1
    for x in _pieces(steel, patch, patch.tail, patch.depth):  # already in order but for the rear end
        place = count
        while place > 0 and out[place - 1] > x:
            out[place] = out[place - 1]
            place -= 1
        out[place] = x
        count += 1
    return count


@kernel
def _pieces(
    steel: Steel, patch: Patch, start: float, level: float
) -> tuple[float, float, float, float, float, float, float]:
    """Ends, heel to toe, of the smooth pieces from `start`, where the gap is `level`, to the front.

    Pieces meet at the deepest point and where a(n) has a kink; a kink that does not occur leaves a piece of no length.
    """
    n_w, n_c = breaks(slant(steel, patch.t), steel.thickness, steel.hollow)
    far = _kink(steel, patch, min(n_w, n_c), start, level)
    near = _kink(steel, patch, max(n_w, n_c), start, level)
    return start, far[0], near[0], patch.deepest, near[1], far[1], patch.front


@kernel
def _kink(steel: Steel, patch: Patch, n: float, start: float, level: float) -> tuple[float, float]:
    """(behind, ahead): where the penetration is n; the ends of the arc, or the deepest point, where it is not."""
    down, x0 = patch.depth - n, patch.deepest
    if n <= 0.0:
        return start, patch.front
    if down <= 0.0:
        return x0, x0
    guess = x0 + (patch.front - x0) * math.sqrt(down / patch.depth)
    sin_b, cos_b = math.sin(patch.beta), math.cos(patch.beta)
    ahead = meet_from(steel, sin_b, cos_b, x0, patch.base, down, 1.0, guess)
    if down >= level or start >= x0:
        return start, ahead
    return max(start, meet_from(steel, sin_b, cos_b, x0, patch.base, down, -1.0, 2.0 * x0 - ahead)), ahead


@kernel
def press(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, d: float, gx: np.ndarray, gw: np.ndarray
) -> Patch:
    """The contact at pitch beta (rad) and depth d (m), t = tan(lean): a Patch with its load and centre of pressure.

    N = integral p a dx, x_c = (1/N) integral p a x dx, by Gauss quadrature on each smooth piece.
    """
    x0, base = lowest(steel, beta)
    return with_tail(steel, press_ahead(steel, ice, law, t, beta, d, x0, base, gx, gw))


@kernel
def with_tail(steel: Steel, p: Patch) -> Patch:
    """The same contact with the rear end of its immersed arc solved for."""
    if not math.isnan(p.tail):
        return p
    tail = meet(steel, p.beta, p.deepest, p.base, p.depth, -1.0)
    return Patch(p.depth, p.beta, p.t, tail, p.rear, p.deepest, p.front, p.rebound, p.load, p.centre, p.base)


@kernel
def press_ahead(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, d: float, x0: float, base: float, gx: np.ndarray,
    gw: np.ndarray
) -> Patch:  # fmt: skip
    """As `press`, with `lowest` known; .tail is nan where the load does not ask for it: what solvers call."""
    if d <= 0.0:
        return Patch(d, beta, t, x0, x0, x0, x0, 0.0, 0.0, x0, base)
    front = meet(steel, beta, x0, base, d, 1.0)
    rear, e, tail = _rear_end(steel, ice, law, t, beta, x0, base, d, front)
    patch = Patch(d, beta, t, tail, rear, x0, front, e, 0.0, x0, base)
    ends = _pieces(steel, patch, rear, min(d, e))
    section = leaned(slant(steel, t), steel.thickness, steel.hollow)
    hard = ice.hardness * bottom_factor(law, t)
    sin_b, cos_b = math.sin(beta), math.cos(beta)
    load, moment = 0.0, 0.0
    for i in range(len(ends) - 1):
        half = 0.5 * (ends[i + 1] - ends[i])
        if half <= 0.0:
            continue
        for j in range(len(gx)):
            x = ends[i] + half * (1.0 + gx[j])
            n = d - (height(steel, x)[0] * cos_b - x * sin_b - base)
            p, a = _pressed(section, hard, law, patch, x, n)
            force = half * gw[j] * p * a
            load += force
            moment += force * x
    return Patch(d, beta, t, tail, rear, x0, front, e, load, moment / load if load > 0.0 else x0, base)


@kernel
def _refused(p: Patch) -> Patch:
    """The same contact with its load marked as not carried."""
    return Patch(p.depth, p.beta, p.t, p.tail, p.rear, p.deepest, p.front, p.rebound, math.nan, p.centre, p.base)


@kernel
def settle(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, load: float, guess: float, gx: np.ndarray,
    gw: np.ndarray
) -> Patch:  # fmt: skip
    """The contact at pitch beta that carries `load` (N), from a guess of its depth (m); .load is nan when none does.

    Depths up to 3 mm: secant on log N against log d (N grows about as a power of d), kept inside a bracket.
    """
    low, high = 1e-9, DEEPEST_ALLOWED
    d = min(max(guess, 2.0 * low), 0.5 * high)
    x0, base = lowest(steel, beta)
    patch = press_ahead(steel, ice, law, t, beta, d, x0, base, gx, gw)
    last_d, last_f, slope = d, 0.0, 1.4
    for i in range(80):
        f = math.log(max(patch.load, 1e-300) / load)
        if abs(f) < EXACT:
            return with_tail(steel, patch)
        if f > 0.0:
            high = d
        else:
            low = d
        if i > 0 and d != last_d:
            slope = (f - last_f) / math.log(d / last_d)
        last_d, last_f = d, f
        d = d * math.exp(-f / slope) if slope > 0.05 else math.sqrt(low * high)
        if not low < d < high:
            d = math.sqrt(low * high)
        if high / low - 1.0 < 4e-16:
            break
        patch = press_ahead(steel, ice, law, t, beta, d, x0, base, gx, gw)
    if abs(patch.load / load - 1.0) > 1e-9:
        return _refused(with_tail(steel, patch))
    return with_tail(steel, patch)


@kernel
def stand(
    steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, line: float, gx: np.ndarray, gw: np.ndarray
) -> Patch:
    """The contact that carries `load` (N) with its centre of pressure at `line` (m): solves depth and pitch.

    .load is nan when no pitch does it.
    """
    return _stand_from(steel, ice, law, t, load, line, 5e-5, _tangent(steel, line), FIRST_SLOPES, gx, gw)[0]


@kernel
def stand_along(
    steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, lines: np.ndarray, gx: np.ndarray, gw: np.ndarray
) -> np.ndarray:
    """Pitch, rad, (n,), of the contacts that carry `load` (N) at each of the lines (n,), m; nan where none does.

    Each starts from the last.
    """
    out = np.empty(len(lines))
    d, more, slopes = 5e-5, 0.0, FIRST_SLOPES
    for i in range(len(lines)):
        tangent = _tangent(steel, lines[i])
        patch, slopes = _stand_from(steel, ice, law, t, load, lines[i], d, tangent + more, slopes, gx, gw)
        out[i] = patch.beta
        if math.isnan(patch.load):
            out[i] = math.nan
        else:
            d, more = patch.depth, patch.beta - tangent
    return out


@kernel
def _tangent(steel: Steel, x: float) -> float:
    """Pitch at which the deepest point lies at x."""
    at = min(max(x, steel.x_first), steel.x_first + (len(steel.z) - 1) * steel.dx)
    return math.atan(height(steel, at)[1])


@kernel
def _stand_from(
    steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, line: float, d: float, beta: float,
    slopes: tuple[float, float, float, float], gx: np.ndarray, gw: np.ndarray
) -> tuple[Patch, tuple[float, float, float, float]]:  # fmt: skip
    """As `stand`, from a guess of depth, pitch and slopes: Broyden's method (1965) for both at once; (patch, slopes).

    slopes: of ln N and of the centre, each over ln d and over pitch, where pitch counts by the shift of the deepest
    point that it brings. Where that does not converge, brackets do.
    """
    low, high = math.atan(steel.slope[0]), math.atan(steel.slope[len(steel.slope) - 1])
    last_f, last_g, step_u, step_v, scale = 0.0, 0.0, 0.0, 0.0, 0.0
    n_u, n_v, c_u, c_v = slopes
    u, v, start = math.log(d), 0.0, beta
    for i in range(20):
        beta = start + v / scale if i > 0 else start
        if not (low < beta < high and 1e-9 < math.exp(u) < DEEPEST_ALLOWED):
            break
        x0, base = lowest(steel, beta)
        patch = press_ahead(steel, ice, law, t, beta, math.exp(u), x0, base, gx, gw)
        if not patch.load > 0.0:
            break
        f, g = math.log(patch.load / load), (patch.centre - line) / SHIFT_M
        if abs(f) < EXACT and abs(g) < EXACT:
            return with_tail(steel, patch), (n_u, n_v, c_u, c_v)
        if i == 0:
            scale = _shift_per_pitch(steel, x0) / SHIFT_M
        else:
            size = step_u * step_u + step_v * step_v
            miss_f = (f - last_f - n_u * step_u - n_v * step_v) / size
            miss_g = (g - last_g - c_u * step_u - c_v * step_v) / size
            n_u, n_v, c_u, c_v = (
                n_u + miss_f * step_u,
                n_v + miss_f * step_v,
                c_u + miss_g * step_u,
                c_v + miss_g * step_v,
            )
        whole = n_u * c_v - n_v * c_u
        step_u = min(max((n_v * g - c_v * f) / whole, -2.0), 2.0)
        step_v = min(max((c_u * f - n_u * g) / whole, -2.0), 2.0)
        u, v, last_f, last_g = u + step_u, v + step_v, f, g
    return _stand_between(steel, ice, law, t, load, line, gx, gw), FIRST_SLOPES


@kernel
def _shift_per_pitch(steel: Steel, x: float) -> float:
    """How far the deepest point moves per radian of pitch, m: the radius there, within reason."""
    rise = height(steel, x + 1e-3)[1] - height(steel, x - 1e-3)[1]
    return min(max(2e-3 / max(rise, 1e-9), 0.1), 30.0)


@kernel
def _stand_between(
    steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, line: float, gx: np.ndarray, gw: np.ndarray
) -> Patch:
    """As `stand`: secant on pitch in a bracket, depth solved at each; slow and sure."""
    low, high = math.atan(steel.slope[0]), math.atan(steel.slope[len(steel.slope) - 1])
    beta = min(max(_tangent(steel, line), low), high)
    patch = settle(steel, ice, law, t, beta, load, 5e-5, gx, gw)
    last_beta, last_f = beta, 0.0
    for i in range(80):
        f = patch.centre - line
        if math.isnan(patch.load) or abs(f) < EXACT:
            return patch
        if f > 0.0:
            high = beta
        else:
            low = beta
        if i == 0:  # shift the deepest point by the miss
            new = _tangent(steel, patch.deepest - f)
        else:
            new = beta - f * (beta - last_beta) / (f - last_f) if f != last_f else 0.5 * (low + high)
        last_beta, last_f = beta, f
        if not low < new < high:
            new = 0.5 * (low + high)
        if high - low < 1e-15:
            break
        beta = new
        patch = settle(steel, ice, law, t, beta, load, patch.depth, gx, gw)
    if abs(patch.centre - line) > 1e-8:
        return _refused(patch)
    return patch
