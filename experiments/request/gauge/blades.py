"""The readings of a trace file: cells -> checked numbers, sorted by blade."""

from dataclasses import dataclass

import numpy as np

from experiments.request.gauge.header import Column, Layout, side_of
from experiments.request.gauge.text import MISSING, NUMBER, Table, refusal, shown
from sim.quantities import parse_quantity

METRES = {u: parse_quantity(f"1 {u}", "m", "unit") for u in ("mm", "um", "in", "thou", "cm", "m")}
MOST_MISSING = 0.20  # of the heights of one column
LARGEST_NUMBER = 1e9  # a reading beyond this, in whatever unit, is no reading


@dataclass
class Blade:
    """The readings of one blade on the way from file units to metres.

    position, height: (n,) readings; group: (n,) the height column, or the value of the pass column, they came from;
    row: (n,) line numbers; unit: of the heights, "" when unsaid; notes: plain sentences on this blade only.
    """

    label: str
    position: np.ndarray
    height: np.ndarray
    group: np.ndarray
    row: np.ndarray
    unit: str
    notes: list[str]


def of_blade(blade: Blade) -> str:
    """The blade as a refusal begins with it; nothing where the file has only one."""
    return f"{blade.label} blade: " if blade.label != "blade" else ""


def read_numbers(table: Table, columns: list[Column]) -> tuple[dict[int, np.ndarray], bool]:
    """Values (nan: missing) of the columns by index, and whether the decimal mark is a comma. Raises BladeError."""
    values, first = {}, {}
    for column in columns:
        found = np.empty(len(table.rows))
        for i, (line, cells) in enumerate(table.rows):
            cell = cells[column.index]
            found[i] = _number(cell, line, column, table.name)
            mark = "," if "," in cell else "." if "." in cell else ""
            first.setdefault(mark, (line, cell))
        _refuse_thousands(table, column)
        values[column.index] = found
    if "," in first and "." in first:
        line, cell = max(first[","], first["."])
        raise refusal(
            table.name, f"{shown(cell)} has another decimal mark than rows before it; use one, without thousands.", line
        )
    return values, "," in first


def _number(cell: str, line: int, column: Column, name: str) -> float:
    """One reading. Raises BladeError for anything but a plain number, or a missing height."""
    if NUMBER.fullmatch(cell):
        value = float(cell.replace(",", "."))
        if abs(value) < LARGEST_NUMBER:
            return value
        raise refusal(name, f"{shown(cell)} is too large for a reading; correct it or leave the cell empty.", line)
    if cell.lower() in MISSING:
        if column.role == "height":
            return np.nan
        raise refusal(name, "the position is missing; fill it in or take the row out.", line)
    grouped = cell.strip("+-").replace(".", ",").replace("'", ",").replace("\u2019", ",").split()
    if all(p.replace(",", "").isdecimal() for p in grouped) and grouped:
        raise refusal(name, f"{shown(cell)} is not a plain number; write it without thousands separators.", line)
    if cell.lower().strip("+-") in ("inf", "infinity", "∞"):
        raise refusal(name, f"{shown(cell)} is not a finite number; correct it or leave the cell empty.", line)
    raise refusal(
        name, f"{shown(cell)} is not a plain number; write digits only, for example 3.25, units in the heading.", line
    )


def _refuse_thousands(table: Table, column: Column) -> None:
    """1,234 beside 987: either every number with a mark is in thousands, or nobody can tell."""
    cells = [(line, cells[column.index].lstrip("+-")) for line, cells in table.rows]
    marked = [(line, c) for line, c in cells if "," in c or "." in c]
    plain = [c for _, c in cells if c.isdecimal()]
    grouped = all(len(c) in (5, 6, 7) and c[-4] in ",." and c[0] != "0" and c[-3:].isdecimal() for _, c in marked)
    if marked and grouped and any(len(c) == 3 and c[0] != "0" for c in plain):
        line, cell = marked[0]
        raise refusal(
            table.name, f"{shown(cell)} beside whole numbers such as {plain[0]} looks like thousands; write 1234.", line
        )


def sort_blades(table: Table, layout: Layout, values: dict[int, np.ndarray], notes: list[str]) -> list[Blade]:
    """The readings sorted by blade. Notes what is missing."""
    row = np.array([line for line, _ in table.rows])
    group = _labels(table, layout.of("pass"))
    places = {c.side: values[c.index] for c in layout.of("position")}
    heights = layout.of("height")
    sides = _row_sides(table, layout.of("side"), notes)
    if sides is None:
        labels = list(dict.fromkeys(c.side for c in heights))
        parts = [(s, [c for c in heights if c.side == s], np.ones(len(row), bool)) for s in labels]
    else:
        parts = [(s, heights, sides == s) for s in dict.fromkeys(sides.tolist())]
    blades = []
    for side, columns, keep in parts:
        place = places.get(side, next(iter(places.values())))
        blades.append(_blade(table, side, columns, (place, row, group), keep, values))
    if len(blades) == 1 and blades[0].label:
        notes.append(f"Only the {blades[0].label} blade is in the file.")
    if len(blades) == 1:
        blades[0].label = "blade"
    return sorted(blades, key=lambda b: b.label)


def _blade(table: Table, side: str, columns: list[Column], shared, keep: np.ndarray, values) -> Blade:
    """One blade: its height columns after each other, rows without a height left out and counted in a note."""
    place, row, group = shared
    units = {c.unit for c in columns if c.unit}
    factor = {c.index: 1.0 for c in columns}
    if len(units) > 1:  # columns in different units meet in metres
        if any(not c.unit for c in columns):
            raise refusal(table.name, "some heights have a unit and others none; give each its unit.")
        factor = {c.index: METRES[c.unit] for c in columns}
    parts, notes = [], []
    for k, column in enumerate(columns):
        height = values[column.index] * factor[column.index]
        good = keep & np.isfinite(height)
        gone = row[keep & ~good]
        if len(gone) > MOST_MISSING * keep.sum():
            raise refusal(
                table.name,
                f"{len(gone)} of {keep.sum()} heights are missing in {shown(column.label)}, the first here; at most "
                f"{MOST_MISSING:.0%} may be.",
                int(gone[0]),
            )
        if len(gone):
            notes.append(_missing_note(gone, column.label))
        parts.append((place[good], height[good], group[good] + k * (group.max() + 1), row[good]))
    joined = [np.concatenate(p) for p in zip(*parts, strict=True)]
    unit = "m" if len(units) > 1 else next(iter(units), "")
    return Blade(side, *joined, unit, notes)


def _missing_note(gone: np.ndarray, label: str) -> str:
    named = ", ".join(str(n) for n in gone[:3]) + (" and others" if len(gone) > 3 else "")
    what = "1 row was" if len(gone) == 1 else f"{len(gone)} rows were"
    return f"{what} skipped because the height is missing in {shown(label)}: line {named}."


def _labels(table: Table, columns: list[Column]) -> np.ndarray:
    """The pass of each row, numbered by appearance; zeros without such a column."""
    if not columns:
        return np.zeros(len(table.rows), int)
    seen: dict[str, int] = {}
    labels = []
    for line, cells in table.rows:
        cell = cells[columns[0].index]
        if cell.lower() in MISSING:
            raise refusal(table.name, "the pass is missing; fill it in or take the row out.", line)
        labels.append(seen.setdefault(cell, len(seen)))
    return np.array(labels)


def _row_sides(table: Table, columns: list[Column], notes: list[str]) -> np.ndarray | None:
    """left or right for each row; None without such a column, or when it holds one name of something else."""
    if not columns:
        return None
    cells = [(line, cells[columns[0].index]) for line, cells in table.rows]
    sides = [side_of(cell) for _, cell in cells]
    if not any(sides) and len({cell for _, cell in cells}) == 1:
        notes.append(f"Ignored column: {shown(columns[0].label)}, which says neither left nor right.")
        return None
    for (line, cell), side in zip(cells, sides, strict=True):
        if not side:
            raise refusal(table.name, f"{shown(cell)} is no blade; write left or right.", line)
    return np.array(sides)
