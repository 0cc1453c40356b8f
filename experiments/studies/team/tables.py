"""What a team's run leaves besides its sheets: overview.csv; the same table on screen."""

from rich.console import Console

from experiments.report.tables import terminal_table
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.recommend.content import cite as cite_sheet
from experiments.studies.team.overview import OVERVIEW, row
from experiments.studies.team.study import Plan, Team

ON_SCREEN = ("initials", "present curve", "verdict", "advised recipe", "steel to remove at most, mm", "reason")


def write(plan: Plan, team: Team, folder: RunFolder) -> None:
    """overview.csv, a row a skater."""
    with csv_table(folder.path / "overview.csv", OVERVIEW) as table:
        for advice in team.advices:
            table.writerow([row(advice)[name] for name in OVERVIEW])


def cite(plan: Plan, team: Team) -> list[str]:
    """What the sheets rest on."""
    each = [cite_sheet(a.skater.plan, a.found) for a in team.advices if a.found is not None]
    return list(dict.fromkeys(line for lines in each for line in lines))


def show(plan: Plan, team: Team, console: Console) -> None:
    """The overview in the terminal."""
    table = terminal_table(None, ON_SCREEN, left=range(len(ON_SCREEN)))
    for advice in team.advices:
        cells = row(advice)
        table.add_row(*(cells[name] for name in ON_SCREEN))
    console.print(table)
    missing = sum(advice.found is None for advice in team.advices)
    if missing:
        console.print(f"{missing} of {len(team.advices)} have no sheet; the reason stands in their row.")
    books = [a.skater.plan.book for a in team.advices if a.found is not None and a.skater.plan.book]
    if books:
        console.print(f"Visits kept in {books[0].folder}; fill in as_left, found and words there.", markup=False)
    console.print("At the grinder: guards, eye and lung protection. First session slowly. Page: overview.html")
