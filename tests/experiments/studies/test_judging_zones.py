"""How many zones are worth having, the menu of skaters, and the answer in five sentences, from numbers by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.judging.menu import Item
from experiments.analysis.variants import statics
from experiments.request.fields import Fields
from experiments.request.uncertainty import Input, Sampling
from experiments.run.workers import HERE, silent
from experiments.studies.findings import answer, menus, sentences, zone_words
from experiments.studies.findings.differences import bought
from experiments.studies.findings.menus import SkaterMenu
from experiments.studies.findings.zones import Worth, Zones, surely_more, worth_having
from experiments.studies.model_form.study import ModelForm, Variant
from experiments.studies.stance_map.study import StanceMap
from sim.errors import BladeError
from tests.experiments.analysis.hand import TEN, blade, draws_of, request, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.experiments.analysis.test_limits import SHOP

FELT = OPINIONS.felt

NAN = math.nan
PAIR = ("turn_drag", "critical_ankle_stiffness")
ONE_PLACE = ("glide_drag_coefficient", "critical_ankle_stiffness")


def planned(**more):
    return SimpleNamespace(request=request([TEN], opinions=OPINIONS), sampling=SimpleNamespace(draws=20), **more)


# ---------------------------------------------------------------- zones


@pytest.mark.parametrize(
    ("columns", "number"),
    [
        ([[1.0] * 20, [1.0051] * 20], 2),
        ([[1.0] * 20, [1.0049] * 20], 1),
        ([[1.0] * 20, [1.0051] * 19 + [0.9]], 2),  # 95 %
        ([[1.0] * 20, [1.0051] * 18 + [0.9] * 2], 1),  # 90 %
        ([[1.0] * 20, [1.004] * 20, [1.008] * 20], 3),  # against the last that was worth it, not the one before
        ([[1.0] * 20, [1.02] * 20, [1.0249] * 20, [1.0255] * 20], 4),
        ([[1.0] * 20, [1.02] * 20, [1.0249] * 20], 2),
        ([[1.0] * 20], 1),
        ([[NAN] * 20, [1.1] * 20], 1),
        ([[1.0] * 20, [1.1] * 10 + [NAN] * 10], 2),
    ],
)
def test_zones_are_worth_having_when_they_surely_add_half_a_percent(columns, number):
    assert worth_having(np.array(columns).T, OPINIONS).number == number


def test_what_zones_add_is_in_the_same_draws():
    """Gains go up and down together: the ratio is 1.02 in all draws, though the two intervals overlap."""
    shared = np.linspace(0.9, 1.1, 40)
    gain = np.column_stack([shared, 1.02 * shared, 1.021 * shared, 1.019 * shared])
    found = worth_having(gain, OPINIONS)
    assert found.number == 2 and found.adds == pytest.approx((0.02,) * 3)
    assert found.more == pytest.approx((1.021 / 1.02 - 1,) * 3), "the best of more, by its median"
    assert surely_more(gain[:, 1], gain[:, 0], OPINIONS) and not surely_more(gain[:, 0], gain[:, 1], OPINIONS)


def test_words_of_a_number_of_zones():
    assert zone_words.number_text(Worth(1, (0, 0, 0), (0, 0, 0)), 5) == (
        "no number of zones up to five can be told apart from a single radius"
    )
    assert zone_words.number_text(Worth(3, (0, 0, 0), (0, 0, 0)), 5) == "three zones are worth having"
    gain = np.tile([1.0, 1.02, 1.02], (20, 1))
    two = Zones(PAIR, (TEN.recipe, blade(8, 12).recipe, blade(8, 12.04, 8).recipe), (1.0, 1.03, 1.03), gain)
    found = zone_words.zones([two], planned())
    assert found.sentences[0] == (
        "turn drag against critical ankle stiffness, measured at two places of the blade: two zones are worth having, "
        "+2.0 % of gain over one (+2.0 % to +2.0 %); more cannot be told apart from them: the best of more adds +0.0 % "
        "(+0.0 % to +0.0 %)."
    )
    assert "on 4 draws" in found.sentences[1] and "judged on 20 draws that no search saw" in found.sentences[1]
    assert found.table[0] == ("pair", "up to 1", "up to 2", "up to 3")
    assert found.table[1] == (
        "turn drag against critical ankle stiffness", "10 ft: on the line (+0.0 % to +0.0 %)",
        "8/12 ft, zones 120/120 mm: beyond every single radius (+2.0 % to +2.0 %)",
        "8/12/8 ft, zones 80/80/80 mm: beyond every single radius (+2.0 % to +2.0 %)",
    )  # fmt: skip
    flat = replace(two, pair=ONE_PLACE, gain=np.ones((20, 3)))
    assert zone_words.zones([flat], planned()).sentences[0] == (
        "glide drag coefficient against critical ankle stiffness, measured at one place of the blade: no number of "
        "zones up to three can be told apart from a single radius; the best of them adds +0.0 % (+0.0 % to +0.0 %)."
    )


@pytest.mark.parametrize(("feet", "end"), [((7.06, 9), True), ((7.08, 9), False), ((9, 13.87), True),
                                           ((9, 13.85), False)])  # fmt: skip
def test_radii_at_an_end_of_the_search_are_said(feet, end):
    """7 and 14 ft, within a hundredth."""
    assert zone_words.at_the_end(blade(*feet).recipe) is end
    found = Zones(PAIR, (TEN.recipe, blade(*feet).recipe), (1.0, 1.03), np.tile([1.0, 1.02], (20, 1)))
    assert ("an end of what was searched)" in zone_words.zones([found], planned()).sentences[0]) is end
    none = replace(found, recipes=(blade(7).recipe, blade(*feet).recipe), gain=np.ones((20, 2)))
    assert "an end of" not in zone_words.zones([none], planned()).sentences[0], "no zones are advised"


@pytest.mark.parametrize(
    ("percents", "words"),
    [
        ((1.0, 2.0, 4.9), "+2.0 % (+1.0 % to +4.9 %), too small to feel"),
        ((-1.0, 2.0, 4.9), "+2.0 % (-1.0 % to +4.9 %), too small to feel"),
        ((1.0, 2.0, 5.1), "+2.0 % (+1.0 % to +5.1 %)"),
        ((-4.9, 0.0, 1.0), "+0.0 % (-4.9 % to +1.0 %)"),
    ],
)
def test_a_wish_met_at_a_size_that_nobody_feels_says_so(percents, words):
    """A twentieth more, or as much less (4.8 %), can be felt: an assumption."""
    gain = tuple(np.log2(1 + np.array(percents) / 100))
    assert zone_words.gain_text(Item("turn_drag", "yes", 0, gain=gain), FELT) == words
    small = " (too small to feel)" if "small" in words else ""
    for kind, more in (("yes", small), ("open", ""), ("no", "")):
        assert zone_words._listed([Item("turn_drag", kind, 0, gain=gain)], FELT) == f"turn drag{more}"


# ---------------------------------------------------------------- the menu


def item(wish="turn_drag", answer_="yes", **more):
    made = {"blade": 1, "sure": 1.0, "gain": (0.1, 0.2, 0.3), "single": 0, "single_gain": (0.0, 0.1, 0.2),
            "others": (("push_hold_angle", (-0.2, -0.1, 0.0)), ("pivot_heel_toe_in", (-0.3, -0.05, -0.02))),
            "zones_add": (0.05, 0.1, 0.15), "zones_sure": 0.9, "serves": (wish,), "steel_m": 0.5e-3}  # fmt: skip
    return Item(wish, answer_, **(made | more))


def test_a_menu_in_words():
    recipes = (TEN.recipe, blade(8.75, 12).recipe)
    items = (item(), item("push_hold_angle", "no", zones_sure=1.0), item("pivot_heel_toe_in", zones_sure=0.89),
             item("glide_drag_coefficient", "open", single=1))  # fmt: skip
    one = SkaterMenu("child", 35.0, "ten", recipes, 3, items)
    assert zone_words.surely_zones(one, OPINIONS) == [items[0]], "what can be had, and surely more with zones"
    found = zone_words.menu([one], planned(menu=SimpleNamespace(draws=64)))
    assert found.sentences[0] == (
        "child, 35 kg: can have turn drag, pivot on heel, toe in; cannot have hold angle at push; open glide drag "
        "coefficient; zones surely add to turn drag over the best single radius, and serve that one number only for "
        "turn drag."
    )
    assert found.table[1] == (
        "child", "turn drag", "yes", "8.75/12 ft", "+14.9 % (+7.2 % to +23.1 %)",
        "hold angle at push -6.7 % (-12.9 % to +0.0 %)", "10 ft: +7.2 % (+0.0 % to +14.9 %)",
        "+7.2 % (+3.5 % to +11.0 %)", "0.50 mm",
    )  # fmt: skip
    assert found.table[3][7].endswith(", not sure") and found.table[4][7] == ""
    first = zone_words.menu([replace(one, items=(item(blade=0),))], planned(menu=SimpleNamespace(draws=64))).table[1]
    assert first[3] == "10 ft"
    none = replace(one, items=(item(blade=-1, answer_="no", single=-1),))
    assert zone_words.menu([none], planned(menu=SimpleNamespace(draws=64))).table[1][3] == "no blade keeps the price"
    plain = replace(one, items=(item(zones_sure=0.5),))
    assert (
        "zones surely add to none of them"
        in zone_words.menu([plain], planned(menu=SimpleNamespace(draws=64))).sentences[0]
    )


def test_gains_of_a_library_are_worked_out_blade_by_blade():
    """A draw with a hollow 5 % larger and the second blade ground 1 % longer; less drag and more hold are better."""
    blades, names = (blade(8), blade(9, 11)), ("turn_drag", "push_hold_angle")
    columns = (("hollow_factor", -1), ("radius_factor", 1))
    found = menus.drawn_gains((blades, setting(), columns, names), np.array([[1.05, 1.01], [-1.0, 1.0]]))
    assert found.shape == (2, 2, 2) and np.isnan(found[1]).all()
    wide = replace(TEN.section, hollow_m=1.05 * TEN.section.hollow_m)
    there = setting(reference=replace(TEN, section=wide))
    base = statics(there.reference, there, names)
    for k, one in enumerate((blade(8, section=wide), blade(9.09, 11.11, section=wide))):
        drag, hold = statics(one, there, names)
        assert found[0, k] == pytest.approx([math.log2(base[0] / drag), math.log2(hold / base[1])], abs=1e-9)


def test_a_library_knows_its_single_radii_and_its_steel():
    blades = (blade(10), blade(9, 9), blade(9, 11))
    found = menus.library_of(np.zeros((4, 3, 1)), ("turn_drag",), blades, setting())
    assert found.single.tolist() == [True, True, False] and found.able.all() and found.measures == ("turn_drag",)
    assert found.steel_m[0] == pytest.approx(0, abs=1e-9) and (found.steel_m[1:] > 1e-5).all()


def test_blades_that_cannot_be_ground_are_left_out_of_a_menu():
    """5 ft is tighter than the shop's 6; of 16 draws eight choose and eight judge; the reference gains nothing."""
    asked = request([blade(10, name="ten again"), blade(5, name="tight"), blade(8, name="eight")], opinions=OPINIONS)
    plan = menus.MenuPlan((asked,), ("turn_drag", "critical_ankle_stiffness"), 16)
    sampling = Sampling((Input("mass_factor", stats.norm(1, 0.01), "t"),), 99, 3)
    (found,) = menus.menus(plan, SHOP, sampling, HERE, silent)
    assert [r.name for r in found.recipes] == ["ten again", "eight"] and found.left_out == 1
    assert (found.skater, found.present, [x.wish for x in found.items]) == ("adult", "ten", list(plan.wishes))
    assert found.items[1].blade == 0, "8 ft asks for more ankle: the present curve is the steadiest"


def test_a_menu_is_chosen_from_all_draws_each_once(monkeypatch):
    """18 draws go out by four; each comes back once, in its place."""
    seen = []
    monkeypatch.setattr(menus, "menu", lambda library, wishes, opinions: seen.append(library.gains) or [])
    monkeypatch.setattr(menus, "drawn_gains", lambda shared, points: points[:, None, :1])
    plan = menus.MenuPlan((request([blade(8)], opinions=OPINIONS),), ("turn_drag",), 18)
    sampling = Sampling((Input("mass_factor", stats.norm(1, 0.01), "t"),), 99, 3)
    menus.menus(plan, SHOP, sampling, HERE, silent)
    assert seen[0].shape == (18, 1, 1) and len(np.unique(seen[0])) == 18


def test_a_menu_is_of_static_wishes_with_a_better_side(monkeypatch):
    monkeypatch.setattr(menus, "read_skater", lambda fields: fields.where)
    monkeypatch.setattr(menus, "assemble", lambda stated: stated)
    monkeypatch.setattr(menus, "replace", lambda stated, **given: given)
    own = {"library": [{"family": "single_radius", "radii": ["9 ft"]}], "skaters": {"child": {}, "adult": {}},
           "wishes": ["turn_drag"], "draws": 16}  # fmt: skip
    plan = menus.read_menu(Fields(dict(own), "menu"), None)
    assert (plan.wishes, plan.draws) == (("turn_drag",), 16)
    assert [r["skaters"] for r in plan.requests] == [("menu.skaters.child",), ("menu.skaters.adult",)]
    assert all(r["pairs"] == () and r["scenarios"] == {} and len(r["entries"]) == 1 for r in plan.requests)
    for key, value in (("wishes", ["turn_time"]), ("wishes", ["pitch_bias"]), ("wishes", ["turn_drag"] * 2),
                       ("draws", 15), ("skaters", {})):  # fmt: skip
        with pytest.raises(BladeError, match=rf"menu\.{key}"):
            menus.read_menu(Fields(own | {key: value}, "menu"), None)


# ---------------------------------------------------------------- the answer


def test_a_single_radius_is_zero_sum_only_where_every_pair_is():
    traded, not_traded = np.array([[3, 1], [2, 2], [1, 3.0]]), np.array([[3, 1], [2, 2], [1, 2.0]])
    assert bought(traded).tolist() == [True, True] and bought(not_traded).tolist() == [True, False]
    for unknown in (np.array([[3, 1], [2, NAN], [1, 3]]), 0 * traded, np.array([[3, 1], [2, 2], [0.0, 3]])):
        assert not len(bought(unknown)), "not known, or a cost of nothing"
        assert not answer.on_single_radii({PAIR: unknown}).startswith("A single radius is a trade:")
    assert answer.on_single_radii({PAIR: traded}).startswith("A single radius is a trade:")
    both = answer.on_single_radii({PAIR: traded, ONE_PLACE: not_traded})
    assert "only on turn drag against critical ankle stiffness does each longer radius buy" in both
    assert "on no declared pair does each longer radius buy" in answer.on_single_radii({PAIR: not_traded})
    assert "cannot be said" in answer.on_single_radii({})


def case(gain, families=("single_radius", "mid_flat", "graded"), pairs=(PAIR,)):
    chart = StanceMap(("a", "b", "c"), families, pairs, np.zeros(1), np.zeros(1), np.ones((3, 1, 1, 1)), {}, pairs, {})
    draws = draws_of(
        {}, ["a", "b", "c"], gain=np.repeat(np.array(gain, float).reshape(1, 3, 1), 20, axis=0), pairs=pairs
    )
    return SimpleNamespace(draws=draws, stances=chart)


def test_statements_of_zoned_recipes_are_counted():
    found = answer.on_recipes(planned(), case([1.5, 1.02, 0.9]))
    assert found == (
        "Of 2 cases of a zoned recipe and a pair of measures, b for turn drag against critical ankle stiffness "
        "(+2.0 %, +2.0 % to +2.0 %) beyond every single radius; 1 inside the line; all pairs are measured at two "
        "places of the blade."
    )
    found = answer.on_recipes(planned(), case([1.5, 1.0, 1.0], pairs=(ONE_PLACE,)))
    assert found == (
        "Of 2 cases of a zoned recipe and a pair of measures, none is beyond every single radius; 2 on the line."
    )
    assert answer.on_recipes(planned(), case([1, 1, 1], ("single_radius",) * 3)).startswith("No zoned recipe")


def test_the_number_of_zones_is_answered_pair_by_pair():
    two = Zones(PAIR, (TEN.recipe,) * 2, (1.0, 1.0), np.tile([1.0, 1.02], (20, 1)))
    one = Zones(ONE_PLACE, (TEN.recipe,) * 2, (1.0, 1.0), np.tile([1.0, 1.001], (20, 1)))
    assert answer.on_zones(planned(), [two, one]) == (
        "Zones worth having, told apart from fewer in 95 % of the draws: two for turn drag against critical ankle "
        "stiffness (two places; +2.0 % of gain, +2.0 % to +2.0 % over one); none beyond one for glide drag coefficient "
        "against critical ankle stiffness (one place; the best of more: +0.1 % of gain, +0.1 % to +0.1 %)."
    )


def test_wishes_are_counted_over_all_skaters():
    items = {"child": (item(), item("push_hold_angle", "no")), "adult": (item(zones_sure=0.8), item(answer_="open"))}
    menu_of = [SkaterMenu(name, 80.0, "ten", (TEN.recipe,) * 2, 0, mine) for name, mine in items.items()]
    found = answer.on_wishes(SimpleNamespace(menus=menu_of), OPINIONS)
    assert found.startswith(
        "Of 4 wishes of 2 skaters 2 can be had at a cost of 5 % of any other at most, 1 cannot and 1 are open;"
    )
    assert "zones surely add to 1 of them (child: turn drag)" in found


def forms(*groups):
    made = tuple(Variant(f"v{k}", np.zeros(3), np.ones((3, 1)), 1.0, g, ()) for k, g in enumerate(groups))
    return ModelForm(("a", "b", "c"), (PAIR,), made)


def test_the_limits_count_physics_under_which_others_are_first():
    """The same blades in another order are the same; a missing one is not."""
    rules = [SimpleNamespace(verdict=v) for v in ("supported", "too small to feel", "supported")]
    found = answer.on_limits(planned(), forms(((0, 1), (2,)), ((1, 0), (2,)), ((0,), (1, 2)), ((0, 1, 2),)), rules)
    assert "ties 2 of 3 blades" in found and "under 2 of 3 other physics" in found
    assert "of 3 rules of the trade about the curve 2 hold" in found
    assert "the same are tied for it under all" in answer.on_limits(planned(), forms(((0,),), ((0,),)), rules)
    assert "under 1 of 1 other" in answer.on_limits(planned(), forms(((0, 1),), ((0,), (1,))), rules)
    assert "is not known" in answer.on_limits(planned(), forms((), ()), rules)


# ---------------------------------------------------------------- other physics


def test_the_order_elsewhere_is_said_with_what_is_tied_and_turned():
    physics = forms(((0, 1), (2,)), ((1,), (0,), (2,)), ())
    turned = replace(physics.variants[1], turned=((0, 1),), tau=0.33)
    physics = replace(physics, variants=(physics.variants[0], turned, physics.variants[2]))
    whole = sentences.survives(planned(physics=SimpleNamespace(sampling=SimpleNamespace(draws=64))), physics)
    assert whole.table[1] == ("v1", "b", "b beats a", "0.33")
    assert whole.table[2] == ("v2", "no order, a part of the score could not be computed", "", "")
    found = whole.sentences
    assert found[0] == "As stated, tied for first: a, b."
    assert "fewer than 90 % of 64 draws" in found[1] and "there are 1 such cases" in found[1]
