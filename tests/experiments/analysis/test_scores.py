"""Scores and frontier gain on cases that can be checked by hand."""

import math

import numpy as np
import pytest

from experiments.analysis.frontier import cost, frontier_gain
from experiments.analysis.scores import contributions, score
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting, read_weighting
from sim.errors import BladeError

RADII = np.geomspace(2.0, 5.0, 61)
# glide cost falls as R grows, turn cost grows: a hand-made trade with c1 c2 = 1 all along the line
LINE = np.column_stack([3.0 / RADII, RADII / 3.0])


def test_single_radius_has_gain_one():
    for r in (2.0, 2.7, 3.3, 5.0):
        gain = frontier_gain((3.0 / r, r / 3.0), RADII, LINE)
        assert gain.gain == pytest.approx(1.0, abs=5e-4) and gain.radius_m == pytest.approx(r, rel=1e-3)
        assert gain.beats <= 1.0 + 1e-9


def test_gain_of_a_point_beyond_the_line_is_its_distance():
    # both costs 20 % below the single radius of 3 m: at R = 3 both ratios are 1/0.8
    gain = frontier_gain((0.8, 0.8), RADII, LINE)
    assert gain.gain == pytest.approx(1.25, rel=1e-4) and gain.radius_m == pytest.approx(3.0, rel=1e-3)
    assert gain.beats == pytest.approx(1.25, rel=1e-4) and not gain.at_end


def test_gain_of_a_point_inside_the_line_is_below_one():
    assert frontier_gain((1.1, 1.1), RADII, LINE).gain == pytest.approx(1 / 1.1, rel=1e-4)


def test_gain_flags_the_end_of_the_range():
    assert frontier_gain((0.1, 3.0), RADII, LINE).at_end


def test_gain_with_a_line_that_folds_back():
    # two radii with equal glide cost: the better turner dominates, and the fold cannot lift the gain of a real radius
    glide = 1.0 + 0.02 * np.sin(8 * np.log(RADII))
    line = np.column_stack([glide, RADII / 3.0])
    gains = [frontier_gain(point, RADII, line).gain for point in line]
    assert max(gains) <= 1.0 + 1e-9 and min(gains) > 0.9


def test_coarse_radii_are_interpolated():
    coarse = slice(None, None, 12)
    fine, rough = (frontier_gain((0.8, 0.8), RADII[s], LINE[s]).gain for s in (slice(None), coarse))
    assert rough == pytest.approx(fine, rel=2e-3)


def test_missing_costs_give_nan_and_refused_radii_are_skipped():
    assert math.isnan(frontier_gain((math.nan, 1.0), RADII, LINE).gain)
    line = LINE.copy()
    line[:5] = math.nan
    assert frontier_gain((0.8, 0.8), RADII, line).gain == pytest.approx(1.25, rel=1e-3)


def test_benefit_enters_as_reciprocal_and_open_measures_are_refused():
    assert cost("push_hold_angle", 0.5) == 2.0 and cost("turn_drag", 0.5) == 0.5
    with pytest.raises(BladeError, match="no better direction"):
        cost("pitch_bias", 0.1)


def test_score_is_the_sum_that_can_be_done_by_hand():
    scheme = Weighting(
        "two", {"turn_drag": 3.0, "push_hold_angle": 1.0}, {"turn_drag": "lower", "push_hold_angle": "higher"}
    )
    reference = {"turn_drag": 10.0, "push_hold_angle": 0.1}
    parts = contributions({"turn_drag": 5.0, "push_hold_angle": 0.05}, reference, scheme)
    assert parts == {"turn_drag": pytest.approx(0.75), "push_hold_angle": pytest.approx(-0.25)}
    assert score(reference, reference, scheme) == 0.0
    assert math.isnan(score({"turn_drag": math.nan, "push_hold_angle": 0.1}, reference, scheme))


@pytest.mark.parametrize(
    "mapping, expected",
    [
        ({"name": "x", "weights": {"turn_drg": 1}}, "turn_drag"),
        ({"name": "x", "weights": {"turn_drag": -1}}, "turn_drag"),
        ({"name": "x", "weights": {"turn_drag": "lots"}}, "turn_drag"),
        ({"name": "x", "weights": {"turn_drag": 0}}, "nothing"),
        ({"name": "x", "weights": {}}, "nothing"),
        ({"name": "x", "weights": {"pitch_bias": 1}}, "better"),
        ({"name": "x"}, "weights"),
        ({"name": "x", "weights": {"turn_drag": 1}, "wieghts": 2}, "unknown key"),
    ],
)
def test_bad_weightings_are_refused_in_one_sentence(mapping, expected):
    with pytest.raises(BladeError, match=expected) as refusal:
        read_weighting(Fields(mapping, "weighting"))
    assert "\n" not in str(refusal.value)
