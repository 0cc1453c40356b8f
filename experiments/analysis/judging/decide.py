"""From draws to a decision on a present blade, or on a pair: verdict, answers to complaints, menu, what to measure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
import scipy

from experiments.analysis.judging.measuring import Worth, first_to_measure, groups_of, worth_of_each
from experiments.analysis.judging.menu import UNKNOWN, Item, Library, Spread, menu, spread
from experiments.analysis.judging.verdict import Evidence, Verdict, harmless, price, together, verdict
from experiments.analysis.judging.weights import drawn_weights, expected_scores, log_gains, weighted
from experiments.request.opinions import Opinions

WEIGHTS_SEED = 14  # with the seed of the draws: weights are drawn apart from all else
ADVISED = ("regrind", "probably")


@dataclass(frozen=True)
class Wanted:
    """What the skater wants. measures: their names, better: lower or higher of each; weights: (measure,), of any sum
    above 0; complaints: (measure,) weights of each; menu: names of the measures that may be wished for one by one."""

    measures: tuple[str, ...]
    better: tuple[str, ...]
    weights: np.ndarray
    complaints: tuple[np.ndarray, ...] = ()
    menu: tuple[str, ...] = ()


@dataclass(frozen=True)
class Present:
    """One present blade and what it might become. values: (draw, 1 + blade, measure), the present blade first, nan
    where one failed; steel_m: (blade,) most steel to remove, m; able: (blade,) whether it can be ground."""

    values: np.ndarray
    steel_m: np.ndarray
    able: np.ndarray


@dataclass(frozen=True)
class Answer:
    """What the list can do about one complaint, by its main measures alone (those of at least half its largest weight).

    kind: advised, where a blade is advised; none_better, helped or open: whether the best blade for this complaint
    is better, by so much that it is worth saying, in one draw of ten at most, in nine of ten, or between. best:
    that blade, -1 where none can be ground; gain: its log2 gain, and advised: that of the advised blade; other: the
    blade that was passed over for its harm, else that of the greatest mean net of those that make this complaint
    worse by more than 2 % in the middle, -1 where there is none; other_gain: what that would do. 5, 50, 95 %.
    """

    kind: str
    best: int
    gain: Spread
    advised: Spread
    other: int
    other_gain: Spread


@dataclass(frozen=True)
class Decision:
    """All that is decided. Places of blades count those after the present one, from 0.

    verdict; order: places of the blades that can be ground and harm no complaint, greatest mean net first; scores:
    (draw, blade) log2 with drawn weights, of a pair the mean of both; gains: (draw, blade, measure) log2, of a pair the
    mean; harmless: (blade,); answers: one a complaint; menu: one line a wish; worths: what could be measured, for a
    case that is open; measure: the one to name, or None.
    """

    verdict: Verdict
    order: tuple[int, ...]
    scores: np.ndarray
    gains: np.ndarray
    harmless: np.ndarray
    answers: tuple[Answer, ...]
    menu: tuple[Item, ...]
    worths: tuple[Worth, ...]
    measure: Worth | None

    @property
    def advised(self) -> bool:
        """Whether a blade is offered, for sure or to try."""
        return self.verdict.kind in ADVISED

    @property
    def first(self) -> np.ndarray:
        """(blade,) share of draws in which each is the best of those in `order` and better than the present blade;
        draws in which one of these failed do not count."""
        out, places = np.zeros(self.scores.shape[1]), list(self.order)
        known = self.scores[np.isfinite(self.scores[:, places]).all(axis=1)][:, places]
        if len(known) and places:
            best = np.where(known.max(axis=1) > 0, known.argmax(axis=1), -1)
            out[places] = [(best == k).mean() for k in range(len(places))]
        return out


def decide(
    presents: Sequence[Present], wanted: Wanted, opinions: Opinions, seed: int,
    columns: Mapping[str, np.ndarray] | None = None, single: np.ndarray | None = None,
) -> Decision:  # fmt: skip
    """The decision on one present blade, or on both of a pair that gets one curve.

    columns: (draw,) drawn inputs by name, for what to measure; single: (blade,) whether a blade is a single radius,
    for the menu. Weights are drawn about those wanted, from the seed.
    """
    each = [log_gains(p.values[:, 1:], p.values[:, 0], list(wanted.better)) for p in presents]
    gains = np.mean(each, axis=0)
    normals = normals_of(gains.shape[0], gains.shape[2], seed)
    weights = drawn_weights(wanted.weights, normals, opinions)
    evidence = reduce(together, [
        Evidence(weighted(weights, g), price(p.steel_m, opinions), p.able, harmless(g, wanted.complaints, opinions))
        for g, p in zip(each, presents)
    ])  # fmt: skip
    found = verdict(evidence, opinions)
    able = evidence.able & np.isfinite(evidence.score).any(axis=0)
    net = np.where(able, _means(evidence.score), -np.inf) - np.where(able, evidence.price, 0.0)
    order = tuple(int(i) for i in np.argsort(-net, kind="stable") if able[i] and evidence.harmless[i])
    steel = np.mean([p.steel_m for p in presents], axis=0)
    lines = _menu(gains, wanted, able, steel, np.zeros(len(able), bool) if single is None else single, opinions)
    worths: list[Worth] = []
    if found.kind == "cannot_tell":
        base = dict(zip(wanted.measures, presents[0].values[:, 0].T))
        worths = _worths(evidence, gains, (wanted, normals), order, (dict(columns or {}), base), opinions, seed)
    return Decision(
        found, order, evidence.score, gains, evidence.harmless,
        tuple(_answer(gains, c, found, net, opinions) for c in wanted.complaints), lines, tuple(worths),
        first_to_measure(worths, opinions),
    )  # fmt: skip


def normals_of(draws: int, columns: int, seed: int) -> np.ndarray:
    """(draw, column) standard normal numbers, a Latin hypercube of its own: not the points that inputs are drawn by."""
    cube = scipy.stats.qmc.LatinHypercube(columns, rng=np.random.default_rng([seed, WEIGHTS_SEED])).random(draws)
    return scipy.special.ndtri(np.clip(cube, 1e-9, 1 - 1e-9))


def main_weights(complaint: np.ndarray, opinions: Opinions) -> np.ndarray:
    """(measure,) weights of sum 1 of a complaint's main measures: those of at least half of its largest weight."""
    kept = np.where(complaint >= opinions.complaint_main_from * np.max(complaint), complaint, 0.0)
    return kept / kept.sum()


def _means(score: np.ndarray) -> np.ndarray:
    """(blade,) means over the draws in which a blade did not fail; -inf where it always did."""
    known = np.isfinite(score)
    sums = np.where(known, score, 0.0).sum(axis=0)
    return np.where(known.any(axis=0), sums / np.maximum(known.sum(axis=0), 1), -np.inf)


def _answer(gains: np.ndarray, complaint: np.ndarray, found: Verdict, net: np.ndarray, opinions: Opinions) -> Answer:
    """One complaint's answer. net: (blade,) mean score less price, -inf where a blade cannot be ground."""
    help_ = weighted(main_weights(complaint, opinions), gains)
    able = np.isfinite(net) & np.isfinite(help_).any(axis=0)
    if not able.any():
        return Answer("none_better", -1, UNKNOWN, UNKNOWN, -1, UNKNOWN)
    medians = np.nanmedian(np.where(np.isfinite(help_[:, able]), help_[:, able], np.nan), axis=0)
    best = int(np.flatnonzero(able)[np.argmax(medians)])
    better = float((help_[:, best] > np.log2(1 + opinions.worth_saying_from)).mean())
    advised = found.best if found.kind in ADVISED else -1
    harm = able & (np.nanmedian(np.where(able, help_, -np.inf), axis=0) < -np.log2(1 + opinions.complaint_worse_by))
    other = found.removed if found.removed >= 0 else int(np.argmax(np.where(harm, net, -np.inf))) if harm.any() else -1
    kind = "advised" if advised >= 0 else "open"
    if advised < 0 and better >= opinions.wish_yes_from:
        kind = "helped"
    elif advised < 0 and better <= opinions.wish_no_up_to:
        kind = "none_better"
    return Answer(
        kind, best, spread(help_[:, best]), spread(help_[:, advised]) if advised >= 0 else UNKNOWN,
        other, spread(help_[:, other]) if other >= 0 else UNKNOWN,
    )  # fmt: skip


def _menu(
    gains: np.ndarray, wanted: Wanted, able: np.ndarray, steel_m: np.ndarray, single: np.ndarray, opinions: Opinions
) -> tuple[Item, ...]:
    """The menu of what may be wished for. No other of the wishes, of what the stated use asks for and of what the
    complaints are about may get worse by more than the cap; main measures of a complaint by less."""
    if not wanted.menu:
        return ()
    main = np.any([np.zeros(len(wanted.measures), bool), *(main_weights(c, opinions) > 0 for c in wanted.complaints)],
                  axis=0)  # fmt: skip
    asked = [name in wanted.menu for name in wanted.measures] | main | (np.asarray(wanted.weights) > 0)
    names = tuple(name for name, of in zip(wanted.measures, asked) if of)
    vetoes = [name for name, of in zip(wanted.measures, main) if of]
    return tuple(menu(Library(gains[:, :, asked], names, able, single, steel_m), wanted.menu, opinions, vetoes=vetoes))


def _worths(
    evidence: Evidence, gains: np.ndarray, wishes: tuple[Wanted, np.ndarray], order: Sequence[int],
    known: tuple[dict[str, np.ndarray], dict[str, np.ndarray]], opinions: Opinions, seed: int,
) -> list[Worth]:  # fmt: skip
    """What each measurement is worth in an open case, over the blades of `order`; which of them harm a complaint is
    taken as it is now. known: drawn inputs and measures of the present blade, (draw,) by name."""
    (wanted, normals), (columns, base), places = wishes, known, list(order)
    used = np.isfinite(evidence.score[:, places]).all(axis=1)
    if not places or used.sum() < 2:
        return []
    prices, all_of_them = evidence.price[places], np.ones(len(places), bool)
    counted = gains[used][:, places] * (np.asarray(wanted.weights) > 0)
    expected = expected_scores(wanted.weights, np.where(np.isfinite(counted), counted, 0.0), opinions)
    groups = groups_of(
        opinions.measurements, {k: v[used] for k, v in columns.items()},
        {k: v[used] for k, v in base.items() if (v[used] > 0).all()}, (normals[used], expected),
    )  # fmt: skip

    def options(score: np.ndarray) -> np.ndarray:
        return np.column_stack([np.zeros(len(score)), score - prices])

    def decided(score: np.ndarray) -> bool:
        return verdict(Evidence(score, prices, all_of_them, all_of_them), opinions).kind != "cannot_tell"

    return worth_of_each(groups, evidence.score[used][:, places], options, decided, seed)
