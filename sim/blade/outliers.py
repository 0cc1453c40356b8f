"""Points, small groups and slips of the probe that stand off a robust smooth curve through one pass."""

from dataclasses import dataclass

import numpy as np
import scipy

from sim.blade.smooth import LOOSE, hat_parts

FINEST_M = 0.1e-6  # below any gauge: noise is taken as at least this
POINT_LIMIT, STEP_LIMIT = 5.0, 6.0  # standard deviations; one clean trace of 300 points in about 1000 passes them
GROUP = 5  # a burr or a grain of dirt covers at most so many neighbours
MOST_SLIPS = 8  # more in one pass are something else than slips
BESIDE = 4  # a slip has at least so many points on either side; fewer could be bad points
# rates of a random walk of curvature along the arc, 1/m^3
DRIFT = 10.0  # worn working part, dents included: sd 0.45/m over 20 mm, 0.45^2/0.02
SWEEP_DRIFT = 3200.0  # into a sweep: sd 8/m over 20 mm
SWEEP_RADIUS_M = 0.6  # an end bent tighter than this is a sweep, no zone to skate on (common practice, no source)
TURNED_UP_M = 0.045  # a sweep and its blend lie within so much of the end (common practice, no published source)


@dataclass(frozen=True)
class Found:
    """groups: (rows, size_m) of what stands off; slips: (first row after, size_m). sweeps: (heel, toe) turned up."""

    groups: tuple[tuple[tuple[int, ...], float], ...]
    slips: tuple[tuple[int, float], ...]
    sweeps: tuple[bool, bool]


def search(x: np.ndarray, z: np.ndarray, weight: np.ndarray) -> Found:
    """Forward search: the strongest of all single points, groups of up to GROUP neighbours and slips, one at a time.

    x, z, weight: (n,) m, one pass sorted by x. The curve is a spline whose curvature wanders at a stated rate (DRIFT;
    in a sweep SWEEP_DRIFT), the noise level the median absolute deviation of its residuals; what has been found
    gets a column of its own, which takes it out of the fit (impulse and step indicators: Hendry, Johansen & Santos
    2008). A point that the curve follows by over 0.9 cannot be judged.
    """
    sweeps = (turned_up(x, z), turned_up(-x[::-1], z[::-1]))
    resist, level = _resist(x, z, weight, sweeps)
    root = np.sqrt(weight)
    out, slips, removed = [], [], np.zeros(len(x), bool)
    step_limit = STEP_LIMIT * _spread(resist @ (root * z), resist)
    while removed.sum() <= 0.3 * len(x) and len(slips) <= MOST_SLIPS:
        rows, slip = _strongest(resist, root, z, removed, level, step_limit)
        if rows is slip is None:
            break
        if slip is None:
            columns = [np.eye(len(x))[i] for i in rows]
            removed[list(rows)] = True
            out.append(rows)
        else:
            columns = [root * (np.arange(len(x)) >= slip)]
            slips.append(slip)
        for column in columns:
            pull = resist @ column
            if column @ pull > 1e-9:
                resist = resist - np.outer(pull, pull) / (column @ pull)
    return _sized(x, z, weight, sweeps, out, slips, removed, level)


def slack(x: np.ndarray, low: float, high: float, sweeps: tuple[bool, bool], loose: float = LOOSE) -> np.ndarray:
    """Relative penalty on changes of curvature: loose within TURNED_UP_M of an end that turns up, 1 elsewhere."""
    return np.where((sweeps[0] & (x < low + TURNED_UP_M)) | (sweeps[1] & (x > high - TURNED_UP_M)), loose, 1.0)


def turned_up(x: np.ndarray, z: np.ndarray) -> bool:
    """Whether the first 12, 25 or 30 mm bend shorter than any skating zone, whichever one point is left out."""
    for reach in (0.012, 0.0255, 0.0305):
        near = x <= x[0] + reach
        if near.sum() < 5:
            continue
        u, h, n = (x[near] - x[0]) / reach, z[near], near.sum()
        columns = np.stack([np.ones(n), u, u * u], axis=1)
        bends = []
        for leave in [None, *range(n)] if n < 40 else [None]:
            keep = np.arange(n) != (n if leave is None else leave)
            inverse = np.linalg.inv(columns[keep].T @ columns[keep])
            coef = inverse @ (columns[keep].T @ h[keep])
            spread = np.sqrt(np.sum((h[keep] - columns[keep] @ coef) ** 2) / max(keep.sum() - 3, 1))
            bends.append(2 * (coef[2] - 2 * spread * np.sqrt(inverse[2, 2])) / reach**2)
        if min(bends) > 1 / SWEEP_RADIUS_M:
            return True
    return False


def _resist(x: np.ndarray, z: np.ndarray, weight: np.ndarray, sweeps: tuple[bool, bool]) -> tuple[np.ndarray, float]:
    """Residual maker I - H on rows scaled by sqrt(weight), and the noise level.

    The level comes from a fit in which points count less the farther they are off (Huber 1964), for many bad points
    would hide behind the scatter that they make.
    """
    basis, factor = hat_parts(x, lambda at: slack(at, x[0], x[-1], sweeps, DRIFT / SWEEP_DRIFT))
    root = np.sqrt(weight)
    basis, penalty = root[:, None] * basis, factor.T @ factor
    level, trust = max(np.ptp(z) / 30, FINEST_M), np.ones(len(x))
    for _ in range(12):
        pull = basis.T * trust
        solver = scipy.linalg.cho_factor(pull @ basis + level**2 / DRIFT * penalty + 1e-12 * np.eye(basis.shape[1]))
        off = root * z - basis @ scipy.linalg.cho_solve(solver, pull @ (root * z))
        free = (1 - trust * np.sum(basis * scipy.linalg.cho_solve(solver, basis.T).T, axis=1)).clip(1e-12)
        level = _level(off, free)
        trust = np.minimum(1.0, 2 * level * np.sqrt(free) / np.maximum(np.abs(off), 1e-12))
    solver = scipy.linalg.cho_factor(basis.T @ basis + level**2 / DRIFT * penalty + 1e-12 * np.eye(basis.shape[1]))
    return np.eye(len(x)) - basis @ scipy.linalg.cho_solve(solver, basis.T), level


def _level(residual: np.ndarray, free: np.ndarray) -> float:
    good = free > 0.1
    if good.sum() < 6:
        return FINEST_M
    return max(1.4826 * float(np.median(np.abs(residual[good]) / np.sqrt(free[good]))), FINEST_M)


def _spread(residual: np.ndarray, resist: np.ndarray) -> float:
    """sqrt((1 + r)/(1 - r)) of the residuals' lag-1 correlation r, at least 1: how far drift imitates a slip."""
    e = residual / np.sqrt(np.diag(resist).clip(0.1))
    cut = 3 * np.median(np.abs(e))
    e = e.clip(-cut, cut)
    r = float(np.clip(e[1:] @ e[:-1] / max(e @ e, 1e-300), 0.0, 0.9))
    return np.sqrt((1 + r) / (1 - r))


def _strongest(
    resist: np.ndarray, root: np.ndarray, z: np.ndarray, removed: np.ndarray, level: float, step_limit: float
) -> tuple[tuple[int, ...] | None, int | None]:
    """What stands off by the most standard deviations, over its limit: (rows, None) or (None, first row after)."""
    n = len(z)
    e = resist @ (root * z)
    best, most = (None, None), 0.0
    lean, both = np.cumsum(e), np.zeros((n + 1, n + 1))
    np.cumsum(np.cumsum(resist, axis=0), axis=1, out=both[1:, 1:])
    lean = np.concatenate([[0.0], lean])
    for size in range(1, GROUP + 1):
        i = np.arange(n - size + 1)
        top = np.abs(lean[i + size] - lean[i])
        under = both[i + size, i + size] - both[i, i + size] - both[i + size, i] + both[i, i]
        taken = np.concatenate([[0], np.cumsum(removed)])
        fit = (under > 0.1 * size) & (taken[i + size] == taken[i])
        score = np.where(fit, top / np.sqrt(under.clip(1e-12)), 0.0) / level
        if score.max() > max(most, POINT_LIMIT + 0.2 * (size - 1)):
            most, best = score.max(), (tuple(range(int(score.argmax()), int(score.argmax()) + size)), None)
    scaled = root[:, None] * resist * root
    top = np.abs(np.cumsum((root * e)[::-1])[::-1])
    under = np.diag(np.cumsum(np.cumsum(scaled[::-1, ::-1], axis=0), axis=1))[::-1]
    fit = (under > 0.15) & (np.arange(n) >= BESIDE) & (np.arange(n) <= n - BESIDE)
    score = np.where(fit, top / np.sqrt(under.clip(1e-12)), 0.0) / level
    if score.max() > max(most, step_limit):
        best = (None, int(score.argmax()))
    return best


def _sized(
    x: np.ndarray,
    z: np.ndarray,
    weight: np.ndarray,
    sweeps: tuple[bool, bool],
    out: list[tuple[int, ...]],
    slips: list[int],
    removed: np.ndarray,
    level: float,
) -> Found:
    """Sizes of slips and of points off, from one fit without the points."""
    basis, factor = hat_parts(x, lambda at: slack(at, x[0], x[-1], sweeps, DRIFT / SWEEP_DRIFT))
    columns = np.hstack([basis, *[(np.arange(len(x)) >= s).astype(float)[:, None] for s in slips]])
    factor = np.hstack([factor * level / np.sqrt(DRIFT), np.zeros((len(factor), len(slips)))])
    root = np.sqrt(weight * ~removed)
    stacked = np.vstack([root[:, None] * columns, factor])
    coef = np.linalg.lstsq(stacked, np.concatenate([root * z, np.zeros(len(factor))]), rcond=None)[0]
    off = z - columns @ coef
    groups = tuple((rows, float(off[list(rows)][np.argmax(np.abs(off[list(rows)]))])) for rows in sorted(out))
    sizes = coef[basis.shape[1] :]
    return Found(groups, tuple((s, float(size)) for s, size in sorted(zip(slips, sizes))), sweeps)
