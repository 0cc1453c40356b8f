"""How figures look: one colour and dash per candidate, page frame, legend, label placing, files that repeat."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.gridspec import GridSpec
from matplotlib.legend import Legend
from matplotlib.lines import Line2D
from matplotlib.textpath import TextPath

from experiments.run.files import whole

MANY = 12  # most lines that one overlay carries
MOST_CHART_ROWS = 24  # most candidates of a chart that gives each a line of text
FEW = 7  # up to here every candidate has its own hue

FOOTER = "model: blade on ice that yields at its hardness; demo recipes are invented"
LOW = "the level of drag rests on an assumed roughness of the ice: compare ratios"
KEY_TITLE = "blade (radii heel to toe)"
INK, SOFT = "#222222", "#666666"

# Okabe & Ito's palette without its yellow, which is lost on white.
BLUE, VERMILLION, GREEN, ORANGE, PURPLE, SKY = "#0072B2", "#D55E00", "#009E73", "#E69F00", "#CC79A7", "#56B4E9"
HUES = (BLUE, VERMILLION, GREEN, ORANGE, PURPLE, SKY, "#000000")
FAMILY_HUES = {
    "rear_flat": BLUE, "rear_flat_eased": VERMILLION, "mid_flat": GREEN, "graded": PURPLE, "spline": ORANGE,
}  # fmt: skip
DASHES = ((), (6, 2), (1.5, 1.3), (7, 1.6, 1.5, 1.6), (3, 1.2), (9, 1.5, 1.5, 1.5, 1.5, 1.5))
MARKERS = "osD^vPX"

RC = {
    "font.family": "DejaVu Sans", "font.size": 8.5, "axes.titlesize": 9, "axes.labelsize": 8.5, "axes.linewidth": 0.7,
    "xtick.labelsize": 8, "ytick.labelsize": 8, "axes.edgecolor": SOFT, "text.color": INK, "axes.labelcolor": INK,
    "xtick.color": INK, "ytick.color": INK, "axes.spines.top": False, "axes.spines.right": False, "axes.grid": True,
    "grid.color": "#e6e6e6", "grid.linewidth": 0.6, "axes.axisbelow": True, "svg.hashsalt": "arcstride",
    "svg.fonttype": "path", "path.simplify": True, "savefig.facecolor": "white", "axes.unicode_minus": False,
    "text.parse_math": False,  # a blade's name may hold dollar signs
}  # fmt: skip


@dataclass(frozen=True)
class Look:
    """How a candidate is drawn in every figure."""

    colour: str
    dash: tuple
    width: float
    marker: str

    @property
    def line(self) -> dict:
        """Keywords of a line."""
        style = {"color": self.colour, "linewidth": self.width}
        return style | ({"dashes": self.dash} if self.dash else {})


def family_looks(blades: Sequence[tuple[str, str]]) -> list[Look]:
    """A look for each (name, family): a family has one colour in every figure, its blades differ in dash and marker."""
    seen: dict[str, int] = {}
    out = []
    for _, family in blades:
        k = seen[family] = seen.get(family, -1) + 1
        out.append(Look(FAMILY_HUES.get(family, INK), DASHES[k % len(DASHES)], 1.4, MARKERS[k % len(MARKERS)]))
    return out


def page(width: float, height: float, title: str, notes: Sequence[str] = (), low: bool = False) -> Figure:
    """A figure, inches, with its title, notes under it and the footer."""
    fig = Figure(figsize=(width, height), dpi=150, facecolor="white")
    fig.text(0.15 / width, 1 - 0.12 / height, title, fontsize=12, fontweight="bold", va="top")
    fig.text(0.15 / width, 1 - 0.36 / height, "    ".join(n for n in notes if n), fontsize=8, color=SOFT, va="top")
    footer = f"{FOOTER}; {LOW}" if low else FOOTER
    fig.text(0.15 / width, 0.07 / height, footer, fontsize=6.5, color=SOFT, va="bottom")
    return fig


def grid(
    fig: Figure,
    rows: int,
    columns: int,
    left: float,
    right: float,
    top: float,
    bottom: float,
    wgap: float = 0.0,
    hgap: float = 0.0,
    **keywords: Any,
) -> GridSpec:
    """Grid of cells with margins and gaps in inches, so that sizes are known before anything is drawn."""
    width, height = fig.get_size_inches()
    cell_w = (width - left - right - wgap * (columns - 1)) / columns
    cell_h = (height - top - bottom - hgap * (rows - 1)) / rows
    return fig.add_gridspec(
        rows, columns, left=left / width, right=1 - right / width, top=1 - top / height, bottom=bottom / height,
        wspace=wgap / cell_w, hspace=hgap / cell_h, **keywords,
    )  # fmt: skip


def size_in(ax: Axes) -> tuple[float, float]:
    """Width and height of axes, inches."""
    box, (width, height) = ax.get_position(), ax.figure.get_size_inches()
    return box.width * width, box.height * height


def key_width(labels: Sequence) -> float:
    """Width of a legend with these labels, inches."""
    return max(text_width(label, 8) for label in [*labels, KEY_TITLE]) / 72 + 0.85


def key(fig: Figure, entries: Sequence, top: float) -> Legend:
    """Legend against the right margin, outside every plot. entries: (label, Look); top: its distance, inches."""
    width, height = fig.get_size_inches()
    left = width - key_width([label for label, _ in entries])
    handles = [Line2D([], [], label=label, **look.line) for label, look in entries]
    return fig.legend(
        handles=handles, loc="upper left", bbox_to_anchor=(left / width, 1 - top / height), frameon=False,
        fontsize=8, handlelength=3.6, title=KEY_TITLE, alignment="left", title_fontsize=8, borderaxespad=0,
        labelspacing=0.7,
    )  # fmt: skip


def thinned(count: int, most: int = 500) -> np.ndarray:
    """Indices of about `most` of `count` points, both ends among them: a line needs no more."""
    return np.unique(np.linspace(0, count - 1, min(count, most)).round().astype(int))


def save(fig: Figure, folder: Path, name: str) -> list[Path]:
    """Write NAME.png and NAME.svg, without dates, each whole or not at all."""
    paths = []
    for kind, metadata in (("png", {"Software": None}), ("svg", {"Date": None, "Creator": "arcstride"})):
        path = folder / f"{name}.{kind}"
        with whole(path) as temporary:
            fig.savefig(temporary, format=kind, metadata=metadata)
        paths.append(path)
    return paths


@lru_cache(maxsize=1024)
def text_width(text: str, size: float) -> float:
    """Width of a text, points."""
    lines = [line for line in text.split("\n") if line.strip()]  # TextPath fails on a line without any mark
    return max((float(TextPath((0, 0), line, size=size).get_extents().width) for line in lines), default=0.0)


def in_points(ax: Axes, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Data to points from the lower left of the figure, (n, 2)."""
    return ax.transData.transform(np.column_stack([x, y])) * 72.0 / ax.figure.dpi


def _box(centre, text, size):
    half = 0.5 * text_width(text, size) + 1.5, 0.62 * size * (1 + text.count("\n")) + 0.5
    return np.array([centre[0] - half[0], centre[1] - half[1], centre[0] + half[0], centre[1] + half[1]])


def _inside(box, points):
    x, y = points.T
    return (x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])


def _meet(a, boxes):
    b = np.asarray(boxes, float).reshape(-1, 4)
    return int(np.sum((a[0] < b[:, 2]) & (b[:, 0] < a[2]) & (a[1] < b[:, 3]) & (b[:, 1] < a[3])))


def _near_edge(box, point):
    """Point of the box nearest to `point`: where a leader ends."""
    return np.array([min(max(point[0], box[0]), box[2]), min(max(point[1], box[1]), box[3])])


def place_labels(
    ax: Axes,
    labels: Sequence,
    obstacles: np.ndarray,
    taken: list,
    size: float = 7.5,
    reach: Sequence[float] = (11, 17, 25, 35, 47, 62, 80),
) -> None:
    """Label points beside them without overlaps; a leader line where the label had to move away.

    labels: (point, text, colour), points in points; obstacles: (n, 2) to stay off; taken: boxes in use, grows.
    Axes limits must be final. The second pass moves labels that the first put down before it knew the others.
    """
    frame = np.array(ax.get_window_extent().extents) * 72.0 / ax.figure.dpi + [3, 3, -3, -3]
    put = [None] * len(labels)  # (box, leader) of each label
    for _ in range(2):
        for i, (point, text, _) in enumerate(labels):
            others = [p for k, p in enumerate(put) if p is not None and k != i]
            boxes = np.array([*taken, *(box for box, _ in others)]).reshape(-1, 4)
            leaders = np.vstack([np.zeros((0, 2)), *(leader for _, leader in others)])
            put[i] = _best_place(point, text, size, reach, frame, obstacles, boxes, leaders)
    for (_, text, colour), (box, leader) in zip(labels, put):
        if np.hypot(*(leader[-1] - leader[0])) > 12:
            _draw(ax, "plot", leader[[0, -1]], color=colour, linewidth=0.6, zorder=2)
        centre = 0.5 * (box[:2] + box[2:])
        _draw(ax, "text", centre, text, fontsize=size, color=colour, ha="center", va="center", zorder=6)
        taken.append(box)


def _best_place(point, text, size, reach, frame, obstacles, boxes, leaders):
    """(box, leader as 15 points) of the cheapest place around a point, nearest first."""
    half, best = 0.5 * text_width(text, size), (math.inf, None, None)
    for distance in reach:
        if best[0] <= distance:
            break  # nothing farther out can be better
        for a in np.radians([0, 180, 30, 150, -30, -150, 60, 120, -60, -120, 90, -90]):
            side = half * np.sign(round(math.cos(a), 6))
            box = _box(point + np.array([math.cos(a) * distance + side, math.sin(a) * distance]), text, size)
            way = _near_edge(box, point) - point
            along = point + np.linspace(min(1.0, 8.0 / max(np.hypot(*way), 1e-9)), 1.0, 15)[:, None] * way
            out = np.maximum(0, [*(frame[:2] - box[:2]), *(box[2:] - frame[2:])]).sum()
            crossing = np.sum(_inside(boxes.T[:, :, None], along).any(axis=-1))
            hits = 30 * _inside(box, obstacles).sum() + 60 * _inside(box, leaders).sum()
            cost = 4000 * _meet(box, boxes) + 300 * out + 200 * crossing + hits + distance
            if cost < best[0]:
                best = (cost, box, point + np.linspace(0, 1, 15)[:, None] * way)
    return best[1:]


def _draw(ax, what, points, *args, **keywords):
    """Plot or write at points from the lower left of the figure."""
    xy = ax.transData.inverted().transform(np.atleast_2d(points) * ax.figure.dpi / 72.0)
    if what == "plot":
        ax.plot(xy[:, 0], xy[:, 1], **keywords)
    else:
        ax.text(xy[0, 0], xy[0, 1], *args, **keywords)
