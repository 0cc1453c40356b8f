"""Points of a search space to costs, NSGA-II by ask and tell over workers, and a random search of equal cost."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from experiments.analysis.frontier import cost
from experiments.analysis.grinding import LIMITS, ROUNDING, Grinding, violations
from experiments.analysis.space import Space
from experiments.analysis.variants import statics, varied_candidate
from experiments.request.fields import Fields
from experiments.request.uncertainty import read_seed
from experiments.run.workers import Workers
from sim.blade.curve import BladeCurve
from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.errors import BladeError
from sim.trial import Candidate, Setting

POINTS_TOGETHER = 16  # points that a worker takes at once
MOST_TRIES = 200  # portions of random points, to find as many as are wanted that can be ground
RANDOM_TOGETHER = 500  # random points that are evaluated at once
LOST_COST = 1e6  # cost of a blade that could not be evaluated: dominated by all others, and finite


@dataclass(frozen=True)
class SearchProblem:
    """What a point is judged by. settings: every skater (and draw) with the inputs of grinding of that draw;
    objectives: (measure, better); how: mean or a quantile of the costs over settings."""

    space: Space
    section: Section
    settings: tuple[tuple[Setting, dict], ...]
    objectives: tuple[tuple[str, str], ...]
    how: float | None  # quantile of the costs; None: their mean
    limits: Grinding
    stock: BladeCurve | None
    caps: tuple[tuple[str, float, float], ...] = ()  # (measure, +1 at most or -1 at least, value)

    @property
    def excesses(self) -> int:
        """How many excesses a point has: one for each limit of grinding, one for each cap."""
        return len(LIMITS) + len(self.caps)


@dataclass(frozen=True)
class Effort:
    """How long a search goes on: blades of one generation, blades in all, seed."""

    population: int
    evaluations: int
    seed: int


def read_effort(fields: Fields, most: int) -> Effort:
    """`population`, `evaluations` and `seed` of a config."""
    return Effort(fields.count("population", 8, 2000), fields.count("evaluations", 8, most), read_seed(fields))


@dataclass(frozen=True)
class Evaluated:
    """All that was evaluated, in order. points (n, x), costs (n, objective), beyond (n, limit): above 0 breaks a limit;
    born (n,): generation, -1 for the random search."""

    points: np.ndarray
    costs: np.ndarray
    beyond: np.ndarray
    born: np.ndarray

    @property
    def allowed(self) -> np.ndarray:
        """(n,) within all limits and evaluated."""
        return (self.beyond <= ROUNDING).all(axis=1) & (self.costs < LOST_COST).all(axis=1)

    def front(self) -> np.ndarray:
        """Indices of allowed points that no allowed point beats on every cost, each place once."""
        from pymoo.util.nds.non_dominated_sorting import NonDominatedSorting

        able = np.flatnonzero(self.allowed)
        if not len(able):
            return able
        best = able[NonDominatedSorting().do(self.costs[able], only_non_dominated_front=True)]
        return best[np.sort(np.unique(self.costs[best].round(12), axis=0, return_index=True)[1])]


def evaluate_point(problem: SearchProblem, point: np.ndarray) -> tuple[list[float], list[float]]:
    """(costs, excesses over the limits) of a point. One beyond a limit is not rolled out: its costs are LOST_COST."""
    try:
        recipe = problem.space.recipe(point)
    except BladeError:  # no curve at all
        return [LOST_COST] * len(problem.objectives), [1.0] * problem.excesses
    return evaluate_recipe(problem, recipe)


def evaluate_recipe(problem: SearchProblem, recipe: Recipe) -> tuple[list[float], list[float]]:
    """As `evaluate_point`, of a recipe that need not be one of the space."""
    try:
        excess = violations(recipe, problem.limits, problem.stock)
    except BladeError:
        return [LOST_COST] * len(problem.objectives), [1.0] * problem.excesses
    if (excess > ROUNDING).any():
        return [LOST_COST] * len(problem.objectives), [*excess, *([0.0] * len(problem.caps))]
    costs, capped = measured(problem, Candidate(recipe.name, recipe, problem.section))
    if costs is None:
        return [LOST_COST] * len(problem.objectives), [*excess, *([0.0] * len(problem.caps))]
    return costs, [*excess, *capped]


def measured(problem: SearchProblem, blade: Candidate) -> tuple[list[float] | None, np.ndarray]:
    """(costs over all settings, mean excess over each cap); no costs where any setting gives none.

    No limit of grinding is looked at: the reference, too, has a mean or a worst case, and it is this.
    """
    wanted = len(problem.objectives)
    names = [*(name for name, _ in problem.objectives), *(name for name, _, _ in problem.caps)]
    table, capped = np.full((len(problem.settings), wanted), np.nan), np.zeros(len(problem.caps))
    for i, (setting, errors) in enumerate(problem.settings):
        try:
            values = statics(varied_candidate(blade, errors), setting, names)
        except BladeError:
            continue
        table[i] = [float(cost(n, v, way)) for (n, way), v in zip(problem.objectives, values)]
        capped += [side * (v / cap - 1.0) for (_, side, cap), v in zip(problem.caps, values[wanted:])]
    if not np.isfinite(table).all() or (table <= 0).any() or not np.isfinite(capped).all():
        return None, capped
    over = table.mean(axis=0) if problem.how is None else np.quantile(table, problem.how, axis=0)
    return over.tolist(), capped / len(problem.settings)


def evaluate_points(problem: SearchProblem, points: np.ndarray) -> list[np.ndarray]:
    """Costs (point, objective) and excesses (point, limit) of a portion of points. What a worker does."""
    costs, excesses = zip(*(evaluate_point(problem, point) for point in points))
    return [np.array(costs), np.array(excesses)]


def evaluate_portion(problem: SearchProblem, recipes: Sequence[Recipe]) -> list[np.ndarray]:
    """As `evaluate_points`, of recipes."""
    costs, excesses = zip(*(evaluate_recipe(problem, recipe) for recipe in recipes))
    return [np.array(costs), np.array(excesses)]


def evaluate_recipes(problem: SearchProblem, workers: Workers, recipes: Sequence[Recipe]) -> Evaluated:
    """Recipes that need not be points of the space, over workers; `points` is empty, born -1."""
    portions = [tuple(recipes[i : i + POINTS_TOGETHER]) for i in range(0, len(recipes), POINTS_TOGETHER)]
    if not portions:
        return Evaluated(np.empty((0, 0)), np.empty((0, len(problem.objectives))), np.empty((0, problem.excesses)),
                         np.empty(0, int))  # fmt: skip
    costs, excesses = map(np.concatenate, zip(*workers.map(evaluate_portion, portions, problem)))
    return Evaluated(np.empty((len(costs), 0)), costs, excesses, np.full(len(costs), -1))


def costs_of(problem: SearchProblem, blades: Sequence[Candidate]) -> list[np.ndarray]:
    """(blade, objective) costs over all settings; nan where one has none. What a worker does; no limit is looked at."""
    out = np.full((len(blades), len(problem.objectives)), np.nan)
    for row, blade in zip(out, blades):
        costs, _ = measured(problem, blade)
        if costs is not None:
            row[:] = costs
    return [out]


def evaluate(problem: SearchProblem, workers: Workers, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Costs (point, objective) and excesses (point, limit) of points, over workers."""
    points = np.asarray(points, float)
    portions = [points[i : i + POINTS_TOGETHER] for i in range(0, len(points), POINTS_TOGETHER)]
    costs, excesses = map(np.concatenate, zip(*workers.map(evaluate_points, portions, problem)))
    return costs, excesses


def optimize(
    problem: SearchProblem, workers: Workers, starts: Sequence[np.ndarray], effort: Effort,
    on_step: Callable[[int], None] = lambda done: None,
) -> Evaluated:  # fmt: skip
    """NSGA-II (Deb et al. 2002; pymoo) from starts and a Latin hypercube, until the budget of points is spent.

    The same seed asks the same points in the same order, whatever the number of workers.
    """
    from pymoo.algorithms.moo.nsga2 import NSGA2  # heavy: not before the request is known to be good
    from pymoo.core.evaluator import Evaluator
    from pymoo.core.problem import Problem
    from pymoo.problems.static import StaticProblem

    n, size = len(problem.space.names), effort.population
    cube = scipy.stats.qmc.LatinHypercube(n, rng=np.random.default_rng(effort.seed)).random(size)
    box = Problem(n_var=n, n_obj=len(problem.objectives), n_ieq_constr=problem.excesses, xl=0.0, xu=1.0)
    algorithm = NSGA2(pop_size=size, sampling=np.array([*starts, *cube])[:size], eliminate_duplicates=True)
    algorithm.setup(box, termination=("n_gen", 10**9), seed=effort.seed, verbose=False)
    rows, born = [], []
    while len(born) < effort.evaluations:
        asking = algorithm.ask()
        if asking is None or not len(asking):
            break
        points = asking.get("X")
        costs, beyond = evaluate(problem, workers, points)
        Evaluator().eval(StaticProblem(box, F=costs, G=beyond - ROUNDING), asking)
        algorithm.tell(infills=asking)
        rows += list(zip(points, costs, beyond))
        born += [algorithm.n_iter or 0] * len(points)
        on_step(len(born))
    return _collected(rows, born)


def random_search(problem: SearchProblem, workers: Workers, count: int, seed: int) -> Evaluated:
    """As many points drawn evenly from what can be ground: what a search has to beat."""
    rng, points = np.random.default_rng([seed, 1]), []
    for _ in range(MOST_TRIES):
        cube = rng.random((count, len(problem.space.names)))
        points += [p for p in cube if _can_be_ground(problem, p)]
        if len(points) >= count:
            break
    rows = []
    for part in np.array_split(np.array(points[:count]), max(1, len(points[:count]) // RANDOM_TOGETHER)):
        rows += list(zip(part, *evaluate(problem, workers, part))) if len(part) else []
    return _collected(rows, [-1] * len(rows))


def _can_be_ground(problem: SearchProblem, point: np.ndarray) -> bool:
    try:
        return bool((violations(problem.space.recipe(point), problem.limits, problem.stock) <= ROUNDING).all())
    except BladeError:
        return False


def _collected(rows: list[tuple], born: list[int]) -> Evaluated:
    return Evaluated(*(np.array([r[i] for r in rows]) for i in range(3)), np.array(born))


def volume(costs: np.ndarray, worst: np.ndarray) -> float:
    """Hypervolume of log costs below `worst` (one a point that dominates nothing adds none); larger is better."""
    from pymoo.indicators.hv import HV

    inside = costs[(costs < worst).all(axis=1)]
    return float(HV(ref_point=np.zeros(len(worst)))(np.log(inside / worst))) if len(inside) else 0.0
