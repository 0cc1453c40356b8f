"""Figures of a comparison: curves, contact, movements, trade-off and measures; PNG and SVG that repeat to the byte."""

import math
import re
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from experiments.report import style as fs
from experiments.run.pool import begin
from experiments.studies.compare.blade_figures import contact, curves
from experiments.studies.compare.field import Field, field_of, looks
from experiments.studies.compare.rows import Results
from experiments.studies.compare.study import Plan
from experiments.studies.compare.trade_figures import measures, trade_off
from sim.measures import SETTLED

SERIES_AXES = {
    "time": ("time, ms", 1e3), "path_position": ("distance along the path, m", 1.0),
    "balance_position": ("centre of pressure from\nmid-runner, mm", 1e3),
    "pitch": ("pitch, deg (toe-down positive)", 180 / math.pi),
    "load": ("load, N", 1.0), "drag": ("drag, N", 1.0), "speed": ("speed, m/s", 1.0), "scrape": ("scrape, N", 1.0),
}  # fmt: skip


def draw(plan: Plan, results: Results, folder: Path, processes: int) -> list[Path]:
    """All figures."""
    return draw_all(results, plan.request.settings[0].reference.name, folder, processes)


def draw_all(results: Results, reference: str, folder: Path, workers: int = 1) -> list[Path]:
    """Draw every figure of every skater into `folder`; a figure without any result to draw is left out.

    reference: name of a candidate, or a label such as "10 ft reference" of a blade that is not among the rows.
    workers: processes to draw in; the files do not depend on it.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    skaters = list(dict.fromkeys(row.skater for row in results.rows))
    tasks = [(skater, name, len(skaters) > 1) for skater in skaters for name in FIGURES]
    shared = (results, reference, folder)
    if workers == 1:
        _share(*shared)
        return [path for task in tasks for path in _draw(task)]
    with ProcessPoolExecutor(workers, initializer=_begin, initargs=shared) as pool:
        return [path for paths in pool.map(_draw, tasks) for path in paths]


_SHARED = {}  # what every drawing of this process reads: handed over once, not with each task


def _begin(*shared):
    begin()
    _share(*shared)


def _share(results, reference, folder):
    _SHARED.update(results=results, reference=reference, folder=folder, looks=looks(results.rows))


def _draw(task) -> list[Path]:
    skater, name, several = task
    with matplotlib.rc_context(fs.RC):
        field = field_of(_SHARED["results"], skater, _SHARED["reference"], _SHARED["looks"], several)
        fig = FIGURES[name](field)
        if fig is None:
            return []
        end = re.sub(r"\W+", "_", f"_{skater}") if several else ""
        return fs.save(fig, _SHARED["folder"], f"{name}{end}")


def _has(name):
    return lambda row: len(row.series.get(name, {}).get("time", ())) > 1


def _trace(ax, field, row, name, over, column):
    """One line of a movement; a cross where it ended early, nothing where the blade hardly touches."""
    series, look = row.series[name], field.looks[row.candidate]
    x, y = SERIES_AXES[over][1] * series[over], SERIES_AXES[column][1] * series[column]
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
            SERIES_AXES[over][1] * wanted[over][at],
            wanted["wanted_load"][at],
            color="black",
            dashes=(2, 2),
            linewidth=1.1,
            zorder=5,
        )
        ax.set_title("dashed: prescribed load", loc="left", fontsize=8)
    ax.set_ylabel(SERIES_AXES[column][0])
    ax.set_xlabel(SERIES_AXES[over][0])
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
    """Notes on runs that ended early, and on blades that hopped: their load fell to nothing on the way."""
    early = [
        f"{row.candidate} {row.outcomes[name]}" for row in rows if row.outcomes.get(name, "finished") != "finished"
    ]
    hopped = [row.candidate for row in rows if np.any(row.series[name]["load"][:-1] <= 0)]
    notes = [f"cross: {', '.join(early)}"] if early else []
    return [*notes, f"{len(hopped)} of {len(rows)} lost contact briefly"] if hopped else notes


def nudge_glide(field: Field) -> Figure | None:
    """Shift of the balance after a shove, with the settling band; below it the straight glide."""
    rows, notes = field.drawn(lambda row: _has("nudge")(row) or _has("glide")(row))
    nudged, gliding = [[row for row in rows if _has(name)(row)] for name in ("nudge", "glide")]
    if not rows:
        return None
    notes += [*_ended(nudged, "nudge"), *_ended(gliding, "glide")]
    margin = field.key_width(rows) + 0.1
    fig = fs.page(
        8.3 + margin, 7.2, "Nudge: how soon the centre of pressure returns; below, the straight glide", notes, low=True
    )
    cells = fs.grid(fig, 2, 3, 0.75, margin, 0.95, 0.7, wgap=0.75, hgap=0.75, height_ratios=(1.3, 1))
    if nudged:
        _nudge_panel(fig.add_subplot(cells[0, :]), field, nudged)
    for i, column in enumerate(("balance_position", "pitch", "drag") if gliding else ()):
        _panel(fig.add_subplot(cells[1, i]), field, gliding, "glide", "time", column)
    field.key(fig, rows, 1.0)
    return fig


def _shift(row):
    """(time s, balance shift mm, place in both from which the balance stays settled or None) of a nudge."""
    series = row.series["nudge"]
    shift = 1e3 * (series["balance_position"] - series["balance_position"][0])
    outside = np.flatnonzero(np.abs(shift) > SETTLED * np.abs(shift).max())
    calm = len(outside) and outside[-1] < len(shift) - 2 and row.outcomes.get("nudge") == "finished"
    return series["time"], shift, int(outside[-1]) + 1 if calm else None


def _nudge_panel(ax, field, rows):
    until, shove = 0.0, math.nan
    for row in rows:
        look, (time, shift, settled) = field.looks[row.candidate], _shift(row)
        at = fs.thinned(len(time), 800)
        ax.plot(time[at], shift[at], **look.line)
        if settled is not None:
            dot = {"color": look.colour, "markersize": 6, "markeredgecolor": "white", "zorder": 6}
            ax.plot(time[settled], shift[settled], look.marker, **dot)
            shove = time[settled] - row.values.get("nudge_settling_time", math.nan)
        if row.outcomes.get("nudge") != "finished":
            ax.plot(time[-1], shift[-1], "x", color=look.colour, markersize=7)
        until = max(until, time[-1] if settled is None else min(1.15 * time[settled], time[-1]))
    if math.isfinite(shove):
        ax.axvline(shove, color=fs.SOFT, linewidth=0.8, dashes=(2, 2))
        ax.text(shove, 1.0, " shove", transform=ax.get_xaxis_transform(), fontsize=8, va="top")
    title = "mark: settled"
    if field.reference and _has("nudge")(field.reference):
        band = SETTLED * np.abs(_shift(field.reference)[1]).max()
        ax.axhspan(-band, band, color="#bbbbbb", alpha=0.4, linewidth=0)
        title = f"band: {100 * SETTLED:.0f} % of the greatest shift of {field.label}; {title}"
    ax.set_title(title, loc="left")
    ax.set_xlim(0, until)
    ax.set_ylabel("shift of the centre of pressure, mm (toe +)")
    ax.set_xlabel("time, s")


FIGURES = {  # those that take longest first, so that processes end together
    "08_measures": measures,
    "02_contact": contact,
    "07_trade_off": trade_off,
    "01_curves": curves,
    "03_stride": _movement(
        "stride", "Stride: where the load sits, how the foot rocks, what it costs", "time",
        ("balance_position", "pitch", "load", "drag"),
    ),
    "04_tight_turn": _movement(
        "tight_turn", "Tight turn: centre of pressure, pitch, speed and drag along the path", "path_position",
        ("balance_position", "pitch", "speed", "drag"),
    ),
    "05_start": _movement(
        "start", "Start from the forefoot: centre of pressure, pitch, load and drag", "time",
        ("balance_position", "pitch", "load", "drag"),
    ),
    "06_nudge_glide": nudge_glide,
    "09_fast_turn": _movement(
        "turn_at_speed", "Fast turn: centre of pressure, pitch, speed and drag along the path", "path_position",
        ("balance_position", "pitch", "speed", "drag"),
    ),
}  # fmt: skip
