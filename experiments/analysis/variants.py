"""A candidate and its setting under changed inputs: what intervals, maps and model-form doubt are made of."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from experiments.analysis.frontier import Gain, Line, continued, cost
from experiments.request.uncertainty import GRINDING, TRACE
from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.errors import BladeError
from sim.measures import REGISTRY, ROLLED_STATES, evaluate
from sim.trial import Candidate, Setting, State, Trial

OF_LAW = {"rebound_factor": "rebound_factor", "steel_sink": "sink", "roughness": "rough", "scuff": "scuff"}
LINE_RADII = 33  # single radii of a line from end to end as stated, in studies of many settings; continued: 49 or more


def varied_setting(setting: Setting, inputs: dict[str, float]) -> Setting:
    """The setting with the inputs that all candidates share; the reference gets the section's changes too."""
    get = inputs.get
    ice = replace(
        setting.ice,
        hardness_factor=setting.ice.hardness_factor * get("hardness_factor", 1.0),
        temperature_c=setting.ice.temperature_c + get("temperature_shift", 0.0),
    )
    law = setting.law._replace(**{field: float(inputs[key]) for key, field in OF_LAW.items() if key in inputs})
    skater = replace(
        setting.skater,
        mass_kg=setting.skater.mass_kg * get("mass_factor", 1.0),
        ankle_stiffness=setting.skater.ankle_stiffness * get("ankle_stiffness_factor", 1.0),
        passive_share=get("passive_share", setting.skater.passive_share),
    )
    states = {name: _varied_state(name, state, inputs) for name, state in setting.states.items()}
    scenarios = {
        name: s if s.mode == "free" else replace(s, guide_rate_rad_s=get("guide_rate", s.guide_rate_rad_s))
        for name, s in setting.scenarios.items()
    }
    reference = varied_candidate(setting.reference, {k: v for k, v in inputs.items() if k not in GRINDING})
    return replace(setting, ice=ice, law=law, skater=skater, states=states, scenarios=scenarios, reference=reference)


# whose shift moves a state's load line; and the inputs that change its lean, load, speed and angle to the travel
LINE_OF = {
    "glide": "glide", "stop": "glide", "stop_across": "glide", "turn": "turn", "fast_turn": "turn",
    "edge_change": "turn", "push": "push", "start_push": "push", "pivot_forefoot": "pivot", "pivot_heel": "pivot",
}  # fmt: skip
FORM_OF = {
    "start_push": {"speed": "start_speed_factor", "turned": "start_angle_shift"}, "stop": {"lean": "stop_lean_shift"},
    "stop_across": {"lean": "across_lean_shift", "load": "across_load_factor"},
    "edge_change": {"lean": "edge_lean_shift", "speed": "edge_speed_factor"},
}  # fmt: skip


def _varied_state(name: str, state: State, inputs: dict[str, float]) -> State:
    """A state under its inputs, where it has any. Raises BladeError for one that no skater holds."""
    form = {key: inputs[given] for key, given in FORM_OF.get(name, {}).items() if given in inputs}
    return replace(
        state,
        line_m=state.line_m + inputs.get(f"{LINE_OF[name]}_line_shift", 0.0),
        lean_rad=state.lean_rad + form.get("lean", 0.0),
        load_bw=state.load_bw * form.get("load", 1.0),
        speed_m_s=state.speed_m_s * form.get("speed", 1.0),
        turned_out_rad=state.turned_out_rad + form.get("turned", 0.0),
    )


def drawn_setting(setting: Setting, inputs: dict[str, float]) -> Setting:
    """As `varied_setting`, for inputs that are drawn: a draw warmer than melting is ice at 0 deg C."""
    shift = min(inputs.get("temperature_shift", 0.0), -setting.ice.temperature_c)
    return varied_setting(setting, inputs | {"temperature_shift": shift})


def varied_candidate(candidate: Candidate, inputs: dict[str, float]) -> Candidate:
    """The candidate as ground with these errors, on runners and a hollow of this draw.

    A measured blade has no errors of grinding, but those of its trace.
    """
    get, recipe = inputs.get, candidate.recipe
    if candidate.reading is not None:
        drawn = candidate.reading.drawn([get(f"{TRACE}{j}", 0.0) for j in range(candidate.reading.unknowns)])
        recipe = replace(recipe, radii_m=drawn.radii_m, shares=drawn.shares, blend_m=drawn.blend_m)
    elif any(k in inputs for k in GRINDING):
        recipe = replace(
            recipe,
            radii_m=tuple(r * get("radius_factor", 1.0) for r in recipe.radii_m),
            shares=_shifted_shares(recipe, get("boundary_shift", 0.0)),
            level_m=recipe.level_m + get("level_shift", 0.0),
        )
    section = Section(
        candidate.section.thickness_m + get("thickness_shift", 0.0),
        candidate.section.hollow_m * get("hollow_factor", 1.0),
        candidate.section.proud_m + get("edge_shift", 0.0),
        candidate.section.height_m + get("height_shift", 0.0),
        candidate.section.span_m * get("span_factor", 1.0),
    )
    return replace(candidate, recipe=recipe, section=section)


def _shifted_shares(recipe: Recipe, shift: float) -> tuple[float, ...]:
    """Zone shares with every inner boundary moved toward the toe: the heel zone grows, the toe zone shrinks."""
    if shift == 0.0 or len(recipe.zones) < 2:
        return recipe.shares
    lengths = [zone.length_m for zone in recipe.zones]
    lengths[0] += shift
    lengths[-1] -= shift
    return tuple(lengths)


def runner_like(candidate: Candidate, reference: Candidate) -> Candidate:
    """The reference recipe on the candidate's own runner: what single radii are fairly compared with it.

    The reference itself where length, sweeps, thickness and hollow are the same; another hollow must not pass for a
    better curve.
    """
    own, base = candidate.recipe, reference.recipe
    recipe = replace(base, length_m=own.length_m, heel_sweep=own.heel_sweep, toe_sweep=own.toe_sweep)
    if recipe == base and candidate.section == reference.section:
        return reference
    return Candidate(reference.name, recipe, candidate.section)


def single_radius(like: Candidate, radius_m: float) -> Candidate:
    """A single radius on the runner and hollow of `like`: a point of the single-radius line."""
    recipe = replace(like.recipe, name=f"{radius_m:.4f} m", family="single_radius", radii_m=(radius_m,), shares=())
    return Candidate(recipe.name, recipe, like.section)


def statics(candidate: Candidate, setting: Setting, names: Sequence[str]) -> np.ndarray:
    """Measures in the order of names, SI; nan where refused (a draw that cannot be counts as failed)."""
    try:
        values, _ = evaluate(Trial(candidate, setting), names)
    except BladeError:
        return np.full(len(names), np.nan)
    return np.array([values[name] for name in names])


def line_costs(setting: Setting, radii: np.ndarray, pair: Sequence[str], like: Candidate | None = None) -> np.ndarray:
    """(n, 2) costs of single radii for a pair, on the runner of `like` (the reference's when not given)."""
    like = like or setting.reference
    values = np.array([statics(single_radius(like, r), setting, pair) for r in radii])
    return np.column_stack([cost(name, values[:, i]) for i, name in enumerate(pair)])


def gains(
    blades: Sequence[Candidate],
    values: dict[str, np.ndarray],
    pairs: Sequence[tuple[str, str]],
    radii: np.ndarray,
    setting: Setting,
) -> np.ndarray:
    """Frontier gain G, (blade, pair), each against single radii on its own runner. values[measure]: (blade,).

    radii: (n,) m, of the line; each blade is held against them continued to cover its own radii (`frontier.continued`).
    Blades of one runner share a line; what is said of one does not depend on which others there are.
    """
    if not pairs:  # nothing to hold blades against: building the line would take ten times as long as the blades
        return np.full((len(blades), 0), np.nan)
    groups: dict[Candidate, list[int]] = {}
    for i, blade in enumerate(blades):
        groups.setdefault(runner_like(blade, setting.reference), []).append(i)
    names = list(dict.fromkeys(name for pair in pairs for name in pair))
    out = np.full((len(blades), len(pairs)), np.nan)
    for like, members in groups.items():
        span = continued(radii, [r for i in members for r in blades[i].recipe.radii_m])
        found = np.array([statics(single_radius(like, r), setting, names) for r in span])
        held = HeldLine(radii, span, {name: found[:, j] for j, name in enumerate(names)})
        for i in members:
            for j, pair in enumerate(pairs):
                out[i, j] = held.gain(pair, [float(cost(n, values[n][i])) for n in pair], blades[i].recipe).gain
    return out


def only_radius(recipe: Recipe) -> float:
    """The radius of a blade that is one single radius, m, whatever its family is called; nan where it has several."""
    return recipe.radii_m[0] if len(set(recipe.radii_m)) == 1 else math.nan


class HeldLine:
    """The single radii of one runner, and lines of pairs of costs made of them, each once.

    radii: (n,) m, as stated; span: (m,) m, continued for all blades that are held against it; table: measure to its
    (m,) values.
    """

    def __init__(self, radii: np.ndarray, span: np.ndarray, table: dict[str, np.ndarray]) -> None:
        self.radii, self.span, self.table = radii, span, table
        self.lines: dict[tuple, Line] = {}

    def gain(self, pair: tuple[str, str], candidate: Sequence[float], recipe: Recipe) -> Gain:
        """Frontier gain of (2,) costs of a blade against that part of the line which is there for its radii."""
        reach = continued(self.radii, recipe.radii_m)
        first, last = np.searchsorted(self.span, [reach[0] * (1 - 1e-9), reach[-1] * (1 + 1e-9)])
        key = (pair, int(first), int(last))
        if key not in self.lines:
            costs = _costs(pair, {name: self.table[name][first:last] for name in pair})
            self.lines[key] = Line(self.span[first:last], costs)
        return self.lines[key].gain(candidate, only_radius(recipe))


def _costs(pair: Sequence[str], table: dict[str, np.ndarray]) -> np.ndarray:
    return np.column_stack([cost(name, table[name]) for name in pair])


def static_pairs(pairs: Sequence[tuple[str, str]]) -> tuple[tuple[str, str], ...]:
    """The declared pairs whose measures need no rolling; the others are too slow for many draws."""
    return tuple(p for p in pairs if not any(REGISTRY[name].state in ROLLED_STATES for name in p))
