"""gallery.html: the front, its blades with their templates, moving pictures."""

import math
from pathlib import Path

from experiments.report.page import about, picture, skaters_text
from experiments.report.page import write_page as fill
from experiments.report.words import NOT_AVAILABLE
from experiments.run.folder import RunFolder
from experiments.studies.search.figures import MOVEMENTS, animated
from experiments.studies.search.found_words import bounds_words, price_words, priced, ratio_of
from experiments.studies.search.sentences import gain_words, labelled_pair, recipe_words, sentences, title_words
from experiments.studies.search.study import Plan, SearchResult
from sim.measures import REGISTRY


def write_page(plan: Plan, result: SearchResult, folder: RunFolder) -> None:
    """Leave the gallery in the run folder."""
    figures = folder.path / "figures"
    moving = [(k + 1, name) for k in animated(result) for name in MOVEMENTS]
    pictures = [(picture(figures / f"{name}_{k}.gif", f"blade {k}, {name}"), f"blade {k}, {name.replace('_', ' ')}")
                for k, name in moving]  # fmt: skip
    fill(
        Path(__file__).with_name("gallery.html.j2"), folder.path / "gallery.html",
        title=title_words(plan, result, "Recipes found"), who=skaters_text(plan.request), run=about(folder),
        sentences=sentences(plan, result), head=_head(plan, result), prices=_prices(plan, result),
        rows=[_row(plan, result, k, folder.path) for k in range(len(result.blades))],
        moving=[p for p in pictures if p[0]], front=picture(figures / "front.svg", "front of the search"),
        others=[picture(figures / f"{name}.svg", name) for name in ("objectives", "progress")],
    )  # fmt: skip


def _head(plan: Plan, result: SearchResult) -> list[str]:
    costs = [f"{REGISTRY[name].label}, cost relative to the reference" for name, _ in plan.problem.objectives]
    gains = [f"gain, {labelled_pair(plan, pair)}" for pair in result.pairs]
    return ["blade", "recipe, heel to toe", *costs, *gains, "nearest known recipe"]


def _row(plan: Plan, result: SearchResult, k: int, folder: Path) -> dict:
    """Cells of one blade, its price and bounds, and the files of its part."""
    blade, place = result.blades[k], f"parts/{k + 1:02d}"
    cells = [f"{v:.3f}" for v in blade.costs / result.reference]
    cells += [gain_words(blade, p) for p in range(len(result.pairs))]
    cells.append(f"{blade.nearest[0]}, {blade.nearest[1] * 1e6:.0f} µm apart")
    kinds = {".yaml": "recipe", ".dxf": "template", "_gauge.csv": "gauge table", ".pdf": "drawing"}
    files = sorted(p.name for p in (folder / place).glob("*"))
    links = [(f"{place}/{name}", words) for end, words in kinds.items() for name in files if name.endswith(end)]
    return {
        "number": k + 1, "recipe": recipe_words(blade.candidate.recipe, plan.steps.metric), "cells": cells,
        "links": links, "words": [price_words(plan, blade, result), bounds_words(plan, blade)],
    }  # fmt: skip


def _prices(plan: Plan, result: SearchResult) -> list[tuple[str, str, list[str]]]:
    """(measure, which way is better, change of each find against the reference in %) of every other measure."""
    out = []
    for name in priced(plan):
        ratios = [ratio_of(name, blade, result) for blade in result.blades]
        cells = [f"{round(100 * (r - 1), 1) + 0:+.1f}" if math.isfinite(r) else NOT_AVAILABLE for r in ratios]
        out.append((REGISTRY[name].label, REGISTRY[name].better, cells))
    return out
