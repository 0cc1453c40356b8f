"""Differences between two blades in words: what cannot be told, what is too small to feel, what is left."""

import math
from collections.abc import Sequence

import numpy as np

from experiments.analysis.judging.intervals import excludes
from experiments.report.words import change_text
from experiments.studies.validation.trade import FELT_RATIO
from sim.measures import REGISTRY

NOT_COMPUTED = "could not be computed, no draw gave a value"
CLOSE, SMALL = "too close to call", "too small to feel"
FELT_WORDS = (
    f"Too close to call: the interval holds no change. Too small to feel: it holds only changes of less than "
    f"{100 * (FELT_RATIO - 1):.0f} % either way (an assumption of ours)."
)


def label(name: str) -> str:
    """A measure in words."""
    return REGISTRY[name].label


def kind_of_difference(spread: Sequence[float]) -> str:
    """unknown, close, small or plain, for an interval (5, 50, 95 %) of a log ratio of two blades.

    close: it holds no change; small: it does not, but lies within what can be felt (assumed) on either side.
    """
    if not np.isfinite(spread).all():
        return "unknown"
    if not excludes(spread):
        return "close"
    return "small" if max(abs(spread[0]), abs(spread[2])) < math.log(FELT_RATIO) else "plain"


def difference_text(spread: Sequence[float]) -> str:
    """The same in words, with the interval as changes in per cent."""
    kind = kind_of_difference(spread)
    if kind == "unknown":
        return NOT_COMPUTED
    low, middle, high = map(change_text, np.exp(spread))
    head = {"close": CLOSE, "small": f"{middle}, {SMALL}", "plain": middle}[kind]
    return f"{head} ({low} to {high})"
