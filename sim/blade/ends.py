"""The turned-up ends of a measured runner: how long, how short in radius, and where their blend begins."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import scipy

from sim.blade.outliers import SWEEP_RADIUS_M
from sim.blade.recipe import Sweep
from sim.blade.smooth import Rows, Smooth
from sim.blade.zones import ZoneModel

REACH_M = 0.080  # stretch fitted at an end: a sweep of up to 40 mm, its blend and part of the zone beside it
MARGIN_M = 0.002  # kept clear of the blend: an overlap spoils heights by its cube, 0.5 um for 2 mm


@dataclass(frozen=True)
class End:
    """sweep: None when the end shows none; cut_m: x where zones may be read from, clear of sweep and blend."""

    sweep: Sweep | None
    cut_m: float


def find_end(rows: Rows, smooth: Smooth, arc: tuple[np.ndarray, np.ndarray], toe: bool, seen: bool) -> End:
    """One end of the runner. rows: Rows of the whole trace; arc: (x, arc length); seen: a sweep is there.

    Fitted to the last 80 mm: curvature of the sweep, of the zone beside it, where they meet, and their blend, in a
    curve with linear ramps as `Recipe` has them. Sweeps that are no circles are cut back until the smooth curvature
    is that of a zone.
    """
    edge = rows.x_m.max() if toe else rows.x_m.min()
    if not seen:
        return End(None, float(edge))
    sign = -1.0 if toe else 1.0
    turned = replace(rows, x_m=sign * rows.x_m, steps=rows.steps)
    low = sign * edge
    near = turned.within(low, low + REACH_M)
    order = np.lexsort((near.x_m, near.passes))
    near = replace(
        near, x_m=near.x_m[order], z_m=near.z_m[order], weight=near.weight[order], steps=near.steps[order],
        passes=near.passes[order], rho=0.0,
    )  # fmt: skip
    model = ZoneModel(near, lambda x: sign * smooth.at(sign * x)[1])
    found = min(_tries(model, low), key=lambda f: f.cost)
    bound, blend = found.x
    coef = model.solve(found.x[None, :1], found.x[1:])[0][0]
    level2 = 2 * found.cost / max(len(near.x_m) - 6, 1)
    cov = level2 * np.linalg.pinv(found.jac.T @ found.jac)
    doubt = np.sqrt(max(cov[0, 0] + cov[0, 1] + cov[1, 1] / 4, 0.0))
    cut = bound + blend / 2 + MARGIN_M + min(2 * doubt, 0.005)
    inner = np.arange(cut, low + REACH_M, 1e-3)
    _, _, kappa, sd = smooth.at(sign * inner)
    bent = np.flatnonzero(kappa - 3 * sd > 1 / SWEEP_RADIUS_M)
    if len(bent):
        cut = inner[bent[-1]] + 1e-3 + MARGIN_M
    length = abs(np.interp(sign * bound, *arc) - np.interp(edge, *arc))
    return End(Sweep(float(length), float(1 / max(coef[0], 1 / SWEEP_RADIUS_M))), float(sign * cut))


def _tries(model: ZoneModel, low: float) -> "Iterator[scipy.optimize.OptimizeResult]":
    """Fits of (where sweep and zone meet, blend) from several starts."""
    scale = np.array([1e-3, 1e-3])
    for start in (0.010, 0.025):
        yield scipy.optimize.least_squares(
            lambda t: model.residuals(t[None])[0] / 1e-6, [low + start, 0.015], x_scale=scale,
            bounds=([low + 1e-3, 1e-3], [low + 0.060, 0.050]), diff_step=1e-5, xtol=1e-7, ftol=1e-7,
        )  # fmt: skip
