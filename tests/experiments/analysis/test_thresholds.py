"""Every threshold of a judgement on both of its sides, as literal numbers, and verdicts that can be told by hand."""

import math

import numpy as np
import pytest

from experiments.analysis.judging.intervals import (
    clear,
    excludes,
    large_change,
    near_crown,
    order_kept,
    side,
    worth_saying,
)
from experiments.analysis.judging.ratios import deciding, ratios
from experiments.request.objectives import Weighting
from tests.experiments.analysis.hand import draws_of
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

NAN = math.nan


@pytest.mark.parametrize(
    ("ratio", "known"),
    [
        ((1.0006, 1.01, 1.02), True),  # printed as 1.001
        ((1.0004, 1.01, 1.02), False),  # printed as 1.000
        ((0.98, 0.99, 0.9994), True),
        ((0.98, 0.99, 0.9996), False),
        ((0.9, 1.0, 1.1), False),
        ((NAN, NAN, NAN), False),
    ],
)
def test_a_change_is_clear_when_neither_bound_is_printed_as_one(ratio, known):
    assert clear(ratio) is known


@pytest.mark.parametrize(
    ("ratio", "known"),
    [
        ((1.006, 1.0101, 1.02), True),
        ((1.006, 1.0099, 1.02), False),
        ((0.98, 0.9899, 0.995), True),
        ((0.98, 0.9901, 0.995), False),
        ((0.999, 1.2, 1.4), False),  # large, and may be chance
    ],
)
def test_a_change_is_worth_saying_from_one_percent(ratio, known):
    assert worth_saying(ratio, OPINIONS) is known


@pytest.mark.parametrize(("ratio", "lower", "higher"), [((0.8, 0.9, 0.99), "better", "worse"),
                                                        ((1.01, 1.1, 1.2), "worse", "better"),
                                                        ((0.99, 1.1, 1.2), "undecided", "undecided")])  # fmt: skip
def test_which_side_of_one_is_better(ratio, lower, higher):
    assert (side(ratio, "lower"), side(ratio, "higher")) == (lower, higher)


@pytest.mark.parametrize(("tau", "word"), [(1.0, "kept"), (0.801, "kept"), (0.799, "partly"), (0.401, "partly"),
                                           (0.399, "lost"), (-1.0, "lost"), (NAN, "unknown")])  # fmt: skip
def test_an_order_is_kept_above_a_tau_of_0_8_and_partly_above_0_4(tau, word):
    assert order_kept(tau) == word


@pytest.mark.parametrize(("away_um", "near"), [(0, True), (9.9, True), (-9.9, True), (10.1, False), (-10.1, False)])
def test_ten_micrometres_from_the_crown_are_near(away_um, near):
    assert near_crown(83e-6 + away_um * 1e-6, 83e-6) is near


def test_several_sessions_from_eight_percent_in_the_logarithm():
    def change(log, half=0.001):
        return np.exp([log - half, log, log + half])

    assert large_change([change(0.081)]) and large_change([change(-0.081)])
    assert not large_change([change(0.079), change(-0.079), None])
    assert not large_change([change(0.5, half=0.6)]), "what may be chance does not count"
    assert large_change([change(0.5, half=0.6), None, change(0.01), change(0.09)])
    assert not large_change([]) and not large_change([None])


def test_the_bounds_of_an_interval_belong_to_it():
    assert not excludes((0.0, 1.0, 2.0)) and not excludes((-2.0, -1.0, 0.0)) and not excludes((-1, 0, 1))
    assert excludes((1e-9, 1.0, 2.0)) and excludes((-2.0, -1.0, -1e-9)) and excludes((1.0, 2.0, 3.0), 3.1)


# ---------------------------------------------------------------- ratios


def test_ratios_need_a_positive_number_of_both_somewhere():
    made = draws_of({"turn_drag": np.array([[2.0, 1.0], [4.0, 1.0], [np.nan, 1.0]])})
    assert ratios(made, "turn_drag", 1).tolist() == pytest.approx([0.2625, 0.375, 0.4875])  # of 1/2 and 1/4
    assert ratios(draws_of({"turn_drag": np.array([[2.0, 0.0], [1.0, 1.0]])}), "turn_drag", 1) is None
    assert ratios(draws_of({"turn_drag": np.array([[np.nan, 1.0]])}), "turn_drag", 1) is None


def test_the_three_measures_that_decide_by_weight_times_change_either_way():
    """|log| of 0.5 is 0.69 and of 1.9 is 0.64; twice the weight of 1.5 is 0.81; a weight of nothing decides nothing."""
    change = {"turn_drag": 0.5, "push_hold_angle": 1.9, "turn_scrape": 1.5, "glide_drag_coefficient": 1.01,
              "critical_ankle_stiffness": 9.0}  # fmt: skip
    weights = {"turn_drag": 1, "push_hold_angle": 1, "turn_scrape": 2, "glide_drag_coefficient": 1}
    scheme = Weighting("w", weights | {"critical_ankle_stiffness": 0}, {})
    made = draws_of({name: np.array([[1.0, ratio]] * 2) for name, ratio in change.items()})
    assert deciding(made, scheme, 1) == ["turn_scrape", "turn_drag", "push_hold_angle"]


def test_what_decides_goes_by_the_middle_of_its_interval():
    """A drag of 1.2 in the middle and 5 at most, against a hold of 1.5 throughout."""
    made = draws_of({"turn_drag": np.array([[1, r] for r in (1.0, 1.1, 1.2, 4.0, 5.0)]),
                     "push_hold_angle": np.array([[1.0, 1.5]] * 5)})  # fmt: skip
    weights = {"turn_drag": 1, "push_hold_angle": 1}
    assert deciding(made, Weighting("w", weights, {}), 1) == ["push_hold_angle", "turn_drag"]


def test_a_weight_of_nothing_and_a_number_that_cannot_be_had_decide_nothing():
    made = draws_of({"turn_drag": np.array([[1.0, 2.0]]), "turn_scrape": np.array([[1.0, NAN]])})
    scheme = Weighting("w", {"turn_drag": 0, "turn_scrape": 1, "push_hold_angle": 1}, {})
    assert deciding(made, scheme, 1) == ["push_hold_angle"]
