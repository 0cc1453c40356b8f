"""Trade quantities in and out: "10 ft" -> 3.048 m and back; the only place where units are parsed."""

import math
import re
from functools import lru_cache

import pint

from sim.errors import BladeError

UNITS = pint.UnitRegistry()
GREATEST = 1e15  # of any quantity of a skate, in SI units: beyond it only slips are meant

# A number as people write it (1/2, 1 1/2, 9/16, 12.7, -15, 1e-3), then a unit. Kept narrow on purpose:
# the unit library would happily evaluate 9**9**9.
_NUMBER = r"[+-]?(?:\d+\s+\d+/\d+|\d+/\d+|\d*\.?\d+(?:[eE][+-]?\d+)?|\d+\.)"
_QUANTITY = re.compile(rf"^\s*({_NUMBER})\s*([A-Za-z%°][A-Za-z0-9°*/^ .]{{0,30}})?\s*$")

# anything but a single power of one digit: the unit library would go on to compute m^9^9^9
_TOWER = re.compile(r"(?:\^|\*\*) *(?!\d *(?:$|/|[A-Za-z%°]|\*(?!\*)))")

EXAMPLES = {
    "m": "'10 ft', '280 mm' or '1/2 in'",
    "kg": "'80 kg'",
    "rad": "'15 deg'",
    "m/s": "'8 m/s'",
    "s": "'0.4 s'",
    "degC": "'-5 degC'",
    "N": "'785 N'",
    "N*s": "'5 N*s'",
    "Pa": "'17.7 MPa'",
    "N*m/rad": "'1500 N*m/rad'",
    "N*m*s/rad": "'150 N*m*s/rad'",
    "kg*m^2": "'0.02 kg*m^2'",
    "m/s^2": "'9.81 m/s^2'",
    "s/m": "'2 s/m'",
    "W/m^2": "'15 kW/m^2'",
}


def parse_quantity(value: object, unit: str, where: str) -> float:
    """A trade quantity as a float in `unit` (SI, or degC for temperature).

    value: text such as "10 ft"; where: the name a person would look for in the config.
    Raises BladeError with one sentence when the text is not a finite number with a unit of the right kind.
    """
    wanted = EXAMPLES.get(unit, f"a number with a unit of {unit}")
    text = str(value)
    match = _QUANTITY.match(text) if len(text) <= 60 else None
    if match is None:
        raise BladeError(f"{where}: {text[:60]!r} is not a number with a unit; write for example {wanted}.")
    if not match.group(2):
        raise BladeError(f"{where}: {text!r} has no unit; write for example {wanted}.")
    return _convert(_number(match.group(1), where, text), match.group(2).strip(), unit, where, text)


def _number(text: str, where: str, whole: str) -> float:
    sign = -1.0 if text.startswith("-") else 1.0
    total = 0.0
    for part in text.lstrip("+-").split():
        top, _, bottom = part.partition("/")
        if bottom and float(bottom) == 0.0:
            raise BladeError(f"{where}: {whole!r} divides by zero; write for example '1/2 in'.")
        total += float(top) / float(bottom) if bottom else float(top)
    return sign * total


def _convert(number: float, unit_text: str, unit: str, where: str, whole: str) -> float:
    try:
        if _TOWER.search(unit_text):
            raise ValueError("a tower of powers")
        if unit == "degC" or unit_text in ("degC", "°C", "degF", "°F"):
            value = UNITS.Quantity(number, unit_text).to(unit).magnitude
        else:
            value = number * _factor(unit_text, unit)
    except (pint.errors.PintError, ArithmeticError, AssertionError, AttributeError, LookupError, TypeError, ValueError):
        wanted = EXAMPLES.get(unit, f"a unit of {unit}")
        raise BladeError(f"{where}: {whole!r} is not in a unit that fits here; write for example {wanted}.") from None
    if not abs(value) <= GREATEST:  # nan and inf are not
        wanted = EXAMPLES.get(unit, unit)
        raise BladeError(f"{where}: {whole!r} is no number that can be meant; write for example {wanted}.")
    return float(value)


@lru_cache(maxsize=256)
def _factor(unit_text: str, unit: str) -> float:
    # multiplying by the size of one unit keeps "10 ft" at exactly 3.048
    return float(UNITS.Quantity(1.0, UNITS.parse_units(unit_text)).to(unit).magnitude)


FOOT_M = 0.3048
MM_PER_M = 1e3


def trade_radius(radius_m: float) -> str:
    """A radius as the shop says it: "10 ft" where it is a whole or half number of feet, else metres."""
    if math.isinf(radius_m):
        return "flat"
    feet = radius_m / FOOT_M
    if abs(feet * 2 - round(feet * 2)) < 1e-6 and feet < 30:
        return f"{feet:g} ft"
    return f"{radius_m:.4g} m"
