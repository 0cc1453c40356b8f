"""Where on the blade a measure is taken: load lines of static states, and pairs that are measured at two of them."""

from collections.abc import Mapping, Sequence

from sim.measures import REGISTRY
from sim.trial import State

PLACES_APART_M = 0.020  # load lines further apart than this are two places of the blade; an assumption of ours


def load_lines(names: Sequence[str], states: Mapping[str, State]) -> list[float]:
    """Nominal load line, m from mid-runner, of the state of each measure that is taken at a static state."""
    return [states[REGISTRY[name].state].line_m for name in names if REGISTRY[name].state in states]


def measured_at_two_places(pair: Sequence[str], states: Mapping[str, State]) -> bool:
    """Whether the two measures of a pair are taken where the blade is loaded at places more than 20 mm apart.

    Zones then leave the single-radius line almost by construction, each serving one measure. A measure of a movement,
    or of the curve alone, has no one place: False. 20 mm itself is one place.
    """
    lines = load_lines(pair, states)
    return len(lines) == 2 and abs(lines[0] - lines[1]) > PLACES_APART_M * (1 + 1e-9)
