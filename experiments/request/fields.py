"""Reading a config: every key known, every value checked, every refusal one sentence with the place in it."""

import difflib
import math
import reprlib
from collections.abc import Sequence
from typing import Any

from sim.errors import BladeError
from sim.quantities import parse_quantity

LONGEST_RADIUS_M = 1000.0  # a longer one differs from flat by less than 10 um over any runner
MOST_CHOICES = 40  # of the words that may be written: more than that nobody reads in one sentence


class Fields:
    """One mapping of a config, read key by key; `done` refuses what was not asked for.
    Raises BladeError when it is no mapping.

    where: the place as a person would type it, for example "skater" or "candidates[3]".
    """

    def __init__(self, mapping: object, where: str) -> None:
        if not isinstance(mapping, dict):
            raise BladeError(f"{where}: expected named values (key: value), got {_show(mapping)}.")
        self.mapping, self.where, self.read = mapping, where, set()

    def has(self, key: str) -> bool:
        """Whether the key is given (and not null)."""
        self.read.add(key)
        return self.mapping.get(key) is not None

    def raw(self, key: str) -> Any:
        """The value as it stands. Raises BladeError when missing."""
        self.read.add(key)
        if self.mapping.get(key) is None:
            near = difflib.get_close_matches(key, [str(k) for k in self.mapping], 1, 0.75)
            hint = f"; did you write {near[0]!r} for it?" if near else "."
            raise BladeError(f"{self.where}: {key!r} is missing{hint}")
        return self.mapping[key]

    def quantity(self, key: str, unit: str) -> float:
        """A number with a unit, in SI."""
        return parse_quantity(self.raw(key), unit, self.path(key))

    def quantities(self, key: str, unit: str) -> tuple[float, ...]:
        """A list of numbers with units, in SI."""
        return tuple(parse_quantity(v, unit, f"{self.path(key)}[{i}]") for i, v in enumerate(self.listed(key)))

    def radius(self, key: str) -> float:
        """A radius, or inf for "flat"."""
        return radius(self.raw(key), self.path(key))

    def number(self, key: str, least: float, most: float) -> float:
        """A plain number within bounds."""
        return number(self.raw(key), least, most, self.path(key))

    def numbers(self, key: str, least: float, most: float) -> tuple[float, ...]:
        """A list of plain numbers within bounds."""
        return tuple(number(v, least, most, f"{self.path(key)}[{i}]") for i, v in enumerate(self.listed(key)))

    def count(self, key: str, least: int, most: int) -> int:
        """A whole number within bounds."""
        value = self.number(key, least, most)
        if value != int(value):
            raise BladeError(f"{self.path(key)}: {value:g} is not a whole number; use {least} to {most}.")
        return int(value)

    def flag(self, key: str) -> bool:
        """true or false."""
        value = self.raw(key)
        if not isinstance(value, bool):
            raise BladeError(f"{self.path(key)}: {_show(value)} is neither true nor false; write one of the two.")
        return value

    def choice(self, key: str, options: Sequence[str]) -> str:
        """One of the options; a near miss is named."""
        value = _word(self.raw(key))
        if value not in options:
            raise BladeError(f"{self.path(key)}: {value[:40]!r} is unknown; {choose_one(value, options)}")
        return value

    def text(self, key: str, longest: int = 300) -> str:
        """Plain text of bounded length, without control characters, that no spreadsheet takes for a formula."""
        raw = self.raw(key)
        value = _word(raw)
        if isinstance(raw, list | dict) or not value.strip() or len(value) > longest or any(ord(c) < 32 for c in value):
            raise BladeError(f"{self.path(key)}: use plain text of 1 to {longest} characters on one line.")
        if isinstance(raw, str) and value.strip()[0] in "=+-@":
            raise BladeError(
                f"{self.path(key)}: a spreadsheet takes {_show(value)} for a formula; start with a letter."
            )
        return value

    def listed(self, key: str) -> list:
        """A list of at least one entry."""
        value = self.raw(key)
        if not isinstance(value, list | tuple) or not value:
            raise BladeError(f"{self.path(key)}: expected a list in [brackets], got {_show(value)}.")
        return list(value)

    def inner(self, key: str) -> "Fields":
        """A mapping inside this one."""
        return Fields(self.raw(key), self.path(key))

    def path(self, key: str) -> str:
        """The key as a person would type it."""
        return f"{self.where}.{key}" if self.where else key

    def done(self) -> None:
        """Refuse keys that nothing asked for, naming the nearest that would be right."""
        for key in self.mapping:
            if key not in self.read:
                near = difflib.get_close_matches(str(key), sorted(self.read), 3, 0.5)
                hint = f"did you mean {' or '.join(near)}?" if near else f"known here: {', '.join(sorted(self.read))}."
                raise BladeError(f"{self.path(str(key)[:40])}: unknown key; {hint}")


def choose_one(value: str, options: Sequence[str]) -> str:
    """What may be written instead of a word that is unknown: the nearest, and as many of all as one can read."""
    near = difflib.get_close_matches(value, options, 1)
    hint = f"did you mean {near[0]!r}? " if near else ""
    rest = len(options) - MOST_CHOICES
    more = f" or {rest} more" if rest > 0 else ""
    return f"{hint}choose one of {', '.join(options[:MOST_CHOICES])}{more}."


def number(value: object, least: float, most: float, where: str) -> float:
    """A plain number within bounds, from whatever YAML gave. Raises BladeError."""
    good = isinstance(value, int | float) and not isinstance(value, bool)
    if not good or not least <= value <= most:  # nan is within nothing
        raise BladeError(f"{where}: {_show(value)} is not a plain number within {least:g} and {most:g}.")
    return float(value)


def radius(value: object, where: str) -> float:
    """A radius in m; "flat" is inf. Raises BladeError for one that is not above 0."""
    if str(value).strip().lower() == "flat":
        return math.inf
    result = parse_quantity(value, "m", where)
    if not 0 < result <= LONGEST_RADIUS_M:
        raise BladeError(
            f"{where}: {value!r} is a concave or impossible radius; use one above 0, up to {LONGEST_RADIUS_M:.0f} m, "
            "or flat."
        )
    return result


def _word(value) -> str:
    return value if isinstance(value, str) else _show(value)


def _show(value) -> str:
    """A value in at most 40 characters; never written out in full, since shared parts may make that endless."""
    try:
        text = _BRIEF.repr(value)
    except ValueError:  # a whole number with thousands of digits
        text = "a whole number of very many digits"
    return text if len(text) <= 40 else text[:37] + "..."


_BRIEF = reprlib.Repr()
_BRIEF.maxlevel, _BRIEF.maxstring, _BRIEF.maxother, _BRIEF.maxlong = 3, 60, 60, 60
