"""The passes of a trace: by column, or by where the position turns back or starts again."""

from collections.abc import Iterable

import numpy as np

from experiments.request.gauge.blades import Blade, of_blade
from experiments.request.gauge.text import Table, counted, refusal
from experiments.request.gauge.units import EDGE, FEWEST_POINTS, SHORTEST_TRACE_M

SLIP_M = 0.002  # the position may run back by this much within a pass (encoder, hand)


def find_passes(table: Table, blade: Blade, named: bool) -> np.ndarray:
    """The pass of each reading: by column, or by where the position turns back or starts again."""
    pass_id = np.zeros(len(blade.row), int)
    count = 0
    for group in dict.fromkeys(blade.group.tolist()):
        at = np.flatnonzero(blade.group == group)
        position, line = blade.position[at], blade.row[at]
        starts = [0] if named else _leg_starts(table, blade, position, line)
        _refuse_swapped(table, blade, blade.height[at], len(starts), int(line[0]))
        for first, last in zip(starts, [*starts[1:], len(at)], strict=True):
            _check_pass(table, blade, position[first:last], line[first:last], named)
            pass_id[at[first:last]] = count
            count += 1
    return pass_id


def _refuse_swapped(table: Table, blade: Blade, height: np.ndarray, legs: int, line: int) -> None:
    """Heights that run one way while the position turns back are positions in the wrong column."""
    steps = np.diff(height)
    if legs > 1 and (np.all(steps > 0) or np.all(steps < 0)):
        raise refusal(
            table.name,
            f"{of_blade(blade)}the heights run one way throughout, as positions do, while the positions turn back; "
            "swap the columns or name them in a first row.",
            line,
        )


def _check_pass(table: Table, blade: Blade, position: np.ndarray, line: np.ndarray, named: bool) -> None:
    where = f"{of_blade(blade)}the pass that begins here"
    if len(position) < FEWEST_POINTS:
        raise refusal(
            table.name,
            f"{where} has {counted(len(position), 'point')}; a pass needs at least {FEWEST_POINTS}.",
            int(line[0]),
        )
    if np.ptp(position) < SHORTEST_TRACE_M * (1 - EDGE):
        raise refusal(
            table.name,
            f"{where} covers {np.ptp(position) * 1e3:.4g} mm; a pass must cover {SHORTEST_TRACE_M * 1e3:.0f} mm.",
            int(line[0]),
        )
    way = 1.0 if position[-1] >= position[0] else -1.0
    back = np.maximum.accumulate(way * position) - way * position
    if not named and back.max() > SLIP_M:
        i = int(np.argmax(back > SLIP_M))
        raise refusal(
            table.name,
            f"{of_blade(blade)}the position runs back by {back[i] * 1e3:.4g} mm, neither a slip below "
            f"{SLIP_M * 1e3:g} mm nor a new pass; correct it or take the row out.",
            int(line[i]),
        )


def _leg_starts(table: Table, blade: Blade, position: np.ndarray, line: np.ndarray) -> list[int]:
    """Index of the first reading of each leg: after a turning point, or after a jump back to begin again.

    A turn counts once the position has come back by 60 mm or a fifth of the span, whichever is less.
    """
    enough = min(SHORTEST_TRACE_M, 0.2 * float(np.ptp(position)))
    p = position.tolist()
    starts, way, low, high, far = [0], 0, 0, 0, 0
    for i in range(1, len(p)):
        if way == 0:
            low, high = (i if p[i] < p[low] else low), (i if p[i] > p[high] else high)
            if p[high] - p[low] >= enough:
                way, far = (1, high) if high > low else (-1, low)
        elif way * (p[i] - p[far]) >= 0:
            far = i
        elif way * (p[far] - p[i]) >= enough:
            if abs(p[i] - p[i - 1]) >= enough:
                _refuse_stray(table, blade, p, i, way, line)
                starts.append(i)
                way, low, high = 0, i, i
            else:
                first = far  # two readings at the turn: one for each leg
                while first > starts[-1] and p[first - 1] == p[far]:
                    first -= 1
                starts.append((first + far) // 2 + 1)
                way, far = -way, i
    return starts


def _refuse_stray(table: Table, blade: Blade, p: list[float], i: int, way: int, line: np.ndarray) -> None:
    """One position out of order, typed wrong, would look like a new pass."""
    too_far = i >= 2 and way * (p[i] - p[i - 2]) > -SLIP_M
    too_near = i + 1 < len(p) and way * (p[i + 1] - p[i - 1]) > -SLIP_M
    if too_far or too_near:
        at = i - 1 if too_far else i
        raise refusal(
            table.name,
            f"{of_blade(blade)}the position lies far out of order; correct it or take the row out.",
            int(line[at]),
        )


def check_agreement(table: Table, blades: Iterable[Blade]) -> None:
    """Columns without a heading are passes only if they measure one curve: tilt and offset apart, within a third.

    Raises BladeError.
    """
    for blade in blades:
        shapes = []
        for group in range(table.width - 1):
            at = blade.group == group
            x, z = blade.position[at], blade.height[at]
            u = (x - x.mean()) / np.ptp(x)
            shapes.append(np.polynomial.polynomial.polyfit(u, z, 2)[2])
        first = shapes[0]
        if any(abs(s - first) > abs(first) / 3 for s in shapes[1:]):
            raise refusal(
                table.name,
                f"{table.width} columns without a heading do not look like passes over one blade; name the columns in "
                "a first row.",
                int(blade.row[0]),
            )
