"""What a search leaves: front.csv, results.h5 and a part for each blade; the front in the terminal."""

import math
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.text import Text

from experiments.analysis.judging.statement import measured_at_two_places
from experiments.report import sources
from experiments.report.part.folder import write_part
from experiments.report.tables import terminal_table
from experiments.run.files import csv_table, h5_file, put, scale
from experiments.run.folder import RunFolder
from experiments.studies.search.found_words import bounds_named, bounds_words, price_words, priced, ratio_of
from experiments.studies.search.sentences import (
    TWO_PLACES,
    gain_words,
    labelled_pair,
    recipe_words,
    sentences,
    title_words,
    verdict_words,
)
from experiments.studies.search.study import ROLLED_KIN, Plan, SearchResult
from sim.measures import REGISTRY, STATIC


def write(plan: Plan, result: SearchResult, folder: RunFolder) -> None:
    """front.csv, results.h5 and the parts (recipe, template, gauge table, drawing) of each blade of the front."""
    write_front(plan, result, folder.path / "front.csv")
    write_h5(plan, result, folder.path / "results.h5", folder.attributes())
    for k, blade in enumerate(result.blades):
        place = folder.path / "parts" / f"{k + 1:02d}"
        place.mkdir(parents=True, exist_ok=True)
        write_part(place, blade.candidate, plan.problem.limits)


def cite(plan: Plan, result: SearchResult) -> list[str]:
    """What the run rests on."""
    rolled = [name for name in ROLLED_KIN.values() if any(name in blade.rolled for blade in result.blades)]
    search = "Search: NSGA-II, Deb et al. 2002, IEEE Trans. Evol. Comput. 6, 182-197 (cited from memory); by pymoo."
    return [*sources.cite(plan.request, [*STATIC, *rolled], plan.request.settings[0].scenarios), search]


def write_front(plan: Plan, result: SearchResult, path: Path) -> None:
    """One line a blade: recipe, costs and ratios, gains with intervals and verdicts, every other measure as a ratio to
    the reference, nearest known recipe, limits, bounds of the space; an empty cell where there is no number."""
    objectives = [name for name, _ in plan.problem.objectives]
    header = ["blade", "recipe", *(f"cost of {n}" for n in objectives), *(f"ratio of cost of {n}" for n in objectives)]
    for pair in result.pairs:
        label = " | ".join(pair)
        if measured_at_two_places(pair, plan.request.settings[0].states):
            label += f" ({TWO_PLACES})"
        header += [f"gain {label}", *(f"gain q{q} {label}" for q in ("05", "50", "95"))]
        header += [f"verdict {label}", *(f"gain with grinding errors only q{q} {label}" for q in ("05", "50", "95"))]
    header += [f"ratio of {name}" for name in priced(plan)]
    header += ["nearest_known", "height_from_it [m]", "beyond_limits", "at_the_bound"]
    with csv_table(path, header) as writer:
        for k, blade in enumerate(result.blades):
            words = recipe_words(blade.candidate.recipe, plan.steps.metric)
            row = [k + 1, words, *blade.costs, *(blade.costs / result.reference)]
            for p in range(len(result.pairs)):
                row += [blade.alone[p], *blade.gains[:, p], verdict_words(blade, p), *blade.grinding[:, p]]
            row += [ratio_of(name, blade, result) for name in priced(plan)]
            row += [*blade.nearest, " | ".join(blade.limits), bounds_words(plan, blade)]
            writer.writerow(["" if isinstance(v, float) and not math.isfinite(v) else v for v in row])


def write_h5(plan: Plan, result: SearchResult, path: Path, attributes: dict[str, str]) -> None:
    """Everything evaluated: search(evaluation, ...) and, where asked, random(evaluation, ...); units on every array."""
    objectives = plan.problem.objectives
    with h5_file(path, attributes) as file:
        for name, found in (("search", result.found), ("random", result.random)):
            if found is None or not len(found.points):
                continue
            group = file.create_group(name)
            number = scale(group, "evaluation", np.arange(len(found.points), dtype="i4"))
            column = scale(group, "coordinate", np.array(plan.problem.space.names, dtype=object))
            put(group, "point", found.points, "1", "place in the search space, 0 to 1", number, column)
            put(group, "generation", found.born.astype("i4"), "1", "generation of the search", number)
            put(group, "allowed", found.allowed.astype("i1"), "1", "1: within all limits and evaluated", number)
            for k, (measure, better) in enumerate(objectives):
                unit = REGISTRY[measure].unit if better == "lower" else f"1/({REGISTRY[measure].unit})"
                values = np.where(found.allowed, found.costs[:, k], np.nan)
                put(group, f"cost_{measure}", values, unit, f"cost: {REGISTRY[measure].label}", number)


def show(plan: Plan, result: SearchResult, console: Console) -> None:
    """The finds in the terminal: a table of numbers, then each recipe in full with its price and its bounds."""
    headings = ["blade", *(f"{REGISTRY[name].label}\n(cost)" for name, _ in plan.problem.objectives)]
    headings += [f"gain, {labelled_pair(plan, pair)}".replace(" and ", " |\n") for pair in result.pairs]
    title = title_words(plan, result, "Finds, as ratios to the reference")
    table = terminal_table(title, headings)
    for column in table.columns:  # in a narrow terminal words are broken, never cut
        column.overflow = "fold"
    for k, blade in enumerate(result.blades):
        ratios = (f"{v:.3f}" for v in blade.costs / result.reference)
        table.add_row(str(k + 1), *ratios, *(gain_words(blade, p) for p in range(len(result.pairs))))
    if result.blades:
        console.print(table)
    for k, blade in enumerate(result.blades):
        recipe = recipe_words(blade.candidate.recipe, plan.steps.metric)
        words = [f"{k + 1}: {recipe}.", price_words(plan, blade, result), bounds_named(plan, blade)]
        console.print(Text(" ".join(w for w in words if w)))
    for line in sentences(plan, result):
        console.print(Text(line))
    console.print(Text("Templates, gauge tables and drawings: parts/. Pictures: gallery.html. Not skated: go slowly."))
