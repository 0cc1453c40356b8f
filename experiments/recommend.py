"""From a gauge trace and a skater to a recommendation: read the request and the trace, gather blades, draw, judge."""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from experiments import certainty as c
from experiments import detail, facts, sheet, studies
from experiments.cases import Case, Request, candidate, on_steel, request
from experiments.fields import Fields
from experiments.gauge.tracefile import RawTrace, read_trace
from experiments.grinding import Grinding, check, read_grinding
from experiments.owncandidates import own_folder
from experiments.store import csv_table, whole
from experiments.variants import varied_setting
from experiments.wishes import Wishes, read_wishes, where
from sim.blade.reading import BladeReading, read_blade
from sim.blade.recipe import Recipe, Sweep
from sim.blade.stock import Removal, removal
from sim.blade.wear import deviation, wear
from sim.errors import BladeError
from sim.quantities import FOOT_M
from sim.trial import Candidate, Setting

KEYS = (
    "trace", "second_trace", "trace_unit", "height_unit", "heights", "trace_from", "gauge_level", "runner_length",
    "runner_height", "least_height", "ground_as", "shop", "initials", "stands", "says", "use", "wishes",
)  # fmt: skip
MEASURED, REFRESHED = "blade as measured", "refreshed"
LINES = ("glide_line_shift", "turn_line_shift", "push_line_shift", "pivot_line_shift")


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
class Counter:
    """All that was asked at the counter. height_m, least_m: steel now and least allowed, nan when not stated."""

    blades: tuple[Blade, ...]
    files: tuple[str, ...]
    wishes: Wishes
    initials: str
    gauge_level: bool
    height_m: float
    least_m: float
    limits: Grinding
    ground: Recipe | None
    length_note: str
    edges_note: str  # inside edge proud, as stated


@dataclass(frozen=True)
class Made:
    """What came of it: draws, steel to remove for every blade and why one cannot be ground, and the sheet's facts."""

    draws: c.Draws
    steel: list[Removal | None]
    refused: list[str]
    facts: dict


def read_recommend(own: dict, rest: dict):
    """Check everything, read the traces and build the blades; returns the request and what runs it."""
    fields = Fields(own, "")
    Fields(rest, "").inner("skater"), Fields(rest, "").inner("blade").raw("inside_edge_proud")
    if not fields.has("trace"):
        raise BladeError("trace: name the file of the gauge trace, for example trace=worn.csv.")
    wishes = read_wishes(fields.inner("use"), fields.inner("wishes"), fields.raw("says"), fields.raw("stands"))
    inputs, draws = c.read_inputs(fields.inner("uncertainty")), fields.count("draws", 16, 100_000)
    seed, level = fields.count("seed", 0, 2**31 - 1), fields.flag("gauge_level")
    initials = fields.text("initials", 12) if fields.has("initials") else ""
    height, least = (fields.quantity(k, "m") if fields.has(k) else math.nan for k in ("runner_height", "least_height"))
    if not (math.isnan(height) or 2e-3 <= height <= 80e-3):
        raise BladeError(f"runner_height: {height * 1e3:.1f} mm is no height of steel; use 2 mm to 80 mm.")
    entries = own_folder(str(fields.raw("shop")) if fields.has("shop") else None)
    limits, ground = read_grinding(fields.inner("grinding")), _ground(fields, rest)
    blades, files = _blades(fields, ground)
    reading, note = _sized(fields, rest, blades[0].reading)
    blades = (replace(blades[0], reading=reading), *blades[1:])
    fields.done()
    edges = str(rest["blade"]["inside_edge_proud"])
    counter = Counter(blades, files, wishes, initials, level, height, least, limits, ground, note, edges)
    recipe = reading.recipe(MEASURED, level_from_trace=level)
    asked = _with_measured(_request(rest, recipe, entries), counter, recipe)
    shift, inputs, counter = _stance(counter, asked, inputs)
    asked = _shifted(asked, shift, wishes)
    c.fitting(draws, len(asked.cases))
    return asked, lambda folder, on_chunk: recommend(asked, counter, inputs, draws, seed, folder, on_chunk)


# ---------------------------------------------------------------- the traces


def _ground(fields: Fields, rest: dict) -> Recipe | None:
    """The recipe last ground, on a runner of its own stated length or the usual one."""
    if not fields.has("ground_as"):
        return None
    blade = dict(rest["blade"], inside_edge_proud="0 um")
    if fields.has("runner_length"):
        blade["length"] = fields.raw("runner_length")
    elif rest["skater"].get("blade_length") is not None:
        blade["length"] = rest["skater"]["blade_length"]
    return candidate(fields.raw("ground_as"), blade, "ground_as").recipe


def _blades(fields: Fields, ground: Recipe | None) -> tuple[tuple[Blade, ...], tuple[str, ...]]:
    unit = fields.choice("trace_unit", ("auto", "mm", "cm", "m", "in"))
    height_unit = fields.choice("height_unit", ("auto", "mm", "um", "cm", "m", "in", "thou"))
    heights = fields.choice("heights", ("auto", "up", "down"))
    first = fields.choice("trace_from", ("auto", "heel", "toe"))
    length = fields.quantity("runner_length", "m") if fields.has("runner_length") else None
    files = [str(fields.raw(k)) for k in ("trace", "second_trace") if fields.has(k)]
    out = []
    for i, file in enumerate(files):
        for side, raw in read_trace(file, unit, height_unit).items():
            name = side if side != "blade" else _side(file, ("first", "second")[i] if len(files) > 1 else "measured")
            end = first if first != "auto" else raw.first_end or "heel"
            assumed = ()
            if first == "auto" and not raw.first_end:
                assumed = ("Positions are taken to start at the heel; if not, add trace_from=toe.",)
            try:
                reading = read_blade(
                    raw.position_m, raw.height_m, raw.pass_id, first_end=end, heights=heights, length_m=length,
                    ground=ground,
                )  # fmt: skip
            except BladeError as refusal:
                raise BladeError(f"{file}, {name} blade: {refusal}") from None
            out.append(Blade(name, raw, raw.notes, assumed, reading))
    if len(out) > 2:
        raise BladeError(f"second_trace: {files[0]} already holds two blades; leave second_trace out.")
    if len({b.side for b in out}) < len(out):
        out = [replace(b, side=name) for b, name in zip(out, ("first", "second"))]
    return tuple(out), tuple(files)


def _side(file: str, otherwise: str) -> str:
    """left or right where the file's name says so."""
    words = file.lower().rsplit("/", 1)[-1]
    found = [side for side in ("left", "right") if side in words]
    return found[0] if len(found) == 1 else otherwise


def _sized(fields: Fields, rest: dict, reading: BladeReading) -> tuple[BladeReading, str]:
    """The reading with the length of the whole runner, and where that length is from."""
    if fields.has("runner_length"):
        return reading, "stated"
    if reading.ground is not None:
        return reading, "as ground"
    if reading.heel_sweep is not None and reading.toe_sweep is not None:
        return reading, "from the trace"
    own = rest["skater"].get("blade_length") is not None
    usual = Fields(rest["skater" if own else "blade"], "skater" if own else "blade")
    length = usual.quantity("blade_length" if own else "length", "m")
    if length < reading.trace_m:
        raise BladeError(
            f"runner_length: the trace is {reading.trace_m * 1e3:.0f} mm long and shows no turned-up end on one side, "
            f"and the usual runner is {length * 1e3:.0f} mm; state runner_length."
        )
    return replace(reading, length_m=length), "usual; the trace does not show both ends"


def _mm(length_m: float) -> str:
    return f"{length_m * 1e3:.6f} mm"


# ---------------------------------------------------------------- the blades


def _request(rest: dict, measured: Recipe, entries: list) -> Request:
    """The request of the shop's blades on this runner; its ends stay as they are, new edges are ground level."""
    if rest.get("skaters"):
        raise BladeError("skaters: a recommendation is for one skater; set skater, and leave skaters empty.")
    ends = {
        key: {"length": _mm(sweep.length_m), "radius": _mm(sweep.radius_m)}
        for key, sweep in (("heel_sweep", measured.heel_sweep), ("toe_sweep", measured.toe_sweep))
    }
    shortest = min([0.2, *(2 * e.length_m for e in (measured.heel_sweep, measured.toe_sweep) if e.length_m > 0)])
    blend = min(Fields(rest["blade"], "blade").quantity("blend", "m"), shortest)
    return request({
        **rest, "candidates": entries,
        "blade": {**rest["blade"], **ends, "blend": _mm(blend), "inside_edge_proud": "0 um"},
        "skater": {**rest["skater"], "blade_length": _mm(measured.length_m)},
    })  # fmt: skip


def _with_measured(asked: Request, counter: Counter, recipe: Recipe) -> Request:
    """The request with the blade as measured (first, and as the reference) and the same curve ground fresh."""
    setting, section = asked.settings[0], asked.cases[0].candidate.section
    proud = Fields({"inside_edge_proud": counter.edges_note}, "blade").quantity("inside_edge_proud", "m")
    measured = Candidate(MEASURED, recipe, replace(section, proud_m=proud), counter.blades[0].reading)
    ends = {"length_m": recipe.length_m, "heel_sweep": recipe.heel_sweep, "toe_sweep": recipe.toe_sweep}
    again = replace(counter.ground or rounded(recipe), name=REFRESHED, **ends)
    setting = replace(setting, reference=measured)
    taken = {case.candidate.name for case in asked.cases} & {MEASURED, REFRESHED}
    if taken:
        raise BladeError(f"shop: {taken.pop()!r} is a name that the sheet uses itself; give that recipe another.")
    blades = [measured, Candidate(REFRESHED, again, section), *(case.candidate for case in asked.cases)]
    cases = tuple(Case(i, blade, setting) for i, blade in enumerate(blades))
    return replace(asked, cases=cases, settings=(setting,))


def rounded(recipe: Recipe) -> Recipe:
    """A measured recipe as one would grind it: radii to half a foot, zone ends to a millimetre; alike zones joined."""
    radii = [max(0.5, round(2 * r / FOOT_M) / 2) * FOOT_M for r in recipe.radii_m]
    lengths = [round(zone.length_m, 3) for zone in recipe.zones]
    joined: list[list[float]] = []
    for radius, length in zip(radii, lengths):
        if joined and joined[-1][0] == radius:
            joined[-1][1] += length
        else:
            joined.append([radius, length])
    family = "single_radius" if len(joined) == 1 else "zoned"
    shares = () if len(joined) == 1 else tuple(length for _, length in joined)
    return replace(recipe, family=family, radii_m=tuple(r for r, _ in joined), shares=shares)


def _stance(counter: Counter, asked: Request, inputs):
    """(shift of the load lines, inputs, counter): from the wear where that was asked, with its own doubt added."""
    wishes = counter.wishes
    if not math.isnan(wishes.shift_m):
        return wishes.shift_m, inputs, counter
    if counter.ground is None:
        raise BladeError("stands=wear: wear shows only against the recipe last ground; give ground_as={...} as well.")
    worn = wear(counter.blades[0].reading, counter.ground)
    if worn.centroid_m is None:
        raise BladeError("stands=wear: no wear stands out of the noise of this trace; state where the skater stands.")
    shift = worn.centroid_m.value - asked.settings[0].states["glide"].line_m
    shift = float(np.clip(shift, -0.06, 0.06))
    doubt = (worn.centroid_m.high - worn.centroid_m.low) / (2 * stats.norm.ppf(0.95))
    wider = [
        replace(i, law=stats.norm(i.law.mean(), math.hypot(i.law.std(), doubt)),
                why=f"{i.why}; widened by the doubt about the wear") if i.name in LINES else i
        for i in inputs
    ]  # fmt: skip
    words = (
        f"{where(shift)}, read from the wear (worn most near "
        f"{worn.centroid_m.value * 1e3:+.0f} mm; wear also comes from stops and from sharpening)"
    )
    return shift, tuple(wider), replace(counter, wishes=replace(wishes, shift_m=shift, stands=words))


def _shifted(asked: Request, shift: float, wishes: Wishes) -> Request:
    """The request with all load lines moved, the skater's own weighting, and no frontier gains in the draws."""
    moved: Setting = varied_setting(asked.settings[0], dict.fromkeys(LINES, shift))
    scenarios = {
        name: replace(s, line_m=tuple(x + shift for x in s.line_m)) for name, s in asked.settings[0].scenarios.items()
    }
    moved = replace(moved, scenarios=scenarios, reference=asked.settings[0].reference)
    cases = tuple(replace(case, setting=moved) for case in asked.cases)
    for case in cases:
        on_steel(case)
    return replace(asked, cases=cases, settings=(moved,), scheme=wishes.scheme)


# ---------------------------------------------------------------- the study


def recommend(asked: Request, counter: Counter, inputs, draws: int, seed: int, folder, on_chunk) -> Made:
    """Draw, judge, and leave sheet.html, sheet.json, tables and the recipes in the run folder."""
    made = c.run_draws(replace(asked, pairs=()), inputs, draws, seed, folder.crew, on_chunk)
    studies.write_draws(folder.path / "results.h5", made, inputs, folder.attributes())
    studies.write_intervals(folder.path / "intervals.csv", made)
    write_reading(folder.path / "reading.csv", counter)
    if counter.ground is not None:
        write_deviation(folder.path / "deviation.csv", counter)
    steel, refused = _steel(asked, counter)
    told = facts.gather(asked, counter, made, steel, refused, folder)
    sheet.write_sheet(folder.path, told.facts, told.figures)
    with whole(folder.path / "recipes.yaml") as temporary:
        temporary.write_text(detail.recipes_text(asked), encoding="utf-8")
    return Made(made, steel, refused, told.facts)


def _steel(asked: Request, counter: Counter) -> tuple[list[Removal | None], list[str]]:
    """Steel to remove to get from the blade as measured to each blade, and why one cannot be ground.

    Between the turned-up ends: those are left to the grinder's hand.
    """
    stock, worn = asked.cases[0].candidate.curve, asked.cases[0].candidate.recipe
    low = -worn.length_m / 2 + worn.heel_sweep.length_m + worn.blend_m / 2
    high = worn.length_m / 2 - worn.toe_sweep.length_m - worn.blend_m / 2
    steel, refused = [], []
    for case in asked.cases:
        try:
            found = removal(case.candidate.curve, stock, not counter.gauge_level, (low, high)) if case.index else None
        except BladeError as refusal:
            steel.append(None)
            refused.append(f"cannot be ground: {refusal}")
            continue
        left = counter.height_m - (found.most_m if found else 0.0)
        against = check(_running(case.candidate.recipe), counter.limits) if case.index else []
        if case.index and left < counter.least_m:  # nan: never
            least = counter.least_m * 1e3
            against.insert(0, f"{left * 1e3:.1f} mm of steel would be left, and {least:.1f} mm is the least stated")
        if found is not None and found.most_m > counter.limits.steel_available_m:
            most = counter.limits.steel_available_m * 1e3
            against.append(f"{found.most_m * 1e3:.2f} mm would have to go, and the limit of the shop is {most:.2f} mm")
        steel.append(found)
        refused.append(f"cannot be ground: {against[0]}" if against else "")
    return steel, refused


def _running(recipe: Recipe) -> Recipe:
    """The recipe between its turned-up ends: those stay as they came, and are no business of the limits."""
    bare = Sweep(0.0)
    level = float(np.clip(recipe.level_m, -0.4 * recipe.working_m, 0.4 * recipe.working_m))
    return replace(recipe, length_m=recipe.working_m, heel_sweep=bare, toe_sweep=bare, level_m=level)


def write_reading(path, counter: Counter) -> None:
    """Every point of every trace as it was read: place, level height, pass, whether it was set aside."""
    with csv_table(path, ["blade", "x [m]", "height [m]", "pass", "line_in_file", "set_aside"]) as writer:
        for blade in counter.blades:
            r = blade.reading
            for row in zip(r.x_m, r.z_m, blade.raw.pass_id, blade.raw.row, r.flagged):
                writer.writerow([blade.side, f"{row[0]:.7f}", f"{row[1]:.8f}", int(row[2]), int(row[3]), int(row[4])])


def write_deviation(path, counter: Counter) -> None:
    """Height of each blade over the recipe it was ground to, best offset and tilt removed, with its 90 % band."""
    with csv_table(path, ["blade", "x [m]", "height_over_recipe [m]", "q05 [m]", "q95 [m]"]) as writer:
        for blade in counter.blades:
            for row in zip(*deviation(blade.reading, counter.ground)):
                writer.writerow([blade.side, *(f"{v:.8f}" for v in row)])


def show_recommend(made: Made, asked: Request, console) -> None:
    """The verdict in the terminal."""
    facts.show(made.facts, console)
