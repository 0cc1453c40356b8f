"""Every judgement and every threshold: which curve, by which numbers, what is clear, what is undecided.

All functions here are pure: intervals and samples in, a plain word of judgement out. report/words.py has the sentences.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.analysis.draws import Draws, intervals, ranks
from experiments.request.objectives import Weighting
from sim.blade.stock import Removal
from sim.measures import STATIC

BEYOND = 1.005  # a frontier gain below this is the resolution of the single-radius line, not a gain
INSIDE = 2 - BEYOND  # a gain below this is as far short of the line as BEYOND is past it
ROUNDED = 5e-4  # a bound nearer to a ratio of 1 than this is printed as 1.000
FELT = 0.01  # a change of less than this is not worth a sentence
ALIKE = math.log(1.01)  # two measures are alike when the whole interval of their log ratio lies within this
SLIGHT = 0.005  # a ratio nearer to 1 than this is not listed
ORDER_KEPT, ORDER_PARTLY_KEPT = 0.8, 0.4  # least Kendall's tau
NEAR_CROWN_M = 10e-6  # a groove this near to the crown of the hollow glides on one film or on two
LARGE_CHANGE = 0.08  # log ratio of a measure from which a skater needs several sessions
DECIDING = 3  # measures that are named as those that decide a score


@dataclass(frozen=True)
class Choice:
    """One blade that might be recommended. score: 5, 50, 95 % against the blade as measured; first: share of draws in
    which it comes first of those that can be ground; refused: why it cannot be ground, or empty."""

    index: int
    name: str
    score: np.ndarray
    first: float
    steel: Removal | None
    refused: str


@dataclass(frozen=True)
class Verdict:
    """kind: change, refresh, keep, too_close or none. best: the blade to grind, or the nearest to it; second: runner-up
    or None; apart: 5, 50, 95 % of the score between the two."""

    kind: str
    best: Choice
    second: Choice | None
    apart: np.ndarray | None

    @property
    def advised(self) -> bool:
        """Whether a regrind is advised."""
        return self.kind in ("change", "refresh")


def choices(draws: Draws, steel: Sequence[Removal | None], refused: Sequence[str]) -> list[Choice]:
    """Every blade of the draws; the first is the blade as measured. Draws with a missing score do not count."""
    able = [i for i in range(len(draws.candidates)) if not refused[i] and np.isfinite(draws.score[:, i]).any()]
    first = np.zeros(len(draws.candidates))
    if np.isfinite(draws.score[:, able]).all(axis=1).any():
        first[able] = (ranks(draws.score[:, able], "higher") == 1).mean(axis=0)
    spread = intervals(draws.score)
    return [Choice(i, name, spread[:, i], float(first[i]), steel[i], refused[i])
            for i, name in enumerate(draws.candidates)]  # fmt: skip


def judge(draws: Draws, all_choices: Sequence[Choice], refreshed: int, worth: float) -> Verdict:
    """The verdict. A regrind is advised only where the whole interval of its score lies above that of the blade as it
    is (0), and its middle above log2(worth): steel once ground away is gone."""
    usable = [x for x in all_choices[1:] if not x.refused and np.isfinite(x.score).all()]
    if not usable:
        return Verdict("none", all_choices[0], None, None)
    best, second, *_ = [*sorted(usable, key=lambda x: -x.score[1]), None]
    apart = intervals(draws.score[:, best.index] - draws.score[:, second.index]) if second else None
    if best.score[0] > 0 and best.score[1] > math.log2(worth):
        kind = "refresh" if best.index == refreshed else "change"
    else:
        kind = "keep" if best.score[2] < 0 else "too_close"
    return Verdict(kind, best, second, apart)


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


def excludes(spread: Sequence[float], value: float = 0.0) -> bool:
    """Whether a value lies outside an interval (5, 50, 95 %); its bounds belong to the interval."""
    return not spread[0] <= value <= spread[2]


def clear(ratio: Sequence[float]) -> bool:
    """Whether the whole interval lies on one side of one, by more than what is printed as one."""
    return bool(ratio[0] > 1 + ROUNDED or ratio[2] < 1 - ROUNDED)


def felt(ratio: Sequence[float]) -> bool:
    """Whether a change is clear and large enough to be worth a sentence."""
    return clear(ratio) and abs(ratio[1] - 1) >= FELT


def side(ratio: Sequence[float], better: str) -> str:
    """better, worse or undecided, for an interval of a ratio of which `better` is lower or higher."""
    if not clear(ratio):
        return "undecided"
    return "better" if (ratio[1] < 1) == (better == "lower") else "worse"


def against_line(gain: Sequence[float]) -> str:
    """beyond, inside, undecided or unknown, for an interval (5, 50, 95 %) of a frontier gain."""
    if not np.isfinite(gain).all():
        return "unknown"
    return "beyond" if gain[0] > BEYOND else "inside" if gain[2] < INSIDE else "undecided"


def share_beyond(gain: np.ndarray) -> float:
    """Share of the known gains that lie beyond the line."""
    return float(np.mean(gain[np.isfinite(gain)] > BEYOND)) if np.isfinite(gain).any() else math.nan


def alike(spread: Sequence[float]) -> bool:
    """Whether the whole interval of a log ratio lies within 1 %."""
    return bool(spread[0] > -ALIKE and spread[2] < ALIKE)


def order_kept(tau: float) -> str:
    """kept, partly, lost or unknown, by Kendall's tau between two orders."""
    if not math.isfinite(tau):
        return "unknown"
    return "kept" if tau > ORDER_KEPT else "partly" if tau > ORDER_PARTLY_KEPT else "lost"


def near_crown(groove_m: float, crown_m: float) -> bool:
    """Whether a groove is so near to the crown of the hollow that one water film and two are a small change apart."""
    return abs(groove_m - crown_m) < NEAR_CROWN_M


def large_change(all_ratios: Sequence[np.ndarray | None]) -> bool:
    """Whether any clear change among these ratios is one that takes several sessions to get used to."""
    sure = [abs(math.log(ratio[1])) for ratio in all_ratios if ratio is not None and clear(ratio)]
    return max(sure, default=0.0) > LARGE_CHANGE
