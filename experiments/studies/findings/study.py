"""What stands behind the page of answers: draws, a stance map, other physics, a search for zones, trade rules."""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import differential_evolution

from experiments.analysis.draws import Draws, checked_draw_count, run_draws
from experiments.analysis.frontier import cost, frontier_gain
from experiments.analysis.variants import (
    LINE_RADII,
    line_costs,
    static_pairs,
    statics,
    varied_candidate,
    varied_setting,
)
from experiments.request.comparison import Request, one_setting, read_request
from experiments.request.fields import Fields
from experiments.request.setting import read_ice
from experiments.request.uncertainty import Sampling, read_sampling
from experiments.run.workers import Progress, Workers
from experiments.studies.findings import rest_of_game
from experiments.studies.model_form import study as model_form
from experiments.studies.stance_map import study as stance_map
from experiments.studies.validation.checks import Check
from experiments.studies.validation.trade import trade_rules
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import STATIC
from sim.quantities import FOOT_M
from sim.trial import Candidate, Setting

KEYS = ("uncertainty", "draws", "seed", "glide_lines", "turn_lines", "other_ice", *rest_of_game.KEYS)
NEEDED = ("mid-flat short ends", "mid-flat long ends", "rear-flat", "rear-flat eased")
MOST_SEARCHED_ZONES = 5
RADIUS_FT = (7.0, 14.0)  # what the search for the best zones may use
ZONE_SHARE = (1.0, 3.0)  # of a zone, before shares are made to add up
GENERATIONS, RESTARTS = 25, 2
# what else changes on the reference blade: words, uncertain inputs put elsewhere
ELSEWHERE = {
    "hollow a fifth smaller": {"hollow_factor": 0.8},
    "hollow a quarter larger": {"hollow_factor": 1.25},
    "ice 3 K warmer": {"temperature_shift": 3.0},
    "ice 3 K colder": {"temperature_shift": -3.0},
    "new steel, 5 mm higher": {"height_shift": 5e-3},
    "worn steel, 5 mm lower": {"height_shift": -5e-3},
    "steel held as in a tube": {"span_factor": 0.0},
}


@dataclass(frozen=True)
class Plan:
    """A comparison that holds the blades of NEEDED, and what is asked of it."""

    request: Request
    sampling: Sampling
    stances: stance_map.Plan
    physics: model_form.Plan
    asked: rest_of_game.Asked


@dataclass(frozen=True)
class Zones:
    """Best frontier gain found for a pair with up to 1, 2, ... MOST_SEARCHED_ZONES zones, and its recipe; 1 and None
    where no search found more."""

    pair: tuple[str, str]
    best: tuple[tuple[float, Recipe | None], ...]


@dataclass(frozen=True)
class Findings:
    """Everything that the page reports. line: pair to costs (radius, 2) of single radii over request.line_m;
    surroundings: words to ratios of static measures (measure,), or to the sentence why there are none."""

    draws: Draws
    stances: stance_map.StanceMap
    physics: model_form.ModelForm
    line: dict[tuple[str, str], np.ndarray]
    zones: Zones | None
    surroundings: dict[str, np.ndarray | str]
    rules: tuple[Check, ...]
    game: rest_of_game.RestOfGame


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError, also where a blade that the page compares is missing."""
    request, fields = one_setting(read_request(rest)), Fields(own, "")
    sampling = read_sampling(fields, 16)
    checked_draw_count(sampling.draws, len(request.cases))
    physics = model_form.Plan(request, read_ice(fields.inner("other_ice")))
    stances, asked = stance_map.checked_plan(request, fields), rest_of_game.read_asked(fields)
    plan = Plan(request, sampling, stances, physics, asked)
    fields.done()
    names = [case.candidate.name for case in request.cases]
    missing = [name for name in NEEDED if name not in names]
    if missing:
        raise BladeError(f"candidates: the findings compare {', '.join(NEEDED)}; {missing[0]!r} is missing.")
    return plan


def run(plan: Plan, workers: Workers, progress: Progress) -> Findings:
    """All parts, one after the other."""
    request, sampling = plan.request, plan.sampling
    draws = run_draws(request, sampling.inputs, sampling.draws, sampling.seed, workers, progress)
    stances = stance_map.run(plan.stances, workers, progress)
    physics = model_form.run(plan.physics, workers, progress)
    radii = np.array(request.line_m)
    line = {pair: line_costs(request.settings[0], radii, pair) for pair in static_pairs(request.pairs)}
    zones = best_zones(request, sampling.seed, workers, progress)
    game = rest_of_game.play(request, plan.asked, sampling, workers, progress)
    return Findings(draws, stances, physics, line, zones, surroundings(request), tuple(trade_rules()), game)


def surroundings(request: Request) -> dict[str, np.ndarray | str]:
    """Static measures of the reference blade elsewhere, as ratios to those at the stated place."""
    setting, out = replace(request.settings[0], scenarios={}), {}
    standard = statics(setting.reference, setting, STATIC)
    for words, inputs in ELSEWHERE.items():
        try:
            there = varied_setting(setting, inputs)
        except BladeError as refusal:
            out[words] = str(refusal)
            continue
        with np.errstate(divide="ignore", invalid="ignore"):  # no scrape there and here has no ratio
            out[words] = statics(varied_candidate(there.reference, {}), there, STATIC) / standard
    return out


# ---------------------------------------------------------------- how many zones


def best_zones(request: Request, seed: int, workers: Workers, progress: Progress) -> Zones | None:
    """Best frontier gain found with one to five zones, for the last of the declared static pairs; None without one."""
    if not static_pairs(request.pairs):
        return None
    pair, setting = static_pairs(request.pairs)[-1], replace(request.settings[0], scenarios={})
    radii = np.geomspace(request.line_m[0], request.line_m[-1], 2 * LINE_RADII)
    shared = setting, pair, radii, line_costs(setting, radii, pair)
    tries = [(count, seed + k) for count in range(1, MOST_SEARCHED_ZONES + 1) for k in range(RESTARTS)]
    found = workers.map(search_zones, tries, shared, progress)
    best: list[tuple[float, Recipe | None]] = [(1.0, None)]
    for count in range(1, MOST_SEARCHED_ZONES + 1):
        mine = [(gain, zoned(setting.reference.recipe, v)) for (n, _), (gain, v) in zip(tries, found) if n == count]
        best.append(max([*mine, best[-1]], key=lambda x: x[0]))
    return Zones(pair, tuple(best))


def zoned(base: Recipe, numbers: np.ndarray) -> Recipe:
    """A recipe of zones on the runner of `base`; numbers: radii in ft, then as many shares where there are several."""
    count = 1 if len(numbers) == 1 else len(numbers) // 2
    radii = tuple(float(r) * FOOT_M for r in numbers[:count])
    return replace(base, name="search", family="zoned", radii_m=radii, shares=tuple(map(float, numbers[count:])))


def search_zones(
    shared: tuple[Setting, tuple[str, str], np.ndarray, np.ndarray], task: tuple[int, int]
) -> tuple[float, np.ndarray]:
    """(best gain, its numbers) with `count` zones from a seed: differential evolution (Storn & Price 1997)."""
    (setting, pair, radii, line), (count, seed) = shared, task

    def loss(numbers: np.ndarray) -> float:
        blade = Candidate("search", zoned(setting.reference.recipe, numbers), setting.reference.section)
        try:
            values = statics(blade, setting, pair)
        except BladeError:
            return 0.0
        gain = frontier_gain([float(cost(n, x)) for n, x in zip(pair, values)], radii, line).gain
        return -gain if math.isfinite(gain) else 0.0

    bounds = [RADIUS_FT] * count + [ZONE_SHARE] * (count if count > 1 else 0)
    found = differential_evolution(
        loss, bounds, maxiter=GENERATIONS, popsize=8, rng=np.random.default_rng(seed), polish=False, tol=0
    )
    return -float(found.fun), np.array(found.x)
