"""A search for recipes that a grinder can make: plan, front, and what stands behind each blade of it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import scipy

from experiments.analysis.draws import checked_draw_count, intervals, run_draws, sample
from experiments.analysis.finds import Find, Tally, Widened, finds_of, widened
from experiments.analysis.frontier import cost
from experiments.analysis.grinding import check, read_grinding
from experiments.analysis.judging.statement import Statement, statement
from experiments.analysis.optimizer import (
    Effort,
    Evaluated,
    SearchProblem,
    costs_of,
    evaluate_recipes,
    optimize,
    random_search,
    read_effort,
    volume,
)
from experiments.analysis.shop import ShopSteps, Tolerance, read_steps, tolerance_of
from experiments.analysis.space import Space, read_space
from experiments.analysis.variants import LINE_RADII, drawn_setting, gains, single_radius, statics, varied_candidate
from experiments.request.blade import SharedBlade, read_candidate
from experiments.request.comparison import Case, Request, assemble, read_stated
from experiments.request.fields import Fields
from experiments.request.objectives import measure_name, read_objectives
from experiments.request.opinions import Opinions
from experiments.request.recipe_files import own_candidates
from experiments.request.uncertainty import GRINDING, Input, Sampling, read_sampling
from experiments.run.workers import Progress, Workers
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC, evaluate
from sim.trial import Candidate, Setting, Trial

KEYS = (
    "uncertainty", "draws", "seed", "space", "grinding", "objectives", "robust", "worst_quantile", "robust_draws",
    "evaluations", "population", "front_size", "compare_random", "starting_curve", "caps",
    "radius_step", "boundary_step", "start_from",
)  # fmt: skip
MOST_SEARCHED = 500_000  # points; about 600 bytes of each are kept, and as many of random ones
LEAST_LEFT = 0.5  # share of the draws that must be left where some cannot be built
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
    """A checked search. starts: points of known recipes, a person's own first; random: whether a random search stands
    beside it; own, left_out: names of a person's own recipes that are starts, and of those that the space does not
    hold; lost: draws of a robust search that could not be built and do not count."""

    request: Request
    problem: SearchProblem
    starts: tuple[np.ndarray, ...]
    effort: Effort
    front_size: int
    random: bool
    sampling: Sampling
    steps: ShopSteps
    tolerance: Tolerance
    own: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    lost: int = 0


@dataclass(frozen=True)
class FrontBlade:
    """A find: all its numbers are those of the recipe in shop steps. gains, grinding: 5, 50, 95 % of the frontier gain
    for each pair, under all inputs and under errors of grinding only; said, ground: what either says against
    every single radius, for each pair; alone (pair): gain with nothing uncertain;
    without: gain (zone, pair) with that zone given its neighbour's radius; nearest: name of the nearest known recipe
    and the greatest height between them, m; values: every static measure with nothing uncertain, SI; rolled: measures
    of the rolled movements, nan where they failed; limits: sentences of limits that it breaks; bounds: those of the
    space that it lies on, and what it gives beyond them."""

    candidate: Candidate
    point: np.ndarray
    costs: np.ndarray
    alone: np.ndarray
    gains: np.ndarray
    grinding: np.ndarray
    said: tuple[Statement, ...]
    ground: tuple[Statement, ...]
    without: np.ndarray
    nearest: tuple[str, float]
    values: dict[str, float]
    rolled: dict[str, float]
    limits: tuple[str, ...]
    bounds: tuple[Widened, ...]


@dataclass(frozen=True)
class SearchResult:
    """What a search found. random: the random search or None, and its hypervolume; volumes: (points evaluated,
    hypervolume) of the search; reference: costs of the reference, over the same settings as those of the finds; values:
    every static measure of the reference, SI; line: (radius, objective) costs of single radii; tally: what became of
    the front; pairs: of objectives taken the way that the registry says, which alone have a gain; taus: (static,
    rolled, Kendall's tau over the front)."""

    found: Evaluated
    random: Evaluated | None
    volumes: np.ndarray
    random_volume: float
    reference: np.ndarray
    values: dict[str, float]
    radii: np.ndarray
    line: np.ndarray
    blades: tuple[FrontBlade, ...]
    tally: Tally
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
    settings, lost = _settings(request, how, sampling, count, [name for name, _ in objectives])
    problem = SearchProblem(space, base.section, settings, objectives, quantile if how == "worst" else None, limits,
                            stock, _caps(fields, base, settings))  # fmt: skip
    own, effort = _own(fields, stated.blade), read_effort(fields, MOST_SEARCHED)
    if len(own) > effort.population:
        raise BladeError(f"start_from: {len(own)} recipes; list at most {effort.population}, as many as `population`.")
    steps, points = read_steps(fields), [space.point(c.recipe) for c in own]
    plan = Plan(
        request, problem, _starts((*own, *request.candidates), space), effort,
        fields.count("front_size", 1, 60), fields.flag("compare_random"), sampling, steps,
        tolerance_of(steps, sampling.inputs), tuple(c.name for c, p in zip(own, points) if p is not None),
        tuple(c.name for c, p in zip(own, points) if p is None), lost,
    )  # fmt: skip
    fields.done()
    checked_draw_count(sampling.draws, max(plan.front_size, len(request.cases)))
    return plan


def _own(fields: Fields, blade: SharedBlade) -> list[Candidate]:
    """A person's own recipes that the search starts from: a list as in a file of candidates, or the name of one."""
    if not fields.has("start_from") or fields.raw("start_from") == []:
        return []
    given = fields.raw("start_from")
    listed = own_candidates(given, "start_from") if isinstance(given, str) else fields.listed("start_from")
    return [read_candidate(entry, blade, f"start_from[{i}]") for i, entry in enumerate(listed)]


def _caps(
    fields: Fields, base: Candidate, settings: Sequence[tuple[Setting, dict]]
) -> tuple[tuple[str, float, float], ...]:
    """What a blade must keep: (measure, +1 at most or -1 at least, value). A ratio counts from the reference's own
    mean over all settings."""
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
            value *= np.mean([statics(varied_candidate(base, errors), one, [name])[0] for one, errors in settings])
            if not value > 0:
                raise BladeError(f"{entry.where}: {name} cannot be had of the reference; give at_most or at_least.")
        out.append((name, 1.0 if ways[0].endswith("most") else -1.0, float(value)))
    return tuple(out)


def _settings(
    request: Request, how: str, sampling: Sampling, count: int, names: Sequence[str]
) -> tuple[tuple[tuple[Setting, dict], ...], int]:
    """(every skater in every draw, the same draws for all blades, with that draw's errors of grinding; draws lost).

    A draw that cannot be built, or in which the reference has no such measure above 0, is left out for every skater.
    Raises BladeError when fewer than half of the draws, or fewer than two, are left.
    """
    bare = [replace(s, scenarios={}) for s in request.settings]
    if how == "nominal":
        return ((bare[0], {}),), 0
    columns = [(i.name, -1) for i in sampling.inputs]
    inputs = [name for name, _ in columns]
    draws = [dict(zip(inputs, map(float, row))) for row in sample(sampling.inputs, columns, count, sampling.seed)]
    built = [made for draw in draws if (made := _built(bare, draw, names))]
    if len(built) < max(2, LEAST_LEFT * count):
        raise BladeError(
            f"robust_draws: only {len(built)} of {count} draws of the uncertain inputs can be built with this skater "
            "and reference; narrow the inputs of `uncertainty`."
        )
    return tuple(made[k] for k in range(len(bare)) for made in built), count - len(built)


def _built(bare: Sequence[Setting], draw: dict[str, float], names: Sequence[str]) -> list[tuple[Setting, dict]]:
    """Every skater in one draw; none where one of them, or the reference's measures, cannot be had."""
    errors, out = {k: draw[k] for k in SHARED_ERRORS if k in draw}, []
    try:
        for setting in bare:
            there = drawn_setting(setting, {k: v for k, v in draw.items() if k not in GRINDING})
            values = statics(varied_candidate(bare[0].reference, errors), there, names)
            if not (np.isfinite(values) & (values > 0)).all():
                return []
            out.append((there, errors))
    except BladeError:
        return []
    return out


def _starts(known: Sequence[Candidate], space: Space) -> tuple[np.ndarray, ...]:
    """Points of the known recipes that the space holds, in their order."""
    points = [space.point(candidate.recipe) for candidate in known]
    return tuple(np.clip(p, 0.0, 1.0) for p in points if p is not None)


def run(plan: Plan, workers: Workers, progress: Progress) -> SearchResult:
    """Search, verify and explain. Raises BladeError where no blade of the space can be ground."""
    steps: list[int] = []
    radii = np.geomspace(plan.request.line_m[0], plan.request.line_m[-1], LINE_RADII)
    reference, line, able = _single_radii(plan, radii, workers)
    if not np.isfinite(reference).all():
        raise BladeError("objectives: one of them cannot be had of the reference; choose other objectives or states.")

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
    ways = dict(plan.problem.objectives)
    pairs = tuple(p for p in combinations(ways, 2) if all(REGISTRY[name].better == ways[name] for name in p))
    finds, tally = finds_of(plan.problem, found, plan.steps, plan.tolerance, line[able], plan.front_size, workers)
    blades = _blades(plan, finds, pairs, radii, workers) if finds else ()
    setting = replace(plan.request.settings[0], scenarios={})
    values = dict(zip(STATIC, map(float, statics(_base(plan), setting, STATIC))))
    return SearchResult(found, random, volumes, random_volume, reference, values, radii, line, blades, tally, pairs,
                        _taus(blades, tuple(ways)))  # fmt: skip


def _base(plan: Plan) -> Candidate:
    """The reference on the section that is searched: what costs are ratios to, and single radii are like."""
    return Candidate("reference", plan.request.settings[0].reference.recipe, plan.problem.section)


def _blades(
    plan: Plan, finds: Sequence[Find], pairs: tuple[tuple[str, str], ...], radii: np.ndarray, workers: Workers
) -> tuple[FrontBlade, ...]:
    """The finds with all that is said of them."""
    setting, section, problem = plan.request.settings[0], plan.problem.section, plan.problem
    names = [f"found {k + 1}" for k in range(len(finds))]
    blades = [Candidate(name, replace(f.recipe, name=name), section) for name, f in zip(names, finds)]
    everything = _gains(plan, blades, pairs, plan.sampling.inputs, workers)
    ground = tuple(i for i in plan.sampling.inputs if i.name in GRINDING)
    only = _gains(plan, blades, pairs, ground, workers) if ground else everything * np.nan
    said, kept = (_said(samples, plan.request.opinions) for samples in (everything, only))
    known, beyond = plan.request.candidates, widened(problem, finds, plan.steps, problem.limits, workers)
    bare, out = replace(setting, scenarios={}), []
    for k, (blade, find) in enumerate(zip(blades, finds)):
        zoned = [replace(blade, recipe=r) for r in without_each_zone(blade.recipe)]
        alone, *without = nominal_gains([blade, *zoned], setting, pairs, radii)
        values = dict(zip(STATIC, map(float, statics(blade, bare, STATIC))))
        out.append(FrontBlade(
            blade, find.point, find.costs, alone, intervals(everything[:, k]), intervals(only[:, k]), said[k], kept[k],
            np.array(without).reshape(len(zoned), len(pairs)), nearest(blade, known), values, _rolled(blade, setting),
            tuple(check(blade.recipe, problem.limits, problem.stock)), beyond[k],
        ))  # fmt: skip
    return tuple(out)


def _said(samples: np.ndarray, opinions: Opinions) -> list[tuple[Statement, ...]]:
    """What (draw, blade, pair) gains say of each blade on each pair."""
    return [tuple(statement(pair, opinions) for pair in blade.T) for blade in samples.transpose(1, 0, 2)]


def _gains(plan: Plan, blades: Sequence[Candidate], pairs, inputs: Sequence[Input], workers: Workers) -> np.ndarray:
    """(draw, blade, pair) frontier gains under these uncertain inputs."""
    setting = plan.request.settings[0]
    cases = tuple(Case(k, blade, setting) for k, blade in enumerate(blades))
    front = replace(plan.request, cases=cases, settings=(setting,), pairs=pairs)
    return run_draws(front, inputs, plan.sampling.draws, plan.sampling.seed, workers).gain


def _single_radii(plan: Plan, radii: np.ndarray, workers: Workers) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(costs of the reference; (radius, objective) costs of single radii on its runner; which of them a search may
    find), all over the settings of the search: the reference has a worst case of its own."""
    base = _base(plan)
    blades = [base, *(single_radius(base, float(r)) for r in radii)]
    ((costs,),) = workers.map(costs_of, [tuple(blades)], plan.problem)
    able = evaluate_recipes(plan.problem, workers, [b.recipe for b in blades[1:]]).allowed
    return costs[0], costs[1:], able


def nominal_gains(
    blades: Sequence[Candidate], setting: Setting, pairs: Sequence[tuple[str, str]], radii: np.ndarray
) -> np.ndarray:
    """(blade, pair) frontier gain with nothing uncertain."""
    bare, names = replace(setting, scenarios={}), list(dict.fromkeys(name for pair in pairs for name in pair))
    values = np.array([statics(blade, bare, names) for blade in blades])
    return gains(blades, dict(zip(names, values.T)), pairs, radii, bare)


def without_each_zone(recipe: Recipe) -> list[Recipe]:
    """The recipe with each zone in turn given the radius of its longer neighbour: what that zone is there for."""
    if len(recipe.zones) < 2:
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
    for k, name in enumerate(names if blades else ()):
        kin = ROLLED_KIN.get(name)
        if kin is None or any(kin not in b.rolled for b in blades):
            continue
        rolled = np.array([float(cost(kin, b.rolled[kin])) for b in blades])
        static = np.array([b.costs[k] for b in blades])
        good = np.isfinite(rolled)
        tau = float(scipy.stats.kendalltau(static[good], rolled[good]).statistic) if good.sum() > 2 else math.nan
        out.append((name, kin, tau))
    return tuple(out)
