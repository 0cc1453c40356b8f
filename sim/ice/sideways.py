"""Across the blade, compiled: pivot resistance, hold angle, how the edges share the load."""

import math

import numpy as np

from sim.blade.section import rises, strips
from sim.compiled import kernel
from sim.ice.contact import gap, limits, pressed, slant, wall_factor


@kernel
def capacities(steel, ice, law, patch, x):
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
def facing(steel, patch, n):
    """(r_L, r_R) of the section as it stands: seen from the other edge where that one is the lower."""
    s = slant(steel, patch.t)
    if patch.t + steel.tilt >= 0.0:
        return rises(n, s, steel.thickness, steel.hollow, steel.tilt)
    r_in, r_out = rises(n, s, steel.thickness, steel.hollow, -steel.tilt)
    return r_out, r_in


@kernel
def _moments(steel, ice, law, patch, ends, count, xp, toe_in, gx, gw):
    """(imbalance, moment) about xp: force of the toe side less the heel side, and integral of s |x - xp|."""
    ahead, behind, moment = 0.0, 0.0, 0.0
    for i in range(count - 1):
        cut = min(max(xp, ends[i]), ends[i + 1])
        for side in range(2):
            start = ends[i] if side == 0 else cut
            half = 0.5 * ((cut if side == 0 else ends[i + 1]) - start)
            if half <= 0.0:
                continue
            for j in range(len(gx)):
                x = start + half * (1.0 + gx[j])
                s_in, s_out = capacities(steel, ice, law, patch, x)
                s = s_in if (x > xp) == toe_in else s_out
                moment += half * gw[j] * s * abs(x - xp)
                if x > xp:
                    ahead += half * gw[j] * s
                else:
                    behind += half * gw[j] * s
    return ahead - behind, moment


@kernel
def pivot(steel, ice, law, patch, toe_in, gx, gw):
    """Pivot resistance about the leg axis, N m: min over x_p of integral of s |x - x_p| dx.

    Plastic limit load for a pure couple; at the minimum the side forces of toe and heel balance, which is solved
    for by bisection and secant. toe_in: the toe turns toward the inside of the turn.
    """
    ends = np.empty(8)
    count = limits(steel, patch, ends)
    low, high = patch.tail, patch.front
    f_low = _moments(steel, ice, law, patch, ends, count, low, toe_in, gx, gw)[0]
    f_high = _moments(steel, ice, law, patch, ends, count, high, toe_in, gx, gw)[0]
    xp, moment = 0.5 * (low + high), 0.0
    for i in range(60):
        f, moment = _moments(steel, ice, law, patch, ends, count, xp, toe_in, gx, gw)
        if f > 0.0:
            low, f_low = xp, f
        else:
            high, f_high = xp, f
        new = low + (high - low) * f_low / (f_low - f_high) if i % 3 else 0.5 * (low + high)
        if abs(new - xp) < 1e-9:
            break
        xp = new
    return moment


@kernel
def hold_angle(steel, ice, law, patch, gx, gw):
    """Hold angle, rad: tan = integral p r_L dx / integral p a dx over the loaded arc.

    How far the push may tilt outward of the leg axis before the edge lets go; 0 for a flat bottom (derived here).
    """
    ends = np.empty(8)
    count = limits(steel, patch, ends)
    bite, load = 0.0, 0.0
    for i in range(count - 1):
        half = 0.5 * (ends[i + 1] - ends[i])
        for j in range(len(gx)):
            x = ends[i] + half * (1.0 + gx[j])
            n = patch.depth - gap(steel, patch, x)
            p, a = pressed(steel, ice, law, patch, x, n)
            bite += half * gw[j] * p * facing(steel, patch, n)[0]
            load += half * gw[j] * p * a
    return math.atan(bite / load)


@kernel
def inside_share(steel, ice, law, patch, gx, gw):
    """Share of the load carried by the inside half of the thickness: integral p (a on that half) dx / N.

    One half for level edges upright; near 1 on a leaned edge; what a proud edge changes (derived here).
    """
    ends = np.empty(8)
    count = limits(steel, patch, ends)
    w, s = steel.thickness, slant(steel, patch.t)
    half_load, load = 0.0, 0.0
    for i in range(count - 1):
        half = 0.5 * (ends[i + 1] - ends[i])
        for j in range(len(gx)):
            x = ends[i] + half * (1.0 + gx[j])
            n = patch.depth - gap(steel, patch, x)
            p, a = pressed(steel, ice, law, patch, x, n)
            left, right = strips(n, s, w, steel.hollow)
            near = min(left, 0.5 * w) + max(0.0, 0.5 * w - right)
            half_load += half * gw[j] * p * near
            load += half * gw[j] * p * a
    share = half_load / load
    return share if patch.t + steel.tilt >= 0.0 else 1.0 - share
