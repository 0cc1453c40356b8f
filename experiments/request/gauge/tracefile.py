"""Reading a gauge trace of a shop, position along the runner against height of its surface, from a text file."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from experiments.request.gauge.blades import Blade, read_numbers, sort_blades
from experiments.request.gauge.header import Layout, read_layout
from experiments.request.gauge.passes import check_agreement, find_passes
from experiments.request.gauge.text import Table, read_table, refusal
from experiments.request.gauge.units import HEIGHT_UNITS, POSITION_UNITS, heights_to_metres, positions_to_metres


@dataclass(frozen=True)
class RawTrace:
    """One blade as the file gave it, in SI.

    position_m, height_m: (n,) in file order (several height columns follow each other); pass_id: (n,) ints from 0 in
    order of appearance; row: (n,) 1-based line numbers in the file; notes: what was found or taken for granted, one
    plain sentence each; first_end: the end of the blade at the smallest position, "heel", "toe" or "" when the file
    does not say.
    """

    position_m: np.ndarray
    height_m: np.ndarray
    pass_id: np.ndarray
    row: np.ndarray
    notes: tuple[str, ...]
    first_end: str


def read_trace(path: str | Path, unit: str = "auto", height_unit: str = "auto") -> dict[str, RawTrace]:
    """The traces in a text file: {"blade": trace}, or {"left": trace, "right": trace}.

    unit, height_unit: what positions and heights are written in; auto: as the heading says, or inferred and noted.
    Raises BladeError, one sentence naming the file and the line, for whatever is no usable trace.
    """
    table = read_table(path)
    for value, known, what in ((unit, POSITION_UNITS, "unit"), (height_unit, HEIGHT_UNITS, "height_unit")):
        if value not in known:
            raise refusal(table.name, f"{what} {str(value)[:20]!r} is unknown; choose one of {', '.join(known)}.")
    layout = read_layout(table)
    notes = [*table.notes, *layout.notes]
    columns, decimal = read_numbers(table, [*layout.of("position"), *layout.of("height")])
    if decimal:
        notes.append("The decimal mark is a comma.")
    blades = sort_blades(table, layout, columns, notes)
    positions_to_metres(table, layout, blades, unit, notes)
    passes = {b.label: find_passes(table, b, bool(layout.of("pass"))) for b in blades}
    heights_to_metres(table, blades, passes, height_unit)
    if layout.line is None and table.width > 2:
        check_agreement(table, blades)
    return {b.label: _finished(table, layout, b, passes[b.label], notes) for b in blades}


def _finished(table: Table, layout: Layout, blade: Blade, pass_id: np.ndarray, notes: list[str]) -> RawTrace:
    """The trace with its notes on passes and direction."""
    count = int(pass_id.max()) + 1
    begin = [int(blade.row[np.argmax(pass_id == k)]) for k in range(count)]
    rows = ", ".join(map(str, begin[:6])) + (" and so on" if count > 6 else "")
    passes = f"There are {count} passes, which begin at lines {rows}."
    if len(set(begin)) == 1:
        passes = "There is one pass." if count == 1 else f"There are {count} passes, side by side."
    end, said = _first_end(table, layout, blade, pass_id)
    everything = (*notes, *blade.notes, passes, said)
    return RawTrace(blade.position, blade.height, pass_id, blade.row, everything, end)


def _first_end(table: Table, layout: Layout, blade: Blade, pass_id: np.ndarray) -> tuple[str, str]:
    """The end at the smallest position, and the note on it."""
    first = blade.position[pass_id == 0]
    rises = first[-1] >= first[0]
    other = {"heel": "toe", "toe": "heel", "": ""}
    begun = layout.starts if rises else other[layout.starts]
    if layout.counted_from and begun and begun != layout.counted_from:
        way = "rise" if rises else "fall"
        raise refusal(
            table.name,
            f"positions are counted from the {layout.counted_from} and {way}, yet the {layout.starts} is said to come "
            "first; correct one of the two.",
        )
    end = layout.counted_from or begun
    if not end:
        return "", "The file does not say which end comes first."
    return end, f"By the file, positions are smallest at the {end}."
