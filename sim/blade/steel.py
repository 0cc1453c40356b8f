"""A blade as the compiled functions read it: heights on a grid; height, deepest point and crossings of its curve."""

import math
from collections import namedtuple

from sim.compiled import kernel

Steel = namedtuple(
    "Steel", "x_first dx z slope thickness hollow tilt rigidity span bend about", defaults=(0.0, 0.0, 0.0, 0.0, 0.0)
)
Steel.__doc__ = """A curve on a uniform grid of x, with its section: what the compiled functions read of a blade.

x_first, dx: first place of the grid and its spacing, m; z: (n,) heights, m; slope: (n,) dz/dx, both unloaded;
thickness, hollow (radius, inf for flat): m; tilt: slope of the line through both edges against the blade, 0 when they
are level; rigidity: E I of the runner, N m^2; span: effective distance between its supports, m, 0 for a rigid one;
bend, 1/m, and about, m: how much a load flattens it, and the place that keeps its height and slope (see `flexed`).
"""


@kernel
def slant(steel: Steel, t: float) -> float:
    """Slope, >= 0, of the line through both edges against the ice: |tan(lean) + tilt|; the section's own `t`.

    A nearly upright blade whose outside edge stands proud rests on that edge: the section is then seen from there.
    """
    return abs(t + steel.tilt)


@kernel
def flattening(steel: Steel, load: float, arc: float) -> float:
    """Curvature, 1/m, that a load, N, spread evenly over `arc`, m, takes from the runner.

    A simply supported beam of span s under a load in its middle has the moment N (s/4 - r/2) at a distance r; averaged
    evenly over both ends of r along an arc l, with r_m = min(l, s/2):
    c = (N/EI)(2/l^2)(s l r_m/4 - (s/8 + l/4) r_m^2 + r_m^3/6). For l -> 0 it is N s/(4 EI) (beam theory, derived here).
    """
    if steel.span <= 0.0 or steel.rigidity <= 0.0 or arc <= 0.0:
        return 0.0
    s, r = steel.span, min(arc, 0.5 * steel.span)
    part = 0.25 * s * arc * r - (0.125 * s + 0.25 * arc) * r * r + r * r * r / 6.0
    return load / steel.rigidity * 2.0 / (arc * arc) * part


@kernel
def flexed(steel: Steel, bend: float, about: float) -> Steel:
    """The steel under load: heights less bend (x - about)^2/2, without rotation at `about`."""
    return Steel(
        steel.x_first, steel.dx, steel.z, steel.slope, steel.thickness, steel.hollow, steel.tilt, steel.rigidity,
        steel.span, bend, about,
    )  # fmt: skip


@kernel
def height(steel: Steel, x: float) -> tuple[float, float]:
    """(z, m; dz/dx) at x, m, of the steel as it is bent."""
    z, slope = unbent(steel, x)
    off = x - steel.about
    return z - 0.5 * steel.bend * off * off, slope - steel.bend * off


@kernel
def unbent(steel: Steel, x: float) -> tuple[float, float]:
    """(z, m; dz/dx) at x, m, without load, by cubic Hermite interpolation of the table."""
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
    if want <= _slope_at(steel, 0):
        i, r = 0, 0.0
    elif want >= _slope_at(steel, last):
        i, r = last, 0.0
    else:
        i, end = 0, last
        while end - i > 1:
            middle = (i + end) // 2
            if _slope_at(steel, middle) < want:
                i = middle
            else:
                end = middle
        z0, z1 = steel.z[i], steel.z[i + 1]
        m0, m1 = steel.slope[i] * steel.dx, steel.slope[i + 1] * steel.dx
        c2, c3 = 3.0 * (z1 - z0) - 2.0 * m0 - m1, 2.0 * (z0 - z1) + m0 + m1
        # the slope in the cell, m0 + 2 c2 r + 3 c3 r^2 over dx, rises with r: its root, written without cancellation
        more = (want - _slope_at(steel, i)) * steel.dx
        rise = 2.0 * c2 - steel.bend * steel.dx * steel.dx
        r = 2.0 * more / (rise + math.sqrt(max(rise * rise + 12.0 * c3 * more, 0.0)))
        r = min(max(r, 0.0), 1.0)
    x = steel.x_first + (i + r) * steel.dx
    return x, height(steel, x)[0] * cos_b - x * sin_b


@kernel
def _slope_at(steel: Steel, i: int) -> float:
    """dz/dx of the steel as it is bent, at a point of the table."""
    return steel.slope[i] - steel.bend * (steel.x_first + i * steel.dx - steel.about)


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
