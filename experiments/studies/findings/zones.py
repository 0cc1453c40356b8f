"""How many zones are worth having: the best of each number on a few draws, judged on other draws of what is unknown.

A search at nominal values alone finds what is best there and nowhere else: for pivot against glide it ended at two
zones of 13.8 and 7 ft that are not surely beyond the line, where 14/7 ft of 134 and 106 mm are.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from experiments.analysis.draws import columns_of, drawn, run_draws, sample
from experiments.analysis.frontier import continued, cost
from experiments.analysis.grinding import Grinding, violations
from experiments.analysis.judging.menu import Spread, spread
from experiments.analysis.variants import (
    LINE_RADII,
    HeldLine,
    single_radius,
    static_pairs,
    statics,
    varied_candidate,
)
from experiments.request.comparison import Case, Request
from experiments.request.opinions import Opinions
from experiments.request.uncertainty import GRINDING, Sampling
from experiments.run.workers import Progress, Workers
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import FOOT_M
from sim.trial import Candidate, Setting

MOST_SEARCHED_ZONES = 5
RADIUS_FT = (7.0, 14.0)  # what the search for the best zones may use
ZONE_SHARE = (1.0, 3.0)  # of a zone, before shares are made to add up
GENERATIONS, RESTARTS = 25, 2
SEARCH_DRAWS = 4  # that a search looks at, from a seed of their own
REFUSED = 10.0  # loss of what cannot be weighed; of what cannot be ground more, by its excess


@dataclass(frozen=True)
class Zones:
    """Best blades of up to 1, 2, ... zones for a pair. recipes: the best found of each number; sought: (number,)
    geometric means of their gains over the draws of the search; gain: (draw, number) in draws that no search saw."""

    pair: tuple[str, str]
    recipes: tuple[Recipe, ...]
    sought: tuple[float, ...]
    gain: np.ndarray


@dataclass(frozen=True)
class Worth:
    """What comes of a number of zones. number: beyond which no number surely adds; adds: 5, 50, 95 % of its gain over
    that of one zone, -1; more: of the best of the larger numbers over its own, -1; nan where there is none larger."""

    number: int
    adds: Spread
    more: Spread


def zone_pairs(request: Request, one_place: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    """The pairs that zones are searched for: the declared static ones, and one that is measured at one place."""
    return tuple(dict.fromkeys((*static_pairs(request.pairs), one_place)))


def best_zones(
    request: Request, pairs: tuple[tuple[str, str], ...], limits: Grinding, sampling: Sampling, workers: Workers,
    progress: Progress,
) -> tuple[Zones, ...]:  # fmt: skip
    """The best blades of one to five zones for each pair, and their gains in draws."""
    setting = replace(request.settings[0], scenarios={})
    places = search_places(setting, np.array(request.line_m), pairs, sampling)
    chosen = _best_of_each((setting.reference, places, limits), pairs, sampling.seed, workers, progress)
    blades = [
        Candidate(f"{p} {n}", replace(zoned(setting.reference.recipe, v), name=f"{p} {n}"), setting.reference.section)
        for p, pair in enumerate(pairs) for n, (_, v) in enumerate(chosen[pair])
    ]  # fmt: skip
    cases = tuple(Case(i, blade, setting) for i, blade in enumerate(blades))
    asked = replace(request, cases=cases, settings=(setting,), pairs=pairs)
    draws = run_draws(asked, sampling.inputs, sampling.draws, sampling.seed, workers, progress)
    out, count = [], MOST_SEARCHED_ZONES
    for p, pair in enumerate(pairs):
        mine = slice(p * count, (p + 1) * count)
        recipes, sought = tuple(b.recipe for b in blades[mine]), tuple(g for g, _ in chosen[pair])
        out.append(Zones(pair, recipes, sought, draws.gain[:, mine, p]))
    return tuple(out)


def _best_of_each(
    shared: tuple, pairs: Sequence[tuple[str, str]], seed: int, workers: Workers, progress: Progress
) -> dict[tuple[str, str], list[tuple[float, tuple[float, ...]]]]:
    """Pair to (gain on the draws of the search, numbers) of the best of up to each number of zones.

    More may be wasted, never forbidden, and each number sets out from the best of fewer: a search of many numbers that
    begins anywhere finds less than is there, and says of zones that they are of no use.
    """
    best: dict[tuple[str, str], list[tuple[float, tuple[float, ...]]]] = {pair: [] for pair in pairs}
    for count in range(1, MOST_SEARCHED_ZONES + 1):
        starts = {pair: split(mine[-1][1]) if mine else () for pair, mine in best.items()}
        tries = [(pair, count, seed + k, starts[pair]) for pair in pairs for k in range(RESTARTS)]
        answers = workers.map(search_zones, tries, shared, progress)
        for pair in pairs:
            mine = [(gain, tuple(map(float, v))) for (p, *_), (gain, v) in zip(tries, answers) if p == pair]
            best[pair].append(max([*best[pair][-1:], *mine], key=lambda x: x[0]))
    return best


def split(numbers: Sequence[float]) -> tuple[float, ...]:
    """Numbers of a recipe with its longest zone cut into two alike; shares over their least, which keeps them within
    their bounds but for rounding."""
    count = 1 if len(numbers) == 1 else len(numbers) // 2
    radii, shares = list(numbers[:count]), list(numbers[count:]) or [1.0]
    longest = int(np.argmax(shares))
    radii.insert(longest, radii[longest])
    shares[longest : longest + 1] = [shares[longest] / 2] * 2
    least = min(shares)
    return (*radii, *(min(x / least * ZONE_SHARE[0], ZONE_SHARE[1]) for x in shares))


Singles = tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]  # what a HeldLine is made of
Place = tuple[Setting, dict[str, float], Singles]  # a draw that a search looks at: its setting, inputs, single radii


def search_places(
    setting: Setting, radii: np.ndarray, pairs: tuple[tuple[str, str], ...], sampling: Sampling
) -> tuple[Place, ...]:
    """The draws that a search looks at, from a seed of their own; without errors of grinding, which belong to no
    recipe. A draw that cannot be is left out."""
    inputs = [i for i in sampling.inputs if i.name not in GRINDING]
    columns, places = columns_of(inputs, [setting.reference]), []
    for point in sample(inputs, columns, SEARCH_DRAWS, sampling.seed + 1):
        try:
            there, _ = drawn([setting.reference], setting, columns, point)
        except BladeError:
            continue
        named = {name: float(x) for (name, _), x in zip(columns, point)}
        places.append((there, named, single_radii(there, radii, pairs)))
    return tuple(places)


def single_radii(setting: Setting, radii: np.ndarray, pairs: tuple[tuple[str, str], ...]) -> Singles:
    """The single radii that every blade of the search is held against, on the reference's runner and hollow."""
    base = np.geomspace(radii[0], radii[-1], LINE_RADII)
    span = continued(base, [r * FOOT_M for r in RADIUS_FT])
    names = list(dict.fromkeys(name for pair in pairs for name in pair))
    table = np.array([statics(single_radius(setting.reference, r), setting, names) for r in span])
    return base, span, {name: table[:, j] for j, name in enumerate(names)}


def zoned(base: Recipe, numbers: np.ndarray) -> Recipe:
    """A recipe of zones on the runner of `base`; numbers: radii in ft, then as many shares where there are several."""
    count = 1 if len(numbers) == 1 else len(numbers) // 2
    radii = tuple(float(r) * FOOT_M for r in numbers[:count])
    return replace(base, name="search", family="zoned", radii_m=radii, shares=tuple(map(float, numbers[count:])))


def search_zones(
    shared: tuple[Candidate, tuple[Place, ...], Grinding], task: tuple[tuple[str, str], int, int, tuple[float, ...]]
) -> tuple[float, np.ndarray]:
    """(greatest geometric mean of the gains over the places, its numbers) for a pair with `count` zones that can be
    ground, from a seed and, where given, from some numbers: differential evolution (Storn & Price 1997). A blade that
    cannot be ground is worth less than any that can. What a worker does."""
    (base, places, limits), (pair, count, seed, start) = shared, task
    held = [HeldLine(*singles) for _, _, singles in places]

    def loss(numbers: np.ndarray) -> float:
        recipe = zoned(base.recipe, numbers)
        try:
            excess = float(np.maximum(violations(recipe, limits), 0.0).sum())
            if excess > 0:
                return REFUSED + excess
            return -mean_log_gain(replace(base, recipe=recipe), pair, places, held)
        except BladeError:
            return REFUSED

    bounds = [RADIUS_FT] * count + [ZONE_SHARE] * (count if count > 1 else 0)
    found = scipy.optimize.differential_evolution(
        loss, bounds, maxiter=GENERATIONS, popsize=8, rng=np.random.default_rng(seed), polish=False, tol=0,
        x0=start or None,
    )  # fmt: skip
    return math.exp(-float(found.fun)), np.array(found.x)


def mean_log_gain(blade: Candidate, pair: tuple[str, str], places: Sequence[Place], held: Sequence[HeldLine]) -> float:
    """Mean of the logarithms of a blade's gains over the places; -10 where one is missing, or no place is there.
    Raises BladeError for a blade that cannot be built in one of them."""
    logs = []
    for (setting, inputs, _), line in zip(places, held):
        values = statics(varied_candidate(blade, inputs), setting, pair)
        gain = line.gain(pair, [float(cost(n, x)) for n, x in zip(pair, values)], blade.recipe).gain
        if not (math.isfinite(gain) and gain > 0):
            return -REFUSED
        logs.append(math.log(gain))
    return float(np.mean(logs)) if logs else -REFUSED


def worth_having(gain: np.ndarray, opinions: Opinions) -> Worth:
    """Beyond which number of zones none can be told apart. gain: (draw, number) for 1, 2, ... zones.

    From one zone on: a larger number takes its place when it has more gain by what a line resolves in nearly all draws.
    """
    kept = 0
    for n in range(1, gain.shape[1]):
        if surely_more(gain[:, n], gain[:, kept], opinions):
            kept = n
    larger = gain[:, kept + 1 :]
    best = int(np.nanargmax(np.nanmedian(larger, axis=0))) if larger.size and np.isfinite(larger).any() else -1
    more = spread(larger[:, best] / gain[:, kept] - 1) if best >= 0 else spread(np.full(1, np.nan))
    return Worth(kept + 1, spread(gain[:, kept] / gain[:, 0] - 1), more)


def surely_more(one: np.ndarray, other: np.ndarray, opinions: Opinions) -> bool:
    """Whether one gain is above another by more than a line resolves in nearly all draws that both have."""
    ratio = one / other
    known = ratio[np.isfinite(ratio)]
    return bool(len(known) and np.mean(known > 1 + opinions.line_within) >= opinions.line_sure)
