"""Across the blade, compiled: pivot resistance, hold angle, how the edges share the load."""

import math

import numpy as np

from sim.blade.section import rises, strips
from sim.blade.steel import Steel, slant
from sim.compiled import kernel
from sim.ice.contact import Law, Patch, gap, limits, pressed, wall_factor
from sim.ice.ice import IceNumbers
from sim.ice.standing import EXACT, first_guess, refused, stand_from

FIRST_BITE = 0.12  # rad; where the search for the bite of a stop begins
EXACT_BITE = 1e-6  # rad; a change of the bite comes back as less than a hundredth of itself: the error left is 1e-8
DEPTH_BY_LOAD = 0.7  # depth of a wedge goes with about this power of the load: where the next solution is looked for
STEEPEST = 1.4  # rad; lean and bite of a stop together, beyond which nobody brakes


@kernel
def capacities(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, x: float) -> tuple[float, float]:
    """(s_in, s_out), N/m: greatest sideways force per length that the ice gives at x, moving inward and outward.

    s_in = H (n + r_R [loaded]) + mu_s p a over the immersed arc: the inside wall stands in ice all along it.
    s_out = H (max(0, n - w tan(lean)) + r_L [loaded]) + mu_s p a: outward, the blade slides on its own bottom face.
    Rigid-plastic ice at hardness H (assumption of the model).
    """
    n = patch.depth - gap(steel, patch, x)
    if n <= 0.0:
        return 0.0, 0.0
    p, a = pressed(steel, ice, law, patch, x, n)
    r_out, r_in = facing(steel, patch, n) if p > 0.0 else (0.0, 0.0)
    wall, hard = wall_factor(law, patch.t) * ice.hardness, ice.hardness
    scuff = law.scuff * p * a
    shallow = max(0.0, n - steel.thickness * slant(steel, patch.t))
    inside, outside = (n, shallow) if patch.t + steel.tilt >= 0.0 else (shallow, n)
    return wall * inside + hard * r_in + scuff, wall * outside + hard * r_out + scuff


@kernel
def facing(steel: Steel, patch: Patch, n: float) -> tuple[float, float]:
    """(r_L, r_R) of the section as it stands: seen from the other edge where that one is the lower."""
    s = slant(steel, patch.t)
    if patch.t + steel.tilt >= 0.0:
        return rises(n, s, steel.thickness, steel.hollow, steel.tilt)
    r_in, r_out = rises(n, s, steel.thickness, steel.hollow, -steel.tilt)
    return r_out, r_in


@kernel
def _sums(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, start: float, stop: float, gx: np.ndarray, gw: np.ndarray
) -> tuple[float, float, float, float]:
    """Integrals from start to stop of s_in, s_in x, s_out, s_out x, with x from the deepest point."""
    a, ax, b, bx = 0.0, 0.0, 0.0, 0.0
    half = 0.5 * (stop - start)
    if half > 0.0:
        for j in range(len(gx)):
            x = start + half * (1.0 + gx[j])
            s_in, s_out = capacities(steel, ice, law, patch, x)
            weight, arm = half * gw[j], x - patch.deepest
            a += weight * s_in
            ax += weight * s_in * arm
            b += weight * s_out
            bx += weight * s_out * arm
    return a, ax, b, bx


@kernel
def pivot(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, toe_in: bool, gx: np.ndarray, gw: np.ndarray) -> float:
    """Pivot resistance about the leg axis, N m: min over x_p of integral of s |x - x_p| dx.

    Plastic limit load for a pure couple; at the minimum the side forces of toe and heel balance. toe_in: the toe
    turns toward the inside of the turn.
    """
    ends, sums = np.empty(8), np.empty((8, 4))
    count = _all_sums(steel, ice, law, patch, ends, sums, gx, gw)
    return _least(steel, ice, law, patch, toe_in, ends[:count], sums, gx, gw)


@kernel
def _all_sums(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, ends: np.ndarray, sums: np.ndarray, gx: np.ndarray,
    gw: np.ndarray
) -> int:  # fmt: skip
    """Fill `ends` (8,) as `limits` and `sums` (8, 4) with `_sums` of each piece; returns how many ends."""
    count = limits(steel, patch, ends)
    for i in range(count - 1):
        piece = _sums(steel, ice, law, patch, ends[i], ends[i + 1], gx, gw)
        sums[i, 0], sums[i, 1], sums[i, 2], sums[i, 3] = piece
    return count


@kernel
def _least(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, toe_in: bool, ends: np.ndarray, inward: np.ndarray,
    gx: np.ndarray, gw: np.ndarray
) -> float:  # fmt: skip
    """As `pivot`, with the pieces known. With s_a ahead of x_p and s_b behind it, x_p is where the integral of
    s_a + s_b up to it is the whole integral of s_a: found piece by piece, then by Newton within a piece."""
    count = len(ends)
    sums = np.empty((8, 4))
    whole, whole_x = 0.0, 0.0
    for i in range(count - 1):
        a, ax, b, bx = inward[i, 0], inward[i, 1], inward[i, 2], inward[i, 3]
        if not toe_in:
            a, ax, b, bx = b, bx, a, ax
        sums[i, 0], sums[i, 1], sums[i, 2], sums[i, 3] = a, ax, b, bx
        whole, whole_x = whole + a, whole_x + ax
    a, ax, b, bx = 0.0, 0.0, 0.0, 0.0
    piece = 0
    while piece < count - 2 and a + b + sums[piece, 0] + sums[piece, 2] < whole:
        a, ax, b, bx = a + sums[piece, 0], ax + sums[piece, 1], b + sums[piece, 2], bx + sums[piece, 3]
        piece += 1
    low, high = ends[piece], ends[piece + 1]
    share = (whole - a - b) / max(sums[piece, 0] + sums[piece, 2], 1e-300)
    xp, more = low + share * (high - low), (0.0, 0.0, 0.0, 0.0)
    for _ in range(60):
        more = _sums(steel, ice, law, patch, ends[piece], xp, gx, gw)
        miss = a + b + more[0] + more[2] - whole
        if miss > 0.0:
            high = xp
        else:
            low = xp
        new = xp - miss / max(sum(capacities(steel, ice, law, patch, xp)), 1e-300)
        if not low <= new <= high:
            new = 0.5 * (low + high)
        if abs(new - xp) < 1e-9:  # the moment is least here: its error is of the order of this squared
            break
        xp = new
    if not toe_in:
        more = more[2], more[3], more[0], more[1]
    a, ax, b, bx = a + more[0], ax + more[1], b + more[2], bx + more[3]
    arm = xp - patch.deepest
    return (whole_x - ax) - arm * (whole - a) + arm * b - bx


@kernel
def pivot_held(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, toe_in: bool, gx: np.ndarray, gw: np.ndarray
) -> float:
    """Pivot resistance about the centre of pressure, N m: integral of s |x - x_c| dx.

    The foot turns about where it stands, as in a sudden twist; the ice then pushes it sideways with what toe and heel
    do not balance. `pivot` is the least of all such moments, so that this one is never less (plastic limit load).
    """
    ends, sums = np.empty(8), np.empty((8, 4))
    count = _all_sums(steel, ice, law, patch, ends, sums, gx, gw)
    held_in, held_out = _held(steel, ice, law, patch, ends[:count], sums, gx, gw)
    return held_in if toe_in else held_out


@kernel
def _held(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, ends: np.ndarray, sums: np.ndarray, gx: np.ndarray,
    gw: np.ndarray
) -> tuple[float, float]:  # fmt: skip
    """(toe in, toe out): as `pivot_held`, with the pieces known; the one that holds the centre is cut there."""
    middle = min(max(patch.centre, ends[0]), ends[-1])
    arm = middle - patch.deepest
    toe_in, toe_out = 0.0, 0.0
    for i in range(len(ends) - 1):
        a, ax, b, bx = sums[i, 0], sums[i, 1], sums[i, 2], sums[i, 3]
        behind = (a, ax, b, bx) if ends[i + 1] <= middle else (0.0, 0.0, 0.0, 0.0)
        if ends[i] < middle < ends[i + 1]:
            behind = _sums(steel, ice, law, patch, ends[i], middle, gx, gw)
        ahead = a - behind[0], ax - behind[1], b - behind[2], bx - behind[3]
        toe_in += arm * behind[2] - behind[3] + ahead[1] - arm * ahead[0]
        toe_out += arm * behind[0] - behind[1] + ahead[3] - arm * ahead[2]
    return toe_in, toe_out


@kernel
def pivots(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, gx: np.ndarray, gw: np.ndarray
) -> tuple[float, float, float, float]:
    """Pivot resistances, N m: free toe in, free toe out, held toe in, held toe out (`pivot`, `pivot_held`)."""
    ends, sums = np.empty(8), np.empty((8, 4))
    count = _all_sums(steel, ice, law, patch, ends, sums, gx, gw)
    held_in, held_out = _held(steel, ice, law, patch, ends[:count], sums, gx, gw)
    return (
        _least(steel, ice, law, patch, True, ends[:count], sums, gx, gw),
        _least(steel, ice, law, patch, False, ends[:count], sums, gx, gw), held_in, held_out,
    )  # fmt: skip


@kernel
def _across(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, gx: np.ndarray, gw: np.ndarray
) -> tuple[float, float, float]:
    """(load, bite, near): integrals over the loaded arc of p a, of p r_L, of p times the width on the inside half."""
    ends = np.empty(8)
    count = limits(steel, patch, ends)
    w, s = steel.thickness, slant(steel, patch.t)
    load, bite, near = 0.0, 0.0, 0.0
    for i in range(count - 1):
        half = 0.5 * (ends[i + 1] - ends[i])
        if half <= 0.0:
            continue
        for j in range(len(gx)):
            x = ends[i] + half * (1.0 + gx[j])
            n = patch.depth - gap(steel, patch, x)
            p, a = pressed(steel, ice, law, patch, x, n)
            left, right = strips(n, s, w, steel.hollow)
            load += half * gw[j] * p * a
            bite += half * gw[j] * p * facing(steel, patch, n)[0]
            near += half * gw[j] * p * (min(left, 0.5 * w) + max(0.0, 0.5 * w - right))
    return load, bite, near


@kernel
def hold_angle(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, gx: np.ndarray, gw: np.ndarray) -> float:
    """Hold angle, rad: tan = integral p r_L dx / integral p a dx over the loaded arc.

    How far the push may tilt outward of the leg axis before the edge lets go; 0 for a flat bottom (derived here).
    """
    load, bite, _ = _across(steel, ice, law, patch, gx, gw)
    return math.atan(bite / load)


@kernel
def inside_share(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, gx: np.ndarray, gw: np.ndarray) -> float:
    """Share of the load carried by the inside half of the thickness: integral p (a on that half) dx / N.

    One half for level edges upright; near 1 on a leaned edge; what a proud edge changes (derived here).
    """
    load, _, near = _across(steel, ice, law, patch, gx, gw)
    share = near / load
    return share if patch.t + steel.tilt >= 0.0 else 1.0 - share


@kernel
def side_force(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, gx: np.ndarray, gw: np.ndarray) -> float:
    """S, N: greatest force along the bottom face that the ice gives to a blade sliding outward: integral of s_out dx.

    S = integral of H r_L + H max(0, n - w tan(lean)) + mu_s p a (`capacities`).
    """
    ends = np.empty(8)
    total = 0.0
    for i in range(limits(steel, patch, ends) - 1):
        total += _sums(steel, ice, law, patch, ends[i], ends[i + 1], gx, gw)[2]
    return total


@kernel
def brake(
    steel: Steel, ice: IceNumbers, law: Law, t: float, weight: float, line: float, gx: np.ndarray, gw: np.ndarray
) -> tuple[Patch, float]:
    """(contact, S in N) of a blade across the travel that slides outward and carries `weight`, N; t = tan(lean).

    Along the leg axis the ice gives N, across it S; together they bear the weight and pull back along the travel:
    N cos(lean) - S sin(lean) = m g and N sin(lean) + S cos(lean) = m a. So N = m g cos(bite)/cos(lean + bite) with
    bite = atan(S/N), and a = g tan(lean + bite) (derived here). The blade meets fresh ice: `law` with standing contact.
    .load is nan when the blade cannot do it.
    """
    # the bite hardly depends on the load, so that a few rounds settle both
    bite, lean, depth, last_load = FIRST_BITE, math.atan(t), 0.0, 0.0
    beta, slopes = 0.0, (0.0, 0.0, 0.0, 0.0)
    for i in range(40):
        load = weight * math.cos(bite) / math.cos(lean + bite)
        if i == 0:
            depth, beta, slopes = first_guess(steel, ice, law, t, load, line)
        else:
            depth *= (load / last_load) ** DEPTH_BY_LOAD
        patch, slopes = stand_from(steel, ice, law, t, load, line, depth, beta, slopes, EXACT, gx, gw)
        if math.isnan(patch.load):
            return patch, 0.0
        side = side_force(steel, ice, law, patch, gx, gw)
        last, bite = bite, math.atan(side / patch.load)
        if abs(bite - last) < EXACT_BITE:
            return patch, side
        if not lean + bite < STEEPEST:
            break
        depth, beta, last_load = patch.depth, patch.beta, load
    return refused(patch), 0.0
