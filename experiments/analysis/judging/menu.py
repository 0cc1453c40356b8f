"""Menu by wish: for each thing a skater may want, the blade that gives most of it at a stated price in all the rest."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.request.opinions import Opinions

Spread = tuple[float, float, float]  # 5, 50, 95 % of a log2 gain
UNKNOWN: Spread = (math.nan, math.nan, math.nan)


@dataclass(frozen=True)
class Library:
    """Blades that a menu is chosen from. gains: (draw, blade, measure) log2 against the present blade, better above 0,
    nan where the blade failed; measures: their names; able: (blade,) whether it can be ground; single: (blade,) whether
    it is a single radius; steel_m: (blade,) steel to remove."""

    gains: np.ndarray
    measures: tuple[str, ...]
    able: np.ndarray
    single: np.ndarray
    steel_m: np.ndarray


@dataclass(frozen=True)
class Item:
    """One line of the menu. answer: yes, no or open; blade: its place, -1 where none keeps the caps.

    sure: share of draws in which the wish gains more than is worth saying; gain: of the wish, and others: of every
    other measure, 5, 50, 95 % of log2; harm: greatest share of draws, over the other measures, in which one loses
    more than its cap; steel_m. single: the best single radius, with single_gain; zones_add, zones_sure: what the
    blade has over it, and how surely that is worth saying; serves: measures in which it is surely better by so much
    than that radius. All judged on draws that it was not chosen on.
    """

    wish: str
    answer: str
    blade: int
    sure: float = math.nan
    gain: Spread = UNKNOWN
    others: tuple[tuple[str, Spread], ...] = ()
    harm: float = math.nan
    steel_m: float = math.nan
    single: int = -1
    single_gain: Spread = UNKNOWN
    zones_add: Spread = UNKNOWN
    zones_sure: float = math.nan
    serves: tuple[str, ...] = ()

    @property
    def one_number_only(self) -> bool:
        """Whether zones help in what is wished and in nothing else: said beside them."""
        return self.serves == (self.wish,)


def menu(
    library: Library, wishes: Sequence[str], opinions: Opinions, cap: float | None = None, vetoes: Sequence[str] = ()
) -> list[Item]:
    """The menu in the order of the wishes, each the name of a measure. cap: most that any other measure may lose (a
    share; the opinion when not given); vetoes: measures that may lose less.

    Chosen on the first half of the draws (of Sobol points a net of its own) and judged on the second: the best of many
    looks better than it is on the draws that made it best.
    """
    shares = np.full(len(library.measures), opinions.cap if cap is None else cap)
    for name in vetoes:
        i = library.measures.index(name)
        shares[i] = min(shares[i], opinions.veto_cap)
    caps = -np.log2(1 + shares)
    known = library.gains[np.isfinite(library.gains).any(axis=(1, 2))]
    chosen_on, judged_on = known[: len(known) // 2], known[len(known) // 2 :]
    if not len(chosen_on):
        return [Item(wish, "open", -1) for wish in wishes]
    return [_item(library, library.measures.index(wish), caps, chosen_on, judged_on, opinions) for wish in wishes]


def _item(
    library: Library, k: int, caps: np.ndarray, chosen_on: np.ndarray, judged_on: np.ndarray, opinions: Opinions
) -> Item:
    """One line: k is the place of the measure wished for."""
    wish, least = library.measures[k], math.log2(1 + opinions.worth_saying_from)
    fit = library.able & (worst_harm(chosen_on, k, caps) <= opinions.cap_harm_up_to)
    best = _greatest(chosen_on[:, :, k], fit)
    if best < 0:
        return Item(wish, "no", -1)
    single = _greatest(chosen_on[:, :, k], fit & library.single)
    gains = judged_on[:, best]
    sure = float((gains[:, k] > least).mean())
    others = tuple((name, spread(gains[:, j])) for j, name in enumerate(library.measures) if j != k)
    answer = "yes" if sure >= opinions.wish_yes_from else "no" if sure <= opinions.wish_no_up_to else "open"
    harm = float(worst_harm(judged_on[:, [best]], k, caps)[0])
    beside: dict = {}
    if single >= 0:
        over = gains - judged_on[:, single]
        shares = (over > least).mean(axis=0)
        surely = tuple(n for n, p in zip(library.measures, shares) if p >= opinions.wish_yes_from)
        beside = {"single": single, "single_gain": spread(judged_on[:, single, k]), "zones_add": spread(over[:, k]),
                  "zones_sure": float(shares[k]), "serves": surely}  # fmt: skip
    return Item(wish, answer, best, sure, spread(gains[:, k]), others, harm, float(library.steel_m[best]), **beside)


def worst_harm(gains: np.ndarray, k: int, caps: np.ndarray) -> np.ndarray:
    """(blade,) greatest share of draws, over all measures but k, with a gain below its cap; a failed draw is below.

    gains: (draw, blade, measure) log2; caps: (measure,) log2, below 0. 0 where k is the only measure.
    """
    below = (~(gains >= caps)).mean(axis=0)
    return np.delete(below, k, axis=1).max(axis=1, initial=0.0)


def _greatest(gains: np.ndarray, fit: np.ndarray) -> int:
    """The blade of the greatest median among the fit, from (draw, blade) gains, a failed draw at the bottom; or -1."""
    medians = np.median(np.where(np.isfinite(gains), gains, -np.inf), axis=0)
    medians = np.where(fit, medians, -np.inf)
    return int(np.argmax(medians)) if np.isfinite(medians).any() else -1


def spread(samples: np.ndarray) -> Spread:
    """5, 50, 95 % of (draw,) samples, over those known."""
    known = samples[np.isfinite(samples)]
    if not len(known):
        return UNKNOWN
    low, middle, high = np.quantile(known, (0.05, 0.5, 0.95))
    return float(low), float(middle), float(high)
