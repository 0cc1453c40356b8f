"""Where must the skater stand: frontier gain over load lines, and over mass, ice temperature and hollow."""

import math
from dataclasses import replace

import numpy as np

from experiments.cases import Request
from experiments.crew import HERE, Crew
from experiments.fields import Fields
from experiments.scoring import cost, frontier_gain
from experiments.store import h5_file, put, scale
from experiments.studies import LINE_RADII
from experiments.variants import (
    gains,
    runner_like,
    single_radius,
    static_pairs,
    statics,
    varied_candidate,
    varied_setting,
)
from sim.errors import BladeError
from sim.measures import REGISTRY
from sim.trial import Setting

MOST_PLACES = 20_000_000  # candidates x pairs x glide x turn lines


def read_stance(own: dict, request: Request):
    """Check the request of a stance map; returns what runs it."""
    fields = Fields(own, "")
    lines = [read_range(fields.inner(key)) for key in ("glide_lines", "turn_lines")]
    fields.done()
    for key, values in zip(("glide_lines", "turn_lines"), lines):
        for case in request.cases:
            half = case.candidate.recipe.length_m / 2
            if max(abs(values)) >= half:
                raise BladeError(
                    f"{key}: {max(abs(values)) * 1e3:.0f} mm is off the steel; stay within +-{half * 1e3:.0f} mm."
                )
    mapped(request, *lines)
    return lambda folder, on_chunk: stance_map(request, *lines, folder, on_chunk)


def mapped(request: Request, glide, turn) -> None:
    """Refuse a map of no pair, or of more places than fit in memory. Raises BladeError."""
    places = len(request.cases) * len(crossed_pairs(request)) * len(glide) * len(turn)
    if places > MOST_PLACES:
        raise BladeError(
            f"glide_lines, turn_lines: {places} places over all candidates and pairs; use smaller counts, for at most "
            f"{MOST_PLACES}."
        )


def crossed_pairs(request: Request) -> list[tuple[str, str]]:
    """The declared pairs of one glide and one turn or forefoot measure. Raises BladeError when there is none."""
    pairs = [p for p in static_pairs(request.pairs) if {_axis(n) for n in p} == {"glide", "turn"}]
    if not pairs:
        raise BladeError("pairs: a stance map needs a pair of one glide measure and one turn or forefoot measure.")
    return pairs


def read_range(fields: Fields) -> np.ndarray:
    """Evenly spaced places, m, from `from`, `to` and `count`."""
    start, stop, count = fields.quantity("from", "m"), fields.quantity("to", "m"), fields.count("count", 2, 201)
    fields.done()
    return np.linspace(start, stop, count)


def _standing(setting: Setting, glide=None, turn=None) -> Setting:
    """The setting with the skater's glide or turn load line (and the forefoot pivot with it) put elsewhere."""
    states = dict(setting.states)
    if glide is not None:
        states["glide"] = replace(states["glide"], line_m=float(glide))
    if turn is not None:
        states["turn"] = replace(states["turn"], line_m=float(turn))
        states["pivot_forefoot"] = replace(states["pivot_forefoot"], line_m=float(turn))
    return replace(setting, states=states, scenarios={})


def at_stance(shared, here) -> np.ndarray:
    """(blade, measure) measures of all blades under one setting. What a worker does."""
    blades, names = shared
    return np.array([statics(blade, here, names) for blade in blades])


def stance_map(request: Request, glide, turn, folder, on_chunk) -> dict:
    """Frontier gain G over glide x turn load line, (candidate, pair, glide, turn); written to results.h5.

    A measure of the glide state depends on the glide line only, one of turn or forefoot pivot on the turn line only,
    so each is computed along its own axis and the map is put together from both.
    """
    setting = request.settings[0]
    candidates = [case.candidate for case in request.cases if case.setting is setting]
    pairs = crossed_pairs(request)
    names = list(dict.fromkeys(n for p in pairs for n in p))
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    likes = [runner_like(candidate, setting.reference) for candidate in candidates]
    start = {like: len(candidates) + i * len(radii) for i, like in enumerate(dict.fromkeys(likes))}
    blades = [*candidates, *(single_radius(like, r) for like in start for r in radii)]
    table = {}
    for axis, values in (("glide", glide), ("turn", turn)):
        mine = tuple(n for n in names if _axis(n) == axis)
        there = [_standing(setting, **{axis: line}) for line in values]
        table |= dict(zip(mine, np.moveaxis(folder.crew.map(at_stance, there, (tuple(blades), mine), on_chunk), 2, 0)))
    gain = np.full((len(candidates), len(pairs), len(glide), len(turn)), math.nan)
    n = len(candidates)
    for p, pair in enumerate(pairs):
        for g in range(len(glide)):
            for t in range(len(turn)):
                costs = np.column_stack([cost(m, table[m][g if _axis(m) == "glide" else t]) for m in pair])
                for i in range(n):
                    first = start[likes[i]]
                    gain[i, p, g, t] = frontier_gain(costs[i], radii, costs[first : first + len(radii)]).gain
    made = {"candidates": [x.name for x in candidates], "families": [x.recipe.family for x in candidates],
            "pairs": pairs, "glide": glide, "turn": turn, "gain": gain}  # fmt: skip
    made["sweep"], made["sweep_pairs"] = sweep(request, folder.crew, on_chunk), static_pairs(request.pairs)
    with h5_file(folder.path / "results.h5", folder.attributes()) as file:
        group = file.create_group("stance")
        axes = [scale(group, "candidate", np.array(made["candidates"], dtype=object)),
                scale(group, "pair", np.array([" | ".join(q) for q in pairs], dtype=object)),
                scale(group, "glide_line", glide, "m"), scale(group, "turn_line", turn, "m")]  # fmt: skip
        put(group, "gain", gain, "1", "frontier gain G", *axes)
        for name in names:
            values = table[name][:, :n]
            along = axes[2 if _axis(name) == "glide" else 3]
            put(group, name, values, REGISTRY[name].unit, REGISTRY[name].label, along, axes[0])
        for name, block in made["sweep"].items():
            _write_sweep(file.create_group(f"over_{name}"), name, block, made)
    return made


# what else may differ between skaters and rinks: input of experiments/variants, its values, unit on paper
SURROUNDINGS = {
    "mass_factor": (np.linspace(0.6, 1.4, 9), "times the skater's mass"),
    "temperature_shift": (np.linspace(-6.0, 4.0, 6), "K warmer than stated"),
    "hollow_factor": (np.linspace(0.75, 1.75, 9), "times the hollow radius"),
}


def sweep(request: Request, crew: Crew = HERE, on_chunk=lambda done, total: None) -> dict[str, np.ndarray]:
    """Frontier gain at the stated stance over mass, ice temperature and hollow, (value, candidate, pair) each."""
    candidates = tuple(case.candidate for case in request.cases if case.setting is request.settings[0])
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    shared = candidates, replace(request.settings[0], scenarios={}), static_pairs(request.pairs), radii
    places = [(name, float(value)) for name, (values, _) in SURROUNDINGS.items() for value in values]
    blocks = dict(zip(places, crew.map(among, places, shared, on_chunk)))
    return {name: np.array([blocks[p] for p in places if p[0] == name]) for name in SURROUNDINGS}


def among(shared, place) -> np.ndarray:
    """(candidate, pair) frontier gain with one input put elsewhere. What a worker does."""
    (candidates, setting, pairs, radii), (name, value) = shared, place
    try:
        here = varied_setting(setting, {name: value})
        made = [varied_candidate(x, {name: value}) for x in candidates]
    except BladeError:  # ice above freezing, a skater too light for the skate: nothing to compute there
        return np.full((len(candidates), len(pairs)), math.nan)
    names = list(dict.fromkeys(n for p in pairs for n in p))
    table = np.array([statics(x, here, names) for x in made])
    return gains(made, {n: table[:, j] for j, n in enumerate(names)}, pairs, radii, here)


def _write_sweep(group, name, block, made):
    unit = "K" if name == "temperature_shift" else "1"
    value = scale(group, name, SURROUNDINGS[name][0], unit, SURROUNDINGS[name][1])
    candidate = scale(group, "candidate", np.array(made["candidates"], dtype=object))
    pair = scale(group, "pair", np.array([" | ".join(p) for p in made["sweep_pairs"]], dtype=object))
    put(group, "gain", block, "1", "frontier gain G", value, candidate, pair)


def _axis(name: str) -> str:
    state = REGISTRY[name].state
    return {"glide": "glide", "turn": "turn", "pivot_forefoot": "turn"}.get(state, state)
