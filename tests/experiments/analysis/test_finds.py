"""From a front to finds, against brute force; what moving a bound gives, against the blade itself."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis import finds as module
from experiments.analysis import optimizer
from experiments.analysis.finds import Find, Tally, beaten, finds_of, told_apart, widened
from experiments.analysis.optimizer import Evaluated, SearchProblem, costs_of, evaluate_point, evaluate_recipes
from experiments.analysis.shop import ShopSteps, Tolerance
from experiments.analysis.space import Space
from experiments.run.workers import HERE
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import evaluate
from sim.trial import Candidate, Trial
from tests.experiments.analysis.hand import FT, SECTION, TEN, blade, setting
from tests.experiments.analysis.test_limits import SHOP, zoned

DRAG, ANKLE = "turn_drag", "critical_ankle_stiffness"
STEPS, TOLERANCE = ShopSteps(FT / 4, 1e-3), Tolerance(0.01, FT / 4, 2e-3, 2e-3)


def problem(count=(1, 3), caps=(), low=7.0, high=14.0) -> SearchProblem:
    there = Space("zones", *count, "free", (low * FT, high * FT), (0.0, 0.0), (0.02, 0.02), TEN.recipe)
    return SearchProblem(there, SECTION, ((setting(), {}),), ((DRAG, "lower"), (ANKLE, "lower")), None,
                         replace(SHOP, template_resolution_m=0.0), None, caps)  # fmt: skip


def find(recipe: Recipe, *costs: float) -> Find:
    return Find(recipe, recipe, np.zeros(1), np.array(costs))


# ---------------------------------------------------------------- told apart, and in which order


def apart(costs, most):
    """Places, in the order of the first cost, of blades that any grind tells apart."""
    made = [find(zoned(7 + k, 20), *row) for k, row in enumerate(np.atleast_2d(costs))]
    taken, merged = told_apart(made, TOLERANCE, most)
    assert merged == 0
    return [next(i for i, m in enumerate(made) if m is f) for f in taken]


def test_the_ends_come_first_and_then_ever_the_farthest():
    """Costs e^t and e^-t at t = 0, 0.1, 0.45, 0.6, 1: the ends, then 0.45 (0.45 away), then 0.6 and 0.1."""
    places = (0.6, 0.0, 1.0, 0.1, 0.45)
    costs = np.exp([[t, -t] for t in places])
    assert [places[i] for i in apart(costs, 2)] == [0.0, 1.0]
    assert [places[i] for i in apart(costs, 3)] == [0.0, 0.45, 1.0]
    assert [places[i] for i in apart(costs, 9)] == [0.0, 0.1, 0.45, 0.6, 1.0]
    assert [places[i] for i in apart(costs, 1)] == [0.0]
    assert told_apart([], TOLERANCE, 3) == ([], 0)


def test_a_cost_that_hardly_differs_is_not_spread_along():
    """The first two costs trade over a factor e; the third spans a tenth of a percent: far below 2 %, hardly counts."""
    costs = np.exp([[0.0, 1.0, 0.001], [0.5, 0.5, 0.0006], [0.52, 0.48, 0.0], [1.0, 0.0, 0.0005]])
    assert sorted(apart(costs, 3)) == [0, 2, 3], "the ends of all three costs"
    more = np.exp([[0.0, 1.0, 0.0], [0.5, 0.5, 0.0002], [0.02, 0.98, 0.001], [1.0, 0.0, 0.0005]])
    assert sorted(apart(more, 3)) == [0, 1, 3], "far in the third cost, and near in all others"


@pytest.mark.parametrize(("first", "taken"), [(0.49, 1), (0.42, 2)])
def test_a_span_below_two_percent_counts_in_shares_of_two_percent(first, taken):
    """The second cost spans 1.8 %: nine tenths. Of the ends' distances, the blade at (0.9, 0.54) has 0.549 to the
    nearer one; that at 0.65 x 0.9 has 0.583 if it lies at 0.49 in the first cost, and 0.525 at 0.42."""
    costs = np.exp([[0.0, 0.018], [first, 0.018 * 0.65], [0.9, 0.018 * 0.6], [1.0, 0.0]])
    assert sorted(apart(costs, 3)) == [0, taken, 3]


def test_what_one_grind_cannot_tell_from_a_find_that_is_taken_is_merged_into_it():
    """Boundaries at 80, 81, 82 and 83 mm, 2 mm told apart: the ends 80 and 83 take 81 and 82 with them."""
    made = [find(zoned(8, 12, shares=(80 + k, 160 - k)), np.exp(k), np.exp(-k)) for k in (2, 0, 3, 1)]
    taken, merged = told_apart(made, TOLERANCE, 9)
    assert [f.recipe.shares[0] for f in taken] == [80, 83] and merged == 2
    taken, merged = told_apart(made, TOLERANCE, 1)
    assert [f.recipe.shares[0] for f in taken] == [80] and merged == 1, "82 and 83 are not shown"
    wide, merged = told_apart(made, replace(TOLERANCE, boundary_m=4e-3), 9)
    assert len(wide) == 1 and merged == 3
    none, merged = told_apart(made, replace(TOLERANCE, boundary_m=1e-3), 9)
    assert len(none) == 4 and merged == 0


def test_beaten_by_brute_force():
    rng = np.random.default_rng(3)
    others = rng.integers(1, 5, (30, 3)).astype(float)
    for row in others:
        worse = any(all(o[k] <= row[k] for k in range(3)) and any(o[k] < row[k] for k in range(3)) for o in others)
        assert beaten(row, others) is worse
    assert not beaten(np.ones(2), np.ones((1, 2))), "a twin does not beat"
    assert not beaten(np.ones(2), np.empty((0, 2)))


# ---------------------------------------------------------------- a front


@pytest.fixture
def scored(monkeypatch):
    """Finds of a front of these recipes (at the points 0, 1, 2...), each with the costs that its radii are given."""

    def made(recipes, costs, bad=(), single=(), most=9, count=(1, 3)):
        asked = problem(count)
        front = Evaluated(np.arange(len(recipes))[:, None], np.ones((len(recipes), 2)), np.zeros((len(recipes), 1)),
                          np.zeros(len(recipes)))  # fmt: skip
        monkeypatch.setattr(Evaluated, "front", lambda self: np.arange(len(recipes)))
        monkeypatch.setattr(Space, "recipe", lambda self, point: recipes[int(point[0])])

        def again(_, __, listed):
            rows = np.array([costs(r) for r in listed], float).reshape(-1, 2)
            return SimpleNamespace(costs=rows, allowed=np.array([not any(b == r for b in bad) for r in listed], bool))

        monkeypatch.setattr(module, "evaluate_recipes", again)
        line = np.array(single, float).reshape(-1, 2)
        return finds_of(asked, front, STEPS, TOLERANCE, line, most, HERE)

    return made


def by_first(recipe: Recipe):
    """A front along the first radius: none beats another."""
    r = recipe.radii_m[0]
    return r, 1 / r


def test_each_point_of_a_front_is_a_find_or_is_counted_once(scored):
    recipes = [
        zoned(7.02, 13), zoned(6.98, 13.1),  # both come to 7/13 ft
        zoned(8, 13), zoned(9, 12),  # finds
        zoned(10.01, 10.24),  # 10/10.25 ft: one radius within a step
        zoned(11.1, 10.9),  # 11/11 ft: one radius
        zoned(9.5, 12, shares=(119.2, 120.8)), zoned(9.5, 12, shares=(118.6, 121.4)),  # both at 119 mm
        zoned(9.5, 12, shares=(118.1, 121.9)),  # at 118: 1 mm is no other grind
        zoned(12, 9),  # cannot be ground, in these steps
        zoned(13, 8),  # beaten by a single radius
    ]  # fmt: skip
    lost = [zoned(12, 9, shares=(120.0, 120.0))]
    shown, tally = scored(recipes, by_first, bad=[replace(r, radii_m=tuple(round(x, 12) for x in r.radii_m))
                                                  for r in lost], single=[(12.9 * FT, 1 / (13.1 * FT))])  # fmt: skip
    firsts = [round(f.recipe.radii_m[0] / FT, 6) for f in shown]
    assert firsts == [7, 8, 9, 9.5]
    assert tally == Tally(front=11, alike=2, unground=1, single=2, beaten=1, merged=1, more=0)
    assert len(shown) + sum((tally.alike, tally.unground, tally.single, tally.beaten, tally.merged)) == tally.front
    assert shown[0].raw is recipes[0] and shown[0].point.tolist() == [0]
    assert shown[0].costs == pytest.approx(by_first(shown[0].recipe)), "scored as rounded"


def test_what_is_rounded_away_cannot_be_ground_and_what_is_not_shown_is_said(scored):
    recipes = [zoned(8 + k, 13.5) for k in range(5)] + [zoned(9, 13, 9, shares=(119.8, 0.4, 119.8))]
    shown, tally = scored(recipes, by_first, most=2)
    assert [round(f.recipe.radii_m[0] / FT) for f in shown] == [8, 12]
    assert tally == Tally(front=6, unground=1, more=3)


def test_a_single_radius_is_no_find_but_beats_one_and_in_a_space_of_single_radii_it_is_what_was_asked_for(scored):
    recipes = [replace(zoned(9), family="single_radius"), zoned(9.02, 13), zoned(12, 13)]

    def costs(recipe):
        return {1: (1.0, 1.0), 2: (1.0, 1.1) if recipe.radii_m[0] < 3 else (0.9, 1.2)}[len(recipe.radii_m)]

    shown, tally = scored(recipes, costs)
    assert [len(f.recipe.radii_m) for f in shown] == [2] and shown[0].recipe.radii_m[0] == pytest.approx(12 * FT)
    assert tally == Tally(front=3, single=1, beaten=1)
    alone, tally = scored(recipes[:1], costs, single=[(0.5, 0.5)], count=(1, 1))
    assert len(alone) == 1 and tally == Tally(front=1)
    none, tally = scored(recipes[:1], costs)
    assert none == [] and tally == Tally(front=1, single=1)


# ---------------------------------------------------------------- with the model itself


def test_recipes_are_evaluated_as_points_are_and_costs_as_measures():
    asked = problem((2, 2))
    point = np.array([0.2, 0.8, 0.5, 0.5])
    at_point = evaluate_point(asked, point)
    found = evaluate_recipes(asked, HERE, [asked.space.recipe(point), zoned(5, 9), zoned(8, 12)])
    assert (found.costs[0].tolist(), found.beyond[0].tolist()) == at_point and found.allowed.tolist() == [1, 0, 1]
    assert (found.born == -1).all() and evaluate_recipes(asked, HERE, []).costs.shape == (0, 2)
    none = evaluate_recipes(asked, HERE, [])
    assert none.points.shape == (0, 0) and none.beyond.shape == (0, 11) and not len(none.born)
    ((costs,),) = HERE.map(costs_of, [(TEN, blade(5, 9))], asked)
    for row, one in zip(costs, (TEN, blade(5, 9))):
        values, _ = evaluate(Trial(one, setting()), (DRAG, ANKLE))
        assert row == pytest.approx([values[DRAG], values[ANKLE]], rel=1e-9), "no limit is looked at"


@pytest.mark.parametrize("gone", ["recipe", "violations"])
def test_what_has_no_curve_is_beyond_every_limit_and_cap(monkeypatch, gone):
    def refuse(*_):
        raise BladeError("no curve.")

    asked = problem(caps=((DRAG, 1.0, 1.0),))
    monkeypatch.setattr(*{"recipe": (Space, "recipe"), "violations": (optimizer, "violations")}[gone], refuse)
    assert asked.excesses == 12
    assert evaluate_point(asked, np.full(7, 0.5)) == ([1e6, 1e6], [1.0] * 12)


def test_an_excess_of_just_rounding_is_ground_and_what_cannot_be_had_breaks_no_cap(monkeypatch):
    asked = problem(caps=((DRAG, 1.0, 1e-3),))
    monkeypatch.setattr(optimizer, "violations", lambda *_: np.full(11, 1e-9))
    costs, excess = optimizer.evaluate_recipe(asked, zoned(8, 12))
    assert costs[0] < 100 and excess[-1] > 0
    monkeypatch.setattr(optimizer, "statics", lambda *_: np.full(3, np.nan))
    assert optimizer.evaluate_recipe(asked, zoned(8, 12))[1][-1] == 0.0
    monkeypatch.setattr(optimizer, "violations", lambda *_: np.full(11, 1.1e-9))
    assert optimizer.evaluate_recipe(asked, zoned(8, 12)) == ([1e6, 1e6], [1.1e-9] * 11 + [0.0])


def test_costs_that_cannot_be_had_are_nan(monkeypatch):
    monkeypatch.setattr("experiments.analysis.optimizer.statics", lambda *_: np.array([np.nan, 1.0]))
    (costs,) = costs_of(problem(), (TEN,))
    assert np.isnan(costs).all()


def test_what_a_find_gives_beyond_a_bound_is_what_the_moved_blade_has():
    """8/14 ft lies on the longest radius: 15.5 ft is 15.4 in steps of a quarter. 7/14 ft on both, 6.25 ft."""
    asked = problem((2, 2))
    made = [find(r, *evaluate_recipes(asked, HERE, [r]).costs[0]) for r in (zoned(8, 14), zoned(9, 12), zoned(7, 14))]
    one, none, two = widened(asked, made, STEPS, asked.limits, HERE)
    assert none == () and [len(x) for x in (one, two)] == [1, 2]

    def ratios(moved, home):
        table = [evaluate(Trial(Candidate("x", r, SECTION), setting()), (DRAG, ANKLE))[0] for r in (moved, home)]
        return [table[0][n] / table[1][n] for n in (DRAG, ANKLE)]

    assert one[0].changes == pytest.approx(ratios(zoned(8, 15.5), zoned(8, 14)), rel=1e-6) and one[0].refused == ""
    assert two[0].changes == pytest.approx(ratios(zoned(6.25, 14), zoned(7, 14)), rel=1e-6)
    assert two[1].changes == pytest.approx(ratios(zoned(7, 15.5), zoned(7, 14)), rel=1e-6)


def test_beyond_a_bound_that_cannot_be_ground_there_is_a_reason_and_no_number():
    """The step of curvature from 7 to 15.5 ft over 20 mm is within 12.1 1/m^2; from 7 to 14 ft it takes 11.7."""
    asked = problem((2, 2))
    asked = replace(asked, limits=replace(asked.limits, steepest_per_m2=12.0))
    made = [find(zoned(7, 14), 1.0, 1.0)]
    ((short, long),) = widened(asked, made, STEPS, asked.limits, HERE)
    for one in (short, long):
        assert np.isnan(one.changes).all() and one.refused.startswith("curvature change: between zones 1 and 2")
    capped = replace(problem((2, 2)), caps=((DRAG, 1.0, 1e-3),))
    ((one, _),) = widened(capped, made, STEPS, capped.limits, HERE)
    assert np.isnan(one.changes).all() and one.refused.endswith("or a cap is broken.")
    own = problem((2, 2), low=6.0)
    ((least,),) = widened(own, [find(zoned(6, 13), 1.0, 1.0)], STEPS, own.limits, HERE)
    assert least.bound.moved is None and np.isnan(least.changes).all() and least.refused == ""
