"""A reading held against a recipe, against the other blade, and against what it was ground to."""

from dataclasses import dataclass, replace

import numpy as np

from sim.blade.curve import BladeCurve
from sim.blade.reading import BladeReading, Interval
from sim.blade.recipe import Recipe
from sim.blade.smooth import Z90
from sim.errors import BladeError

STEP_M = 1e-3  # between the places compared
UNWORN = 0.2  # of the working part at either end, taken as not worn (common practice, no published source)
LEAST_UNWORN_M = 0.008  # kept at either end
WEAR_DRAWS = 2000


@dataclass(frozen=True)
class Comparison:
    """Blade a less blade b. x_m, dz_m, low_m, high_m: heights, best offset and tilt removed, 90 % band.

    radii_m, boundaries_m: differences of the zones, heel to toe; empty when the numbers of zones differ.
    """

    x_m: np.ndarray
    dz_m: np.ndarray
    low_m: np.ndarray
    high_m: np.ndarray
    radii_m: tuple[Interval, ...]
    boundaries_m: tuple[Interval, ...]


@dataclass(frozen=True)
class Wear:
    """Steel lost over position, m, with its 90 % band. area_m2: lost over the working part's side view.

    centroid_m: x of the middle of what was lost, a hint of where the skater stands; None when no loss is beyond noise.
    unworn: (k,) bool, the places that fixed offset and tilt.
    """

    x_m: np.ndarray
    lost_m: np.ndarray
    low_m: np.ndarray
    high_m: np.ndarray
    area_m2: Interval
    centroid_m: Interval | None
    unworn: np.ndarray


def deviation(
    reading: BladeReading, target: Recipe | BladeCurve
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """x, measured less target heights (m) over the working part, and the 90 % band: (x, dz, low, high).

    Both are laid with their middles and the tangents there on each other; then the best line (offset and tilt) goes.
    Raises BladeError when target and blade overlap by under half of the working part.
    """
    x = _grid(reading.working_m, _reach(target))
    gap = reading.smooth.at(x)[0] - _heights(target, x)
    line = _without_line(x, np.ones(len(x)))
    return x, line @ gap, *_band(line @ gap, line @ reading.smooth.matrix(x), reading.smooth.cov_m2)


def compare(a: BladeReading, b: BladeReading) -> Comparison:
    """Two blades, such as left and right: heights of a less b, and differences of radii and boundaries.

    Raises BladeError when their working parts overlap by under half of that of a.
    """
    x = _grid(a.working_m, b.working_m)
    line = _without_line(x, np.ones(len(x)))
    dz = line @ (a.smooth.at(x)[0] - b.smooth.at(x)[0])
    var = sum(
        np.sum((line @ r.smooth.matrix(x)) @ r.smooth.cov_m2 * (line @ r.smooth.matrix(x)), axis=1) for r in (a, b)
    )
    half = Z90 * np.sqrt(var.clip(0))
    zones = len(a.radii_m)
    if len(b.radii_m) != zones:
        return Comparison(x, dz, dz - half, dz + half, (), ())
    rng = np.random.default_rng(1862)
    ours, theirs = (r.draw_values(rng.standard_normal((WEAR_DRAWS, r.unknowns))) for r in (a, b))
    radii = np.exp(ours[:, :zones]) - np.exp(theirs[:, :zones])
    middle = [p.value - q.value for p, q in zip((*a.radii_m, *a.boundaries_m), (*b.radii_m, *b.boundaries_m))]
    spans = [
        Interval(m, *(float(q) for q in np.quantile(d, [0.05, 0.95])))
        for m, d in zip(middle, np.hstack([radii, ours[:, zones:] - theirs[:, zones:]]).T)
    ]
    return Comparison(x, dz, dz - half, dz + half, tuple(spans[:zones]), tuple(spans[zones:]))


def wear(reading: BladeReading, ground: Recipe | None = None) -> Wear:
    """Steel lost since the blade was ground to a recipe (default: the reading's own `ground`).

    A gauge knows neither how high the blade was nor how it lay; both are fixed by the outer fifths of the working
    part, taken as not worn. One-sided: of those, places standing above their line by over two standard deviations are
    worn too and leave it, as long as 8 mm are left at either end. Steel lost there as well is not seen: what is
    given is a lower bound. The centroid is that of the whole loss, noise of both signs included, so that it is not
    drawn to the middle.
    Raises BladeError when no ground recipe is known, or it and the blade overlap by under half of the working part.
    """
    ground = ground or reading.ground
    if ground is None:
        raise BladeError("wear: the recipe the blade was ground to is needed; give one.")
    x = _grid(reading.working_m, _reach(ground))
    gap, matrix, cov = reading.smooth.at(x)[0] - _heights(ground, x), reading.smooth.matrix(x), reading.smooth.cov_m2
    part = UNWORN * (x[-1] - x[0])
    heel, toe = x <= x[0] + part, x >= x[-1] - part
    for _ in range(20):
        line = _without_line(x, heel | toe)
        lost = line @ gap
        sd = np.sqrt(np.sum((line @ matrix) @ cov * (line @ matrix), axis=1).clip(0))
        worn = lost > 2 * sd + 1e-9
        closer = [end & ~worn if np.sum(end & ~worn) * STEP_M >= LEAST_UNWORN_M else end for end in (heel, toe)]
        if np.array_equal(closer[0], heel) and np.array_equal(closer[1], toe):
            break
        heel, toe = closer
    low, high = _band(lost, line @ matrix, cov)
    spread = line @ matrix @ np.linalg.cholesky(cov + 1e-12 * np.trace(cov) / len(cov) * np.eye(len(cov)))
    draws = lost + np.random.default_rng(1867).standard_normal((WEAR_DRAWS, spread.shape[1])) @ spread.T
    areas = np.trapezoid(draws, x, axis=1)
    area = Interval(float(np.trapezoid(lost, x)), *(float(q) for q in np.quantile(areas, [0.05, 0.95])))
    centroid = None
    if area.low > 0:
        places = np.quantile(np.trapezoid(draws * x, x, axis=1) / areas, [0.05, 0.95])
        centroid = Interval(float(np.trapezoid(lost * x, x) / area.value), *(float(q) for q in places))
    return Wear(x, lost, low, high, area, centroid, heel | toe)


def _grid(first: tuple[float, float], second: tuple[float, float]) -> np.ndarray:
    low, high = max(first[0], second[0]), min(first[1], second[1])
    if high - low < max(0.5 * (first[1] - first[0]), 0.02):
        raise BladeError(
            f"comparison: the curves share only {max(high - low, 0) * 1e3:.0f} mm; both must cover the working part."
        )
    return np.linspace(low, high, round((high - low) / STEP_M) + 1)


def _level(target: Recipe | BladeCurve) -> BladeCurve:
    """The curve of a recipe, or a curve, level at mid-runner as a reading is."""
    curve = target.curve() if isinstance(target, Recipe) else target
    return replace(curve, level_m=0.0, pitch_offset_rad=0.0)


def _reach(target: Recipe | BladeCurve) -> tuple[float, float]:
    x = _level(target).at([0.0, _level(target).length_m])[0]
    return float(x[0]), float(x[1])


def _heights(target: Recipe | BladeCurve, x: np.ndarray) -> np.ndarray:
    """Heights of the target at x; Newton on x(s), which rises strictly."""
    curve = _level(target)
    arc = np.clip(curve.length_m / 2 + x, 0.0, curve.length_m)
    for _ in range(8):
        here, _, angle, _ = curve.at(arc)
        arc = np.clip(arc - (here - x) / np.cos(angle), 0.0, curve.length_m)
    return curve.at(arc)[1]


def _without_line(x: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Matrix that removes the weighted least-squares line through (x, .)."""
    columns = np.stack([np.ones(len(x)), x / np.abs(x).max()], axis=1)
    weighted = columns * np.asarray(weight, float)[:, None]
    return np.eye(len(x)) - columns @ np.linalg.solve(weighted.T @ columns, weighted.T)


def _band(values: np.ndarray, matrix: np.ndarray, cov: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    half = Z90 * np.sqrt(np.sum(matrix @ cov * matrix, axis=1).clip(0))
    return values - half, values + half
