"""How far the ice springs back behind the deepest point, compiled: the rear end of the contact and its pressure."""

import math
from collections import namedtuple

from sim.blade.section import Leaned, cut, leaned
from sim.blade.steel import Steel, height, meet, slant
from sim.compiled import kernel
from sim.ice.ice import IceNumbers

NO_RISE, RECTANGLE, HALF_SPACE = 0.0, 1.0, 2.0  # the forms that Law.rebound names

# of the half-space form, fitted to two-dimensional solutions of the half-space problem (tests/ice/half_space.py)
REBOUND_SIZE, REBOUND_REACH = 1.64, 4.7

FIRST_MEAN = 0.18  # first guess of r l/(r + l) as a share of l
_Loaded = namedtuple("_Loaded", "scale left right width")  # of the half-space form: f kappa H/(pi E* a); strips, w, m


@kernel
def share_left(rebound: float, above: float, e: float) -> float:
    """Share of the hardness that presses where the ice has risen by `above`, m, of the height e over which it rises.

    Half-space form: 1 - (y/e)^2; rectangle: 1 - y/e.
    """
    y = above / e
    return max(0.0, 1.0 - (y * y if rebound == HALF_SPACE else y))


@kernel
def rear_end(
    steel: Steel, ice: IceNumbers, rebound: float, factor: float, t: float, beta: float, x0: float, base: float,
    d: float, front: float
) -> tuple[float, float, float]:  # fmt: skip
    """(x_r, e, tail): rear end of the loaded arc, the rebound height, and the rear end of the immersed arc or nan.

    rebound: one of the forms above; factor: f, which every form multiplies; the rest as in `contact.press_ahead`.
    The contact ends where the steel has risen by e; up to where it leaves the ice, if e is more than that.
    """
    if rebound == NO_RISE or front - steel.x_first < 1e-9:  # the latter: rocked over the heel end, no arc is left
        return x0, 0.0, math.nan
    section = leaned(slant(steel, t), steel.thickness, steel.hollow)
    if rebound == HALF_SPACE:
        return _on_half_space(steel, _strips(ice, factor, d, section), beta, x0, base, d, front)
    left, right = cut(d, section)
    a_d = left + section.w - right
    scale = factor * (2.0 / math.pi) * ice.hardness * a_d / ice.modulus
    return _under_rectangle(steel, scale, a_d, beta, x0, base, d, front)


@kernel
def _strips(ice: IceNumbers, factor: float, d: float, section: Leaned) -> _Loaded:
    """What the half-space form needs of the section at depth d: one strip where the crown is covered."""
    left, right = cut(d, section)
    other = 0.0 if left >= section.w else section.w - right
    scale = factor * REBOUND_SIZE * ice.hardness / (math.pi * ice.modulus * (left + other))
    return _Loaded(scale, left, other, section.w)


@kernel
def _settlement(q: float, s: _Loaded) -> tuple[float, float]:
    """(e, de/dq): e = f kappa H/(pi E* a) (F(L) + F(R) + F(w) + F(w-L-R) - F(w-R) - F(w-L)), F(b) = b^2 ln(1 + q/b).

    L, R: widths of the two loaded strips, a = L + R; q: reach along the contact, m. F is the settlement that a strip
    of width b and length q gives itself; the sum adds what each strip gives the other (form derived here).
    """
    e, rate = _strip(q, s.left)
    if s.right == s.left:  # upright: the terms of both strips are the same, and logarithms take time
        wide, faster = _strip(q, s.width)
        between, slower = _strip(q, s.width - 2.0 * s.left)
        beside, rest = _strip(q, s.width - s.left)
        e, rate = 2.0 * e + wide + between - 2.0 * beside, 2.0 * rate + faster + slower - 2.0 * rest
    elif s.right > 0.0:
        for b, sign in (
            (s.right, 1.0), (s.width, 1.0), (s.width - s.left - s.right, 1.0),
            (s.width - s.right, -1.0), (s.width - s.left, -1.0),
        ):  # fmt: skip
            more, faster = _strip(q, b)
            e, rate = e + sign * more, rate + sign * faster
    return s.scale * e, s.scale * rate


@kernel
def _strip(q: float, b: float) -> tuple[float, float]:
    """(F, dF/dq) of a strip of width b."""
    if b <= 0.0:
        return 0.0, 0.0
    return b * b * math.log(1.0 + q / b), b * b / (b + q)


@kernel
def _on_half_space(
    steel: Steel, s: _Loaded, beta: float, x0: float, base: float, d: float, front: float
) -> tuple[float, float, float]:
    """As `rear_end`: g(x_0 - r) = e(r), r > 0 (r = 0 is another root), with q = C r l/(r + l), l = front - x_0.

    e is concave and the gap convex in r: Newton from beyond the root comes down to it.
    """
    ahead, room = max(front - x0, 1e-9), x0 - steel.x_first
    if room < 1e-9:  # rocked over the heel end
        return x0, 0.0, math.nan
    sin_b, cos_b = math.sin(beta), math.cos(beta)
    e = _settlement(FIRST_MEAN * REBOUND_REACH * ahead, s)[0]
    r = min(ahead * math.sqrt(e / d), room)
    for _ in range(60):
        shrink = ahead / (r + ahead)
        e, rate = _settlement(REBOUND_REACH * r * shrink, s)
        rate *= REBOUND_REACH * shrink * shrink
        z, slope = height(steel, x0 - r)
        miss = e - (z * cos_b - (x0 - r) * sin_b - base)
        pull = rate + slope * cos_b - sin_b
        new = r - miss / pull if pull < 0.0 else 2.0 * r  # before the greatest of e - gap: go on
        if new >= room:
            if miss > 0.0 and r == room:
                break
            new = room
        step, r = new - r, max(new, 1e-3 * r)
        if abs(step) < 1e-7:  # Newton: the error left is about the square of the last step over r
            e += rate * step
            break
    if e < d and r < room:
        return x0 - r, e, math.nan
    tail = meet(steel, beta, x0, base, d, -1.0)  # loaded up to where the steel leaves the ice
    r = x0 - tail
    return tail, _settlement(REBOUND_REACH * r * ahead / (r + ahead), s)[0], tail


@kernel
def _under_rectangle(
    steel: Steel, scale: float, a_d: float, beta: float, x0: float, base: float, d: float, front: float
) -> tuple[float, float, float]:
    """As `rear_end`: e = f (2/pi)(ln(2 l/a_d) + 1/2) H a_d / E*, mean rebound of a uniformly loaded l x a_d rectangle.

    Love's solution for a long rectangle on a half-space (derived here, see DEVELOPERS). l contains x_r: Newton on x_r.
    """
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
    tail = meet(steel, beta, x0, base, d, -1.0)
    return tail, scale * (math.log(2.0 * max(front - tail, 1e-9) / a_d) + 0.5), tail
