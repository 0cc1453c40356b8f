"""Figures of a search: the front with small pictures of its curves, all objectives side by side, and the progress."""

from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from experiments.report import style as fs
from experiments.report.words import axis_label
from experiments.studies.search.animation import animate
from experiments.studies.search.sentences import title_words
from experiments.studies.search.study import Plan, SearchResult
from sim.measures import REGISTRY
from sim.quantities import FOOT_M

MOST_PANELS = 3
ANIMATED = 2  # blades
MOVEMENTS = ("stride", "tight_turn")
FRONT, RANDOM, LINE = fs.BLUE, fs.ORANGE, fs.SOFT


def draw(plan: Plan, result: SearchResult, folder: Path, processes: int) -> list[Path]:
    """All figures, and moving pictures of the front's most unlike blades."""
    figures = {"progress": progress(plan, result)}
    if result.blades:
        figures |= {"front": front(plan, result), "objectives": side_by_side(plan, result)}
    paths = [path for name, fig in figures.items() for path in fs.save(fig, folder, name)]
    setting = plan.request.settings[0]
    for k in animated(result):
        for name in MOVEMENTS:
            path = folder / f"{name}_{k + 1}.gif"
            if name in setting.scenarios and animate(result.blades[k].candidate, setting, name, path):
                paths.append(path)
    return paths


def animated(result: SearchResult) -> list[int]:
    """Places of the blades that get moving pictures: the one of greatest gain, and an end of the front."""
    if not result.blades:
        return []
    best = max(
        range(len(result.blades)), key=lambda k: np.nan_to_num(result.blades[k].alone[:1], nan=-1.0).max(initial=0)
    )
    return list(dict.fromkeys((best, 0, len(result.blades) - 1)))[:ANIMATED]


def _shown(plan, k, costs):
    """Costs of objective k as people read the measure."""
    name, better = plan.problem.objectives[k]
    values = costs[:, k] if better == "lower" else 1.0 / costs[:, k]
    return REGISTRY[name].to_shown(values)


def front(plan: Plan, result: SearchResult) -> Figure:
    """Each pair of objectives: everything evaluated, the front, single radii; under it a picture of every blade."""
    pairs = list(combinations(range(len(plan.problem.objectives)), 2))[:MOST_PANELS]
    count = len(result.blades)
    columns = min(count, 6)
    strips = -(-count // columns)
    width = 4.6 * len(pairs) + 0.6 if len(pairs) > 1 else 8.4
    note = f"{int(result.found.allowed.sum())} of {len(result.found.points)} evaluated could be ground"
    title = "Finds: recipes that can be ground, none beaten on every objective"
    label = title_words(plan, result, "")  # ", measured at two places of the blade" or nothing
    note += f"; objectives {label.removeprefix(', ')}" if label else ""
    fig = fs.page(width, 5.6 + 1.15 * strips, title, [note])
    height = fig.get_figheight()
    cells = fs.grid(fig, 1, len(pairs), 0.8, 0.25, 0.75, 1.15 * strips + 1.35, wgap=0.85)
    for i, (a, b) in enumerate(pairs):
        _panel(fig.add_subplot(cells[i]), plan, result, a, b)
    marks = [Line2D([], [], marker="o", color=FRONT, linestyle="", label="finds"),
             Line2D([], [], marker=".", color="#9fc5e0", linestyle="", label="evaluated"),
             Line2D([], [], marker="x", color=RANDOM, linestyle="", markersize=4, label="at random"),
             Line2D([], [], color=LINE, label="single radii"),
             Line2D([], [], marker="D", color=fs.INK, linestyle="", label="reference")]  # fmt: skip
    fig.legend(handles=marks, loc="lower left", ncol=5, fontsize=8, frameon=False,
               bbox_to_anchor=(0.6 / width, (1.15 * strips + 0.35) / height))  # fmt: skip
    longest = max(float(1 / np.maximum(_kappa(b), 1e-9).min()) for b in result.blades) / FOOT_M
    shortest = min(float(1 / _kappa(b).max()) for b in result.blades) / FOOT_M
    for k, blade in enumerate(result.blades):
        row, column = divmod(k, columns)
        size = (width - 0.7) / columns
        box = [0.5 + column * size, 0.42 + (strips - 1 - row) * 1.15, size - 0.35, 0.72]
        _picture(fig.add_axes([box[0] / width, box[1] / height, box[2] / width, box[3] / height]), blade, k,
                 (0.92 * shortest, 1.08 * longest), column == 0)  # fmt: skip
    return fig


def _panel(ax, plan, result, a, b):
    able = result.found.allowed
    x, y = (_shown(plan, k, result.found.costs[able]) for k in (a, b))
    ax.plot(x, y, ".", color="#9fc5e0", markersize=2.5, zorder=1, rasterized=True)
    if result.random is not None and result.random.allowed.any():
        some = result.random.costs[result.random.allowed]
        ax.plot(_shown(plan, a, some), _shown(plan, b, some), "x", color=RANDOM, markersize=2.5, zorder=1.5, alpha=0.5,
                rasterized=True)  # fmt: skip
    good = np.isfinite(result.line).all(axis=1)
    ax.plot(_shown(plan, a, result.line[good]), _shown(plan, b, result.line[good]), color=LINE, linewidth=1.3, zorder=2)
    ax.plot(
        _shown(plan, a, result.reference[None]), _shown(plan, b, result.reference[None]), "D", color=fs.INK, zorder=3
    )
    costs = np.array([blade.costs for blade in result.blades])
    u, v = _shown(plan, a, costs), _shown(plan, b, costs)
    ax.plot(u, v, "o", color=FRONT, markersize=6, markeredgecolor="white", zorder=4)
    names = [REGISTRY[plan.problem.objectives[k][0]] for k in (a, b)]
    ax.set_xlabel(axis_label(names[0]))
    ax.set_ylabel(axis_label(names[1]))
    around_x, around_y = np.r_[u, _shown(plan, a, result.line[good])], np.r_[v, _shown(plan, b, result.line[good])]
    for values, put in ((around_x, ax.set_xlim), (around_y, ax.set_ylim)):
        pad = 0.12 * np.ptp(values)
        put(values.min() - pad, values.max() + pad)
    spots = fs.in_points(ax, u, v)
    taken = [np.array([*(s - 4), *(s + 4)]) for s in spots]
    fs.place_labels(ax, [(s, str(k + 1), FRONT) for k, s in enumerate(spots)], spots, taken, size=8)


def _kappa(blade):
    """Curvature between the sweeps, on a grid, 1/m."""
    recipe = blade.candidate.recipe
    start = recipe.heel_sweep.length_m + recipe.blend_m
    stop = recipe.length_m - recipe.toe_sweep.length_m - recipe.blend_m
    return blade.candidate.curve.at(np.linspace(start, stop, 161))[3]


def _picture(ax, blade, k, limits, first):
    """Radius over place, heel to toe: the whole recipe at a glance."""
    kappa = _kappa(blade)
    ax.plot(np.linspace(0, 1, len(kappa)), 1 / np.maximum(kappa, 1e-9) / FOOT_M, color=FRONT, linewidth=1.5)
    ax.set_title(f"{k + 1}", fontsize=8, loc="left", pad=1.5, fontweight="bold", color=FRONT)
    ax.set_yscale("log")
    ax.set_ylim(*limits)
    ticks = [t for t in (5, 7, 10, 14, 20, 30) if limits[0] <= t <= limits[1]]
    ax.set_yticks(ticks, [str(t) if first else "" for t in ticks], fontsize=6.5)
    ax.minorticks_off()
    ax.set_xticks([0, 1], ["heel", "toe"], fontsize=6.5)
    if first:
        ax.set_ylabel("radius, ft", fontsize=6.5)


def side_by_side(plan: Plan, result: SearchResult) -> Figure:
    """Every objective and its rolled kin as a ratio to the reference, less is better; one line a blade."""
    names = [name for name, _ in plan.problem.objectives]
    costs = np.array([b.costs for b in result.blades]) / result.reference
    fig = fs.page(8.4, 4.9, "All objectives side by side: cost against the reference, less is better",
                  ["1: the reference; lines carry the numbers of the front's figure"])  # fmt: skip
    ax = fig.add_subplot(fs.grid(fig, 1, 1, 0.8, 0.9, 0.75, 0.95)[0])
    ax.axhline(1.0, color=fs.INK, linewidth=0.9)
    shades = [fs.HUES[k % len(fs.HUES)] for k in range(len(costs))]
    for k, row in enumerate(costs):
        dash = fs.DASHES[k // len(fs.HUES) % len(fs.DASHES)]
        ax.plot(range(len(row)), row, color=shades[k], marker="o", markersize=4, linewidth=1.3,
                **({"dashes": dash} if dash else {}))  # fmt: skip
    at = costs[:, -1].copy()  # labels at the right end, kept apart
    order, least = np.argsort(at), 0.035 * np.ptp(np.r_[costs.ravel(), 1.0])
    for before, k in pairwise(order):
        at[k] = max(at[k], at[before] + least)
    for k, y in enumerate(at):
        ax.annotate(str(k + 1), (len(names) - 1, costs[k, -1]), (len(names) - 1 + 0.06, y), fontsize=8, va="center",
                    color=shades[k], arrowprops={"arrowstyle": "-", "linewidth": 0.4, "color": shades[k]})  # fmt: skip
    ax.set_xticks(range(len(names)), [REGISTRY[n].label.replace(", ", ",\n") for n in names])
    ax.set_ylabel("cost relative to the reference")
    ax.margins(x=0.12)
    return fig


def progress(plan: Plan, result: SearchResult) -> Figure:
    """Hypervolume against blades evaluated, with what as many blades at random reach."""
    fig = fs.page(6.4, 3.9, "Progress of the search", ["volume of log costs below the worst corner of the front"])
    ax = fig.add_subplot(fs.grid(fig, 1, 1, 0.8, 0.3, 0.75, 0.8)[0])
    ax.plot(result.volumes[:, 0], result.volumes[:, 1], color=FRONT, linewidth=1.6, label="search")
    if result.random is not None:
        ax.axhline(result.random_volume, color=RANDOM, dashes=(5, 2), label=f"{len(result.random.points)} at random")
    ax.set_xlabel("blades evaluated")
    ax.set_ylabel("hypervolume")
    ax.legend(frameon=False, loc="lower right")
    return fig
