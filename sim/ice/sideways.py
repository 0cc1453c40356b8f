"""Sideways resistance of a contact, compiled: pivot resistance, hold angle."""

import math

import numpy as np

from sim.blade.section import rises
from sim.compiled import kernel
from sim.ice.contact import gap, limits, pressed, wall_factor


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
    r_out, r_in = 0.0, 0.0
    if p > 0.0:
        r_out, r_in = rises(n, patch.t, steel.thickness, steel.hollow)
    wall, hard = wall_factor(law, patch.t) * ice.hardness, ice.hardness
    scuff = law.scuff * p * a
    outside = max(0.0, n - steel.thickness * patch.t)
    return wall * n + hard * r_in + scuff, wall * outside + hard * r_out + scuff


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
            bite += half * gw[j] * p * rises(n, patch.t, steel.thickness, steel.hollow)[0]
            load += half * gw[j] * p * a
    return math.atan(bite / load)
