"""Figures of the findings' own questions: single radii, zones, menus, pairs per stance, pitch."""

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from experiments.analysis.draws import Draws, intervals
from experiments.analysis.judging.statement import statement
from experiments.report import style as fs
from experiments.report.shown import COMPARED
from experiments.report.words import pair_label, said_text
from experiments.request.opinions import Felt
from experiments.studies.findings.differences import label
from experiments.studies.findings.menus import SkaterMenu
from experiments.studies.findings.pair_words import spreads_of
from experiments.studies.findings.paired import Paired
from experiments.studies.findings.study import Findings, Plan
from experiments.studies.findings.zone_words import places_text
from sim.measures import REGISTRY, STATIC
from sim.quantities import FOOT_M

BAND = {"color": "#bbbbbb", "alpha": 0.4, "linewidth": 0}  # too small to feel, in every figure of the page
ZONED, SINGLE = fs.BLUE, fs.ORANGE  # a blade of zones, and the best single radius beside it
STANDS = (fs.PURPLE, fs.INK, fs.GREEN, fs.SKY, fs.VERMILLION)  # a stance each
STANCE_NOTE = "bar: 5 to 95 % of the draws; dot: median; grey band: too small to feel (an assumption)"


def zero_sum(plan: Plan, result: Findings, folder: Path) -> list[Path]:
    """Both costs of each pair over the radius, against those of the shortest."""
    count = len(result.line)
    if not count:
        return []
    fig = fs.page(1.0 + 3.9 * count, 3.6, "Both costs of a pair over a single radius", ["nominal values"])
    cells = fs.grid(fig, 1, count, 0.75, 0.3, 0.95, 0.75, wgap=0.75)
    feet = np.array(plan.request.line_m) / FOOT_M
    for k, (pair, costs) in enumerate(result.line.items()):
        ax = fig.add_subplot(cells[k])
        for name, cost, colour in zip(pair, costs.T, (fs.BLUE, fs.VERMILLION)):
            ax.plot(feet, cost / cost[0], color=colour, linewidth=1.6, label=label(name))
        ax.set_xscale("log")
        ax.set_xticks(ticks := [f for f in (4, 6, 8, 10, 12, 16, 20) if feet[0] <= f <= feet[-1]], map(str, ticks))
        ax.minorticks_off()
        ax.set_xlabel("single radius, ft")
        ax.set_ylabel("cost over that of the shortest", fontsize=8)
        ax.legend(frameon=False, fontsize=7.5)
    return fs.save(fig, folder, "zero_sum")


def zones(plan: Plan, result: Findings, folder: Path) -> list[Path]:
    """Gain with its interval by number of zones, a panel a pair."""
    count = len(result.zones)
    if not count:
        return []
    note = (
        f"bar: 5 to 95 % of {plan.sampling.draws} draws that no search saw; dot: median; x: on the draws of the search"
    )
    fig = fs.page(1.0 + 4.6 * count, 4.1, "Gain over single radii by number of zones", [note])
    cells = fs.grid(fig, 1, count, 0.7, 0.3, 1.25, 0.75, wgap=0.55)
    for k, z in enumerate(result.zones):
        ax = fig.add_subplot(cells[k])
        at, spread = np.arange(1, 1 + len(z.recipes)), intervals(z.gain)
        ax.axhline(1.0, color=fs.INK, linewidth=0.8)
        ax.vlines(at, spread[0], spread[2], color=ZONED, linewidth=2.2)
        ax.plot(at, spread[1], "o", color=fs.INK, markersize=5)
        ax.plot(at + 0.15, z.sought, "x", color=fs.SOFT, markersize=5)
        for n, top in zip(at, spread[2]):
            said = (
                said_text(statement(z.gain[:, n - 1], plan.request.opinions))
                .replace(": ", ":\n")
                .replace("every ", "every\n")
            )
            ax.annotate(said, (n, top), (0, 4), textcoords="offset points", ha="center", fontsize=6)
        ax.margins(x=0.14, y=0.14)
        ax.set_xticks(at)
        ax.set_xlabel("zones, up to")
        ax.set_title(f"{pair_label(z.pair).replace(' against ', chr(10) + 'against ')}\n{places_text(z.pair, plan)}",
                     fontsize=8, loc="left")  # fmt: skip
        if k == 0:
            ax.set_ylabel("frontier gain")
    return fs.save(fig, folder, "zones")


def menu(result: Findings, plan: Plan, folder: Path) -> list[Path]:
    """Gain of every wish: the chosen blade, and the best single radius beside it; a panel a skater."""
    wishes = [label(w) for w in plan.menu.wishes]
    left = max(fs.text_width(w, 8) for w in wishes) / 72 + 0.35
    note = (
        "bar: 5 to 95 % of the draws it was judged on; dot: median; blue: chosen blade, filled where the wish can "
        "surely be had; orange: best single radius"
    )
    width = left + 3.2 * len(result.menus) + 0.2
    fig = fs.page(width, 1.75 + 0.42 * len(wishes), "What each wish buys", [note])
    cells = fs.grid(fig, 1, len(result.menus), left, 0.3, 0.95, 0.7, wgap=0.3)
    for k, one in enumerate(result.menus):
        ax = fig.add_subplot(cells[k], sharex=fig.axes[0] if fig.axes else None)
        _menu_panel(ax, one)
        ax.set_yticks(range(len(wishes)), wishes[::-1] if k == 0 else [""] * len(wishes))
        ax.set_title(f"{one.skater}, {one.mass_kg:g} kg", loc="left", fontsize=8.5)
        ax.set_xlabel(f"better than {one.present}, %", fontsize=7.5)
    return fs.save(fig, folder, "menu")


def _menu_panel(ax: Axes, one: SkaterMenu) -> None:
    ax.axvline(0.0, color=fs.INK, linewidth=0.8)
    for i, item in enumerate(one.items[::-1]):
        for up, place, gain, colour in (
            (0.13, item.blade, item.gain, ZONED),
            (-0.13, item.single, item.single_gain, SINGLE),
        ):
            if place < 0:
                continue
            low, middle, high = (100 * (2**x - 1) for x in gain)
            face = colour if colour == SINGLE or item.answer == "yes" else "white"
            ax.hlines(i + up, low, high, color=colour, linewidth=2.0)
            ax.plot(middle, i + up, "o", color=colour, markerfacecolor=face, markersize=5)
    ax.set_ylim(-0.6, len(one.items) - 0.4)


def pairs(pairs_of: Paired, one: str, other: str, name: str, title: str, folder: Path, felt: Felt) -> list[Path]:
    """One recipe over another, measure by measure, a bar a stance."""
    spreads = spreads_of(pairs_of, one, other)
    labels = [label(n) for n in COMPARED]
    left = max(fs.text_width(x, 8) for x in labels) / 72 + 0.35
    fig = fs.page(left + 6.4, 1.7 + 0.34 * len(labels), title, [STANCE_NOTE])
    ax = fig.add_subplot(fs.grid(fig, 1, 1, left, 1.5, 0.75, 0.65)[0])
    ax.axvspan(100 / felt.ratio - 100, 100 * felt.ratio - 100, **BAND)
    ax.axvline(0.0, color=fs.INK, linewidth=0.8)
    count, y = len(pairs_of.stands), np.arange(len(labels))[::-1]
    for s, (words, colour) in enumerate(zip(pairs_of.stands, STANDS)):
        low, middle, high = 100 * (np.exp(np.array([spreads[n][s] for n in COMPARED]).T) - 1)
        up = y + 0.22 * ((count - 1) / 2 - s)
        ax.hlines(up, low, high, color=colour, linewidth=1.8)
        ax.plot(middle, up, "o", color=colour, markersize=3.5, label=words)
    ax.set_yticks(y, labels)
    ax.set_ylim(-0.6, len(labels) - 0.4)
    ax.set_xlabel(f"{one} over {other}, %")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1), frameon=False, fontsize=8, title="standing", alignment="left")
    return fs.save(fig, folder, name)


def pitch(draws: Draws, folder: Path, felt: Felt) -> list[Path]:
    """Heel over toe of every blade against the reference."""
    names, measure = draws.candidates, REGISTRY["heel_over_toe"]
    left = max(fs.text_width(name, 8) for name in names) / 72 + 0.35
    fig = fs.page(
        left + 5.2, 1.6 + 0.3 * len(names), "How each blade tips the foot against the reference", [STANCE_NOTE]
    )
    ax = fig.add_subplot(fs.grid(fig, 1, 1, left, 0.35, 0.75, 0.65)[0])
    low, middle, high = intervals(1e3 * draws.values[:, :, STATIC.index("heel_over_toe")])
    y = np.arange(len(names))[::-1]
    ax.axvspan(-1e3 * felt.height_m, 1e3 * felt.height_m, **BAND)
    ax.axvline(0.0, color=fs.INK, linewidth=0.8)
    ax.hlines(y, low, high, color=fs.BLUE, linewidth=2.2)
    ax.plot(middle, y, "o", color=fs.INK, markersize=5)
    ax.set_yticks(y, names)
    ax.set_xlabel(f"{measure.label}, mm (toe-down +)")
    return fs.save(fig, folder, "pitch")
