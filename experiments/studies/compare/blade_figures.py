"""Figures of the blade itself: its curve, and its contact with the ice in each static state."""

import math

import numpy as np
from matplotlib.figure import Figure

from experiments.report import style as fs
from experiments.report.shown import STATE_LABELS
from experiments.studies.compare.field import Field
from sim.quantities import FOOT_M

# --- curves


def curves(field: Field) -> Figure | None:
    """Heights, their difference to the reference, and curvature read as radius, over x."""
    rows, notes = field.drawn(lambda row: len(row.curve.get("x", ())) > 1)
    if not rows:
        return None
    base = _reference_curve(field)
    margin = field.key_width(rows) + 0.65
    fig = fs.page(8 + margin, 8.2, "Blade curves, boots level", notes)
    cells = fs.grid(fig, 3 if base else 2, 1, 0.9, margin, 0.75, 0.75, hgap=0.42)
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
    field.key(fig, rows, 0.8)
    return fig


def _working(curve):
    """Where the runner works: without the end sweeps and what blends into them."""
    flat = np.flatnonzero(curve["curvature"] < 3 * np.median(curve["curvature"]))
    return slice(flat[0] + 5, max(flat[-1] - 4, flat[0] + 6))


def _reference_curve(field):
    """(x, z) of the reference's working part; None when there is no reference."""
    if field.reference is None:
        return None
    part = _working(field.reference.curve)
    return field.reference.curve["x"][part], field.reference.curve["z"][part]


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
    gaps = []
    for row in rows:
        x, z = (row.curve[name][_working(row.curve)] for name in ("x", "z"))
        gaps.append((x, z - np.interp(x, *base, left=math.nan, right=math.nan)))
    most = max((np.nanmax(np.abs(gap), initial=0.0) for _, gap in gaps), default=0.0)
    unit, factor = ("mm", 1e3) if most > 1e-3 else ("µm", 1e6)
    for row, (x, gap) in zip(rows, gaps):
        ax.plot(1e3 * x, factor * gap, **field.looks[row.candidate].line)
    reach = factor * max(1.12 * most, 1e-6)
    ax.set_ylim(-reach, reach)
    ax.set_ylabel(f"height less\nreference, {unit}")
    ax.set_title(f"higher (+) or lower (-) than {field.label}, without the end sweeps", loc="left")


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
        k = 1 / (radius * FOOT_M)
        if ax.get_ylim()[0] < k < ax.get_ylim()[1] and last - k > 0.075 * np.ptp(ax.get_ylim()):
            ticks.append(radius)
            last = k
    feet.set_yticks([1 / (r * FOOT_M) for r in ticks], [f"{r} ft" for r in ticks])
    feet.set_ylabel("radius")


# --- contact

STATES_A_ROW = 5


def contact(field: Field) -> Figure | None:
    """Where the steel is in the ice and where the ice presses on it, one panel a state, one line a candidate."""
    rows, notes = field.drawn(lambda row: row.contacts, fs.MOST_CHART_ROWS)
    states = [s for s in STATE_LABELS if any(s in row.contacts for row in rows)]
    if not states:
        return None
    notes += ["thin: steel in the ice; dark: ice at its full hardness; light: ice springing back; tick: load line"]
    lines = math.ceil(len(states) / STATES_A_ROW)
    height = 0.36 * len(rows)
    fig = fs.page(14, 0.1 + lines * (1.65 + height), "Contact: where the ice carries the blade", notes)
    cells = fs.grid(fig, lines, STATES_A_ROW, 2.25, 0.15, 1.1, 0.62, wgap=0.12, hgap=1.1)
    ends = [x for row in rows for c in row.contacts.values() for x in (c["x"][0], c["x"][-1])]
    for i, state in enumerate(states):
        ax = fig.add_subplot(cells[divmod(i, STATES_A_ROW)])
        _contact_panel(ax, rows, field, state, 1e3 * min(ends) - 6, 1e3 * max(ends) + 6)
        ax.set_yticks(range(len(rows)), [field.name(row) for row in rows] if i % STATES_A_ROW == 0 else [])
    return fig


def _contact_panel(ax, rows, field, state, left, right):
    loads = {
        id(r): r.contacts[state]["pressure"] * r.contacts[state]["loaded_width"] for r in rows if state in r.contacts
    }
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
        ax.fill_between(x, i + 0.32, top, color=colour, alpha=0.35, linewidth=0)
        ax.fill_between(x, i + 0.32, top, where=hard, color=colour, alpha=0.85, linewidth=0)
        centre = 1e3 * float(np.sum(load * c["x"]) / np.sum(load))
        ax.plot([centre] * 2, [i + 0.2, i + 0.44], color=fs.INK, linewidth=1.4)
        first = int(np.argmax(c["pressure"] > 0))  # the arc ends between this sample and the one behind it
        pressed = 1e3 * (c["x"][-1] - 0.5 * (c["x"][first] + c["x"][max(first - 1, 0)]))
        ax.text(
            edge - 0.02 * (edge - left),
            i,
            f"{pressed:.0f} | {1e3 * np.ptp(c['x']):.0f}",
            ha="right",
            va="center",
            fontsize=7.5,
        )
    ax.set_xlim(left, edge)
    ax.set_ylim(len(rows) - 0.45, -0.6)
    step = 50 if right - left < 260 else 100
    ax.set_xticks(np.arange(math.ceil(left / step) * step, right, step))
    ax.grid(axis="y", visible=False)
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("HEEL     mm from mid-runner     TOE", loc="left", fontsize=7.5)
    ax.set_title(f"{STATE_LABELS[state]}\npeak {tallest / 1e3:.0f} N per mm", loc="left", fontsize=8.5)
    ax.text(
        1,
        1.01,
        "pressed | in ice,\nlengths in mm",
        transform=ax.transAxes,
        ha="right",
        va="bottom",
        fontsize=7,
        color=fs.SOFT,
    )
