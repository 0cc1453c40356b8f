"""Tables of a part: the curve point by point, and heights with a tolerance band for a gauge check."""

import math
from pathlib import Path

import numpy as np
from scipy.interpolate import CubicHermiteSpline
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from experiments.analysis.grinding import Grinding
from experiments.run.files import csv_table
from sim.blade.curve import BladeCurve
from sim.blade.recipe import Recipe
from sim.quantities import MM_PER_M

POINT_M, GAUGE_M = 1e-3, 5e-3  # spacing of the two tables
_FINE_M = 0.05e-3  # spacing at which curvature is looked at for the band


def write_curve_csv(path: Path, recipe: Recipe) -> None:
    """The curve every millimetre of arc and where its curvature has a corner; mm and degrees, radius inf for a flat."""
    curve = recipe.curve()
    even = np.linspace(0.0, curve.length_m, math.ceil(curve.length_m / POINT_M - 1e-9) + 1)
    arc = np.unique(np.round(np.concatenate([even, curve.arc_m]), 12))
    arc = np.clip(arc, 0.0, curve.length_m)
    x, z, angle, curvature = curve.at(arc)
    with csv_table(path, ["arc from heel [mm]", "x [mm]", "z [mm]", "tangent angle [deg]", "radius [mm]"]) as writer:
        for s, a, b, phi, k in zip(arc, x, z, angle, curvature):
            radius = f"{MM_PER_M / k:.4f}" if k > 0 else "inf"
            writer.writerow([_mm(s), _mm(a), _mm(b), f"{math.degrees(phi):.7f}", radius])


def heights(curve: BladeCurve) -> CubicHermiteSpline:
    """z(x), m, as a function: cubic through heights and slopes of the curve's table; carried on past the ends."""
    first, dx, z, slope = curve.table
    return CubicHermiteSpline(first + dx * np.arange(len(z)), z, slope)


def band(recipe: Recipe, limits: Grinding) -> tuple[BladeCurve, BladeCurve]:
    """(low, high): the curves between which every recipe within the tolerances lies, level points and pitch together.

    Each radius may be off by the radius tolerance, and each boundary, sweeps included, by the boundary tolerance, all
    on their own. With z and slope nought at the level point z(x) = integral of (x - s) kappa(s) ds, with |x - s| on
    either side: more curvature anywhere lifts the curve everywhere. So the highest curve has at every place the most
    curvature that any such recipe has there: the greatest within the boundary tolerance, over 1 - radius tolerance. The
    lowest likewise. Both are themselves recipes, as long as no zone is shorter than twice the boundary tolerance, and
    that is checked in the tests. Curvature is looked at every 0.05 mm.
    Raises BladeError where a curve of the band turns too far to be one.
    """
    curve, tolerance = recipe.curve(), limits.radius_tolerance
    count = math.ceil(curve.length_m / _FINE_M) + 1
    s = np.linspace(0.0, curve.length_m, count)
    k = curve.at(s)[3]
    size = 2 * round(limits.boundary_tolerance_m / (s[1] - s[0])) + 1
    low = minimum_filter1d(k, size, mode="nearest") / (1.0 + tolerance)
    high = maximum_filter1d(k, size, mode="nearest") / (1.0 - tolerance)
    return tuple(BladeCurve(s, side, recipe.level_m, recipe.pitch_offset_rad) for side in (low, high))


def gauge(recipe: Recipe, limits: Grinding) -> dict[str, np.ndarray]:
    """Heights every 5 mm from the heel end and at the toe end, m: from_heel, x (from mid-runner), height, low, high.

    The blade lies on the gauge with its level point at height 0 and its tangent there as the recipe has it.
    """
    curve, (low, high) = recipe.curve(), band(recipe, limits)
    first, dx, z, _ = curve.table
    length = dx * (len(z) - 1)
    from_heel = np.append(np.arange(0.0, length - 1e-5, GAUGE_M), length)
    x = first + from_heel
    z, under, over = (heights(c)(x) for c in (curve, low, high))
    return {"from_heel": from_heel, "x": x, "height": z, "low": np.minimum(under, z), "high": np.maximum(over, z)}


def write_gauge_csv(path: Path, recipe: Recipe, limits: Grinding) -> None:
    """The gauge table, mm."""
    header = ["x from heel end [mm]", "x from mid-runner [mm]", "height [mm]", "lowest [mm]", "highest [mm]"]
    with csv_table(path, header) as writer:
        for row in zip(*gauge(recipe, limits).values()):
            writer.writerow([_mm(value) for value in row])


def _mm(value):
    return f"{MM_PER_M * value + 0.0:.6f}".replace("-0.000000", "0.000000")
