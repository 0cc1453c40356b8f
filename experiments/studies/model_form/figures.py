"""Figure of a model-form study: the place of every candidate under every physics, with what is tied."""

from pathlib import Path

import numpy as np
from matplotlib.colors import ListedColormap

from experiments.report import style as fs
from experiments.report.tables import cell
from experiments.studies.model_form.places import place_text, places
from experiments.studies.model_form.study import ModelForm, Plan

MOST_CANDIDATES = 16
FIRST = "#bcd9ec"  # behind the places of those that are tied for the first
CELL_IN = (0.62, 0.3)  # width and height of a place, inches


def draw(plan: Plan, result: ModelForm, folder: Path, processes: int) -> list[Path]:
    """A row a candidate, a column a physics, in each cell the places of its tie group: no line joins what has no
    order."""
    kept = [i for group in result.variants[0].groups for i in group][:MOST_CANDIDATES]
    if not kept:
        return []
    names, count = [result.candidates[i] for i in kept], len(result.variants)
    left = max(fs.text_width(name, 8) for name in names) / 72 + 0.35
    note = (
        f"places of the tie group, 1 is best; {plan.sampling.draws} draws of all else that is unknown; blue: among the "
        "first; under each name: Kendall's tau of the nominal order; pairs surely turned round"
    )
    title = f"Does the order by the weighting {plan.request.scheme.name!r} survive other physics"
    fig = fs.page(left + CELL_IN[0] * count + 0.35, 2.5 + CELL_IN[1] * len(names), title, [note])
    ax = fig.add_subplot(fs.grid(fig, 1, 1, left, 0.35, 0.75, 1.6)[0])
    table = np.array([[places(variant.groups, i) for variant in result.variants] for i in kept], float)
    ax.imshow(table[:, :, 0] == 1, cmap=ListedColormap(["white", FIRST]), vmin=0, vmax=1, aspect="auto")
    for r, row in enumerate(table):
        for c, (first, last) in enumerate(row):
            ax.text(c, r, place_text(first, last), ha="center", va="center", fontsize=7.5, color=fs.INK,
                    fontweight="bold" if first == 1 else "normal")  # fmt: skip
    ticks = [f"{variant.name}\n{cell(variant.tau, '.2f')}; {len(variant.turned)}" for variant in result.variants]
    ax.set_xticks(range(count), ticks, rotation=40, ha="right", fontsize=7.5)
    ax.set_yticks(range(len(names)), names)
    ax.grid(False)
    ax.tick_params(length=0)
    return fs.save(fig, folder, "does_it_hold")
