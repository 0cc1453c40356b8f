"""Figures and terminal tables of the studies: intervals, stance maps, other physics, sensitivity."""

import math

import numpy as np
from matplotlib.colors import TwoSlopeNorm
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from experiments import certainty as c
from experiments import figure_style as fs
from experiments.scoring import BEYOND
from experiments.stance import SURROUNDINGS
from sim.measures import REGISTRY

BLUE, ORANGE, GREY = "#0072B2", "#D55E00", "#999999"
MOST = 24


def label(pair) -> str:
    """A pair of costs in words."""
    return " against ".join(REGISTRY[name].label for name in pair)


# ---------------------------------------------------------------- certainty


def draw_certainty(made, folder):
    """Score and frontier gains as medians with 5 to 95 % intervals."""
    names = made.candidates[:MOST]
    panels = [("score", c.intervals(made.score)[:, : len(names)], 0.0, None)]
    panels += [
        (
            f"frontier gain\n{label(p)}",
            c.intervals(made.gain[:, :, k])[:, : len(names)],
            1.0,
            made.gain[:, :, k] > BEYOND,
        )
        for k, p in enumerate(made.pairs)
    ]
    left = max(fs.text_width(n, 8) for n in names) / 72 + 0.35
    note = f"bar: 5 to 95 % of {len(made.points)} draws ({int(made.failed.sum())} failed); dot: median"
    fig = fs.page(left + 3.4 * len(panels), 1.9 + 0.3 * len(names), "How sure: score and frontier gain", [note])
    cells = fs.grid(fig, 1, len(panels), left, 0.35, 1.25, 0.75, wgap=0.55)
    for i, (title, spread, neutral, beyond) in enumerate(panels):
        ax = fig.add_subplot(cells[i])
        y = np.arange(len(names))[::-1]
        ax.axvline(neutral, color=fs.INK, linewidth=0.8)
        ax.hlines(y, spread[0], spread[2], color=BLUE, linewidth=2.2)
        ax.plot(spread[1], y, "o", color=fs.INK, markersize=5)
        ax.set_yticks(y, names if i == 0 else [""] * len(names))
        ax.set_title(title, loc="left", fontsize=8.5)
        if beyond is not None:
            for k, at in enumerate(y):
                ax.text(
                    1.01,
                    at,
                    f"{100 * beyond[:, k].mean():.0f} %",
                    transform=ax.get_yaxis_transform(),
                    fontsize=7,
                    va="center",
                )
            ax.set_xlabel("above 1: no single radius does as well on both\n(right: share of draws so)", fontsize=7.5)
        else:
            ax.set_xlabel("right is better than the reference", fontsize=7.5)
        ax.set_ylim(-0.6, len(names) - 0.4)
    return fs.save(fig, folder, "certainty")


def show_certainty(made, request, console: Console):
    """Medians and intervals; how often each candidate is first."""
    rank = c.ranks(made.score, "higher")
    table = Table(title=f"How sure, {len(made.points)} draws, {int(made.failed.sum())} failed", title_justify="left",
                  title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)  # fmt: skip
    table.add_column("candidate", no_wrap=True)
    table.add_column(f"score ({request.scheme.name})\n5 / 50 / 95 %", justify="right")
    table.add_column("first\nin", justify="right")
    for pair in made.pairs:
        table.add_column(f"gain, {REGISTRY[pair[0]].label} |\n{REGISTRY[pair[1]].label}; beyond in", justify="right")
    spread = c.intervals(made.score)
    order = np.argsort(-np.nan_to_num(spread[1], nan=-math.inf))
    for i in order[:40]:
        cells = [
            " / ".join(f"{v:+.3f}" for v in spread[:, i]) if np.isfinite(spread[:, i]).all() else "none",
            f"{100 * (rank[:, i] == 1).mean():.0f} %" if len(rank) else "none",
        ]
        for k in range(len(made.pairs)):
            low, middle, high = c.intervals(made.gain[:, i, k])
            share = f"{100 * (made.gain[:, i, k] > BEYOND).mean():.0f} %"
            cells.append(f"{low:.3f} / {middle:.3f} / {high:.3f}; {share}" if math.isfinite(middle) else "none")
        table.add_row(made.candidates[i], *cells)
    console.print(table)
    console.print(Text(
        "Shared inputs are the same for all candidates of a draw; grinding errors are each blade's own. 'Beyond' "
        f"counts draws with a gain above {BEYOND}, the resolution of the single-radius line. Who beats whom: beats.csv."
    ))  # fmt: skip


# ---------------------------------------------------------------- stance


def draw_stance(made, folder):
    """Maps of frontier gain over where the skater stands, one row per pair, one column per zoned recipe."""
    keep = [i for i, f in enumerate(made["families"]) if f != "single_radius"][:6] or [0]
    rows, columns = len(made["pairs"]), len(keep)  # at most six recipes: a map each
    note = "violet: no single radius does as well on both; brown: some single radius beats it; line: the border"
    fig = fs.page(1.3 + 2.75 * columns + 1.1, 1.3 + 2.75 * rows, "Where must the skater stand", [note])
    cells = fs.grid(fig, rows, columns, 0.9, 1.2, 1.15, 0.7, wgap=0.35, hgap=0.75)
    spread = max(0.01, float(np.nanmax(np.abs(made["gain"][keep] - 1), initial=0.0)))
    norm = TwoSlopeNorm(1.0, 1 - spread, 1 + spread)
    glide, turn = made["glide"] * 1e3, made["turn"] * 1e3
    for r, pair in enumerate(made["pairs"]):
        for k, i in enumerate(keep):
            ax = fig.add_subplot(cells[r, k])
            gain = made["gain"][i, r]
            image = ax.pcolormesh(turn, glide, gain, cmap="PuOr", norm=norm, shading="nearest", rasterized=True)
            said = "no gain can be had"
            if np.isfinite(gain).any():
                if np.nanmin(gain) < BEYOND < np.nanmax(gain):
                    ax.contour(turn, glide, gain, [BEYOND], colors=fs.INK, linewidths=1.0)
                best = np.unravel_index(np.nanargmax(gain), gain.shape)
                ax.plot(turn[best[1]], glide[best[0]], "x", color=fs.INK, markersize=6)
                said = f"best {gain[best]:.3f} at x"
            ax.set_title(f"{made['candidates'][i]}\n{said}", fontsize=8, loc="left")
            if k == 0:
                ax.set_ylabel(f"{label(pair)}\nglide load line, mm (toe +)", fontsize=7)
            if r == rows - 1:
                ax.set_xlabel("turn load line, mm (toe +)", fontsize=7.5)
    bar = fig.colorbar(image, cax=fig.add_axes([1 - 0.85 / fig.get_figwidth(), 0.2, 0.14 / fig.get_figwidth(), 0.5]))
    bar.set_label("frontier gain", fontsize=8)
    return fs.save(fig, folder, "stance_map") + _draw_sweep(made, folder)


def _draw_sweep(made, folder):
    """Frontier gain over mass, temperature and hollow at the stated stance: a row per pair, a line per zoned recipe."""
    keep = [i for i, f in enumerate(made["families"]) if f != "single_radius"][:8] or [0]
    rows = len(made["sweep_pairs"])
    width = max(fs.text_width(made["candidates"][i], 8) for i in keep) / 72 + 0.9
    fig = fs.page(10.2 + width, 1.6 + 2.5 * rows, "For whom, and where: gain at the stated stance",
                  ["above 1: no single radius does as well on both"])  # fmt: skip
    cells = fs.grid(fig, rows, 3, 0.95, width, 0.95, 0.75, wgap=0.45, hgap=0.75)
    for r, pair in enumerate(made["sweep_pairs"]):
        for k, (name, block) in enumerate(made["sweep"].items()):
            ax = fig.add_subplot(cells[r, k])
            values, words = SURROUNDINGS[name]
            ax.axhline(1.0, color=fs.INK, linewidth=0.8)
            for n, i in enumerate(keep):
                ax.plot(
                    values,
                    block[:, i, r],
                    "o-",
                    color=fs.HUES[n],
                    markersize=3.5,
                    linewidth=1.3,
                    label=made["candidates"][i],
                )
            if k == 0:
                ax.set_ylabel("gain, " + label(pair).replace(" against ", "\nagainst "), fontsize=7.5)
            if r == rows - 1:
                ax.set_xlabel(words, fontsize=8)
            if r == 0 and k == 2:
                ax.legend(loc="upper left", bbox_to_anchor=(1.02, 1), frameon=False, fontsize=8)
    return fs.save(fig, folder, "surroundings")


def show_stance(made, request, console: Console):
    """Best and worst stance of every candidate for every pair."""
    table = Table(
        title="Frontier gain over stances",
        title_justify="left",
        title_style="bold",
        box=box.SIMPLE_HEAD,
        pad_edge=False,
    )
    for heading in ("candidate", "pair", "least", "most", "at glide / turn, mm", "share of stances beyond"):
        table.add_column(heading, justify="left" if heading in ("candidate", "pair") else "right")
    for i, name in enumerate(made["candidates"][:40]):
        for r, pair in enumerate(made["pairs"]):
            gain = made["gain"][i, r]
            if np.isnan(gain).all():
                table.add_row(name, label(pair), "none", "none", "", "")
                continue
            g, t = np.unravel_index(np.nanargmax(gain), gain.shape)
            where = f"{made['glide'][g] * 1e3:+.0f} / {made['turn'][t] * 1e3:+.0f}"
            share = f"{100 * np.nanmean(gain > BEYOND):.0f} %"
            table.add_row(name, label(pair), f"{np.nanmin(gain):.3f}", f"{gain[g, t]:.3f}", where, share)
    console.print(table)


# ---------------------------------------------------------------- other physics


def draw_hold(rows, folder):
    """Score of every candidate under every physics, candidates as lines over variants."""
    names = rows[0]["candidates"][:12]
    note = "score above 0: better than the reference; under each name: Kendall's tau of the order"
    fig = fs.page(11.5, 5.6, "Does the order survive other physics", [note])
    width = max(fs.text_width(n, 8) for n in names) / 72 + 0.9
    ax = fig.add_subplot(fs.grid(fig, 1, 1, 0.75, width, 0.8, 1.25)[0])
    hues = [*fs.HUES, *fs.HUES]
    for i, name in enumerate(names):
        scores = [row["score"][i] for row in rows]
        ax.plot(
            scores,
            "o-",
            color=hues[i],
            dashes=[(1, 0), (4, 2)][i >= len(fs.HUES)],
            linewidth=1.2,
            markersize=4,
            label=name,
        )
    ax.axhline(0, color=fs.INK, linewidth=0.7)
    ticks = [f"{row['variant']}\n{row['tau']:.2f}" for row in rows]
    ax.set_xticks(range(len(rows)), ticks, rotation=35, ha="right", fontsize=8)
    ax.set_ylabel("score")
    ax.legend(loc="upper left", bbox_to_anchor=(1.01, 1), frameon=False, fontsize=8)
    return fs.save(fig, folder, "does_it_hold")


def show_hold(rows, request, console: Console):
    """One line per physics: first, last, and how far the order is kept."""
    table = Table(title=f"Order by {request.scheme.name} under other physics", title_justify="left", title_style="bold",
                  box=box.SIMPLE_HEAD, pad_edge=False)  # fmt: skip
    for heading in ("physics", "Kendall tau", "first", "last", "pairs of candidates swapped"):
        table.add_column(heading, justify="right" if "tau" in heading or "pairs" in heading else "left")
    standard = rows[0]["score"]
    for row in rows:
        score, names = row["score"], row["candidates"]
        if not np.isfinite(score).all():
            table.add_row(row["variant"], "none", "a part of the score cannot be had", "", "")
            continue
        swapped = sum(
            (standard[i] - standard[j]) * (score[i] - score[j]) < 0 for i in range(len(names)) for j in range(i)
        )
        total = len(names) * (len(names) - 1) // 2
        cells = names[int(np.argmax(score))], names[int(np.argmin(score))], f"{swapped} of {total}"
        table.add_row(row["variant"], f"{row['tau']:.2f}", *cells)
    console.print(table)


# ---------------------------------------------------------------- sensitivity


def draw_sensitivity(made, folder):
    """Total Sobol indices with confidence, one panel per output."""
    outputs = list(dict.fromkeys(row[1] for row in made["rows"] if row[0] == "sobol"))
    if not outputs:
        return []
    inputs = list(dict.fromkeys(row[2] for row in made["rows"]))
    left = max(fs.text_width(n.replace("_", " "), 8) for n in inputs) / 72 + 0.35
    fig = fs.page(left + 2.5 * len(outputs), 1.7 + 0.27 * len(inputs), f"Which unknown decides: {made['subject']}",
                  ["bar: total Sobol index, the variance that goes when the input is known; line: 95 %"])  # fmt: skip
    cells = fs.grid(fig, 1, len(outputs), left, 0.3, 1.15, 0.55, wgap=0.3)
    for k, output in enumerate(outputs):
        ax = fig.add_subplot(cells[k])
        found = {row[2]: row for row in made["rows"] if row[0] == "sobol" and row[1] == output}
        y = np.arange(len(inputs))[::-1]
        total = np.array([found[n][5] for n in inputs])
        ax.barh(y, np.maximum(total, 0), color=BLUE, height=0.6, xerr=[found[n][6] for n in inputs],
                error_kw={"elinewidth": 0.8, "ecolor": fs.INK})  # fmt: skip
        ax.set_yticks(y, [n.replace("_", " ") for n in inputs] if k == 0 else [""] * len(inputs))
        title = output.replace("gain ", "frontier gain\n").replace(" | ", "\n")
        ax.set_title(title.replace("_", " "), fontsize=8, loc="left")
        ax.set_xlim(0, 1.1)
    return fs.save(fig, folder, "sensitivity")


def show_sensitivity(made, request, console: Console):
    """The two unknowns that decide each output."""
    table = Table(
        title=f"Which unknown decides: {made['subject']}", title_justify="left", title_style="bold", box=box.SIMPLE_HEAD
    )
    for heading in ("output (against the reference)", "first", "total index", "second", "total index"):
        table.add_column(heading, justify="right" if "index" in heading else "left")
    for output in dict.fromkeys(row[1] for row in made["rows"] if row[0] == "sobol"):
        found = sorted((row for row in made["rows"] if row[0] == "sobol" and row[1] == output), key=lambda r: -r[5])
        cells = [x for row in found[:2] for x in (row[2].replace("_", " "), f"{row[5]:.2f} +- {row[6]:.2f}")]
        table.add_row(output, *cells)
    console.print(table)
