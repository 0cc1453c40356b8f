"""Regrind, perhaps, leave or cannot tell: the verdict on a present blade, or on a pair, with its reason."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.request.opinions import Opinions

KINDS = ("regrind", "probably", "leave", "cannot_tell")
REASONS = ("", "nothing_helps_without_harm", "makes_no_difference", "below_the_price", "better_as_it_is",
           "nothing_can_be_ground")  # fmt: skip
MM_PER_METRE = 1e3


@dataclass(frozen=True)
class Evidence:
    """What a verdict is made from, all against the present blade in the same draw.

    score: (draw, blade) log2, nan where the blade failed; a draw in which the present blade failed is nan for all, and
    does not count. price: (blade,) log2, what a regrind must earn. able: (blade,) whether it can be ground. harmless:
    (blade,) whether it harms no complaint. The present blade itself is not among the blades.
    """

    score: np.ndarray
    price: np.ndarray
    able: np.ndarray
    harmless: np.ndarray


@dataclass(frozen=True)
class Verdict:
    """kind: one of KINDS; reason: one of REASONS, not empty for leave alone. best: place of the blade meant, -1: none.

    better: share of draws in which it beats the present blade; pays: in which it earns its price; net: mean log2 score
    less price; spread: 5, 50, 95 % of its log2 score; removed: place of a blade that was passed over because it harms
    a complaint though it would have been offered, -1: none.
    """

    kind: str
    reason: str
    best: int
    better: float
    pays: float
    net: float
    spread: tuple[float, float, float]
    removed: int


def price(steel_m: np.ndarray, opinions: Opinions) -> np.ndarray:
    """(blade,) log2 of what a regrind must earn: the visit, and the steel that it takes, m (most of its depth)."""
    visit, steel = math.log2(opinions.price_of_a_visit), math.log2(opinions.price_per_mm)
    return visit + steel * np.asarray(steel_m, float) * MM_PER_METRE


def harmless(log_gains: np.ndarray, complaints: Sequence[np.ndarray], opinions: Opinions) -> np.ndarray:
    """(blade,) whether a blade harms no complaint. log_gains: (draw, blade, measure) log2 gains; complaints: weights
    (measure,) of each, 0 where it says nothing.

    Of each complaint: every main measure (of at least half its largest weight) is worse by more than 2 % in one of ten
    draws at most; and by the complaint's own weights the blade is better in half of the draws or more. A draw in which
    the blade failed counts as worse; one in which every blade failed does not count.
    """
    known = np.isfinite(log_gains).any(axis=(1, 2))
    gains = np.asarray(log_gains, float)[known]
    fine = np.full(gains.shape[1], len(gains) > 0)
    least = -math.log2(1 + opinions.complaint_worse_by)
    for complaint in complaints:
        weights = np.asarray(complaint, float)
        asked = weights > 0
        main = weights >= opinions.complaint_main_from * weights.max()
        harm = (~(gains[:, :, main & asked] >= least)).mean(axis=0)  # nan is harm
        helped = ((gains[:, :, asked] @ weights[asked]) > 0).mean(axis=0)
        fine &= (harm <= opinions.complaint_harm_up_to).all(axis=1) & (helped >= opinions.complaint_helped_from)
    return fine


def together(left: Evidence, right: Evidence) -> Evidence:
    """The evidence on a pair that gets one curve: mean scores and prices; a blade must be able and harmless on both."""
    return Evidence(
        (left.score + right.score) / 2, (left.price + right.price) / 2, left.able & right.able,
        left.harmless & right.harmless,
    )  # fmt: skip


def verdict(evidence: Evidence, opinions: Opinions) -> Verdict:
    """The verdict. b* is the blade of the greatest mean net among those that can be ground and harm no complaint.

    First that holds: regrind, where mean net > 0 and b* is better in nine of ten draws; probably, where in seven;
    leave, where none of them pays in more than three of ten; else cannot_tell. A draw in which a blade failed is
    neither better nor does it pay; it is left out of means.
    """
    score = evidence.score[np.isfinite(evidence.score).any(axis=1)]
    able = evidence.able & np.isfinite(score).any(axis=0)
    net = np.where(np.isfinite(score), score, np.nan) - evidence.price
    mean = np.full(len(able), -np.inf)
    mean[able] = np.nanmean(net[:, able], axis=0)
    better = (score > 0).mean(axis=0) if len(score) else np.zeros(len(able))
    pays = (net > 0).mean(axis=0) if len(score) else better
    wanted = able & evidence.harmless
    removed = _passed_over(mean, better, able, wanted, opinions)
    if not wanted.any():
        reason = "nothing_can_be_ground" if not able.any() else "nothing_helps_without_harm"
        return Verdict("leave", reason, -1, math.nan, math.nan, math.nan, (math.nan,) * 3, removed)
    best = int(np.argmax(np.where(wanted, mean, -np.inf)))
    kind = "cannot_tell"
    if mean[best] > 0 and better[best] >= opinions.probably_from:
        kind = "regrind" if better[best] >= opinions.regrind_from else "probably"
    elif (pays[wanted] <= opinions.leave_up_to).all():
        kind = "leave"
    reason = _why_leave(score[:, best], better[best], removed, opinions) if kind == "leave" else ""
    low, middle, high = np.nanquantile(score[:, best], (0.05, 0.5, 0.95))
    return Verdict(kind, reason, best, float(better[best]), float(pays[best]), float(mean[best]),
                   (float(low), float(middle), float(high)), removed)  # fmt: skip


def _passed_over(mean: np.ndarray, better: np.ndarray, able: np.ndarray, wanted: np.ndarray, opinions: Opinions) -> int:
    """The blade that only its harm to a complaint kept from being offered, where it was the best of all; else -1."""
    if not able.any():
        return -1
    top = int(np.argmax(mean))
    offered = mean[top] > 0 and better[top] >= opinions.probably_from
    return top if offered and not wanted[top] else -1


def _why_leave(score: np.ndarray, better: float, removed: int, opinions: Opinions) -> str:
    """Why a blade is left as it is, from the (draw,) scores of the best of those that may be ground."""
    if removed >= 0:
        return "nothing_helps_without_harm"
    alike = float((np.abs(score) < math.log2(1 + opinions.no_difference_within)).mean())
    if alike >= opinions.no_difference_from:
        return "makes_no_difference"
    return "better_as_it_is" if better <= opinions.leave_up_to else "below_the_price"
