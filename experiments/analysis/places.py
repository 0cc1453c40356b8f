"""Where on the blade a measure is taken: load lines of static states."""

from collections.abc import Mapping, Sequence

from sim.measures import REGISTRY
from sim.trial import State


def load_lines(names: Sequence[str], states: Mapping[str, State]) -> list[float]:
    """Nominal load line, m from mid-runner, of the state of each measure that is taken at a static state."""
    return [states[REGISTRY[name].state].line_m for name in names if REGISTRY[name].state in states]
