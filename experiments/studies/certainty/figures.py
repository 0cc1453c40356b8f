"""Figure of a certainty study: score and frontier gains as medians with intervals."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.intervals import share_beyond
from experiments.report import style as fs
from experiments.report.words import pair_label, share_text
from experiments.studies.certainty.study import Plan

MOST_BARS = 24


def draw(plan: Plan, draws: Draws, folder: Path, processes: int) -> list[Path]:
    """One panel for the score and one for each pair."""
    names = draws.candidates[:MOST_BARS]
    left = max(fs.text_width(name, 8) for name in names) / 72 + 0.35
    failed = int(draws.failed.sum())
    note = f"bar: 5 to 95 % of {len(draws.points)} draws ({failed} failed); dot: median"
    width, height = left + 3.4 * (1 + len(draws.pairs)), 1.9 + 0.3 * len(names)
    fig = fs.page(width, height, "Uncertainty (90 % intervals): score and frontier gain", [note])
    cells = fs.grid(fig, 1, 1 + len(draws.pairs), left, 0.35, 1.25, 0.75, wgap=0.55)
    ax = fig.add_subplot(cells[0])
    _panel(ax, intervals(draws.score)[:, : len(names)], 0.0, "score", names)
    ax.set_xlabel("right is better than the reference", fontsize=7.5)
    for k, pair in enumerate(draws.pairs):
        ax = fig.add_subplot(cells[k + 1])
        gain = draws.gain[:, : len(names), k]
        _panel(ax, intervals(gain), 1.0, f"frontier gain\n{pair_label(pair)}", [""] * len(names))
        _shares(ax, gain)
    return fs.save(fig, folder, "certainty")


def _panel(ax: Axes, spread: np.ndarray, neutral: float, title: str, names: list[str]) -> None:
    y = np.arange(len(names))[::-1]
    ax.axvline(neutral, color=fs.INK, linewidth=0.8)
    ax.hlines(y, spread[0], spread[2], color=fs.BLUE, linewidth=2.2)
    ax.plot(spread[1], y, "o", color=fs.INK, markersize=5)
    ax.set_yticks(y, names)
    ax.set_title(title, loc="left", fontsize=8.5)
    ax.set_ylim(-0.6, len(names) - 0.4)


def _shares(ax: Axes, gain: np.ndarray) -> None:
    """Right of each bar, the share of draws beyond the line."""
    count = gain.shape[1]
    for k in range(count):
        ax.text(1.01, count - 1 - k, share_text(share_beyond(gain[:, k])), transform=ax.get_yaxis_transform(),
                fontsize=7, va="center")  # fmt: skip
    ax.set_xlabel("above 1: no single radius does as well on both\n(right: share of draws so)", fontsize=7.5)
