"""From raw gauge heights to clean ones: direction, sign, tilt and offset of each pass, burrs and slipped probes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from threadpoolctl import threadpool_limits

from sim.blade.outliers import FINEST_M, Found, search, slack
from sim.blade.smooth import Rows, Smooth, fit
from sim.errors import BladeError

ROWS = 900  # more rows than this are averaged in cells before any fit
LEAST_ROWS = 12  # of a trace
LEAST_IN_PASS = 8  # rows
MOST_FLAGGED = 0.15  # share of the rows

Mark = tuple[float, str, tuple[int, ...], float | None]  # size, kind, rows of the input, cut in local x


@dataclass(frozen=True)
class Flag:
    """A place that was left out, or a slip that was undone. x_m: blade frame, toe positive.

    kind: 'point' or 'group' (size_m: height off the smooth trace, away from ice positive; left out of the fits), or
    'step' (all heights of the pass on the toe side of x_m stand size_m higher; undone as an offset of its own).
    index: rows of the input, counted from 0; for a step the first row on the toe side.
    """

    x_m: float
    size_m: float
    kind: str
    index: tuple[int, ...]


@dataclass(frozen=True)
class Trace:
    """Clean heights in the blade frame: x toe-positive from mid-runner, z up, level at mid-runner.

    x_m, z_m, flagged: (n,) every row given, in the order given, with sign, tilt, offset and slips undone.
    tilts_rad, offsets_m: per pass id in rising order; the pass lay turned toe-up by the tilt, and its gauge (its sign
    undone) read the offset at mid-runner. rows: what the fits read, without flagged points. upright: True when the
    gauge's heights grew away from the ice. averaged: rows given, when they were averaged in cells, else 0.
    sweeps: (heel, toe), an end seen to turn up.
    """

    x_m: np.ndarray
    z_m: np.ndarray
    flagged: np.ndarray
    flags: tuple[Flag, ...]
    tilts_rad: tuple[float, ...]
    offsets_m: tuple[float, ...]
    rows: Rows
    upright: bool
    averaged: int
    sweeps: tuple[bool, bool]


@threadpool_limits.wrap(limits=1, user_api="blas")  # as in `read_blade`
def clean(
    position_m: ArrayLike,
    height_m: ArrayLike,
    pass_id: ArrayLike | None = None,
    first_end: str = "heel",
    heights: str = "auto",
) -> Trace:
    """Undo direction, sign, tilt and offset; flag outliers.

    position_m, height_m: (n,) m, any order. pass_id: (n,) integers. first_end: end that position grows from.
    heights: 'up' (away from ice), 'down', or 'auto' (as it bends). Tilt is undone as the rotation it is.
    Raises BladeError for input that is no trace, bends the other way than stated, or is mostly outliers.
    """
    x, z, passes = _checked(position_m, height_m, pass_id, first_end, heights)
    x = -x if first_end == "toe" else x
    upright = _upright(x, z, passes, heights)
    z = z if upright else -z
    origin = (x.max() + x.min()) / 2 + 1j * z.mean()
    place = x + 1j * z - origin
    frames = _levelled(place, passes)
    local = _placed(place, passes, frames)
    cell, burrs = _cells(local, passes)
    keep = ~burrs
    used, (cx, cz, cp), counts = _means((local.real, local.imag, passes), cell, keep)
    found = [search(cx[cp == p], cz[cp == p], counts[cp == p]) for p in range(passes.max() + 1)]
    marks = _marks(found, used, cp, cell, burrs, local, passes)
    flagged = burrs.copy()
    flagged[[i for _, kind, index, _ in marks if kind != "step" for i in index]] = True
    if flagged.mean() > MOST_FLAGGED:
        raise BladeError(
            f"trace: {flagged.mean():.0%} of the {len(x)} points stand off a smooth curve; clean blade and gauge and "
            f"measure again, at most {MOST_FLAGGED:.0%} may."
        )
    steps = np.zeros((len(x), sum(kind == "step" for _, kind, _, _ in marks)))
    for j, (size, _, index, cut) in enumerate(m for m in marks if m[1] == "step"):
        steps[:, j] = (passes == passes[index[0]]) & (local.real > cut)
        place = place - 1j * size * steps[:, j]
    sweeps = tuple(sum(f.sweeps[end] for f in found) * 2 > len(found) for end in (0, 1))
    frames, rows = _aligned(place, passes, cell, ~flagged, steps, sweeps)
    final = _placed(place, passes, frames)
    flags = tuple(_flag(mark, local, final) for mark in marks)
    tilts, offsets = tuple(float(a) for _, a in frames), tuple(float((c + origin).imag) for c, _ in frames)
    averaged = len(x) if len(x) > ROWS else 0
    return Trace(final.real, final.imag, flagged, flags, tilts, offsets, rows, upright, averaged, sweeps)


def _checked(
    position_m: ArrayLike, height_m: ArrayLike, pass_id: ArrayLike | None, first_end: str, heights: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if first_end not in ("heel", "toe"):
        raise BladeError(f"trace: first_end is {first_end!r}; say 'heel' or 'toe', the end that position grows from.")
    if heights not in ("auto", "up", "down"):
        raise BladeError(f"trace: heights is {heights!r}; say 'up' (away from the ice), 'down' or 'auto'.")
    x, z = np.asarray(position_m, float).ravel(), np.asarray(height_m, float).ravel()
    ids = np.zeros(len(x), int) if pass_id is None else np.asarray(pass_id).ravel()
    if not len(x) == len(z) == len(ids):
        raise BladeError(f"trace: {len(x)} positions, {len(z)} heights and {len(ids)} pass numbers; give one of each.")
    bad = ~(np.isfinite(x) & np.isfinite(z))
    if bad.any():
        raise BladeError(f"trace: row {np.argmax(bad) + 1} is not a finite number; leave such rows out.")
    if len(x) < LEAST_ROWS:
        raise BladeError(f"trace: {len(x)} points are too few for a curve; measure at least {LEAST_ROWS}, 5 mm apart.")
    names, passes, sizes = np.unique(ids, return_inverse=True, return_counts=True)
    if sizes.min() < LEAST_IN_PASS:
        raise BladeError(
            f"trace: pass {names[sizes.argmin()]} has {sizes.min()} points; each pass needs at least {LEAST_IN_PASS}."
        )
    for p, name in enumerate(names):
        span = np.ptp(x[passes == p])
        if not 0.1 <= span <= 0.6:
            raise BladeError(
                f"trace: pass {name} spans {span * 1e3:.0f} mm and can be no runner's; give positions in m over 100 mm "
                "to 600 mm."
            )
    return x, z, passes


def _upright(x: np.ndarray, z: np.ndarray, passes: np.ndarray, heights: str) -> bool:
    """Whether z grows away from the ice: the ends of a convex blade are farther from the ice than its middle."""
    own = passes[:, None] == np.arange(passes.max() + 1)
    u = (x - x.mean()) / np.ptp(x)
    bend = np.linalg.lstsq(np.hstack([u[:, None] ** 2, own, own * u[:, None]]), z, rcond=None)[0][0]
    if heights == "auto":
        return bool(bend >= 0)
    if (bend < 0) == (heights == "up"):
        raise BladeError(
            f"trace: with heights {heights!r} the blade is concave, hollow by {abs(bend) / 4e-6:.0f} um at mid-runner, "
            f"and cannot stand on ice; say {'down' if heights == 'up' else 'up'!r} if the gauge reads the other way."
        )
    return heights == "up"


def _levelled(place: np.ndarray, passes: np.ndarray) -> list[tuple[complex, float]]:
    """One frame (origin, angle) for all passes: the parabola they share is level, on average, mid-span."""
    own = passes[:, None] == np.arange(passes.max() + 1)
    origin, angle = 0j, 0.0
    for _ in range(12):
        q = (place - origin) * np.exp(-1j * angle)
        middle, half = (q.real.max() + q.real.min()) / 2, np.ptp(q.real) / 2
        u = ((q.real - middle) / half)[:, None]
        coef = np.linalg.lstsq(np.hstack([u * u, own, own * u]), q.imag, rcond=None)[0][1:].reshape(2, -1).mean(axis=1)
        origin = origin + (middle + 1j * coef[0]) * np.exp(1j * angle)
        angle += np.arctan(coef[1] / half)
    return [(origin, angle)] * (passes.max() + 1)


def _placed(place: np.ndarray, passes: np.ndarray, frames: list[tuple[complex, float]]) -> np.ndarray:
    origin, angle = (np.array(part)[passes] for part in zip(*frames))
    return (place - origin) * np.exp(-1j * angle)


def _cells(local: np.ndarray, passes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Cell of each row (n,), sorted by pass and x, and points that stand off their cell; a row each when rows are few.

    A cell's mean x and mean z lie off the curve by kappa h^2/24, everywhere alike, which is an offset.
    """
    burrs, cell = np.zeros(len(local), bool), np.empty(len(local), int)
    if len(local) <= ROWS:
        cell[np.lexsort((local.real, passes))] = np.arange(len(local))
        return cell, burrs
    each, start = max(60, ROWS // (passes.max() + 1)), 0
    for p in range(passes.max() + 1):
        mine = np.flatnonzero(passes == p)
        x = local.real[mine]
        where = ((x - x.min()) / np.ptp(x) * each).astype(int).clip(max=each - 1)
        where = np.unique(where, return_inverse=True)[1]
        burrs[mine] = _off_their_cell(x, local.imag[mine], where)
        cell[mine] = start + where
        start += where.max() + 1
    return cell, burrs


def _off_their_cell(x: np.ndarray, z: np.ndarray, where: np.ndarray) -> np.ndarray:
    """Points over 6 robust standard deviations off the median of their cell, its slope undone; cells of 5 and more."""
    order = np.lexsort((z, where))
    counts = np.bincount(where)
    low = np.cumsum(counts) - counts
    middle = (z[order][low + (counts - 1) // 2] + z[order][low + counts // 2]) / 2
    centre = np.bincount(where, x) / counts
    off = z - middle[where] - np.gradient(middle, centre)[where] * (x - centre[where])
    level = 1.4826 * np.median(np.abs(off)) + FINEST_M
    return (np.abs(off) > 6 * level) & (counts[where] >= 5)


def _means(
    values: tuple[np.ndarray, ...], cell: np.ndarray, keep: np.ndarray
) -> tuple[np.ndarray, list[np.ndarray], np.ndarray]:
    """Of the kept rows in each cell: numbers of the cells that keep any, means of each of the values, counts."""
    counts = np.bincount(cell[keep])
    used = np.flatnonzero(counts)
    return used, [np.bincount(cell[keep], v[keep])[used] / counts[used] for v in values], counts[used]


def _marks(
    found: list[Found],
    used: np.ndarray,
    cp: np.ndarray,
    cell: np.ndarray,
    burrs: np.ndarray,
    local: np.ndarray,
    passes: np.ndarray,
) -> list[Mark]:
    """(size, kind, rows of the input, cut in local x) of everything found, heel to toe within passes."""
    marks = []
    for c in np.unique(cell[burrs]):
        rows = np.flatnonzero(burrs & (cell == c))
        off = local.imag[rows] - np.median(local.imag[cell == c])
        kind = "point" if len(rows) == 1 else "group"
        marks.append((float(off[np.argmax(np.abs(off))]), kind, tuple(int(i) for i in rows), None))
    for p, f in enumerate(found):
        cells = used[cp == p]
        for members, size in f.groups:
            rows = np.flatnonzero(np.isin(cell, cells[list(members)]) & ~burrs)
            marks.append((size, "point" if len(rows) == 1 else "group", tuple(int(i) for i in rows), None))
        for first, size in f.slips:
            rows = np.flatnonzero((passes == p) & (cell >= cells[first]))
            rows = rows[np.argsort(local.real[rows])]
            before = local.real[(passes == p) & (cell < cells[first])].max()
            marks.append((size, "step", (int(rows[0]),), float((before + local.real[rows[0]]) / 2)))
    return marks


def _flag(mark: Mark, local: np.ndarray, final: np.ndarray) -> Flag:
    size, kind, index, cut = mark
    if kind == "step":
        return Flag(float(final.real[index[0]] + cut - local.real[index[0]]), size, kind, index)
    return Flag(float(final.real[list(index)].mean()), size, kind, index)


def _aligned(
    place: np.ndarray,
    passes: np.ndarray,
    cell: np.ndarray,
    keep: np.ndarray,
    steps: np.ndarray,
    sweeps: tuple[bool, bool],
) -> tuple[list[tuple[complex, float]], Rows]:
    """Frames of the passes, each with its own tilt and offset, level at mid-runner; and the rows for the fits."""
    frames = _levelled(place[keep], passes[keep])
    count = passes.max() + 1
    for _ in range(1 if count == 1 else 4):
        rows = _rows(_placed(place, passes, frames), passes, cell, keep, steps)
        smooth = _whole(rows, sweeps)
        offset, tilt = smooth.between[: 2 * count - 2].reshape(2, -1)
        offset, tilt = np.append(offset, -offset.sum()), np.append(tilt, -tilt.sum())
        frames = [
            (c + 1j * o * np.exp(1j * a), a + np.arctan(t)) for (c, a), o, t in zip(frames, offset, tilt)
        ]  # fmt: skip
    rows = _rows(_placed(place, passes, frames), passes, cell, keep, steps)
    smooth = _whole(rows, sweeps)
    _, middle = arc_lengths(smooth, rows)
    height, slope, _, _ = smooth.at([middle])
    for p, (c, a) in enumerate(frames):
        frames[p] = (c + (middle + 1j * height[0]) * np.exp(1j * a), a + np.arctan(slope[0]))
    return frames, _rows(_placed(place, passes, frames), passes, cell, keep, steps)


def arc_lengths(smooth: Smooth, rows: Rows) -> tuple[tuple[np.ndarray, np.ndarray], float]:
    """(x, arc length from the first point) on a fine grid over the rows, and the x of half the arc."""
    x = np.linspace(rows.x_m.min(), rows.x_m.max(), 1201)
    stretch = np.sqrt(1 + smooth.at(x)[1] ** 2)
    arc = np.concatenate([[0.0], np.cumsum((stretch[1:] + stretch[:-1]) / 2 * np.diff(x))])
    return (x, arc), float(np.interp(arc[-1] / 2, arc, x))


def _rows(local: np.ndarray, passes: np.ndarray, cell: np.ndarray, keep: np.ndarray, steps: np.ndarray) -> Rows:
    _, (x, z, p, *columns), counts = _means((local.real, local.imag, passes, *steps.T), cell, keep)
    order = np.lexsort((x, np.rint(p)))
    columns = np.stack(columns, axis=1)[order] if columns else np.zeros((len(x), 0))
    near = np.concatenate([np.diff(np.sort(x[np.rint(p) == q])) for q in range(passes.max() + 1)])
    pitch = max(float(np.median(near)), 1e-5)
    return Rows(x[order], z[order], counts[order], np.rint(p).astype(int)[order], columns, 0.0, pitch)


def _whole(rows: Rows, sweeps: tuple[bool, bool]) -> Smooth:
    low, high = rows.x_m.min(), rows.x_m.max()
    return fit(rows, bend_of(rows), lambda x: slack(x, low, high, sweeps))


def bend_of(rows: Rows) -> float:
    """Curvature of the middle of the rows (1/m), within 0 and 2: the circle a smooth fit starts from."""
    low, high = rows.x_m.min(), rows.x_m.max()
    inner = rows.within(low + 0.2 * (high - low), high - 0.2 * (high - low))
    if len(inner.x_m) < 5:
        inner = rows
    u = inner.x_m / (high - low)
    coef = np.linalg.lstsq(np.hstack([u[:, None] ** 2 / 2, inner.nuisance]), inner.z_m, rcond=None)[0]
    return float(np.clip(coef[0] / (high - low) ** 2, 0.0, 2.0))
