"""Scores that can be added up by hand: weighted logarithms of ratios to the reference."""

import math

import numpy as np

from experiments.request.objectives import Weighting
from sim.measures import STATIC


def contributions(values: dict[str, float], reference: dict[str, float], scheme: Weighting) -> dict[str, float]:
    """Each measure's part of the score: weight / sum of weights x log2(ratio to the reference, better above 1).

    +1 in all measures means twice as good in each. nan where a measure is missing or not above 0.
    """
    total = sum(scheme.weights.values())
    out = {}
    for name, weight in scheme.weights.items():
        if weight == 0:
            continue
        value, base = values[name], reference[name]
        usable = math.isfinite(value) and math.isfinite(base) and value > 0 and base > 0
        sign = 1.0 if scheme.better[name] == "higher" else -1.0
        out[name] = weight / total * sign * math.log2(value / base) if usable else math.nan
    return out


def score(values: dict[str, float], reference: dict[str, float], scheme: Weighting) -> float:
    """Sum of the contributions; 0 for the reference itself; nan when a part is missing."""
    return sum(contributions(values, reference, scheme).values())


def scores(values: np.ndarray, references: np.ndarray, scheme: Weighting) -> np.ndarray:
    """Score of every candidate in every draw, (draw, candidate); nan when the weighting asks for a rolled measure.

    values: (draw, candidate, measure), references: (draw, measure), measures in the order of STATIC.
    """
    out = np.full(values.shape[:2], math.nan)
    if not set(scheme.weights) <= set(STATIC):
        return out
    for i, (block, base) in enumerate(zip(values, references)):
        reference = dict(zip(STATIC, base))
        for k, row in enumerate(block):
            out[i, k] = score(dict(zip(STATIC, row)), reference, scheme)
    return out
