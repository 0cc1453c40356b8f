"""The model against measurements and rules of the trade, against textbooks, and against itself."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.how import first_difference, request_of
from experiments.request.opinions import Felt, read_opinions
from experiments.run.workers import Progress, Workers
from experiments.studies.validation import measured, ours, rocking, textbook, trade
from experiments.studies.validation.checks import Check
from sim.errors import BladeError

KEYS = ()
OF_TRADE = "trade"  # the group that needs the least that can be felt
# name of a group of checks: what computes it; the pages sort rows by part
GROUPS: dict[str, Callable[..., Sequence[Check]]] = {
    "measured friction": measured.measured_friction,
    "friction power": measured.friction_power,
    "hollow and drag": measured.hollow_and_drag,
    "speed": measured.speed_trend,
    "inputs": measured.body_inputs,
    OF_TRADE: trade.trade_rules,
    "hollow": textbook.hollow_section,
    "flat runner": textbook.flat_upright_runner,
    "steady lean": textbook.steady_lean,
    "pressure melting": textbook.pressure_melting,
    "standing": ours.standing_depth,
    "swept groove": ours.swept_groove,
    "film": ours.film_thickness,
    "rocking": rocking.rocking_periods,
}


@dataclass(frozen=True)
class Plan:
    """Which groups of checks are computed, and the least that a skater can feel."""

    felt: Felt
    groups: tuple[str, ...] = tuple(GROUPS)


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError: the checks have states of their own, and take no change but of opinions."""
    opinions = rest["opinions"]
    differs = first_difference(
        request_of(composed(["experiment=validation"])[0] | {"opinions": opinions}), request_of(rest)
    )
    if differs:
        raise BladeError(
            f"{differs}: validation has states of its own and takes no change but opinions, results_dir and workers."
        )
    return Plan(read_opinions(Fields(opinions, "opinions")).felt)


def run(plan: Plan, workers: Workers, progress: Progress) -> list[Check]:
    """All checks, in order."""
    answers = workers.map(group_rows, plan.groups, plan.felt, progress)
    return [_check(row) for rows in answers for row in rows]


def group_rows(felt: Felt, group: str) -> list[dict]:
    """One group of checks as plain values. What a worker does."""
    return [asdict(check) for check in GROUPS[group](*([felt] if group == OF_TRADE else []))]


def _check(row: dict) -> Check:
    """A check from plain values, in which a journal keeps a band as a list."""
    band = row["published"]
    return Check(**{**row, "published": tuple(band) if isinstance(band, list | tuple) else band})
