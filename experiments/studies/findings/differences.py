"""Differences between two blades in words: what cannot be told, what is too small to feel, what is left."""

import math
from collections.abc import Sequence

import numpy as np

from experiments.analysis.judging.intervals import excludes
from experiments.report.words import change_text
from experiments.request.opinions import Felt
from sim.measures import REGISTRY

NOT_COMPUTED = "could not be computed, no draw gave a value"
CLOSE, SMALL, NOTHING_FELT = "too close to call", "too small to feel", "no difference that can be felt"


def felt_words(felt: Felt) -> str:
    """What the words of a difference mean."""
    return (
        f"What can be felt: {felt.percent} either way (an assumption of ours). Too close to call: the interval crosses "
        "zero and reaches what can be felt. No difference that can be felt: it crosses zero and stays below that. Too "
        "small to feel: it lies on one side of zero and stays below that."
    )


def label(name: str) -> str:
    """A measure in words."""
    return REGISTRY[name].label


def kind_of_difference(spread: Sequence[float], felt: Felt) -> str:
    """unknown, close, none, small or plain, for an interval (5, 50, 95 %) of a log ratio of two blades.

    close: it holds no change, and one that can be felt (assumed) on some side; none: no change, and none to be felt,
    which is a decided case; small: a sure change that lies within what cannot be felt.
    """
    if not np.isfinite(spread).all():
        return "unknown"
    within = max(abs(spread[0]), abs(spread[2])) < math.log(felt.ratio)
    if not excludes(spread):
        return "none" if within else "close"
    return "small" if within else "plain"


def difference_text(spread: Sequence[float], felt: Felt) -> str:
    """The same in words, with the interval as changes in per cent."""
    kind = kind_of_difference(spread, felt)
    if kind == "unknown":
        return NOT_COMPUTED
    low, middle, high = map(change_text, np.exp(spread))
    head = {"close": CLOSE, "none": NOTHING_FELT, "small": f"{middle}, {SMALL}", "plain": middle}[kind]
    return f"{head} ({low} to {high})"


def bought(costs: np.ndarray) -> np.ndarray:
    """(step,) whether one cost is bought with the other from each single radius to the next; empty where (radius, 2)
    costs are not all known and above 0."""
    if not (np.isfinite(costs).all() and (costs > 0).all()):
        return np.zeros(0, bool)
    steps = np.diff(np.log(costs), axis=0)
    return steps[:, 0] * steps[:, 1] < 0
