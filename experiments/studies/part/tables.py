"""What a part study leaves: a folder for each blade, and every limit that one breaks."""

from rich.console import Console
from rich.text import Text

from experiments.report.part.folder import write_part
from experiments.report.sources import GEOMETRY, INVENTED
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.part.study import Part, Plan


def write(plan: Plan, parts: list[Part], folder: RunFolder) -> None:
    """parts/NN/ for each blade, and limits.csv with a line for every limit that one breaks."""
    for part in parts:
        place = folder.path / part.folder
        place.mkdir(parents=True, exist_ok=True)
        write_part(place, part.candidate, plan.limits)
    with csv_table(folder.path / "limits.csv", ["blade", "folder", "can_be_ground", "limit"]) as table:
        for part in parts:
            for sentence in part.limits or ("",):
                table.writerow([part.candidate.name, part.folder, "no" if sentence else "yes", sentence])


def cite(plan: Plan, parts: list[Part]) -> list[str]:
    """What the run rests on: geometry alone."""
    return [GEOMETRY, INVENTED]


def show(plan: Plan, parts: list[Part], console: Console) -> None:
    """Which blade can be ground, and what stands against the others."""
    for part in parts:
        words = "can be ground" if not part.limits else f"beyond the limits: {' '.join(part.limits)}"
        console.print(Text(f"{part.folder}  {part.candidate.name}: {words}"))
    console.print(Text("At the grinder: guards, eye and lung protection; the grinder maker's limits come first."))
