"""A search for recipes that a grinder can make: plan, front, and what stands behind each blade of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy import stats

from experiments.analysis.draws import checked_draw_count, intervals, run_draws, sample
from experiments.analysis.frontier import cost, frontier_gain
from experiments.analysis.grinding import check, read_grinding
from experiments.analysis.optimizer import (
    Effort,
    Evaluated,
    SearchProblem,
    optimize,
    random_search,
    read_effort,
    volume,
)
from experiments.analysis.space import Space, read_space
from experiments.analysis.variants import LINE_RADII, drawn_setting, line_costs, runner_like, single_radius, statics
from experiments.request.blade import read_candidate
from experiments.request.comparison import Case, Request, assemble, read_stated
from experiments.request.fields import Fields
from experiments.request.objectives import measure_name, read_objectives
from experiments.request.uncertainty import GRINDING, Input, Sampling, read_sampling
from experiments.run.workers import Progress, Workers
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC, evaluate
from sim.trial import Candidate, Setting, Trial

KEYS = (
    "uncertainty", "draws", "seed", "space", "grinding", "objectives", "robust", "worst_quantile", "robust_draws",
    "evaluations", "population", "front_size", "compare_random", "starting_curve", "caps",
)  # fmt: skip
MOST_SEARCHED = 5_000_000
NARROW = 0.02  # a front that spans less than this of a cost (log) is not spread out along it
WORST_MARGIN = 1.05  # the corner that hypervolume is measured from, over the worst cost of the front
# what a blade of the search has besides its own errors of grinding: this draw's section and holder
SHARED_ERRORS = (*GRINDING, "hollow_factor", "thickness_shift", "edge_shift", "height_shift", "span_factor")
# a static measure and what a rolled movement says of the same thing
ROLLED_KIN = {
    "glide_drag_coefficient": "stride_ice_loss", "turn_drag": "turn_exit_speed",
    "turn_tightest_clean_radius": "turn_time", "critical_ankle_stiffness": "nudge_settling_time",
}  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """A checked search. starts: points of known recipes; random: whether a random search stands beside it."""

    request: Request
    problem: SearchProblem
    starts: tuple[np.ndarray, ...]
    effort: Effort
    front_size: int
    random: bool
    sampling: Sampling


@dataclass(frozen=True)
class FrontBlade:
    """A blade of the front. gains, grinding: 5, 50, 95 % of the frontier gain for each pair, under all inputs and
    under errors of grinding only; alone (pair): gain with nothing uncertain; without: gain (zone, pair) with that zone
    given its neighbour's radius; nearest: name of the nearest known recipe and the greatest height between them, m;
    rolled: measures of the rolled movements, nan where they failed; limits: sentences of limits that it breaks."""

    candidate: Candidate
    point: np.ndarray
    costs: np.ndarray
    alone: np.ndarray
    gains: np.ndarray
    grinding: np.ndarray
    without: np.ndarray
    nearest: tuple[str, float]
    rolled: dict[str, float]
    limits: tuple[str, ...]


@dataclass(frozen=True)
class SearchResult:
    """What a search found. random: the random search or None, and its hypervolume; volumes: (points evaluated,
    hypervolume) of the search; reference: costs of the reference; line: (radius, objective) costs of single radii;
    taus: (static, rolled, Kendall's tau over the front)."""

    found: Evaluated
    random: Evaluated | None
    volumes: np.ndarray
    random_volume: float
    reference: np.ndarray
    radii: np.ndarray
    line: np.ndarray
    blades: tuple[FrontBlade, ...]
    pairs: tuple[tuple[str, str], ...]
    taus: tuple[tuple[str, str, float], ...]


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError."""
    fields, stated = Fields(own, ""), read_stated(rest)
    request, objectives = assemble(stated), read_objectives(fields)
    how = fields.choice("robust", ("nominal", "mean", "worst"))
    quantile, count = fields.number("worst_quantile", 0.5, 1.0), fields.count("robust_draws", 2, 4096)
    sampling = read_sampling(fields, 2)
    if how == "nominal" and len(request.settings) > 1:
        raise BladeError("robust: several skaters need a choice between them; write robust=mean or robust=worst.")
    limits, base, stock = read_grinding(fields.inner("grinding")), request.settings[0].reference, None
    space = read_space(fields.inner("space"), base.recipe)
    if fields.has("starting_curve"):
        stock = read_candidate(fields.raw("starting_curve"), stated.blade, "starting_curve").curve
    checked_draw_count(count, len(request.settings), "robust_draws")
    settings = _settings(request, how, sampling, count)
    problem = SearchProblem(space, base.section, settings, objectives, quantile if how == "worst" else None, limits,
                            stock, _caps(fields, base, settings[0][0]))  # fmt: skip
    plan = Plan(request, problem, _starts(request, space), read_effort(fields, MOST_SEARCHED),
                fields.count("front_size", 1, 60), fields.flag("compare_random"), sampling)  # fmt: skip
    fields.done()
    checked_draw_count(sampling.draws, max(plan.front_size, len(request.cases)))
    return plan


def _caps(fields: Fields, base: Candidate, setting: Setting) -> tuple[tuple[str, float, float], ...]:
    """What a blade must keep: (measure, +1 at most or -1 at least, value). A ratio counts from the reference."""
    out, listed = [], fields.raw("caps")
    for i, given in enumerate(listed if isinstance(listed, list) else [listed]):
        entry = Fields(given, f"caps[{i}]")
        name = measure_name(entry, str(entry.raw("measure")))
        if name not in STATIC or REGISTRY[name].signed:
            raise BladeError(f"{entry.where}: only a static measure of one sign can be capped; choose another.")
        ways = [w for w in ("at_most", "at_least", "ratio_at_most", "ratio_at_least") if entry.has(w)]
        if len(ways) != 1:
            raise BladeError(f"{entry.where}: give one of at_most, at_least (SI units), ratio_at_most, ratio_at_least.")
        value = entry.number(ways[0], 1e-12, 1e12)
        entry.done()
        if ways[0].startswith("ratio"):
            value *= statics(base, setting, [name])[0]
        out.append((name, 1.0 if ways[0].endswith("most") else -1.0, float(value)))
    return tuple(out)


def _settings(request: Request, how: str, sampling: Sampling, count: int) -> tuple[tuple[Setting, dict], ...]:
    """Every skater in every draw (the same draws for all blades), with that draw's errors of grinding."""
    bare = [replace(s, scenarios={}) for s in request.settings]
    if how == "nominal":
        return ((bare[0], {}),)
    columns = [(i.name, -1) for i in sampling.inputs]
    names = [name for name, _ in columns]
    draws = [dict(zip(names, map(float, row))) for row in sample(sampling.inputs, columns, count, sampling.seed)]
    return tuple(
        (drawn_setting(setting, {k: v for k, v in draw.items() if k not in GRINDING}),
         {k: draw[k] for k in SHARED_ERRORS if k in draw})
        for setting in bare for draw in draws
    )  # fmt: skip


def _starts(request: Request, space: Space) -> tuple[np.ndarray, ...]:
    """Points of the known recipes (the request's candidates) that the space holds."""
    points = [space.point(candidate.recipe) for candidate in request.candidates]
    return tuple(np.clip(p, 0.0, 1.0) for p in points if p is not None)


def run(plan: Plan, workers: Workers, progress: Progress) -> SearchResult:
    """Search, verify and explain. Raises BladeError where no blade of the space can be ground."""
    steps: list[int] = []

    def on_step(done: int) -> None:
        steps.append(done)
        progress(done, plan.effort.evaluations * (1 + plan.random))

    found = optimize(plan.problem, workers, plan.starts, plan.effort, on_step)
    random = random_search(plan.problem, workers, len(found.points), plan.effort.seed) if plan.random else None
    if not found.allowed.any():
        raise BladeError(
            "search: no blade of this space can be ground within these limits; widen the space, or the limits in "
            "configs/grinding."
        )
    worst = WORST_MARGIN * found.costs[found.front()].max(axis=0)
    volumes = np.array([[n, volume(found.costs[:n][found.allowed[:n]], worst)] for n in steps])
    random_volume = volume(random.costs[random.allowed], worst) if random is not None else math.nan
    names = [name for name, _ in plan.problem.objectives]
    pairs = tuple(combinations(names, 2))
    radii = np.geomspace(plan.request.line_m[0], plan.request.line_m[-1], LINE_RADII)
    blades = _blades(plan, found, spread_out(found, plan.front_size), pairs, radii, workers)
    return SearchResult(found, random, volumes, random_volume, *_single_radii(plan, radii, names), blades=blades,
                        pairs=pairs, taus=_taus(blades, names))  # fmt: skip


def spread_out(found: Evaluated, most: int) -> np.ndarray:
    """At most `most` points of the front, ordered along the first cost: the ends, then ever the one farthest (in log
    costs) from those taken."""
    front = found.front()
    place = np.log(found.costs[front])
    place = (place - place.min(axis=0)) / np.maximum(np.ptp(place, axis=0), NARROW)
    taken = list(dict.fromkeys([int(np.argmin(place[:, k])) for k in range(place.shape[1])]))[:most]
    while len(taken) < min(most, len(front)):
        away = np.min(np.linalg.norm(place[:, None] - place[taken][None], axis=2), axis=1)
        taken.append(int(np.argmax(away)))
    return front[sorted(taken, key=lambda i: found.costs[front[i], 0])]


def _blades(
    plan: Plan, found: Evaluated, chosen: np.ndarray, pairs: tuple[tuple[str, str], ...], radii: np.ndarray,
    workers: Workers,
) -> tuple[FrontBlade, ...]:  # fmt: skip
    """The chosen points with all that is said of them."""
    setting, section, space = plan.request.settings[0], plan.problem.section, plan.problem.space
    names = [f"found {k + 1}" for k in range(len(chosen))]
    blades = [Candidate(name, space.recipe(found.points[i], name), section) for name, i in zip(names, chosen)]
    everything = _gain_intervals(plan, blades, pairs, plan.sampling.inputs, workers)
    ground = tuple(i for i in plan.sampling.inputs if i.name in GRINDING)
    only = _gain_intervals(plan, blades, pairs, ground, workers) if ground else everything * np.nan
    known = plan.request.candidates
    return tuple(
        FrontBlade(
            blade, found.points[i], found.costs[i], nominal_gains(blade, setting, pairs, radii), everything[:, k],
            only[:, k], _gains_without(blade, setting, pairs, radii), nearest(blade, known), _rolled(blade, setting),
            tuple(check(blade.recipe, plan.problem.limits, plan.problem.stock)),
        )
        for k, (blade, i) in enumerate(zip(blades, chosen))
    )  # fmt: skip


def _gain_intervals(
    plan: Plan, blades: Sequence[Candidate], pairs, inputs: Sequence[Input], workers: Workers
) -> np.ndarray:
    """(quantile, blade, pair) of the frontier gain under these uncertain inputs."""
    setting = plan.request.settings[0]
    cases = tuple(Case(k, blade, setting) for k, blade in enumerate(blades))
    front = replace(plan.request, cases=cases, settings=(setting,), pairs=pairs)
    return intervals(run_draws(front, inputs, plan.sampling.draws, plan.sampling.seed, workers).gain)


def _gains_without(blade: Candidate, setting: Setting, pairs, radii: np.ndarray) -> np.ndarray:
    """(zone, pair) gain with each zone in turn given its neighbour's radius."""
    rows = [nominal_gains(replace(blade, recipe=r), setting, pairs, radii) for r in without_each_zone(blade.recipe)]
    return np.array(rows).reshape(-1, len(pairs))


def _single_radii(plan: Plan, radii: np.ndarray, names: list[str]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(costs of the reference, radii, costs of single radii on its runner)."""
    setting = replace(plan.request.settings[0], scenarios={})
    base = Candidate("reference", setting.reference.recipe, plan.problem.section)
    line = np.array([statics(single_radius(base, float(r)), setting, names) for r in radii])
    return _costs(plan, statics(base, setting, names)[None])[0], radii, _costs(plan, line)


def _costs(plan: Plan, values: np.ndarray) -> np.ndarray:
    """(n, objective) measures as costs."""
    return np.column_stack([cost(n, values[:, k], way) for k, (n, way) in enumerate(plan.problem.objectives)])


def nominal_gains(
    blade: Candidate, setting: Setting, pairs: Sequence[tuple[str, str]], radii: np.ndarray
) -> np.ndarray:
    """(pair,) frontier gain with nothing uncertain."""
    bare, like = replace(setting, scenarios={}), runner_like(blade, setting.reference)
    out = []
    for pair in pairs:
        values = statics(blade, bare, pair)
        costs = [float(cost(n, v)) for n, v in zip(pair, values)]
        out.append(frontier_gain(costs, radii, line_costs(bare, radii, pair, like)).gain)
    return np.array(out)


def without_each_zone(recipe: Recipe) -> list[Recipe]:
    """The recipe with each zone in turn given the radius of its longer neighbour: what that zone is there for."""
    if recipe.family in ("single_radius", "graded", "spline"):
        return []
    out, lengths = [], [zone.length_m for zone in recipe.zones]
    for i in range(len(lengths)):
        near = [j for j in (i - 1, i + 1) if 0 <= j < len(lengths)]
        radii = list(recipe.radii_m)
        radii[i] = radii[max(near, key=lambda j: lengths[j])]
        out.append(replace(recipe, family="zoned", radii_m=tuple(radii)))
    return out


def nearest(blade: Candidate, known: Sequence[Candidate]) -> tuple[str, float]:
    """(name, greatest height between the curves, m) of the nearest known recipe, offset and tilt free."""
    x_0, dx, z, _ = blade.curve.table
    x = np.linspace(-0.4, 0.4, 161) * blade.curve.length_m
    here = np.interp(x, x_0 + dx * np.arange(len(z)), z)
    out = []
    for other in known:
        a, d, heights, _ = other.curve.table
        gap = here - np.interp(x, a + d * np.arange(len(heights)), heights)
        gap = gap - np.polyval(np.polyfit(x, gap, 1), x)
        out.append((float(np.ptp(gap)) / 2, other.name))
    far, name = min(out, default=(math.nan, "none"))
    return name, far


def _rolled(blade: Candidate, setting: Setting) -> dict[str, float]:
    names = [n for n in dict.fromkeys(ROLLED_KIN.values()) if REGISTRY[n].state in setting.scenarios]
    values, _ = evaluate(Trial(blade, setting), names)
    return values


def _taus(blades: Sequence[FrontBlade], names: Sequence[str]) -> tuple[tuple[str, str, float], ...]:
    """Does the order along the front survive rolling: Kendall's tau of each driving measure with its rolled kin."""
    out = []
    for k, name in enumerate(names):
        kin = ROLLED_KIN.get(name)
        if kin is None or any(kin not in b.rolled for b in blades):
            continue
        rolled = np.array([float(cost(kin, b.rolled[kin])) for b in blades])
        static = np.array([b.costs[k] for b in blades])
        good = np.isfinite(rolled)
        tau = float(stats.kendalltau(static[good], rolled[good]).statistic) if good.sum() > 2 else math.nan
        out.append((name, kin, tau))
    return tuple(out)
