"""The menu: chosen on one half and judged on the other, caps and answers on both sides, zones against single radii."""

import math

import numpy as np
import pytest

from experiments.analysis.judging.menu import Library, menu, spread, worst_harm
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

NAN = math.nan
MEASURES = ("pivot", "turn", "glide")


def library(*blades, able=None, single=None):
    """Blades as {measure: number or list over the draws} of log2 gains; 20 draws, ten for choosing."""
    gains = np.array([[np.broadcast_to(b.get(m, 0.0), 20) for m in MEASURES] for b in blades], float)
    count = len(blades)
    return Library(np.moveaxis(gains, 2, 0), MEASURES, np.array(able or [True] * count),
                   np.array(single or [False] * count), np.arange(count) * 1e-4)  # fmt: skip


def one(lib, wish="pivot", **more):
    return menu(lib, [wish], OPINIONS, **more)[0]


def late(worse, by, otherwise=0.0):
    """Nothing in the ten draws for choosing, worse by `by` in some of those for judging."""
    return [otherwise] * 10 + [-by] * worse + [otherwise] * (10 - worse)


def early(worse, by, otherwise=0.0):
    return [-by] * worse + [otherwise] * (20 - worse)


@pytest.mark.parametrize(
    ("worse", "by", "chosen"),
    [
        (1, 0.2, 1),
        (2, 0.2, 0),
        (10, 0.0703, 1),  # log2(1.05) is 0.07039
        (2, 0.0704, 0),
        (2, NAN, 0),  # a failed draw is worse
    ],
)
def test_a_blade_may_cost_five_percent_of_any_other_measure_in_one_of_ten_draws(worse, by, chosen):
    lib = library({"pivot": 0.1}, {"pivot": 0.3, "glide": early(worse, by)}, {"pivot": 0.05})
    assert one(lib).blade == chosen


@pytest.mark.parametrize(("cap", "by", "chosen"), [(0.1, 0.137, 1), (0.1, 0.138, 0), (0.02, 0.0285, 1),
                                                   (0.02, 0.0286, 0), (0.0, 0.001, 0)])  # fmt: skip
def test_the_cap_is_what_was_asked_for(cap, by, chosen):
    """log2(1.10) is 0.13750, log2(1.02) is 0.02857."""
    assert one(library({"pivot": 0.1}, {"pivot": 0.3, "turn": -by}), cap=cap).blade == chosen


def test_a_veto_holds_a_measure_to_two_percent_and_never_loosens():
    lib = library({"pivot": 0.1}, {"pivot": 0.3, "turn": -0.0286})
    assert one(lib).blade == 1 and one(lib, vetoes=["turn"]).blade == 0 and one(lib, vetoes=["glide"]).blade == 1
    assert one(lib, cap=0.01, vetoes=["turn"]).blade == 0
    tight = library({"pivot": 0.1}, {"pivot": 0.3, "turn": -0.02})
    assert one(tight, cap=0.01, vetoes=["turn"]).blade == 0, "2 % does not loosen a cap of 1 %"


def test_what_is_wished_has_no_cap_itself_and_what_cannot_be_ground_is_not_offered():
    lib = library({"pivot": -0.5}, {"pivot": 0.4}, able=[True, False])
    found = one(lib)
    assert (found.blade, found.answer) == (0, "no")
    assert one(library({"turn": -1.0})).blade == -1 and one(library({"turn": -1.0})).answer == "no"
    assert one(library({"pivot": 0.4}, able=[False])).blade == -1


@pytest.mark.parametrize(
    ("felt", "answer"),
    [(10, "yes"), (9, "yes"), (8, "open"), (2, "open"), (1, "no"), (0, "no")],
)
def test_yes_no_or_open_by_the_draws_that_it_was_not_chosen_on(felt, answer):
    found = one(library({"pivot": [0.5] * 10 + [0.0144] * felt + [0.0143] * (10 - felt)}))  # log2(1.01) is 0.01436
    assert found.answer == answer and found.sure == pytest.approx(felt / 10)


def test_chosen_by_the_median_of_the_first_half_and_judged_on_the_second():
    """The first has the greater median then, the second the greater mean, and now the first has nothing left."""
    lib = library({"pivot": [0.3] * 6 + [0.0] * 4 + [-0.1] * 10, "glide": late(3, 0.2)},
                  {"pivot": [0.2] * 5 + [2.0] * 5 + [0.5] * 10}, {"pivot": [0.29] * 20})  # fmt: skip
    lib.gains[:10, 1, 0] = [0.2] * 6 + [2.0] * 4
    found = one(lib)
    assert found.blade == 0 and found.answer == "no" and found.gain == pytest.approx((-0.1, -0.1, -0.1))
    assert found.harm == pytest.approx(0.3) and dict(found.others)["glide"][1] == 0.0
    assert [name for name, _ in found.others] == ["turn", "glide"]


def test_what_it_costs_and_takes():
    lib = library({"pivot": 0.0}, {"pivot": np.r_[np.zeros(10) + 0.3, np.linspace(0.2, 0.4, 10)], "turn": -0.05})
    found = one(lib)
    assert found.blade == 1 and found.steel_m == pytest.approx(1e-4)
    assert found.gain == pytest.approx(tuple(np.quantile(np.linspace(0.2, 0.4, 10), [0.05, 0.5, 0.95])))
    assert dict(found.others)["turn"] == pytest.approx((-0.05,) * 3)


def test_what_zones_add_over_the_best_single_radius_under_the_same_caps():
    """Of the single radii one gains more and costs too much. The zones add 0.1 of pivot and nothing else."""
    lib = library({"pivot": 0.3, "turn": 0.05}, {"pivot": 0.2, "turn": 0.05}, {"pivot": 0.25, "turn": -0.5},
                  single=[False, True, True])  # fmt: skip
    found = one(lib)
    assert (found.blade, found.single) == (0, 1) and found.single_gain == pytest.approx((0.2,) * 3)
    assert found.zones_add == pytest.approx((0.1,) * 3) and found.zones_sure == 1.0
    assert found.serves == ("pivot",) and found.one_number_only
    both = library({"pivot": 0.3, "turn": 0.08}, {"pivot": 0.2, "turn": 0.05}, single=[False, True])
    assert one(both).serves == ("pivot", "turn") and not one(both).one_number_only


@pytest.mark.parametrize(("surely", "serves"), [(9, ("pivot",)), (8, ())])
def test_zones_serve_a_number_where_it_is_felt_in_nine_of_ten(surely, serves):
    lib = library({"pivot": [0.3] * 10 + [0.3] * surely + [0.2] * (10 - surely)}, {"pivot": 0.2}, single=[False, True])
    found = one(lib)
    assert found.serves == serves and found.zones_sure == pytest.approx(surely / 10)


def test_a_single_radius_that_is_best_itself_has_nothing_added_and_without_one_nothing_is_said():
    found = one(library({"pivot": 0.1}, {"pivot": 0.2}, single=[False, True]))
    assert (found.blade, found.single) == (1, 1) and found.zones_add == (0.0, 0.0, 0.0) and found.serves == ()
    alone = one(library({"pivot": 0.1}))
    assert alone.single == -1 and math.isnan(alone.zones_sure) and math.isnan(alone.zones_add[1])


def test_the_single_radius_may_be_the_first_of_the_library_and_one_percent_itself_is_not_felt():
    lib = library({"pivot": 0.0}, {"pivot": math.log2(1.01)}, single=[True, False])
    found = one(lib)
    assert (found.blade, found.single, found.zones_sure, found.serves) == (1, 0, 0.0, ()) and found.sure == 0.0


def test_draws_of_a_present_blade_that_failed_do_not_count():
    lib = library({"pivot": [0.3] * 10 + [NAN] * 2 + [0.3] * 7 + [0.0]})
    lib = Library(np.concatenate([lib.gains, np.full((20, 1, 3), NAN)]), *list(vars(lib).values())[1:])
    lib.gains[10:12, 0, 1:] = NAN
    found = one(lib)
    # 18 draws are left: the last nine of them judge, eight of which have it
    assert found.sure == pytest.approx(8 / 9)
    empty = Library(np.full((4, 1, 3), NAN), MEASURES, np.array([True]), np.array([True]), np.zeros(1))
    assert menu(empty, ["pivot"], OPINIONS)[0].answer == "open"


def test_lines_come_in_the_order_of_the_wishes():
    lib = library({"pivot": 0.1, "turn": -0.01}, {"turn": 0.2, "pivot": -0.01})
    found = menu(lib, ["turn", "pivot", "glide"], OPINIONS)
    assert [(x.wish, x.blade) for x in found] == [("turn", 1), ("pivot", 0), ("glide", 0)]


def test_the_worst_harm_of_all_but_the_wish_by_brute_force():
    rng = np.random.default_rng(1)
    gains, caps = rng.normal(0, 0.1, (50, 6, 4)), np.array([-0.05, -0.02, -0.1, -0.01])
    found = worst_harm(gains, 2, caps)
    for b in range(6):
        shares = [sum(gains[d, b, j] < caps[j] for d in range(50)) / 50 for j in (0, 1, 3)]
        assert found[b] == pytest.approx(max(shares))
    assert worst_harm(gains[:, :, :1], 0, caps[:1]).tolist() == [0.0] * 6


def test_the_best_of_many_is_not_flattered():
    """200 blades that gain nothing, in draws that scatter by 1: the best of them seems to gain on the draws that chose
    it (its median there lies above 0.3) and gains nothing on the others."""
    rng = np.random.default_rng(5)
    gains = rng.normal(0, 1, (64, 200, 1))
    lib = Library(gains, ("pivot",), np.ones(200, bool), np.zeros(200, bool), np.zeros(200))
    found = one(lib)
    assert np.median(gains[:32, found.blade, 0]) > 0.3 > found.gain[1] and found.answer == "open"


def test_a_spread_is_of_what_is_known():
    assert spread(np.r_[np.arange(101.0), [NAN] * 5]) == pytest.approx((5, 50, 95))
    assert all(map(math.isnan, spread(np.array([NAN]))))
