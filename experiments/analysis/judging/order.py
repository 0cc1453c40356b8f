"""The order of blades: which are tied, and how much of a weighting must change for another to come first."""

import math
from dataclasses import dataclass

import numpy as np

from experiments.request.opinions import Opinions


@dataclass(frozen=True)
class Flip:
    """Least share of the weight that, moved between measures, puts another blade first. distance: 0 to 1, inf where no
    weighting does; first, rival: places of the two blades (rival -1: none); to: the measure that it is moved to (-1);
    taste: whether first place is a matter of taste."""

    distance: float
    first: int
    rival: int
    to: int
    taste: bool


def tie_groups(samples: np.ndarray, better: str, opinions: Opinions) -> list[list[int]]:
    """Blades in tie groups, best first: places along the second axis of samples. samples: (draw, blade), nan failed;
    better: lower or higher.

    Sorted by median over the draws that each blade has; a group runs from its leader to the last before one that the
    leader beats in nine of ten of the draws that both have (a tie is half a win). Blades without any draw are left out.
    """
    signed = np.asarray(samples, float) * (1 if better == "higher" else -1)
    known = [i for i in range(signed.shape[1]) if np.isfinite(signed[:, i]).any()]
    order = sorted(known, key=lambda i: -np.nanmedian(signed[:, i]))
    groups: list[list[int]] = []
    for i in order:
        if groups and _wins(signed[:, groups[-1][0]], signed[:, i]) < opinions.beaten_from:
            groups[-1].append(i)
        else:
            groups.append([i])
    return groups


def _wins(one: np.ndarray, other: np.ndarray) -> float:
    """Share of the draws known of both in which one is above the other, ties half; 0 where there is no such draw."""
    both = np.isfinite(one) & np.isfinite(other)
    if not both.any():
        return 0.0
    return float(np.mean((one > other)[both]) + 0.5 * np.mean((one == other)[both]))


def flip_distance(weights: np.ndarray, log_gains: np.ndarray, opinions: Opinions) -> Flip:
    """How far a weighting is from another first place. weights: (measure,), any sum above 0; log_gains: (blade,
    measure) logs of ratios, better above 0, nominal or medians, nan where a blade has none (it is left out).

    The score is S = sum of w L. Against one rival let d = L_first - L_rival; moving a share t from measure m to n
    lowers S_first - S_rival by t (d_m - d_n). Whatever is moved is best moved to the measure of the least d, and from
    the measures of the greatest d first: a linear program with this greedy answer. A rival that is above in no measure
    never comes first. Moved to measures of weight 0 as well: leave out what must not count.
    """
    w = np.asarray(weights, float) / np.sum(weights)
    gains = np.asarray(log_gains, float)
    able = np.flatnonzero(np.isfinite(gains).all(axis=1))
    if len(able) < 2:
        return Flip(math.inf, int(able[0]) if len(able) else -1, -1, -1, False)
    first = int(able[np.argmax(gains[able] @ w)])
    found = [(*_moved(w, gains[first] - gains[i]), int(i)) for i in able if i != first]
    distance, to, rival = min(found)
    if math.isinf(distance):
        return Flip(distance, first, -1, -1, False)
    return Flip(distance, first, rival, to, distance < opinions.taste_below)


def _moved(w: np.ndarray, ahead: np.ndarray) -> tuple[float, int]:
    """(least share of weight moved until w . ahead is 0, the measure that it goes to); (inf, -1) where it never is."""
    to = int(np.argmin(ahead))
    if ahead[to] >= 0:
        return math.inf, -1
    gap, moved = float(w @ ahead), 0.0
    for m in np.argsort(-ahead, kind="stable"):
        worth = float(ahead[m] - ahead[to])  # what a unit of weight taken from m takes off the gap
        if gap <= w[m] * worth:
            return moved + max(gap, 0.0) / worth, to
        gap, moved = gap - w[m] * worth, moved + float(w[m])
    return moved, to  # all but the last of it: rounding
