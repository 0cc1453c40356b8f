"""The drawing of a part: side view with dimensions, tolerance band and title block, as SVG and PDF."""

import math
import textwrap
import warnings
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from experiments.analysis.grinding import LIMITS, Grinding, check
from experiments.report import style as fs
from experiments.report.part.dxf import boundaries
from experiments.report.part.tables import gauge
from experiments.run.files import whole
from sim.quantities import FOOT_M, MM_PER_M
from sim.trial import Candidate

PAGE_IN = 11.69, 8.27  # A4, landscape
LEFT_IN, RIGHT_IN, TOP_IN, ROW_IN, BAND_IN, BLOCK_IN = 0.8, 0.3, 0.75, 0.17, 1.15, 1.4
SAFETY = "check against the grinder maker's limits; eye and lung protection, guards in place"
_SMALL = 7.5
_TINTS = (fs.BLUE, fs.VERMILLION)  # zones in turn


def draw(folder: Path, name: str, candidate: Candidate, limits: Grinding, demo: bool = False) -> list[Path]:
    """Write NAME.svg and NAME.pdf, without dates, each whole or not at all."""
    paths = []
    with matplotlib.rc_context(fs.RC | {"pdf.fonttype": 42}), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph", category=UserWarning)  # a name may be in any script
        fig = drawing(candidate, limits, demo)
        for kind, metadata in (
            ("svg", {"Date": None, "Creator": "arcstride"}),
            ("pdf", {"CreationDate": None, "Creator": "arcstride", "Producer": None}),
        ):
            path = folder / f"{name}.{kind}"
            with whole(path) as temporary:
                fig.savefig(temporary, format=kind, metadata=metadata)
            paths.append(path)
    return paths


def drawing(candidate: Candidate, limits: Grinding, demo: bool = False) -> Figure:
    """The drawing, A4 landscape; call within matplotlib.rc_context(figure_style.RC)."""
    fig = Figure(figsize=PAGE_IN, dpi=150, facecolor="white")
    recipe = candidate.recipe
    table, half = gauge(recipe, limits), MM_PER_M * recipe.length_m / 2 + 3
    rows = _rows(recipe, half)
    strip = ROW_IN * sum(_depth(row) for row in rows)
    view = PAGE_IN[1] - TOP_IN - strip - BAND_IN - BLOCK_IN - 1.3
    top = _axes(fig, TOP_IN, view, half)
    low = _axes(fig, TOP_IN + view + 0.1, strip, half)
    band = _axes(fig, TOP_IN + view + strip + 0.55, BAND_IN, half)
    _side_view(top, recipe, table)
    _dimensions(low, rows)
    for ax in (top, low):
        _boundary_lines(ax, recipe)
    _band(band, recipe, table)
    _head(fig, candidate.name, demo)
    _block(fig, candidate, limits)
    return fig


def _axes(fig, top, height, half):
    """Axes over the page's width, `top` inches from its upper edge, x in mm."""
    wide, high = PAGE_IN
    ax = fig.add_axes([LEFT_IN / wide, 1 - (top + height) / high, (wide - LEFT_IN - RIGHT_IN) / wide, height / high])
    ax.set_xlim(-half, half)
    return ax


def _write(target, x, y, text, **keywords):
    """Text as it stands: a dollar sign in a name is no formula."""
    return target.text(x, y, text, **({"fontsize": _SMALL, "parse_math": False} | keywords))


def _stretches(recipe):
    """(start, stop, radius or None, colour) of sweeps and zones, mm from mid-runner; None: curvature changes."""
    parts = [(recipe.heel_sweep.length_m, recipe.heel_sweep.radius_m, fs.SOFT)]
    if recipe.zones:
        parts += [(z.length_m, z.radius_m, _TINTS[i % 2]) for i, z in enumerate(recipe.zones)]
    else:
        parts.append((recipe.working_m, None, fs.BLUE))
    parts.append((recipe.toe_sweep.length_m, recipe.toe_sweep.radius_m, fs.SOFT))
    out, at = [], -recipe.length_m / 2
    for length, radius, colour in parts:
        if length > 0:
            out.append((MM_PER_M * at, MM_PER_M * (at + length), radius, colour))
        at += length
    return out


def radius_text(radius_m: float) -> str:
    """A radius in ft over mm, or flat."""
    if math.isinf(radius_m):
        return "flat"
    if radius_m < FOOT_M:
        return f"R {radius_m * MM_PER_M:.4g} mm"
    return f"{radius_m / FOOT_M:.4g} ft\n{radius_m * MM_PER_M:.0f} mm"


# --- side view


def _side_view(ax, recipe, table):
    curve = recipe.curve()
    s = np.linspace(0.0, curve.length_m, 1201)
    x, z = (MM_PER_M * v for v in curve.at(s)[:2])
    least, most = min(z.min(), MM_PER_M * table["low"].min()), max(z.max(), MM_PER_M * table["high"].max())
    wide, high = fs.size_in(ax)
    per_inch = np.ptp(ax.get_xlim()) / wide
    factor = max(1, math.floor(0.80 * high * per_inch / (most - least)))
    span = high * per_inch / factor
    ax.set_ylim(least - 0.12 * span, least + 0.88 * span)
    ax.fill_between(
        *(MM_PER_M * table[name] for name in ("x", "low", "high")), color=fs.ORANGE, alpha=0.35, linewidth=0,
        label="tolerance band",
    )  # fmt: skip
    arc = MM_PER_M * (s - curve.length_m / 2)
    for start, stop, _, colour in _stretches(recipe):
        inside = (arc >= start - 0.2) & (arc <= stop + 0.2)
        ax.plot(x[inside], z[inside], color=colour, linewidth=2)
    _points(ax, recipe, curve)
    ax.set_ylabel("height, mm")
    ax.tick_params(labelbottom=False)
    ax.set_title("HEEL", loc="left", fontweight="bold")
    ax.set_title("TOE", loc="right", fontweight="bold")
    ax.set_title(f"heights x {factor}")
    ax.legend(loc="upper center", fontsize=_SMALL, facecolor="white", edgecolor="none", framealpha=1)


def _points(ax, recipe, curve):
    """Mid-runner as a line of its own, the level point as a mark on the curve."""
    ax.axvline(0, color=fs.INK, linewidth=0.7, dashes=(8, 2, 1.5, 2), zorder=1)
    x, z, angle, _ = (float(v[0]) for v in curve.at(curve.length_m / 2 + recipe.level_m))
    ax.plot([MM_PER_M * x], [MM_PER_M * z], marker="^", color=fs.INK, markersize=8, markeredgewidth=0, zorder=5)
    pitch = f", tangent {math.degrees(angle):+.3f} deg" if abs(angle) > 1e-9 else ""
    low, high = ax.get_ylim()
    box = {"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 0.6}
    side = -1 if recipe.level_m < 0 else 1
    text = f"level point, x {_signed(MM_PER_M * x)} mm{pitch}"
    _write(ax, MM_PER_M * x + 3 * side, low + 0.015 * (high - low), text, ha="left" if side > 0 else "right", bbox=box)
    _write(ax, -2 * side, low + 0.62 * (high - low), "mid-runner", ha="right" if side > 0 else "left", bbox=box)


def _signed(value: float, digits: int = 1) -> str:
    """With its sign, and no "-0.0"."""
    return f"{round(value, digits) + 0.0:+.{digits}f}"


def _boundary_lines(ax, recipe):
    for s in boundaries(recipe):
        x = MM_PER_M * (s - recipe.length_m / 2)
        ax.axvline(x, color=fs.SOFT, linewidth=0.6, dashes=(3, 2), zorder=1)
        if recipe.blend_m > 0:
            ax.axvspan(x - MM_PER_M * recipe.blend_m / 2, x + MM_PER_M * recipe.blend_m / 2, color="#efefef", zorder=0)


# --- dimensions: rows of (centre, text, arrow ends or None), texts that would meet put lower


def _rows(recipe, half):
    per_point = 2 * half / (72 * (PAGE_IN[0] - LEFT_IN - RIGHT_IN))
    stretches = _stretches(recipe)
    radii = [(0.5 * (a + b), radius_text(r), None) for a, b, r, _ in stretches if r is not None]
    if not recipe.zones:  # radii at the knots that the recipe names
        start, stop = next((a, b) for a, b, r, _ in stretches if r is None)
        radii += [
            (x, radius_text(r), None) for x, r in zip(np.linspace(start, stop, len(recipe.radii_m)), recipe.radii_m)
        ]
    lengths = [(0.5 * (a + b), f"{b - a:.1f}", (a, b)) for a, b, *_ in stretches]
    width = MM_PER_M * recipe.blend_m
    places = [MM_PER_M * (s - recipe.length_m / 2) for s in boundaries(recipe)]
    blends = [(x, f"{width:.1f}", (x - width / 2, x + width / 2) if width else None) for x in places]
    whole_length = MM_PER_M * recipe.length_m
    overall = [(0.0, f"{whole_length:.1f} along the arc", (-whole_length / 2, whole_length / 2))]
    named = (("radius", radii), ("length", lengths), ("blend", blends), ("runner", overall))
    return [(name, _levelled(sorted(items, key=lambda item: item[0]), per_point)) for name, items in named if items]


def _levelled(items, per_point):
    """The items with the first level on which each text is clear of those before it."""
    ends, out = [], []
    for centre, text, arrow in items:
        half = (0.5 * fs.text_width(text, _SMALL) + 3) * per_point
        level = next((i for i, end in enumerate(ends) if end <= centre - half), len(ends))
        ends[level : level + 1] = [centre + half]
        out.append((centre, text, arrow, level))
    return out


def _lines(items):
    return max(text.count("\n") + 1 for _, text, _, _ in items)


def _depth(row):
    """Height of a row in lines of text: its arrows take one."""
    _, items = row
    return (max(level for *_, level in items) + 1) * _lines(items) + any(arrow for _, _, arrow, _ in items) * 0.6 + 0.3


def _dimensions(ax, rows):
    total = sum(_depth(row) for row in rows)
    ax.set_ylim(-total, 0)
    ax.axis("off")
    left, top = ax.get_xlim()[0], 0.0
    for row in rows:
        name, items = row
        arrows = any(arrow for _, _, arrow, _ in items)
        _write(ax, left - 2, top - 0.75, name, ha="right", va="center", color=fs.SOFT)
        for centre, text, arrow, level in items:
            if arrow:
                style = {"arrowstyle": "<|-|>,head_length=0.3,head_width=0.12", "linewidth": 0.7, "color": fs.INK}
                style |= {"shrinkA": 0, "shrinkB": 0}
                ax.annotate("", (arrow[0], top - 0.35), (arrow[1], top - 0.35), arrowprops=style)
            y = top - 0.6 * arrows - level * _lines(items) - 0.1
            box = {"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 0.6}
            _write(ax, centre, y, text, ha="center", va="top", bbox=box, zorder=4, linespacing=1.0)
        top -= _depth(row)


# --- tolerance band


def _band(ax, recipe, table):
    """What heights may be off by; the ends, where a shifted sweep moves much, are cut off and said."""
    x = MM_PER_M * table["x"]
    low, high = (1e6 * (table[side] - table["height"]) for side in ("low", "high"))
    ends = [(b - a, r) for a, b, r, _ in _stretches(recipe)]
    inner = (x > x[0] + 1.2 * ends[0][0]) & (x < x[-1] - 1.2 * ends[-1][0]) if recipe.heel_sweep.length_m else x == x
    top = max(1.25 * max(high[inner].max(initial=0), -low[inner].min(initial=0)), 1.0)
    ax.fill_between(x, low, high, color=fs.ORANGE, alpha=0.35, linewidth=0)
    for side in (low, high):
        ax.plot(x, side, color=fs.ORANGE, linewidth=1.2)
    ax.axhline(0, color=fs.INK, linewidth=0.8)
    ax.set_ylim(-top, top)
    ax.set_ylabel("deviation, µm")
    ax.set_xlabel("position from mid-runner, mm (gauge table every 5 mm; blade resting on its level point)")
    title = f"tolerance band of heights; at the ends {low[0]:+.0f}/{high[0]:+.0f} and {low[-1]:+.0f}/{high[-1]:+.0f} µm"
    ax.set_title(title, fontsize=8.5, loc="left")


# --- words


def _head(fig, name, demo):
    wide, high = PAGE_IN
    title = textwrap.shorten(" ".join(name.split()), 90, placeholder="...")
    _write(fig, 0.3 / wide, 1 - 0.15 / high, title or "part", fontsize=13, fontweight="bold", va="top")
    note = "running surface, side view; mm unless said otherwise; the DXF file is at 1:1"
    _write(fig, 0.3 / wide, 1 - 0.42 / high, note, color=fs.SOFT, va="top", fontsize=8)
    if demo:
        _write(
            fig,
            1 - 0.3 / wide,
            1 - 0.15 / high,
            "demo: invented",
            fontsize=11,
            color=fs.VERMILLION,
            va="top",
            ha="right",
        )


def _block(fig, candidate, limits):
    wide, high = PAGE_IN
    ax = fig.add_axes([0.3 / wide, 0.15 / high, (wide - 0.6) / wide, BLOCK_IN / high])
    ax.set(xlim=(0, 1), ylim=(0, 1), xticks=[], yticks=[])
    for spine in ax.spines.values():
        spine.set(visible=True, color=fs.INK)
    columns = _recipe_lines(candidate), _section_lines(candidate), _shop_lines(candidate, limits)
    for (left, right), lines in zip(((0.0, 0.37), (0.37, 0.64), (0.64, 1.0)), columns):
        if left:
            ax.axvline(left, color=fs.INK, linewidth=0.7)
        room = (right - left - 0.02) * (wide - 0.6) * 72
        y = 0.95
        for line in lines:
            warns = line.startswith("OUTSIDE")
            look = {"color": fs.VERMILLION, "fontweight": "bold"} if warns else {}
            for part in _wrapped(line, room / 1.18 if warns else room):  # bold runs wider
                _write(ax, left + 0.008, y, part, va="top", **look)
                y -= 0.118


def _wrapped(line, room, most=2):
    """A line of the title block in parts that fit into `room` points."""
    parts = [""]
    for word in line.split():
        longer = f"{parts[-1]} {word}".strip()
        if parts[-1] and 1.02 * fs.text_width(longer.replace("$", "S"), _SMALL) > room:
            parts.append(word)
        else:
            parts[-1] = longer
    return parts if len(parts) <= most else [*parts[: most - 1], f"{parts[most - 1]} ..."]


def _recipe_lines(candidate):
    r = candidate.recipe
    radii = " / ".join(radius_text(v).split("\n")[0] for v in r.radii_m)
    sweeps = " and ".join(
        f"{where} {MM_PER_M * s.length_m:g} mm at {radius_text(s.radius_m).replace(chr(10), ', ')}"
        if s.length_m
        else f"{where} none"
        for where, s in (("heel", r.heel_sweep), ("toe", r.toe_sweep))
    )
    return [
        f"recipe: {' '.join(candidate.name.split())}",
        f"{r.family.replace('_', ' ')}, radii heel to toe {radii}",
        f"runner {MM_PER_M * r.length_m:.6g} mm along the arc; blend {MM_PER_M * r.blend_m:g} mm",
        f"sweeps: {sweeps}",
    ]


def _section_lines(candidate):
    r, s = candidate.recipe, candidate.section
    hollow = "flat" if math.isinf(s.hollow_m) else f"{MM_PER_M * s.hollow_m:.4g} mm ({s.hollow_m / 0.0254:.3g} in)"
    return [
        f"level point {_signed(MM_PER_M * r.level_m)} mm from mid-runner",
        f"pitch {_signed(math.degrees(r.pitch_offset_rad), 3)} deg, toe-down positive",
        f"thickness {MM_PER_M * s.thickness_m:.4g} mm, hollow {hollow}",
        f"inside edge proud {1e6 * s.proud_m:.0f} µm",
        "scale: lengths as the axis, heights exaggerated as printed",
    ]


def _shop_lines(candidate, limits):
    radius, boundary = limits.radius_tolerance, MM_PER_M * limits.boundary_tolerance_m
    broken = check(candidate.recipe, limits)
    which = [limit for limit in LIMITS if any(line.startswith(f"{limit}:") for line in broken)]
    verdict = f"OUTSIDE {limits.name} limits: {', '.join(which)}" if which else f"within {limits.name} limits"
    return [
        f"{verdict} (steel to remove not checked)",
        f"tolerances: radii {100 * radius:g} %, boundaries {boundary:g} mm, each on its own",
        SAFETY,
    ]
