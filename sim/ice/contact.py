"""The contact patch, compiled: where a pitched, leaned curve pressed to a depth touches, and what it carries."""

import math
from collections import namedtuple

import numpy as np

from sim.blade.section import breaks, loaded_width
from sim.compiled import kernel

Steel = namedtuple("Steel", "x_first dx z slope thickness hollow tilt", defaults=(0.0,))
Steel.__doc__ = """Curve on a uniform grid of x (m) with its section: what the compiled functions read of a blade.

tilt: slope of the line through both edges against the blade; 0 when they are level.
"""

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

GAUSS = {n: np.polynomial.legendre.leggauss(n) for n in (8, 12, 24, 32)}
DEEPEST_ALLOWED = 3.0e-3  # m; a blade sunk further is not skating


@kernel
def slant(steel, t):
    """Slope, >= 0, of the line through both edges against the ice: |tan(lean) + tilt|; the section's own `t`.

    A nearly upright blade whose outside edge stands proud rests on that edge: the section is then seen from there.
    """
    return abs(t + steel.tilt)


@kernel
def height(steel, x):
    """z and dz/dx at x by cubic Hermite on the table."""
    q = (x - steel.x_first) / steel.dx
    i = min(max(int(q), 0), len(steel.z) - 2)
    r = q - i
    z0, z1 = steel.z[i], steel.z[i + 1]
    m0, m1 = steel.slope[i] * steel.dx, steel.slope[i + 1] * steel.dx
    c2 = 3.0 * (z1 - z0) - 2.0 * m0 - m1
    c3 = 2.0 * (z0 - z1) + m0 + m1
    return z0 + r * (m0 + r * (c2 + r * c3)), (m0 + r * (2.0 * c2 + r * 3.0 * c3)) / steel.dx


@kernel
def gap(steel, patch, x):
    """Height of the curve above its deepest point, m, at blade position x."""
    return height(steel, x)[0] * math.cos(patch.beta) - x * math.sin(patch.beta) - patch.base


@kernel
def lowest(steel, beta):
    """x of the deepest point at pitch beta (tangent parallel to the ice), clamped to the runner, and its height."""
    want = math.tan(beta)
    last = len(steel.slope) - 1
    if want <= steel.slope[0]:
        i, r = 0, 0.0
    elif want >= steel.slope[last]:
        i, r = last, 0.0
    else:
        i = np.searchsorted(steel.slope, want) - 1
        z0, z1 = steel.z[i], steel.z[i + 1]
        m0, m1 = steel.slope[i] * steel.dx, steel.slope[i + 1] * steel.dx
        c2, c3 = 3.0 * (z1 - z0) - 2.0 * m0 - m1, 2.0 * (z0 - z1) + m0 + m1
        # slope inside the cell is m0 + 2 c2 r + 3 c3 r^2; c3 is small: Newton from the chord
        r = (want * steel.dx - m0) / (m1 - m0)
        for _ in range(4):
            r -= (m0 + r * (2.0 * c2 + 3.0 * c3 * r) - want * steel.dx) / (2.0 * c2 + 6.0 * c3 * r)
        r = min(max(r, 0.0), 1.0)
    x = steel.x_first + (i + r) * steel.dx
    return x, height(steel, x)[0] * math.cos(beta) - x * math.sin(beta)


@kernel
def meet(steel, beta, x0, base, level, side):
    """x ahead (side +1) or behind (-1) of x0 where the gap reaches `level`; the end of the runner if it does not."""
    sin_b, cos_b = math.sin(beta), math.cos(beta)
    end = steel.x_first + (len(steel.z) - 1) * steel.dx if side > 0 else steel.x_first
    if level <= 0.0:
        return x0
    if height(steel, end)[0] * cos_b - end * sin_b - base <= level:
        return end
    inner, outer = x0, end
    probe = min(abs(end - x0), 0.004)
    near = height(steel, x0 + side * probe)[0] * cos_b - (x0 + side * probe) * sin_b - base
    x = x0 + side * min(probe * math.sqrt(level / max(near, 1e-12)), abs(end - x0))
    for _ in range(60):
        z, slope = height(steel, x)
        miss = z * cos_b - x * sin_b - base - level
        if miss > 0.0:
            outer = x
        else:
            inner = x
        rate = slope * cos_b - sin_b
        new = x - miss / rate if rate * side > 0.0 else 0.5 * (inner + outer)
        if (new - inner) * (new - outer) > 0.0:
            new = 0.5 * (inner + outer)
        if abs(new - x) < 1e-8:  # Newton: the error left is of the order of its square
            return new
        x = new
    return x


@kernel
def _rear_end(steel, ice, law, t, beta, x0, base, d, front):
    """(x_r, e, tail): rear end of the loaded arc, the rebound height, and the rear end of the immersed arc or nan.

    e = (2/pi)(ln(2 l/a_d) + 1/2) H a_d / E*: mean rebound of a uniformly loaded l x a_d rectangle on a half-space
    (Love's solution for a long rectangle; derived here, see DEVELOPERS). l contains x_r, so Newton on x_r.
    """
    if law.standing > 0.0:
        tail = meet(steel, beta, x0, base, d, -1.0)
        return tail, math.inf, tail
    if law.rebound <= 0.0 or front - steel.x_first < 1e-9:  # the latter: rocked off the heel end
        return x0, 0.0, math.nan
    a_d = loaded_width(d, slant(steel, t), steel.thickness, steel.hollow)
    scale = (2.0 / math.pi) * ice.hardness * a_d / ice.modulus
    sin_b, cos_b = math.sin(beta), math.cos(beta)
    nearest = min(x0, front - 1e-9)  # the arc has some length, else its logarithm has no value
    e = max(scale * (math.log(2.0 * (front - nearest) / a_d) + 0.5), 0.0)
    x = min(meet(steel, beta, x0, base, e, -1.0), nearest)
    for _ in range(20):
        z, slope = height(steel, x)
        e = scale * (math.log(2.0 * (front - x) / a_d) + 0.5)
        miss = e - (z * cos_b - x * sin_b - base)
        step = miss / (-scale / (front - x) - (slope * cos_b - sin_b))
        x = min(max(x - step, steel.x_first), nearest)
        if abs(step) < 1e-8:
            break
    e = scale * (math.log(2.0 * (front - x) / a_d) + 0.5)
    if e < d and x > steel.x_first:
        return x, max(e, 0.0), math.nan
    tail = meet(steel, beta, x0, base, d, -1.0)  # pressed up to where the steel leaves the ice
    return tail, scale * (math.log(2.0 * max(front - tail, 1e-9) / a_d) + 0.5), tail


@kernel
def bottom_factor(law, t):
    """Pressure factor of the leaned bottom face: 1, or slip-line (1 + pi/2 - lean)/(1 + pi/2)."""
    return (1.0 + 0.5 * math.pi - math.atan(t)) / (1.0 + 0.5 * math.pi) if law.slip_line > 0.0 else 1.0


@kernel
def wall_factor(law, t):
    """Pressure factor of the immersed side wall: 1, or slip-line (1 + lean)/(1 + pi/2)."""
    return (1.0 + math.atan(t)) / (1.0 + 0.5 * math.pi) if law.slip_line > 0.0 else 1.0


@kernel
def pressed(steel, ice, law, patch, x, n):
    """(p, a): pressure, Pa, and loaded width, m, at x with penetration n."""
    if n <= 0.0 or x < patch.rear:
        return 0.0, 0.0
    p, s = ice.hardness * bottom_factor(law, patch.t), slant(steel, patch.t)
    if x >= patch.deepest or law.standing > 0.0:
        return p, loaded_width(n, s, steel.thickness, steel.hollow)
    p *= max(0.0, 1.0 - (patch.depth - n) / patch.rebound)
    return p, loaded_width(patch.depth if law.rear_full > 0.0 else n, s, steel.thickness, steel.hollow)


@kernel
def limits(steel, patch, out):
    """Fill `out` with the sorted ends of the pieces over which everything is smooth; returns how many."""
    out[0] = patch.tail
    count = 1 + _kinks(steel, patch, out[1:])
    out[:count].sort()
    return count


@kernel
def _loaded_limits(steel, patch, out):
    """As `limits`, over the loaded arc only."""
    count = _kinks(steel, patch, out)
    out[:count].sort()
    for i in range(count):
        out[i] = max(out[i], patch.rear)
    return count


@kernel
def _kinks(steel, patch, out):
    """Fill `out` with the ends of the loaded arc, the deepest point, and where a(n) has a kink; returns how many."""
    n_w, n_c = breaks(slant(steel, patch.t), steel.thickness, steel.hollow)
    out[0], out[1], out[2] = patch.rear, patch.deepest, patch.front
    count = 3
    for n in (n_w, n_c):
        if 0.0 < n < patch.depth:
            for side in (-1.0, 1.0):
                out[count] = meet(steel, patch.beta, patch.deepest, patch.base, patch.depth - n, side)
                count += 1
    return count


@kernel
def press(steel, ice, law, t, beta, d, gx, gw):
    """The contact at pitch beta and depth d: a Patch with its load and centre of pressure.

    N = integral p a dx, x_c = (1/N) integral p a x dx, by Gauss quadrature on each smooth piece.
    """
    return with_tail(steel, press_ahead(steel, ice, law, t, beta, d, gx, gw))


@kernel
def with_tail(steel, p):
    """The same contact with the rear end of its immersed arc solved for."""
    if not math.isnan(p.tail):
        return p
    tail = meet(steel, p.beta, p.deepest, p.base, p.depth, -1.0)
    return Patch(p.depth, p.beta, p.t, tail, p.rear, p.deepest, p.front, p.rebound, p.load, p.centre, p.base)


@kernel
def press_ahead(steel, ice, law, t, beta, d, gx, gw):
    """As `press`, but .tail is nan where the load does not ask for it: what the step loop calls."""
    x0, base = lowest(steel, beta)
    if d <= 0.0:
        return Patch(d, beta, t, x0, x0, x0, x0, 0.0, 0.0, x0, base)
    front = meet(steel, beta, x0, base, d, 1.0)
    rear, e, tail = _rear_end(steel, ice, law, t, beta, x0, base, d, front)
    patch = Patch(d, beta, t, tail, rear, x0, front, e, 0.0, x0, base)
    ends = np.empty(8)
    count = _loaded_limits(steel, patch, ends)
    sin_b, cos_b = math.sin(beta), math.cos(beta)
    load, moment = 0.0, 0.0
    for i in range(count - 1):
        half = 0.5 * (ends[i + 1] - ends[i])
        if half <= 0.0:
            continue
        for j in range(len(gx)):
            x = ends[i] + half * (1.0 + gx[j])
            n = d - (height(steel, x)[0] * cos_b - x * sin_b - base)
            p, a = pressed(steel, ice, law, patch, x, n)
            load += half * gw[j] * p * a
            moment += half * gw[j] * p * a * x
    return Patch(d, beta, t, tail, rear, x0, front, e, load, moment / load if load > 0.0 else x0, base)


@kernel
def _refused(p):
    """The same contact with its load marked as not carried."""
    return Patch(p.depth, p.beta, p.t, p.tail, p.rear, p.deepest, p.front, p.rebound, math.nan, p.centre, p.base)


@kernel
def settle(steel, ice, law, t, beta, load, guess, gx, gw):
    """The contact at pitch beta that carries `load`; its .load is nan when no depth up to 3 mm does.

    Secant on log N against log d (N grows about as a power of d), kept inside a bracket.
    """
    low, high = 1e-9, DEEPEST_ALLOWED
    d = min(max(guess, 2.0 * low), 0.5 * high)
    patch = press(steel, ice, law, t, beta, d, gx, gw)
    last_d, last_f, slope = d, 0.0, 1.0
    for i in range(80):
        f = math.log(max(patch.load, 1e-300) / load)
        if abs(f) < 1e-13:
            return patch
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
        patch = press(steel, ice, law, t, beta, d, gx, gw)
    if abs(patch.load / load - 1.0) > 1e-9:
        return _refused(patch)
    return patch


@kernel
def stand(steel, ice, law, t, load, line, gx, gw):
    """The contact that carries `load` with its centre of pressure at `line`: solves depth and pitch.

    .load is nan when no pitch does it. The centre moves with the deepest point, so secant on pitch in a bracket.
    """
    low, high = math.atan(steel.slope[0]), math.atan(steel.slope[len(steel.slope) - 1])
    at_line = min(max(line, steel.x_first), steel.x_first + (len(steel.z) - 1) * steel.dx)
    beta = min(max(math.atan(height(steel, at_line)[1]), low), high)
    patch = settle(steel, ice, law, t, beta, load, 5e-5, gx, gw)
    last_beta, last_f = beta, 0.0
    for i in range(80):
        f = patch.centre - line
        if math.isnan(patch.load) or abs(f) < 1e-11:
            return patch
        if f > 0.0:
            high = beta
        else:
            low = beta
        if i == 0:  # shift the deepest point by the miss
            x = min(max(patch.deepest - f, steel.x_first), steel.x_first + (len(steel.z) - 1) * steel.dx)
            new = math.atan(height(steel, x)[1])
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
