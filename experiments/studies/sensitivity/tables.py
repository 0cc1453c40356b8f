"""Tables of a sensitivity study: every index, and the two inputs that decide each output in the terminal."""

from dataclasses import astuple

from rich.console import Console

from experiments.report.sources import cite_statics
from experiments.report.tables import terminal_table
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.sensitivity.study import Plan, Sensitivity

HEADER = ("method", "output", "input", "mu_star_or_S1", "confidence", "sigma_or_ST", "ST_confidence")


def write(plan: Plan, result: Sensitivity, folder: RunFolder) -> None:
    """sensitivity.csv."""
    with csv_table(folder.path / "sensitivity.csv", HEADER) as table:
        table.writerows(["" if value is None else value for value in astuple(index)] for index in result.indices)


def cite(plan: Plan, result: Sensitivity) -> list[str]:
    """What the run rests on."""
    return [
        *cite_statics(plan.request),
        "Screening: Morris 1991, Technometrics 33, 161-174; variance shares: Sobol 2001, Math. Comput. Simul. 55, "
        "271-280 (both cited from memory); computed by SALib.",
    ]


def show(plan: Plan, result: Sensitivity, console: Console) -> None:
    """The two inputs that decide each output."""
    headings = ("output (relative to the reference)", "first", "total index", "second", "total index")
    table = terminal_table(f"Most influential uncertain inputs: {result.subject}", headings, left=(0, 1, 3))
    for output in result.outputs:
        found = sorted(result.sobol(output).values(), key=lambda index: -index.total)
        cells = [x for index in found[:2] for x in (index.input.replace("_", " "), _with_confidence(index))]
        table.add_row(output, *cells)
    console.print(table)


def _with_confidence(index) -> str:
    return f"{index.total:.2f} +- {index.total_confidence:.2f}"
