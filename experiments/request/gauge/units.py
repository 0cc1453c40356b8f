"""Metres for a trace: units as asked for, as written, or inferred from what a blade can be."""

import numpy as np

from experiments.request.gauge.blades import METRES, Blade, of_blade
from experiments.request.gauge.header import Layout
from experiments.request.gauge.text import Table, counted, refusal
from sim.errors import BladeError

POSITION_UNITS = ("auto", "mm", "in", "cm", "m")
HEIGHT_UNITS = ("auto", "mm", "um", "in", "thou", "m", "cm")
FEWEST_POINTS = 12
SHORTEST_TRACE_M, LONGEST_TRACE_M = 0.060, 0.700
TIGHTEST_TRACE_M, FLATTEST_TRACE_M = (
    0.3,
    200.0,
)  # radii that a whole trace may have; wider than any blade, to catch units only
USUAL_M = (1.0, 30.0)  # between these the unit of the heights is hardly in doubt
_SPOKEN = {"in": "inches"}  # "in in" reads badly
EDGE = 1e-9  # relative, so that a trace of exactly 60 mm is not refused for the last bit


def positions_to_metres(table: Table, layout: Layout, blades: list[Blade], unit: str, notes: list[str]) -> None:
    """Positions in m, in place; each blade's height unit becomes the position's where unsaid. Checks the span.

    Raises BladeError.
    """
    said = {c.unit for c in layout.of("position")} - {""}
    spans = [float(np.ptp(b.position)) if len(b.position) else 0.0 for b in blades]
    for blade, span in zip(blades, spans, strict=True):
        if len(blade.position) < FEWEST_POINTS:
            rows = counted(len(blade.position), "row")
            raise refusal(table.name, f"{of_blade(blade)}{rows} of data; a pass needs at least {FEWEST_POINTS}.")
        if span == 0.0:
            raise refusal(table.name, f"{of_blade(blade)}all positions are equal; check which column is which.")
    if unit != "auto":
        chosen, how = unit, "as asked for"
    elif said:
        if len(said) > 1:
            raise refusal(table.name, "the two positions are in different units; use one.", layout.line)
        chosen, how = said.pop(), "as the file says"
    else:
        chosen, how = _unit_of_span(table.name, max(spans)), f"inferred from their span of {max(spans):.6g}"
    notes.append(f"Positions are in {_SPOKEN.get(chosen, chosen)}, {how}.")
    for blade, span in zip(blades, spans, strict=True):
        _check_span(table.name, blade, span, chosen)
        blade.position = blade.position * METRES[chosen]
        blade.notes.append(f"The positions span {np.ptp(blade.position) * 1e3:.1f} mm.")
    others = {b.unit for b in blades if b.unit}
    if len(others) == 1 and any(not b.unit for b in blades):
        raise refusal(table.name, "one blade's heights have a unit and the other's none; give both.", layout.line)
    for blade in blades:
        blade.unit = blade.unit or f"?{chosen}"


def _unit_of_span(name: str, span: float) -> str:
    """The unit of positions that span so much.

    Between 13 and 24 both inches and centimetres make a runner; below 4 heights in mm would pass for inches.
    """
    if 13.0 < span <= 24.0:
        raise refusal(name, f"positions span {span:.6g}, which may be in or cm; say which in the heading or as unit.")
    for unit, least, most in (("mm", 60.0, 700.0), ("in", 4.0, 13.0), ("cm", 24.0, 60.0), ("m", 0.06, 0.7)):
        if least <= span * (1 + EDGE) and span <= most * (1 + EDGE):
            return unit
    raise refusal(
        name,
        f"positions span {span:.6g}, which is no runner in mm, in, cm or m (it must be {SHORTEST_TRACE_M * 1e3:.0f} to "
        f"{LONGEST_TRACE_M * 1e3:.0f} mm); trace more of the runner or write the unit in the heading.",
    )


def fits_runner(span_m: float) -> bool:
    """Whether a trace of this span can be one of a runner."""
    return SHORTEST_TRACE_M * (1 - EDGE) <= span_m <= LONGEST_TRACE_M * (1 + EDGE)


def _check_span(name: str, blade: Blade, span: float, unit: str) -> None:
    span_m = span * METRES[unit]
    if fits_runner(span_m):
        return
    others = [u for u in POSITION_UNITS[1:] if fits_runner(span * METRES[u])]
    hint = f"perhaps {' or '.join(others)} is meant" if others else "trace the runner, or check the positions"
    what = "short" if span_m < SHORTEST_TRACE_M else "long"
    raise refusal(
        name,
        f"{of_blade(blade)}positions span {span_m * 1e3:.6g} mm if in {unit}, too {what} for a runner "
        f"({SHORTEST_TRACE_M * 1e3:.0f} to {LONGEST_TRACE_M * 1e3:.0f} mm); {hint}.",
    )


def heights_to_metres(table: Table, blades: list[Blade], passes: list[np.ndarray], wanted: str) -> None:
    """Heights in m, in place. Unsaid units are the position's, or the finer unit when that alone makes a blade.

    Raises BladeError.
    """
    bows = [_bows(table, b, passes[b.label]) for b in blades]
    for blade, bow in zip(blades, bows, strict=True):
        said = not blade.unit.startswith("?")
        unit, how = blade.unit.lstrip("?"), "as the file says"
        if wanted != "auto":
            unit, how = wanted, "as asked for"
        elif not said:
            unit, how = _unit_of_bow(table.name, blade, bow, unit)
        radii = [span**2 / (8 * b * METRES[unit]) if b > 0 else np.inf for span, b, _ in bow]
        for radius, (_, _, line) in zip(radii, bow, strict=True):
            if not TIGHTEST_TRACE_M <= radius <= FLATTEST_TRACE_M:
                raise _implausible(table.name, blade, bow, unit, line)
        blade.notes.append(f"Heights are in {_SPOKEN.get(unit, unit)}, {how}.")
        middle = float(np.median(radii))
        if not USUAL_M[0] <= middle <= USUAL_M[1]:
            blade.notes.append(f"These heights make a mean radius of {middle:.3g} m, which is unusual; check the unit.")
        blade.height = blade.height * METRES[unit]


def _bows(table: Table, blade: Blade, pass_id: np.ndarray):
    """Span in m, bow in the file's unit, and first line of each pass. Refuses heights that are constant.

    The bow is the spread of heights about their straight line from the 2nd to the 98th percentile: a slipped probe or
    a typing error must not choose the unit.
    """
    found = []
    for k in range(pass_id.max() + 1):
        x, z, line = (v[pass_id == k] for v in (blade.position, blade.height, blade.row))
        if np.ptp(z) == 0.0:
            raise refusal(
                table.name,
                f"{of_blade(blade)}the heights from here on are constant; check that the column holds heights.",
                int(line[0]),
            )
        x, z = x - x.mean(), z - z.mean()
        rest = z - x * float(x @ z) / float(x @ x)
        low, high = np.percentile(rest, (2, 98))
        found.append((float(np.ptp(x)), float(high - low), int(line[0])))
    return found


def _plausible(bow, unit: str, least: float = TIGHTEST_TRACE_M, most: float = FLATTEST_TRACE_M) -> bool:
    """Whether the middle one of the passes has a radius within bounds."""
    span, height = (float(np.median([b[i] for b in bow])) for i in (0, 1))
    return height > 0 and least <= span**2 / (8 * height * METRES[unit]) <= most


def _unit_of_bow(name: str, blade: Blade, bow, own: str) -> tuple[str, str]:
    """The unit of heights that nothing states, and how it was found."""
    if _plausible(bow, own):
        return own, "the unit of the positions"
    finer = "thou" if own == "in" else "um"
    usual = [u for u in HEIGHT_UNITS[1:] if _plausible(bow, u, *USUAL_M)]
    if not _plausible(bow, finer) or (usual and finer not in usual):
        raise _implausible(name, blade, bow, own, bow[0][2])
    return finer, f"because in {_SPOKEN.get(own, own)} no blade would have such a curve"


def _implausible(name: str, blade: Blade, bow, unit: str, line: int) -> BladeError:
    """The refusal of a bow that no blade has, with the units that would make one."""
    usual = [u for u in HEIGHT_UNITS[1:] if u != unit and _plausible(bow, u, *USUAL_M)]
    hint = f"perhaps {' or '.join(usual)} is meant" if usual else "check that the column holds heights"
    height = float(np.median([b[1] for b in bow]))
    return refusal(
        name,
        f"{of_blade(blade)}less their tilt the heights bow by {height:.4g} {unit}, a radius outside "
        f"{TIGHTEST_TRACE_M:g} to {FLATTEST_TRACE_M:g} m; {hint}, to be written in the heading or as height_unit.",
        line,
    )
