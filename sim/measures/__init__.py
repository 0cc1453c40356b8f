"""The measures of a blade: the registry, filled in the order in which tables show them."""

from sim.measures import skating, starts_and_stops  # noqa: I001  in the order of the tables
from sim.measures import balance
from sim.measures.balance import SETTLED
from sim.measures.registry import REGISTRY, ROLLED_STATES, Measure, evaluate

__all__ = [
    "REGISTRY", "ROLLED_STATES", "SETTLED", "STATIC", "Measure", "balance", "evaluate", "skating", "starts_and_stops",
]  # fmt: skip

STATIC = tuple(m.name for m in REGISTRY.values() if m.state not in (*ROLLED_STATES, "blade"))  # those that need no roll
