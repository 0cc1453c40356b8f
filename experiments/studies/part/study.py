"""From recipe to part: each blade of a request checked against what can be ground."""

from dataclasses import dataclass

from experiments.analysis.grinding import Grinding, check, read_grinding
from experiments.request.blade import read_candidate
from experiments.request.comparison import Request, read_request
from experiments.request.fields import Fields
from experiments.run.workers import Progress, Workers
from sim.blade.curve import BladeCurve
from sim.errors import BladeError
from sim.trial import Candidate

KEYS = ("grinding", "starting_curve")


@dataclass(frozen=True)
class Plan:
    """The blades, what can be ground, and the curve that they are ground out of, if one was stated."""

    request: Request
    limits: Grinding
    stock: BladeCurve | None


@dataclass(frozen=True)
class Part:
    """A blade, the folder of its part, and every limit that its recipe breaks, a sentence each."""

    candidate: Candidate
    folder: str
    limits: tuple[str, ...]


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError."""
    fields, request = Fields(own, ""), read_request(rest)
    if len(request.settings) > 1:
        raise BladeError("skaters: a part is the same for every skater; leave one of them.")
    limits, stock = read_grinding(fields.inner("grinding")), None
    if fields.has("starting_curve"):
        stock = read_candidate(fields.raw("starting_curve"), rest["blade"], "starting_curve").curve
    fields.done()
    return Plan(request, limits, stock)


def run(plan: Plan, workers: Workers, progress: Progress) -> list[Part]:
    """Every limit that each blade breaks."""
    return [
        Part(candidate, f"parts/{k + 1:02d}", tuple(check(candidate.recipe, plan.limits, plan.stock)))
        for k, candidate in enumerate(plan.request.candidates)
    ]
