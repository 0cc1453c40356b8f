"""Figures of a comparison: curves, contact, movements, trade-off and measures; PNG and SVG that repeat byte for byte."""

import math
import re
from dataclasses import dataclass
from pathlib import Path

import matplotlib
import numpy as np

from experiments import figure_style as fs
from experiments.runner import Results, Row
from sim.measures import REGISTRY, SETTLED

STATES = {
    "glide": "straight glide", "pivot_forefoot": "pivot on the forefoot", "pivot_heel": "pivot on the heel",
    "turn": "tight turn", "push": "push",
}  # fmt: skip
COLUMNS = {
    "time": ("time, ms", 1e3), "path_position": ("way along the path, m", 1.0),
    "balance_position": ("balance from mid-runner, mm", 1e3), "pitch": ("pitch, deg (toe-down positive)", 180 / math.pi),
    "load": ("load, N", 1.0), "drag": ("drag, N", 1.0), "speed": ("speed, m/s", 1.0), "scrape": ("scrape, N", 1.0),
}  # fmt: skip
HEADLINE = (
    "glide_drag_coefficient", "glide_loaded_arc", "pivot_forefoot_toe_in", "pivot_forefoot_toe_out",
    "pivot_heel_toe_in", "turn_drag", "turn_scrape", "turn_tightest_clean_radius", "turn_exit_speed",
    "push_hold_angle", "critical_ankle_stiffness", "nudge_shift", "nudge_settling_time", "stride_ice_loss",
)  # fmt: skip
MOST_ROWS = 24  # most candidates that a chart with one line of text each carries


@dataclass(frozen=True)
class Field:
    """What one set of figures draws: one skater's rows with their looks, the reference and the single-radius line."""

    rows: list[Row]
    looks: dict[str, fs.Look]
    skater: str  # empty when there is only one
    label: str  # of the reference
    row: Row | None  # of the reference, when it is among the rows
    values: dict[str, float]  # measures of the reference, as far as they are known
    radii: np.ndarray
    line: dict[str, np.ndarray]

    def drawn(self, usable, most=fs.MANY) -> tuple[list[Row], list[str]]:
        """Rows to draw, and notes on those that are not."""
        fit = [row for row in self.rows if usable(row)]
        shown = fs.pick(fit, self.row, most)
        notes = [f"skater: {self.skater}"] if self.skater else []
        if len(fit) < len(self.rows):
            gone = ", ".join(row.candidate for row in self.rows if not usable(row))
            notes.append(f"{len(fit)} of {len(self.rows)} drawn, no result for {gone[:70]}{'...' * (len(gone) > 70)}")
        if len(shown) < len(fit):
            notes.append(f"{len(shown)} of {len(fit)} shown, evenly from every family")
        return shown, notes

    def name(self, row: Row) -> str:
        """Label of a row in a legend."""
        return f"{row.candidate} (reference)" if row is self.row else row.candidate

    def key(self, fig, rows, right, top):
        """Legend of these rows."""
        return fs.key(fig, [(self.name(row), self.looks[row.candidate]) for row in rows], right, top)


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
            field = _field(results, skater, reference, looks, len(skaters) > 1)
            for name, figure in FIGURES.items():
                fig = figure(field)
                if fig is not None:
                    end = re.sub(r"\W+", "_", f"_{skater}") if len(skaters) > 1 else ""
                    paths += fs.save(fig, folder, f"{name}{end}")
    return paths


def _field(results, skater, label, looks, several):
    rows = [row for row in results.rows if row.skater == skater]
    line = results.line.get(skater, {})
    named = [row for row in rows if row.candidate == label]
    same = [r for r in rows if abs(r.values["steel_removed_depth"]) < 1e-9 and abs(r.values["pitch_bias"]) < 1e-9]
    row = (named or same or [None])[0]
    values = row.values if row else _values_on_line(rows, results.line_radii, line, label)
    return Field(rows, looks, skater if several else "", label, row, values, results.line_radii, line)


def _label_radius(label):
    """Radius in m that a label such as "10 ft reference" speaks of, else None."""
    found = re.search(r"(\d+(?:\.\d+)?)\s*(ft|mm|m)\b", label)
    return float(found[1]) * {"ft": fs.FEET, "m": 1.0, "mm": 1e-3}[found[2]] if found else None


def _values_on_line(rows, radii, line, label):
    """Measures of a single radius that is not among the rows: from the line, and between the single radii beside it."""
    at = _label_radius(label)
    if at is None:
        return {}
    single = sorted((fs.radius(r), r) for r in rows if r.family == "single_radius") if rows else []
    values = {}
    for name in REGISTRY:
        if name in line:
            values[name] = float(np.interp(at, radii, line[name], left=math.nan, right=math.nan))
        elif len(single) > 1:
            x, y = [s[0] for s in single], [s[1].values[name] for s in single]
            values[name] = float(np.interp(at, x, y, left=math.nan, right=math.nan))
    return values


# --- curves


def curves(field: Field):
    """Heights, their difference to the reference, and curvature read as radius, over x."""
    rows, notes = field.drawn(lambda row: len(row.curve.get("x", ())) > 1)
    if not rows:
        return None
    base = _reference_curve(field)
    fig = fs.page(11, 8.2, "Blade curves, boots level", notes)
    cells = fs.grid(fig, 3 if base else 2, 1, 0.9, 3.0, 0.75, 0.75, hgap=0.42)
    top, low = fig.add_subplot(cells[0]), fig.add_subplot(cells[-1])
    reach = 1e3 * max(np.abs(row.curve["x"]).max() for row in rows) * 1.04
    panels = [top, low]
    _heights(top, rows, field, reach)
    if base:
        middle = fig.add_subplot(cells[1])
        panels.insert(1, middle)
        _differences(middle, rows, field, base)
    _curvatures(low, rows, field)
    for ax in panels:
        ax.set_xlim(-reach, reach)
    low.set_xlabel("position from mid-runner, mm")
    field.key(fig, rows, 2.35, 0.8)
    return fig


def _working(curve):
    """Where the runner works: without the end sweeps."""
    return curve["curvature"] < 2.0


def _reference_curve(field):
    """(x, z) of the reference: its row's, or an arc of the radius that its label names; None when unknown."""
    if field.row:
        return field.row.curve["x"], field.row.curve["z"]
    at = _label_radius(field.label)
    if at is None:
        return None
    x = np.linspace(-0.4, 0.4, 801) * min(1.0, at)
    return x, at - np.sqrt(at**2 - x**2)


def _heights(ax, rows, field, reach):
    wide, high = fs.size_in(ax)
    tallest = 1e3 * max(row.curve["z"].max() for row in rows)
    factor = max(1, math.floor(high * 2 * reach / (wide * tallest * 1.16)))
    span = high * 2 * reach / (wide * factor)
    for row in rows:
        ax.plot(1e3 * row.curve["x"], 1e3 * row.curve["z"], **field.looks[row.candidate].line)
    ax.set_ylim(-0.06 * span, 0.94 * span)
    ax.set_ylabel("height, mm")
    ax.set_title(f"heights x {factor}", loc="center")
    ax.set_title("HEEL", loc="left", fontweight="bold")
    ax.set_title("TOE", loc="right", fontweight="bold")


def _differences(ax, rows, field, base):
    most = 0.0
    for row in rows:
        curve = row.curve
        gap = 1e6 * (curve["z"] - np.interp(curve["x"], *base, left=math.nan, right=math.nan))
        ax.plot(1e3 * curve["x"], gap, **field.looks[row.candidate].line)
        most = max(most, np.nanmax(np.abs(gap[_working(curve)])))
    ax.set_ylim(-1.12 * most - 1, 1.12 * most + 1)
    ax.set_ylabel("height less\nreference, um".replace("um", "µm"))
    ax.set_title(f"higher (+) or lower (-) than {field.label}: less steel left where higher", loc="left")


def _curvatures(ax, rows, field):
    parts = [row.curve["curvature"][_working(row.curve)] for row in rows]
    low, high = min(p.min() for p in parts), max(p.max() for p in parts)
    for row in rows:
        ax.plot(1e3 * row.curve["x"], row.curve["curvature"], **field.looks[row.candidate].line)
    ax.set_ylim(low * 0.9 if low > 0.4 * high else 0.0, high * 1.08)
    ax.set_ylabel("curvature, 1/m")
    ax.set_title("radius along the blade (end sweeps leave the panel)", loc="left")
    ax.spines["right"].set_visible(True)
    feet = ax.secondary_yaxis("right", functions=(lambda k: k, lambda k: k))
    ticks, last = [], math.inf
    for radius in (3, 4, 5, 6, 7, 8, 9, 10, 11, 13, 16, 20, 30, 50, 70, 100):
        k = 1 / (radius * fs.FEET)
        if ax.get_ylim()[0] < k < ax.get_ylim()[1] and last - k > 0.075 * np.ptp(ax.get_ylim()):
            ticks.append(radius)
            last = k
    feet.set_yticks([1 / (r * fs.FEET) for r in ticks], [f"{r} ft" for r in ticks])
    feet.set_ylabel("radius")


# --- contact


def contact(field: Field):
    """Where the steel is in the ice and where the ice presses on it, one panel a state, one line a candidate."""
    rows, notes = field.drawn(lambda row: row.contacts, MOST_ROWS)
    states = [s for s in STATES if any(s in row.contacts for row in rows)]
    if not states:
        return None
    notes += ["thin: steel in the ice; dark: ice at its full hardness; light: ice springing back; tick: load line"]
    fig = fs.page(14, 1.75 + 0.36 * len(rows), "Contact: where the ice carries the blade", notes)
    cells = fs.grid(fig, 1, len(states), 2.25, 0.15, 1.1, 0.62, wgap=0.12)
    ends = [x for row in rows for c in row.contacts.values() for x in (c["x"][0], c["x"][-1])]
    for i, state in enumerate(states):
        ax = fig.add_subplot(cells[i])
        _contact_panel(ax, rows, field, state, 1e3 * min(ends) - 6, 1e3 * max(ends) + 6)
        ax.set_yticks(range(len(rows)), [field.name(row) for row in rows] if i == 0 else [])
    return fig


def _contact_panel(ax, rows, field, state, left, right):
    loads = {id(r): r.contacts[state]["pressure"] * r.contacts[state]["loaded_width"] for r in rows if state in r.contacts}
    tallest = max(float(v.max()) for v in loads.values())
    edge = right + 0.46 * (right - left)
    for i, row in enumerate(rows):
        if id(row) not in loads:
            ax.text(0.5 * (left + right), i, "no contact found", fontsize=7, color=fs.SOFT, ha="center", va="center")
            continue
        c, load = row.contacts[state], loads[id(row)]
        at = np.arange(0, len(load), 2)
        x, top = 1e3 * c["x"][at], i + 0.32 - 0.72 * load[at] / tallest
        hard = c["pressure"][at] > 0.999 * c["pressure"].max()
        colour = field.looks[row.candidate].colour
        ax.plot(1e3 * c["x"][[0, -1]], [i + 0.32] * 2, color=colour, linewidth=2.2, solid_capstyle="butt")
        ax.fill_between(x, i + 0.32, top, where=~hard, color=colour, alpha=0.35, linewidth=0)
        ax.fill_between(x, i + 0.32, top, where=hard, color=colour, alpha=0.85, linewidth=0)
        centre = 1e3 * float(np.sum(load * c["x"]) / np.sum(load))
        ax.plot([centre] * 2, [i + 0.2, i + 0.44], color=fs.INK, linewidth=1.4)
        pressed = 1e3 * np.ptp(c["x"][c["pressure"] > 0])
        ax.text(edge - 0.02 * (edge - left), i, f"{pressed:.0f} | {1e3 * np.ptp(c['x']):.0f}", ha="right", va="center", fontsize=7.5)
    ax.set_xlim(left, edge)
    ax.set_ylim(len(rows) - 0.45, -0.6)
    step = 50 if right - left < 260 else 100
    ax.set_xticks(np.arange(math.ceil(left / step) * step, right, step))
    ax.grid(axis="y", visible=False)
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("HEEL     mm from mid-runner     TOE", loc="left", fontsize=7.5)
    ax.set_title(f"{STATES[state]}\ntallest {tallest / 1e3:.0f} N per mm", loc="left", fontsize=8.5)
    ax.text(1, 1.01, "pressed | in ice,\nlengths in mm", transform=ax.transAxes, ha="right", va="bottom", fontsize=7, color=fs.SOFT)


# --- movements


def _has(name):
    return lambda row: len(row.series.get(name, {}).get("time", ())) > 1


def _trace(ax, field, row, name, over, column):
    """One line of a movement; a cross where it ended early, nothing where the blade hardly touches."""
    series = row.series[name]
    at = fs.thinned(len(series["time"]))
    y = np.where(series["load"] > 0.03 * series["load"].max(), series[column], math.nan) if column == "balance_position" else series[column]
    (_, sx), (_, sy) = COLUMNS[over], COLUMNS[column]
    ax.plot(sx * series[over][at], sy * y[at], **field.looks[row.candidate].line)
    if row.outcomes.get(name) != "finished":
        ax.plot(sx * series[over][-1], sy * y[-1], "x", color=field.looks[row.candidate].colour, markersize=7)


def _panel(ax, field, rows, name, over, column):
    for row in rows:
        _trace(ax, field, row, name, over, column)
    if column == "load":
        wanted = rows[0].series[name]
        at = fs.thinned(len(wanted["time"]))
        ax.plot(COLUMNS[over][1] * wanted[over][at], wanted["wanted_load"][at], color="black", dashes=(2, 2), linewidth=1.1, zorder=5)
        ax.text(0.03, 0.94, "dashed: wanted load", transform=ax.transAxes, fontsize=8, va="top")
    ax.set_ylabel(COLUMNS[column][0])
    ax.set_xlabel(COLUMNS[over][0])
    ax.margins(x=0.01)


def _movement(name, title, over, columns):
    def figure(field: Field):
        rows, notes = field.drawn(_has(name))
        if not rows:
            return None
        fig = fs.page(11, 6.8, title, [*notes, *_ended(rows, name)], low="drag" in columns)
        cells = fs.grid(fig, 2, 2, 0.75, 2.75, 0.75, 0.7, wgap=0.75, hgap=0.6)
        for i, column in enumerate(columns):
            _panel(fig.add_subplot(cells[i // 2, i % 2]), field, rows, name, over, column)
        field.key(fig, rows, 2.6, 0.8)
        return fig

    return figure


def _ended(rows, name):
    early = [f"{row.candidate} {row.outcomes[name]}" for row in rows if row.outcomes.get(name, "finished") != "finished"]
    return [f"cross: {', '.join(early)}"] if early else []


def nudge_glide(field: Field):
    """Shift of the balance after a shove, with the settling band; below it the straight glide."""
    rows, notes = field.drawn(lambda row: _has("nudge")(row) or _has("glide")(row))
    nudged, gliding = [[row for row in rows if _has(name)(row)] for name in ("nudge", "glide")]
    if not rows:
        return None
    notes += [*_ended(nudged, "nudge"), *_ended(gliding, "glide")]
    fig = fs.page(11, 7.2, "Nudge: how soon the balance comes back; below, the straight glide", notes, low=True)
    cells = fs.grid(fig, 2, 3, 0.75, 2.75, 0.95, 0.7, wgap=0.75, hgap=0.75, height_ratios=(1.3, 1))
    if nudged:
        _nudge_panel(fig.add_subplot(cells[0, :]), field, nudged)
    for i, column in enumerate(("balance_position", "drag", "speed") if gliding else ()):
        _panel(fig.add_subplot(cells[1, i]), field, gliding, "glide", "time", column)
    field.key(fig, rows, 2.6, 1.0)
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
            ax.plot(time[outside[-1] + 1], shift[outside[-1] + 1], look.marker, color=look.colour, markersize=6, markeredgecolor="white", zorder=6)
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
