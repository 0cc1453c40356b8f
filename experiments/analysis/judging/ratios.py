"""How each measure moves against the blade as measured, and which measures decide a score."""

import math

import numpy as np

from experiments.analysis.draws import Draws, intervals
from experiments.request.objectives import Weighting
from sim.measures import STATIC

DECIDING = 3  # measures that are named as those that decide a score


def ratios(draws: Draws, name: str, index: int) -> np.ndarray | None:
    """5, 50, 95 % of a measure's ratio to the blade as measured, same draw; None when some blade never has it."""
    both = draws.values[:, [index, 0], STATIC.index(name)]
    if not (np.isfinite(both).any(axis=0).all() and (both[np.isfinite(both)] > 0).all()):
        return None
    return intervals(both[:, 0] / both[:, 1])


def deciding(draws: Draws, scheme: Weighting, index: int) -> list[str]:
    """The measures that decide the score of a blade: largest median part first."""
    parts = {}
    for name, weight in scheme.weights.items():
        ratio = ratios(draws, name, index)
        if ratio is not None and weight > 0:
            parts[name] = weight * abs(math.log(ratio[1]))
    return sorted(parts, key=lambda name: -parts[name])[:DECIDING]
