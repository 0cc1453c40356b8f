"""Steel removed to grind one curve out of another."""

from dataclasses import dataclass

import numpy as np
import scipy

from sim.blade.curve import BladeCurve
from sim.errors import BladeError

POINTS = 2001  # places looked at along the runner
MOST_TILT = 0.02  # greatest slope tried; steel that lies more askew than this is not the same runner


@dataclass(frozen=True)
class Removal:
    """Steel to grind away. x_m: (n,) blade frame, heel to toe; depth_m: (n,) to grind there.

    tilt_rad: by how much the new curve lies toe-down in the old steel, against its own level; 0 unless tilt was free.
    """

    x_m: np.ndarray
    depth_m: np.ndarray
    tilt_rad: float

    @property
    def most_m(self) -> float:
        """Greatest depth, m."""
        return float(self.depth_m.max())

    @property
    def area_m2(self) -> float:
        """Side-view area, m^2."""
        return float(np.trapezoid(self.depth_m, self.x_m))

    def at(self, x_m: float) -> float:
        """Depth, m, at a place x_m (blade frame, m), interpolated; beyond the ends, that of the nearest end."""
        return float(np.interp(x_m, self.x_m, self.depth_m))


def removal(
    candidate: BladeCurve, stock: BladeCurve, free_tilt: bool = False, within: tuple[float, float] = (-1.0, 1.0)
) -> Removal:
    """Steel between the stock curve and the candidate ground out of it.

    The candidate is raised just until it lies inside the stock everywhere: depth = dz - min dz, dz = z_new - z_old over
    the x they share. free_tilt: it is also turned to where the area is least, as when the old steel's level is not
    known; dz - b x - min(dz - b x) has an area convex in the slope b. Else pitch counts as part of the recipe.
    within: (from, to) x looked at, m, for turned-up ends that are left as they are.
    Raises BladeError when the runners differ in length by more than 2 mm.
    """
    if abs(candidate.length_m - stock.length_m) > 2e-3:
        raise BladeError(
            f"steel removed: the stock runner is {stock.length_m * 1e3:.0f} mm and the candidate "
            f"{candidate.length_m * 1e3:.0f} mm; compare runners of one length."
        )
    (x_a, dx_a, z_a, _), (x_b, dx_b, z_b, _) = candidate.table, stock.table
    start = max(x_a, x_b, within[0])
    stop = min(x_a + dx_a * (len(z_a) - 1), x_b + dx_b * (len(z_b) - 1), within[1])
    x = np.linspace(start, stop, POINTS)
    apart = np.interp(x, x_a + dx_a * np.arange(len(z_a)), z_a) - np.interp(x, x_b + dx_b * np.arange(len(z_b)), z_b)

    def depth(slope: float) -> np.ndarray:
        turned = apart - slope * x
        return turned - turned.min()

    slope = 0.0
    if free_tilt:
        span = (-MOST_TILT, MOST_TILT)
        slope = float(scipy.optimize.minimize_scalar(lambda b: depth(b).sum(), bounds=span, method="bounded").x)
    return Removal(x, depth(slope), float(np.arctan(slope)))


def steel_removed(candidate: BladeCurve, stock: BladeCurve) -> tuple[float, float]:
    """(greatest depth, m; area, m^2) of `removal` without tilt. Raises BladeError as it does."""
    found = removal(candidate, stock)
    return found.most_m, found.area_m2
