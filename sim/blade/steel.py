"""A blade as the compiled functions read it: heights on a grid; height, deepest point and crossings of its curve."""

import math
from collections import namedtuple

import numpy as np

from sim.compiled import kernel

Steel = namedtuple("Steel", "x_first dx z slope thickness hollow tilt", defaults=(0.0,))
Steel.__doc__ = """A curve on a uniform grid of x, with its section: what the compiled functions read of a blade.

x_first, dx: first place of the grid and its spacing, m; z: (n,) heights, m; slope: (n,) dz/dx; thickness, hollow
(radius, inf for flat): m; tilt: slope of the line through both edges against the blade, 0 when they are level.
"""


@kernel
def slant(steel: Steel, t: float) -> float:
    """Slope, >= 0, of the line through both edges against the ice: |tan(lean) + tilt|; the section's own `t`.

    A nearly upright blade whose outside edge stands proud rests on that edge: the section is then seen from there.
    """
    return abs(t + steel.tilt)


@kernel
def height(steel: Steel, x: float) -> tuple[float, float]:
    """(z, m; dz/dx) at x, m, by cubic Hermite interpolation of the table."""
    per_dx = 1.0 / steel.dx  # a product, for a compiler may move this out of a loop but not a division
    q = (x - steel.x_first) * per_dx
    i = min(max(int(q), 0), len(steel.z) - 2)
    r = q - i
    z0, z1 = steel.z[i], steel.z[i + 1]
    m0, m1 = steel.slope[i] * steel.dx, steel.slope[i + 1] * steel.dx
    c2 = 3.0 * (z1 - z0) - 2.0 * m0 - m1
    c3 = 2.0 * (z0 - z1) + m0 + m1
    return z0 + r * (m0 + r * (c2 + r * c3)), (m0 + r * (2.0 * c2 + r * 3.0 * c3)) * per_dx


@kernel
def lowest(steel: Steel, beta: float) -> tuple[float, float]:
    """(x, height) of the deepest point at pitch beta, m: where the tangent is parallel to the ice, or an end.

    The height is in the pitched frame, z cos(beta) - x sin(beta).
    """
    sin_b, cos_b = math.sin(beta), math.cos(beta)
    want = sin_b / cos_b
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
        # the slope in the cell, m0 + 2 c2 r + 3 c3 r^2 over dx, rises with r: its root, written without cancellation
        more = want * steel.dx - m0
        r = 2.0 * more / (2.0 * c2 + math.sqrt(max(4.0 * c2 * c2 + 12.0 * c3 * more, 0.0)))
        r = min(max(r, 0.0), 1.0)
    x = steel.x_first + (i + r) * steel.dx
    return x, height(steel, x)[0] * cos_b - x * sin_b


@kernel
def meet(steel: Steel, beta: float, x0: float, base: float, level: float, side: float) -> float:
    """x, m, ahead (side +1) or behind (-1) of x0 where the gap reaches `level`; the end of the runner if it does not.

    x0, base: place and height of the deepest point at pitch beta, from `lowest`; level: m.
    """
    if level <= 0.0:
        return x0
    end = steel.x_first + (len(steel.z) - 1) * steel.dx if side > 0 else steel.x_first
    probe, sin_b, cos_b = x0 + side * min(abs(end - x0), 0.004), math.sin(beta), math.cos(beta)
    near = height(steel, probe)[0] * cos_b - probe * sin_b - base
    guess = x0 + (probe - x0) * math.sqrt(level / max(near, 1e-12))
    return meet_from(steel, sin_b, cos_b, x0, base, level, side, guess)


@kernel
def meet_from(
    steel: Steel, sin_b: float, cos_b: float, x0: float, base: float, level: float, side: float, x: float
) -> float:
    """As `meet`, from a guess x, with the sine and cosine of the pitch.

    The gap is convex: Newton, kept between the last place seen with less gap and the last with more.
    """
    end = steel.x_first + (len(steel.z) - 1) * steel.dx if side > 0 else steel.x_first
    inner, outer, past_end = x0, end, True  # past_end: no place with more gap seen yet
    if (end - x) * side <= 0.0:
        x = end
    for _ in range(60):
        z, slope = height(steel, x)
        miss = z * cos_b - x * sin_b - base - level
        if miss > 0.0:
            outer, past_end = x, False
        elif x == end:
            return end
        else:
            inner = x
        rate = slope * cos_b - sin_b
        new = x - miss / rate if rate * side > 0.0 else 0.5 * (inner + outer)
        if (new - inner) * (new - outer) > 0.0:
            new = end if past_end else 0.5 * (inner + outer)
        if abs(new - x) < 1e-8:  # Newton: the error left is about the square of the last step
            return new
        x = new
    return x
