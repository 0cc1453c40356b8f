"""The page of a follow-up: its sentences, and what they do not prove."""

from pathlib import Path

from experiments.report.page import about
from experiments.report.page import write_page as fill
from experiments.run.folder import RunFolder
from experiments.studies.follow_up.sentences import NO_PROOF, TITLE, sentences
from experiments.studies.follow_up.study import FollowUp, Plan


def write_page(plan: Plan, result: FollowUp, folder: RunFolder) -> None:
    """follow_up.html."""
    said = {"sentences": sentences(plan, result.groups), "warnings": NO_PROOF}
    template, out = Path(__file__).with_name("follow_up.html.j2"), folder.path / "follow_up.html"
    fill(template, out, title=TITLE, who="", run=about(folder), **said)
