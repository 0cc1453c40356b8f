"""Tables of a model-form study: score, place and gain under every physics; the order kept or not in the terminal."""

import numpy as np
from rich.console import Console
from scipy import stats

from experiments.report.sources import cite_statics
from experiments.report.tables import cell, terminal_table
from experiments.report.words import NOT_AVAILABLE
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.model_form.study import ModelForm, Plan, Variant


def write(plan: Plan, result: ModelForm, folder: RunFolder) -> None:
    """does_it_hold.csv: one line a variant and candidate."""
    header = ["variant", "candidate", "score", "rank", "kendall_tau_to_standard"]
    with csv_table(
        folder.path / "does_it_hold.csv", [*header, *(f"gain {' | '.join(p)}" for p in result.pairs)]
    ) as table:
        for variant in result.variants:
            known = np.isfinite(variant.score).all()
            places = stats.rankdata(-variant.score) if known else np.full(len(variant.score), np.nan)
            for i, name in enumerate(result.candidates):
                table.writerow([variant.name, name, variant.score[i], places[i], variant.tau, *variant.gain[i]])


def cite(plan: Plan, result: ModelForm) -> list[str]:
    """What the run rests on."""
    return [*cite_statics(plan.request), f"Other ice constants: {plan.other_ice.source}."]


def show(plan: Plan, result: ModelForm, console: Console) -> None:
    """One line per physics: first, last, and how far the order is kept."""
    headings = ("physics", "Kendall tau", "first", "last", "pairs of candidates swapped")
    table = terminal_table(
        f"Order by the weighting {plan.request.scheme.name!r} under other physics", headings, left=(0, 2, 3)
    )
    for variant in result.variants:
        if not np.isfinite(variant.score).all():
            table.add_row(variant.name, NOT_AVAILABLE, "a part of the score could not be computed", "", "")
            continue
        best, last = (result.candidates[int(f(variant.score))] for f in (np.argmax, np.argmin))
        table.add_row(variant.name, cell(variant.tau, ".2f"), best, last, _swapped(result.variants[0], variant))
    console.print(table)


def _swapped(standard: Variant, variant: Variant) -> str:
    """How many pairs of candidates change places, of all."""
    a, b, count = standard.score, variant.score, len(standard.score)
    swapped = sum((a[i] - a[j]) * (b[i] - b[j]) < 0 for i in range(count) for j in range(i))
    return f"{swapped} of {count * (count - 1) // 2}"
