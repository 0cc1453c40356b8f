"""Trade quantities: what people write is what the model gets."""

import math

import pytest

from sim.errors import BladeError
from sim.quantities import parse_quantity, trade_radius


@pytest.mark.parametrize(
    "text, unit, value",
    [
        ("10 ft", "m", 3.048),
        ("1/2 in", "m", 0.0127),
        ("1 1/2 in", "m", 0.0381),
        ("9/16 in", "m", 0.0142875),
        ("-15 mm", "m", -0.015),
        ("280mm", "m", 0.280),
        ("-5 degC", "degC", -5.0),
        ("23 degF", "degC", -5.0),
        ("82 kg", "kg", 82.0),
        ("180 lb", "kg", 81.6466266),
        ("90 deg", "rad", math.pi / 2),
        ("36 km/h", "m/s", 10.0),
        ("1500 N*m/rad", "N*m/rad", 1500.0),
        ("14.7 MPa", "Pa", 14.7e6),
        ("0.1 ms", "s", 1e-4),
        ("1.79e-3 Pa*s", "Pa*s", 1.79e-3),
    ],
)
def test_quantity(text, unit, value):
    assert parse_quantity(text, unit, "here") == pytest.approx(value, rel=1e-12)


BAD = ["", "10", "ft", "10 parsnips", "10 kg", "9**9 ft", "nan ft", "1e999 m", "1/0 in", None, [], "10 ft; import os"]


@pytest.mark.parametrize("text", [*BAD, "__import__('os')", "1_0 ft", "1" * 80 + " ft"])
def test_refused_in_one_sentence_that_names_the_place(text):
    with pytest.raises(BladeError) as refusal:
        parse_quantity(text, "m", "blade.length")
    assert str(refusal.value).startswith("blade.length: ") and "\n" not in str(refusal.value)


def test_radii_are_said_as_the_shop_says_them():
    assert trade_radius(3.048) == "10 ft" and trade_radius(9.5 * 0.3048) == "9.5 ft"
    assert trade_radius(22.0) == "22 m" and trade_radius(math.inf) == "flat"
