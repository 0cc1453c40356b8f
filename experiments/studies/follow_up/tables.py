"""What a follow-up leaves: follow_up.csv; its sentences on screen."""

import math

from rich.console import Console

from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.follow_up.sentences import NO_PROOF, sentences
from experiments.studies.follow_up.study import FollowUp, Plan


def write(plan: Plan, result: FollowUp, folder: RunFolder) -> None:
    """follow_up.csv: counts, and shares with their exact intervals where enough answered."""
    head = ["verdict", "advised", "as_advised", "otherwise", "not_noted", "answered", "skaters", "found", "count",
            "share", "q05", "q95"]  # fmt: skip
    with csv_table(folder.path / "follow_up.csv", head) as table:
        for group in result.groups:
            counts = group.advised, group.followed, group.otherwise, group.unnoted, group.answered, group.skaters
            for share in group.shares:
                part = share.count / group.answered if math.isfinite(share.low) else math.nan
                table.writerow([group.verdict, *counts, share.found, share.count, part, share.low, share.high])


def cite(plan: Plan, result: FollowUp) -> list[str]:
    """What the run rests on: answers of people, nothing of the model."""
    return ["Visits as the shop kept them; exact binomial intervals (Clopper & Pearson 1934, value from memory)."]


def show(plan: Plan, result: FollowUp, console: Console) -> None:
    """The sentences, and what they do not prove."""
    for words in (*sentences(plan, result.groups), "", *NO_PROOF):
        console.print(words, markup=False)
