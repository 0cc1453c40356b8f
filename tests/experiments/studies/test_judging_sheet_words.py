"""Sentences of a sheet from hand-made decisions: verdicts, complaints, gains and drawbacks, rule, end of the list."""

import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.analysis.judging.decide import Answer, Decision
from experiments.analysis.judging.measuring import Worth
from experiments.analysis.judging.menu import Item
from experiments.analysis.judging.verdict import REASONS, Verdict
from experiments.request.objectives import Weighting
from experiments.studies.recommend import sentences
from experiments.studies.recommend.menu_words import menu_limits, menu_rows
from experiments.studies.recommend.rehearsal import Counts, in_100
from sim.measures import REGISTRY
from tests.experiments.analysis.hand import draws_of
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

NAN = math.nan
NAMES = ["the same curve again", "single 8 ft", "long middle"]


def decision(kind="regrind", reason="", best=1, order=(1, 2), removed=-1, measure=None, scores=None) -> Decision:
    found = Verdict(kind, reason, best, 0.84, 0.61, 0.1, (0.0, 0.1, 0.2), removed)
    scores = np.array([[0.0, 0.2, 0.1]] * 4) if scores is None else scores
    return Decision(found, order, scores, np.zeros((4, 3, 1)), np.ones(3, bool), (), (), (), measure)


def same(ratio):
    return np.full(3, float(ratio))


def log2(*ratios):
    return tuple(math.log2(r) for r in ratios)


# ---------------------------------------------------------------- the verdict


@pytest.mark.parametrize(
    ("more", "line"),
    [
        ({}, "Regrind to single 8 ft"), ({"best": 0}, "Grind the same curve again"),
        ({"kind": "probably"}, "Single 8 ft is probably better, about 8 in 10: worth a try for those who want one"),
        ({"kind": "leave", "reason": "makes_no_difference"},
         "Leave it: nothing on the list makes a difference for the better that one feels"),
        ({"kind": "cannot_tell"}, "Cannot tell yet: first weigh"),
    ],
)  # fmt: skip
def test_headlines(more, line):
    assert sentences.headline(decision(**more), NAMES, "weigh") == line


def test_every_reason_to_leave_has_its_words_and_nothing_is_promised_where_nothing_settles():
    assert set(sentences.HEADLINES) == set(REASONS) - {""}
    assert "no single measurement" in sentences.headline(decision("cannot_tell"), NAMES, "")


def test_the_measurement_is_named_for_an_open_case_alone():
    open_ = decision("cannot_tell", measure=Worth("hardness", 0.01, 0.58))
    assert (
        sentences.measurement(open_, "drop a ball") == "To settle it: drop a ball. That decides it about 6 in 10 times."
    )
    assert "No single measurement" in sentences.measurement(decision("cannot_tell"), "")
    assert sentences.measurement(decision("leave", "below_the_price"), "") == ""


def test_sentences_under_the_headline():
    found = sentences.plain(decision(removed=2), NAMES, "Your list ends there.", True)
    assert found[0] == (
        "Of 100 trial calculations, each with other ice, stance and wishes within what a shop cannot know, single 8 ft "
        "comes out better for the stated use in 84, and earns its steel and the visit in 61."
    )
    assert found[1].startswith("Long middle would suit the rest of the use best, but makes a complaint worse")
    assert found[2:] == ["The runner-up, long middle, is not as good.", "Your list ends there.",
                         "Both blades get one curve: every number is the mean of the two."]  # fmt: skip
    first = sentences.plain(decision(removed=0), NAMES, "", False)[1]
    assert first.startswith("The same curve again would suit the rest of the use best"), "the first of the list, too"
    left = sentences.plain(decision("leave", "below_the_price"), NAMES, "Your list ends there.", False)
    assert left == []
    assert "Your list ends there." in sentences.plain(decision("cannot_tell"), NAMES, "Your list ends there.", False)


def test_the_runner_up_is_too_close_only_where_the_interval_includes_no_difference():
    apart = np.array([[0.0, 0.2, 0.3]] * 2 + [[0.0, 0.3, 0.2]] * 2)
    assert "too close to call" in sentences.plain(decision(scores=apart), NAMES, "", False)[1]
    costly = np.array([[0.0, 0.2, 0.3]] * 4)
    assert "not by what its steel costs" in sentences.plain(decision(scores=costly), NAMES, "", False)[1]


@pytest.mark.parametrize(
    ("radii", "word"),
    [((8,), "no shorter radius"), ((12,), "no longer radius"), ((9,), ""), ((9, 8, 9), "no shorter"), ((9, 11), "")],
)
def test_where_the_list_ends(radii, word):
    found = sentences.list_ends(radii, [(8,), (9,), (9, 11), (12,)])
    assert word in found and bool(found) is bool(word)
    assert sentences.list_ends((9,), [(9,), (9,)]) == "", "a list of one radius has no ends"


def test_the_rule_states_its_risk_as_it_was_counted():
    """29 of 377 is 8 in 100 for who complains, 39 of 99 is 39 for who does not."""
    counted = Counts(1620, 600, 45, 22, 288, 64, 476, 263, 377, 29, 99, 39, 256, 494, 14, 25)
    found = sentences.rule(OPINIONS, counted, True)
    assert found.count(".") == 1 and "better in 90, “probably” in 70 of 100 trial calculations" in found
    assert "1,620 made-up cases, “regrind” was wrong in 8 of 100 and “probably” in 22" in found
    assert "in 8 of 100 “leave it” passed over a curve that pays and harms no complaint (" in found
    assert "in 39 of 100 “leave it” passed over a curve that pays (" in sentences.rule(OPINIONS, counted, False)
    assert [in_100(*x) for x in ((0, 9), (1, 900), (1, 100), (0, 0))] == ["none", "fewer than 1", "1", "none"]


# ---------------------------------------------------------------- complaints

UNKNOWN = (NAN,) * 3


def answered(kind, gain, advised=UNKNOWN, other=-1, other_gain=UNKNOWN, best=1, higher=False):
    answer = Answer(kind, best, log2(*gain), advised if advised is UNKNOWN else log2(*advised), other,
                    other_gain if other_gain is UNKNOWN else log2(*other_gain))  # fmt: skip
    return sentences.complaint("falls back", "the steadiest", answer, "the present 13 ft", NAMES, higher, OPINIONS)


def test_a_complaint_that_nothing_helps_is_told_what_would_harm_it():
    """Asking for 1.14 times the ankle: 14 % worse (1.12 to 1.16)."""
    worse = (1 / 1.16, 1 / 1.14, 1 / 1.12)
    assert answered("none_better", (0.95, 0.96, 0.98), other=1, other_gain=worse, best=2) == (
        "Falls back: the present 13 ft is already the steadiest of your list; single 8 ft would make it 14 % worse "
        "(12 to 16 %)."
    )
    assert "is as good as the steadiest" in answered("none_better", (0.99, 1.0, 1.0101))
    assert "already the steadiest" in answered("none_better", (0.99, 1.0, 1.0099))


def test_a_complaint_under_advice():
    better = (1 / 0.94, 1 / 0.92, 1 / 0.9)
    assert (
        answered("advised", better, advised=better) == "Falls back: the advised blade makes it 8 % better (6 to 10 %)."
    )
    more = answered("advised", better, advised=(1.02, 1.03, 1.04))
    assert more.endswith("; the most on your list is single 8 ft, 8 % better (6 to 10 %).")
    close = answered("advised", better, advised=(0.99, 1.0, 1.02))
    assert close.startswith(
        "Falls back: too close to call; the advised blade makes it anything from 1.0 % worse to 2.0 %"
    )


def test_a_complaint_that_could_be_helped_or_not():
    assert "single 8 ft would make it 5 % better" in answered("helped", (1.04, 1.05, 1.06), higher=True)
    assert answered("open", (0.99, 1.02, 1.05), higher=True) == (
        "Falls back: too close to call; single 8 ft would make it anything from 1.0 % worse to 5.0 % better."
    )
    assert "can be ground" in answered("none_better", (1, 1, 1), best=-1)


# ---------------------------------------------------------------- what is felt


def test_gains_stand_apart_from_drawbacks_the_largest_first_and_small_from_close():
    found = {"glide_drag_coefficient": same(0.95), "push_hold_angle": same(1.2), "turn_drag": same(1.0101),
             "pivot_heel_toe_in": same(1.0099), "critical_ankle_stiffness": np.array([0.9, 0.95, 1.01]),
             "stop_across_moment": None}  # fmt: skip
    gains, drawbacks, rest = sentences.feel(found, OPINIONS)
    assert gains == ["Holds better in the push: 20 % (20 to 20 %)", "Glides further: 5 % (5 to 5 %)"]
    assert drawbacks == ["Drags more in a tight turn: 1 % (1 to 1 %)"]
    assert rest == ["Hardly changed (less than 1 %): pivot on the heel.", "Too close to call: steadiness."]


LESS_IS_GOOD = {name: REGISTRY[name].better == "lower" for name in sentences.FEEL}


@pytest.mark.parametrize("name", sentences.FEEL)
def test_every_feeling_has_its_sign(name):
    """Better and worse words as a person hears them, by hand; the side by the measure's own direction."""
    good = ("easier", "tighter", "Drags less", "further", "Holds better", "Steadier", "Loses less", "Stops harder",
            "Quicker")  # fmt: skip
    for ratio, gain in ((0.5, LESS_IS_GOOD[name]), (1.5, not LESS_IS_GOOD[name])):
        gains, drawbacks, _ = sentences.feel({name: same(ratio)}, OPINIONS)
        (text,) = gains if gain else drawbacks
        assert any(word in text for word in good) is gain


@pytest.mark.parametrize(("ratio", "words"), [(1.084, "several sessions"), (1.083, "a session or two"),
                                              (0.922, "several sessions"), (0.9235, "a session or two")])  # fmt: skip
def test_how_long_to_get_used_to_it(ratio, words):
    """exp(0.08) is 1.0833, exp(-0.08) is 0.9231."""
    assert words in sentences.adapting(True, {"turn_drag": same(ratio)})
    assert "Nothing to get used to" in sentences.adapting(False, {"turn_drag": same(ratio)})


def test_a_number_beside_the_blade_as_measured():
    """From 2.0 to 2.5 N: a quarter more, which is worse; a hold of 9 deg against 10 deg is worse as well."""
    made = draws_of({"turn_drag": np.array([[2.0, 2.5]] * 3), "push_hold_angle": np.radians([[10.0, 9.0]] * 3)})
    scheme = Weighting("w", {"turn_drag": 1.0}, {"turn_drag": "lower"})
    drag, hold = (sentences.number(made, scheme, n, 1) for n in ("turn_drag", "push_hold_angle"))
    assert (drag["now"], drag["then"], drag["ratio"], drag["way"]) == ("2", "2.5", "1.25", "clearly worse")
    assert (hold["now"], hold["then"], hold["ratio"], hold["way"]) == ("10", "9", "0.90", "clearly worse")
    other = replace(scheme, better={"turn_drag": "higher"})
    assert sentences.number(made, other, "turn_drag", 1)["way"] == "clearly better"


# ---------------------------------------------------------------- the menu


def test_a_line_of_the_menu_says_what_it_buys_and_costs():
    """Turn drag 0.9 to 0.92 of what it was; 3 % of hold, 2 % of steadiness and half a percent of glide are paid."""
    item = Item("turn_drag", "yes", 2, 1.0, log2(1 / 0.92, 1 / 0.91, 1 / 0.9), (
        ("push_hold_angle", log2(0.96, 0.97, 0.98)), ("critical_ankle_stiffness", log2(1 / 1.03, 1 / 1.02, 1 / 1.01)),
        ("glide_drag_coefficient", log2(0.994, 0.995, 0.996)), ("pivot_heel_toe_in", log2(0.9, 0.95, 1.01))), 0.0, 4e-4,
        1, log2(0.99, 1.01, 1.02), log2(1 / 0.95, 1 / 0.94, 1 / 0.93), 0.95, ("turn_drag",))  # fmt: skip
    (row,) = menu_rows([item], {"turn_drag": "less drag"}, NAMES, OPINIONS)
    assert row == {
        "wish": "less drag", "answer": "yes", "blade": "long middle", "buys": "9 % (8 to 10 %)",
        "costs": "hold in the push 3 % (2 to 4 %); steadiness 2 % (1 to 3 %)", "steel_mm": "0.40",
        "single": "single 8 ft: -1.0 to +2.0 %", "zones": "6 % (5 to 7 %), in this alone",
    }  # fmt: skip
    unsure = replace(item, zones_sure=0.89)
    assert menu_rows([unsure], {"turn_drag": "x"}, NAMES, OPINIONS)[0]["zones"] == "nothing sure"
    one = menu_rows([replace(item, single=2)], {"turn_drag": "x"}, NAMES, OPINIONS)[0]
    assert (one["single"], one["zones"]) == ("it is one", "no zones")
    no = menu_rows([replace(item, single=-1)], {"turn_drag": "x"}, NAMES, OPINIONS)[0]
    assert (no["single"], no["zones"]) == ("none keeps those limits", "no single radius to compare")
    none = menu_rows([Item("turn_drag", "no", -1)], {"turn_drag": "x"}, NAMES, OPINIONS)[0]
    least = menu_rows([replace(item, answer="no")], {"turn_drag": "x"}, NAMES, OPINIONS)[0]
    assert least["blade"] == "nothing within these limits surely gains 1 %; the most: long middle, 9 % (8 to 10 %)"
    assert least["buys"] == least["costs"] == ""
    assert none["blade"] == "nothing on your list keeps within these limits" and none["buys"] == ""


def test_the_limits_of_the_menu():
    assert menu_limits(OPINIONS, False) == "nothing else may get worse by more than 5 %"
    assert menu_limits(OPINIONS, True).endswith("5 %; of what the skater complains of 2 %")


def test_plain_names_hold_no_technical_words():
    text = " ".join(w for words in sentences.FEEL.values() for w in words) + " ".join(sentences.HEADLINES.values())
    assert not any(word in text for word in ("coefficient", "stiffness", "moment", "log2", "score"))
