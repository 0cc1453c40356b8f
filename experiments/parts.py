"""From recipe to part: each blade of a request checked against what can be ground, with template, table and drawing."""

from dataclasses import dataclass

from rich.text import Text

from experiments.cases import Request, candidate, request
from experiments.fields import Fields
from experiments.grinding import check, read_grinding
from experiments.store import csv_table
from experiments.template import write_part
from sim.errors import BladeError


@dataclass(frozen=True)
class Part:
    """A blade's name, the folder of its part, and every limit that its recipe breaks, a sentence each."""

    name: str
    folder: str
    limits: tuple[str, ...]


def read_parts(own: dict, rest: dict):
    """Check the request; returns it and what writes the parts."""
    fields, asked = Fields(own, ""), request(rest)
    if len(asked.settings) > 1:
        raise BladeError("skaters: a part is the same for every skater; leave one of them.")
    limits, stock = read_grinding(fields.inner("grinding")), None
    if fields.has("starting_curve"):
        stock = candidate(fields.raw("starting_curve"), rest["blade"], "starting_curve").curve
    fields.done()
    return asked, lambda folder, on_chunk: write(asked, limits, stock, folder, on_chunk)


def write(asked: Request, limits, stock, folder, on_chunk) -> list[Part]:
    """parts/NN/ for each blade, and limits.csv with a line for every limit that one breaks."""
    made = []
    for k, case in enumerate(asked.cases):
        place = folder.path / "parts" / f"{k + 1:02d}"
        place.mkdir(parents=True, exist_ok=True)
        write_part(place, case.candidate, limits)
        found = tuple(check(case.candidate.recipe, limits, stock))
        made.append(Part(case.candidate.name, f"parts/{k + 1:02d}", found))
        on_chunk(k + 1, len(asked.cases))
    with csv_table(folder.path / "limits.csv", ["blade", "folder", "can_be_ground", "limit"]) as writer:
        for part in made:
            for sentence in part.limits or ("",):
                writer.writerow([part.name, part.folder, "no" if sentence else "yes", sentence])
    return made


def show(made: list[Part], asked: Request, console) -> None:
    """Which blade can be ground, and what stands against the others."""
    for part in made:
        words = "can be ground" if not part.limits else f"beyond the limits: {' '.join(part.limits)}"
        console.print(Text(f"{part.folder}  {part.name}: {words}"))
    console.print(Text("At the grinder: guards, eye and lung protection; the grinder maker's limits come first."))
