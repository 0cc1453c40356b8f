"""What the page of findings claims: each sentence at its threshold, and the search for zones, from invented numbers."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis.variants import statics
from experiments.report.shown import COMPARED
from experiments.studies.findings import sentences, study
from experiments.studies.findings.sentences import against, compared, worth_having
from experiments.studies.model_form.study import Variant
from experiments.studies.stance_map.study import StanceMap
from sim.measures import STATIC
from tests.experiments.analysis.hand import FT, ICE, SECTION, TEN, blade, draws_of, request, section_of, setting

NAN = math.nan
PAIR = ("turn_drag", "critical_ankle_stiffness")


# ---------------------------------------------------------------- zero-sum


def traded(costs, feet=(6, 7, 8, 9)):
    return sentences._traded(np.array(costs, float), np.array(feet) * FT)


def test_one_cost_is_bought_with_the_other_where_they_always_move_apart():
    assert traded([[4, 1], [3, 2], [2, 3], [1, 4]]).startswith("yes, everywhere between 6.0 ft and 9.0 ft")


def test_where_both_costs_move_together_is_said_with_its_radii_and_share():
    """Of three steps the middle one, 7 to 8 ft, has both falling; a cost that stands still is not bought either."""
    found = traded([[4, 1], [3, 3], [2, 2], [1, 4]])
    assert found.startswith("not everywhere; over 33 % of the steps in log radius (within 7.0 ft and 8.0 ft)")
    assert "over 67 % of the steps in log radius (within 6.0 ft and 8.0 ft)" in traded([[4, 1], [4, 2], [3, 1], [2, 2]])
    assert "within 8.0 ft and 9.0 ft" in traded([[4, 1], [3, 2], [2, 3], [3, 4]])


@pytest.mark.parametrize("bad", [NAN, 0.0, -1.0])
def test_nothing_is_said_of_a_line_with_a_cost_of_nothing(bad):
    assert traded([[4, 1], [3, bad], [2, 3], [1, 4]]).startswith("cannot be stated")


# ---------------------------------------------------------------- beyond the line


@pytest.mark.parametrize(("gain", "words"), [(1.0051, "beyond the line"), (1.0049, "too close to call"),
                                             (0.9949, "inside the line"), (0.9951, "too close to call")])  # fmt: skip
def test_which_recipes_leave_the_line(gain, words):
    share = "100 %" if gain > 1.005 else "0 %"
    assert sentences._leaves(np.full(20, gain)) == (
        f"{words} at the stated stance (gain {gain:.3f}, {gain:.3f} to {gain:.3f}; beyond in {share} of draws)"
    )


def test_a_single_failed_draw_is_said():
    assert sentences._leaves(np.array([1.2] * 19 + [NAN])) == "could not be computed in 1 of 20 draws"


def stances(chart):
    chart = np.asarray(chart, float)
    glide, turn = np.array([-0.02, 0.0]), np.array([0.01, 0.03, 0.05])
    return StanceMap(("a",), ("mid_flat",), (PAIR,), glide, turn, chart[None, None], {}, (PAIR,), {})


def test_the_best_stance_is_where_the_gain_is_highest():
    found = sentences._best_stance(stances([[1.0, 1.0051, 1.02], [0.9, 1.0049, NAN]]), 0, PAIR)
    assert "1.020 at best, gliding on -20 mm and turning on +50 mm, beyond for 40 % of them (1 stances gave" in found
    assert sentences._best_stance(stances(np.full((2, 3), NAN)), 0, PAIR) == "; no stance on the map gave a value"
    assert sentences._best_stance(stances(np.ones((2, 3))), 0, PAIR[::-1]) == ""


def test_single_radii_do_not_leave_their_own_line():
    gain = np.full((8, 2, 1), 1.02)
    made = replace(stances(np.ones((2, 3))), families=("single_radius", "mid_flat"), candidates=("a", "b"),
                   gain=np.ones((2, 1, 2, 3)))  # fmt: skip
    found = sentences.who_leaves(draws_of({}, ["a", "b"], gain=gain, pairs=(PAIR,)), made).sentences
    assert len(found) == 1 and found[0].startswith("b, turn drag against critical ankle stiffness: beyond the line")


# ---------------------------------------------------------------- one against another


def two(one, other, name="turn_drag"):
    """Draws in which `one` has these values of a measure and `other` those."""
    return draws_of({name: np.column_stack([one, other])}, ["one", "other"])


def test_how_much_more_one_has_than_the_other():
    """Ratios 1.10 in all draws; the sign follows the order in which they are named."""
    made = two(np.full(9, 1.1), np.ones(9))
    assert against(made, "turn_drag", "one", "other") == "turn drag: +10.0 % (+10.0 % to +10.0 %)"
    assert against(made, "turn_drag", "other", "one") == "turn drag: -9.1 % (-9.1 % to -9.1 %)"
    assert compared(made, "turn_drag", "one", "other") == pytest.approx([math.log(1.1)] * 3)


def test_an_interval_that_holds_nothing_at_all_is_too_close_to_call():
    half = np.linspace(0.98, 1.10, 101)  # 5 %: 0.986
    assert "too close to call (-1.4 % to +9.4 %)" in against(two(half, np.ones(101)), "turn_drag", "one", "other")
    sure = np.linspace(1.001, 1.10, 101)
    assert against(two(sure, np.ones(101)), "turn_drag", "one", "other").startswith("turn drag: +5.")


def test_a_missing_draw_is_said_and_nothing_computed():
    made = two(np.array([1.0, NAN]), np.ones(2))
    assert compared(made, "turn_drag", "one", "other") is None
    assert against(made, "turn_drag", "one", "other") == "turn drag: could not be computed, some draws gave no value"


@pytest.mark.parametrize(
    ("glide", "pivot", "words"),
    [
        ((-0.009, 0, 0.009), (0.01, 0.1, 0.2), "supported (the glide alike within 1.0 %)"),
        ((-0.0101, 0, 0.009), (0.01, 0.1, 0.2), "not supported: the glide is not shown to be alike within 1.0 %"),
        ((-0.009, 0, 0.009), (-0.01, 0.1, 0.2), "not supported: the pivot may be the same"),
        (None, (0.01, 0.1, 0.2), "cannot be stated: some draws gave no value"),
        ((-0.009, 0, 0.009), None, "cannot be stated: some draws gave no value"),
    ],
)
def test_gliding_alike_and_pivoting_differently(glide, pivot, words):
    assert sentences._alike_and_different(glide, pivot) == words


@pytest.mark.parametrize(("tips", "words"), [((0.1, 0.3), "toe-down, +0.20 mm"), ((-0.3, -0.1), "heel-down, -0.20 mm"),
                                             ((-0.1, 0.3), "no tip that stands out")])  # fmt: skip
def test_which_way_the_foot_is_tipped(tips, words):
    """Pitch is toe-down positive, so that the heel over the toe is too."""
    assert sentences._tip(np.linspace(*tips, 11)).startswith(words)


def test_easing_is_an_effect_when_any_interval_leaves_nothing_out():
    names = ["rear-flat", "rear-flat eased"]
    none = draws_of({"turn_drag": np.column_stack([np.ones(50), np.linspace(0.9, 1.1, 50)])}, names)
    assert "not supported" in sentences.easing(none).sentences[-1]
    some = draws_of({"turn_drag": np.column_stack([np.ones(50), np.linspace(1.01, 1.1, 50)])}, names)
    assert "not supported" not in sentences.easing(some).sentences[-1]
    (drag,) = [s for s in sentences.easing(some).sentences if "turn drag" in s]
    assert drag.startswith("Eased against plain, turn drag: +5.")


# ---------------------------------------------------------------- surroundings


def test_changes_above_half_a_percent_are_named():
    ratios = np.ones(len(STATIC))
    for name, r in zip(COMPARED, (1.0051, 1.0049, 0.9949, 0.9951, NAN)):
        ratios[STATIC.index(name)] = r
    found = sentences._changes(ratios)
    assert found == (
        "glide drag coefficient +0.5 %, glide drag coefficient at 2 m/s -0.5 %, pivot on forefoot about the foot, toe "
        "in could not be computed."
    )
    assert sentences._changes(np.ones(len(STATIC))) == "nothing by more than half a percent."


def test_the_reference_elsewhere_against_itself_at_home():
    """Each against a setting and a blade written out by hand; ice at -2 degC need not be refused, at +1 degC it is."""
    found = study.surroundings(request([blade(8, 12)]))
    base = statics(TEN, setting(), STATIC)
    small, large = (blade(10, section=section_of(2.9e-3, r)) for r in (10.16e-3, 15.875e-3))
    warm, cold = (setting(ice=replace(ICE, temperature_c=t)) for t in (-2.0, -8.0))
    by_hand = {"hollow a fifth smaller": (small, setting()), "hollow a quarter larger": (large, setting()),
               "ice 3 K warmer": (TEN, warm), "ice 3 K colder": (TEN, cold),
               "new steel, 5 mm higher": (blade(10, section=replace(SECTION, height_m=0.030)), setting()),
               "worn steel, 5 mm lower": (blade(10, section=replace(SECTION, height_m=0.020)), setting()),
               "steel held as in a tube": (blade(10, section=replace(SECTION, span_m=0.0)), setting())}  # fmt: skip
    assert list(found) == list(by_hand)
    skip = [STATIC.index(n) for n in ("pitch_bias", "heel_over_toe")]  # of the reference against itself: 0 over 0
    for words, (one, there) in by_hand.items():
        wanted = np.delete(statics(one, there, STATIC) / np.where(base == 0, NAN, base), skip)
        assert np.delete(found[words], skip) == pytest.approx(wanted, rel=1e-9, nan_ok=True), words
    thawed = study.surroundings(request([TEN], setting(ice=replace(ICE, temperature_c=-2.0))))
    assert isinstance(thawed["ice 3 K warmer"], str) and "water" in thawed["ice 3 K warmer"]


# ---------------------------------------------------------------- zones


@pytest.mark.parametrize(
    ("gains", "last"),
    [
        ([1.0, 1.0, 1.0051, 1.0051], 2),
        ([1.0, 1.0, 1.0049, 1.0098], 0),
        ([1.0, 1.006, 1.010, 1.0151], 3),
        ([1.0, 1.02, 1.02, 1.02], 1),
        ([1.0], 0),
    ],
)
def test_the_last_zone_that_adds_more_than_half_a_percent(gains, last):
    assert worth_having(gains) == last


def test_sentences_of_zones_count_from_one():
    one, other = (study.zoned(TEN.recipe, np.array(v, float)) for v in ([9.0], [8, 12, 1, 3]))
    found = sentences.zones(study.Zones(PAIR, ((1.0, None), (1.001, one), (1.031, other)))).sentences
    assert found[0].startswith("Up to 1 zone: gain 1.001") and "(9.0 ft), +0.001 by the last one." in found[0]
    assert found[1].startswith("Up to 2 zones") and "(8.0/12.0 ft, shares 0.25/0.75), +0.030" in found[1]
    assert "zone number 2 is the last that adds more than half a percent" in found[2]


def test_numbers_of_a_search_are_radii_in_feet_and_then_shares():
    found = study.zoned(TEN.recipe, np.array([8.0, 12.0, 9.0, 1.0, 2.0, 1.0]))
    assert found.radii_m == pytest.approx((2.4384, 3.6576, 2.7432)) and found.shares == (1.0, 2.0, 1.0)
    assert [z.length_m for z in found.zones] == pytest.approx([0.06, 0.12, 0.06]) and found.length_m == 0.28
    single = study.zoned(TEN.recipe, np.array([11.0]))
    assert single.radii_m == pytest.approx((3.3528,)) and single.shares == ()


def test_a_search_for_one_zone_finds_the_known_best(monkeypatch):
    """Costs (r/9 ft + 9 ft/r) both: least 2 at 9 ft, against a line that has 3 everywhere: a gain of 1.5."""

    def known(one, _, pair):
        r = one.recipe.radii_m[0] / (9 * FT)
        return np.array([r + 1 / r] * 2)

    monkeypatch.setattr(study, "statics", known)
    line = np.full((2, 2), 3.0)
    gain, numbers = study.search_zones((setting(), PAIR, np.array([2.0, 4.0]), line), (1, 5))
    assert gain == pytest.approx(1.5, rel=1e-3) and numbers[0] == pytest.approx(9.0, abs=0.3)


def test_more_zones_never_give_less_and_each_number_keeps_its_own_best(monkeypatch):
    """Best of two seeds for each number: 1.01, 1.03, then 1.02 and 0.9 (so that two zones stand), 1.05."""
    gains = {1: (1.01, 0.8), 2: (0.7, 1.03), 3: (1.02, 1.0), 4: (0.9, 0.9), 5: (1.05, 1.04)}
    monkeypatch.setattr(study, "line_costs", lambda *_: np.ones((66, 2)))

    def answers(function, tries, shared, progress):
        return [(gains[count][seed - 7], np.full(1 if count == 1 else 2 * count, 9.0 + count)) for count, seed in tries]

    found = study.best_zones(request([TEN]), 7, SimpleNamespace(map=answers), None)
    assert [gain for gain, _ in found.best] == [1.0, 1.01, 1.03, 1.03, 1.03, 1.05]
    assert [r and len(r.radii_m) for _, r in found.best] == [None, 1, 2, 2, 2, 5] and found.pair == PAIR
    assert study.best_zones(request([TEN], pairs=(("turn_drag", "stride_ice_loss"),)), 7, None, None) is None


# ---------------------------------------------------------------- other physics


def test_the_order_is_said_kept_partly_or_lost_by_its_tau():
    variants = [Variant(f"v{i}", np.array([0.1, 0.3, 0.2]), np.ones((3, 1)), tau)
                for i, tau in enumerate((1.0, 0.81, 0.79, 0.39, NAN))]  # fmt: skip
    result = SimpleNamespace(physics=SimpleNamespace(candidates=("a", "b", "c"), variants=tuple(variants)))
    plan = SimpleNamespace(request=request([TEN]))
    found = sentences.survives(plan, result).sentences
    assert found[:4] == (
        "v1: order kept (Kendall's tau 0.81), first is b.",
        "v2: order partly kept (Kendall's tau 0.79), first is b.",
        "v3: order not kept (Kendall's tau 0.39), first is b.",
        "v4: no order, a part of the score could not be computed.",
    )
    assert found[4] == "The ranking by this weighting is not supported under: v2, v3, v4."
    result.physics.variants = tuple(variants[:2])
    assert (
        sentences.survives(plan, result).sentences[-1]
        == "The ranking is kept (tau above 0.8) under every physics tried."
    )
