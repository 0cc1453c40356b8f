"""The blades on the bench: gauge traces read, sides named, and how long the runner is."""

import math
from dataclasses import dataclass, replace

from experiments.request.blade import read_candidate
from experiments.request.comparison import Stated
from experiments.request.fields import Fields
from experiments.request.gauge.tracefile import RawTrace, read_trace
from experiments.request.gauge.units import HEIGHT_UNITS, POSITION_UNITS
from sim.blade.reading import BladeReading, read_blade
from sim.blade.recipe import Recipe
from sim.errors import BladeError

TRACE_KEYS = (
    "trace",
    "second_trace",
    "trace_unit",
    "height_unit",
    "heights",
    "trace_from",
    "runner_length",
    "ground_as",
)


@dataclass(frozen=True)
class Blade:
    """One traced blade: its name (left, right, ...), the trace as the file gave it, what was taken for granted, and
    the reading."""

    side: str
    raw: RawTrace
    notes: tuple[str, ...]
    assumed: tuple[str, ...]  # what the file does not say, and a wrong guess would turn round
    reading: BladeReading

    @property
    def label(self) -> str:
        """As a figure's legend names it."""
        return "as measured" if self.side == "measured" else f"{self.side} as measured"


@dataclass(frozen=True)
class Bench:
    """The blades of one or two files, the recipe last ground (None when not stated), and where the length is from."""

    blades: tuple[Blade, ...]
    files: tuple[str, ...]
    ground: Recipe | None
    length_note: str


@dataclass(frozen=True)
class _HowToRead:
    """What was said about the files. length_m: of the whole runner, None when not stated."""

    unit: str
    height_unit: str
    heights: str
    first_end: str
    length_m: float | None
    ground: Recipe | None


def read_bench(fields: Fields, stated: Stated) -> Bench:
    """Read every trace. Raises BladeError for a file that is none, or blades that are not one pair."""
    files = tuple(str(fields.raw(k)) for k in ("trace", "second_trace") if fields.has(k))
    if not files:
        raise BladeError("trace: name the file of the gauge trace, for example trace=worn.csv.")
    length = fields.quantity("runner_length", "m") if fields.has("runner_length") else None
    ground = _ground(fields, stated, length)
    how = _HowToRead(fields.choice("trace_unit", POSITION_UNITS), fields.choice("height_unit", HEIGHT_UNITS),
                     fields.choice("heights", ("auto", "up", "down")),
                     fields.choice("trace_from", ("auto", "heel", "toe")), length, ground)  # fmt: skip
    blades = _named([blade for i, file in enumerate(files) for blade in _blades_of(file, i, len(files), how)], files)
    reading, note = _sized(blades[0].reading, length, stated)
    return Bench((replace(blades[0], reading=reading), *blades[1:]), files, ground, note)


def _usual_length(stated: Stated) -> float:
    """Length of the runner that is not stated, m: the skater's own, or the shared blade's."""
    own = stated.skaters[0].blade_length_m
    return stated.blade.length_m if math.isnan(own) else own


def _ground(fields: Fields, stated: Stated, length_m: float | None) -> Recipe | None:
    """The recipe last ground, on a runner of its own stated length or the usual one."""
    if not fields.has("ground_as"):
        return None
    length = _usual_length(stated) if length_m is None else length_m
    blade = replace(stated.blade, proud_m=0.0, length_m=length)
    return read_candidate(fields.raw("ground_as"), blade, "ground_as").recipe


def _blades_of(file: str, place: int, count: int, how: _HowToRead) -> list[Blade]:
    """Every blade of one file. Raises BladeError that names file and blade."""
    out = []
    for side, raw in read_trace(file, how.unit, how.height_unit).items():
        name = side if side != "blade" else _side(file, ("first", "second")[place] if count > 1 else "measured")
        end = how.first_end if how.first_end != "auto" else raw.first_end or "heel"
        assumed = ()
        if how.first_end == "auto" and not raw.first_end:
            assumed = ("Positions are taken to start at the heel; if not, add trace_from=toe.",)
        try:
            reading = read_blade(raw.position_m, raw.height_m, raw.pass_id, first_end=end, heights=how.heights,
                                 length_m=how.length_m, ground=how.ground)  # fmt: skip
        except BladeError as refusal:
            raise BladeError(f"{file}, {name} blade: {refusal}") from None
        out.append(Blade(name, raw, raw.notes, assumed, reading))
    return out


def _named(blades: list[Blade], files: tuple[str, ...]) -> tuple[Blade, ...]:
    """The blades under names of their own. Raises BladeError for more than a pair."""
    if len(blades) > 2:
        raise BladeError(f"second_trace: {files[0]} already holds two blades; leave second_trace out.")
    if len({blade.side for blade in blades}) < len(blades):
        blades = [replace(blade, side=name) for blade, name in zip(blades, ("first", "second"))]
    return tuple(blades)


def _side(file: str, otherwise: str) -> str:
    """left or right where the file's name says so."""
    words = file.lower().rsplit("/", 1)[-1]
    found = [side for side in ("left", "right") if side in words]
    return found[0] if len(found) == 1 else otherwise


def _sized(reading: BladeReading, length_m: float | None, stated: Stated) -> tuple[BladeReading, str]:
    """The reading with the length of the whole runner, and where that length is from."""
    if length_m is not None:
        return reading, "stated"
    if reading.ground is not None:
        return reading, "as ground"
    if reading.heel_sweep is not None and reading.toe_sweep is not None:
        return reading, "from the trace"
    length = _usual_length(stated)
    if length < reading.trace_m:
        raise BladeError(
            f"runner_length: the trace is {reading.trace_m * 1e3:.0f} mm long and shows no turned-up end on one side, "
            f"and the usual runner is {length * 1e3:.0f} mm; state runner_length."
        )
    return replace(reading, length_m=length), "usual; the trace does not show both ends"
