"""The two small figures of a printed sheet, as SVG text that stands inline: the curves and the trade-off."""

import io
import math
import re
from bisect import bisect_right

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from experiments.report import style as fs
from experiments.report.line import beyond, dense, feet_ticks
from experiments.report.style import Look
from sim.quantities import FOOT_M

MM = 1 / 25.4
CURVES_MM, TRADE_MM = (104, 50), (80, 50)  # what the printed page has room for; text is drawn at its printed size
TEXT_PT = 8  # points: the least that the sheet prints
SHEET_RC = fs.RC | {"font.size": TEXT_PT, "axes.labelsize": TEXT_PT}

# dash and marker differ as well as colour: a grey print must do
BLADES = (Look("#000000", (), 1.5, "s"), Look(fs.GREEN, (1.2, 1.2), 1.8, "^"))
CHOICES = (Look(fs.BLUE, (6, 1.8), 2.0, "o"), Look(fs.VERMILLION, (7, 1.6, 1.5, 1.6), 1.5, "D"))
OTHER = Look("#888888", (), 1.0, "o")
OTHERS_NAMED = 4  # so many other candidates have room for a name in the small trade-off


def short(text: str, points: float, size: float = TEXT_PT) -> str:
    """A text no wider than `points`, shortened at its end where it is."""
    if fs.text_width(text, size) <= points:
        return text
    fits = bisect_right(range(len(text)), points, key=lambda n: fs.text_width(text[:n].rstrip() + "…", size)) - 1
    return text[: max(fits, 0)].rstrip() + "…"


def inline(fig: Figure, name: str) -> str:
    """A figure as an <svg> element: nothing outside it is referred to, and its ids differ from another figure's."""
    out = io.StringIO()
    fig.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    text = out.getvalue()
    text = re.sub(r"<!--.*?-->|<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    text = re.sub(r'\s(xmlns(:xlink)?="[^"]*"|version="1\.1")', "", text)
    text = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>{name}-", text)
    return re.sub(r"\n\s*\n+", "\n", text).strip()


def key(look: Look) -> str:
    """A sample of a look as a small SVG, to stand beside a name in the page."""
    shape = {
        "s": '<rect x="16" y="2" width="8" height="8"/>', "^": '<path d="M20 1.5 24.5 10H15.5Z"/>',
        "o": '<circle cx="20" cy="6" r="4.2"/>', "D": '<path d="M20 1 25 6 20 11 15 6Z"/>',
    }[look.marker]  # fmt: skip
    dashes = ",".join(f"{look.width * d:g}" for d in look.dash) or "none"
    line = f'<path d="M0 6H40" stroke="{look.colour}" stroke-width="{look.width}" stroke-dasharray="{dashes}"/>'
    return f'<svg class="key" viewBox="0 0 40 12" fill="{look.colour}" aria-hidden="true">{line}{shape}</svg>'


# --- curves


def curves(blades: list[dict], choices: list[dict]) -> str:
    """Shape of blades and choices against the one arc that fits the blades best; empty when there is nothing to draw.

    Each: name, x_mm, z_mm (heights, blade level). A blade may have low_um, high_um (a band, um from its own curve),
    points_mm (x, z) as measured, flags_mm (x of points set aside), zones_mm (x of zone boundaries).
    """
    drawn = [*zip(map(_read, blades[:2]), BLADES), *zip(map(_read, choices[:2]), CHOICES)]
    drawn = [(curve, look) for curve, look in drawn if len(curve["x"]) > 3]
    if not drawn:
        return ""
    with matplotlib.rc_context(SHEET_RC):
        fig = Figure(figsize=(CURVES_MM[0] * MM, CURVES_MM[1] * MM), facecolor="white")
        low_line = 0.17 * math.ceil(len(drawn) / 2)
        cells = fs.grid(fig, 2, 1, 0.5, 0.04, low_line + 0.06, 0.36, hgap=0.2, height_ratios=(1, 3.3))
        top, low = fig.add_subplot(cells[0]), fig.add_subplot(cells[1])
        _legend(fig, drawn)
        reach = 1.04 * max(np.abs(c["x"]).max() for c in _measured(drawn))
        _side_view(top, drawn[0][0], reach)
        _deviations(low, drawn, reach)
        return inline(fig, "curves")


def _read(entry: dict) -> dict:
    """Arrays of an entry, mm, without what is not a number; the band as heights off the curve."""
    x, z = (np.asarray(entry.get(k, ()), float) for k in ("x_mm", "z_mm"))
    ends = [np.asarray(entry[k], float) / 1e3 for k in ("low_um", "high_um") if _has(entry, k)]
    band = [np.broadcast_to(part, x.shape) for part in ends]
    keep = np.isfinite(x) & np.isfinite(z)
    points = np.array([np.asarray(p, float) for p in entry["points_mm"]]) if _has(entry, "points_mm") else None
    return {
        "name": str(entry.get("name", "")),
        "x": x[keep],
        "z": z[keep],
        "band": [part[keep] for part in band] if len(band) == 2 else None,
        "points": points[:, np.isfinite(points).all(axis=0)] if points is not None else np.zeros((2, 0)),
        "flags": np.asarray(entry["flags_mm"] if _has(entry, "flags_mm") else (), float),
        "zones": np.asarray(entry["zones_mm"] if _has(entry, "zones_mm") else (), float),
    }


def _has(entry, key) -> bool:
    return entry.get(key) is not None and np.size(entry[key]) > 0


def _measured(drawn):
    """The measured blades; the choices where no blade was measured."""
    return [c for c, look in drawn if look in BLADES] or [c for c, _ in drawn]


def _legend(fig, drawn):
    width, height = fig.get_size_inches()
    for i, (curve, look) in enumerate(drawn):
        x, y = (0.02 + 0.5 * (i % 2)), 1 - (0.09 + 0.17 * (i // 2)) / height
        fig.add_artist(matplotlib.lines.Line2D([x, x + 0.06], [y, y], **look.line))
        fig.text(x + 0.07, y, short(curve["name"], 0.41 * width * 72), va="center", fontsize=TEXT_PT)


def _factor(ax, span_mm, reach):
    """How many times heights are exaggerated when `span_mm` fills the axes: two digits, and the span that gives it."""
    wide, high = fs.size_in(ax)
    most = high / span_mm / (wide / (2 * reach))
    digit = 10 ** max(math.floor(math.log10(most)) - 1, 0)
    factor = max(math.floor(most / digit) * digit, 1)
    return factor, high / factor / (wide / (2 * reach))


def _side_view(ax, curve, reach):
    """The first blade from its side, steel in grey, toe to the right."""
    z = curve["z"] - curve["z"].min()
    factor, span = _factor(ax, 1.5 * max(float(np.ptp(z)), 1e-3), reach)
    top = 0.92 * span
    ax.fill_between(curve["x"], z, top, color="#c9c9c9", linewidth=0)
    ax.plot(curve["x"], z, color=fs.INK, linewidth=1)
    ax.set_xlim(-reach, reach)
    ax.set_ylim(top - span, top)
    ax.axis("off")
    ax.text(0, 0.6 * span, f"side view, heights x {factor:g}", ha="center", va="center", fontsize=TEXT_PT)


def _deviations(ax, drawn, reach):
    """Heights less the common arc, each shifted to a mean of zero: shapes, not steel to remove."""
    cloud = np.hstack([[c["x"], c["z"]] for c in _measured(drawn)])
    arc = np.polyfit(*cloud, 2)  # a parabola is within 1 um of the circle over a runner
    lines = []
    for curve, look in drawn:
        part = np.abs(curve["x"]) <= reach
        x, gap = curve["x"][part], 1e3 * (curve["z"] - np.polyval(arc, curve["x"]))[part]
        shift = gap.mean() if len(gap) else 0.0
        lines.append((x, gap - shift))
        _measured_marks(ax, curve, look, arc, shift)
    every = np.concatenate([gap for _, gap in lines])
    low, high = np.quantile(every, (0.01, 0.99))  # the end sweeps of a choice may leave the panel
    factor, span = _factor(ax, 1e-3 * max(1.3 * (high - low), 4.0), reach)
    ax.axhline(0, color=fs.SOFT, linewidth=0.7)
    for (x, gap), (curve, look) in zip(lines, drawn):
        ax.plot(x, gap, zorder=3, **look.line)
        inner = curve["zones"][(curve["zones"] > x[0]) & (curve["zones"] < x[-1])] if len(x) else []
        ax.plot(inner, np.interp(inner, x, gap), "|", color=look.colour, markersize=11, markeredgewidth=1.4, zorder=4)
    ax.set_xlim(-reach, reach)
    middle = 0.5 * (low + high)
    ax.set_ylim(middle - 500 * span, middle + 500 * span)
    ax.set_ylabel("deviation, µm")
    ax.set_xlabel("mm from mid-runner", labelpad=2)
    for x, word in ((0, "HEEL"), (1, "TOE")):
        style = {"ha": ("left", "right")[x], "va": "bottom", "fontweight": "bold"}
        ax.text(ax.get_position().corners()[2 * x, 0], 0.005, word, transform=ax.figure.transFigure, **style)
    ax.set_title(f"against the best single arc of the blade, heights x {factor:g}", fontsize=TEXT_PT, pad=3)


def _measured_marks(ax, curve, look, arc, shift):
    """Band, points as measured, and crosses on those set aside (at the frame when they lie outside)."""
    if curve["band"]:
        base = 1e3 * (curve["z"] - np.polyval(arc, curve["x"])) - shift
        low, high = (base + 1e3 * part for part in curve["band"])
        ax.fill_between(curve["x"], low, high, color=look.colour, alpha=0.2, linewidth=0)
    x, z = curve["points"]
    if len(x):
        gap = 1e3 * (z - np.polyval(arc, x)) - shift
        ax.plot(x, gap, ".", color=look.colour, alpha=0.45, markersize=2, markeredgewidth=0, zorder=2)
    if len(curve["flags"]):
        at = ax.get_xaxis_transform()  # at the top of the panel: a burr may stand far outside it
        style = {"color": look.colour, "markersize": 5, "markeredgewidth": 1.2, "clip_on": False, "zorder": 5}
        ax.plot(curve["flags"], np.full(len(curve["flags"]), 0.94), "x", transform=at, **style)
        right = curve["flags"].max()
        ax.text(right, 0.94, "  set aside", transform=at, ha="left" if right < 60 else "right", va="center")


# --- trade-off


def trade(points: list[dict], line: dict, axes: dict) -> str:
    """Two measures of which less is better, with the line of single radii; empty when nothing can be drawn.

    points: name, role (measured, recommended, runner-up, other), x, y, and x_low, x_high, y_low, y_high where known.
    line: x, y, radius_ft. axes: x, y labels with units.
    """
    points = [p for p in points if all(_number(p.get(k)) for k in "xy")]
    if not points:
        return ""
    with matplotlib.rc_context(SHEET_RC):
        fig = Figure(figsize=(TRADE_MM[0] * MM, TRADE_MM[1] * MM), facecolor="white")
        fig.set_dpi(150)
        ax = fig.add_subplot(fs.grid(fig, 1, 1, 0.5, 0.05, 0.35, 0.36)[0])
        path, radii = _line(line)
        _frame(ax, points, path)
        width = 72 * TRADE_MM[0] * MM
        ax.set_xlabel(short(axes.get("x", ""), 0.8 * width), labelpad=2)
        beyond = "; shaded: beyond single radii" if len(path) > 1 else ""
        words = f"arrow: better{beyond}\n{short(axes.get('y', ''), 0.97 * width)}"  # y, where there is room to read it
        fig.text(0.005, 1, words, va="top", linespacing=1.15)
        _draw_trade(ax, points, path, radii)
        return inline(fig, "trade")


def _number(value) -> bool:
    return isinstance(value, int | float | np.number) and math.isfinite(value)


def _line(line):
    """(points, radii in m) of the single-radius line where it is known."""
    rows = np.array([line.get(k, ()) if line else () for k in ("x", "y", "radius_ft")], float)
    rows = rows[:, np.isfinite(rows).all(axis=0)]
    return rows[:2].T, rows[2] * FOOT_M


def _ends(point, axis):
    low, high = (point.get(f"{axis}_{end}") for end in ("low", "high"))
    return (low, high) if _number(low) and _number(high) else (point[axis], point[axis])


def _frame(ax, points, path):
    """Limits that hold every candidate and interval, and of the line what lies no farther than half their span."""
    for k, axis in enumerate("xy"):
        ends = np.array([p[axis] for p in points] + [e for p in points if _main(p) for e in _ends(p, axis)])
        low, high = ends.min(), ends.max()
        span = (high - low) or abs(high) * 0.1 or 1.0
        near = path[(path[:, k] > low - 0.5 * span) & (path[:, k] < high + 0.5 * span), k]
        low, high = min(low, near.min(initial=low)), max(high, near.max(initial=high))
        (ax.set_xlim, ax.set_ylim)[k](low - 0.2 * (high - low or span), high + 0.18 * (high - low or span))


def _main(point) -> bool:
    return point.get("role", "other") != "other"


def _looks(points):
    """Look of each point by its role: measured blades, recommended, runner-up, the rest small and grey."""
    blades = iter(BLADES)
    fixed = {"recommended": CHOICES[0], "runner-up": CHOICES[1]}
    roles = [p.get("role") for p in points]
    return [next(blades, BLADES[-1]) if role == "measured" else fixed.get(role, OTHER) for role in roles]


def _draw_trade(ax, points, path, radii):
    spots = fs.in_points(ax, [p["x"] for p in points], [p["y"] for p in points])
    obstacles, feet, taken = [spots], [], [_better(ax)]
    if len(path) > 1:
        beyond(ax, path)
        ax.plot(*path.T, color=fs.SOFT, linewidth=1.1, zorder=1.5)
        obstacles.append(fs.in_points(ax, *dense(path).T)[::4])
        feet = feet_ticks(ax, path, radii, spots)
    for point, look in zip(points, _looks(points)):
        if look is OTHER:
            ax.plot(point["x"], point["y"], look.marker, color=look.colour, markersize=3.2, zorder=2)
        else:
            obstacles.append(_candidate(ax, point, look))
    taken += [np.array([*(spot - 4), *(spot + 4)]) for point, spot in zip(points, spots) if _main(point)]
    obstacles = np.vstack(obstacles)
    fs.place_labels(ax, _names(points, spots), obstacles, taken, size=TEXT_PT, reach=(11, 17, 25, 35, 47, 62, 80, 100))
    fs.place_labels(ax, _free(ax, feet, taken), obstacles, taken, size=TEXT_PT, reach=(8, 11, 15, 20))


def _candidate(ax, point, look):
    """Marker and intervals of a main point; returns points along the intervals, for labels to stay off."""
    style = {"markersize": 6.5, "markeredgecolor": "white", "markeredgewidth": 0.6, "zorder": 4}
    ax.plot(point["x"], point["y"], look.marker, color=look.colour, **style)
    along = []
    for k, axis in enumerate("xy"):
        ends = np.tile([float(point["x"]), float(point["y"])], (5, 1))
        ends[:, k] = np.linspace(*_ends(point, axis), 5)
        ax.plot(*ends[[0, -1]].T, color=look.colour, linewidth=0.9, alpha=0.8, zorder=3)
        along.append(fs.in_points(ax, *ends.T))
    return np.vstack(along)


def _free(ax, feet, taken):
    """The radii on the line that lie inside the frame and away from every name: the others go without a label."""
    frame = np.array(ax.get_window_extent().extents).reshape(2, 2) * 72.0 / ax.figure.dpi
    boxes = np.array(taken)

    def away(spot):
        gaps = np.maximum(0, np.maximum(boxes[:, :2] - spot, spot - boxes[:, 2:]))
        return np.hypot(*gaps.T).min() > 9

    return [tick for tick in feet if (tick[0] > frame[0]).all() and (tick[0] < frame[1]).all() and away(tick[0])]


def _names(points, spots):
    """Labels: the main points by name, and the others too where they are few."""
    others = sum(not _main(p) for p in points)
    chosen = [i for i, p in enumerate(points) if _main(p) or others <= OTHERS_NAMED]
    chosen.sort(key=lambda i: not _main(points[i]))
    ink = {i: fs.INK if _main(points[i]) else fs.SOFT for i in chosen}
    return [(spots[i], _two_lines(str(points[i].get("name", ""))), ink[i]) for i in chosen]


def _two_lines(name, most=72.0):
    """A name on one line, or two where it is long, each no wider than `most` points."""
    if fs.text_width(name, TEXT_PT) <= most:
        return name
    words, first = name.split(" "), ""
    while words and fs.text_width(f"{first} {words[0]}", TEXT_PT) <= most:
        first = f"{first} {words.pop(0)}".strip()
    return "\n".join(short(part, most) for part in (first, " ".join(words)) if part)


def _better(ax):
    """Arrow to the better corner; returns its box in points."""
    arrow = {"arrowstyle": "-|>", "color": fs.INK, "linewidth": 1.2}
    ax.annotate("", xy=(0.015, 0.02), xytext=(0.09, 0.12), xycoords="axes fraction", zorder=6, arrowprops=arrow)
    corner = np.array(ax.get_window_extent().extents)[:2] * 72.0 / ax.figure.dpi
    return np.array([*corner, *(corner + 18)])
