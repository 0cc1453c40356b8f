"""What is said of a search and of each find: every number in a sentence put there by hand, every word for it read."""

import io
import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from rich.console import Console

from experiments.analysis.bounds import Bound
from experiments.analysis.finds import Tally, Widened
from experiments.analysis.judging.statement import statement
from experiments.analysis.shop import ShopSteps
from experiments.studies.search import found_words as price
from experiments.studies.search import sentences as words
from experiments.studies.search import tables
from sim.measures import STATIC
from tests.experiments.analysis.hand import FT, STATES, TEN, blade, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

DRAG, ANKLE, HOLD = "turn_drag", "critical_ankle_stiffness", "push_hold_angle"
FEET, METRIC = ShopSteps(FT / 4, 1e-3), ShopSteps(0.05, 2e-3, True)


def plan(steps=FEET, objectives=((DRAG, "lower"), (HOLD, "higher")), settings=1, how=None, **more):
    problem = SimpleNamespace(objectives=objectives, settings=[0] * settings, how=how)
    asked = SimpleNamespace(settings=[setting()])
    known = {"own": (), "left_out": (), "lost": 0}
    return SimpleNamespace(problem=problem, steps=steps, request=asked, **(known | more))


def found(bounds=(), recipe=TEN.recipe, **values):
    """A find whose static measures are all 1 but these, beside a reference of 1 in everything."""
    return SimpleNamespace(
        candidate=SimpleNamespace(name="found 1", recipe=recipe), bounds=tuple(bounds),
        values=dict.fromkeys(STATIC, 1.0) | values, costs=np.array([1.0, 1.0]), gains=np.ones((3, 1)),
        said=(statement(np.ones(20), OPINIONS),), ground=(statement(np.ones(20), OPINIONS),),
    )  # fmt: skip


REFERENCE = SimpleNamespace(values=dict.fromkeys(STATIC, 1.0))


# ---------------------------------------------------------------- the price


def test_the_three_greatest_losses_and_gains_of_what_is_no_objective():
    """Lower is better but for the time to react, which is also lost; objectives and what is shown nowhere are left
    out."""
    one = found(
        turn_drag=9.0, glide_film_coefficient=8.0, pitch_bias=7.0, turn_scrape=1.25, critical_reaction_delay=0.9,
        pivot_heel_toe_in=1.05, glide_drag_coefficient=1.02, turn_tightest_clean_radius=0.8, glide_groove_depth=0.993,
        pivot_heel_toe_out=0.996,
    )  # fmt: skip
    assert price.price_words(plan(), one, REFERENCE) == (
        "Against the reference it loses most on turn scrape +25.0 %, time to react (critical delay) -10.0 %, pivot on "
        "heel, toe in +5.0 %, and gains most on tightest clean radius -20.0 %, glide groove depth -0.7 %."
    )
    listed = price.losses(plan(), one, REFERENCE)
    assert [n for n, *_ in listed[:4]] == [
        "turn_scrape", "critical_reaction_delay", "pivot_heel_toe_in", "glide_drag_coefficient"]  # fmt: skip
    assert [x for *_, x in listed[:2]] == pytest.approx([math.log(1.25), math.log(1 / 0.9)])
    assert listed[-1][0] == "turn_tightest_clean_radius"


def test_half_a_percent_is_named_and_less_is_not():
    none = price.price_words(plan(), found(turn_scrape=1.0049, glide_groove_depth=0.9952), REFERENCE)
    assert none == "Against the reference it loses 0.5 % or more on no other measure, and gains on none."
    both = price.price_words(plan(), found(turn_scrape=1.0051, glide_groove_depth=0.9949), REFERENCE)
    assert both.endswith("loses most on turn scrape +0.5 %, and gains most on glide groove depth -0.5 %.")


def test_priced_is_every_other_static_measure_that_is_shown_and_has_a_direction():
    names = price.priced(plan())
    assert DRAG not in names and HOLD not in names and ANKLE in names and "critical_reaction_delay" in names
    assert not {"glide_loaded_arc", "heel_over_toe", "turn_ploughing", "glide_film_coefficient"} & set(names)
    assert DRAG in price.priced(plan(objectives=((ANKLE, "lower"), (HOLD, "higher"))))


@pytest.mark.parametrize(("value", "base"), [(math.nan, 1), (1, math.nan), (0, 1), (1, 0), (math.inf, 1), (-1, 1)])
def test_no_ratio_to_nothing(value, base):
    one, reference = found(turn_scrape=value), SimpleNamespace(values=REFERENCE.values | {"turn_scrape": base})
    assert math.isnan(price.ratio_of("turn_scrape", one, reference))
    assert "turn_scrape" not in [n for n, *_ in price.losses(plan(), one, reference)]
    assert price.ratio_of("turn_scrape", found(turn_scrape=3.0), SimpleNamespace(values={"turn_scrape": 2.0})) == 1.5


# ---------------------------------------------------------------- at the bound


SHORT = Bound("radius", True, 7 * FT, (1, 3), 6.25 * FT, TEN.recipe)
LONG = Bound("radius", False, 14 * FT, (2,), 15.5 * FT, TEN.recipe)


SAME = "turn drag +0.0 %, hold angle at push +0.0 %"
EACH = [
    (SHORT, (0.94, 1.02), "radii 1 and 3 from the heel at 7 ft, the shortest radius of the space",
     "with 6.25 ft it changes by turn drag -6.0 %, hold angle at push -2.0 %"),
    (LONG, (1.0001, 0.99), "radius 2 from the heel at 14 ft, the longest radius of the space",
     "with 15.5 ft it changes by turn drag +0.0 %, hold angle at push +1.0 %"),
    (LONG, (0.9999, 1.0), "radius 2 from the heel at 14 ft, the longest radius of the space",
     f"with 15.5 ft it changes by {SAME}"),
    (replace(SHORT, wider=math.nan, moved=None), None, "radii 1 and 3 from the heel at 7 ft, the shortest radius of "
     "the space", "it cannot be moved: that is the grinder's own limit"),
    (Bound("level", True, -0.02, (), -0.024, TEN.recipe), (1.1, 1.0), "level point at -20 mm, the nearest to the heel "
     "of the space", "with -24 mm it changes by turn drag +10.0 %, hold angle at push +0.0 %"),
    (Bound("level", False, 0.02, (), 0.024, TEN.recipe), (1.0, 1.0), "level point at +20 mm, the nearest to the toe "
     "of the space", f"with +24 mm it changes by {SAME}"),
    (Bound("blend", False, 0.027, (), 0.029, TEN.recipe), (1.0, 1.0), "blend of 27 mm, the longest blend of the space",
     f"with 29 mm it changes by {SAME}"),
    (Bound("length", False, 4.0, (), 4.4, TEN.recipe), (1.0, 1.0), "longest zone 4 times the shortest, the most of the "
     "space", f"with 4.4 it changes by {SAME}"),
    (Bound("length", False, 4.0), None, "longest zone 4 times the shortest, the most of the space",
     "zones of one radius were joined, so it was not moved"),
    (Bound("zones", False, 5), None, "5 zones, the most of the space", ""),
]  # fmt: skip


@pytest.mark.parametrize(("bound", "changes", "where", "then"), EACH)
def test_each_bound_in_trade_units_and_what_lies_beyond(bound, changes, where, then):
    one = Widened(bound, np.full(2, math.nan) if changes is None else np.array(changes))
    assert price.bound_words(plan(), one) == f"{where}{'; ' if then else ''}{then}."
    assert price.bounds_named(plan(), found([one])) == f"At the bound: {where}."


def test_a_bound_that_cannot_be_ground_beyond_says_why_and_a_metric_shop_reads_millimetres():
    refused = Widened(replace(SHORT, value=2.1, wider=1.9), np.full(2, math.nan), "room for blends: zone 1 is short.")
    assert price.bound_words(plan(METRIC), refused) == (
        "radii 1 and 3 from the heel at 2100 mm, the shortest radius of the space; with 1900 mm it cannot be had: room "
        "for blends: zone 1 is short."
    )
    assert price.bounds_words(plan(), found()) == "" == price.bounds_named(plan(), found())
    both = price.bounds_words(
        plan(), found([Widened(SHORT, np.ones(2)), Widened(Bound("zones", False, 5), np.ones(2))])
    )
    assert both.count("At the bound: ") == 2 and both.endswith("At the bound: 5 zones, the most of the space.")


def test_three_radii_at_a_bound_are_listed_as_people_do():
    assert [price._listed(list("abc")[:k]) for k in range(4)] == ["", "a", "a and b", "a, b and c"]
    three = Widened(replace(SHORT, zones=(2, 3, 5)), np.ones(2))
    assert price.bounds_named(plan(), found([three])).startswith("At the bound: radii 2, 3 and 5 from the heel at 7 ft")


def test_finds_at_bounds_are_counted_and_each_bound_has_its_range_over_them():
    blades = [found([Widened(SHORT, np.array([0.94, 1.0])), Widened(LONG, np.array([1.0, 1.25]))]), found(),
              found([Widened(SHORT, np.array([0.9, 1 / 1.1]))]),
              found([Widened(SHORT, np.full(2, math.nan), "no")])]  # fmt: skip
    lines = price.bound_group_words(plan(), SimpleNamespace(blades=blades))
    assert lines == [
        "At the bound of the space lie 3 of 4 finds (1, 3, 4): what is beyond was not searched.",
        "The shortest radius of 7 ft moved to 6.25 ft changes, in the 2 finds that can be ground with it, turn drag by "
        "-10.0 % to -6.0 % and hold angle at push by +0.0 % to +10.0 %.",
        "The longest radius of 14 ft moved to 15.5 ft changes, in the 1 find that can be ground with it, turn drag by "
        "+0.0 % and hold angle at push by -20.0 %.",
    ]
    assert price.bound_group_words(plan(), SimpleNamespace(blades=[found()])) == [
        "No find lies on a bound of the space."]  # fmt: skip


# ---------------------------------------------------------------- the search as a whole


def test_what_became_of_the_front():
    result = SimpleNamespace(tally=Tally(30, 4, 3, 2, 1, 5, 6), blades=[0] * 9)
    assert words._tally(plan(), result) == (
        "Rounded to steps of 0.25 ft and 1 mm and scored again, the 30 blades of the front leave 9 finds (9 merged "
        "with another that one grind cannot tell apart, 3 then beyond what can be ground or a cap, 2 then a single "
        "radius, 1 then beaten by another or by a single radius, 6 not shown); every number is that of the rounded "
        "recipe."
    )
    one = words._tally(plan(METRIC), SimpleNamespace(tally=Tally(1), blades=[0]))
    assert one == ("Rounded to steps of 50 mm and 2 mm and scored again, the 1 blades of the front leave 1 find; every "
                   "number is that of the rounded recipe.")  # fmt: skip


def test_places_and_labels_of_a_pair_that_is_measured_at_two():
    """The turn presses at +30 mm, the glide at -15; the pivot on the forefoot at +45 is one place with the turn."""
    two, one = (DRAG, ANKLE), (DRAG, "pivot_forefoot_toe_in")
    result = SimpleNamespace(pairs=(one, two))
    (line,) = words._places(plan(), result)
    assert line == (
        "Turn drag and critical ankle stiffness are measured at two places of the blade, loaded at +30 mm and -15 mm "
        "from mid-runner: each zone may serve one of them, and zones leave the line of single radii almost by "
        "construction."
    )
    assert words.labelled_pair(plan(), two).endswith("stiffness, measured at two places of the blade")
    assert words.labelled_pair(plan(), one) == "turn drag and pivot on forefoot, toe in"
    assert words.title_words(plan(), result, "Finds") == "Finds, measured at two places of the blade"
    assert words.title_words(plan(), SimpleNamespace(pairs=(one,)), "Finds") == "Finds"
    assert STATES["turn"].line_m == 0.030


def test_own_recipes_that_were_starts_and_those_that_were_not():
    assert words._starts(plan()) == []
    first, second = words._starts(plan(own=("mine", "9 ft"), left_out=("16 ft",)))
    assert first == "Started also from mine, 9 ft." and second.startswith("Not started from 16 ft: the space holds no")


def scope(asked):
    found_ = SimpleNamespace(allowed=np.array([1, 1, 0]), points=np.zeros((3, 1)))
    return words._scope(asked, SimpleNamespace(found=found_, random=None))


def test_costs_over_settings_say_so_and_how_many_draws_were_lost():
    assert len(scope(plan())) == 1 and scope(plan())[0].startswith("3 blades evaluated for adult 80 kg, 2 of them")
    (_, worst) = scope(plan(settings=16, how=0.9, lost=2))
    assert worst.startswith("Costs are 90 % quantiles over 16 settings, and so are those of the reference")
    assert "; 2 draws could not be built and do not count; gains" in worst
    (_, mean) = scope(plan(settings=16))
    assert mean.startswith("Costs are means over 16 settings") and "draws" not in mean


@pytest.mark.parametrize(("chance", "said"), [(0.05, "reaches 0.1000, 2.00 times that."), (0.0, "reaches 0.1000.")])
def test_what_chance_reaches(chance, said):
    found_ = SimpleNamespace(allowed=np.array([1]), points=np.zeros((1, 1)))
    result = SimpleNamespace(found=found_, random=0, random_volume=chance, volumes=np.array([[1, 0.01], [2, 0.1]]))
    (_, line) = words._scope(plan(), result)
    assert f"hypervolume of {chance:.4f}; the search {said}" in line


def test_nothing_found_is_said_and_nothing_else_of_finds():
    result = SimpleNamespace(
        tally=Tally(4, single=4), blades=(), pairs=((DRAG, ANKLE),), taus=(), random=None,
        found=SimpleNamespace(allowed=np.ones(4), points=np.zeros((4, 1))),
    )  # fmt: skip
    lines = words.sentences(plan(), result)
    assert "4 blades of the front leave 0 finds (4 then a single radius)" in lines[1]
    assert lines[-1] == "Nothing was found: no recipe of the front is left, a single radius does as well here."
    result.tally = Tally(4, single=3, unground=1)
    assert words.sentences(plan(), result)[-1].endswith("is left, for the reasons above.")
    assert not [x for x in lines if "at the bound" in x.lower() or "surely beyond" in x]


def test_recipes_are_never_cut_however_narrow_the_terminal():
    """Five zones in forty columns: every character of the recipe is there, in order."""
    recipe = blade(7.25, 13.75, 8.25, 13.75, 7.25, shares=(40, 40, 80, 40, 40)).recipe
    result = SimpleNamespace(
        tally=Tally(1), blades=[found(recipe=recipe)], pairs=((DRAG, ANKLE),), taus=(), random=None,
        found=SimpleNamespace(allowed=np.ones(1), points=np.zeros((1, 1))), reference=np.ones(2),
        values=REFERENCE.values,
    )  # fmt: skip
    result.blades[0].grinding, result.blades[0].alone = np.ones((3, 1)), np.ones(1)
    result.blades[0].without = np.ones((0, 1))
    console = Console(width=40, record=True, file=io.StringIO())
    tables.show(plan(), result, console)
    said = console.export_text()
    assert "…" not in said and "..." not in said
    assert "1: 7.25/13.75/8.25/13.75/7.25 ft, zones 40/40/80/40/40 mm." in " ".join(said.split())
    assert words.recipe_words(recipe) == "7.25/13.75/8.25/13.75/7.25 ft, zones 40/40/80/40/40 mm"
    assert words.recipe_words(blade(8).recipe) == "8 ft"
    assert words.recipe_words(replace(recipe, radii_m=(2.1, 4.2, 2.5, 4.2, 2.1)), True).startswith("2100/4200/2500/42")


def test_a_gain_that_could_not_be_computed_has_no_number():
    one = found()
    one.gains, one.said = np.full((3, 1), math.nan), (statement(np.full(20, math.nan), OPINIONS),)
    assert words.gain_words(one, 0) == "could not be computed"
