"""The sheets of a team, as the single command gives them, and one page that leads to them."""

from pathlib import Path

from experiments.report.page import about
from experiments.report.page import write_page as fill
from experiments.run.folder import RunFolder
from experiments.studies.recommend import page as recommend
from experiments.studies.recommend.content import CAUTIONS
from experiments.studies.team.overview import OVERVIEW, row, sheet_name
from experiments.studies.team.study import Plan, Team


def write_page(plan: Plan, team: Team, folder: RunFolder) -> None:
    """sheet-INITIALS.html and .json for each skater who has one, their visits where those are kept; overview.html."""
    for advice in team.advices:
        if advice.found is not None:
            recommend.write_page(advice.skater.plan, advice.found, folder, sheet_name(advice))
    fill(Path(__file__).with_name("overview.html.j2"), folder.path / "overview.html", title="Team", run=about(folder),
         who=f"{len(team.advices)} skaters, {sum(a.found is not None for a in team.advices)} sheets.",
         head=OVERVIEW, rows=[row(advice) for advice in team.advices], cautions=CAUTIONS)  # fmt: skip
