"""The single-radius line of a trade-off: what lies beyond it, its ticks in whole feet, and the better corner."""

import numpy as np
from matplotlib.axes import Axes

from experiments.report import style as fs
from sim.quantities import FOOT_M


def dense(line: np.ndarray) -> np.ndarray:
    """Twelve points a step along a line."""
    at = np.linspace(0, len(line) - 1, 12 * len(line))
    return np.column_stack([np.interp(at, range(len(line)), line[:, i]) for i in range(2)])


def beyond(ax: Axes, line: np.ndarray) -> None:
    """Shade what no single radius matches: below the least y among all line points with no more x."""
    close = dense(line)
    order = np.argsort(close[:, 0], kind="stable")
    x, best = close[order, 0], np.minimum.accumulate(close[order, 1])
    (left, right), (bottom, top) = ax.get_xlim(), ax.get_ylim()
    x, best = np.concatenate([[left], x, [right]]), np.concatenate([[top], best, [best[-1]]])
    ax.fill_between(x, bottom, best, step="post", color="#eaf3e6", linewidth=0, zorder=0)


def better_corner(ax: Axes) -> np.ndarray:
    """Arrow to the better corner; returns its box."""
    ax.annotate(
        "", xy=(0.015, 0.02), xytext=(0.085, 0.09), xycoords="axes fraction", zorder=6,
        arrowprops={"arrowstyle": "-|>", "color": fs.INK, "linewidth": 1.6},
    )  # fmt: skip
    ax.text(0.09, 0.045, "better: less of both", transform=ax.transAxes, fontsize=8, va="center", zorder=6)
    frame = np.array(ax.get_window_extent().extents) * 72.0 / ax.figure.dpi
    return np.array([frame[0], frame[1], frame[0] + 145, frame[1] + 48])


def feet_ticks(ax: Axes, line: np.ndarray, radii: np.ndarray, spots: np.ndarray) -> list[tuple]:
    """Whole feet along the line as small dots; those with room get a label."""
    feet = np.array(
        [
            f
            for f in range(1, 100)
            if len(radii) and radii[0] <= f * FOOT_M * 1.0001 and f * FOOT_M <= radii[-1] * 1.0001
        ]
    )
    if not len(feet):
        return []
    at = np.interp(np.log(feet * FOOT_M), np.log(radii), range(len(radii)))
    xy = np.column_stack([np.interp(at, range(len(radii)), line[:, i]) for i in range(2)])
    where, kept = fs.in_points(ax, *xy.T), []
    free = np.array([np.hypot(*(spots - spot).T).min() > 6 for spot in where])  # a marker is a dot already
    ax.plot(*xy[free].T, "o", color="white", markeredgecolor=fs.SOFT, markersize=3.6, markeredgewidth=0.9, zorder=1.6)
    order = sorted(range(len(feet)), key=lambda i: (i not in (0, len(feet) - 1), feet[i] % 2, i))
    for i in order:
        if all(np.hypot(*(where[i] - where[k])) > 17 for k in kept):
            kept.append(i)
    return [(where[i], f"{feet[i]} ft", fs.SOFT) for i in sorted(kept)]
