"""Visits that a shop keeps: one YAML file each, which anybody may edit; read back strictly, or refused by name and key.

A file is named INITIALS-DATE.yaml, or INITIALS-DATE-2.yaml for the second of a day. What has another name is no visit.
"""

import itertools
import math
import os
import re
import stat
import unicodedata
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from experiments.request.fields import Fields
from experiments.request.plain import read_yaml, shown
from sim.errors import BladeError
from sim.quantities import FOOT_M

FORM = 1  # version of the form of a file
LARGEST_VISIT = 40_000  # bytes
MOST_VISITS = 20_000  # of one folder
LONGEST_INITIALS = 12
FOUND = ("better", "same", "worse")
VERDICTS = ("regrind", "probably", "leave", "cannot_tell", "replace")
FACTS = ("mass", "stands", "use", "says")  # of a skater
LONGEST_KEPT_M, SHORTEST_KEPT_M = 1e6, 1e-3  # of a radius; what is flat is kept as the longest
FOOT_SLACK = 0.01  # between a radius in ft and the same in m: half of the last digit kept, of the shortest
_NAME = re.compile(r"(?P<initials>.+)-(?P<date>\d{4}-\d{2}-\d{2})(?:-(?P<number>[1-9]\d{0,3}))?\.yaml")
_BETWEEN = " .-_"  # that initials may hold besides letters and digits
_TAKEN = {"CON", "PRN", "AUX", "NUL", *(f"{port}{n}" for port in ("COM", "LPT") for n in range(10))}  # by Windows


@dataclass(frozen=True)
class KeptZone:
    """A stretch of one radius, from heel to toe; m from mid-runner, and m."""

    from_m: float
    to_m: float
    radius_m: float


@dataclass(frozen=True)
class KeptBlade:
    """What was read off one blade. height_m: of its steel, steel_m: the most to take off it; nan: not known."""

    side: str
    single_m: float
    zones: tuple[KeptZone, ...]
    noise_m: float
    height_m: float
    steel_m: float


@dataclass(frozen=True)
class Visit:
    """One visit. number: 1 for the first of its day; skater: facts in words; recipe: advised, or empty; new_curve:
    whether that is another curve than the blade had; as_left, found, words: what the shop filled in, or empty."""

    name: str
    initials: str
    day: str
    number: int
    skater: dict[str, str]
    blades: tuple[KeptBlade, ...]
    verdict: str
    headline: str
    recipe: str
    recipe_words: str
    new_curve: bool
    run: str
    as_left: str
    found: str
    words: str


@dataclass(frozen=True)
class Book:
    """The folder of visits, the initials of today's skater, and what is kept of that skater, oldest first."""

    folder: Path
    initials: str
    visits: tuple[Visit, ...]

    def before(self, run: str) -> Visit | None:
        """The last visit that is not of this run; None where there is none."""
        return next((visit for visit in reversed(self.visits) if visit.run != run), None)

    def holds(self, run: str) -> bool:
        """Whether this run has kept its visit already, as one that is gone on with may have."""
        return any(visit.run == run for visit in self.visits)


def read_book(fields: Fields) -> Book | None:
    """`visits` and `initials` of a config; None where no visits are kept. Raises BladeError."""
    if not fields.has("visits"):
        return None
    if not fields.has("initials"):
        raise BladeError("visits: a visit is kept under initials or a number of the shop's own; add initials=AB.")
    initials, folder = checked_initials(fields.raw("initials"), "initials"), Path(fields.text("visits"))
    if folder.exists() and not (folder.is_dir() and os.access(folder, os.R_OK | os.W_OK | os.X_OK)):
        raise BladeError(f"visits: {shown(folder)} is no folder that can be written; name another, or a new one.")
    return Book(folder, initials, kept_of(folder, initials) if folder.exists() else ())


def kept_of(folder: Path, initials: str) -> tuple[Visit, ...]:
    """Visits of one skater, oldest first. Raises BladeError for one that cannot be read; others are not looked at."""
    return _read(path for path, name in _files(folder) if alike(name["initials"]) == alike(initials))


def kept_in(folder: Path) -> tuple[Visit, ...]:
    """Every visit of a folder, oldest first. Raises BladeError for one that cannot be read, or no such folder."""
    if not folder.is_dir():
        raise BladeError(f"visits: {shown(folder)} is no folder; name the one that visits are kept in.")
    return _read(path for path, _ in _files(folder))


def checked_initials(raw: object, where: str) -> str:
    """Initials, or a number, that every system takes as part of a file's name. Raises BladeError for others."""
    if isinstance(raw, bool):
        raise BladeError(f"{where}: {raw} is no text; put initials in quotes.")
    text = unicodedata.normalize("NFC", Fields({where: raw}, "").text(where, LONGEST_INITIALS))
    bad = [mark for mark in text if not (mark.isalnum() or mark in _BETWEEN)]
    if bad or not text[0].isalnum() or text[-1] == " ":
        what = repr(bad[0]) if bad else "what it begins or ends with"
        raise BladeError(
            f"{where}: {text!r} becomes part of a file's name, and {what} is not taken there; use letters and digits, "
            "with dots, hyphens, underscores or blanks between."
        )
    if unicodedata.normalize("NFKC", text).split(".")[0].strip().upper() in _TAKEN:
        raise BladeError(f"{where}: {text!r} is no name of a file on Windows; use others, such as {text[0]}1.")
    return text


def alike(initials: str) -> str:
    """What initials of one skater share: some systems do not tell capitals apart."""
    return unicodedata.normalize("NFC", initials).casefold()


def visit_name(initials: str, day: str, number: int) -> str:
    """Name of the file of a visit."""
    return f"{initials}-{day}{f'-{number}' if number > 1 else ''}.yaml"


def is_visit(name: str) -> re.Match | None:
    """Whether a file of this name is a visit: the parts of the name."""
    return _NAME.fullmatch(unicodedata.normalize("NFC", name))


# ---------------------------------------------------------------- the files


def _files(folder: Path) -> list[tuple[Path, re.Match]]:
    """Files named as visits are, with the parts of their names."""
    try:
        named = [(Path(entry.path), is_visit(entry.name)) for entry in os.scandir(folder)]
    except OSError as fault:
        raise BladeError(f"visits: {shown(folder)} cannot be read ({fault.strerror}).") from None
    found = [(path, name) for path, name in named if name]
    if len(found) > MOST_VISITS:
        raise BladeError(f"visits: {shown(folder)} holds more than {MOST_VISITS} visits; move old ones elsewhere.")
    return found


def _read(paths) -> tuple[Visit, ...]:
    visits = [read_visit(path) for path in paths]
    return tuple(sorted(visits, key=lambda v: (v.day, v.number, v.name)))


def read_visit(path: Path) -> Visit:
    """The visit in a file. Raises BladeError, one sentence with the file and its line or key, for what is none."""
    try:
        if not stat.S_ISREG(path.lstat().st_mode):
            raise BladeError("a link, a pipe, a folder or the like, and no ordinary file; remove it or rename it.")
        values = read_yaml(str(path), "visits", LARGEST_VISIT, "a visit that was left as it was kept")
        return _visit(Fields(values, "visit"), path.name)
    except OSError as fault:
        raise BladeError(f"visits: {path.name} cannot be read ({fault.strerror}).") from None
    except BladeError as refusal:
        said = str(refusal)
        raise BladeError(said if path.name in said else f"visits: {path.name}: {said}") from None


def _visit(fields: Fields, name: str) -> Visit:
    if fields.count("form", 1, 999) != FORM:
        raise BladeError(f"visit.form: this version reads form {FORM} only; a later arcstride may have written it.")
    parts = is_visit(name)
    initials, day = checked_initials(fields.raw("initials"), "visit.initials"), _day(fields)
    for key, here, there in (("initials", alike(initials), alike(parts["initials"])), ("date", day, parts["date"])):
        if here != there:
            raise BladeError(
                f"visit.{key}: {here!r} is not what the file is named for, {there!r}; correct one of them."
            )
    facts, advised = fields.inner("skater"), fields.inner("advised")
    blades = tuple(_blade(blade) for blade in _each(fields, "blades", 2))
    for trace in _each(fields, "traces", 2):
        _text(trace, "file"), _text(trace, "sha256")
        trace.done()
    visit = Visit(
        name, initials, day, int(parts["number"] or 1), {fact: _text(facts, fact) for fact in FACTS}, blades,
        advised.choice("verdict", VERDICTS), _text(advised, "headline"), _text(advised, "recipe"),
        _text(advised, "recipe_words"), advised.flag("new_curve"), _text(fields, "run"),
        _text(fields, "as_left"), _found(fields), _text(fields, "words"),
    )  # fmt: skip
    _text(fields, "version")
    for part in (facts, advised, fields):
        part.done()
    return visit


def _day(fields: Fields) -> str:
    text = fields.text("date", 10)
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise BladeError(f"visit.date: {text!r} is no date; write it as '2026-11-03'.") from None


def _each(fields: Fields, key: str, most: int) -> list[Fields]:
    """Mappings of a list, one at least."""
    entries = fields.listed(key)
    if len(entries) > most:
        raise BladeError(f"{fields.path(key)}: {len(entries)} entries; there are at most {most}.")
    return [Fields(entry, f"{fields.path(key)}[{i}]") for i, entry in enumerate(entries)]


def _text(fields: Fields, key: str) -> str:
    """Words on one line; nothing where none are given."""
    if not fields.has(key):
        return ""
    value = fields.raw(key)
    if isinstance(value, list | dict | bool):
        raise BladeError(f"{fields.path(key)}: write words on one line, in quotes if they hold a colon or brackets.")
    return str(value).strip()


def _found(fields: Fields) -> str:
    """How the skater found it; empty where nobody has filled it in."""
    said = _text(fields, "found").lower()
    return Fields({"found": said}, fields.where).choice("found", FOUND) if said else ""


def _blade(fields: Fields) -> KeptBlade:
    zones = tuple(_zone(zone) for zone in _each(fields, "zones", 12))
    if any(abs(one.to_m - other.from_m) > 1e-6 for one, other in itertools.pairwise(zones)):
        raise BladeError(f"{fields.path('zones')}: each zone must begin where the one before it ends.")
    single = fields.inner("single_radius")
    height, steel = (_millimetres(fields, key) for key in ("height_mm", "steel_to_remove_mm"))
    noise = fields.number("noise_um", 0, 1e4) * 1e-6
    blade = KeptBlade(_text(fields, "side"), _radius(single), zones, noise, height, steel)
    single.done(), fields.done()
    return blade


def _zone(fields: Fields) -> KeptZone:
    low, high = (fields.number(key, -400, 400) * 1e-3 for key in ("from_mm", "to_mm"))
    if not low < high:
        raise BladeError(f"{fields.path('from_mm')}: a zone ends nearer to the toe than it begins; toe is positive.")
    zone = KeptZone(low, high, _radius(fields))
    fields.done()
    return zone


def _radius(fields: Fields) -> float:
    """A radius, m, that is kept in both units."""
    metres = fields.number("m", SHORTEST_KEPT_M, LONGEST_KEPT_M)
    feet = fields.number("ft", 0, 4 * LONGEST_KEPT_M)
    if abs(feet * FOOT_M - metres) > FOOT_SLACK:
        raise BladeError(f"{fields.path('ft')}: {feet:g} ft and {metres:g} m are not the same radius; correct one.")
    for key in ("low_m", "high_m"):
        if fields.has(key):
            fields.number(key, 0, LONGEST_KEPT_M)
    return metres


def _millimetres(fields: Fields, key: str) -> float:
    return fields.number(key, 0, 100) * 1e-3 if fields.has(key) else math.nan
