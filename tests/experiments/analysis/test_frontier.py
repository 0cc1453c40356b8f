"""Frontier gain against closed forms and brute force on lines made by hand; its ends, gaps and reciprocal costs."""

import math

import numpy as np
import pytest

from experiments.analysis.frontier import Line, continued, cost, frontier_gain
from experiments.analysis.scores import contributions, scores
from experiments.request.objectives import Weighting
from sim.errors import BladeError
from sim.measures import STATIC

RADII = np.geomspace(2.0, 5.0, 61)
POWERS = np.column_stack([1 / RADII, RADII**2])  # costs R^-1 and R^2: straight in log over log


@pytest.mark.parametrize(("one", "two"), [(0.3, 9.0), (0.25, 12.0), (0.4, 10.0), (0.28, 16.5), (0.03, 0.9)])
def test_gain_of_power_laws_in_closed_form(one, two):
    """1/(R a) = R^2/b at R^3 = b/a: there both ratios are (a^2 b)^(-1/3), and nowhere both lower or higher."""
    found = frontier_gain((one, two), RADII, POWERS)
    assert found.radius_m == pytest.approx((two / one) ** (1 / 3), rel=1e-3)
    assert found.gain == pytest.approx((one**2 * two) ** (-1 / 3), rel=1e-3)
    assert found.beats == pytest.approx(found.gain, rel=2e-3) and not found.at_end


def test_gain_and_beats_by_brute_force_on_a_line_with_a_fold():
    fine = np.geomspace(2.0, 5.0, 20001)

    def costs(r):
        return np.column_stack([(1 + 0.05 * np.sin(9 * np.log(r))) / r, r * (1 + 0.03 * np.cos(7 * np.log(r)))])

    for point in ((0.30, 3.0), (0.36, 2.7), (0.22, 4.9), (0.4, 4.0), (0.2, 2.0)):
        ratios = costs(fine) / np.array(point)
        found = frontier_gain(point, RADII, costs(RADII))
        assert found.gain == pytest.approx(min(max(a, b) for a, b in ratios), rel=1e-3)
        assert found.beats == pytest.approx(max(min(a, b) for a, b in ratios), rel=1e-3)


def test_where_both_costs_rise_the_shortest_is_nearest_and_flagged():
    rising = np.column_stack([RADII, RADII**2])
    low = frontier_gain((3.0, 9.0), RADII, rising)
    assert (low.gain, low.radius_m, low.at_end) == (pytest.approx(2 / 3), pytest.approx(2.0), True)
    assert low.beats == pytest.approx(5 / 3), "and the longest is what it beats most"
    high = frontier_gain((3.0, 9.0), RADII, np.column_stack([1 / RADII, 1 / RADII]))
    assert (high.radius_m, high.at_end) == (pytest.approx(5.0), True)
    assert not frontier_gain((1 / 3, 9.0), RADII, POWERS).at_end


def test_nothing_is_said_between_radii_where_one_was_refused():
    """3.0 and 3.6 m are known and 3.2 m is not: the nearest to a blade of 3.2 m is one of its known neighbours."""
    radii = np.array([2.0, 2.5, 3.0, 3.2, 3.6, 4.0, 5.0])
    line = np.column_stack([1 / radii, radii**2])
    line[3, 1] = np.nan
    found = frontier_gain((1 / 3.2, 3.2**2), radii, line)
    assert found.gain == pytest.approx(3.2 / 3.0, rel=1e-9) and found.radius_m == pytest.approx(3.0)
    assert not any(3.0001 < r < 3.5999 for r in np.exp(Line(radii, line).places))
    for r in (2.2, 3.8):  # elsewhere all is as it was
        assert frontier_gain((1 / r, r**2), radii, line).gain == pytest.approx(1.0, abs=1e-3)
    assert frontier_gain((1 / 3.6, 3.6**2), radii, line).gain == pytest.approx(1.0, abs=1e-9)


def test_fewer_than_two_known_radii_or_a_cost_of_nothing_give_no_gain():
    for line in ([[1, 1], [np.nan, 1], [1, 0]], [[np.nan] * 2] * 3, [[-1, 1], [1, 1], [1, np.inf]]):
        assert math.isnan(frontier_gain((1, 1), np.array([2.0, 3.0, 4.0]), np.array(line, float)).gain)
    for point in ((0.0, 1.0), (-1.0, 1.0), (math.inf, 1.0), (1.0, math.nan)):
        found = frontier_gain(point, RADII, POWERS)
        assert math.isnan(found.gain) and math.isnan(found.beats) and not found.at_end


def test_costs_of_measures_of_which_more_is_better_are_turned_round():
    assert cost("push_hold_angle", np.array([0.5, 0.25])).tolist() == [2.0, 4.0]
    assert cost("turn_exit_speed", 4.0) == 0.25 and cost("turn_drag", 4.0) == 4.0
    assert (
        cost("glide_loaded_arc", 0.1, "higher") == pytest.approx(10.0) and cost("glide_loaded_arc", 0.1, "lower") == 0.1
    )
    with pytest.raises(BladeError):
        cost("glide_loaded_arc", 0.1)


def test_coarse_lines_are_looked_at_up_to_both_of_their_ends():
    """Power laws are straight in logarithms: of 2, 3, 4, 5 m, or of 2 and 5 m alone, any radius between has gain 1."""
    for radii in (np.array([2.0, 3.0, 4.0, 5.0]), np.array([2.0, 5.0])):
        line = np.column_stack([1 / radii, radii**2])
        for r in (2.2, 3.5, 4.5, 4.9):
            assert frontier_gain((1 / r, r**2), radii, line).gain == pytest.approx(1.0, abs=2e-3)


# ---------------------------------------------------------------- scores of draws


def test_scores_of_draws_by_hand():
    """Weights 3 and 1: half the drag is log2(2) x 3/4, half the hold -1/4; a weight of nothing is not looked at."""
    scheme = Weighting("w", {"turn_drag": 3.0, "push_hold_angle": 1.0, "turn_scrape": 0.0},
                       {"turn_drag": "lower", "push_hold_angle": "higher", "turn_scrape": "lower"})  # fmt: skip
    values = np.full((2, 2, len(STATIC)), np.nan)
    references = np.full((2, len(STATIC)), np.nan)
    drag, hold = STATIC.index("turn_drag"), STATIC.index("push_hold_angle")
    references[:, drag], references[:, hold] = [10, 20], [0.1, 0.2]
    values[:, :, drag], values[:, :, hold] = [[5, 10], [40, 20]], [[0.05, 0.1], [0.2, 0.0]]
    found = scores(values, references, scheme)
    assert found[0].tolist() == pytest.approx([0.5, 0.0]) and found[1, 0] == pytest.approx(-0.75)
    assert math.isnan(found[1, 1]), "a hold of nothing has no logarithm"
    rolled = Weighting("r", {"stride_ice_loss": 1.0}, {"stride_ice_loss": "lower"})
    assert np.isnan(scores(values, references, rolled)).all()


def test_parts_of_a_score_are_in_proportion_to_their_weights():
    scheme = Weighting("w", {"turn_drag": 2.0, "turn_scrape": 6.0}, {"turn_drag": "lower", "turn_scrape": "higher"})
    base = {"turn_drag": 1.0, "turn_scrape": 1.0}
    assert contributions({"turn_drag": 4.0, "turn_scrape": 4.0}, base, scheme) == {
        "turn_drag": -0.5,
        "turn_scrape": 1.5,
    }
    assert all(math.isnan(v) for v in contributions(base, {"turn_drag": 0.0, "turn_scrape": -1.0}, scheme).values())


# ---------------------------------------------------------------- how far a line goes


def test_a_line_goes_on_by_its_own_ratio_until_it_covers_what_is_held_against_it():
    """1, 2, 4: to 0.8 it takes 1/2, to 5 it takes 8; a blade of 0.3 asks for 0.24, so 1/8; one of 20 for 25, so 32."""
    stated = np.array([1.0, 2.0, 4.0])
    assert continued(stated, []).tolist() == [0.5, 1, 2, 4, 8] == continued(stated, [1.0, 4.0, math.inf]).tolist()
    assert continued(stated, [0.3, 3.0]).tolist() == [0.125, 0.25, 0.5, 1, 2, 4, 8]
    assert continued(stated, [20.0]).tolist() == [0.5, 1, 2, 4, 8, 16, 32]
    assert continued(np.array([1.0, 1.25]), [])[-1] == 1.25**2, "just 1.25 times: one step more"
    assert continued(np.array([1.0, 3.0, 4.5]), [8.0]).tolist() == [1 / 3, 1, 3, 4.5, 6.75, 10.125]


def test_thirty_three_radii_from_6_to_16_feet_become_forty_nine():
    found = continued(np.geomspace(6.0, 16.0, 33), [7.0, 13.0])
    assert len(found) == 49 and 4.6 < found[0] <= 4.8 and 20.0 <= found[-1] < 20.7
    assert np.diff(np.log(found)) == pytest.approx([math.log(16 / 6) / 32] * 48)


def test_a_single_radius_is_one_of_those_it_is_held_against():
    """Costs that no radius of the line reaches, said to be those of 9 ft: on the line, at 9 ft."""
    found = Line(RADII, POWERS).gain((0.3, 6.0), 2.7432)
    assert Line(RADII, POWERS).gain((0.3, 6.0)).gain > 1.2
    assert (found.gain, found.radius_m, found.at_end) == (1.0, 2.7432, False)
    for b in (8.0, 9.6):  # on this line both gains are (a^2 b)^(-1/3): 1.116 and 1.050
        near = Line(RADII, POWERS).gain((0.3, b), 2.7432)
        assert (near.gain, near.beats) == (1.0, pytest.approx((0.09 * b) ** (-1 / 3), rel=2e-3))


@pytest.mark.parametrize("costs", [(0.9, 20.0), (0.45, 12.0)])
def test_a_single_radius_that_another_beats_stays_beaten(costs):
    """In closed form (a^2 b)^(-1/3): 0.395 and 0.744."""
    line = Line(RADII, POWERS)
    assert line.gain(costs, 2.7432) == line.gain(costs)
    assert line.gain(costs, 2.7432).gain == pytest.approx((costs[0] ** 2 * costs[1]) ** (-1 / 3), rel=1e-3)


def test_a_flat_blade_has_no_place_on_a_line():
    radii = np.array([2.0, 3.0, 4.0, math.inf])
    line = np.column_stack([1 / radii[:3], radii[:3]])
    with_flat = Line(radii, np.vstack([line, [1e-6, 50.0]]))
    assert with_flat.known and with_flat.places.tolist() == Line(radii[:3], line).places.tolist()
