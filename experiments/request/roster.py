"""A team's roster: a CSV or YAML file with one row a skater, in the keys and units of the command."""

import csv
import stat
from collections import Counter
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.request.fields import Fields, choose_one
from experiments.request.plain import CONFIGS, plain, read_yaml, shown, yaml_values
from experiments.request.visits import alike, checked_initials
from sim.errors import BladeError

LARGEST_ROSTER = 200_000  # bytes
MOST_SKATERS = 200
TRACE_FILES = ("trace", "second_trace")  # named from the roster's own folder
# column: key of the command, where it is another
SHORT_NAMES = {
    "mass": "skater.mass", "height": "skater.height", "hollow": "blade.hollow",
    "inside_edge_proud": "blade.inside_edge_proud",
}  # fmt: skip
ROSTER_KEYS = (
    "initials", *TRACE_FILES, "skater.mass", "skater.height", "stands", "use", "says", "runner_height", "least_height",
    "runner_length", "ground_as", "trace_from", "trace_unit", "height_unit", "heights", "gauge_level", "blade.hollow",
    "blade.inside_edge_proud",
)  # fmt: skip
LISTS = ("says", "runner_height")  # in a cell: parts between semicolons or commas
CELL_MARKS = (";", "\t", ",")  # the first that the heading holds
ROSTER_FORM = "write a heading such as initials,trace,mass and a row for each skater"


@dataclass(frozen=True)
class Row:
    """One skater. where: the row as a refusal names it; values: by key of the command."""

    where: str
    initials: str
    values: dict[str, Any]

    def asked(self, config: dict) -> dict:
        """The config with what the row says in place of its own. Raises BladeError for a use that is not known."""
        config = deepcopy(config)
        for key, value in self.values.items():
            *above, last = key.split(".")
            inner = config[above[0]] if above else config
            inner[last] = _use(value, self.where) if key == "use" else value
        return config


def read_roster(path: str) -> tuple[Row, ...]:
    """Every row of a roster. Raises BladeError, one sentence, for a file that is none or says what cannot be taken:
    unknown columns, initials that are missing, twice there or no part of a file's name, traces that do not exist."""
    place = Path(path)
    listed = _table(place) if place.suffix.lower() not in (".yaml", ".yml") else _list(place)
    if not listed:
        raise BladeError(f"roster: {_shown(place)} names no skater; {ROSTER_FORM}.")
    if len(listed) > MOST_SKATERS:
        raise BladeError(f"roster: {_shown(place)} names {len(listed)} skaters; give at most {MOST_SKATERS} at once.")
    rows = tuple(_row(place, where, entry) for where, entry in listed)
    often = Counter(alike(row.initials) for row in rows)
    for row in rows:
        if often[alike(row.initials)] > 1:
            raise BladeError(f"{row.where}: {row.initials!r} stands twice in the roster; give each skater initials.")
    return rows


def _shown(path: Path) -> str:
    return shown(path.name, 80)


# ---------------------------------------------------------------- the file


def _list(path: Path) -> list[tuple[str, dict]]:
    """(where, values) of each entry of a YAML list."""
    values = read_yaml(str(path), "roster", LARGEST_ROSTER, "the roster in tests/traces")
    if not isinstance(values, list):
        raise BladeError(f"roster: {_shown(path)} must be a list of skaters (lines that start with '- ').")
    named = [(f"roster: {_shown(path)}, skater {k}", entry) for k, entry in enumerate(values, 1)]
    return [(where, {str(k): v for k, v in Fields(entry, where).mapping.items()}) for where, entry in named]


def _table(path: Path) -> list[tuple[str, dict]]:
    """(where, cells that are not empty) of each row of a CSV file."""
    lines = _text(path).splitlines()
    first = next((k for k, line in enumerate(lines) if line.strip(" \t,;") and not line.startswith("#")), len(lines))
    if first == len(lines):
        return []
    mark = next((mark for mark in CELL_MARKS if mark in lines[first]), ",")
    try:
        table = list(csv.reader(lines[first:], delimiter=mark, skipinitialspace=True, strict=True))
    except csv.Error as fault:
        raise BladeError(f"roster: {_shown(path)} is no table of cells ({fault}); close every quote.") from None
    head, out = [cell.strip() for cell in table[0]], []
    while head and not head[-1]:
        head.pop()
    for k, cells in enumerate(table[1:], first + 2):
        where, cells = f"roster: {_shown(path)}, row {k}", [cell.strip() for cell in cells]
        if any(cells[len(head) :]):
            raise BladeError(
                f"{where}: {len(cells)} cells under {len(head)} headings; put one that holds {mark!r} in double quotes."
            )
        if any(cells) and not cells[0].startswith("#"):
            out.append((where, _cells(head, cells, where)))
    return out


def _cells(head: list[str], cells: list[str], where: str) -> dict[str, Any]:
    if len(set(head)) < len(head):
        raise BladeError(f"{where}: the heading {max(head, key=head.count)!r} stands twice; leave one of the two.")
    return {name: _cell(name, cell, where) for name, cell in zip(head, cells) if cell or not name}


def _cell(name: str, cell: str, where: str) -> Any:
    """A cell as the command would take it."""
    if name in LISTS:
        parts = [part.strip() for part in cell.strip("[]").replace(";", ",").split(",") if part.strip()]
        return parts if name == "says" or len(parts) > 1 else cell
    if name == "ground_as":
        return yaml_values(cell, where, name, "{family: single_radius, radii: [9 ft]}")
    if name == "gauge_level" and cell.lower() in ("true", "false"):
        return cell.lower() == "true"
    return cell


def _text(path: Path) -> str:
    try:
        about = path.stat()
        if not stat.S_ISREG(about.st_mode):
            raise BladeError(f"roster: {_shown(path)} is no ordinary file; give a CSV or YAML file of plain text.")
        if about.st_size > LARGEST_ROSTER:
            raise BladeError(f"roster: {_shown(path)} is larger than {LARGEST_ROSTER / 1e6:g} MB; split it.")
        with path.open("rb") as file:
            text = file.read(LARGEST_ROSTER).decode("utf-8-sig")
    except BladeError:
        raise
    except (OSError, ValueError):
        raise BladeError(
            f"roster: cannot read {_shown(path)}; give a CSV or YAML file of plain text (UTF-8) that exists."
        ) from None
    for k, line in enumerate(text.splitlines(), 1):
        plain(line.replace("\t", " "), f"roster: {_shown(path)}, line {k}")
    return text


# ---------------------------------------------------------------- a row


def _row(path: Path, where: str, entry: dict) -> Row:
    values: dict[str, Any] = {}
    for name, value in entry.items():
        key = SHORT_NAMES.get(name, name)
        if key not in ROSTER_KEYS:
            known = [*(c for c in ROSTER_KEYS if c not in SHORT_NAMES.values()), *SHORT_NAMES]
            raise BladeError(f"{where}: {name[:40]!r} is no column of a roster; {choose_one(name, known)}")
        if key in values:
            raise BladeError(f"{where}: {name!r} and {key!r} are the same; leave one of the two.")
        if value is not None:
            values[key] = value
    for key in ("initials", "trace"):
        if key not in values:
            raise BladeError(f"{where}: {key!r} is missing; every skater needs initials (or a number) and a trace.")
    initials = checked_initials(values["initials"], f"{where}, initials")
    for key in TRACE_FILES:
        if key in values:
            values[key] = _file(path, values[key], f"{where} ({initials}), {key}")
    return Row(f"{where} ({initials})", initials, values | {"initials": initials})


def _file(roster: Path, value: object, where: str) -> str:
    """A file named from the roster's folder."""
    if not isinstance(value, str):
        raise BladeError(f"{where}: name one file, as text.")
    path = roster.parent / value
    if path.name[:1] in "=+-@":
        raise BladeError(f"{where}: a spreadsheet takes {path.name[:40]!r} for a formula; rename the file.")
    try:
        there = path.is_file()
    except (OSError, ValueError):
        there = False
    if not there:
        raise BladeError(f"{where}: there is no file {value[:80]!r} beside the roster; names count from its folder.")
    return str(path)


def _use(value: object, where: str) -> dict:
    """A use of configs/use by its name, or one written out."""
    if isinstance(value, dict):
        return value
    known = sorted(path.stem for path in (CONFIGS / "use").glob("*.yaml"))
    if value not in known:
        raise BladeError(f"{where}: use: {str(value)[:40]!r} is unknown; {choose_one(str(value), known)}")
    return read_yaml(str(CONFIGS / "use" / f"{value}.yaml"), "use")
