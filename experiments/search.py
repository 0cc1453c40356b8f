"""A search for recipes that a grinder can make: request, front, and what stands behind each blade of it."""

import math
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from scipy import stats

from experiments import certainty as c
from experiments import seeker
from experiments.cases import Case, Request, candidate, request
from experiments.fields import Fields
from experiments.grinding import check, read_grinding
from experiments.scoring import BEYOND, cost, frontier_gain, measure_name
from experiments.space import Space, read_space
from experiments.variants import GRINDING, line_costs, runner_like, statics, varied_setting
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import REGISTRY, evaluate
from sim.trial import Candidate, Setting, Trial

KEYS = (
    "space", "grinding", "objectives", "robust", "worst_quantile", "robust_draws", "evaluations", "population",
    "front_size", "compare_random", "starting_curve", "caps",
)  # fmt: skip
LINE_RADII = 33
ALIKE = 0.02  # a front that spans less than this of a cost (log) is not spread out along it
# a static measure and what a rolled movement says of the same thing
ROLLED = {
    "glide_drag_coefficient": "stride_ice_loss", "turn_drag": "turn_exit_speed",
    "turn_tightest_clean_radius": "turn_time", "critical_ankle_stiffness": "nudge_settling_time",
}  # fmt: skip


@dataclass(frozen=True)
class Plan:
    """A checked search."""

    asked: seeker.Asked
    seeds: tuple[np.ndarray, ...]
    size: int
    budget: int
    front_size: int
    random: bool
    draws: int
    seed: int


@dataclass(frozen=True)
class Blade:
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
class Made:
    """What a search found. volumes: (points judged, hypervolume) of the search; random: the random search or None, and
    its hypervolume; reference: costs of the reference; taus: (static, rolled, Kendall's tau over the front)."""

    request: Request
    plan: Plan
    found: seeker.Found
    random: seeker.Found | None
    volumes: np.ndarray
    random_volume: float
    reference: np.ndarray
    worst: np.ndarray
    blades: tuple[Blade, ...]
    pairs: tuple[tuple[str, str], ...]
    radii: np.ndarray
    line: np.ndarray  # (radius, objective) costs of single radii
    taus: tuple[tuple[str, str, float], ...]


def read_search(own: dict, rest: dict):
    """Check everything; returns the request and what runs it."""
    fields = Fields(own, "")
    asked = request(rest)
    objectives = objectives_of(fields)
    how = fields.choice("robust", ("nominal", "mean", "worst"))
    quantile, count = fields.number("worst_quantile", 0.5, 1.0), fields.count("robust_draws", 2, 4096)
    inputs, seed = c.read_inputs(fields.inner("uncertainty")), fields.count("seed", 0, 2**31 - 1)
    if how == "nominal" and len(asked.settings) > 1:
        raise BladeError("robust: several skaters need a choice between them; write robust=mean or robust=worst.")
    limits = read_grinding(fields.inner("grinding"))
    base = asked.settings[0].reference
    space = read_space(fields.inner("space"), base.recipe)
    stock = None
    if fields.has("starting_curve"):
        stock = candidate(fields.raw("starting_curve"), rest["blade"], "starting_curve").curve
    c.fitting(count, len(asked.settings), "robust_draws")
    drawn = _settings(asked, inputs, how, count, seed)
    over = quantile if how == "worst" else None
    sought = seeker.Asked(space, base.section, drawn, objectives, over, limits, stock, _caps(fields, base, drawn[0][0]))
    size, budget = fields.count("population", 8, 2000), fields.count("evaluations", 8, 5_000_000)
    front, draws = fields.count("front_size", 1, 60), fields.count("draws", 2, 100_000)
    random = fields.flag("compare_random")
    seeds = _seeds(asked, space)
    fields.done()
    plan = Plan(sought, seeds, size, budget, front, random, draws, seed)
    c.fitting(draws, max(front, len(asked.cases)))
    return asked, lambda folder, on_chunk: search(asked, plan, inputs, folder, on_chunk)


def objectives_of(fields: Fields) -> tuple[tuple[str, str], ...]:
    """(measure, better) of each objective. Raises BladeError for rolled, signed or directionless ones."""
    out = []
    for i, entry in enumerate(fields.listed("objectives")):
        where = f"objectives[{i}]"
        given = Fields(entry, where) if isinstance(entry, dict) else None
        name = measure_name(Fields({}, where), str(given.raw("measure") if given else entry))
        measure = REGISTRY[name]
        better = given.choice("better", ("lower", "higher")) if given else measure.better
        if given:
            given.done()
        if better == "neither" or measure.signed or name not in c.STATIC:
            raise BladeError(
                f"{where}: {name} cannot drive a search; choose a static measure with a better direction, or write "
                "{measure: NAME, better: lower} for an open one."
            )
        out.append((name, better))
    if not 2 <= len({n for n, _ in out}) == len(out) <= 4:
        raise BladeError("objectives: name two to four different measures.")
    return tuple(out)


def _caps(fields: Fields, base: Candidate, setting: Setting) -> tuple[tuple[str, float, float], ...]:
    """What a blade must keep: (measure, +1 at most or -1 at least, value). A ratio counts from the reference."""
    out, listed = [], fields.raw("caps")
    for i, given in enumerate(listed if isinstance(listed, list) else [listed]):
        entry = Fields(given, f"caps[{i}]")
        name = measure_name(entry, str(entry.raw("measure")))
        if name not in c.STATIC or REGISTRY[name].signed:
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


def _settings(asked: Request, inputs, how, count, seed) -> tuple[tuple[Setting, dict], ...]:
    """Every skater in every draw (the same draws for all blades), with that draw's errors of grinding."""
    bare = [replace(s, scenarios={}) for s in asked.settings]
    if how == "nominal":
        return ((bare[0], {}),)
    columns = [(i.name, -1) for i in inputs]
    draws = [dict(zip((n for n, _ in columns), map(float, row))) for row in c.sample(inputs, columns, count, seed)]
    # a blade has this draw's hollow, thickness and edges besides its own errors of grinding
    own = (*GRINDING, "hollow_factor", "thickness_shift", "edge_shift")
    return tuple(
        (varied_setting(setting, {k: v for k, v in d.items() if k not in GRINDING}), {k: d[k] for k in own if k in d})
        for setting in bare for d in draws
    )  # fmt: skip


def _seeds(asked: Request, space: Space) -> tuple[np.ndarray, ...]:
    """Points of the known recipes (the request's candidates) that the space holds."""
    known = [case.candidate.recipe for case in asked.cases if case.setting is asked.settings[0]]
    points = [space.point(recipe) for recipe in known]
    return tuple(np.clip(p, 0.0, 1.0) for p in points if p is not None)


# ---------------------------------------------------------------- the study


def search(asked: Request, plan: Plan, inputs, folder, on_chunk) -> Made:
    """Search, verify and explain."""
    base = Candidate("reference", asked.settings[0].reference.recipe, plan.asked.section)
    answers, steps = seeker.Answers(plan.asked, folder.crew), []

    def on_step(done, costs):
        steps.append(done)
        on_chunk(done, plan.budget * (1 + plan.random))

    found = seeker.seek(plan.asked, answers, plan.seeds, plan.size, plan.budget, plan.seed, on_step)
    random = seeker.at_random(plan.asked, answers, len(found.points), plan.seed) if plan.random else None
    if not found.allowed.any():
        raise BladeError(
            "search: no blade of this space can be ground within these limits; widen the space, or the limits in "
            "configs/grinding."
        )
    worst = _worst(found)
    volumes = np.array([[n, seeker.volume(found.costs[:n][found.allowed[:n]], worst)] for n in steps])
    chosen = spread_out(found, plan.front_size)
    pairs = tuple(combinations([name for name, _ in plan.asked.objectives], 2))
    radii = np.geomspace(asked.line_m[0], asked.line_m[-1], LINE_RADII)
    setting = replace(asked.settings[0], scenarios={})
    names = [name for name, _ in plan.asked.objectives]
    line = _costs(plan, np.array([statics(_single(base, r), setting, names) for r in radii]))
    blades = _blades(asked, plan, found, chosen, inputs, pairs, radii, folder.crew)
    return Made(
        asked, plan, found, random, volumes,
        seeker.volume(random.costs[random.allowed], worst) if random is not None else math.nan,
        _costs(plan, statics(base, setting, names)[None])[0], worst, blades, pairs, radii, line, _taus(blades, names),
    )  # fmt: skip


def _worst(found: seeker.Found) -> np.ndarray:
    """The corner that hypervolume is measured from: 5 % beyond the worst cost of the front, each."""
    return 1.05 * found.costs[found.front()].max(axis=0)


def _single(base: Candidate, radius: float) -> Candidate:
    recipe = replace(base.recipe, family="single_radius", radii_m=(float(radius),), shares=())
    return Candidate(f"{radius:.4f} m", recipe, base.section)


def _costs(plan: Plan, values: np.ndarray) -> np.ndarray:
    """(n, objective) measures as costs."""
    return np.column_stack([cost(n, values[:, k], way) for k, (n, way) in enumerate(plan.asked.objectives)])


def spread_out(found: seeker.Found, most: int) -> np.ndarray:
    """At most `most` points of the front, ordered along the first cost: the ends, then ever the one farthest (in log
    costs) from those taken."""
    front = found.front()
    place = np.log(found.costs[front])
    place = (place - place.min(axis=0)) / np.maximum(np.ptp(place, axis=0), ALIKE)
    taken = list(dict.fromkeys([int(np.argmin(place[:, k])) for k in range(place.shape[1])]))[:most]
    while len(taken) < min(most, len(front)):
        away = np.min(np.linalg.norm(place[:, None] - place[taken][None], axis=2), axis=1)
        taken.append(int(np.argmax(away)))
    return front[sorted(taken, key=lambda i: found.costs[front[i], 0])]


# ---------------------------------------------------------------- is it really better


def _blades(asked: Request, plan: Plan, found, chosen, inputs, pairs, radii, crew) -> tuple[Blade, ...]:
    setting = asked.settings[0]
    made = [Candidate(f"found {k + 1}", plan.asked.space.recipe(found.points[i], f"found {k + 1}"), plan.asked.section)
            for k, i in enumerate(chosen)]  # fmt: skip
    front = replace(asked, cases=tuple(Case(k, blade, setting) for k, blade in enumerate(made)), settings=(setting,),
                    pairs=pairs)  # fmt: skip
    everything = c.intervals(c.run_draws(front, inputs, plan.draws, plan.seed, crew).gain)
    ground = tuple(i for i in inputs if i.name in GRINDING)
    only = c.intervals(c.run_draws(front, ground, plan.draws, plan.seed, crew).gain) if ground else everything * np.nan
    known = [case.candidate for case in asked.cases if case.setting is setting]
    out = []
    for k, (blade, i) in enumerate(zip(made, chosen)):
        alone = nominal_gains(blade, setting, pairs, radii)
        without = np.array([nominal_gains(replace(blade, recipe=r), setting, pairs, radii)
                            for r in without_each_zone(blade.recipe)]).reshape(-1, len(pairs))  # fmt: skip
        out.append(Blade(
            blade, found.points[i], found.costs[i], alone, everything[:, k], only[:, k], without,
            nearest(blade, known), _rolled(blade, setting), tuple(check(blade.recipe, plan.asked.limits,
                                                                       plan.asked.stock)),
        ))  # fmt: skip
    return tuple(out)


def nominal_gains(blade: Candidate, setting: Setting, pairs, radii) -> np.ndarray:
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


def nearest(blade: Candidate, known) -> tuple[str, float]:
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
    names = [n for n in dict.fromkeys(ROLLED.values()) if REGISTRY[n].state in setting.scenarios]
    values, _ = evaluate(Trial(blade, setting), names)
    return values


def _taus(blades, names) -> tuple[tuple[str, str, float], ...]:
    """Does the order along the front survive rolling: Kendall's tau of each driving measure with its rolled kin."""
    out = []
    for k, name in enumerate(names):
        kin = ROLLED.get(name)
        if kin is None or any(kin not in b.rolled for b in blades):
            continue
        rolled = np.array([float(cost(kin, b.rolled[kin])) for b in blades])
        static = np.array([b.costs[k] for b in blades])
        good = np.isfinite(rolled)
        tau = float(stats.kendalltau(static[good], rolled[good]).statistic) if good.sum() > 2 else math.nan
        out.append((name, kin, tau))
    return tuple(out)


def verdict(blade: Blade, pair: int) -> str:
    """Whether a blade lies beyond single radii on a pair, as far as its interval supports it."""
    low, _, high = blade.gains[:, pair]
    if not math.isfinite(low):
        return "cannot be had"
    return "beyond" if low > BEYOND else "within" if high < 2 - BEYOND else "too close to call"
