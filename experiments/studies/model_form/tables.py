"""Tables of a model-form study: score, place and gain under every physics; tie groups in the terminal."""

import numpy as np
from rich.console import Console
from rich.text import Text
from scipy import stats

from experiments.report.sources import cite_statics
from experiments.report.tables import cell, terminal_table
from experiments.report.words import NOT_AVAILABLE, groups_text, share_text
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.model_form.places import places
from experiments.studies.model_form.study import ModelForm, Plan, Variant

NAMED_IN_A_CELL = 3  # blades of a group that a cell has room for


def write(plan: Plan, result: ModelForm, folder: RunFolder) -> None:
    """does_it_hold.csv: one line a variant and candidate."""
    header = ["variant", "candidate", "score", "rank", "kendall_tau_to_standard", "tied_from", "tied_to"]
    with csv_table(
        folder.path / "does_it_hold.csv", [*header, *(f"gain {' | '.join(p)}" for p in result.pairs)]
    ) as table:
        for variant in result.variants:
            known = np.isfinite(variant.score).all()
            rank = stats.rankdata(-variant.score) if known else np.full(len(variant.score), np.nan)
            for i, name in enumerate(result.candidates):
                place = places(variant.groups, i)
                table.writerow([variant.name, name, variant.score[i], rank[i], variant.tau, *place, *variant.gain[i]])


def cite(plan: Plan, result: ModelForm) -> list[str]:
    """What the run rests on."""
    return [*cite_statics(plan.request), f"Other ice constants: {plan.others.ice.source}."]


def show(plan: Plan, result: ModelForm, console: Console) -> None:
    """One line per physics: who is among the first, how far the nominal order is kept, what is surely turned round."""
    headings = ("physics", "Kendall tau\nnominal", "tied for first", "pairs swapped\nnominal", "pairs surely\nturned")
    table = terminal_table(
        f"Order by the weighting {plan.request.scheme.name!r} under other physics; {plan.sampling.draws} draws",
        headings, left=(0, 2),
    )  # fmt: skip
    for variant in result.variants:
        if not variant.groups:
            table.add_row(variant.name, NOT_AVAILABLE, "a part of the score could not be computed", "", "")
            continue
        table.add_row(variant.name, cell(variant.tau, ".2f"), first_text(result, variant),
                      _swapped(result.variants[0], variant), str(len(variant.turned)))  # fmt: skip
    console.print(table)
    sure = share_text(plan.request.opinions.beaten_from)
    console.print(Text(
        f"Tied for first: not beaten by the first of them in {sure} of the draws. Surely turned: one beats the other "
        f"in {sure} of the draws under the standard, and is beaten as often here. All places under the standard: "
        f"{groups_text(result.variants[0].groups, result.candidates)}."
    ))  # fmt: skip


def first_text(result: ModelForm, variant: Variant) -> str:
    """The blades tied for the first place, or how many they are."""
    names = [result.candidates[i] for i in variant.groups[0]]
    if len(names) <= NAMED_IN_A_CELL:
        return ", ".join(names)
    return f"{len(names)} of {len(result.candidates)}: {', '.join(names[:NAMED_IN_A_CELL])}, ..."


def _swapped(standard: Variant, variant: Variant) -> str:
    """How many pairs of candidates change places at nominal values, of all."""
    a, b, count = standard.score, variant.score, len(standard.score)
    if not np.isfinite([a, b]).all():
        return NOT_AVAILABLE
    swapped = sum((a[i] - a[j]) * (b[i] - b[j]) < 0 for i in range(count) for j in range(i))
    return f"{swapped} of {count * (count - 1) // 2}"
