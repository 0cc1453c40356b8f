"""Numbers, intervals and judgements at the places where their digits or their words change."""

import math

import numpy as np
import pytest

from experiments.analysis.judging.intervals import order_kept, side
from experiments.analysis.judging.statement import statement
from experiments.report import words
from experiments.report.words import (
    ORDER,
    SIDE,
    STATEMENT,
    axis_label,
    change_text,
    interval_text,
    number_text,
    overall_text,
    pair_label,
    ratio_interval_text,
    ratio_text,
    share_text,
    size_text,
    unit_text,
)
from sim.measures import REGISTRY
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

NAN = math.nan


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (99.94, "99.9"), (100.4, "100"), (1234.6, "1235"), (-250.6, "-251"), (0.0123456, "0.0123"), (2.0, "2"),
        (NAN, "n/a"), (math.inf, "n/a"),
    ],
)  # fmt: skip
def test_three_digits_and_whole_numbers_from_a_hundred(value, text):
    assert number_text(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (1.0004, "1.000"), (1.0006, "1.001"), (1.0194, "1.019"), (1.0206, "1.02"), (0.9806, "0.981"), (0.9794, "0.98"),
        (2.0, "2.00"), (0.5, "0.50"), (NAN, "n/a"),
    ],
)  # fmt: skip
def test_a_ratio_within_two_percent_of_one_has_three_decimals(value, text):
    assert ratio_text(value) == text


def test_intervals_have_their_ends():
    assert interval_text((0.5, 1.0, 150.2)) == "0.5 to 150" and interval_text((NAN, 1, 2)) == "n/a to 2"
    assert ratio_interval_text((0.9994, 1.0, 1.5)) == "0.999 to 1.50"


def test_a_score_of_one_is_twice_as_good():
    assert overall_text((-1.0, 0.0, 1.0)) == "0.50 to 2.00"


@pytest.mark.parametrize(
    ("ratio", "text"),
    [
        ((1.07, 1.11, 1.15), "11 % (7 to 15 %)"),
        ((0.85, 0.89, 0.93), "11 % (7 to 15 %)"),  # less by as much: the size has no sign
        ((1.0099, 1.012, 1.05), "1.2 % (1.0 to 5.0 %)"),
        ((1.0101, 1.012, 1.05), "1 % (1 to 5 %)"),
    ],
)
def test_sizes_have_a_decimal_where_their_least_is_below_one_percent(ratio, text):
    assert size_text(ratio) == text


@pytest.mark.parametrize(("ratio", "text"), [(1.05, "+5.0 %"), (0.95, "-5.0 %"), (1.0004, "+0.0 %"), (2.0, "+100.0 %")])
def test_changes_have_a_sign(ratio, text):
    assert change_text(ratio) == text


def test_shares_are_whole_percents():
    assert [share_text(x) for x in (0.0, 0.334, 0.336, 1.0, NAN)] == ["0 %", "33 %", "34 %", "100 %", "n/a"]


def test_every_judgement_has_its_words():
    """What judging answers at all, and no word besides."""
    assert set(SIDE) == {side(r, "lower") for r in ((0.8, 0.9, 0.95), (1.1, 1.2, 1.3), (0.9, 1.0, 1.1))}
    gains = ([1.1], [1.0], [0.9], [0.9, 1.0], [0.9, 1.1], [NAN])
    assert set(STATEMENT) == {statement(g, OPINIONS).kind for g in gains}
    assert set(ORDER) == {order_kept(t) for t in (1.0, 0.5, 0.0, NAN)}
    assert (SIDE["better"], SIDE["worse"], ORDER["lost"]) == ("clearly better", "clearly worse", "not kept")
    assert (STATEMENT["beyond"], STATEMENT["inside"]) == ("beyond every single radius", "inside the line")
    assert SIDE["undecided"] == "too close to call"


def test_labels_and_units_for_people():
    assert pair_label(("turn_drag", "push_hold_angle")) == "turn drag against hold angle at push"
    units = {n: unit_text(REGISTRY[n]) for n in ("glide_groove_depth", "steel_removed_area", "turn_drag")}
    assert units == {"glide_groove_depth": "µm", "steel_removed_area": "mm²", "turn_drag": "N"}
    assert axis_label(REGISTRY["turn_drag"]) == "turn drag, N"
    assert axis_label(REGISTRY["glide_drag_coefficient"]) == "glide drag coefficient"


@pytest.mark.parametrize(
    ("name", "si", "shown"),
    [
        ("glide_groove_depth", 80e-6, 80.0), ("glide_loaded_arc", 0.05, 50.0), ("push_hold_angle", math.pi / 18, 10.0),
        ("glide_inside_share", 0.5, 50.0), ("steel_removed_area", 2e-6, 2.0), ("turn_drag", 5.0, 5.0),
    ],
)  # fmt: skip
def test_values_as_people_read_them(name, si, shown):
    assert REGISTRY[name].to_shown(np.array(si)) == pytest.approx(shown)


def test_time_to_react_over_what_people_take():
    """0.326 s over 0.15 s is 2.17."""
    assert "0.33 s, 2.2 times the 0.15 s" in words.delay_words(0.326)
