"""How many zones are worth having: the best of each number at nominal values, judged on draws of what is unknown."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import differential_evolution

from experiments.analysis.draws import run_draws
from experiments.analysis.frontier import continued, cost
from experiments.analysis.grinding import Grinding, violations
from experiments.analysis.judging.menu import Spread, spread
from experiments.analysis.variants import LINE_RADII, HeldLine, single_radius, static_pairs, statics
from experiments.request.comparison import Case, Request
from experiments.request.opinions import Opinions
from experiments.request.uncertainty import Sampling
from experiments.run.workers import Progress, Workers
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.quantities import FOOT_M
from sim.trial import Candidate, Setting

MOST_SEARCHED_ZONES = 5
RADIUS_FT = (7.0, 14.0)  # what the search for the best zones may use
ZONE_SHARE = (1.0, 3.0)  # of a zone, before shares are made to add up
GENERATIONS, RESTARTS = 25, 2


@dataclass(frozen=True)
class Zones:
    """Best blades of up to 1, 2, ... zones for a pair. recipes: the best found of each number; nominal: (number,) their
    gains where they were searched, nothing in doubt; gain: (draw, number) gains in draws that the search never saw."""

    pair: tuple[str, str]
    recipes: tuple[Recipe, ...]
    nominal: tuple[float, ...]
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
    singles = single_radii(setting, np.array(request.line_m), pairs)
    tries = [
        (pair, count, sampling.seed + k) for pair in pairs for count in range(1, MOST_SEARCHED_ZONES + 1)
        for k in range(RESTARTS)
    ]  # fmt: skip
    found = dict(zip(tries, workers.map(search_zones, tries, (setting, singles, limits), progress)))
    chosen = {pair: _best_of_each(pair, found) for pair in pairs}
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
        recipes, nominal = tuple(b.recipe for b in blades[mine]), tuple(g for g, _ in chosen[pair])
        out.append(Zones(pair, recipes, nominal, draws.gain[:, mine, p]))
    return tuple(out)


def _best_of_each(
    pair: tuple[str, str], found: dict[tuple, tuple[float, np.ndarray]]
) -> list[tuple[float, np.ndarray]]:
    """(nominal gain, numbers) of the best of up to each number of zones: more may be wasted, never forbidden."""
    best: list[tuple[float, np.ndarray]] = []
    for count in range(1, MOST_SEARCHED_ZONES + 1):
        mine = [answer for (p, n, _), answer in found.items() if (p, n) == (pair, count)]
        best.append(max([*best[-1:], *mine], key=lambda x: x[0]))
    return best


Singles = tuple[np.ndarray, np.ndarray, dict[str, np.ndarray]]  # what a HeldLine is made of


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
    shared: tuple[Setting, Singles, Grinding], task: tuple[tuple[str, str], int, int]
) -> tuple[float, np.ndarray]:
    """(best nominal gain, its numbers) for a pair with `count` zones that can be ground, from a seed: differential
    evolution (Storn & Price 1997). A blade that cannot be ground is worth less than any that can."""
    (setting, singles, limits), (pair, count, seed) = shared, task
    held = HeldLine(*singles)

    def loss(numbers: np.ndarray) -> float:
        recipe = zoned(setting.reference.recipe, numbers)
        try:
            excess = float(np.maximum(violations(recipe, limits), 0.0).sum())
            if excess > 0:
                return excess
            values = statics(Candidate("search", recipe, setting.reference.section), setting, pair)
        except BladeError:
            return 0.0
        gain = held.gain(pair, [float(cost(n, x)) for n, x in zip(pair, values)], recipe).gain
        return -gain if np.isfinite(gain) else 0.0

    bounds = [RADIUS_FT] * count + [ZONE_SHARE] * (count if count > 1 else 0)
    found = differential_evolution(
        loss, bounds, maxiter=GENERATIONS, popsize=8, rng=np.random.default_rng(seed), polish=False, tol=0
    )
    return -float(found.fun), np.array(found.x)


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
