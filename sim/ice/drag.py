"""Drag along the blade, compiled: ploughing of the groove and shear of the melt film."""

import math
from collections import namedtuple

import numpy as np

from sim.blade.section import breaks, cut, leaned, loaded_width
from sim.blade.steel import Steel, meet, slant
from sim.compiled import kernel
from sim.ice.contact import Law, Patch, bottom_factor, gap, loaded, pressed
from sim.ice.ice import IceNumbers, melting_point
from sim.ice.rebound import HALF_SPACE, share_left

_Film = namedtuple("_Film", "v eta melt chill sink")
_Film.__doc__ = """Of the film: speed, viscosity, rho L, conduction k sqrt(V/(pi alpha)) per K, heat into the steel."""


@kernel
def groove_area(steel: Steel, patch: Patch, gx: np.ndarray, gw: np.ndarray) -> float:
    """A_g = integral_0^d a dn, m^2: area of the groove left behind, along the leg axis (exact splitting at kinks)."""
    return _over_penetration(steel, patch, 0.0, 0.0, 0.0, gx, gw)


@kernel
def _over_penetration(
    steel: Steel, patch: Patch, start: float, form: float, e: float, gx: np.ndarray, gw: np.ndarray
) -> float:
    """Integral of a(n) dn from start to d, m^2; with e > 0, of a(n) times the share of the hardness left there dn."""
    s = slant(steel, patch.t)
    section = leaned(s, steel.thickness, steel.hollow)
    n_w, n_c = breaks(s, steel.thickness, steel.hollow)
    first, second = min(n_w, n_c), max(n_w, n_c)
    cuts = (
        start, min(max(first, start), patch.depth), min(max(second, start), patch.depth), patch.depth,
    )  # fmt: skip
    total = 0.0
    for i in range(3):
        half = 0.5 * (cuts[i + 1] - cuts[i])
        if half <= 0.0:
            continue
        for j in range(len(gx)):
            n = cuts[i] + half * (1.0 + gx[j])
            weight = share_left(form, patch.depth - n, e) if e > 0.0 else 1.0
            left, right = cut(n, section)
            total += half * gw[j] * weight * (left + section.w - right)
    return total


@kernel
def ploughing(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, gx: np.ndarray, gw: np.ndarray) -> float:
    """Ploughing force along the blade, N: F_p = H A_g - integral over the rear of p a |dn/dx| dx.

    Work per metre to open the groove, less the forward push of the ice that springs back behind the deepest point
    (energy argument, derived here; without rebound it is the classic H x groove area).
    """
    p = ice.hardness * bottom_factor(law, patch.t)
    force = p * groove_area(steel, patch, gx, gw)
    if law.standing > 0.0:  # not sliding: the two sides push alike
        start = max(0.0, patch.depth - gap(steel, patch, patch.tail))
        return force - p * _over_penetration(steel, patch, start, 0.0, 0.0, gx, gw)
    if patch.rebound > 0.0 and patch.rear < patch.deepest:
        start = max(patch.depth - patch.rebound, patch.depth - gap(steel, patch, patch.rear), 0.0)
        if law.rear_full > 0.0:
            e, y = patch.rebound, patch.depth - start
            a_d = loaded_width(patch.depth, slant(steel, patch.t), steel.thickness, steel.hollow)
            lost = y * y * y / (3.0 * e * e) if law.rebound == HALF_SPACE else y * y / (2.0 * e)
            force -= p * a_d * (y - lost)
        else:
            force -= p * _over_penetration(steel, patch, start, law.rebound, patch.rebound, gx, gw)
    return force


@kernel
def film_shear(steel: Steel, ice: IceNumbers, law: Law, patch: Patch, speed: float, steps: int) -> float:
    """Shear force of the melt film, N: F_v = sum over strips of integral eta V / h b dx.

    Each strip's film thickness h is marched from its entry at the front,
        V dh/dx = (eta V^2/h - k dT / sqrt(pi alpha x/V) - q_s) / (rho L) - p h^3 / (eta b^2)
    (shear heating less transient conduction into the ice and heat q_s into the steel, less squeeze-out of a long strip:
    Reynolds), dT from the ice to its melting point under the pressure there, from h = c sqrt(x).
    In y = h^2 and q = sqrt(x) it reads dy/dq = 2A - 2B sqrt(y) - 2C y^2, smooth at the entry; implicit trapezoid, in
    pieces that end where the crown of the hollow is covered and uncovered: there two films become one and two again.
    """
    length = patch.front - patch.rear
    if law.film <= 0.0 or length <= 0.0 or speed <= 0.0:
        return 0.0
    film = _Film(speed, ice.viscosity, ice.density * ice.latent,
                 ice.conductivity * math.sqrt(speed / (math.pi * ice.diffusivity)), law.sink)  # fmt: skip
    ends = np.array([0.0, 0.0, 0.0, math.sqrt(length)])
    s = slant(steel, patch.t)
    n_c = breaks(s, steel.thickness, steel.hollow)[1]
    if math.isinf(steel.hollow) and s == 0.0:
        n_c = 0.0  # one strip throughout
    elif n_c <= 0.0 or n_c >= patch.depth:
        ends[1], ends[2] = ends[3], ends[3]
    if 0.0 < n_c < patch.depth:
        bent = loaded(steel, patch)
        fore = meet(bent, patch.beta, patch.deepest, patch.base, patch.depth - n_c, 1.0)
        aft = meet(bent, patch.beta, patch.deepest, patch.base, patch.depth - n_c, -1.0)
        ends[1], ends[2] = math.sqrt(patch.front - fore), math.sqrt(min(patch.front - aft, length))
    h = np.zeros(2)  # of the inside and outside strip
    entry = np.zeros(2)  # where each strip's clock started, distance behind the front
    width = np.zeros(2)
    total = 0.0
    for piece in range(3):
        if ends[piece + 1] <= ends[piece]:
            continue
        # fixed numbers of steps, so that the force does not jump as a piece grows: adaptive integrators stall on jumps
        count = steps if piece == 0 or ends[2] == 0.0 else steps // 2
        single = piece == 1
        if single and width[0] + width[1] > 0.0:  # two strips flow into one: keep the volume of water
            share = width[1] / (width[0] + width[1])
            h[0] = h[0] * (1.0 - share) + h[1] * share
        if piece == 2:
            h[1], entry[1] = h[0], entry[0]
        dq = (ends[piece + 1] - ends[piece]) / count
        total += _march(steel, ice, law, patch, film, ends[piece], dq, count, single, n_c, h, entry, width)
    return total


@kernel
def _march(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, film: _Film, q_start: float, dq: float, count: int,
    single: bool, n_c: float, h: np.ndarray, entry: np.ndarray, width: np.ndarray
) -> float:  # fmt: skip
    """Shear over one piece, N. h, entry, width: (2,) of both strips, m, updated in place."""
    w, s = steel.thickness, slant(steel, patch.t)
    section = leaned(s, w, steel.hollow)
    last = np.zeros((2, 4))  # A, B, C and shear integrand at the last station
    total = 0.0
    for i in range(count + 1):
        q = q_start + i * dq
        if q <= 0.0:  # at the entry itself the film has no thickness; the start formula holds from the next station
            continue
        back = q * q
        x = patch.front - back
        n = patch.depth - gap(steel, patch, x)
        p = pressed(steel, ice, law, patch, x, n)[0]
        chill = film.chill * _undercooling(ice, law, p)
        left, right = w, w
        if not single:  # at the crown itself there are still two strips
            left, right = cut(min(n, n_c * (1.0 - 1e-12)) if n_c > 0.0 else n, section)
        for k in range(2):
            b = left if k == 0 else w - right
            if b <= 0.0:
                width[k], last[k, 3] = 0.0, 0.0
                continue
            born = width[k] == 0.0
            if born and i > 0:
                entry[k] = (q - dq) * (q - dq)
            age = max(back - entry[k], 1e-12)
            heat = 2.0 * q * film.eta * film.v / film.melt
            cold = 2.0 * q * (chill / math.sqrt(age) + film.sink) / (film.melt * film.v)
            squeeze = 2.0 * q * p / (film.eta * film.v * b * b)
            if born and h[k] == 0.0:
                # h = c sqrt(age), c > 0: rho L V c^2/2 + k dT sqrt(V/(pi alpha)) c - eta V^2 = 0
                both = chill * chill + 2.0 * film.melt * film.v**3 * film.eta
                h[k] = (math.sqrt(both) - chill) / (film.melt * film.v) * math.sqrt(age)
            elif i > 0:
                y = h[k] * h[k]
                known = y + dq * (last[k, 0] - last[k, 1] * h[k] - last[k, 2] * y * y)
                h[k] = _implicit(max(known, 0.0), h[k], dq * heat, dq * cold, dq * squeeze)
            shear = 2.0 * q * film.eta * film.v * b / h[k]
            if born and math.isinf(steel.hollow) and s == 0.0:
                last[k, 3] = shear  # a flat bottom enters with its full width, any other strip with none
            if i > 0:
                total += 0.5 * dq * (shear + last[k, 3])
            last[k, 0], last[k, 1], last[k, 2], last[k, 3] = heat, cold, squeeze, shear
            width[k] = b
    return total


@kernel
def _undercooling(ice: IceNumbers, law: Law, p: float) -> float:
    """K from the ice's temperature up to where it melts under the pressure p; below 0 where it would melt by itself."""
    return ice.cold + melting_point(p) if law.melting > 0.0 else ice.cold


@kernel
def _implicit(known: float, guess: float, a: float, b: float, c: float) -> float:
    """r > 0 with r^2 = known + a - b r - c r^4, r = sqrt(y): Newton, convex there, and from above where b < 0."""
    r = guess if guess > 0.0 else 1e-9
    target = known + a
    for _ in range(60):
        r2 = r * r
        f = r2 + b * r + c * r2 * r2 - target
        rate = 2.0 * r + b + 4.0 * c * r2 * r
        if rate <= 0.0:  # left of the least: the root lies beyond
            r = 2.0 * r - b
            continue
        new = r - f / rate
        if new <= 0.0:
            new = 0.1 * r
        if abs(new - r) <= 1e-6 * r:  # Newton: the error left is about the square of the last step
            return new
        r = new
    return r


@kernel
def rough_drag(law: Law, patch: Patch) -> float:
    """Drag of ice that is not smooth, N: mu_r N beside ploughing and film, neither of which it changes.

    An assumption of ours without a source, of the size of the gap between smooth theory and measured friction.
    """
    return law.rough * patch.load


@kernel
def straight_drag(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, speed: float, steps: int, gx: np.ndarray, gw: np.ndarray
) -> float:
    """Drag along the blade on a straight path, N: ploughing, film shear and rough ice together."""
    smooth = ploughing(steel, ice, law, patch, gx, gw) + film_shear(steel, ice, law, patch, speed, steps)
    return smooth + rough_drag(law, patch)
