"""The model against the outside world: published values, textbook formulas, other engines, rules of the trade."""

from collections.abc import Callable
from dataclasses import asdict, dataclass

from experiments.request.compose import composed
from experiments.request.how import first_difference, request_of
from experiments.run.workers import Progress, Workers
from experiments.studies.validation import checks, rocking, trade
from experiments.studies.validation.checks import Check
from sim.errors import BladeError

KEYS = ()
# name of a group of checks: what computes it; in the order of the table
GROUPS: dict[str, Callable[[], list[Check]]] = {
    "hollow": checks.hollow_section,
    "flat runner": checks.flat_upright_runner,
    "hollow and drag": checks.hollow_and_drag,
    "swept groove": checks.swept_groove,
    "film": checks.film_thickness,
    "hockey arc": checks.hockey_arc,
    "measured friction": checks.measured_friction,
    "friction power": checks.friction_power,
    "steady lean": checks.steady_lean,
    "rocking": rocking.rocking_periods,
    "foot": checks.foot_mass,
    "trade": trade.trade_rules,
}


@dataclass(frozen=True)
class Plan:
    """Which groups of checks are computed."""

    groups: tuple[str, ...] = tuple(GROUPS)


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError: the checks have states of their own, and take no change."""
    differs = first_difference(request_of(composed(["experiment=validation"])[0]), request_of(rest))
    if differs:
        raise BladeError(
            f"{differs}: validation has states of its own and takes no change but results_dir and workers."
        )
    return Plan()


def run(plan: Plan, workers: Workers, progress: Progress) -> list[Check]:
    """All checks, in order."""
    answers = workers.map(group_rows, plan.groups, None, progress)
    return [_check(row) for rows in answers for row in rows]


def group_rows(shared: None, group: str) -> list[dict]:
    """One group of checks as plain values. What a worker does."""
    return [asdict(check) for check in GROUPS[group]()]


def _check(row: dict) -> Check:
    """A check from plain values, in which a journal keeps a band as a list."""
    band = row["published"]
    return Check(**{**row, "published": tuple(band) if isinstance(band, list | tuple) else band})
