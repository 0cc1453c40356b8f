"""What the page of findings claims: each sentence at its threshold, and the search for zones, from invented numbers."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis.variants import statics
from experiments.report.shown import COMPARED
from experiments.report.style import family_looks
from experiments.studies.certainty import tables as certainty
from experiments.studies.findings import paired, sentences, study
from experiments.studies.findings.differences import difference_text, kind_of_difference
from experiments.studies.findings.pair_words import easing, ends, nothing_felt, statement_of
from experiments.studies.findings.paired import NEEDED, Paired
from experiments.studies.stance_map.study import StanceMap
from sim.measures import STATIC
from tests.experiments.analysis.hand import FT, ICE, SECTION, STATES, TEN, blade, draws_of, request, section_of, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

FELT = OPINIONS.felt

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


@pytest.mark.parametrize(
    ("gains", "words"),
    [
        ([1.0051] * 20, "beyond every single radius (+0.5 % to +0.5 %), median G 1.005"),
        ([1.0049] * 20, "on the line (+0.5 % to +0.5 %), median G 1.005"),
        ([0.9949] * 20, "inside the line (-0.5 % to -0.5 %), median G 0.995"),
        ([0.98] * 10 + [1.0] * 10, "not beyond (-2.0 % to +0.0 %), median G 0.990"),
        ([1.2] * 18 + [1.0] * 2, "cannot tell: beyond in 90 % (+0.0 % to +20.0 %), median G 1.200"),
        (
            [1.2] * 19 + [NAN],
            "beyond every single radius (+20.0 % to +20.0 %), median G 1.200; not known in 1 of 20 draws",
        ),
        ([NAN] * 20, "could not be computed in 20 of 20 draws"),
    ],
)
def test_what_is_said_of_a_recipe_against_single_radii(gains, words):
    assert sentences.leaves(np.array(gains), OPINIONS) == words


def stances(chart):
    chart = np.asarray(chart, float)
    glide, turn = np.array([-0.02, 0.0]), np.array([0.01, 0.03, 0.05])
    return StanceMap(("a",), ("mid_flat",), (PAIR,), glide, turn, chart[None, None], {}, (PAIR,), {})


def planned(**more):
    return SimpleNamespace(request=request([TEN], opinions=OPINIONS), sampling=SimpleNamespace(draws=20), **more)


def test_the_best_stance_is_where_the_nominal_gain_is_highest():
    found = sentences.best_stance(stances([[1.0, 1.0051, 1.02], [0.9, 1.0049, NAN]]), 0, PAIR, OPINIONS)
    assert found == (
        "nominal G 1.020 at best, gliding on -20 mm and turning on +50 mm; past the line for 40 % of the stances (1 "
        "stances gave no value)"
    )
    assert sentences.best_stance(stances(np.full((2, 3), NAN)), 0, PAIR, OPINIONS) == (
        "no stance on the map gave a value"
    )


def test_single_radii_do_not_leave_their_own_line_and_places_are_named():
    gain = np.full((20, 2, 1), 1.02)
    made = replace(stances(np.ones((2, 3))), families=("single_radius", "mid_flat"), candidates=("a", "b"),
                   gain=np.ones((2, 1, 2, 3)))  # fmt: skip
    whole = sentences.who_leaves(planned(), draws_of({}, ["a", "b"], gain=gain, pairs=(PAIR,)), made)
    found, table = whole.sentences, whole.table
    assert table[0] == ("recipe", "turn drag against critical ankle stiffness") and len(table) == 2
    assert table[1] == ("b", "beyond every single radius (+2.0 % to +2.0 %), median G 1.020")
    assert found[0] == "turn drag against critical ankle stiffness: 1 beyond every single radius."
    assert found[1] == "turn drag against critical ankle stiffness is measured at two places of the blade."
    near = sentences.which_stance(planned(), made)
    assert [row[0] for row in near.table] == ["recipe", "b"] and "Nominal G" in near.sentences[0]


# ---------------------------------------------------------------- one against another


@pytest.mark.parametrize(
    ("percent", "kind", "words"),
    [
        ((-2.0, 1.0, 3.0), "none", "no difference that can be felt (-2.0 % to +3.0 %)"),
        ((-4.7, 1.0, 4.99), "none", "no difference that can be felt (-4.7 % to +5.0 %)"),
        ((-4.8, 1.0, 3.0), "close", "too close to call (-4.8 % to +3.0 %)"),
        ((-2.0, 1.0, 5.01), "close", "too close to call (-2.0 % to +5.0 %)"),
        ((0.0, 1.0, 9.0), "close", "too close to call (+0.0 % to +9.0 %)"),
        ((0.1, 1.0, 4.99), "small", "+1.0 %, too small to feel (+0.1 % to +5.0 %)"),
        ((-4.7, -2.0, -0.1), "small", "-2.0 %, too small to feel (-4.7 % to -0.1 %)"),
        ((0.1, 4.0, 5.01), "plain", "+4.0 % (+0.1 % to +5.0 %)"),
        ((-4.8, -2.0, -0.1), "plain", "-2.0 % (-4.8 % to -0.1 %)"),
        ((7.0, 8.0, 9.0), "plain", "+8.0 % (+7.0 % to +9.0 %)"),
        ((NAN, 8.0, 9.0), "unknown", "could not be computed, no draw gave a value"),
    ],
)
def test_too_close_to_call_and_too_small_to_feel_are_two_things(percent, kind, words):
    """1/1.05 is -4.76 %: what is felt is a twentieth more, or as much less. A bound of nothing is no change."""
    spread = np.log1p(np.array(percent) / 100)
    assert (kind_of_difference(spread, FELT), difference_text(spread, FELT)) == (kind, words)


def spreads(*percents):
    """Intervals of a tenth of a percent about these changes."""
    return [np.log1p(np.array([p - 0.1, p, p + 0.1]) / 100) for p in percents]


@pytest.mark.parametrize(
    ("percents", "words"),
    [
        (
            (6, 7, 8),
            "turn drag: more at every stance (back +6.0 %, mid +7.0 %, forward +8.0 %). Refuted by: an interval",
        ),
        ((-6, -7, -8), "turn drag: less at every stance (back -6.0 %"),
        ((-6, 7, 8), "turn drag: the way depends on the stance ("),
        ((6, 2, 0), "turn drag: only standing back (back +6.0 %"),
        ((6, 7, 0.05), "turn drag: only standing back and mid ("),
        ((6, -2, 0), "turn drag: the way depends on the stance ("),
        ((2, 2, 2), ""),
        ((0, 0, 0), ""),
    ],
)
def test_a_pair_is_stated_where_it_can_be_felt(percents, words):
    found = statement_of("turn_drag", spreads(*percents), ("back", "mid", "forward"), FELT)
    assert found.startswith(words) and bool(found) is bool(words)
    assert not found or "Refuted by: " in found


def test_measures_in_which_nothing_can_be_felt_are_counted_and_named():
    """No change and a small one at both stances; one that may be felt at one of them does not count."""
    found = {"turn_drag": spreads(0, 2), "push_hold_angle": spreads(-4, 0), "glide_drag_coefficient": spreads(0, 6),
             "pivot_heel_toe_in": [*spreads(0), np.full(3, NAN)]}  # fmt: skip
    assert nothing_felt(found, FELT) == (
        "Nothing that could be felt at any of these stances: 2 of 4 measures (turn drag, hold angle at push). Refuted "
        "by: an interval that reaches 5 %."
    )
    assert ": 1 of 1 measures. Refuted" in nothing_felt({"turn_drag": spreads(0, 2)}, FELT)
    assert ": 0 of 1 measures. Refuted" in nothing_felt({"turn_drag": spreads(9, 2)}, FELT)


def test_nothing_is_stated_where_a_stance_gave_no_value():
    assert statement_of("turn_drag", [*spreads(9, 9), np.full(3, NAN)], ("back", "mid", "forward"), FELT) == ""


def test_ratios_of_a_pair_go_the_way_they_are_named():
    values = np.full((1, 4, 4, len(STATIC)), 1.0)
    values[0, :, NEEDED.index("rear-flat eased"), STATIC.index("turn_drag")] = (1.1, NAN, math.inf, 0.0)
    found = Paired(("here",), values)
    log = math.log(1.1)
    assert found.log_ratio(0, "turn_drag", "rear-flat eased", "rear-flat") == pytest.approx(
        [log, NAN, NAN, NAN], nan_ok=True
    )
    assert found.log_ratio(0, "turn_drag", "rear-flat", "rear-flat eased") == pytest.approx(
        [-log, NAN, NAN, NAN], nan_ok=True
    )


def test_ends_and_easing_hold_their_own_recipes_against_each_other():
    values = np.full((2, 40, 4, len(STATIC)), 2.0)
    values[:, :, NEEDED.index("mid-flat short ends"), STATIC.index("turn_drag")] = 2.2
    values[:, :, NEEDED.index("rear-flat eased"), STATIC.index("push_hold_angle")] = 1.6
    made = Paired(("back", "forward"), values)
    assert ends(made, FELT).sentences[0].startswith("turn drag: more at every stance (back +10.0 %, forward +10.0 %)")
    assert easing(made, FELT).sentences[0].startswith("hold angle at push: less at every stance (back -20.0 %")
    rows = {row[0]: row[1:] for row in ends(made, FELT).table}
    assert rows["measure"] == ("back", "forward") and rows["turn drag"][0] == "+10.0 % (+10.0 % to +10.0 %)"
    assert len(rows) == 1 + len(COMPARED)
    assert not any("could not be computed" in s for s in ends(made, FELT).sentences)
    values[0, 7] = NAN
    assert "In 1 of 80 draws some measure is missing." in ends(Paired(("back", "forward"), values), FELT).sentences


def test_stances_move_every_load_line_and_keep_the_blades():
    """15 mm back: all ten states by 15 mm; the four blades of the page, in their order."""
    asked = request([TEN, *(blade(8 + k / 10, name=name) for k, name in enumerate(NEEDED[::-1]))], setting())
    back, here = paired.requests_at(asked, {"back": -0.015, "as stated": 0.0})
    assert {n: s.line_m for n, s in back.settings[0].states.items()} == pytest.approx(
        {n: s.line_m - 0.015 for n, s in STATES.items()})  # fmt: skip
    assert {n: s.line_m for n, s in here.settings[0].states.items()} == {n: s.line_m for n, s in STATES.items()}
    assert [c.candidate.name for c in back.cases] == list(NEEDED) and back.pairs == ()
    assert all(c.setting is back.settings[0] for c in back.cases) and back.settings[0].reference == TEN


@pytest.mark.parametrize(
    ("tips", "words"),
    [
        ((0.1, 0.3), "toe-down, +0.20 mm heel over toe (+0.11 to +0.29), too small to feel."),
        ((-0.3, -0.1), "heel-down, -0.20 mm heel over toe (-0.29 to -0.11), too small to feel."),
        ((-0.1, 0.3), "no tip that stands out"),
        ((0.9, 1.2), "toe-down, +1.05 mm heel over toe (+0.92 to +1.19)."),
        ((-1.2, -0.9), "heel-down, -1.05 mm heel over toe (-1.19 to -0.92)."),
        ((NAN, NAN), "could not be computed"),
    ],
)
def test_which_way_the_foot_is_tipped(tips, words):
    """Pitch is toe-down positive, so that the heel over the toe is too."""
    assert sentences._tip(np.linspace(*tips, 11), FELT).startswith(words)


# ---------------------------------------------------------------- surroundings


def test_changes_of_one_percent_or_more_are_named():
    ratios = np.ones(len(STATIC))
    for name, r in zip(COMPARED, (1.0101, 1.0099, 0.9899, 0.9901, NAN)):
        ratios[STATIC.index(name)] = r
    found = sentences._changes(ratios, OPINIONS)
    assert found == (
        "glide drag coefficient +1.0 %, glide drag coefficient at 2 m/s -1.0 %, pivot on forefoot about the foot, toe "
        "in could not be computed."
    )
    assert sentences._changes(np.ones(len(STATIC)), OPINIONS) == "nothing."


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
    assert list(thawed) == list(found), "what comes after a refusal is asked as well"


# ---------------------------------------------------------------- certainty, and colours


def test_certainty_says_what_is_said_of_a_gain_and_where_it_is_measured():
    assert certainty._gain(np.full(20, 1.02), OPINIONS) == "1.020 / 1.020 / 1.020; beyond every single radius"
    some = np.array([1.02] * 10 + [0.9] * 10)
    assert certainty._gain(some, OPINIONS).endswith("; cannot tell: beyond in 50 %")
    assert certainty._gain(np.full(20, NAN), OPINIONS) == "n/a"
    assert certainty._heading(PAIR, planned()).startswith("gain*, turn drag |")
    assert certainty._heading(("turn_drag", "edge_change_time"), planned()).startswith("gain, turn drag |")


def test_a_family_has_one_colour_and_its_blades_differ():
    one, other, two = family_looks([("a", "mid_flat"), ("b", "rear_flat"), ("c", "mid_flat")])
    assert one.colour == two.colour != other.colour and one.dash != two.dash and one.marker != two.marker


def test_tips_are_in_millimetres_and_named():
    found = sentences.pitch(draws_of({"heel_over_toe": np.tile([1.2e-3, 0.4e-3, 0.0], (20, 1))}, ["a", "b", "c"]), FELT)
    assert [row[1][:18] for row in found.table[1:]] == [
        "toe-down, +1.20 mm",
        "toe-down, +0.40 mm",
        "no tip that stands",
    ]
    assert found.sentences[0] == "A tip that stands out of its interval: a, b."
