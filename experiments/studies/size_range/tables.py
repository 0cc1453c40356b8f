"""Tables of a size range: measures and ratios of each size and rule; what changes over the range in the terminal."""

import math

from rich.console import Console

from experiments.analysis.judging.intervals import SLIGHT
from experiments.report.shown import SIZES, heading
from experiments.report.sources import cite_statics
from experiments.report.tables import cell, terminal_table
from experiments.report.words import change_text
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.size_range.study import Carried, Plan
from sim.measures import REGISTRY
from sim.quantities import FOOT_M


def write(plan: Plan, result: list[Carried], folder: RunFolder) -> None:
    """sizes.csv: one line a size and rule: recipe, measures in SI, ratios to that size's reference."""
    header = ["size", "length [m]", "mass [kg]", "rule", "radii [ft]"]
    header += [f"{n} [{REGISTRY[n].unit}]" for n in SIZES] + [f"ratio of {n}" for n in SIZES] + ["beyond_limits"]
    with csv_table(folder.path / "sizes.csv", header) as table:
        for x in result:
            row = [x.size, x.length_m, x.mass_kg, x.rule, _feet(x, ".3f"), *(x.value(n) for n in SIZES)]
            table.writerow([*row, *(x.ratio(n) for n in SIZES), " | ".join(x.limits)])


def cite(plan: Plan, result: list[Carried]) -> list[str]:
    """What the run rests on."""
    return cite_statics(plan.request)


def show(plan: Plan, result: list[Carried], console: Console) -> None:
    """Ratios of each size and rule, and what changes from the smallest to the largest."""
    headings = ["size", "rule", "radii, ft", *(heading(name) for name in SIZES)]
    table = terminal_table("Ratio to the reference of the same size", headings, left=(0, 1, 2))
    for x in result:
        ratios = (cell(x.ratio(name)) for name in SIZES)
        table.add_row(f"{x.size}, {x.mass_kg:g} kg", x.rule, _feet(x, ".1f"), *ratios)
    console.print(table)
    for rule in plan.rules:
        console.print(_change([x for x in result if x.rule == rule]), markup=False)
    for x in [x for x in result if x.limits]:
        console.print(f"{x.size}, {x.rule}: {x.limits[0]}", markup=False)


def _feet(x: Carried, form: str) -> str:
    return "/".join(format(r / FOOT_M, form) for r in x.recipe.radii_m)


def _change(rows: list[Carried]) -> str:
    """What changes from the shortest blade of a rule to the longest."""
    first, last = min(rows, key=lambda x: x.length_m), max(rows, key=lambda x: x.length_m)
    changes = {name: last.ratio(name) / first.ratio(name) for name in SIZES}
    words = [f"{REGISTRY[name].label} {change_text(v)}" for name, v in changes.items()
             if math.isfinite(v) and abs(v - 1) > SLIGHT]  # fmt: skip
    return f"{rows[0].rule}: from {first.size} to {last.size} the ratios change by {', '.join(words) or 'under 0.5 %'}."
