"""Tables of the findings, and the answers in the terminal."""

from rich.console import Console

from experiments.report import sources
from experiments.report.draw_tables import write_intervals
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.findings.answer import answer
from experiments.studies.findings.game_rules import RULES_TITLE, as_table, rules
from experiments.studies.findings.sentences import answers
from experiments.studies.findings.study import Findings, Plan
from experiments.studies.model_form import tables as model_form
from experiments.studies.stance_map import tables as stance_map
from experiments.studies.validation import tables as validation
from sim.measures import STATIC


def write(plan: Plan, result: Findings, folder: RunFolder) -> None:
    """intervals.csv, does_it_hold.csv and game_rules.csv; results.h5 of the stance map."""
    write_intervals(folder.path / "intervals.csv", result.draws)
    model_form.write(plan.physics, result.physics, folder)
    stance_map.write(plan.stances, result.stances, folder)
    with csv_table(folder.path / "game_rules.csv", ["rule", "verdict", "number", "why", "changed_by"]) as writer:
        writer.writerows(as_table(rules(result.game, plan.request.opinions.felt)))


def cite(plan: Plan, result: Findings) -> list[str]:
    """What the run rests on."""
    ours = [*sources.cite(plan.request, STATIC), *model_form.cite(plan.physics, result.physics)]
    return list(dict.fromkeys([*ours, *validation.cite(None, list(result.rules))]))


def show(plan: Plan, result: Findings, console: Console) -> None:
    """The answer in five sentences, and what each question comes to; tables and figures are on the page."""
    console.print("The answer", style="bold", markup=False)
    for k, sentence in enumerate(answer(plan, result), 1):
        console.print(f"  {k}. {sentence}", markup=False)
    for finding in answers(plan, result):
        console.print(finding.question, style="bold", markup=False)
        for sentence in finding.sentences:
            console.print(f"  - {sentence}", markup=False)
    console.print(RULES_TITLE, style="bold", markup=False)
    for row in rules(result.game, plan.request.opinions.felt):
        console.print(f"  - {row.rule}: {row.verdict}. {row.number}", markup=False)
