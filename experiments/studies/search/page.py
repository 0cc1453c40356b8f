"""gallery.html: the front, its blades with their templates, moving pictures."""

from pathlib import Path

from experiments.report.page import about, picture, skaters_text
from experiments.report.page import write_page as fill
from experiments.run.folder import RunFolder
from experiments.studies.search.figures import MOVEMENTS, animated
from experiments.studies.search.sentences import gain_words, pair_words, recipe_words, sentences
from experiments.studies.search.study import Plan, SearchResult
from sim.measures import REGISTRY


def write_page(plan: Plan, result: SearchResult, folder: RunFolder) -> None:
    """Leave the gallery in the run folder."""
    figures = folder.path / "figures"
    moving = [(k + 1, name) for k in animated(result) for name in MOVEMENTS]
    pictures = [(picture(figures / f"{name}_{k}.gif", f"blade {k}, {name}"), f"blade {k}, {name.replace('_', ' ')}")
                for k, name in moving]  # fmt: skip
    fill(
        Path(__file__).with_name("gallery.html.j2"), folder.path / "gallery.html", title="Recipes found",
        who=skaters_text(plan.request), run=about(folder), sentences=sentences(plan, result), head=_head(plan, result),
        rows=[_row(result, k) for k in range(len(result.blades))], moving=[p for p in pictures if p[0]],
        front=picture(figures / "front.svg", "front of the search"),
        others=[picture(figures / f"{name}.svg", name) for name in ("objectives", "progress")],
    )  # fmt: skip


def _head(plan: Plan, result: SearchResult) -> list[str]:
    costs = [f"{REGISTRY[name].label}, cost relative to the reference" for name, _ in plan.problem.objectives]
    gains = [f"gain, {pair_words(pair)}" for pair in result.pairs]
    return ["blade", "recipe, heel to toe", *costs, *gains, "nearest known recipe"]


def _row(result: SearchResult, k: int) -> dict:
    """Cells of one blade, and the files of its part."""
    blade, place = result.blades[k], f"parts/{k + 1:02d}"
    cells = [f"{v:.3f}" for v in blade.costs / result.reference]
    cells += [gain_words(blade, p) for p in range(len(result.pairs))]
    cells.append(f"{blade.nearest[0]}, {blade.nearest[1] * 1e6:.0f} µm apart")
    return {"number": k + 1, "recipe": recipe_words(blade.candidate.recipe), "cells": cells, "place": place}
