"""How far a recipe lies beyond what any single radius does: frontier gain for two costs."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from experiments.request.objectives import better_way

LINE_PLACES = 2001  # radii at which the single-radius line is looked at, between those it was computed for
REACH_SHORTER, REACH_LONGER = (
    0.8,
    1.25,
)  # a line goes on to these times the shortest and the longest radius held against it


def cost(name: str, value: float | np.ndarray, better: str = "") -> np.ndarray:
    """A measure as a cost: itself where less is better, its reciprocal where more is. Raises BladeError: better_way."""
    way = better_way(name, better)
    return np.asarray(value, float) if way == "lower" else 1.0 / np.asarray(value, float)


def continued(radii: np.ndarray, held: Sequence[float]) -> np.ndarray:
    """Radii of a single-radius line, m, continued at both ends by their own last ratio until it reaches from 0.8 times
    the shortest to 1.25 times the longest of them and of the radii held against it; flat ones (inf) have no place here.

    radii: (n,) rising, n 2 or more. 33 radii from 6 to 16 ft become 49, from below 4.8 to beyond 20 ft. The places do
    not depend on what else is held against the line, only how many of them there are.
    """
    base = np.asarray(radii, float)
    known = [r for r in held if math.isfinite(r)]
    low = _steps(base[0], REACH_SHORTER * min([base[0], *known]), base[0] / base[1])
    high = _steps(base[-1], REACH_LONGER * max([base[-1], *known]), base[-1] / base[-2])
    return np.concatenate([low[::-1], base, high])


def _steps(start: float, end: float, ratio: float) -> np.ndarray:
    """start x ratio, start x ratio^2, ... as far as end is reached or passed."""
    count = math.ceil(math.log(end / start) / math.log(ratio) - 1e-9)
    return start * ratio ** np.arange(1, count + 1)


@dataclass(frozen=True, slots=True)
class Gain:
    """Frontier gain of one candidate for one pair of costs; nan when anything is missing.

    gain: G = min over R of max_i c_i(R)/c_i; above 1 no single radius matches the candidate on both costs.
    beats: D = max over R of min_i c_i(R)/c_i; above 1 it beats some single radius on both at once.
    radius_m: the single radius nearest to matching it; at_end: that radius is an end of the range, so G is only an
    upper bound on what a wider range would give.
    """

    gain: float
    beats: float
    radius_m: float
    at_end: bool


NO_GAIN = Gain(math.nan, math.nan, math.nan, False)


class Line:
    """Two costs of single radii over a continuous radius: what candidates are held against.

    radii: (n,) m, rising. line: (n, 2) costs, nan where refused. R is continuous: costs are interpolated in log(cost)
    over log(R) (monotone cubic). A flat blade (R = inf) has no place on it. A radius with a cost of 0 (a turn without
    scrape) has no logarithm: it is a place by itself, which no blade with a cost can beat there.
    """

    def __init__(self, radii: np.ndarray, line: np.ndarray) -> None:
        radii, line = np.asarray(radii, float), np.asarray(line, float)
        good = np.all(np.isfinite(line) & (line > 0), axis=1) & np.isfinite(radii)
        self.known = good.sum() >= 2
        if not self.known:
            return
        known = np.log(radii[good])
        # every computed radius is among the places looked at, so that the line itself has a gain of exactly 1
        places = np.union1d(np.linspace(known[0], known[-1], LINE_PLACES), known)
        for i in np.flatnonzero(np.diff(np.flatnonzero(good)) > 1):  # nothing is known between radii that were refused
            places = places[(places <= known[i]) | (places >= known[i + 1])]
        free = np.all(np.isfinite(line) & (line >= 0), axis=1) & np.isfinite(radii) & ~good
        costs = np.concatenate(
            [np.exp(scipy.interpolate.PchipInterpolator(known, np.log(line[good]))(places)), line[free]]
        )
        self.places = np.concatenate([places, np.log(radii[free])])
        order = np.argsort(self.places, kind="stable")
        self.places, self.costs = self.places[order], np.ascontiguousarray(costs[order].T)

    def gain(self, candidate: Sequence[float], own_m: float = math.nan) -> Gain:
        """Frontier gain of (2,) costs, above 0; nan when anything is missing.

        own_m: radius of a candidate that is a single radius itself, m: it is then one of those it is held against,
        with its own costs, and so never beyond them, however the line is interpolated.
        """
        one, two = map(float, candidate)
        if not self.known or not (0 < one < math.inf and 0 < two < math.inf):
            return NO_GAIN
        first, second = self.costs[0] / one, self.costs[1] / two
        worst = np.maximum(first, second)
        i = int(np.argmin(worst))
        gain, beats = float(worst[i]), float(np.minimum(first, second).max())
        if not math.isnan(own_m) and gain >= 1:
            return Gain(1.0, max(beats, 1.0), own_m, False)
        at_end = i in (0, len(self.places) - 1)
        return Gain(gain, beats, float(math.exp(self.places[i])), at_end)


def frontier_gain(candidate: Sequence[float], radii: np.ndarray, line: np.ndarray) -> Gain:
    """Frontier gain of one candidate against a line: see Line."""
    return Line(radii, line).gain(candidate)
