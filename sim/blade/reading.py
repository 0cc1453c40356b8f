"""A worn blade read from a gauge's heights: its radii, where they meet, and how sure that is."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy
from numpy.typing import ArrayLike
from threadpoolctl import threadpool_limits

from sim.blade.circle import best_circle
from sim.blade.ends import find_end
from sim.blade.outliers import FINEST_M, SWEEP_DRIFT
from sim.blade.recipe import Recipe, Sweep
from sim.blade.smooth import Z90, Rows, Smooth, fit
from sim.blade.trace import Flag, Trace, arc_lengths, bend_of, clean
from sim.blade.zones import ZoneFit, ZoneModel, best_fits, sampled
from sim.errors import BladeError

FLATTEST_M, SHORTEST_M = 60.0, 0.5  # no blade is skated beyond these (common practice, no published source)
HOLLOW_SD = 4.0  # a stretch is concave where its curvature lies so many standard deviations below 0
CORRELATED = 0.3  # residuals count as correlated from this lag-1 correlation on
LEAST_WORKING_M = 0.060  # shortest working part that is read
LEAST_GAP_M = 0.010  # least distance between the boundaries of a drawn recipe
SHORTEST_SWEEP_M = 0.005  # a shorter one is not drawn
_NODES = np.linspace(-3, 3, 61)  # standard normal places at which the posterior's quantiles are kept


@dataclass(frozen=True)
class Interval:
    """A value (the median) and its 90 % interval, 5 to 95 %."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class SingleRadius:
    """The circle nearest the working part. rms_m, greatest_m: distances of the smoothed curve from it."""

    radius_m: Interval
    rms_m: float
    greatest_m: float


@dataclass(frozen=True)
class BladeReading:
    """What a trace says of a blade. Blade frame: x and arc length toe-positive from the middle of the trace, z up.

    length_m: whole runner; trace_m: arc length measured; working_m: (heel, toe) x between the sweeps, where zones are
    read. single: best single radius. radii_m, boundaries_m (arc length from mid-runner), blend_m: the zones, heel to
    toe; scores: BIC for 1, 2, ... zones, lower is better. heel_sweep, toe_sweep: None when the trace shows none.
    level_from_trace_m: arc length where the trace as measured is level; it says something of the blade only if the
    gauge was set level with the boot. None when that is off the steel.
    sigma_m: noise of one reading about the smooth curve; sigma_repeat_m: the same from passes alone, None for one pass.
    lag1: correlation of neighbouring residuals; effective_rows: independent points they are worth.
    smooth: heights and curvature with their covariance. x_m, z_m, flagged, residual_m: (n,) the rows given.
    flags, tilts_rad, offsets_m, upright: see `Trace`. notes: sentences a person should read.
    quantiles: (unknowns, 61) of log radii and boundaries at normal places -3 to 3; mixing: (unknowns, unknowns) root of
    their correlation. ground: the recipe it was ground to, when told.
    """

    length_m: float
    trace_m: float
    working_m: tuple[float, float]
    single: SingleRadius
    radii_m: tuple[Interval, ...]
    boundaries_m: tuple[Interval, ...]
    blend_m: Interval
    scores: tuple[float, ...]
    heel_sweep: Sweep | None
    toe_sweep: Sweep | None
    level_from_trace_m: Interval | None
    sigma_m: float
    sigma_repeat_m: float | None
    lag1: float
    effective_rows: float
    smooth: Smooth
    x_m: np.ndarray
    z_m: np.ndarray
    flagged: np.ndarray
    residual_m: np.ndarray
    flags: tuple[Flag, ...]
    tilts_rad: tuple[float, ...]
    offsets_m: tuple[float, ...]
    upright: bool
    notes: tuple[str, ...]
    quantiles: np.ndarray
    mixing: np.ndarray
    ground: Recipe | None = None

    @property
    def unknowns(self) -> int:
        """Length of the vector that `drawn` takes: log radii, then boundaries."""
        return len(self.quantiles)

    def smoothed(self, step_m: float = 1e-3) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """x, z (m), curvature and its 90 % band (1/m), on a grid over the whole trace."""
        low, high = self.smooth.centre_m - self.smooth.half_m, self.smooth.centre_m + self.smooth.half_m
        x = np.linspace(low, high, round((high - low) / step_m) + 1)
        z, _, kappa, sd = self.smooth.at(x)
        return x, z, kappa, kappa - Z90 * sd, kappa + Z90 * sd

    def recipe(self, name: str, level_from_trace: bool = False) -> Recipe:
        """The reading as a recipe. Raises BladeError when the trace's level point is asked for and there is none."""
        values = [np.log(r.value) for r in self.radii_m] + [b.value for b in self.boundaries_m]
        if level_from_trace and self.level_from_trace_m is None:
            raise BladeError(
                f"reading {name!r}: the trace is nowhere level on the steel; level the gauge with the boot."
            )
        return self._recipe(name, values, self.level_from_trace_m.value if level_from_trace else 0.0)

    def drawn(self, z: ArrayLike, name: str = "drawn") -> Recipe:
        """A recipe drawn from the reading's uncertainty. z: (unknowns,) standard normal; z = 0 gives `recipe`.

        A Gaussian copula: correlated normals, each sent through its own posterior quantiles (within 3 standard
        deviations). Boundaries are kept at least 10 mm apart, so that a valid recipe always results.
        Raises BladeError for a z of another length, or one that is not finite.
        """
        z = np.asarray(z, float)
        if z.shape != (self.unknowns,) or not np.all(np.isfinite(z)):
            raise BladeError(f"reading: a draw takes {self.unknowns} finite numbers, not shape {z.shape}.")
        return self._recipe(name, self.draw_values(z), 0.0)

    def draw_values(self, z: ArrayLike) -> np.ndarray:
        """Log radii (of m) and boundaries (m) for standard normals z (..., unknowns); same shape."""
        mixed = np.asarray(z, float) @ self.mixing.T
        return np.stack([np.interp(mixed[..., i], _NODES, q) for i, q in enumerate(self.quantiles)], axis=-1)

    def _recipe(self, name: str, values: Sequence[float], level: float) -> Recipe:
        zones = len(self.radii_m)
        radii = tuple(float(np.exp(v)) for v in values[:zones])
        heel, toe = (self._sweep(found, end) for end, found in ((0, self.heel_sweep), (1, self.toe_sweep)))
        low, high = -self.length_m / 2 + heel.length_m, self.length_m / 2 - toe.length_m
        gap = min(LEAST_GAP_M, (high - low) / (zones + 1))
        bounds = np.array(values[zones:], float)
        for i in range(len(bounds)):
            bounds[i] = max(bounds[i], (bounds[i - 1] if i else low) + gap)
        for i in reversed(range(len(bounds))):
            bounds[i] = min(bounds[i], (bounds[i + 1] if i + 1 < len(bounds) else high) - gap)
        shares = np.diff([low, *bounds, high])
        blend = min([self.blend_m.value, *shares, *(2 * s.length_m for s in (heel, toe) if s.length_m > 0)])
        family = "single_radius" if zones == 1 else "zoned"
        return Recipe(
            name, family, radii, tuple(float(s) for s in shares), self.length_m, float(blend) * (1 - 1e-9), level,
            heel_sweep=heel, toe_sweep=toe,
        )  # fmt: skip

    def _sweep(self, found: Sweep | None, end: int) -> Sweep:
        """As found, with what the trace does not reach; else as ground; else a default where the trace stops short."""
        missing, most = (self.length_m - self.trace_m) / 2, self.length_m / 4
        if found is not None:
            return Sweep(float(np.clip(found.length_m + missing, SHORTEST_SWEEP_M, most)), found.radius_m)
        if missing < SHORTEST_SWEEP_M:
            return Sweep(0.0)
        if self.ground is not None:
            return (self.ground.heel_sweep, self.ground.toe_sweep)[end]
        return Sweep(min(missing, most))


@threadpool_limits.wrap(limits=1, user_api="blas")  # more threads are slower on matrices this small, and change bits
def read_blade(
    position_m: ArrayLike,
    height_m: ArrayLike,
    pass_id: ArrayLike | None = None,
    *,
    first_end: str = "heel",
    heights: str = "auto",
    length_m: float | None = None,
    ground: Recipe | None = None,
) -> BladeReading:
    """Read a blade from gauge heights, with 90 % intervals.

    position_m, height_m: (n,) m, any order and spacing. pass_id: (n,) integers; each pass has its own offset and tilt,
    positions share one zero. first_end: 'heel' or 'toe', the end position grows from. heights: 'up' (away from the
    ice), 'down', 'auto' (as it bends). length_m: whole runner; the trace is taken as its middle. ground: the recipe it
    was ground to, for its length and for sweeps that the trace does not reach.
    Raises BladeError for what is no trace, no blade, hollow, or too noisy.
    """
    trace = clean(position_m, height_m, pass_id, first_end, heights)
    rows = trace.rows
    rough = _smooth(rows, _swept(rows, trace.sweeps))
    arc, middle = arc_lengths(rough, rows)
    ends = [find_end(rows, rough, arc, end == 1, trace.sweeps[end]) for end in (0, 1)]
    working = (ends[0].cut_m, ends[1].cut_m)
    if working[1] - working[0] < LEAST_WORKING_M:
        raise BladeError(
            f"reading: only {max(working[1] - working[0], 0) * 1e3:.0f} mm lie between the turned-up ends; measure at "
            f"least {LEAST_WORKING_M * 1e3:.0f} mm of the working part."
        )
    smooth = _smooth(rows, working)
    kappa, doubt, _ = _single(rows.within(*working), smooth)
    _refuse(kappa, doubt, smooth, working)
    model, found, scores, lag1, effective = _zones(rows, smooth, working)
    rows = replace(rows, rho=model.rows.rho)
    if rows.rho:
        smooth = _smooth(rows, working)
        kappa, doubt, _ = _single(rows.within(*working), smooth)
        _refuse(kappa, doubt, smooth, working)
    kappa, doubt, single = _single(rows.within(*working), smooth)
    found = sampled(model, found)
    arc, middle = arc_lengths(smooth, rows)
    zones = len(found.kappa)
    x_arc = (arc[0], arc[1] - np.interp(middle, *arc))
    draws = np.column_stack([-np.log(found.draws[:, :zones]), np.interp(found.draws[:, zones:-1], *x_arc)])
    quantiles, mixing = _copula(draws)
    length, trace_m = _length(length_m, ground, float(arc[1][-1]))
    level = _level_point(trace.tilts_rad, smooth, x_arc)
    residual = trace.z_m - smooth.at(trace.x_m)[0]
    repeat = _repeat(rows, smooth)
    notes = _notes(trace, lag1, effective, rows, found, repeat, smooth.sigma_m, level)
    return BladeReading(
        length, trace_m, working, single, tuple(_interval(np.exp(d)) for d in draws.T[:zones]),
        tuple(_interval(d) for d in draws.T[zones:]), _interval(found.draws[:, -1]), scores, ends[0].sweep,
        ends[1].sweep, level, smooth.sigma_m, repeat, lag1, effective, smooth, trace.x_m, trace.z_m, trace.flagged,
        residual, trace.flags, trace.tilts_rad, trace.offsets_m, trace.upright, notes, quantiles, mixing, ground,
    )  # fmt: skip


def _swept(rows: Rows, sweeps: tuple[bool, bool]) -> tuple[float, float]:
    """A first guess of the working part: 45 mm off an end that turns up."""
    return rows.x_m.min() + 0.045 * sweeps[0], rows.x_m.max() - 0.045 * sweeps[1]


def _smooth(rows: Rows, working: tuple[float, float]) -> Smooth:
    """The smooth curve of the whole trace. Its smoothing is that of the working part; sweeps get a looser one.

    One smoothing for all would be set by the sweeps, where curvature changes 80 times as fast, and leave noise.
    """
    low, high = working
    if low <= rows.x_m.min() and high >= rows.x_m.max():
        return fit(rows, bend_of(rows))
    inner = rows.within(low, high)
    part = fit(inner, bend_of(inner))
    loose = part.sigma_m**2 / SWEEP_DRIFT / part.stiffness_m5
    return fit(rows, bend_of(inner), lambda x: np.where((x < low) | (x > high), loose, 1.0), part)


def _single(rows: Rows, smooth: Smooth) -> tuple[float, float, SingleRadius]:
    """Curvature of the best circle, its standard deviation, and the reading of it.

    Noise moves it as it moves the quadratic term of a least-squares parabola with the passes' offsets and tilts free.
    """
    kappa, _ = best_circle(rows.x_m, rows.z_m, rows.weight)
    model = ZoneModel(replace(rows, rho=0.0), lambda x: smooth.at(x)[1])
    doubt = smooth.sigma_m * np.sqrt((1 + rows.rho) / (1 - rows.rho) / (model.circle @ model.circle))
    half = scipy.special.stdtrit(model.freedom(1), 0.95) * doubt
    grid = np.linspace(rows.x_m.min(), rows.x_m.max(), 241)
    _, off = best_circle(grid, smooth.at(grid)[0], np.ones(len(grid)))
    low, high = 1 / max(kappa + half, 1e-9), 1 / max(kappa - half, 1e-9)
    radius = Interval(1 / max(kappa, 1e-9), float(low), float(high))
    return kappa, doubt, SingleRadius(radius, float(np.sqrt(np.mean(off**2))), float(np.abs(off).max()))


def _refuse(kappa: float, doubt: float, smooth: Smooth, working: tuple[float, float]) -> None:
    if kappa < -3 * doubt and kappa < -1 / FLATTEST_M:
        depth = abs(kappa) * (working[1] - working[0]) ** 2 / 8
        raise BladeError(
            f"reading: the working part is concave, hollow by {depth * 1e6:.0f} um over "
            f"{(working[1] - working[0]) * 1e3:.0f} mm, and cannot stand on ice; grind it convex or state the sign."
        )
    if kappa < 2 * doubt or kappa < 1 / FLATTEST_M:
        raise BladeError(
            f"reading: curvature {kappa:.4f} +- {doubt:.4f} 1/m is flat within its noise or R over {FLATTEST_M:.0f} m, "
            "and a flat bar is not a blade; measure the running surface along the blade."
        )
    if kappa > 1 / SHORTEST_M:
        raise BladeError(f"reading: radius {1 / kappa:.2f} m is below {SHORTEST_M} m; give positions and heights in m.")
    if Z90 * doubt > 0.5 * kappa:
        raise BladeError(
            f"reading: with noise of {smooth.sigma_m * 1e6:.0f} um the radius {1 / kappa:.1f} m is unsure by over "
            "+-50 %; measure more points or with a finer gauge."
        )
    x = np.linspace(*working, 401)
    z, _, bend, sd = smooth.at(x)
    hollow = bend < -HOLLOW_SD * sd
    if hollow.any():
        worst = int(np.argmin(np.where(hollow, bend / np.maximum(sd, 1e-12), 0.0)))
        inside = bend < 0
        first = worst - int(np.argmin(inside[worst::-1])) + 1 if not inside[: worst + 1].all() else 0
        last = worst + int(np.argmin(inside[worst:])) - 1 if not inside[worst:].all() else len(x) - 1
        chord = np.interp(x[first : last + 1], x[[first, last]], z[[first, last]])
        raise BladeError(
            f"reading: concave from {x[first] * 1e3:.0f} to {x[last] * 1e3:.0f} mm (from mid-runner, toe positive), "
            f"hollow by {np.max(z[first : last + 1] - chord) * 1e6:.1f} um, and cannot stand on ice; grind it convex."
        )


def _zones(
    rows: Rows, smooth: Smooth, working: tuple[float, float]
) -> tuple[ZoneModel, ZoneFit, tuple[float, ...], float, float]:
    """Model, best fit, scores, lag-1 correlation and effective number of points.

    When residuals are correlated the fits are repeated with the correlation taken out, until it settles.
    """
    part, slope = rows.within(*working), lambda x: smooth.at(x)[1]
    plain = ZoneModel(part, slope)
    model, lag1 = plain, 0.0
    for _ in range(5):
        fits = best_fits(model)
        found = _distinct(model, fits)
        residual = plain.residuals(np.append(found.bounds_m, found.blend_m)[None])[0]
        before, (lag1, pairs) = model.rows.rho, _lag1(residual, part)
        known = np.std(residual) > FINEST_M  # of exact heights only rounding is left
        if not known or lag1 <= max(CORRELATED, 2.33 / np.sqrt(pairs)):
            break
        tried = [ZoneModel(replace(part, rho=rho), slope) for rho in np.arange(0.1, 0.951, 0.05)]
        best = max(tried, key=lambda m: m.likelihood(found))
        if best.rows.rho == before:
            break
        model = best
    rho = model.rows.rho
    return model, found, tuple(f.score for f in fits), lag1, model.count * (1 - rho) / (1 + rho)


def _distinct(model: ZoneModel, fits: list[ZoneFit]) -> ZoneFit:
    """The fit of lowest BIC, or one with fewer zones when two neighbours' curvatures differ by under 2.5 sd."""
    for f in sorted(fits, key=lambda f: f.score):
        if len(f.kappa) == 1:
            return f
        _, gram, rss = model.solve(f.bounds_m[None], np.array([f.blend_m]))
        sd = np.sqrt(rss[0] / model.freedom(len(f.kappa)) * np.diag(np.linalg.inv(gram[0])))
        if np.all(np.abs(np.diff(f.kappa)) > 2.5 * sd[1:]) and np.all(f.kappa > 0):
            return f
    return fits[0]


def _lag1(residual: np.ndarray, rows: Rows) -> tuple[float, int]:
    near = (np.diff(rows.passes) == 0) & (np.diff(rows.x_m) < 1.5 * rows.pitch_m)
    pairs = max(int(near.sum()), 1)
    return float(np.mean((residual[1:] * residual[:-1])[near]) / np.mean(residual**2)) if near.any() else 0.0, pairs


def _copula(draws: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Quantiles of each column at _NODES, and the root of the correlation of their normal scores."""
    quantiles = np.quantile(draws, scipy.special.ndtr(_NODES), axis=0).T
    scores = scipy.special.ndtri((np.argsort(np.argsort(draws, axis=0, kind="stable"), axis=0) + 0.5) / len(draws))
    corr = np.atleast_2d(np.corrcoef(scores.T))
    return quantiles, np.linalg.cholesky(corr * (1 - 1e-9) + 1e-9 * np.eye(len(corr)))


def _interval(draws: np.ndarray) -> Interval:
    low, value, high = np.quantile(draws, [0.05, 0.5, 0.95])
    return Interval(float(value), float(low), float(high))


def _length(length_m: float | None, ground: Recipe | None, trace_m: float) -> tuple[float, float]:
    length = length_m if length_m is not None else ground.length_m if ground is not None else trace_m
    if not (np.isfinite(length) and 0.1 <= length <= 0.6) or length < trace_m - 0.002:
        raise BladeError(
            f"reading: a runner of {length * 1e3:.0f} mm does not fit a trace of {trace_m * 1e3:.0f} mm; state "
            "the whole arc length of the runner, 100 mm to 600 mm."
        )
    return float(max(length, trace_m)), trace_m


def _level_point(tilts: tuple[float, ...], smooth: Smooth, x_arc: tuple[np.ndarray, np.ndarray]) -> Interval | None:
    """Arc length where the trace as measured is level: tangent angle + mean tilt = 0; passes' tilts scatter it."""
    x, arc = x_arc
    tilt = float(np.mean(tilts))
    angle = np.arctan(smooth.at(x)[1])
    rise = np.maximum.accumulate(angle)
    if not rise[0] < -tilt < rise[-1]:
        return None
    at = np.interp(-tilt, rise, x)
    kappa = smooth.at([at])[2]
    pull = smooth.matrix([at], 1)
    half = Z90 * np.sqrt((pull @ smooth.cov_m2 @ pull.T)[0, 0])
    if len(tilts) > 1:
        half = np.hypot(half, scipy.special.stdtrit(len(tilts) - 1, 0.95) * np.std(tilts, ddof=1) / np.sqrt(len(tilts)))
    half = half / max(kappa[0], 1 / FLATTEST_M)
    value = float(np.interp(at, x, arc))
    return Interval(value, value - float(half), value + float(half))


def _repeat(rows: Rows, smooth: Smooth) -> float | None:
    """Noise of one reading from the scatter of passes within cells of one pitch; None for one pass."""
    if rows.passes.max() == 0:
        return None
    cell = np.floor((rows.x_m - rows.x_m.min()) / rows.pitch_m + 0.5).astype(int)
    r, w = rows.z_m - smooth.at(rows.x_m)[0] - rows.between @ smooth.between, rows.weight
    total = np.bincount(cell, w).clip(min=1e-300)
    mean = np.bincount(cell, w * r) / total
    dof = len(r) - np.count_nonzero(np.bincount(cell)) - rows.between.shape[1]
    return float(np.sqrt(np.sum(w * (r - mean[cell]) ** 2) / dof)) if dof > 10 else None


def _notes(
    trace: Trace,
    lag1: float,
    effective: float,
    rows: Rows,
    found: ZoneFit,
    repeat: float | None,
    sigma: float,
    level: Interval | None,
) -> tuple[str, ...]:
    notes = []
    if trace.averaged:
        notes.append(f"{trace.averaged} rows were averaged in {len(rows.x_m)} cells before fitting.")
    if trace.flagged.any():
        notes.append(f"Points left out because they stand off the curve: {int(trace.flagged.sum())}; see the flags.")
    for flag in (f for f in trace.flags if f.kind == "step"):
        notes.append(f"The probe slipped by {flag.size_m * 1e6:.1f} um at {flag.x_m * 1e3:.1f} mm; undone.")
    if rows.rho:
        notes.append(
            f"Neighbouring residuals are correlated ({lag1:.2f}): the points are worth {effective:.0f} independent "
            "ones, and the intervals are widened to that."
        )
    if repeat is not None and sigma > 1.3 * repeat:
        notes.append(
            f"The steel departs from a smooth curve by more than the gauge scatters ({sigma * 1e6:.1f} against "
            f"{repeat * 1e6:.1f} um): the intervals do not know that passes repeat it."
        )
    if found.sampled < 100:
        notes.append(f"The intervals of the zones rest on {found.sampled:.0f} effective draws and are rough.")
    if level is None:
        notes.append("The trace as measured is nowhere level on the steel.")
    else:
        notes.append("The level point of the trace is the blade's only if the gauge was set level with the boot.")
    return tuple(notes)
