"""How changes that were advised were found afterwards: counts over all visits of a folder, with exact intervals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from experiments.analysis.judging.decide import ADVISED
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.how import first_difference, request_of
from experiments.request.visits import FOUND, Visit, alike, kept_in
from experiments.run.workers import Progress, Workers
from sim.errors import BladeError

KEYS = ("visits", "least_visits")
ALL = "all"
ADVISED_UNDER = (ALL, *ADVISED)  # verdicts that advise a change, and all of them
CONFIDENCE = 0.90  # of an interval: 5 to 95 %
AS_ADVISED = ("as advised", "advised")  # what the shop may write instead of the recipe


@dataclass(frozen=True)
class Plan:
    """Every visit of the folder, oldest first, and how many answers a claim takes."""

    folder: Path
    visits: tuple[Visit, ...]
    least: int


@dataclass(frozen=True)
class Share:
    """Of the answers, how many were this one; low, high: exact interval of the share, nan where too few answered."""

    found: str
    count: int
    low: float
    high: float


@dataclass(frozen=True)
class Group:
    """Changes advised under one verdict: how many, as advised, otherwise, not noted; and of those done as advised that
    somebody answered for, of how many skaters, what was found."""

    verdict: str
    advised: int
    followed: int
    otherwise: int
    unnoted: int
    answered: int
    skaters: int
    shares: tuple[Share, ...]


@dataclass(frozen=True)
class FollowUp:
    """The groups, all changes first."""

    groups: tuple[Group, ...]


def read(own: dict, rest: dict) -> Plan:
    """Read every visit. Raises BladeError for one that cannot be read, or for a change that means nothing here."""
    fields = Fields(own, "")
    if not fields.has("visits"):
        raise BladeError("visits: name the folder that visits are kept in, for example visits=visits.")
    usual, _ = composed(["experiment=follow_up"])
    differs = first_difference({k: v for k, v in request_of(usual).items() if k not in KEYS}, request_of(rest))
    if differs:
        raise BladeError(f"{differs}: follow_up takes no change but visits, least_visits, results_dir and workers.")
    folder = Path(fields.text("visits"))
    plan = Plan(folder, kept_in(folder), fields.count("least_visits", 1, 100_000))
    fields.done()
    return plan


def run(plan: Plan, workers: Workers, progress: Progress) -> FollowUp:
    """Count."""
    return FollowUp(tuple(group(plan.visits, verdict, plan.least) for verdict in ADVISED_UNDER))


def group(visits: Sequence[Visit], verdict: str, least: int) -> Group:
    """The changes of one verdict, or of all."""
    advised = [v for v in visits if v.new_curve and v.verdict in ADVISED_UNDER and verdict in (ALL, v.verdict)]
    done = [v for v in advised if followed(v)]
    answers = [v for v in done if v.found]
    noted = sum(bool(v.as_left) for v in advised)
    shares = tuple(share(name, sum(v.found == name for v in answers), len(answers), least) for name in FOUND)
    return Group(verdict, len(advised), len(done), noted - len(done), len(advised) - noted, len(answers),
                 len({alike(v.initials) for v in answers}), shares)  # fmt: skip


def followed(visit: Visit) -> bool:
    """Whether the blade left as advised: by those words, or by the recipe's name or form."""
    said = _plain(visit.as_left)
    return bool(said) and said in {*AS_ADVISED, _plain(visit.recipe), _plain(visit.recipe_words)}


def _plain(words: str) -> str:
    return " ".join(words.casefold().split()).rstrip(".")


def share(found: str, count: int, of: int, least: int) -> Share:
    """A count with the exact (Clopper-Pearson) interval of its share; none under `least` answers."""
    if of < least:
        return Share(found, count, math.nan, math.nan)
    import scipy.stats  # takes a second to load

    exact = scipy.stats.binomtest(count, of).proportion_ci(CONFIDENCE, "exact")
    return Share(found, count, float(exact.low), float(exact.high))
