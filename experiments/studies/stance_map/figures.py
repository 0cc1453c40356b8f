"""Figures of a stance map: nominal frontier gain over load lines, and over mass, temperature and hollow."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import TwoSlopeNorm
from matplotlib.image import AxesImage

from experiments.analysis.judging.statement import TWO_PLACES_M
from experiments.report import style as fs
from experiments.report.words import pair_label
from experiments.studies.stance_map.study import SURROUNDINGS, Plan, StanceMap, followers, stated_place
from experiments.studies.stance_map.words import axis_text
from sim.measures import REGISTRY

MOST_MAPS, MOST_CURVES = 6, 8  # zoned recipes that have room


def draw(plan: Plan, result: StanceMap, folder: Path, processes: int) -> list[Path]:
    """The map, and the gain over other surroundings."""
    return fs.save(_map(plan, result), folder, "stance_map") + fs.save(_surroundings(result), folder, "surroundings")


def _kept(result: StanceMap, most: int) -> list[int]:
    """Places of the zoned recipes; the first blade where there is none."""
    return [i for i, family in enumerate(result.families) if family != "single_radius"][:most] or [0]


def _map(plan: Plan, result: StanceMap):
    """Maps of frontier gain over where the skater stands, one row a pair, one column a zoned recipe."""
    keep, setting = _kept(result, MOST_MAPS), plan.request.settings[0]
    rows, columns = len(result.pairs), len(keep)
    notes = [
        "violet: no single radius does as well on both; brown: some single radius beats it; white: on the line\n"
        "ring: the stated stance; x: best; full line: border of half a percent; between the dashed lines both measures "
        f"are taken within {1e3 * TWO_PLACES_M:.0f} mm of one place"
    ]
    fig = fs.page(1.3 + 2.75 * columns + 1.1, 1.45 + 2.75 * rows, "Where the skater must stand (nominal gain)", notes)
    cells = fs.grid(fig, rows, columns, 0.9, 1.2, 1.3, 0.7, wgap=0.35, hgap=0.75)
    spread = max(0.01, float(np.nanmax(np.abs(result.gain[keep] - 1), initial=0.0)))
    norm = TwoSlopeNorm(1.0, 1 - spread, 1 + spread)
    for r, pair in enumerate(result.pairs):
        for k, i in enumerate(keep):
            ax = fig.add_subplot(cells[r, k])
            image = _map_panel(ax, plan, result, i, r, norm)
            if k == 0:
                ax.set_ylabel(f"{pair_label(pair)}\n{axis_text(setting, 'glide')}", fontsize=7)
    width, height = fig.get_size_inches()
    middle = 0.9 / width + 0.5 * (1 - 2.1 / width)
    fig.text(middle, 0.3 / height, axis_text(setting, "turn"), fontsize=7.5, ha="center")
    bar = fig.colorbar(image, cax=fig.add_axes([1 - 0.85 / width, 0.2, 0.14 / width, 0.5]))
    bar.set_label("frontier gain, nominal", fontsize=8)
    return fig


def _map_panel(ax: Axes, plan: Plan, result: StanceMap, i: int, pair: int, norm: TwoSlopeNorm) -> AxesImage:
    """One map with its stated and its best stance; returns what the colour bar reads."""
    glide, turn, gain = result.glide_m * 1e3, result.turn_m * 1e3, result.gain[i, pair]
    image = ax.pcolormesh(turn, glide, gain, cmap="PuOr", norm=norm, shading="nearest", rasterized=True)
    words, border = "could not be computed", 1 + plan.request.opinions.line_within
    if np.isfinite(gain).any():
        if np.nanmin(gain) < border < np.nanmax(gain):
            ax.contour(turn, glide, gain, [border], colors=fs.INK, linewidths=1.0)
        best = np.unravel_index(np.nanargmax(gain), gain.shape)
        ax.plot(turn[best[1]], glide[best[0]], "x", color=fs.INK, markersize=6)
        words = f"{gain[best]:.3f} at x"
    stated = stated_place(plan, result)
    ax.plot(turn[stated[1]], glide[stated[0]], "o", markersize=9, markerfacecolor="none", markeredgecolor=fs.INK,
            markeredgewidth=1.4)  # fmt: skip
    if np.isfinite(gain[stated]):
        words = f"{gain[stated]:.3f} as stated, {words}"
    _one_place(ax, plan, result, pair)
    ax.set_title(f"{result.candidates[i]}\n{words}", fontsize=8, loc="left")
    return image


def _one_place(ax: Axes, plan: Plan, result: StanceMap, pair: int) -> None:
    """Borders of the band in which both measures of a pair load the blade at one place."""
    aheads = dict(followers(plan.request.settings[0], "turn"))
    ahead = max(aheads.get(REGISTRY[name].state, 0.0) for name in result.pairs[pair])
    limits = ax.get_xlim(), ax.get_ylim()
    for apart in (-TWO_PLACES_M, TWO_PLACES_M):
        ax.plot(result.turn_m * 1e3, (result.turn_m + ahead + apart) * 1e3, "--", color=fs.INK, linewidth=0.7)
    ax.set(xlim=limits[0], ylim=limits[1])


def _surroundings(result: StanceMap):
    """Frontier gain over mass, temperature and hollow at the stated stance: a row a pair, a line a zoned recipe."""
    keep, rows = _kept(result, MOST_CURVES), len(result.all_pairs)
    width = max(fs.text_width(result.candidates[i], 8) for i in keep) / 72 + 0.9
    fig = fs.page(10.2 + width, 1.6 + 2.5 * rows, "For whom, and where: nominal gain at the stated stance",
                  ["above 1: no single radius does as well on both; nothing else in doubt"])  # fmt: skip
    cells = fs.grid(fig, rows, len(SURROUNDINGS), 0.95, width, 0.95, 0.75, wgap=0.45, hgap=0.75)
    looks = fs.family_looks([(result.candidates[i], result.families[i]) for i in keep])
    for r, pair in enumerate(result.all_pairs):
        for k, (name, (values, words)) in enumerate(SURROUNDINGS.items()):
            ax = fig.add_subplot(cells[r, k])
            ax.axhline(1.0, color=fs.INK, linewidth=0.8)
            for i, look in zip(keep, looks):
                ax.plot(values, result.around[name][:, i, r], **look.line, marker=look.marker, markersize=3.5,
                        label=result.candidates[i])  # fmt: skip
            if k == 0:
                ax.set_ylabel("gain, " + pair_label(pair).replace(" against ", "\nagainst "), fontsize=7.5)
            if r == rows - 1:
                ax.set_xlabel(words, fontsize=8)
            if r == 0 and k == len(SURROUNDINGS) - 1:
                ax.legend(loc="upper left", bbox_to_anchor=(1.02, 1), frameon=False, fontsize=8)
    return fig
