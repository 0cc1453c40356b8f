"""Figures of a comparison: curves, contact, movements, trade-off and measures; PNG and SVG that repeat to the byte."""

import math
import re
from pathlib import Path

import matplotlib
import numpy as np

from experiments import figure_blade, figure_trade
from experiments import figure_style as fs
from experiments.figure_style import Field
from experiments.runner import Results
from sim.measures import SETTLED

COLUMNS = {
    "time": ("time, ms", 1e3), "path_position": ("way along the path, m", 1.0),
    "balance_position": ("balance from mid-runner, mm", 1e3),
    "pitch": ("pitch, deg (toe-down positive)", 180 / math.pi),
    "load": ("load, N", 1.0), "drag": ("drag, N", 1.0), "speed": ("speed, m/s", 1.0), "scrape": ("scrape, N", 1.0),
}  # fmt: skip


def draw_all(results: Results, reference: str, folder: Path) -> list[Path]:
    """Draw every figure of every skater into `folder`; a figure without any result to draw is left out.

    reference: name of a candidate, or a label such as "10 ft reference" of a blade that is not among the rows.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    looks = fs.looks(results.rows)
    skaters = list(dict.fromkeys(row.skater for row in results.rows))
    paths = []
    with matplotlib.rc_context(fs.RC):
        for skater in skaters:
            field = fs.field_of(results, skater, reference, looks, len(skaters) > 1)
            for name, figure in FIGURES.items():
                fig = figure(field)
                if fig is not None:
                    end = re.sub(r"\W+", "_", f"_{skater}") if len(skaters) > 1 else ""
                    paths += fs.save(fig, folder, f"{name}{end}")
    return paths


def _has(name):
    return lambda row: len(row.series.get(name, {}).get("time", ())) > 1


def _trace(ax, field, row, name, over, column):
    """One line of a movement; a cross where it ended early, nothing where the blade hardly touches."""
    series, look = row.series[name], field.looks[row.candidate]
    x, y = COLUMNS[over][1] * series[over], COLUMNS[column][1] * series[column]
    if column == "balance_position":
        y = np.where(series["load"] > 0.03 * series["load"].max(), y, math.nan)
    at = fs.thinned(len(x))
    if column in ("drag", "scrape"):  # evaluated now and then and held in between: steps that are not there
        at = np.unique(np.concatenate([[0], np.flatnonzero(np.diff(y)) + 1, [len(y) - 1]]))
    ax.plot(x[at], y[at], **look.line)
    if row.outcomes.get(name) != "finished":
        ax.plot(x[-1], y[-1], "x", color=look.colour, markersize=7)


def _panel(ax, field, rows, name, over, column):
    for row in rows:
        _trace(ax, field, row, name, over, column)
    if column == "load":
        wanted = rows[0].series[name]
        at = fs.thinned(len(wanted["time"]))
        ax.plot(
            COLUMNS[over][1] * wanted[over][at],
            wanted["wanted_load"][at],
            color="black",
            dashes=(2, 2),
            linewidth=1.1,
            zorder=5,
        )
        ax.text(0.03, 0.94, "dashed: wanted load", transform=ax.transAxes, fontsize=8, va="top")
    ax.set_ylabel(COLUMNS[column][0])
    ax.set_xlabel(COLUMNS[over][0])
    ax.margins(x=0.01)


def _movement(name, title, over, columns):
    def figure(field: Field):
        rows, notes = field.drawn(_has(name))
        if not rows:
            return None
        margin = field.key_width(rows) + 0.1
        fig = fs.page(8.3 + margin, 6.8, title, [*notes, *_ended(rows, name)], low="drag" in columns)
        cells = fs.grid(fig, 2, 2, 0.75, margin, 0.65, 0.7, wgap=0.75, hgap=0.6)
        for i, column in enumerate(columns):
            _panel(fig.add_subplot(cells[i // 2, i % 2]), field, rows, name, over, column)
        field.key(fig, rows, 0.7)
        return fig

    return figure


def _ended(rows, name):
    early = [
        f"{row.candidate} {row.outcomes[name]}" for row in rows if row.outcomes.get(name, "finished") != "finished"
    ]
    return [f"cross: {', '.join(early)}"] if early else []


def nudge_glide(field: Field):
    """Shift of the balance after a shove, with the settling band; below it the straight glide."""
    rows, notes = field.drawn(lambda row: _has("nudge")(row) or _has("glide")(row))
    nudged, gliding = [[row for row in rows if _has(name)(row)] for name in ("nudge", "glide")]
    if not rows:
        return None
    notes += [*_ended(nudged, "nudge"), *_ended(gliding, "glide")]
    margin = field.key_width(rows) + 0.1
    fig = fs.page(
        8.3 + margin, 7.2, "Nudge: how soon the balance comes back; below, the straight glide", notes, low=True
    )
    cells = fs.grid(fig, 2, 3, 0.75, margin, 0.95, 0.7, wgap=0.75, hgap=0.75, height_ratios=(1.3, 1))
    if nudged:
        _nudge_panel(fig.add_subplot(cells[0, :]), field, nudged)
    for i, column in enumerate(("balance_position", "pitch", "drag") if gliding else ()):
        _panel(fig.add_subplot(cells[1, i]), field, gliding, "glide", "time", column)
    field.key(fig, rows, 1.0)
    return fig


def _nudge_panel(ax, field, rows):
    lead, until, shoves = None, 0.0, []
    for row in rows:
        series, look = row.series["nudge"], field.looks[row.candidate]
        time, shift = series["time"], 1e3 * (series["balance_position"] - series["balance_position"][0])
        at = fs.thinned(len(time), 800)
        ax.plot(time[at], shift[at], **look.line)
        peak = float(np.abs(shift).max())
        lead = peak if lead is None or row is field.row else lead
        outside = np.flatnonzero(np.abs(shift) > SETTLED * peak)
        settled = len(outside) and outside[-1] < len(time) - 2 and row.outcomes.get("nudge") == "finished"
        until = max(until, time[outside[-1] + 1] if settled else time[-1])
        if settled:
            ax.plot(
                time[outside[-1] + 1],
                shift[outside[-1] + 1],
                look.marker,
                color=look.colour,
                markersize=6,
                markeredgecolor="white",
                zorder=6,
            )
            shoves.append(time[outside[-1] + 1] - row.values["nudge_settling_time"])
        if row.outcomes.get("nudge") != "finished":
            ax.plot(time[-1], shift[-1], "x", color=look.colour, markersize=7)
    ax.axhspan(-SETTLED * lead, SETTLED * lead, color="#bbbbbb", alpha=0.4, linewidth=0)
    if shoves and math.isfinite(shoves[0]):
        ax.axvline(shoves[0], color=fs.SOFT, linewidth=0.8, dashes=(2, 2))
        ax.text(shoves[0], 1.0, " shove", transform=ax.get_xaxis_transform(), fontsize=8, va="top")
    ax.set_xlim(0, min(until * 1.15, max(row.series["nudge"]["time"][-1] for row in rows)))
    whose = "the reference's" if field.row in rows else f"{rows[0].candidate}'s"
    ax.set_title(f"band: {100 * SETTLED:.0f} % of {whose} greatest shift; mark: settled for good", loc="left")
    ax.set_ylabel("balance shift, mm (toe +)")
    ax.set_xlabel("time, s")


FIGURES = {
    "01_curves": figure_blade.curves,
    "02_contact": figure_blade.contact,
    "03_stride": _movement(
        "stride", "Stride: where the load sits, how the foot rocks, what it costs", "time",
        ("balance_position", "pitch", "load", "drag"),
    ),
    "04_tight_turn": _movement(
        "tight_turn", "Tight turn: balance, pitch, speed kept and drag along the path", "path_position",
        ("balance_position", "pitch", "speed", "drag"),
    ),
    "05_start": _movement(
        "start", "Start from the forefoot: balance, pitch, load and drag", "time",
        ("balance_position", "pitch", "load", "drag"),
    ),
    "06_nudge_glide": nudge_glide,
    "07_trade_off": figure_trade.trade_off,
    "08_measures": figure_trade.measures,
}  # fmt: skip
