"""Figure of a size range: ratios to each size's reference over blade length."""

from pathlib import Path

from matplotlib.axes import Axes

from experiments.report import style as fs
from experiments.report.shown import SIZES
from experiments.studies.size_range.study import Carried, Plan
from sim.measures import REGISTRY

PANELS_ACROSS = 4


def draw(plan: Plan, result: list[Carried], folder: Path, processes: int) -> list[Path]:
    """A panel a measure, a line a rule."""
    title = "One design over a range of sizes: ratio to the reference of the same size"
    note = "hold: same radii; scale: radii follow the length; search: searched again for each size"
    fig = fs.page(12.4, 6.0, title, [note])
    rows = -(-len(SIZES) // PANELS_ACROSS)
    cells = fs.grid(fig, rows, PANELS_ACROSS, 0.65, 0.25, 0.85, 0.8, wgap=0.6, hgap=0.75)
    for i, name in enumerate(SIZES):
        ax = fig.add_subplot(cells[i // PANELS_ACROSS, i % PANELS_ACROSS])
        _panel(ax, plan, result, name)
        if i + PANELS_ACROSS >= len(SIZES):  # nothing stands below
            ax.set_xlabel("blade length, mm")
    fig.legend(*ax.get_legend_handles_labels(), loc="lower right", bbox_to_anchor=(0.96, 0.22), frameon=False)
    return fs.save(fig, folder, "sizes")


def _panel(ax: Axes, plan: Plan, result: list[Carried], name: str) -> None:
    ax.axhline(1.0, color=fs.INK, linewidth=0.8)
    for k, rule in enumerate(plan.rules):
        mine = [x for x in result if x.rule == rule]
        dash = {"dashes": fs.DASHES[k]} if fs.DASHES[k] else {}
        ax.plot([1e3 * x.length_m for x in mine], [x.ratio(name) for x in mine], color=fs.HUES[k],
                marker=fs.MARKERS[k], markersize=4, linewidth=1.5, label=rule, **dash)  # fmt: skip
    ax.set_title(REGISTRY[name].label, loc="left", fontsize=8.5)
