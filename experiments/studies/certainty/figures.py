"""Figure of a certainty study: score and frontier gains as medians with intervals."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.statement import measured_at_two_places, statement
from experiments.report import style as fs
from experiments.report.words import pair_label, said_text
from experiments.request.opinions import Opinions
from experiments.studies.certainty.study import Plan

MOST_BARS = 24
SAID_IN = 1.75  # room for a statement right of a panel, inches


def draw(plan: Plan, draws: Draws, folder: Path, processes: int) -> list[Path]:
    """One panel for the score and one for each pair."""
    names, states = draws.candidates[:MOST_BARS], plan.request.settings[0].states
    left = max(fs.text_width(name, 8) for name in names) / 72 + 0.35
    failed = int(draws.failed.sum())
    note = f"bar: 5 to 95 % of {len(draws.points)} draws ({failed} failed); dot: median"
    width, height = left + 2.4 + SAID_IN + (2.4 + SAID_IN) * len(draws.pairs), 2.05 + 0.3 * len(names)
    fig = fs.page(width, height, "Uncertainty (90 % intervals): score and frontier gain", [note])
    cells = fs.grid(fig, 1, 1 + len(draws.pairs), left, SAID_IN, 1.4, 0.75, wgap=SAID_IN)
    ax = fig.add_subplot(cells[0])
    _panel(ax, intervals(draws.score)[:, : len(names)], 0.0, "score", names)
    ax.set_xlabel("right is better than the reference", fontsize=7.5)
    for k, pair in enumerate(draws.pairs):
        ax = fig.add_subplot(cells[k + 1])
        gain = draws.gain[:, : len(names), k]
        places = "measured at two places of the blade" if measured_at_two_places(pair, states) else "at one place"
        title = f"frontier gain, {places}\n{pair_label(pair).replace(' against ', chr(10) + 'against ')}"
        _panel(ax, intervals(gain), 1.0, title, [""] * len(names))
        _said(ax, gain, plan.request.opinions)
    return fs.save(fig, folder, "certainty")


def _panel(ax: Axes, spread: np.ndarray, neutral: float, title: str, names: list[str]) -> None:
    y = np.arange(len(names))[::-1]
    ax.axvline(neutral, color=fs.INK, linewidth=0.8)
    ax.hlines(y, spread[0], spread[2], color=fs.BLUE, linewidth=2.2)
    ax.plot(spread[1], y, "o", color=fs.INK, markersize=5)
    ax.set_yticks(y, names)
    ax.set_title(title, loc="left", fontsize=8.5)
    ax.set_ylim(-0.6, len(names) - 0.4)


def _said(ax: Axes, gain: np.ndarray, opinions: Opinions) -> None:
    """Right of each bar, what is said of the blade against every single radius."""
    count = gain.shape[1]
    for k in range(count):
        ax.text(1.02, count - 1 - k, said_text(statement(gain[:, k], opinions)), transform=ax.get_yaxis_transform(),
                fontsize=7, va="center")  # fmt: skip
    ax.set_xlabel("above 1: no single radius does as well on both", fontsize=7.5)
