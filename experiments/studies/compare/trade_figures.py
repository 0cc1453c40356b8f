"""Figures of what is given for what: trade-off against the single-radius line, and headline measures as ratios."""

import math

import numpy as np
from matplotlib.figure import Figure

from experiments.analysis.draws import intervals, ratio_samples
from experiments.report import style as fs
from experiments.report.line import better_corner, beyond, dense, feet_ticks
from experiments.report.shown import FIGURE
from experiments.report.words import NOT_AVAILABLE, axis_label, unit_text
from experiments.studies.compare.field import Field
from sim.measures import REGISTRY, STATIC
from sim.quantities import FOOT_M

FOLDS = {  # what a fold of the single-radius line in a measure comes from
    "glide_drag_coefficient": "film drag changes once the ice covers the crown of the hollow",
    "turn_drag": "shorter radii plough deeper, longer ones scrape",
}
MOST_PAIR_PANELS, PANELS_A_ROW = 6, 3


CROWD, NAMED = 200, 6  # more blades than this are dots, and only a few of them get names


def _finite(row, names) -> bool:
    return all(math.isfinite(row.values.get(name, math.nan)) for name in names)


def trade_off(field: Field) -> Figure | None:
    """Each declared pair of costs, with the line that single radii draw."""
    pairs = list(dict.fromkeys(pair for row in field.rows for pair in row.gains))
    names = [name for pair in pairs for name in pair]
    rows, notes = field.drawn(lambda row: _finite(row, names), fs.MOST_CHART_ROWS)
    if not rows or not pairs:
        return None
    if len(pairs) > MOST_PAIR_PANELS:
        notes.append(f"the first {MOST_PAIR_PANELS} of {len(pairs)} declared pairs")
        pairs = pairs[:MOST_PAIR_PANELS]
    crowd = [row for row in field.rows if _finite(row, names)]
    if len(crowd) <= CROWD:
        crowd = []
    else:
        notes[-1] = f"dots: all {len(crowd)}; named: the {NAMED} with the greatest frontier gain on each pair"
    fig, cells = _frame(field, rows, notes, len(pairs))
    for i, (x, y) in enumerate(pairs):
        ax = fig.add_subplot(cells[divmod(i, min(PANELS_A_ROW, len(pairs)))])
        named = sorted(crowd, key=lambda row, p={x, y}: -_gain(row, p))[:NAMED] if crowd else rows
        _pair(ax, field, named, REGISTRY[x], REGISTRY[y], crowd)
    return fig


def _frame(field, rows, notes, count):
    """(figure, its cells) with the notes that hold for every panel."""
    low, high = (f"{r / FOOT_M:.0f}" for r in (field.radii[0], field.radii[-1]))
    if field.line:
        notes.append(f"line: single radii of {low} to {high} ft with the reference's hollow and thickness; shaded: "
                     "none of them does as well on both")  # fmt: skip
    if field.draws is not None:
        notes.append("bars: 90 % of the draws, each against the reference of the same draw")
    if any(row.on_its_own for row in rows):
        notes.append("open: another runner or hollow, with single radii of its own: the line is not its line")
    across, down = min(PANELS_A_ROW, count), math.ceil(count / PANELS_A_ROW)
    width, height = 0.8 + across * 5.9 + 0.3, 0.95 + down * 6.4
    fig = fs.page(width, height, "Trade-off: what a recipe gives and takes, against single radii", notes[:1], low=True)
    for i, note in enumerate(notes[1:]):
        fig.text(0.15 / width, 1 - (0.52 + 0.16 * i) / height, note, fontsize=8, color=fs.SOFT, va="top")
    return fig, fs.grid(fig, down, across, 0.8, 0.25, 1.1, 1.05, wgap=0.85, hgap=1.0)


def _gain(row, pair: set[str]) -> float:
    """Frontier gain of a row on a pair of measures; none at all where the run did not ask for it."""
    found = [gain.gain for names, gain in row.gains.items() if set(names) == pair and math.isfinite(gain.gain)]
    return found[0] if found else 0.0


def _points(rows, mx, my):
    return np.array([[mx.to_shown(row.values[mx.name]), my.to_shown(row.values[my.name])] for row in rows])


def _pair(ax, field, rows, mx, my, crowd=()):
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
        _say_folds(ax, line, radii, (mx.name, my.name))
        on_line = dense(line)
    spots = fs.in_points(ax, *points.T)
    bars = _markers(ax, field, rows, points, spots, (mx, my))
    path = fs.in_points(ax, *on_line.T) if len(on_line) else np.zeros((0, 2))
    obstacles = np.vstack([path, spots, fs.in_points(ax, *bars.T)])
    for spot in spots:
        taken.append(np.array([*(spot - 4.5), *(spot + 4.5)]))
    ticks = feet_ticks(ax, line, radii, spots)
    fs.place_labels(ax, ticks, obstacles, taken, size=7, reach=(8, 11, 15, 20))
    fs.place_labels(ax, _labels(field, rows, spots, path), obstacles, taken)


def _limits(ax, cloud, left):
    for low, high, before, put in zip(cloud.min(axis=0), cloud.max(axis=0), (left, 0.2), (ax.set_xlim, ax.set_ylim)):
        pad = (high - low) or abs(high) or 1.0
        put(low - before * pad, high + 0.12 * pad)


def _say_folds(ax, line, radii, names):
    """Under the panel, where the line folds back and why."""
    found = {name: _folds(values, radii) for name, values in zip(names, line.T)}
    said = [f"near {' and '.join(at)} ft: {FOLDS[name]}" for name, at in found.items() if at and name in FOLDS]
    if said:
        ax.text(0, -0.1, f"the line folds back {'; '.join(said)}", transform=ax.transAxes, fontsize=7, color=fs.SOFT,
                va="top")  # fmt: skip


def _folds(values, radii) -> list[str]:
    """Radii in ft at which a measure turns round along the line."""
    slope = np.sign(np.diff(values))
    found = [radii[i + 1] / FOOT_M for i in np.flatnonzero(slope[1:] * slope[:-1] < 0)]
    return [f"{r:.1f}" for r in sorted(found)[:3]]


def _spread(field, row, measure):
    """(low, high) of a measure as shown, 90 % of its ratio to the reference of the same draw; None where not drawn."""
    if field.draws is None or measure.name not in STATIC or not math.isfinite(field.values.get(measure.name, math.nan)):
        return None
    ratio = intervals(ratio_samples(field.draws, measure.name))[:, field.draws.candidates.index(row.candidate)]
    return [measure.to_shown(field.values[measure.name] * ratio[i]) for i in (0, 2)]


def _markers(ax, field, rows, points, spots, measures):
    """A marker a recipe, with bars of its doubt; one for those of a family that coincide. Returns points on bars."""
    seen, bars = [], [np.zeros((0, 2))]
    for row, point, spot in zip(rows, points, spots):
        if any(family == row.family and np.hypot(*(spot - other)) < 3 for family, other in seen):
            continue
        seen.append((row.family, spot))
        look = field.looks[row.candidate]
        for ends, k in ((_spread(field, row, m), k) for k, m in enumerate(measures)):
            if ends is not None and np.isfinite(ends).all():
                both = [[point[0]] * 2, [point[1]] * 2]
                both[k] = ends
                ax.plot(*both, color=look.colour, linewidth=0.9, alpha=0.55, zorder=1.8)
                bars.append(np.column_stack([np.linspace(*ends_of, 25) for ends_of in both]))
        face, edge = ("white", look.colour) if row.on_its_own else (look.colour, "white")
        ax.plot(*point, look.marker, color=face, markersize=7, markeredgecolor=edge, markeredgewidth=1.0)
    return np.vstack(bars)


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
    drawn = field.draws is not None
    notes.append(
        ("dot: median; bar: 90 % of the draws; filled: surely better than the reference; open: surely worse; " if drawn
         else "nominal values; filled: better than the reference; open: worse; ")
        + "diamond: no better side, or not sure; arrow at the edge: off the scale"
    )  # fmt: skip
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
    ratios = np.array([_drawn(row, field, name)[1] for row in rows for name in names])
    ratios = ratios[np.isfinite(ratios) & (ratios > 0)]
    wide = float(np.quantile(np.abs(np.log2(ratios)), 0.93)) if len(ratios) else 0.2
    return min(max(1.15 * wide, 0.15), 1.15)


def _ratio_panel(ax, field, rows, measure, reach):
    spreads = [_drawn(row, field, measure.name) for row in rows]
    logs = np.array([_log(spread[1]) for spread in spreads])
    for i, spread in enumerate(spreads):
        text = f"{spread[1]:.3f}" if abs(spread[1] - 1) < 0.0195 else f"{spread[1]:.2f}"
        known = not math.isnan(logs[i])
        ax.text(2.05 * reach, i, text if known else NOT_AVAILABLE, fontsize=7, ha="right", va="center")
        low, high = (min(max(_log(spread[k]), -reach), reach) for k in (0, 2))
        if known and high > low:
            ax.hlines(i, low, high, colors=field.looks[rows[i].candidate].colour, linewidth=3.2, alpha=0.35, zorder=1.5)
    colours = [field.looks[row.candidate].colour for row in rows]
    _lollipops(ax, logs, colours, [_verdict(measure, spread) for spread in spreads], reach)
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


def _drawn(row, field, name) -> list[float]:
    """Ratio to the reference: 5, 50, 95 % of the draws where it is drawn, else three times the nominal one."""
    if field.draws is None or name not in STATIC or not math.isfinite(row.values.get(name, math.nan)):
        return [_ratio(row, field, name)] * 3
    with np.errstate(invalid="ignore"):
        samples = ratio_samples(field.draws, name)[:, field.draws.candidates.index(row.candidate)]
    found = intervals(samples[:, None])[:, 0]
    return found.tolist() if np.isfinite(found).all() else [_ratio(row, field, name)] * 3


def _log(ratio: float) -> float:
    if not (math.isfinite(ratio) and ratio >= 0):
        return math.nan
    return math.log2(ratio) if ratio > 0 else -math.inf


def _verdict(measure, spread):
    """good or bad where the whole interval lies on one side of the reference; else level."""
    if measure.better == "neither" or not (spread[0] > 1 + 5e-4 or spread[2] < 1 - 5e-4):
        return "level"
    return "good" if (spread[1] < 1) == (measure.better == "lower") else "bad"


def _lollipops(ax, logs, colours, verdicts, reach):
    """Stems from 1 and a mark each: filled when better, open when worse, a diamond when neither, an arrow head where
    off the scale."""
    x, y, colours = np.clip(logs, -reach, reach), np.arange(len(logs)), np.array(colours)
    faces = np.array(["white" if v == "bad" else colour for colour, v in zip(colours, verdicts)])
    known, level = ~np.isnan(logs), np.array([v == "level" for v in verdicts])
    ax.hlines(y[known], 0, x[known], colors=colours[known], linewidth=1.2, zorder=2)
    inside = x == logs
    marks = (("o", inside & ~level, 25), ("D", inside & level, 10), ("<", logs < -reach, 25), (">", logs > reach, 25))
    for marker, chosen, size in marks:
        if chosen.any():
            look = {"marker": marker, "edgecolors": colours[chosen], "linewidths": 1.2, "zorder": 3}
            ax.scatter(x[chosen], y[chosen], size, faces[chosen], **look)
