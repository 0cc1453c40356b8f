"""Where must the skater stand: frontier gain over load lines, and over mass, ice temperature and hollow."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.frontier import continued, cost
from experiments.analysis.variants import (
    LINE_RADII,
    HeldLine,
    gains,
    runner_like,
    single_radius,
    static_pairs,
    statics,
    varied_candidate,
    varied_setting,
)
from experiments.request.comparison import Request, check_line, one_setting, read_request
from experiments.request.fields import Fields
from experiments.run.workers import HERE, Progress, Workers, silent
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.measures import REGISTRY
from sim.trial import Candidate, Setting

KEYS = ("glide_lines", "turn_lines")
MOST_PLACES = 20_000_000  # candidates x pairs x glide x turn lines
# what else may differ between skaters and rinks: uncertain input, its values, how it reads
SURROUNDINGS = {
    "mass_factor": (np.linspace(0.6, 1.4, 9), "times the skater's mass"),
    "temperature_shift": (np.linspace(-6.0, 4.0, 6), "K warmer than stated"),
    "hollow_factor": (np.linspace(0.75, 1.75, 9), "times the hollow radius"),
}
AXES = {"glide": "glide", "turn": "turn", "pivot_forefoot": "turn"}  # axis along which a state's load line moves
SAME_LINE_M = 1e-6  # a place of the map nearer than this to the stated line is the stated line


@dataclass(frozen=True)
class Plan:
    """A comparison, and the glide and turn load lines of its map, m: the stated ones are among them."""

    request: Request
    glide_m: np.ndarray
    turn_m: np.ndarray


@dataclass(frozen=True)
class StanceMap:
    """gain: (candidate, pair, glide, turn) over pairs of one glide and one turn or forefoot measure; measures: name to
    (line, candidate) along its own axis; around: input of SURROUNDINGS to (value, candidate, pair of `all_pairs`)."""

    candidates: tuple[str, ...]
    families: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...]
    glide_m: np.ndarray
    turn_m: np.ndarray
    gain: np.ndarray
    measures: dict[str, np.ndarray]
    all_pairs: tuple[tuple[str, str], ...]
    around: dict[str, np.ndarray]


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError for a load line off the steel, and as checked_plan."""
    request, fields = one_setting(read_request(rest)), Fields(own, "")
    plan = checked_plan(request, fields)
    fields.done()
    for key, axis, values in zip(KEYS, ("glide", "turn"), (plan.glide_m, plan.turn_m)):
        aheads = [0.0, *(ahead for _, ahead in followers(request.settings[0], axis))]
        for case in request.cases:
            for line in (min(values) + min(aheads), max(values) + max(aheads)):
                check_line(float(line), case.candidate, key)
    return plan


def checked_plan(request: Request, fields: Fields) -> Plan:
    """The map that `glide_lines` and `turn_lines` ask for. Raises BladeError for no pair, or for too many places."""
    states = request.settings[0].states
    glide, turn = (
        with_stated(_read_range(fields.inner(key)), states[axis].line_m) for key, axis in zip(KEYS, ("glide", "turn"))
    )
    places = len(request.cases) * len(crossed_pairs(request)) * len(glide) * len(turn)
    if places > MOST_PLACES:
        raise BladeError(
            f"glide_lines, turn_lines: {places} places over all candidates and pairs; use smaller counts, for at most "
            f"{MOST_PLACES}."
        )
    return Plan(request, glide, turn)


def crossed_pairs(request: Request) -> tuple[tuple[str, str], ...]:
    """The declared pairs of one glide and one turn or forefoot measure. Raises BladeError when there is none."""
    pairs = tuple(p for p in static_pairs(request.pairs) if {_axis(n) for n in p} == {"glide", "turn"})
    if not pairs:
        raise BladeError("pairs: a stance map needs a pair of one glide measure and one turn or forefoot measure.")
    return pairs


def _read_range(fields: Fields) -> np.ndarray:
    """Evenly spaced places, m, from `from`, `to` and `count`."""
    start, stop, count = fields.quantity("from", "m"), fields.quantity("to", "m"), fields.count("count", 2, 201)
    fields.done()
    return np.linspace(start, stop, count)


def with_stated(lines_m: np.ndarray, stated_m: float) -> np.ndarray:
    """The places of an axis, m, with the stated load line among them, in its place or for one that is hardly apart."""
    others = lines_m[np.abs(lines_m - stated_m) > SAME_LINE_M]
    return np.sort(np.append(others, stated_m))


def run(plan: Plan, workers: Workers, progress: Progress) -> StanceMap:
    """Frontier gain G over glide x turn load line, and at the stated stance over other surroundings.

    A measure of the glide state depends on the glide line only, one of turn or forefoot pivot on the turn line only,
    so each is computed along its own axis and the map is put together from both.
    """
    request = plan.request
    candidates, pairs, reference = request.candidates, crossed_pairs(request), request.settings[0].reference
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    likes = [runner_like(candidate, reference) for candidate in candidates]
    spans = {like: continued(radii, [r for c, its in zip(candidates, likes) if its == like for r in c.recipe.radii_m])
             for like in dict.fromkeys(likes)}  # fmt: skip
    singles = [single_radius(like, r) for like, span in spans.items() for r in span]
    table = _along_lines(plan, (*candidates, *singles), pairs, workers, progress)
    begins = dict(zip(spans, len(candidates) + np.cumsum([0, *map(len, spans.values())])))
    lines = [(int(begins[like]), spans[like]) for like in likes]
    gain = _crossed_gains(table, pairs, lines, radii, [c.recipe for c in candidates])
    families = tuple(x.recipe.family for x in candidates)
    measures = {name: values[:, : len(candidates)] for name, values in table.items()}
    around = gains_around(request, workers, progress)
    names = tuple(x.name for x in candidates)
    return StanceMap(
        names, families, pairs, plan.glide_m, plan.turn_m, gain, measures, static_pairs(request.pairs), around
    )


def _along_lines(plan: Plan, blades: Sequence[Candidate], pairs, workers: Workers, progress: Progress) -> dict:
    """Measure to its values (line, blade) along the axis that it depends on."""
    names, setting, table = list(dict.fromkeys(n for p in pairs for n in p)), plan.request.settings[0], {}
    for axis, lines in (("glide", plan.glide_m), ("turn", plan.turn_m)):
        mine = tuple(n for n in names if _axis(n) == axis)
        there = [standing_at(setting, axis, float(line)) for line in lines]
        table |= dict(zip(mine, np.moveaxis(workers.map(at_stance, there, (blades, mine), progress), 2, 0)))
    return {name: table[name] for name in names}


def _crossed_gains(
    table: dict[str, np.ndarray], pairs, lines: list[tuple[int, np.ndarray]], radii: np.ndarray,
    recipes: Sequence[Recipe],
) -> np.ndarray:  # fmt: skip
    """(candidate, pair, glide, turn) gains; lines: where the single radii that each candidate is held against begin
    among the blades of the table, and which they are, m; radii: as stated, m."""
    count = {axis: next(len(v) for n, v in table.items() if _axis(n) == axis) for axis in ("glide", "turn")}
    gain = np.full((len(recipes), len(pairs), count["glide"], count["turn"]), math.nan)
    for g, t in np.ndindex(count["glide"], count["turn"]):
        here = {name: values[g if _axis(name) == "glide" else t] for name, values in table.items()}
        held = {k: HeldLine(radii, span, {n: v[k : k + len(span)] for n, v in here.items()}) for k, span in lines}
        for i, (k, _) in enumerate(lines):
            for p, pair in enumerate(pairs):
                costs = [float(cost(name, here[name][i])) for name in pair]
                gain[i, p, g, t] = held[k].gain(pair, costs, recipes[i]).gain
    return gain


def standing_at(setting: Setting, axis: str, line_m: float) -> Setting:
    """The setting with the skater's glide or turn load line put elsewhere, and all that move with it by as much.

    At the stated line every state is as stated: a skater who turns further forward pivots further forward.
    """
    moved = {axis: 0.0} | dict(followers(setting, axis))
    states = {
        name: replace(s, line_m=line_m + moved[name]) if name in moved else s for name, s in setting.states.items()
    }
    return replace(setting, states=states, scenarios={})


def stated_place(plan: Plan, result: StanceMap) -> tuple[int, int]:
    """(glide, turn) place of the stated stance on the map."""
    states = plan.request.settings[0].states
    return tuple(
        int(np.argmin(np.abs(lines - states[axis].line_m)))
        for axis, lines in (("glide", result.glide_m), ("turn", result.turn_m))
    )


def followers(setting: Setting, axis: str) -> list[tuple[str, float]]:
    """(state, how far its load line is ahead of the axis's own, m) of all other states that move along an axis."""
    own = setting.states[axis].line_m
    return [(n, setting.states[n].line_m - own) for n, its in AXES.items() if its == axis and n != axis]


def at_stance(shared: tuple[Sequence[Candidate], tuple[str, ...]], setting: Setting) -> np.ndarray:
    """(blade, measure) measures of all blades under one setting. What a worker does."""
    blades, names = shared
    return np.array([statics(blade, setting, names) for blade in blades])


def gains_around(request: Request, workers: Workers = HERE, progress: Progress = silent) -> dict[str, np.ndarray]:
    """Frontier gain at the stated stance over mass, ice temperature and hollow, (value, candidate, pair) each."""
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    shared = request.candidates, replace(request.settings[0], scenarios={}), static_pairs(request.pairs), radii
    places = [(name, float(value)) for name, (values, _) in SURROUNDINGS.items() for value in values]
    blocks = dict(zip(places, workers.map(gains_at, places, shared, progress)))
    return {name: np.array([blocks[p] for p in places if p[0] == name]) for name in SURROUNDINGS}


def gains_at(shared: tuple, place: tuple[str, float]) -> np.ndarray:
    """(candidate, pair) frontier gain with one input put elsewhere. What a worker does.

    nan where there is nothing to compute: ice above freezing, a skater too light for the skate.
    """
    (candidates, setting, pairs, radii), (name, value) = shared, place
    try:
        varied = varied_setting(setting, {name: value})
        blades = [varied_candidate(x, {name: value}) for x in candidates]
    except BladeError:
        return np.full((len(candidates), len(pairs)), math.nan)
    names = list(dict.fromkeys(n for p in pairs for n in p))
    table = np.array([statics(x, varied, names) for x in blades])
    return gains(blades, {n: table[:, j] for j, n in enumerate(names)}, pairs, radii, varied)


def _axis(name: str) -> str:
    """The load line that a measure depends on; the name of its state where it is on no axis of the map."""
    return AXES.get(REGISTRY[name].state, REGISTRY[name].state)
