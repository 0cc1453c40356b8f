"""What is said of a blade against every single radius, from its frontier gain in many draws."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from experiments.request.opinions import Opinions
from sim.measures import REGISTRY
from sim.trial import State

TWO_PLACES_M = 0.020  # load lines further apart than this are two places of the blade; an assumption of ours


@dataclass(frozen=True)
class Statement:
    """kind: beyond, on_the_line, inside, not_beyond, cannot_tell or unknown. Shares of the draws in which the gain is
    known: share_beyond G > 1 + eps, share_on abs(G - 1) <= eps, share_inside G < 1 - eps; they add up to 1. median: of
    G over those draws, which is not the nominal G: two numbers with two names. All nan where nothing is known."""

    kind: str
    share_beyond: float
    share_on: float
    share_inside: float
    median: float


def statement(gain_samples: Sequence[float], opinions: Opinions) -> Statement:
    """The statement for (draw,) frontier gains G of one blade for one pair; draws in which G is nan do not count.

    First that holds: beyond, where G is sure to lie past the line; then, with hardly a draw past it, on_the_line,
    inside, or at least not_beyond; else cannot_tell, with its shares.
    """
    gain = np.asarray(gain_samples, float)
    known = gain[np.isfinite(gain)]
    if not len(known):
        return Statement("unknown", math.nan, math.nan, math.nan, math.nan)
    eps, sure = opinions.line_within, opinions.line_sure
    past, short = known > 1 + eps, known < 1 - eps
    beyond, inside = float(past.mean()), float(short.mean())
    on = float((~past & ~short).mean())
    if beyond >= sure:
        kind = "beyond"
    elif past.sum() > round((1 - sure) * len(known), 9):  # counted, so that one draw in twenty is not 0.05 + 1e-17
        kind = "cannot_tell"
    elif on >= opinions.line_mostly:
        kind = "on_the_line"
    else:
        kind = "inside" if inside >= sure else "not_beyond"
    return Statement(kind, beyond, on, inside, float(np.median(known)))


def measured_at_two_places(pair: Sequence[str], states: Mapping[str, State]) -> bool:
    """Whether the two measures of a pair are taken where the blade is loaded at places more than 20 mm apart.

    states: static states by name, with their nominal load lines, m. Zones then leave the single-radius line almost by
    construction, each serving one measure. A measure of a movement, or of the curve alone, has no one place: False.
    """
    lines = [states[REGISTRY[name].state].line_m for name in pair if REGISTRY[name].state in states]
    return len(lines) == 2 and abs(lines[0] - lines[1]) > TWO_PLACES_M * (1 + 1e-9)  # 20 mm itself is one place
