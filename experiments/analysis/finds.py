"""From the front of a search to its finds: in shop steps, scored again, and only what a grind can tell apart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.analysis.bounds import Bound, bounds_of
from experiments.analysis.grinding import Grinding, check
from experiments.analysis.optimizer import Evaluated, SearchProblem, evaluate_recipes
from experiments.analysis.shop import ShopSteps, Tolerance, one_grind, one_radius, rounded
from experiments.run.workers import Workers
from sim.blade.recipe import Recipe
from sim.errors import BladeError

NARROW = 0.02  # finds that span less than this of a cost (log) are not spread out along it


@dataclass(frozen=True)
class Find:
    """A recipe in shop steps. costs: (objective,) of exactly this recipe; raw: the space's own recipe that it was
    rounded from, at `point`; name stays that of the search."""

    recipe: Recipe
    raw: Recipe
    point: np.ndarray
    costs: np.ndarray


@dataclass(frozen=True)
class Tally:
    """What became of the points of a front: each is one of these, or a find that is shown.

    alike: came to the recipe of another; unground: in shop steps beyond what can be ground, or beyond a cap; single:
    all its radii within the tolerance of one grind; beaten: another find or a single radius is better or equal in
    every cost; merged: one grind cannot tell it from a find that is shown; more: finds that are not shown.
    """

    front: int
    alike: int = 0
    unground: int = 0
    single: int = 0
    beaten: int = 0
    merged: int = 0
    more: int = 0


@dataclass(frozen=True)
class Widened:
    """What a find gives with a bound of the space moved outward. changes: (objective,) ratio of cost to the find's own,
    nan where it was not computed; refused: why it cannot be ground, or empty."""

    bound: Bound
    changes: np.ndarray
    refused: str = ""


def finds_of(
    problem: SearchProblem, found: Evaluated, steps: ShopSteps, tolerance: Tolerance, single: np.ndarray, most: int,
    workers: Workers,
) -> tuple[list[Find], Tally]:  # fmt: skip
    """(at most `most` finds in the order of the first cost, what became of the rest).

    single: (radius, objective) costs of single radii that can be ground: what a find must not be beaten by. A space of
    single radii only has asked for them: there they are finds.
    """
    front, space = found.front(), problem.space
    made: dict[Recipe, Find] = {}
    lost = 0
    for i in front:
        raw = space.recipe(found.points[i])
        try:
            recipe = rounded(raw, steps, space)
        except BladeError:  # a zone was rounded away
            lost += 1
            continue
        made.setdefault(recipe, Find(recipe, raw, found.points[i], found.costs[i]))
    again = evaluate_recipes(problem, workers, list(made))
    scored = [
        Find(f.recipe, f.raw, f.point, c) for f, c, good in zip(made.values(), again.costs, again.allowed) if good
    ]
    kept = scored if space.most == 1 else [f for f in scored if not one_radius(f.recipe, tolerance)]
    others = np.array([f.costs for f in scored]).reshape(len(scored), len(problem.objectives))
    others = np.vstack([others, single]) if space.most > 1 else others
    best = [f for f in kept if not beaten(f.costs, others)]
    chosen, merged = told_apart(best, tolerance, most)
    tally = Tally(
        len(front), len(front) - lost - len(made), lost + len(made) - len(scored), len(scored) - len(kept),
        len(kept) - len(best), merged, len(best) - merged - len(chosen),
    )  # fmt: skip
    return chosen, tally


def beaten(costs: np.ndarray, others: np.ndarray) -> bool:
    """Whether one of `others` (n, objective) is as low in every cost and lower in one."""
    return bool(((others <= costs).all(axis=1) & (others < costs).any(axis=1)).any())


def told_apart(finds: Sequence[Find], tolerance: Tolerance, most: int) -> tuple[list[Find], int]:
    """(at most `most` finds of which no two are one grind, in the order of the first cost; how many were merged).

    The ends first, then ever the one farthest, in log costs, from those taken: see NARROW. What one grind cannot tell
    from a find that is taken is merged into it.
    """
    if not finds:
        return [], 0
    place = np.log([f.costs for f in finds])
    place = (place - place.min(axis=0)) / np.maximum(np.ptp(place, axis=0), NARROW)
    ends = [int(np.argmin(place[:, k])) for k in range(place.shape[1])]
    left, away, taken, merged = np.ones(len(finds), bool), np.full(len(finds), np.inf), [], 0
    while left.any() and len(taken) < most:
        pick = next((i for i in ends if left[i]), None)
        pick = int(np.argmax(np.where(left, away, -1.0))) if pick is None else pick
        taken.append(pick)
        left[pick] = False
        same = [i for i in np.flatnonzero(left) if one_grind(finds[i].recipe, finds[pick].recipe, tolerance)]
        left[same] = False
        merged += len(same)
        away = np.minimum(away, np.linalg.norm(place - place[pick], axis=1))
    return [finds[i] for i in sorted(taken, key=lambda i: finds[i].costs[0])], merged


def widened(
    problem: SearchProblem, finds: Sequence[Find], steps: ShopSteps, limits: Grinding, workers: Workers
) -> list[tuple[Widened, ...]]:
    """For each find, every bound of the space that it lies on, with what the same recipe gives beyond that bound."""
    each = [bounds_of(f.recipe, f.raw, problem.space, steps, limits) for f in finds]
    moved = [b.moved for bounds in each for b in bounds if b.moved is not None]
    answers = evaluate_recipes(problem, workers, moved)
    costs = iter(zip(answers.costs, answers.allowed))
    return [tuple(_widened(problem, f, b, costs) for b in bounds) for f, bounds in zip(finds, each)]


def _widened(problem: SearchProblem, find: Find, bound: Bound, costs) -> Widened:
    nothing = np.full(len(find.costs), np.nan)
    if bound.moved is None:
        return Widened(bound, nothing)
    after, good = next(costs)
    if not good:
        why = check(bound.moved, problem.limits, problem.stock)
        return Widened(bound, nothing, why[0] if why else "a measure cannot be had there, or a cap is broken.")
    return Widened(bound, after / find.costs)
