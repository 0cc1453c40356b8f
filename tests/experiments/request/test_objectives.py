"""Weights and objectives as they are read: a number or {weight, better}, just within and just beyond."""

import pytest

from experiments.request.fields import Fields
from experiments.request.objectives import can_drive, read_objectives, read_weighting
from experiments.studies.recommend.use import _weights
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC

OPEN = "glide_loaded_arc"  # longer is steadier, shorter turns


def weighting(**weights):
    return read_weighting(Fields({"name": "w", "weights": weights}, "weighting"))


def wished(**weights):
    return _weights(Fields({"measures": weights}, "wishes.complaints.x"), "measures")


def test_a_weight_is_a_number_or_says_which_way_is_better():
    found = weighting(turn_drag=3, push_hold_angle=1e6, **{OPEN: {"weight": 0.5, "better": "higher"}})
    assert found.weights == {"turn_drag": 3.0, "push_hold_angle": 1e6, OPEN: 0.5}
    assert found.better == {"turn_drag": "lower", "push_hold_angle": "higher", OPEN: "higher"}
    assert weighting(turn_drag={"weight": 1, "better": "higher"}).better == {"turn_drag": "higher"}


def test_wishes_are_read_alike_and_add_up_to_one():
    assert wished(turn_drag=1000, push_hold_angle=1000) == [("turn_drag", 0.5, "lower"),
                                                            ("push_hold_angle", 0.5, "higher")]  # fmt: skip
    found = wished(turn_drag=3, **{OPEN: {"weight": 1, "better": "lower"}})
    assert found == [("turn_drag", 0.75, "lower"), (OPEN, 0.25, "lower")]


@pytest.mark.parametrize("read", [weighting, wished])
@pytest.mark.parametrize(
    ("weights", "words"),
    [
        ({"turn_drag": -1}, "turn_drag: -1 is not a plain number within 0"),
        ({"turn_drag": {"weight": -1, "better": "lower"}}, r"turn_drag\.weight: -1 is not a plain number within 0"),
        ({"turn_drag": {"better": "lower"}}, "turn_drag: 'weight' is missing"),
        ({"turn_drag": {"weight": 1}}, "turn_drag: 'better' is missing"),
        ({"turn_drag": {"weight": 1, "better": "less"}}, r"turn_drag\.better: 'less' is unknown"),
        ({"turn_drag": {"weight": 1, "better": "lower", "why": "x"}}, r"turn_drag\.why: unknown key"),
        ({"turn_darg": 1}, "turn_drag"), ({"turn_drag": 0}, "the weights add up to nothing"),
        ({OPEN: 1}, r"write {weight: 1, better: lower}"),
    ],
)  # fmt: skip
def test_weights_that_are_none_are_refused_with_their_place(read, weights, words):
    with pytest.raises(BladeError, match=words):
        read(**weights)


def test_the_greatest_weights():
    for read, most in ((weighting, 1e6), (wished, 1e3)):
        with pytest.raises(BladeError, match="turn_drag"):
            read(turn_drag=most * 1.001)
    with pytest.raises(BladeError, match="only a static measure of one sign"):
        wished(turn_time=1)


def test_what_can_drive_a_search_is_static_of_one_sign_and_has_a_direction():
    for name, measure in REGISTRY.items():
        for better in ("lower", "higher", "neither"):
            assert can_drive(name, better) is (name in STATIC and not measure.signed and better != "neither")


def objectives(*entries):
    return read_objectives(Fields({"objectives": list(entries)}, ""))


def test_two_to_four_different_objectives():
    four = ("turn_drag", "push_hold_angle", "glide_drag_coefficient", {"measure": OPEN, "better": "higher"})
    assert objectives(*four) == (("turn_drag", "lower"), ("push_hold_angle", "higher"),
                                 ("glide_drag_coefficient", "lower"), (OPEN, "higher"))  # fmt: skip
    assert len(objectives(*four[:2])) == 2
    for wrong in (four[:1], (*four, "turn_scrape"), ("turn_drag", "turn_drag", "push_hold_angle")):
        with pytest.raises(BladeError, match="name two to four different measures"):
            objectives(*wrong)
    for wrong in (OPEN, "turn_time", "pitch_bias", {"measure": "pitch_bias", "better": "lower"}):
        with pytest.raises(BladeError, match=r"objectives\[1\]: .* cannot drive a search"):
            objectives("turn_drag", wrong)
    with pytest.raises(BladeError, match=r"objectives\[1\]\.worse: unknown key"):
        objectives("turn_drag", {"measure": "push_hold_angle", "better": "higher", "worse": "lower"})
