"""Figures of what is given for what: trade-off against the single-radius line, and headline measures as ratios."""

import math

import numpy as np
from matplotlib.figure import Figure

from experiments.report import style as fs
from experiments.report.line import better_corner, beyond, dense, feet_ticks
from experiments.report.shown import FIGURE
from experiments.report.words import NOT_AVAILABLE, axis_label, unit_text
from experiments.studies.compare.field import Field
from sim.measures import REGISTRY
from sim.quantities import FOOT_M

PAIRS = (  # (x, y, title, what a fold of the line comes from)
    (
        "glide_drag_coefficient", "pivot_forefoot_toe_in", "Glide against pivot",
        "film drag changes once the ice covers the crown of the hollow",
    ),
    (
        "turn_drag", "critical_ankle_stiffness", "Turn against steadiness",
        "shorter radii plough deeper, longer ones scrape",
    ),
)  # fmt: skip


CROWD, NAMED = 200, 6  # more blades than this are dots, and only a few of them get names


def _finite(row, names) -> bool:
    return all(math.isfinite(row.values.get(name, math.nan)) for name in names)


def trade_off(field: Field) -> Figure | None:
    """Pairs of measures of which less is better, with the line that single radii draw."""
    names = [name for pair in PAIRS for name in pair[:2]]
    rows, notes = field.drawn(lambda row: _finite(row, names), fs.MOST_CHART_ROWS)
    if not rows:
        return None
    crowd = [row for row in field.rows if _finite(row, names)]
    if len(crowd) <= CROWD:
        crowd = []
    else:
        notes[-1] = f"dots: all {len(crowd)}; named: the {NAMED} with the greatest frontier gain on each pair"
    low, high = (f"{r / FOOT_M:.0f}" for r in (field.radii[0], field.radii[-1]))
    notes.append("shaded: no single radius on the reference runner does as well on both")
    if field.line:
        notes.append(f"line: single radii of {low} to {high} ft with the reference's hollow and thickness")
    fig = fs.page(13.5, 7.4, "Trade-off: what a recipe gives and takes, against single radii", notes, low=True)
    cells = fs.grid(fig, 1, 2, 0.8, 0.25, 0.95, 1.05, wgap=0.85)
    for i, (x, y, title, why) in enumerate(PAIRS):
        ax = fig.add_subplot(cells[i])
        named = sorted(crowd, key=lambda row, p={x, y}: -_gain(row, p))[:NAMED] if crowd else rows
        _pair(ax, field, named, REGISTRY[x], REGISTRY[y], why, crowd)
        ax.set_title(title, loc="left", fontweight="bold")
    return fig


def _gain(row, pair: set[str]) -> float:
    """Frontier gain of a row on a pair of measures; none at all where the run did not ask for it."""
    found = [gain.gain for names, gain in row.gains.items() if set(names) == pair and math.isfinite(gain.gain)]
    return found[0] if found else 0.0


def _points(rows, mx, my):
    return np.array([[mx.to_shown(row.values[mx.name]), my.to_shown(row.values[my.name])] for row in rows])


def _pair(ax, field, rows, mx, my, why, crowd=()):
    points = _points(rows, mx, my)
    line = np.zeros((0, 2))
    radii = np.zeros(0)
    if mx.name in field.line and my.name in field.line:
        line = np.column_stack([mx.to_shown(field.line[mx.name]), my.to_shown(field.line[my.name])])
        known = np.isfinite(line).all(axis=1)
        line, radii = line[known], np.asarray(field.radii)[known]
    cloud = _points(crowd, mx, my) if len(crowd) else points[:0]
    _limits(ax, np.vstack([points, line, cloud]), left=0.22 if len(rows) < 10 else 0.34)  # room for names
    ax.plot(*cloud.T, ".", color="#8fb8d8", markersize=1.5, rasterized=True, zorder=1.2)
    ax.set_xlabel(axis_label(mx))
    ax.set_ylabel(axis_label(my))
    taken = [better_corner(ax)]
    on_line = line
    if len(line) > 1:
        beyond(ax, line)
        ax.plot(*line.T, color=fs.SOFT, linewidth=1.3, zorder=1.5)
        folds = _folds(line, radii)
        if folds:
            text = f"the line folds back near {' and '.join(folds)} ft: {why}"
            ax.text(0, -0.1, text, transform=ax.transAxes, fontsize=7.5, color=fs.SOFT, va="top")
        on_line = dense(line)
    spots = fs.in_points(ax, *points.T)
    _markers(ax, field, rows, points, spots)
    path = fs.in_points(ax, *on_line.T) if len(on_line) else np.zeros((0, 2))
    obstacles = np.vstack([path, spots])
    for spot in spots:
        taken.append(np.array([*(spot - 4.5), *(spot + 4.5)]))
    ticks = feet_ticks(ax, line, radii, spots)
    fs.place_labels(ax, ticks, obstacles, taken, size=7, reach=(8, 11, 15, 20))
    fs.place_labels(ax, _labels(field, rows, spots, path), obstacles, taken)


def _limits(ax, cloud, left):
    for low, high, before, put in zip(cloud.min(axis=0), cloud.max(axis=0), (left, 0.2), (ax.set_xlim, ax.set_ylim)):
        pad = (high - low) or abs(high) or 1.0
        put(low - before * pad, high + 0.12 * pad)


def _folds(line, radii) -> list[str]:
    """Radii in ft at which x or y turns round along the line."""
    found = []
    for values in line.T:
        slope = np.sign(np.diff(values))
        found += [radii[i + 1] / FOOT_M for i in np.flatnonzero(slope[1:] * slope[:-1] < 0)]
    return [f"{r:.1f}" for r in sorted(found)[:3]]


def _markers(ax, field, rows, points, spots):
    """A marker a recipe; one for those of a family that coincide."""
    seen = []
    for row, point, spot in zip(rows, points, spots):
        if any(family == row.family and np.hypot(*(spot - other)) < 3 for family, other in seen):
            continue
        seen.append((row.family, spot))
        look = field.looks[row.candidate]
        ax.plot(*point, look.marker, color=look.colour, markersize=7, markeredgecolor="white", markeredgewidth=0.6)


def _labels(field, rows, spots, path):
    """Recipes to be named: one label for those that coincide, none for single radii that the line's own ticks name."""
    groups = []
    for row, spot in zip(rows, spots):
        near = len(path) and np.hypot(*(path - spot).T).min() < 2.5
        if near and row.family == "single_radius" and row.candidate.endswith(" ft"):
            continue
        group = next((g for g in groups if np.hypot(*(g[0] - spot)) < 3), None)
        if group is None:
            groups.append((spot, [row]))
        else:
            group[1].append(row)
    out = [(spot, _joint_name(field, same), field.looks[same[0].candidate].colour) for spot, same in groups]
    crowd = [sum(np.hypot(*(spots - spot).T) < 60) for spot, _, _ in out]
    return [out[i] for i in sorted(range(len(out)), key=lambda i: -crowd[i])]


def _joint_name(field, rows):
    if len(rows) == 1:
        return field.name(rows[0])
    starts = {row.candidate.split(",")[0] for row in rows}
    return f"{starts.pop()} (x{len(rows)})" if len(starts) == 1 else "\n".join(row.candidate for row in rows[:3])


# --- measures


def measures(field: Field) -> Figure | None:
    """Headline measures as ratios to the reference: one small panel a measure, one line a candidate."""
    names = [n for n in FIGURE if math.isfinite(field.values.get(n, math.nan))]
    rows, notes = field.drawn(
        lambda row: any(math.isfinite(row.values.get(n, math.nan)) for n in names), fs.MOST_CHART_ROWS
    )
    if not rows or not names:
        return None
    if len(names) < len(FIGURE):
        notes.append(f"{len(names)} of {len(FIGURE)} measures: the reference has no value of the others")
    notes.append(
        "filled: better than the reference; open: worse; grey: no better side; arrow at the edge: off the scale"
    )
    blocks, across = math.ceil(len(names) / 7), min(7, len(names))
    high = 0.185 * len(rows) + 0.15
    fig = fs.page(14, 0.75 + blocks * (high + 1.0) + 0.25, f"Measures as ratios to {field.label}", notes, low=True)
    cells = fs.grid(fig, blocks, across, 2.25, 0.15, 1.3, 0.6, wgap=0.14, hgap=1.0)
    reach = _reach(rows, field, names)
    for i, name in enumerate(names):
        ax = fig.add_subplot(cells[i // across, i % across])
        _ratio_panel(ax, field, rows, REGISTRY[name], reach)
        ax.set_yticks(range(len(rows)), [field.name(row) for row in rows] if i % across == 0 else [])
        ax.tick_params(axis="y", labelsize=7.5)
    return fig


def _ratio(row, field, name) -> float:
    base = field.values[name]
    return row.values.get(name, math.nan) / base if base else math.nan


def _reach(rows, field, names):
    """Half width of the axes, log2: most dots inside, never finer than 10 % and never wider than a factor of 2.2."""
    ratios = np.array([_ratio(row, field, name) for row in rows for name in names])
    ratios = ratios[np.isfinite(ratios) & (ratios > 0)]
    wide = float(np.quantile(np.abs(np.log2(ratios)), 0.93)) if len(ratios) else 0.2
    return min(max(1.15 * wide, 0.15), 1.15)


def _ratio_panel(ax, field, rows, measure, reach):
    logs = []
    for i, row in enumerate(rows):
        ratio = _ratio(row, field, measure.name)
        known = math.isfinite(ratio) and ratio >= 0
        logs.append((math.log2(ratio) if ratio > 0 else -math.inf) if known else math.nan)
        text = f"{ratio:.3f}" if abs(ratio - 1) < 0.0195 else f"{ratio:.2f}"
        ax.text(2.05 * reach, i, text if known else NOT_AVAILABLE, fontsize=7, ha="right", va="center")
    colours = [field.looks[row.candidate].colour for row in rows]
    _lollipops(ax, logs, colours, [_verdict(measure, log) for log in logs], reach)
    ax.axvline(0, color=fs.INK, linewidth=0.8)
    ax.set_xlim(-1.08 * reach, 2.1 * reach)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ticks = next(t for t in ((0.5, 1, 2), (0.7, 1, 1.4), (0.8, 1, 1.25), (0.9, 1, 1.1)) if math.log2(t[2]) <= reach)
    ax.set_xticks(np.log2(ticks), [f"{t:g}" for t in ticks])
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="y", visible=False)
    side = {"lower": "← better", "higher": "better →"}.get(measure.better, "no better side")
    one = measure.to_shown(field.values[measure.name])
    value = f"{one:.0f} {unit_text(measure)}" if one >= 1000 else f"{one:.3g} {unit_text(measure)}".strip()
    ax.set_title(f"{_wrapped(measure.label)}\n{side}   1 = {value}", loc="left", fontsize=7.5)


def _wrapped(label):
    """A label on two lines where it is long."""
    if len(label) <= 22:
        return label
    cut = label.rfind(" ", 0, 22)
    return label[:cut] + "\n" + label[cut + 1 :]


def _verdict(measure, log):
    if measure.better == "neither" or abs(log) < 5e-4:
        return "level"
    return "good" if (log < 0) == (measure.better == "lower") else "bad"


def _lollipops(ax, logs, colours, verdicts, reach):
    """Stems from 1 and a dot each: filled when better, open when worse, an arrow head where off the scale."""
    logs = np.array(logs)
    x, y = np.clip(logs, -reach, reach), np.arange(len(logs))
    inks = np.array(["#999999" if v == "level" else c for c, v in zip(colours, verdicts)])
    faces = np.array(["white" if v == "bad" else ink for ink, v in zip(inks, verdicts)])
    known = ~np.isnan(logs)
    ax.hlines(y[known], 0, x[known], colors=inks[known], linewidth=1.2, zorder=2)
    for marker, chosen in (("o", x == logs), ("<", logs < -reach), (">", logs > reach)):
        if chosen.any():
            look = {"marker": marker, "edgecolors": inks[chosen], "linewidths": 1.2, "zorder": 3}
            ax.scatter(x[chosen], y[chosen], 25, faces[chosen], **look)
