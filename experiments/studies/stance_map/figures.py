"""Figures of a stance map: frontier gain over load lines, and over mass, temperature and hollow."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import TwoSlopeNorm

from experiments.analysis.judging.intervals import BEYOND
from experiments.report import style as fs
from experiments.report.words import pair_label
from experiments.studies.stance_map.study import SURROUNDINGS, Plan, StanceMap

MOST_MAPS, MOST_CURVES = 6, 8  # zoned recipes that have room


def draw(plan: Plan, result: StanceMap, folder: Path, processes: int) -> list[Path]:
    """The map, and the gain over other surroundings."""
    return fs.save(_map(result), folder, "stance_map") + fs.save(_surroundings(result), folder, "surroundings")


def _kept(result: StanceMap, most: int) -> list[int]:
    """Places of the zoned recipes; the first blade where there is none."""
    return [i for i, family in enumerate(result.families) if family != "single_radius"][:most] or [0]


def _map(result: StanceMap):
    """Maps of frontier gain over where the skater stands, one row a pair, one column a zoned recipe."""
    keep = _kept(result, MOST_MAPS)
    rows, columns = len(result.pairs), len(keep)
    note = "violet: no single radius does as well on both; brown: some single radius beats it; line: the border"
    fig = fs.page(1.3 + 2.75 * columns + 1.1, 1.3 + 2.75 * rows, "Where the skater must stand", [note])
    cells = fs.grid(fig, rows, columns, 0.9, 1.2, 1.15, 0.7, wgap=0.35, hgap=0.75)
    spread = max(0.01, float(np.nanmax(np.abs(result.gain[keep] - 1), initial=0.0)))
    norm = TwoSlopeNorm(1.0, 1 - spread, 1 + spread)
    for r, pair in enumerate(result.pairs):
        for k, i in enumerate(keep):
            ax = fig.add_subplot(cells[r, k])
            image = _map_panel(ax, result, i, r, norm)
            if k == 0:
                ax.set_ylabel(f"{pair_label(pair)}\nglide load line, mm (toe +)", fontsize=7)
            if r == rows - 1:
                ax.set_xlabel("turn load line, mm (toe +)", fontsize=7.5)
    bar = fig.colorbar(image, cax=fig.add_axes([1 - 0.85 / fig.get_figwidth(), 0.2, 0.14 / fig.get_figwidth(), 0.5]))
    bar.set_label("frontier gain", fontsize=8)
    return fig


def _map_panel(ax: Axes, result: StanceMap, i: int, pair: int, norm: TwoSlopeNorm):
    """One map with its best stance; returns what the colour bar reads."""
    glide, turn, gain = result.glide_m * 1e3, result.turn_m * 1e3, result.gain[i, pair]
    image = ax.pcolormesh(turn, glide, gain, cmap="PuOr", norm=norm, shading="nearest", rasterized=True)
    words = "could not be computed"
    if np.isfinite(gain).any():
        if np.nanmin(gain) < BEYOND < np.nanmax(gain):
            ax.contour(turn, glide, gain, [BEYOND], colors=fs.INK, linewidths=1.0)
        best = np.unravel_index(np.nanargmax(gain), gain.shape)
        ax.plot(turn[best[1]], glide[best[0]], "x", color=fs.INK, markersize=6)
        words = f"best {gain[best]:.3f} at x"
    ax.set_title(f"{result.candidates[i]}\n{words}", fontsize=8, loc="left")
    return image


def _surroundings(result: StanceMap):
    """Frontier gain over mass, temperature and hollow at the stated stance: a row a pair, a line a zoned recipe."""
    keep, rows = _kept(result, MOST_CURVES), len(result.all_pairs)
    width = max(fs.text_width(result.candidates[i], 8) for i in keep) / 72 + 0.9
    fig = fs.page(10.2 + width, 1.6 + 2.5 * rows, "For whom, and where: gain at the stated stance",
                  ["above 1: no single radius does as well on both"])  # fmt: skip
    cells = fs.grid(fig, rows, len(SURROUNDINGS), 0.95, width, 0.95, 0.75, wgap=0.45, hgap=0.75)
    for r, pair in enumerate(result.all_pairs):
        for k, (name, (values, words)) in enumerate(SURROUNDINGS.items()):
            ax = fig.add_subplot(cells[r, k])
            ax.axhline(1.0, color=fs.INK, linewidth=0.8)
            for n, i in enumerate(keep):
                ax.plot(values, result.around[name][:, i, r], "o-", color=fs.HUES[n % len(fs.HUES)], markersize=3.5,
                        linewidth=1.3, label=result.candidates[i])  # fmt: skip
            if k == 0:
                ax.set_ylabel("gain, " + pair_label(pair).replace(" against ", "\nagainst "), fontsize=7.5)
            if r == rows - 1:
                ax.set_xlabel(words, fontsize=8)
            if r == 0 and k == len(SURROUNDINGS) - 1:
                ax.legend(loc="upper left", bbox_to_anchor=(1.02, 1), frameon=False, fontsize=8)
    return fig
