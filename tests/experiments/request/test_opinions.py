"""Opinions: what is shipped, each with its reason, and what is refused."""

import copy
from dataclasses import fields

import pytest

from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.opinions import Opinions, read_opinions
from sim.errors import BladeError
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS


@pytest.fixture(scope="module")
def shipped():
    return composed([])[0]["opinions"]


def test_what_is_shipped_is_what_the_tests_of_judgements_assume(shipped):
    found = read_opinions(Fields(shipped, "opinions"))
    for field in fields(Opinions):
        if field.name != "measurements":
            assert getattr(found, field.name) == getattr(OPINIONS, field.name), field.name
    for one, other in zip(found.measurements, OPINIONS.measurements, strict=True):
        assert (one.name, one.of, repr(one.accuracy), repr(one.left)) == (
            other.name, other.of, repr(other.accuracy), repr(other.left))  # fmt: skip
        assert one.how


def test_every_opinion_is_marked_as_one_and_gives_a_reason(shipped):
    entries = [v for k, v in shipped.items() if k not in ("name", "measurements")]
    assert all(e["why"].startswith("an opinion of ours: ") for e in entries) and len(entries) == 26
    assert all(e["why"].startswith("an ") and "of ours" in e["why"] for e in shipped["measurements"].values())


def test_a_request_carries_them():
    config = composed(["opinions.cap.value=0.1"])[0]
    assert read_request(config).opinions.cap == 0.1


def changed(shipped, path, value):
    config = copy.deepcopy(shipped)
    node = config
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = value
    return Fields(config, "opinions")


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("regrind_from", "value"), 1.1, "opinions.regrind_from.value: 1.1 is not a plain number within 0 and 1"),
        (("price_per_mm", "value"), 0.9, "within 1 and 2"),
        (("felt_ratio", "value"), 1.0, "felt_ratio.value: 1.0 is not a plain number within 1.001 and 2"),
        (("felt_height", "value"), 1, "felt_height.value: '1' has no unit; write for example"),
        (("felt_height", "value"), "20 cm", "felt_height.value: 200 mm is not within 0.01 and 100 mm"),
        (("weight_doubt", "value"), 0.5, "within 1 and"),
        (("regrind_from",), 0.9, "regrind_from"),
        (
            ("regrind_form",),
            {"value": 0.9, "why": "x"},
            "regrind_form: unknown key; did you mean regrind_from",
        ),
        (("regrind_from",), {"value": 0.9}, "'why' is missing"),
        (("probably_from", "value"), 0.95, "probably_from: 0.95 lies above regrind_from, 0.9"),
        (("leave_up_to", "value"), 0.75, "leave_up_to: 0.75 lies above probably_from, 0.7"),
        (("wish_no_up_to", "value"), 0.95, "wish_no_up_to: 0.95 lies above wish_yes_from"),
        (("cap", "value"), 0.01, "veto_cap: 0.02 lies above cap"),
        (("measurements", "stance", "accuracy"), "3 kg", "stance.accuracy"),
        (("measurements", "stance", "accuracy"), "0 mm", "accuracy above 0"),
        (("measurements", "stance", "of"), ["glide_line_shft"], "did you mean 'glide_line_shift'"),
        (("measurements", "stance", "of"), ["glide_line_shift", "mass_factor"], "things of one kind"),
        (("measurements", "ask_the_skater", "of"), ["weights", "mass_factor"], "things of one kind"),
        (("measurements", "ask_the_skater", "left"), 1.0, "within 0.001 and 0.999"),
        (("measurements", "ask_the_skater"), {"of": ["weights"], "accuracy": 1, "how": "x", "why": "x"}, "write left"),
        (("measurements", "hardness", "how"), "", "plain text"),
    ],
)
def test_what_is_refused(shipped, path, value, words):
    with pytest.raises(BladeError) as refused:
        read_opinions(changed(shipped, path, value))
    assert words in str(refused.value).replace("opinions.measurements.", "")


def test_bounds_belong_to_what_is_allowed(shipped):
    assert read_opinions(changed(shipped, ("price_of_a_visit", "value"), 2.0)).price_of_a_visit == 2.0
    assert read_opinions(changed(shipped, ("name",), "n" * 40)).cap == 0.05


def test_equal_bounds_are_allowed(shipped):
    found = read_opinions(changed(shipped, ("probably_from", "value"), 0.9))
    assert found.probably_from == found.regrind_from == 0.9


def test_a_word_out_of_a_long_list_is_refused_in_a_sentence_that_can_be_read(shipped):
    misspelt = changed(shipped, ("measurements", "stance", "of"), ["glide_line_shft"])
    with pytest.raises(BladeError, match=r"did you mean 'glide_line_shift'\? choose one of weights, .* more\.") as told:
        read_opinions(misspelt)
    assert len(str(told.value)) < 1_200
