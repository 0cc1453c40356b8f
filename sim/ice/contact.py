"""The contact patch, compiled: where a pitched, leaned curve pressed to a depth touches, and what it carries."""

import math
from collections import namedtuple

import numpy as np

from sim.blade.section import Leaned, breaks, cut, leaned
from sim.blade.steel import Steel, flattening, flexed, height, lowest, meet, meet_from, slant, unbent
from sim.compiled import kernel
from sim.ice.ice import IceNumbers
from sim.ice.rebound import HALF_SPACE, rear_end, share_left

Law = namedtuple(
    "Law", "standing rebound rear_full slip_line film scuff rebound_factor melting sink rough bending rate",
    defaults=(0.0, HALF_SPACE, 0.0, 0.0, 1.0, 0.02, 0.85, 1.0, 15e3, 0.0015, 1.0, 0.0),
)  # fmt: skip
Law.__doc__ = """The law of contact as floats: model-form switches, 0/1 unless said otherwise, and uncertain numbers.

standing: full hardness on both sides of the deepest point (a blade pressed in, not sliding); rebound: how the ice
behind the deepest point springs back, a form of `sim.ice.rebound`, and rebound_factor, which multiplies its height;
rear_full: loaded width behind taken as a(d); slip_line: slip-line pressure factors on leaned faces; scuff: sideways
friction coefficient; film: melt film on; melting: ice melts at the temperature of the pressure on it, not at 0 deg C;
sink: heat that the steel takes, W/m^2 of loaded area; rough: friction coefficient of ice that is not smooth;
bending: the runner bends between the supports of its holder; rate: m of `hardened`, of static states that glide.
"""

Patch = namedtuple("Patch", "depth beta t tail rear deepest front rebound load centre base bend about")
Patch.__doc__ = """A solved contact. Lengths m, blade frame; penetration n(x) = depth - gap(x).

t: tan(lean); tail, front: ends of the immersed arc; rear, front: ends of the loaded arc; rebound: e, the height over
which pressure falls to nothing behind the deepest point; load: N in the blade plane; centre: centre of pressure;
base: height of the deepest point in the pitched frame, so that gap = z cos(beta) - x sin(beta) - base; bend, 1/m, and
about, m: how the load has bent the steel, as in `flexed`.
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


@kernel
def gap(steel: Steel, patch: Patch, x: float) -> float:
    """Height of the curve above its deepest point, m, at blade position x."""
    off = x - patch.about
    z = unbent(steel, x)[0] - 0.5 * patch.bend * off * off
    return z * math.cos(patch.beta) - x * math.sin(patch.beta) - patch.base


@kernel
def loaded(steel: Steel, patch: Patch) -> Steel:
    """The steel as this contact bends it: for `height`, `lowest` and `meet`, which know of no contact."""
    return flexed(steel, patch.bend, patch.about)


@kernel
def bend_under(steel: Steel, law: Law, load: float, arc: float) -> float:
    """Flattening of the steel, 1/m, under a load, N, on an arc, m; 0 where the law has rigid steel."""
    return flattening(steel, load, arc) if law.bending > 0.0 else 0.0


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
    p = hard if full else hard * share_left(law.rebound, patch.depth - n, patch.rebound)
    return p, left + (section.w - right)


@kernel
def limits(steel: Steel, patch: Patch, out: np.ndarray) -> int:
    """Fill `out` (8,) with the sorted ends, m, of the pieces over which everything is smooth; returns how many."""
    out[0] = patch.rear
    count = 1
    for x in _pieces(loaded(steel, patch), patch, patch.tail, patch.depth):  # already in order but for the rear end
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
    """Ends, heel to toe, of the smooth pieces from `start`, where the gap is `level`, to the front; steel as bent.

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

    The steel is taken as bent as it says itself. N = integral p a dx, x_c = (1/N) integral p a x dx, by Gauss
    quadrature on each smooth piece.
    """
    x0, base = lowest(steel, beta)
    return with_tail(steel, press_ahead(steel, ice, law, t, beta, d, x0, base, gx, gw))


@kernel
def with_tail(steel: Steel, p: Patch) -> Patch:
    """The same contact with the rear end of its immersed arc solved for."""
    if not math.isnan(p.tail):
        return p
    tail = meet(loaded(steel, p), p.beta, p.deepest, p.base, p.depth, -1.0)
    return Patch(
        p.depth, p.beta, p.t, tail, p.rear, p.deepest, p.front, p.rebound, p.load, p.centre, p.base, p.bend, p.about
    )


@kernel
def press_ahead(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, d: float, x0: float, base: float, gx: np.ndarray,
    gw: np.ndarray
) -> Patch:  # fmt: skip
    """As `press`, with `lowest` known; .tail is nan where the load does not ask for it: what solvers call."""
    if d <= 0.0:
        return Patch(d, beta, t, x0, x0, x0, x0, 0.0, 0.0, x0, base, steel.bend, steel.about)
    front = meet(steel, beta, x0, base, d, 1.0)
    if law.standing > 0.0:
        tail = meet(steel, beta, x0, base, d, -1.0)
        rear, e = tail, math.inf
    else:
        rear, e, tail = rear_end(steel, ice, law.rebound, law.rebound_factor, t, beta, x0, base, d, front)
    patch = Patch(d, beta, t, tail, rear, x0, front, e, 0.0, x0, base, steel.bend, steel.about)
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
    centre = moment / load if load > 0.0 else x0
    return Patch(d, beta, t, tail, rear, x0, front, e, load, centre, base, steel.bend, steel.about)
