"""Nothing is forgotten: every measure has a place, every state a label, every family a colour; by name when not."""

import pytest

from experiments.report.shown import PLACES, STATE_LABELS, TABLES_ONLY, heading
from experiments.report.style import FAMILY_HUES
from experiments.request.setting import STATES
from sim.blade.recipe import FAMILIES
from sim.measures import REGISTRY, ROLLED_STATES, STATIC


@pytest.mark.parametrize("name", REGISTRY)
def test_every_measure_is_shown_somewhere(name):
    assert any(name in names for names in PLACES.values()), f"{name} is shown nowhere: add it to report/shown.py"


@pytest.mark.parametrize("place", PLACES)
def test_every_place_shows_measures_that_there_are_once(place):
    unknown = [n for n in PLACES[place] if n not in REGISTRY]
    assert not unknown, f"{place} names no measure: {unknown}"
    twice = [n for n in PLACES[place] if PLACES[place].count(n) > 1]
    assert place == "sheet" or not twice  # the sheet shows some again for uneven edges


def test_what_stands_in_tables_only_is_shown_nowhere_else_and_says_why():
    shown = {n for place, names in PLACES.items() if place != "tables only" for n in names}
    assert not shown & set(TABLES_ONLY), "shown after all: take it out of TABLES_ONLY"
    assert all(TABLES_ONLY.values())


@pytest.mark.parametrize("place", ["findings", "sizes"])
def test_what_is_drawn_many_times_is_static_and_of_one_sign(place):
    assert [n for n in PLACES[place] if n not in STATIC or REGISTRY[n].signed] == []


@pytest.mark.parametrize("state", STATES)
def test_every_static_state_has_a_label(state):
    assert STATE_LABELS.get(state), f"{state} has no label: add it to STATE_LABELS"


def test_no_label_is_left_of_a_state_that_is_gone():
    assert set(STATE_LABELS) == set(STATES) and len(set(STATE_LABELS.values())) == len(STATE_LABELS)


@pytest.mark.parametrize("name", REGISTRY)
def test_every_measure_belongs_to_a_state_or_movement_or_to_the_blade(name):
    assert REGISTRY[name].state in (*STATES, *ROLLED_STATES, "blade")
    assert REGISTRY[name].better in ("lower", "higher", "neither")


@pytest.mark.parametrize("family", [f for f in FAMILIES if f not in ("single_radius", "zoned")])
def test_every_family_has_a_hue_of_its_own(family):
    assert family in FAMILY_HUES, f"{family} has no colour: add it to FAMILY_HUES"
    assert [f for f, hue in FAMILY_HUES.items() if hue == FAMILY_HUES[family]] == [family]


def test_no_hue_is_left_of_a_family_that_is_gone():
    assert set(FAMILY_HUES) <= set(FAMILIES)


@pytest.mark.parametrize("name", REGISTRY)
def test_headings_of_two_lines_keep_all_their_words(name):
    assert heading(name).replace("\n", " ") == REGISTRY[name].short and heading(name).count("\n") <= 1
