"""Scores that can be added up by hand, and how far a recipe lies beyond what any single radius does."""

import math
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import PchipInterpolator

from experiments.fields import Fields
from sim.errors import BladeError
from sim.measures import REGISTRY

BEYOND = 1.005  # a gain below this is the resolution of the single-radius line, not a gain
MOST_PAIRS = 100
FINE = 2001  # radii at which the single-radius line is looked at, between those it was computed for


@dataclass(frozen=True)
class Weighting:
    """An objective: weight of each measure, and which way is better where the registry leaves it open."""

    name: str
    weights: dict[str, float]
    better: dict[str, str]


def read_weighting(fields: Fields) -> Weighting:
    """Read and check a weighting. Raises BladeError for unknown measures, bad weights, an open direction."""
    inner = fields.inner("weights")
    weights, better = {}, {}
    for name in inner.mapping:
        measure = REGISTRY[measure_name(inner, name)]
        value = inner.raw(name)
        given = Fields(value, inner.path(name)) if isinstance(value, dict) else None
        weights[name] = given.number("weight", 0, 1e6) if given else inner.number(name, 0, 1e6)
        better[name] = given.choice("better", ("lower", "higher")) if given else measure.better
        if better[name] == "neither":
            raise BladeError(
                f"{inner.path(name)}: more is neither better nor worse; write {{weight: 1, better: lower}} or higher."
            )
        if given:
            given.done()
    if not sum(weights.values()) > 0:
        raise BladeError(f"{inner.where}: the weights add up to nothing; give at least one measure a weight above 0.")
    result = Weighting(fields.text("name", 40), weights, better)
    fields.done()
    return result


def read_pairs(fields: Fields) -> tuple[tuple[str, str], ...]:
    """The declared pairs of costs. Raises BladeError for unknown or directionless measures."""
    pairs = []
    for i, entry in enumerate(fields.listed("pairs")):
        where = f"pairs[{i}]"
        if i >= MOST_PAIRS:
            raise BladeError(f"pairs: more than {MOST_PAIRS}; declare fewer.")
        if not isinstance(entry, list) or len(entry) != 2 or entry[0] == entry[1]:
            raise BladeError(
                f"{where}: write two different measures in [brackets], for example [turn_drag, glide_groove_depth]."
            )
        names = tuple(measure_name(Fields({}, where), str(name)) for name in entry)
        for name in names:
            cost(name, 1.0)
        pairs.append(names)
    return tuple(pairs)


def measure_name(fields: Fields, name: str) -> str:
    """A measure's name, or a BladeError that names the nearest ones."""
    return Fields({"measure": name}, fields.where).choice("measure", tuple(REGISTRY))


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


def cost(name: str, value, better: str = ""):
    """A measure as a cost: itself where less is better, its reciprocal where more is.

    Raises BladeError for a measure without a direction: a signed or open measure is no cost.
    """
    way = better or REGISTRY[name].better
    if way == "neither":
        raise BladeError(f"pair: {name} has no better direction and can be no cost; choose a measure that has one.")
    return np.asarray(value, float) if way == "lower" else 1.0 / np.asarray(value, float)


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
    over log(R) (monotone cubic).
    """

    def __init__(self, radii, line):
        radii, line = np.asarray(radii, float), np.asarray(line, float)
        good = np.all(np.isfinite(line) & (line > 0), axis=1)
        self.known = good.sum() >= 2
        if not self.known:
            return
        known = np.log(radii[good])
        # every computed radius is among the places looked at, so that the line itself has a gain of exactly 1
        places = np.union1d(np.linspace(known[0], known[-1], FINE), known)
        for i in np.flatnonzero(np.diff(np.flatnonzero(good)) > 1):  # nothing is known between radii that were refused
            places = places[(places <= known[i]) | (places >= known[i + 1])]
        self.places = places
        self.costs = np.ascontiguousarray(np.exp(PchipInterpolator(known, np.log(line[good]))(places)).T)

    def gain(self, candidate) -> Gain:
        """Frontier gain of (2,) costs, above 0; nan when anything is missing."""
        one, two = map(float, candidate)
        if not self.known or not (0 < one < math.inf and 0 < two < math.inf):
            return NO_GAIN
        first, second = self.costs[0] / one, self.costs[1] / two
        worst = np.maximum(first, second)
        i = int(np.argmin(worst))
        at_end = i in (0, len(self.places) - 1)
        return Gain(float(worst[i]), float(np.minimum(first, second).max()), float(math.exp(self.places[i])), at_end)


def frontier_gain(candidate, radii, line) -> Gain:
    """Frontier gain of one candidate against a line: see Line."""
    return Line(radii, line).gain(candidate)


def judge(results, scheme: Weighting, pairs, lines) -> None:
    """Give every row of a run its score, the score's parts and its frontier gains, in place.

    lines[i]: measures of the single radii that row i is held against; rows on the same runner share one.
    """
    known: dict[tuple, Line] = {}
    for row, line in zip(results.rows, lines):
        base = results.references[row.skater].values
        row.parts = contributions(row.values, base, scheme)
        row.score = sum(row.parts.values())
        for pair in pairs:
            if (id(line), pair) not in known:
                known[id(line), pair] = Line(results.line_radii, np.column_stack([cost(n, line[n]) for n in pair]))
            row.gains[pair] = known[id(line), pair].gain([float(cost(name, row.values[name])) for name in pair])
