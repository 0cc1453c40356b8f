"""What is said against single radii: every threshold on both sides, by counted draws."""

import math

import numpy as np
import pytest

from experiments.analysis.judging.statement import measured_at_two_places, statement
from sim.trial import State
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

PAST, ON, SHORT = 1.02, 1.001, 0.98  # past 1.005, within half a percent, short of 0.995


def said(past, on, short, missing=0):
    samples = [PAST] * past + [ON] * on + [SHORT] * short + [math.nan] * missing
    return statement(np.random.default_rng(1).permutation(samples), OPINIONS)


@pytest.mark.parametrize(
    ("past", "on", "short", "kind"),
    [
        (95, 5, 0, "beyond"),
        (94, 6, 0, "cannot_tell"),
        (95, 0, 5, "beyond"),
        (5, 95, 0, "on_the_line"),
        (6, 94, 0, "cannot_tell"),
        (5, 90, 5, "on_the_line"),
        (5, 89, 6, "not_beyond"),
        (0, 5, 95, "inside"),
        (0, 6, 94, "not_beyond"),
        (5, 0, 95, "inside"),
        (0, 50, 50, "not_beyond"),
        (50, 0, 50, "cannot_tell"),
    ],
)
def test_the_first_that_holds_of_a_hundred_draws(past, on, short, kind):
    found = said(past, on, short)
    assert found.kind == kind
    shares = (found.share_beyond, found.share_on, found.share_inside)
    assert shares == pytest.approx((past / 100, on / 100, short / 100))


@pytest.mark.parametrize(("draws", "past", "kind"), [(20, 1, "on_the_line"), (20, 2, "cannot_tell"),
                                                     (512, 25, "on_the_line"), (512, 26, "cannot_tell")])  # fmt: skip
def test_one_draw_in_twenty_is_still_hardly_ever(draws, past, kind):
    """25 of 512 are 4.9 %, 26 are 5.1 %."""
    assert said(past, draws - past, 0).kind == kind


def test_half_a_percent_is_on_the_line():
    for gain, shares in ((1.005, (0, 1, 0)), (1.00501, (1, 0, 0)), (0.995, (0, 1, 0)), (0.99499, (0, 0, 1))):
        found = statement([gain] * 4, OPINIONS)
        assert (found.share_beyond, found.share_on, found.share_inside) == shares


def test_missing_draws_do_not_count_and_the_median_is_of_the_known():
    assert said(95, 5, 0, missing=900).kind == "beyond"
    found = statement([0.9, 1.1, 1.3, math.nan, math.inf], OPINIONS)
    assert found.median == 1.1 and found.share_beyond == pytest.approx(2 / 3)
    nothing = statement([math.nan] * 3, OPINIONS)
    assert nothing.kind == "unknown" and math.isnan(nothing.median) and math.isnan(nothing.share_beyond)


STATES = {"glide": State(-0.015), "turn": State(0.005), "push": State(0.0051), "pivot_forefoot": State(0.045)}


@pytest.mark.parametrize(
    ("pair", "two"),
    [
        (("glide_drag_coefficient", "turn_drag"), False),  # 20 mm apart
        (("glide_drag_coefficient", "push_hold_angle"), True),  # 20.1 mm
        (("push_hold_angle", "glide_drag_coefficient"), True),
        (("pivot_forefoot_toe_in", "pivot_forefoot_toe_out"), False),  # one place
        (("pivot_forefoot_toe_in", "stride_ice_loss"), False),  # a movement has no one place
        (("steel_removed_depth", "turn_drag"), False),  # nor has the curve alone
    ],
)
def test_a_pair_is_measured_at_two_places_beyond_20_mm(pair, two):
    assert measured_at_two_places(pair, STATES) is two
