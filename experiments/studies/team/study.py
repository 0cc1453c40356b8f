"""A whole team in one run: a recommendation for each row of a roster, and why there is none where a trace is none."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from experiments.analysis.grinding import read_grinding
from experiments.analysis.shop import read_steps
from experiments.request.blade import read_candidate
from experiments.request.comparison import read_stated
from experiments.request.fields import Fields
from experiments.request.gauge.units import HEIGHT_UNITS, POSITION_UNITS
from experiments.request.recipe_files import own_folder
from experiments.request.roster import TRACE_FILES, Row, read_roster
from experiments.request.uncertainty import read_sampling
from experiments.request.visits import read_book
from experiments.run.journal import Halted
from experiments.run.workers import Progress, Workers
from experiments.studies.recommend import study as recommend
from experiments.studies.recommend.steel import read_heights
from experiments.studies.recommend.use import read_needs
from sim.errors import BladeError

KEYS = (*recommend.KEYS, "roster")
# What a refusal quotes of a file: the roster of a run folder from elsewhere may name any file of this machine, and what
# stands in one must not end up in that folder.
QUOTED = re.compile(r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"")


@dataclass(frozen=True)
class Skater:
    """One row of the roster: its recommendation's plan, or why there is none (a bad trace)."""

    initials: str
    trace: str
    plan: recommend.Plan | None
    reason: str


@dataclass(frozen=True)
class Plan:
    """The skaters, in the order of the roster."""

    skaters: tuple[Skater, ...]


@dataclass(frozen=True)
class Advice:
    """What came of one skater: a recommendation, or why there is none."""

    skater: Skater
    found: recommend.Recommendation | None
    reason: str


@dataclass(frozen=True)
class Team:
    """What came of all, in the order of the roster."""

    advices: tuple[Advice, ...]

    @property
    def answered(self) -> bool:
        """Whether there is a sheet for anybody."""
        return any(advice.found is not None for advice in self.advices)


def read(own: dict, rest: dict) -> Plan:
    """Check the roster and all that it says, then read the traces. Raises BladeError for whatever the roster says
    wrongly; a trace that cannot be read is a skater with a reason."""
    fields = Fields(own, "")
    for key in (*TRACE_FILES, "initials"):
        if fields.has(key):
            raise BladeError(f"{key}: of a team it stands in the roster, a row a skater; leave it out here.")
    if not fields.has("roster"):
        raise BladeError("roster: name the file of the team, for example roster=team.csv.")
    rows = read_roster(str(fields.raw("roster")))
    asked = [row.asked({key: value for key, value in {**own, **rest}.items() if key != "roster"}) for row in rows]
    for row, config in zip(rows, asked):
        try:
            check_values(*_parted(config))
        except BladeError as refusal:
            raise BladeError(f"{row.where}: {refusal}") from None
    return Plan(tuple(_skater(row, config) for row, config in zip(rows, asked)))


def _parted(config: dict) -> tuple[dict, dict]:
    """A config as recommend.read takes it: its own keys, and the rest."""
    own = {key: config[key] for key in recommend.KEYS if key in config}
    return own, {key: value for key, value in config.items() if key not in own}


def check_values(own: dict, rest: dict) -> None:
    """Refuse what is said of a skater, a trace apart. Raises BladeError."""
    fields = Fields(own, "")
    stated = read_stated(rest, own_folder(str(fields.raw("shop")) if fields.has("shop") else None))
    read_needs(fields.inner("use"), fields.inner("wishes"), fields.raw("says"), fields.raw("stands"))
    read_book(fields), read_sampling(fields, 16), read_grinding(fields.inner("grinding")), read_steps(fields)
    heights = fields.raw("runner_height") if fields.has("runner_height") else ""
    read_heights(fields, len(heights) if isinstance(heights, list) else 1)
    for key in ("least_height", "runner_length"):
        if fields.has(key):
            fields.quantity(key, "m")
    fields.choice("trace_unit", POSITION_UNITS), fields.choice("height_unit", HEIGHT_UNITS), fields.flag("gauge_level")
    if fields.has("ground_as"):
        read_candidate(fields.raw("ground_as"), stated.blade, "ground_as")


def _skater(row: Row, config: dict) -> Skater:
    trace = str(row.values["trace"])
    try:
        return Skater(row.initials, trace, recommend.read(*_parted(config)), "")
    except BladeError as refusal:
        return Skater(row.initials, trace, None, QUOTED.sub("...", str(refusal)))


def run(plan: Plan, workers: Workers, progress: Progress) -> Team:
    """A recommendation for each; every draw is kept as it is known. Raises Halted where the machine gives out."""
    return Team(tuple(_advice(plan.skaters, k, workers, progress) for k in range(len(plan.skaters))))


def _advice(skaters: Sequence[Skater], k: int, workers: Workers, progress: Progress) -> Advice:
    skater = skaters[k]
    if skater.plan is None:
        return Advice(skater, None, skater.reason)
    try:
        found = recommend.run(skater.plan, workers, lambda done, of: progress(k * of + done, len(skaters) * of))
        return Advice(skater, found, "")
    except Halted:
        raise
    except BladeError as refusal:
        return Advice(skater, None, str(refusal))
