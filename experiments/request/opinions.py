"""Opinions of ours that judgements turn on: prices, caps, thresholds, measurements worth asking for."""

import math
from dataclasses import dataclass, fields
from typing import NamedTuple

from experiments.request.fields import Fields, number
from experiments.request.uncertainty import INPUTS
from sim.errors import BladeError
from sim.measures import STATIC
from sim.quantities import parse_quantity

WEIGHTS = "weights"  # in a measurement: what the skater wants, of which only the skater knows
# least and most of each opinion; what is not named is a share, 0 to 1
BOUNDS = {"price_of_a_visit": (1.0, 2.0), "price_per_mm": (1.0, 2.0), "weight_doubt": (1.0, 1e6),
          "felt_ratio": (1.001, 2.0), "felt_height": (1e-5, 0.1)}  # fmt: skip
LENGTHS = ("felt_height",)  # written with a unit, m inside
ORDERED = (  # the first must not lie above the second
    ("probably_from", "regrind_from"), ("leave_up_to", "probably_from"), ("wish_no_up_to", "wish_yes_from"),
    ("veto_cap", "cap"),
)  # fmt: skip


@dataclass(frozen=True)
class Measurement:
    """A measurement that could be made. of: columns of the draws, a measure of the blade as it is, or WEIGHTS.

    accuracy: its standard deviation, SI, relative for a measure (nan where `left` is given); left: share of the
    standard deviation of what is known now that is left afterwards (nan where `accuracy` is given); how: to make it.
    """

    name: str
    of: tuple[str, ...]
    accuracy: float
    left: float
    how: str


class Felt(NamedTuple):
    """The least that a skater can feel. ratio: of two resistances, drags, lengths or stiffnesses, above 1; height_m: of
    the heel, or of a shift of the balance, m."""

    ratio: float
    height_m: float

    @property
    def percent(self) -> str:
        """The ratio in words: "5 %"."""
        return f"{100 * (self.ratio - 1):.3g} %"


@dataclass(frozen=True)
class Opinions:
    """Every number that a judgement turns on, as configs/opinions/shop.yaml explains each. Shares and ratios; "1";
    felt_height in m."""

    price_of_a_visit: float
    price_per_mm: float
    regrind_from: float
    probably_from: float
    leave_up_to: float
    no_difference_within: float
    no_difference_from: float
    complaint_worse_by: float
    complaint_harm_up_to: float
    complaint_helped_from: float
    complaint_main_from: float
    weight_doubt: float
    cap: float
    veto_cap: float
    cap_harm_up_to: float
    worth_saying_from: float
    wish_yes_from: float
    wish_no_up_to: float
    felt_ratio: float
    felt_height: float
    beaten_from: float
    taste_below: float
    line_within: float
    line_sure: float
    line_mostly: float
    settles_from: float
    measurements: tuple[Measurement, ...]

    @property
    def felt(self) -> Felt:
        """The least that can be felt."""
        return Felt(self.felt_ratio, self.felt_height)


def read_opinions(top: Fields) -> Opinions:
    """The opinions of a config, each with its reason. Raises BladeError for one that is none, or two that disagree."""
    top.text("name", 40)
    found = {f.name: _opinion(top, f.name) for f in fields(Opinions) if f.name != "measurements"}
    for low, high in ORDERED:
        if found[low] > found[high]:
            raise BladeError(f"{top.path(low)}: {found[low]:g} lies above {high}, {found[high]:g}; it must not.")
    inner = top.inner("measurements")
    made = tuple(_measurement(inner.inner(name), name) for name in inner.mapping)
    top.done()
    return Opinions(**found, measurements=made)


def _opinion(top: Fields, name: str) -> float:
    entry = top.inner(name)
    least, most = BOUNDS.get(name, (0.0, 1.0))
    if name in LENGTHS:
        value = parse_quantity(entry.raw("value"), "m", entry.path("value"))
        if not least <= value <= most:
            raise BladeError(f"{entry.path('value')}: {1e3 * value:g} mm is not within {1e3 * least:g} and "
                             f"{1e3 * most:g} mm.")  # fmt: skip
    else:
        value = entry.number("value", least, most)
    entry.text("why")
    entry.done()
    return value


def _measurement(entry: Fields, name: str) -> Measurement:
    """One measurement. Raises BladeError for something that is not drawn, or for no accuracy."""
    known = (WEIGHTS, *INPUTS, *STATIC)
    of = tuple(Fields({"of": str(x)}, entry.where).choice("of", known) for x in entry.listed("of"))
    units = {INPUTS[x][0] if x in INPUTS else "1" for x in of}
    if len(units) > 1 or (WEIGHTS in of and len(of) > 1):
        raise BladeError(f"{entry.path('of')}: one measurement has one accuracy; name things of one kind.")
    accuracy = left = math.nan
    if entry.has("left"):
        left = entry.number("left", 1e-3, 0.999)
    else:
        accuracy = _accuracy(entry, units.pop())
        if not accuracy > 0:
            raise BladeError(f"{entry.path('accuracy')}: a measurement has an accuracy above 0.")
        if WEIGHTS in of:
            raise BladeError(f"{entry.path('accuracy')}: weights have no unit; write left, the share of doubt left.")
    how = entry.text("how")
    entry.text("why")
    entry.done()
    return Measurement(name, of, accuracy, left, how)


def _accuracy(entry: Fields, unit: str) -> float:
    if unit in ("1", "K"):
        return number(entry.raw("accuracy"), 0.0, 1e6, entry.path("accuracy"))
    return parse_quantity(entry.raw("accuracy"), unit, entry.path("accuracy"))
