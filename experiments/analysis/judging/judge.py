"""The first rule of a regrind: the whole interval of its score above that of the blade as it is, and worth the steel.

`verdict` beside it is the rule that takes its place.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.analysis.draws import Draws, intervals, ranks
from sim.blade.stock import Removal


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
