"""How many zones are worth having, the menu of skaters, and the answer in five sentences, from numbers by hand."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from experiments.analysis.frontier import frontier_gain
from experiments.analysis.judging.menu import Item
from experiments.analysis.variants import HeldLine, line_costs, statics
from experiments.request.fields import Fields
from experiments.request.uncertainty import Input, Sampling
from experiments.run.workers import HERE, silent
from experiments.studies.findings import answer, menus, sentences, zone_words, zones
from experiments.studies.findings.menus import SkaterMenu
from experiments.studies.findings.zones import Worth, Zones, surely_more, worth_having
from experiments.studies.model_form.study import ModelForm, Variant
from experiments.studies.stance_map.study import StanceMap
from sim.errors import BladeError
from tests.experiments.analysis.hand import FT, PAIRS, TEN, blade, draws_of, request, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS
from tests.experiments.analysis.test_limits import SHOP

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
    assert zone_words.gain_text(Item("turn_drag", "yes", 0, gain=gain)) == words


def test_numbers_of_a_search_are_radii_in_feet_and_then_shares():
    found = zones.zoned(TEN.recipe, np.array([8.0, 12.0, 9.0, 1.0, 2.0, 1.0]))
    assert found.radii_m == pytest.approx((2.4384, 3.6576, 2.7432)) and found.shares == (1.0, 2.0, 1.0)
    assert [z.length_m for z in found.zones] == pytest.approx([0.06, 0.12, 0.06]) and found.length_m == 0.28
    single = zones.zoned(TEN.recipe, np.array([11.0]))
    assert single.radii_m == pytest.approx((3.3528,)) and single.shares == ()


def held(*costs):
    """Places of a search, each with a line that has the same costs everywhere."""
    radii = np.geomspace(1.0, 8.0, 9)
    return tuple((setting(), {}, (radii, radii, dict.fromkeys(PAIR, np.full(9, c)))) for c in costs or (3.0,))


def test_a_search_for_one_zone_finds_the_known_best(monkeypatch):
    """Costs (r/9 ft + 9 ft/r) both: least 2 at 9 ft, against a line that has 1.9 everywhere: 0.95, no gain. Over two
    places, with lines of 1.9 and 1.6, it is the geometric mean of 0.95 and 0.8. Single radii are in their own line."""

    def known(one, _, pair):
        r = one.recipe.radii_m[0] / (9 * FT)
        return np.array([r + 1 / r] * 2)

    monkeypatch.setattr(zones, "statics", known)
    gain, numbers = zones.search_zones((TEN, held(1.9), SHOP), (PAIR, 1, 5, ()))
    assert gain == pytest.approx(0.95, rel=1e-3) and numbers[0] == pytest.approx(9.0, abs=0.3)
    gain, numbers = zones.search_zones((TEN, held(1.9, 1.6), SHOP), (PAIR, 1, 5, (9.0,)))
    assert gain == pytest.approx(math.sqrt(0.95 * 0.8), rel=1e-6) and numbers[0] == pytest.approx(9.0, abs=1e-3)


@pytest.mark.parametrize("what", ["refused", "no gain", "ungrindable"])
def test_a_blade_that_cannot_be_weighed_or_ground_is_worth_nothing(monkeypatch, what):
    """Only radii above 13 ft can be: the best lies there, though it is worth a tenth of what is needed for a gain."""

    def costs(one, _, pair):
        if one.recipe.radii_m[0] > 13 * FT:
            return np.array([30.0, 30.0])
        if what == "refused":
            raise BladeError("no")
        return np.array([NAN, 30.0]) if what == "no gain" else np.array([1.0, 1.0])

    limits = replace(SHOP, least_radius_m=13 * FT) if what == "ungrindable" else SHOP
    monkeypatch.setattr(zones, "statics", costs)
    gain, best = zones.search_zones((TEN, held(), limits), (PAIR, 1, 5, ()))
    assert gain == pytest.approx(0.1) and best[0] > 13


@pytest.mark.parametrize(("count", "numbers"), [(1, 1), (2, 4)])
def test_a_search_of_zones_looks_at_radii_and_shares_and_goes_on_for_25_generations(monkeypatch, count, numbers):
    """Eight blades a generation for each number, and those it begins with; 7 to 14 ft, shares 1 to 3."""
    looked = []

    def costs(one, _, pair):
        looked.append(one.recipe)
        return np.full(2, 1 + 1e-3 * one.recipe.radii_m[0])  # alike, but never so much that nothing is left to do

    monkeypatch.setattr(zones, "statics", costs)
    monkeypatch.setattr(zones, "violations", lambda recipe, limits: np.full(3, -0.5))
    gain, best = zones.search_zones((TEN, held(0.9), SHOP), (PAIR, count, 5, ()))
    assert gain == pytest.approx(0.9 / (1 + 7e-3 * FT), rel=1e-4) and best.shape == (numbers,)
    assert len(looked) == 26 * 8 * numbers
    radii = np.array([r.radii_m for r in looked]) / FT
    assert radii.shape[1] == count and 7 <= radii.min() < 7.5 and 13.5 < radii.max() <= 14
    shares = np.array([r.shares for r in looked])
    assert count == 1 or (1 <= shares.min() < 1.2 and 2.8 < shares.max() <= 3)


def test_more_zones_never_give_less_and_are_judged_on_draws_of_their_own(monkeypatch):
    """Best of two seeds for each number: 1.01, 1.03, then 1.02 and 0.9 (so that two zones stand), 1.05; each pair is
    judged in its own column and its own five blades. Every number sets out from the best so far, its longest zone cut.
    """
    best = {1: (1.01, 0.8), 2: (0.7, 1.03), 3: (1.02, 1.0), 4: (0.9, 0.9), 5: (1.05, 1.04)}
    asked, sought = [], []

    def answers(function, tries, shared, progress):
        assert {seed for _, _, seed, _ in tries} == {7, 8}
        assert function is zones.search_zones and shared == (TEN, "places", SHOP)
        sought.extend(tries)
        return [(best[n][seed - 7], np.array([9.0 + n] * n + [1.0] * (n if n > 1 else 0))) for _, n, seed, _ in tries]

    def drawn(made, inputs, draws, seed, workers, progress):
        asked.append((made, inputs, draws, seed))
        gain = np.arange(len(made.cases) * 2.0).reshape(1, -1, 2)
        return SimpleNamespace(gain=np.repeat(gain, draws, axis=0))

    monkeypatch.setattr(zones, "run_draws", drawn)
    monkeypatch.setattr(zones, "search_places", lambda there, radii, pairs, sampling: (
        "places" if there.scenarios == {} and sampling.seed == 7 and len(radii) == 5 else None))  # fmt: skip
    one = request([TEN], one=setting(scenarios={"stride": 0}), line_m=tuple(np.geomspace(6 * FT, 16 * FT, 5)))
    pairs = zones.zone_pairs(one, ONE_PLACE)
    assert pairs == (PAIR, ONE_PLACE) == zones.zone_pairs(replace(one, pairs=(PAIR, PAIRS[2])), ONE_PLACE)
    found = zones.best_zones(one, pairs, SHOP, Sampling(("x",), 3, 7), SimpleNamespace(map=answers), silent)
    assert [z.pair for z in found] == list(pairs)
    assert [z.sought for z in found] == [(1.01, 1.03, 1.03, 1.03, 1.05)] * 2
    assert [len(r.radii_m) for r in found[0].recipes] == [1, 2, 2, 2, 5]
    assert found[0].gain.tolist() == [[0, 2, 4, 6, 8]] * 3 and found[1].gain.tolist() == [[11, 13, 15, 17, 19]] * 3
    ((made, inputs, draws, seed),) = asked
    assert (inputs, draws, seed, made.pairs, len(made.cases)) == (("x",), 3, 7, pairs, 10)
    starts = {n: {start for pair, count, _, start in sought if count == n and pair == PAIR} for n in (1, 2, 3, 4, 5)}
    two = (11.0, 11.0, 11.0, 1.0, 1.0, 2.0)
    assert starts == {1: {()}, 2: {(10.0, 10.0, 1.0, 1.0)}, 3: {two}, 4: {two}, 5: {two}}


def test_a_search_sets_out_from_fewer_zones_with_the_longest_cut():
    """9 ft: 9/9. 8/12 ft of 1:3: 8/12/12 of 1:1.5:1.5; shares are scaled to the least, 1, and cut off at 3."""
    assert zones.split((9.0,)) == (9.0, 9.0, 1.0, 1.0)
    assert zones.split((8.0, 12.0, 1.0, 3.0)) == (8.0, 12.0, 12.0, 1.0, 1.5, 1.5)
    assert zones.split((8.0, 12.0, 1.0, 1.5)) == pytest.approx((8.0, 12.0, 12.0, 4 / 3, 1.0, 1.0))
    assert zones.split((8.0, 9.0, 1.0, 1.0)) == (8.0, 8.0, 9.0, 1.0, 1.0, 2.0)
    assert zones.split((7.0, 8.0, 3.0, 2.9)) == pytest.approx((7.0, 7.0, 8.0, 1.0, 1.0, 2.9 / 1.5))
    assert zones.split((7.0, 8.0, 9.0, 1.0, 1.0, 1.0))[4:] == (1.0, 1.0, 2.0, 2.0)


def test_draws_of_the_search_are_not_those_of_the_judgement():
    """From the seed after that of the judgement; without errors of grinding; the line of each draw its own."""
    inputs = (Input("mass_factor", stats.uniform(0.9, 0.2), "t"), Input("radius_factor", stats.norm(1, 0.01), "t"))
    radii = np.geomspace(6 * FT, 16 * FT, 9)
    found = zones.search_places(setting(), radii, (PAIR,), Sampling(inputs, 8, 3))
    assert len(found) == 4 and all(set(named) == {"mass_factor"} for _, named, _ in found)
    for there, named, (_, span, table) in found:
        assert there.skater.mass_kg == pytest.approx(80 * named["mass_factor"])
        by_hand = statics(blade(span[20] / FT), there, PAIR)
        assert [table[name][20] for name in PAIR] == pytest.approx(by_hand)
    judged = zones.sample(inputs[:1], [("mass_factor", -1)], 4, 3)[:, 0]
    assert not set(judged) & {named["mass_factor"] for _, named, _ in found}
    assert found[0][1] != zones.search_places(setting(), radii, (PAIR,), Sampling(inputs, 8, 4))[0][1]


def test_a_place_that_cannot_be_is_left_out_and_a_missing_gain_is_as_bad_as_none(monkeypatch):
    """A hollow of nothing cannot be built; a blade without a gain in one place has none at all."""
    bad = (Input("hollow_factor", stats.uniform(0.0, 1e-6), "t"),)
    assert zones.search_places(setting(), np.array([2.0, 3.0]), (PAIR,), Sampling(bad, 8, 3)) == ()
    assert zones.mean_log_gain(TEN, PAIR, (), ()) == -10.0
    monkeypatch.setattr(zones, "statics", lambda *_: np.array([1.0, NAN]))
    places = held(2.0)
    assert zones.mean_log_gain(blade(8, 12), PAIR, places, [HeldLine(*places[0][2])]) == -10.0


def test_the_line_of_the_search_is_the_models_own():
    """33 radii over the stated line, continued by their own ratio; a gain is that of the frontier worked out alone."""
    radii = np.geomspace(6 * FT, 16 * FT, 9)
    line = HeldLine(*zones.single_radii(setting(), radii, (PAIR,)))
    assert len(line.radii) == 33 and line.span[0] <= 4.8 * FT * 1.0001 and line.span[-1] >= 20 * FT * 0.9999
    mine = blade(8, 12)
    costs = statics(mine, setting(), PAIR)
    alone = frontier_gain(costs, line.span, line_costs(setting(), line.span, PAIR))
    assert line.gain(PAIR, costs, mine.recipe).gain == pytest.approx(alone.gain, rel=1e-9)


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
    assert answer.bought_everywhere(traded) and not answer.bought_everywhere(not_traded)
    assert not answer.bought_everywhere(np.array([[3, 1], [2, NAN], [1, 3]])) and not answer.bought_everywhere(
        0 * traded
    )
    assert not answer.bought_everywhere(np.array([[3, 1], [2, 2], [0.0, 3]])), "a cost of nothing"
    assert answer.on_single_radii({PAIR: traded}).startswith("A single radius is a trade:")
    both = answer.on_single_radii({PAIR: traded, ONE_PLACE: not_traded})
    assert "only turn drag against critical ankle stiffness is bought" in both
    assert "no declared pair is bought" in answer.on_single_radii({PAIR: not_traded})
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
        "Of 4 wishes of 2 skaters 2 can be had for 5 % of any other at most, 1 cannot and 1 are open;"
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
