"""Coordinates of a search space by hand; costs, caps, front and volume of a search where all is known in advance."""

import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.analysis import optimizer
from experiments.analysis.optimizer import (
    Effort,
    Evaluated,
    SearchProblem,
    evaluate_point,
    optimize,
    random_search,
    volume,
)
from experiments.analysis.space import Space
from experiments.run.workers import HERE
from sim.measures import evaluate
from sim.trial import Trial
from tests.experiments.analysis.hand import FT, SECTION, TEN, blade, setting
from tests.experiments.analysis.test_limits import SHOP

DRAG, ANKLE = "turn_drag", "critical_ankle_stiffness"


def space(kind="zones", count=(1, 3), shape="free", level=(0.0, 0.0), blend=(0.02, 0.02)) -> Space:
    return Space(kind, *count, shape, (2.0, 4.5), level, blend, TEN.recipe)


# ---------------------------------------------------------------- the space


def test_names_and_places_of_the_coordinates():
    assert space().names == ("zones", "radius_1", "radius_2", "radius_3", "share_1", "share_2", "share_3")
    assert space(count=(3, 3), shape="symmetric").names == ("radius_1", "radius_2", "share_1", "share_2")
    assert space("graded", (2, 2), level=(-0.01, 0.01), blend=(0.01, 0.02)).names == (
        "radius_1", "radius_2", "level", "blend"
    )  # fmt: skip
    assert space(count=(1, 1)).names == ("radius_1",)


def test_radii_run_evenly_in_the_logarithm_and_zones_in_even_steps():
    """Half way between 2 and 4.5 m is 3 m; thirds of the first coordinate are one, two and three zones."""
    for u, count in ((0.0, 1), (0.33, 1), (0.34, 2), (0.66, 2), (0.67, 3), (1.0, 3)):
        found = space().recipe([u, 0.5, 0.0, 1.0, 0.5, 0.5, 0.5])
        assert found.radii_m == pytest.approx((3.0, 2.0, 4.5)[:count])
        assert found.family == ("single_radius" if count == 1 else "zoned")


def test_a_zone_may_be_four_times_as_long_as_another():
    found = space(count=(2, 2)).recipe([0.2, 0.8, 1.0, 0.0])
    assert found.zones[0].length_m / found.zones[1].length_m == pytest.approx(4.0)
    even = space(count=(2, 2)).recipe([0.2, 0.8, 0.3, 0.3])
    assert [z.length_m for z in even.zones] == pytest.approx([0.12, 0.12])


def test_level_and_blend_run_evenly_between_their_ends():
    found = space("graded", (2, 2), level=(-0.02, 0.02), blend=(0.01, 0.02)).recipe([0.0, 1.0, 0.25, 0.5])
    assert (found.level_m, found.blend_m) == (pytest.approx(-0.01), pytest.approx(0.015))
    assert found.radii_m == pytest.approx((2.0, 4.5)) and found.family == "graded"


def test_orders_that_the_shapes_ask_for():
    """Radii 2, 3, 4.5 m at 0, 1/2 and 1; mid_flat puts the longest in the middle, rear_flat at the heel."""
    point = [0.5, 0.0, 1.0, 0.5, 0.5, 0.5]
    assert space(count=(3, 3)).recipe(point).radii_m == pytest.approx((3.0, 2.0, 4.5))
    assert space(count=(3, 3), shape="rear_flat").recipe(point).radii_m == pytest.approx((4.5, 3.0, 2.0))
    assert space(count=(3, 3), shape="mid_flat").recipe(point).radii_m == pytest.approx((2.0, 4.5, 3.0))
    assert space(count=(3, 3), shape="symmetric").recipe([0.5, 0.0, 0.5, 0.5]).radii_m == pytest.approx((3.0, 2.0, 3.0))


# ---------------------------------------------------------------- costs of a point


def problem(how=None, caps=(), settings=None, objectives=((DRAG, "lower"), (ANKLE, "lower")), **more) -> SearchProblem:
    return SearchProblem(space(count=(1, 1)), SECTION, settings or ((setting(), {}),), objectives, how,
                         replace(SHOP, **more), None, caps)  # fmt: skip


def measured(feet, name, one=None):
    return evaluate(Trial(blade(feet), one or setting()), [name])[0][name]


def at(feet):
    """Coordinate of a single radius."""
    return np.array([math.log(feet * FT / 2.0) / math.log(2.25)])


def test_costs_are_the_blades_measures_and_more_is_turned_round():
    found, excess = evaluate_point(problem(objectives=((DRAG, "lower"), ("push_hold_angle", "higher"))), at(9))
    assert found == pytest.approx([measured(9, DRAG), 1 / measured(9, "push_hold_angle")], rel=1e-9)
    assert len(excess) == 11 and max(excess) <= 0


@pytest.mark.parametrize(("how", "share"), [(None, 1 / 3), (1.0, 1.0), (0.5, 0.5), (0.75, 0.75)])
def test_mean_and_quantile_over_settings_differ(monkeypatch, how, share):
    """Costs 0, 0 and 1 more than 1 have a mean of 4/3; costs 1, 1.5 and 2 give the quantiles by interpolation."""
    rows = iter([[1.0, 5.0], [1.0 if how is None else 1.5, 5.0], [2.0, 5.0]])
    monkeypatch.setattr(optimizer, "statics", lambda *_: np.array(next(rows)))
    found, _ = evaluate_point(problem(how, settings=((setting(), {}),) * 3), at(9))
    assert found == pytest.approx([1 + share, 5.0])


def test_each_setting_brings_its_own_errors_of_grinding():
    """A mean over 9 ft ground to 8.1 and to 9.9 ft."""
    pair = tuple((setting(), {"radius_factor": f}) for f in (0.9, 1.1))
    found, _ = evaluate_point(problem(settings=pair), at(9))
    assert found[0] == pytest.approx((measured(8.1, DRAG) + measured(9.9, DRAG)) / 2, rel=1e-9)


@pytest.mark.parametrize(("side", "share", "broken"), [(1.0, 1.001, False), (1.0, 0.999, True),
                                                       (-1.0, 0.999, False), (-1.0, 1.001, True)])  # fmt: skip
def test_caps_from_above_and_from_below(side, share, broken):
    """At most (+1) or at least (-1) a share of what 9 ft has."""
    value = measured(9, "push_hold_angle")
    costs, excess = evaluate_point(problem(caps=(("push_hold_angle", side, share * value),)), at(9))
    assert len(excess) == 12 and excess[-1] == pytest.approx(side * (1 / share - 1), rel=1e-9)
    assert bool(excess[-1] > 0) is broken and costs[0] < 1e6
    one = Evaluated(np.zeros((1, 1)), np.array([costs]), np.array([excess]), np.zeros(1))
    assert one.allowed.tolist() == [not broken]


def test_a_cap_over_settings_counts_by_its_mean(monkeypatch):
    """At most 5: 6 and 5.5 are a fifth and a tenth too much, 0.15 in the mean; 4 and 5.5 are 0.05 less."""
    for values, mean in (((6.0, 5.5), 0.15), ((4.0, 5.5), -0.05)):
        rows = iter([[1.0, 1.0, v] for v in values])
        monkeypatch.setattr(optimizer, "statics", lambda *_, rows=rows: np.array(next(rows)))
        _, excess = evaluate_point(problem(caps=((DRAG, 1.0, 5.0),), settings=((setting(), {}),) * 2), at(9))
        assert excess[-1] == pytest.approx(mean)


@pytest.mark.parametrize("gone", ["cannot be ground", "cannot be had", "costs nothing"])
def test_a_blade_that_cannot_be_ground_or_had_costs_a_million(monkeypatch, gone):
    asked = problem(caps=((DRAG, 1.0, 5.0),), least_radius_m=(10 if gone == "cannot be ground" else 6) * FT)
    if gone != "cannot be ground":
        value = np.nan if gone == "cannot be had" else 0.0
        monkeypatch.setattr(optimizer, "statics", lambda *_: np.array([value, 1.0, 1.0]))
    costs, excess = evaluate_point(asked, at(9))
    assert costs == [1e6, 1e6] and len(excess) == 12
    assert bool(max(excess) > 0) is (gone == "cannot be ground")
    assert not Evaluated(np.zeros((1, 1)), np.array([costs]), np.array([excess]), np.zeros(1)).allowed.any()


# ---------------------------------------------------------------- front and volume


def evaluated(costs, beyond=None) -> Evaluated:
    costs = np.asarray(costs, float)
    beyond = np.full((len(costs), 2), -1.0) if beyond is None else np.asarray(beyond, float)
    return Evaluated(np.arange(len(costs))[:, None], costs, beyond, np.zeros(len(costs), int))


def test_the_front_by_brute_force():
    """No allowed point is as low on every cost and lower on one; of twins the first stands for both."""
    rng = np.random.default_rng(2)
    costs = rng.uniform(1, 2, (60, 3)).round(1)
    beyond = rng.uniform(-1, 0.3, (60, 2))
    found = evaluated(costs, beyond)
    able = [i for i in range(60) if beyond[i].max() <= 0]
    best = [i for i in able if not any((costs[j] <= costs[i]).all() and (costs[j] < costs[i]).any() for j in able)]
    first = [i for i in best if not any(j < i and (costs[j] == costs[i]).all() for j in best)]
    assert sorted(found.front()) == first and 4 < len(first) < len(able) < 60
    assert len(evaluated(costs, np.ones((60, 2))).front()) == 0


def test_what_is_allowed_by_rounding_and_what_is_not():
    found = evaluated([[1, 1], [1, 1], [1, 1e6]], [[1e-10, -1], [1e-8, -1], [-1, -1]])
    assert found.allowed.tolist() == [True, False, False]


def test_volume_of_known_boxes():
    """In logarithms below the worst corner: e^-1, e^-2 under it spans 1 x 2; another, e^-3, e^-1, adds 2 x 1."""
    worst = np.array([10.0, 100.0])
    one, two = worst * np.exp([-1, -2]), worst * np.exp([-3, -1])
    assert volume(one[None], worst) == pytest.approx(2.0)
    assert volume(np.array([one, two]), worst) == pytest.approx(4.0)
    assert volume(np.array([one, two, worst * np.exp([-0.5, -0.5])]), worst) == pytest.approx(4.0), "dominated"
    beyond = worst * np.array([[1e-9, 1.2], [1.2, 1e-9]])  # below the corner in one cost only
    assert volume(np.array([one, two, *beyond]), worst) == pytest.approx(4.0)
    assert volume(np.array([worst * [0.5, 1.0]]), worst) == 0.0 == volume(np.empty((0, 2)), worst)


# ---------------------------------------------------------------- the searches


def test_a_random_search_takes_as_many_points_as_asked_that_can_be_ground(monkeypatch):
    """Between 2 and 4.5 m only what is longer than 3 m: half of the coordinate."""
    monkeypatch.setattr(optimizer, "statics", lambda *_: np.array([1.0, 1.0]))
    asked = problem(least_radius_m=3.0)
    found = random_search(asked, HERE, 30, seed=5)
    assert found.points.shape == (30, 1) and (found.points >= 0.5 - 1e-9).all() and found.points.max() > 0.9
    assert found.allowed.all() and (found.born == -1).all()
    again, other = (random_search(asked, HERE, 30, seed).points for seed in (5, 6))
    assert np.array_equal(found.points, again) and not np.array_equal(found.points, other)


def test_a_search_starts_from_what_is_known_and_spends_its_budget(monkeypatch):
    """Costs (u - 0.3)^2 + 1 and (u - 0.6)^2 + 1: the front lies between 0.3 and 0.6."""

    def known(problem, workers, points):
        points = np.asarray(points)
        return np.hstack([(points - 0.3) ** 2 + 1, (points - 0.6) ** 2 + 1]), np.full((len(points), 11), -1.0)

    monkeypatch.setattr(optimizer, "evaluate", known)
    steps = []
    found = optimize(problem(), HERE, [np.array([0.123456])], Effort(10, 60, 1), steps.append)
    assert found.points[0] == pytest.approx(0.123456) and len(found.points) == 60 == steps[-1]
    best = found.points[found.front(), 0]
    assert len(best) > 10 and 0.27 < best.min() < 0.33 and 0.57 < best.max() < 0.63
    assert (np.diff(found.born[::10]) == 1).all(), "six generations of ten"
