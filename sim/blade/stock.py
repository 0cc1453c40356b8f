"""Steel removed to grind one curve out of another."""

import numpy as np

from sim.blade.curve import BladeCurve
from sim.errors import BladeError


def steel_removed(candidate: BladeCurve, stock: BladeCurve) -> tuple[float, float]:
    """(greatest depth, m; area, m^2) of steel between the stock curve and the candidate ground out of it.

    The candidate keeps its level point and pitch and is raised just until it lies inside the stock everywhere
    (no tilt: pitch is part of a recipe). Both are compared over the x they share.
    Raises BladeError when the runners differ in length by more than 2 mm.
    """
    if abs(candidate.length_m - stock.length_m) > 2e-3:
        raise BladeError(
            f"steel removed: the stock runner is {stock.length_m * 1e3:.0f} mm and the candidate "
            f"{candidate.length_m * 1e3:.0f} mm; compare runners of one length."
        )
    (x_a, dx_a, z_a, _), (x_b, dx_b, z_b, _) = candidate.table, stock.table
    start = max(x_a, x_b)
    stop = min(x_a + dx_a * (len(z_a) - 1), x_b + dx_b * (len(z_b) - 1))
    x = np.linspace(start, stop, 2001)
    high = np.interp(x, x_a + dx_a * np.arange(len(z_a)), z_a)
    low = np.interp(x, x_b + dx_b * np.arange(len(z_b)), z_b)
    removed = (high - low) - np.min(high - low)
    return float(np.max(removed)), float(np.trapezoid(removed, x))
