"""Which contact carries a load: depth, pitch and the bend of the steel solved for, from a guess in closed form."""

import math

import numpy as np

from sim.blade.steel import Steel, flexed, height, lowest, slant
from sim.compiled import kernel
from sim.ice.contact import DEEPEST_ALLOWED, Law, Patch, bend_under, press_ahead, with_tail
from sim.ice.ice import IceNumbers

SHIFT_M = 0.01  # unit in which shifts of the centre of pressure are counted while solving
EXACT = 1e-10  # a contact is solved to within this share of the load, of SHIFT_M, and of the curvature of the steel
NEARLY = 1e-7  # the same, where a pitch is wanted and nothing is taken from it
FIRST_ARC = 0.03  # m: first guess of the loaded arc, by which the load bends the steel


@kernel
def refused(p: Patch) -> Patch:
    """The same contact with its load marked as not carried."""
    return Patch(
        p.depth, p.beta, p.t, p.tail, p.rear, p.deepest, p.front, p.rebound, math.nan, p.centre, p.base, p.bend,
        p.about,
    )  # fmt: skip


@kernel
def settle(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, load: float, guess: float, gx: np.ndarray,
    gw: np.ndarray
) -> Patch:  # fmt: skip
    """The contact at pitch beta that carries `load` (N), from a guess of its depth (m); .load is nan when none does.

    The steel bends about the centre of pressure: solved rigid, then again as bent by the last answer until that holds.
    Bent about a place a little nearer the toe, the contact moves toward the heel by bend/(curvature - bend) of it: that
    is Newton's step below, and bent by half its curvature or more it would not settle without.
    """
    bend, about, exact = bend_under(steel, law, load, FIRST_ARC), lowest(steel, beta)[0], 1e-3
    if bend <= 0.0:
        return settle_bent(steel, ice, law, t, beta, load, guess, EXACT, gx, gw)
    radius = shift_per_pitch(steel, about)
    patch = settle_bent(flexed(steel, bend, about), ice, law, t, beta, load, guess, exact, gx, gw)
    for _ in range(30):
        if math.isnan(patch.load):
            return patch
        bend = bend_under(steel, law, load, patch.front - patch.rear)
        off = max(_off(patch, bend), patch.bend * abs(patch.centre - patch.about) / SHIFT_M)
        if off < EXACT and exact == EXACT:
            return patch
        exact = min(max(1e-3 * off, EXACT), exact) if off > 1e-7 else EXACT
        about = patch.about + max(1.0 - bend * radius, 0.05) * (patch.centre - patch.about)
        patch = settle_bent(flexed(steel, bend, about), ice, law, t, beta, load, patch.depth, exact, gx, gw)
    return refused(patch)


@kernel
def _off(patch: Patch, bend: float) -> float:
    """By what share of the depth another bend would change the gap at the ends of the loaded arc."""
    arc = patch.front - patch.rear
    return abs(bend - patch.bend) * arc * arc / (8.0 * patch.depth)


@kernel
def settle_bent(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, load: float, guess: float, exact: float,
    gx: np.ndarray, gw: np.ndarray
) -> Patch:  # fmt: skip
    """As `settle`, of steel that stays as bent as it is, to within a share `exact` of the load.

    Depths up to 3 mm: secant on log N against log d (N grows about as a power of d), kept inside a bracket.
    """
    low, high = 1e-9, DEEPEST_ALLOWED
    d = min(max(guess, 2.0 * low), 0.5 * high)
    x0, base = lowest(steel, beta)
    patch = press_ahead(steel, ice, law, t, beta, d, x0, base, gx, gw)
    last_d, last_f, slope = d, 0.0, 1.4
    for i in range(80):
        f = math.log(max(patch.load, 1e-300) / load)
        if abs(f) < exact:
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
    if abs(patch.load / load - 1.0) > max(1e-9, exact):
        return refused(with_tail(steel, patch))
    return with_tail(steel, patch)


@kernel
def stand(
    steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, line: float, gx: np.ndarray, gw: np.ndarray
) -> Patch:
    """The contact that carries `load` (N) with its centre of pressure at `line` (m): solves depth and pitch.

    .load is nan when no pitch does it.
    """
    depth, beta, slopes = first_guess(steel, ice, law, t, load, line)
    return stand_from(steel, ice, law, t, load, line, depth, beta, slopes, EXACT, gx, gw)[0]


@kernel
def first_guess(steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, line: float) -> tuple[
    float, float, tuple[float, float, float, float]
]:  # fmt: skip
    """(depth, m; pitch, rad; slopes) from which `stand_from` starts: the front of a wedge or of a flat, the deeper.

    N = 2/3 H b d l with b n the loaded width, or N = H w l, and l^2 = 2 R d; twice that where both sides bear; the
    centre of pressure a third of the arc ahead of the deepest point, or none (derived here).
    """
    s, radius = abs(slant(steel, t)), shift_per_pitch(steel, line)
    bite, share = 0.5 * steel.thickness / steel.hollow, load / ice.hardness
    if law.standing > 0.0:
        share *= 0.5
    depth = 0.5 * (share / steel.thickness) ** 2 / radius
    if s + bite > 1e-6:
        width = 1.0 / (s + bite) + (1.0 / (bite - s) if bite - s > 1e-3 else 0.0)
        depth = max(depth, (1.5 * share / (width * math.sqrt(2.0 * radius))) ** (2.0 / 3.0))
    depth = min(depth, 0.3 * DEEPEST_ALLOWED)
    ahead = 0.0 if law.standing > 0.0 else 0.32 * math.sqrt(2.0 * radius * depth)
    return depth, _tangent(steel, line - ahead), (1.4, 0.0, 0.5 * ahead / SHIFT_M, 1.0)


@kernel
def stand_along(
    steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, lines: np.ndarray, gx: np.ndarray, gw: np.ndarray
) -> np.ndarray:
    """Pitch, rad, (n,), of the contacts that carry `load` (N) at each of the lines (n,), m; nan where none does.

    Each starts from the last, and is solved to 1 nm of its line: pitch is asked for here, and no difference of it.
    """
    out = np.empty(len(lines))
    d, beta, slopes = first_guess(steel, ice, law, t, load, lines[0])
    more = beta - _tangent(steel, lines[0])
    for i in range(len(lines)):
        tangent = _tangent(steel, lines[i])
        patch, slopes = stand_from(steel, ice, law, t, load, lines[i], d, tangent + more, slopes, NEARLY, gx, gw)
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
def stand_from(
    steel: Steel, ice: IceNumbers, law: Law, t: float, load: float, line: float, d: float, beta: float,
    slopes: tuple[float, float, float, float], exact: float, gx: np.ndarray, gw: np.ndarray
) -> tuple[Patch, tuple[float, float, float, float]]:  # fmt: skip
    """As `stand`, from a guess of depth, pitch and slopes: Broyden's method (1965) for both at once; (patch, slopes).

    slopes: of ln N and of the centre, each over ln d and over pitch, where pitch counts by the shift of the deepest
    point that it brings. exact: as EXACT. The steel is bent as the arc of the step before asks, an arc that goes
    about as the root of the depth. Where that does not converge, brackets do.
    """
    low, high = math.atan(steel.slope[0]), math.atan(steel.slope[len(steel.slope) - 1])
    last_f, last_g, step_u, step_v, scale = 0.0, 0.0, 0.0, 0.0, 0.0
    n_u, n_v, c_u, c_v = slopes
    u, v, start = math.log(d), 0.0, beta
    bend = bend_under(steel, law, load, 1.3 * math.sqrt(2.0 * d * shift_per_pitch(steel, line)))
    for i in range(24):
        beta = start + v / scale if i > 0 else start
        if not (low < beta < high and 1e-9 < math.exp(u) < DEEPEST_ALLOWED):
            break
        bent = flexed(steel, bend, line)
        x0, base = lowest(bent, beta)
        patch = press_ahead(bent, ice, law, t, beta, math.exp(u), x0, base, gx, gw)
        if not patch.load > 0.0:
            break
        f, g = math.log(patch.load / load), (patch.centre - line) / SHIFT_M
        bend = bend_under(steel, law, load, patch.front - patch.rear)
        if abs(f) < exact and abs(g) < exact and _off(patch, bend) < exact:
            return with_tail(steel, patch), (n_u, n_v, c_u, c_v)
        if i == 0:
            scale = shift_per_pitch(bent, x0) / SHIFT_M
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
        bend = bend_under(steel, law, load, (patch.front - patch.rear) * math.exp(0.5 * step_u))
    return _stand_between(steel, ice, law, t, load, line, gx, gw), slopes


@kernel
def shift_per_pitch(steel: Steel, x: float) -> float:
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
        return refused(patch)
    return patch
