"""The search itself: points to costs over workers, NSGA-II by ask and tell, a random search of equal cost beside it."""

from dataclasses import dataclass

import numpy as np
from pymoo.algorithms.moo.nsga2 import NSGA2
from pymoo.core.evaluator import Evaluator
from pymoo.core.problem import Problem
from pymoo.indicators.hv import HV
from pymoo.problems.static import StaticProblem
from pymoo.util.nds.non_dominated_sorting import NonDominatedSorting
from scipy.stats import qmc

from experiments.crew import Crew
from experiments.grinding import BEYOND, LIMITS, Grinding, violations
from experiments.scoring import cost
from experiments.space import Space
from experiments.variants import statics, varied_candidate
from sim.blade.curve import BladeCurve
from sim.blade.section import Section
from sim.errors import BladeError
from sim.trial import Candidate, Setting

PORTION = 16  # points that a worker takes at once
LOST = 1e6  # cost of a blade that cannot be had: dominated by all, and finite


@dataclass(frozen=True)
class Asked:
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
class Found:
    """All that was evaluated, in order. points (n, x), costs (n, objective), beyond (n, limit): above 0 breaks a limit;
    born (n,): generation, -1 for the random search."""

    points: np.ndarray
    costs: np.ndarray
    beyond: np.ndarray
    born: np.ndarray

    @property
    def allowed(self) -> np.ndarray:
        """(n,) within all limits and judged."""
        return (self.beyond <= BEYOND).all(axis=1) & (self.costs < LOST).all(axis=1)

    def front(self) -> np.ndarray:
        """Indices of allowed points that no allowed point beats on every cost, each place once."""
        able = np.flatnonzero(self.allowed)
        if not len(able):
            return able
        best = able[NonDominatedSorting().do(self.costs[able], only_non_dominated_front=True)]
        return best[np.sort(np.unique(self.costs[best].round(12), axis=0, return_index=True)[1])]


def judge(asked: Asked, point) -> tuple[list[float], list[float]]:
    """(costs, excesses over the limits) of a point. A point beyond a limit is not rolled out: its costs are LOST."""
    try:
        recipe = asked.space.recipe(point)
        excess = violations(recipe, asked.limits, asked.stock)
    except BladeError:  # no curve at all
        return [LOST] * len(asked.objectives), [1.0] * asked.excesses
    if (excess > BEYOND).any():
        return [LOST] * len(asked.objectives), [*excess, *([0.0] * len(asked.caps))]
    names, wanted = [name for name, _ in asked.objectives], len(asked.objectives)
    names += [name for name, _, _ in asked.caps]
    table, capped = np.full((len(asked.settings), wanted), np.nan), np.zeros(len(asked.caps))
    for i, (setting, errors) in enumerate(asked.settings):
        try:
            blade = varied_candidate(Candidate(recipe.name, recipe, asked.section), errors)
        except BladeError:
            continue
        values = statics(blade, setting, names)
        table[i] = [float(cost(n, v, way)) for (n, way), v in zip(asked.objectives, values)]
        capped += [side * (v / cap - 1.0) for (_, side, cap), v in zip(asked.caps, values[wanted:])]
    if not np.isfinite(table).all() or (table <= 0).any() or not np.isfinite(capped).all():
        return [LOST] * wanted, [*excess, *([0.0] * len(asked.caps))]
    over = table.mean(axis=0) if asked.how is None else np.quantile(table, asked.how, axis=0)
    return over.tolist(), [*excess, *(capped / len(asked.settings))]


def several(asked: Asked, points) -> list[np.ndarray]:
    """Costs (point, objective) and excesses (point, limit) of a portion of points. What a worker does."""
    made = [judge(asked, point) for point in points]
    return [np.array([m[0] for m in made]), np.array([m[1] for m in made])]


class Answers:
    """Points to costs and excesses, over a crew."""

    def __init__(self, asked: Asked, crew: Crew):
        self.asked, self.crew = asked, crew

    def __call__(self, points) -> tuple[np.ndarray, np.ndarray]:
        points = np.asarray(points, float)
        portions = [points[i : i + PORTION] for i in range(0, len(points), PORTION)]
        costs, beyond = map(np.concatenate, zip(*self.crew.map(several, portions, self.asked)))
        return costs, beyond


def seek(asked: Asked, answers: Answers, seeds, size: int, budget: int, seed: int, on_step=lambda done, front: None):
    """NSGA-II (Deb et al. 2002; pymoo) from seeds and a Latin hypercube, until `budget` points were judged.

    The same seed asks the same points in the same order, whatever the number of workers.
    """
    n = len(asked.space.names)
    cube = qmc.LatinHypercube(n, rng=np.random.default_rng(seed)).random(size)
    start = np.array([*seeds, *cube])[:size]
    problem = Problem(n_var=n, n_obj=len(asked.objectives), n_ieq_constr=asked.excesses, xl=0.0, xu=1.0)
    algorithm = NSGA2(pop_size=size, sampling=start, eliminate_duplicates=True)
    algorithm.setup(problem, termination=("n_gen", 10**9), seed=seed, verbose=False)
    rows, born = [], []
    while len(born) < budget:
        asking = algorithm.ask()
        if asking is None or not len(asking):
            break
        points = asking.get("X")
        costs, beyond = answers(points)
        Evaluator().eval(StaticProblem(problem, F=costs, G=beyond - BEYOND), asking)
        algorithm.tell(infills=asking)
        rows += list(zip(points, costs, beyond))
        born += [algorithm.n_iter or 0] * len(points)
        on_step(len(born), np.array([r[1] for r in rows]))
    return _found(rows, born)


def at_random(asked: Asked, answers: Answers, count: int, seed: int, most_tries: int = 200) -> Found:
    """As many points drawn evenly from what can be ground: what a search has to beat."""
    rng, points = np.random.default_rng([seed, 1]), []
    for _ in range(most_tries):
        cube = rng.random((count, len(asked.space.names)))
        points += [p for p in cube if _can_be_ground(asked, p)]
        if len(points) >= count:
            break
    rows = []
    for part in np.array_split(np.array(points[:count]), max(1, len(points[:count]) // 500)):
        rows += list(zip(part, *answers(part))) if len(part) else []
    return _found(rows, [-1] * len(rows))


def _can_be_ground(asked: Asked, point) -> bool:
    try:
        return bool((violations(asked.space.recipe(point), asked.limits, asked.stock) <= BEYOND).all())
    except BladeError:
        return False


def _found(rows, born) -> Found:
    return Found(*(np.array([r[i] for r in rows]) for i in range(3)), np.array(born))


def volume(costs: np.ndarray, worst: np.ndarray) -> float:
    """Hypervolume of log costs below `worst` (one a point that dominates nothing adds none); larger is better."""
    inside = costs[(costs < worst).all(axis=1)]
    return float(HV(ref_point=np.zeros(len(worst)))(np.log(inside / worst))) if len(inside) else 0.0
