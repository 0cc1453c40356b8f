"""The verdict: every threshold on both sides by counted draws, eligibility and price by hand, and a pair of blades."""

import math

import numpy as np
import pytest

from experiments.analysis.judging.verdict import Evidence, harmless, price, together, verdict
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

NAN = math.nan
UP, DOWN = 0.5, -0.1  # log2 scores: far above and below any price here


def evidence(*columns, cost=0.02, able=None, fine=None):
    """Blades of these (draw,) scores, each at one price."""
    score = np.array(columns, float).T
    count = score.shape[1]
    free = np.ones(count, bool)
    return Evidence(score, np.full(count, cost), free if able is None else np.array(able),
                    free if fine is None else np.array(fine))  # fmt: skip


def judged(*columns, **more):
    return verdict(evidence(*columns, **more), OPINIONS)


def counted(up, down, high=UP, low=DOWN):
    return [high] * up + [low] * down


# ---------------------------------------------------------------- kinds


@pytest.mark.parametrize(
    ("up", "kind"),
    [(100, "regrind"), (90, "regrind"), (89, "probably"), (70, "probably"), (69, "cannot_tell"), (31, "cannot_tell"),
     (30, "leave"), (0, "leave")],
)  # fmt: skip
def test_what_a_share_of_better_draws_is_called(up, kind):
    """0.5 up and 0.01 down: 30 of 100 draws have a mean above the price, and yet they are too few."""
    found = judged(counted(up, 100 - up, 0.5, -0.01))
    assert (found.kind, found.best) == (kind, 0) and found.better == pytest.approx(up / 100) == found.pays
    assert found.net == pytest.approx((0.5 * up - 0.01 * (100 - up)) / 100 - 0.02)
    assert (found.reason == "") is (kind != "leave")


def test_a_regrind_is_sure_by_the_score_and_must_pay_on_average():
    """Surely better by 0.03 at a price of 0.029 and of 0.031."""
    assert judged([0.03] * 10, cost=0.029).kind == "regrind"
    dear = judged([0.03] * 10, cost=0.031)
    assert (dear.kind, dear.reason, dear.better, dear.pays) == ("leave", "below_the_price", 1.0, 0.0)
    assert judged([0.03] * 10, cost=0.03).kind == "leave", "a mean net of nothing does not pay"


def test_likely_better_and_rarely_paying_is_no_reason_to_leave_where_one_in_three_pays():
    """Better in all draws, pays in 3 or 4 of 10, does not pay on average."""
    assert judged(counted(3, 7, 0.021, 0.001)).kind == "leave"
    assert judged(counted(4, 6, 0.021, 0.001)).kind == "cannot_tell"


def test_every_blade_that_may_be_ground_must_fail_to_pay_before_the_blade_is_left():
    """The best on average pays in 3 of 10 draws, another in 4, with a mean far below."""
    best, other = counted(3, 7, 0.03, -0.01), counted(4, 6, 0.03, -0.5)
    assert judged(best).kind == "leave" and judged(best, other).kind == "cannot_tell"
    assert judged(best, other).best == 0
    assert judged(best, other, able=[True, False]).kind == "leave" == judged(best, other, fine=[True, False]).kind


def test_the_best_is_that_of_the_greatest_mean_net_among_the_able_and_harmless():
    three = [[0.3] * 10, [0.5] * 10, [0.4] * 10]
    assert judged(*three).best == 1 and judged(*three, able=[True, False, True]).best == 2
    assert judged(*three, fine=[True, False, False]).best == 0
    dear = Evidence(np.array(three).T, np.array([0.01, 0.45, 0.2]), np.ones(3, bool), np.ones(3, bool))
    found = verdict(dear, OPINIONS)
    assert found.best == 0 and found.net == pytest.approx(0.29)
    spread = np.linspace(0, 1, 101)
    assert judged(spread).spread == pytest.approx((0.05, 0.5, 0.95))


# ---------------------------------------------------------------- why leave


def test_makes_no_difference_within_one_percent_in_nine_of_ten():
    """log2(1.01) is 0.01436."""
    for small, share, reason in ((0.0143, 9, "makes_no_difference"), (0.0144, 9, "below_the_price"),
                                 (0.0143, 8, "below_the_price"), (-0.0143, 9, "makes_no_difference"),
                                 (math.log2(1.01), 9, "below_the_price")):  # fmt: skip
        found = judged(counted(share, 10 - share, small, 0.015))
        assert (found.kind, found.reason) == ("leave", reason)


def test_better_as_it_is_where_the_best_is_better_in_three_of_ten_at_most():
    assert judged(counted(3, 7, 0.019, -0.2)).reason == "better_as_it_is"
    assert judged(counted(4, 6, 0.019, -0.2)).reason == "below_the_price"


def test_what_was_passed_over_for_a_complaint_is_named_and_is_the_reason():
    """The second would be offered and harms; the first makes no difference."""
    found = judged([0.001] * 10, [0.5] * 10, fine=[True, False])
    assert (found.kind, found.reason, found.best, found.removed) == ("leave", "nothing_helps_without_harm", 0, 1)
    only = judged([0.5] * 10, fine=[False])
    assert (only.kind, only.reason, only.best, only.removed) == ("leave", "nothing_helps_without_harm", -1, 0)
    assert judged([0.4] * 10, [0.5] * 10, fine=[True, False]).kind == "regrind"


@pytest.mark.parametrize(("up", "removed"), [(7, 1), (6, -1)])
def test_a_harmful_blade_that_would_not_be_offered_anyway_is_no_reason(up, removed):
    found = judged([0.001] * 10, counted(up, 10 - up, 0.5, -0.01), fine=[True, False])
    assert found.removed == removed
    assert found.reason == ("nothing_helps_without_harm" if removed == 1 else "makes_no_difference")
    assert judged([0.001] * 10, [0.019] * 10, fine=[True, False]).removed == -1, "it would not pay"
    assert judged([0.001] * 10, [0.02] * 10, fine=[True, False]).removed == -1, "nor does a net of nothing"


def test_nothing_can_be_ground():
    found = judged([0.5] * 10, able=[False])
    assert (found.kind, found.reason, found.best, found.removed) == ("leave", "nothing_can_be_ground", -1, -1)
    assert math.isnan(found.better) and math.isnan(found.net) and len(found.spread) == 3
    assert judged([NAN] * 10).reason == "nothing_can_be_ground", "a blade that never works is none"


# ---------------------------------------------------------------- draws that failed


def test_a_draw_in_which_the_blade_failed_is_not_better_and_one_of_the_present_blade_does_not_count():
    other = [-1.0] * 10
    assert (
        judged([0.5] * 9 + [NAN], other).kind == "regrind" and judged([0.5] * 8 + [NAN] * 2, other).kind == "probably"
    )
    assert judged([0.5] * 8 + [NAN] * 2, other).net == pytest.approx(0.48)
    gone = judged([0.5] * 9 + [NAN] * 9 + [-0.1], [-1.0] * 9 + [NAN] * 9 + [-1.0])
    assert gone.better == pytest.approx(0.9) and gone.kind == "regrind"


# ---------------------------------------------------------------- price


def test_the_price_is_a_visit_and_two_percent_a_millimetre():
    """log2(1.005) = 0.0071955, log2(1.02) = 0.0285691 a millimetre."""
    assert price([0.0, 1e-3, 0.25e-3], OPINIONS) == pytest.approx([0.0071955, 0.0357647, 0.0143378], abs=1e-7)
    assert math.isnan(price([NAN], OPINIONS)[0])


# ---------------------------------------------------------------- complaints


def gains(*measures):
    """(draw, 1, measure)"""
    return np.array(measures, float).T[:, None, :]


@pytest.mark.parametrize(
    ("worse", "by", "fine"),
    [
        (1, 0.03, True),
        (2, 0.03, False),
        (10, 0.028, True),  # log2(1.02) is 0.02857
        (2, 0.0285, True),
        (2, 0.0286, False),
    ],
)
def test_a_main_measure_may_be_worse_by_two_percent_in_one_of_ten_draws(worse, by, fine):
    """The second measure, of the same weight, gains much: on the whole the blade helps."""
    made = gains([-by] * worse + [0.1] * (10 - worse), [1.0] * 10)
    assert harmless(made, [np.array([1.0, 1.0])], OPINIONS).tolist() == [fine]


@pytest.mark.parametrize(("weight", "main"), [(0.5, True), (0.49, False), (0.0, False)])
def test_main_is_what_has_half_the_largest_weight(weight, main):
    made = gains([0.5] * 10, [-0.1] * 10)
    assert harmless(made, [np.array([1.0, weight])], OPINIONS).tolist() == [not main]


@pytest.mark.parametrize(("helped", "fine"), [(5, True), (4, False)])
def test_a_blade_must_help_by_the_complaints_own_weights_in_half_of_the_draws(helped, fine):
    """3 x 0.02 - 1 x 0.05 helps, 3 x 0.02 - 1 x 0.07 does not; a loss of 0.02 is no harm."""
    made = gains([0.02] * 10, [-0.05] * helped + [-0.07] * (10 - helped))
    assert harmless(made, [np.array([3.0, 1.0])], OPINIONS).tolist() == [fine]


def test_every_complaint_counts_and_without_one_nothing_is_harmed():
    made = gains([0.5] * 10, [-0.5] * 10)
    first, second = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    assert harmless(made, [first], OPINIONS)[0] and not harmless(made, [first, second], OPINIONS)[0]
    assert not harmless(made, [second, first], OPINIONS)[0] and harmless(made, [], OPINIONS)[0]


def test_blades_are_told_apart_and_a_failed_draw_is_harm():
    both = np.concatenate([gains([0.5] * 10), gains([-0.5] * 10), gains([0.5] * 8 + [NAN] * 2)], axis=1)
    assert harmless(both, [np.array([1.0])], OPINIONS).tolist() == [True, False, False]
    present = np.concatenate([both, np.full((90, 3, 1), NAN)])
    assert harmless(present, [np.array([1.0])], OPINIONS).tolist() == [True, False, False]


# ---------------------------------------------------------------- a pair


def test_a_pair_is_ground_only_where_its_mean_pays():
    """One blade gains 0.05, the other 0.01 or nothing; at 0.029 each the first alone would pay in both cases."""
    left = evidence([0.05] * 10, cost=0.029)
    assert verdict(left, OPINIONS).kind == "regrind"
    assert verdict(together(left, evidence([0.01] * 10, cost=0.029)), OPINIONS).kind == "regrind"
    assert verdict(together(left, evidence([0.00] * 10, cost=0.029)), OPINIONS).kind == "leave"
    dear = verdict(together(left, evidence([0.01] * 10, cost=0.04)), OPINIONS)
    assert dear.kind == "leave" and dear.net == pytest.approx(0.03 - 0.0345)


def test_a_pair_needs_both_blades_able_and_unharmed_and_pairs_draws():
    score = [0.5] * 10
    good = evidence(score)
    assert verdict(together(good, evidence(score, able=[False])), OPINIONS).reason == "nothing_can_be_ground"
    assert verdict(together(evidence(score, fine=[False]), good), OPINIONS).reason == "nothing_helps_without_harm"
    up, down = counted(5, 5, 0.6, -0.1), counted(5, 5, -0.1, 0.6)
    assert verdict(together(evidence(up), evidence(down)), OPINIONS).better == 1.0, "each draw is one skater on both"
