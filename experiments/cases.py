"""From a config to checked, typed cases, before any work starts."""

import math
from dataclasses import dataclass, field

import numpy as np

from experiments.crew import read_workers
from experiments.fields import Fields, radius
from experiments.grids import MOST_CASES, expand, label
from experiments.scoring import Weighting, read_pairs, read_weighting
from sim.blade.recipe import FAMILIES, Recipe, Sweep
from sim.blade.section import Section
from sim.errors import BladeError
from sim.ice.contact import Law
from sim.ice.ice import Ice
from sim.measures import REGISTRY, ROLLED_STATES
from sim.skater.body import GRAVITY, Skater
from sim.skater.movement import Scenario
from sim.trial import Candidate, Setting, State

STATES = ("glide", "pivot_forefoot", "pivot_heel", "turn", "push")
DETAILS = ("full", "measures", "static")  # with curves, contact and series; without; and without rolling
MOST_FULL = 300
MOST_NAMED = 1_000  # skaters, or scenarios
MOST_STEPS = 200_000  # of one scenario: 100 s at 0.5 ms


@dataclass(frozen=True)
class Case:
    """One candidate under one setting; `index` is its place in the run."""

    index: int
    candidate: Candidate
    setting: Setting


@dataclass(frozen=True)
class Request:
    """A whole checked run: cases in order, the single radii of the comparison line, and how to run."""

    cases: tuple[Case, ...]
    settings: tuple[Setting, ...]
    line_m: tuple[float, ...]
    scheme: Weighting
    pairs: tuple[tuple[str, str], ...]
    workers: int | str | None
    figures: bool
    sources: tuple[str, ...] = field(default=())
    detail: str = "full"

    @property
    def rolled(self) -> bool:
        """Whether movements are rolled."""
        return self.detail != "static"

    @property
    def measures(self) -> tuple[str, ...]:
        """Names of the measures asked for."""
        return tuple(name for name, m in REGISTRY.items() if self.rolled or m.state not in ROLLED_STATES)


def request(config: dict) -> Request:
    """Check a composed config and build its cases. Raises BladeError with one sentence for the first fault."""
    top = Fields(config, "")
    for key in ("kind", "results_dir"):
        top.text(key)
    for key in ("candidates_from", "resume"):  # dealt with before
        top.has(key)
    _check_blade(top.inner("blade"))
    blade, ice, (law, damping) = top.raw("blade"), read_ice(top.inner("ice")), _law(top.inner("law"))
    scenarios = {name: _scenario(name, Fields(v, f"scenarios.{name}")) for name, v in _named(top, "scenarios")}
    detail = top.choice("detail", DETAILS) if top.has("detail") else "full"
    kept = {"full": tuple(scenarios), "measures": ROLLED_STATES, "static": ()}[detail]
    scenarios = {name: scenario for name, scenario in scenarios.items() if name in kept}
    states, lines = _states(top.inner("states"))
    line, scheme = _line(top.inner("radius_line")), read_weighting(top.inner("weighting"))
    pairs = read_pairs(top)
    skaters = _named(top, "skaters") or [("skater", top.raw("skater"))]
    entries = expand(top.listed("candidates"), MOST_CASES // len(skaters))
    settings, cases = [], []
    for key, value in skaters:
        where = f"skaters.{key}" if key != "skater" else key
        skater, scale, length = _skater(Fields(value, where), blade)
        sized = dict(blade, length=length) if length else blade
        reference = _reference(top.raw("reference"), sized)
        setting = Setting(
            ice, law, skater, {k: _scaled(s, scale) for k, s in states.items()},
            {k: _scaled_scenario(s, scale) for k, s in scenarios.items()}, reference,
            tuple(x * scale for x in lines), damping,
        )  # fmt: skip
        settings.append(setting)
        for i, (entry, where) in enumerate(entries):
            cases.append(Case((len(settings) - 1) * len(entries) + i, candidate(entry, sized, where), setting))
    _distinct(cases[: len(entries)])
    people = [setting.skater.name for setting in settings]
    if len(set(people)) < len(people):
        raise BladeError(f"skaters: two are named {max(people, key=people.count)!r}; give each a name of its own.")
    for case in cases:
        on_steel(case)
    workers, figures = read_workers(top), top.flag("figures")
    result = Request(tuple(cases), tuple(settings), line, scheme, pairs, workers, figures, (ice.source,), detail)
    _can_be_had(result)
    top.has("skater")
    top.done()
    return result


def _can_be_had(asked: Request) -> None:
    """Refuse what `detail` leaves out, and more series than can be held."""
    if asked.detail == "full" and len(asked.cases) > MOST_FULL:
        raise BladeError(
            f"detail: {len(asked.cases)} cases with all their series would take gigabytes; write detail=measures, or "
            "detail=static for static measures only."
        )
    if not asked.rolled:
        names = [*asked.scheme.weights, *(name for pair in asked.pairs for name in pair)]
        rolled = [name for name in names if REGISTRY[name].state in ROLLED_STATES]
        if rolled:
            raise BladeError(
                f"detail: static leaves out {rolled[0]}; leave it out of weighting and pairs, or write detail=measures."
            )


def candidate(entry, blade: dict, where: str) -> Candidate:
    """A candidate from its entry, with the blade's defaults for what it does not say."""
    fields = Fields(entry, where)
    own = Fields({**blade, **{k: v for k, v in fields.mapping.items() if k in blade}}, where)
    family = fields.choice("family", FAMILIES)
    radii = tuple(radius(v, f"{where}.radii[{i}]") for i, v in enumerate(fields.listed("radii")))
    shares = fields.numbers("shares", -1e9, 1e9) if fields.has("shares") else ()
    name = fields.text("name", 60) if fields.has("name") else label(family, radii)
    recipe = Recipe(
        name, family, radii, shares, own.quantity("length", "m"), own.quantity("blend", "m"),
        own.quantity("level", "m"), own.quantity("pitch", "rad"), _sweep(own.inner("heel_sweep")),
        _sweep(own.inner("toe_sweep")),
    )  # fmt: skip
    section = Section(own.quantity("thickness", "m"), own.radius("hollow"), own.quantity("inside_edge_proud", "m"))
    for key in blade:
        fields.has(key)
    fields.done()
    result = Candidate(name, recipe, section)
    _ = result.curve  # refuses what no curve can be made of
    return result


def _reference(entry, blade: dict) -> Candidate:
    made = candidate(entry, blade, "reference")
    named = isinstance(entry, dict) and entry.get("name")
    return made if named else Candidate(f"{made.name} reference", made.recipe, made.section)


def _distinct(cases):
    seen = set()
    for case in cases:
        if case.candidate.name in seen:
            raise BladeError(f"candidates: {case.candidate.name!r} stands twice; give one of them another name.")
        seen.add(case.candidate.name)


def on_steel(case: Case) -> None:
    """Refuse a load line that lies off a candidate's runner or the reference's."""
    for one in (case.candidate, case.setting.reference):
        half = one.recipe.length_m / 2
        lines = {f"states.{k}.line": v.line_m for k, v in case.setting.states.items()}
        lines |= {f"scenarios.{k}.line": max(v.line_m, key=abs) for k, v in case.setting.scenarios.items()}
        lines["states.pitch_bias"] = max(case.setting.bias_lines_m, key=abs)
        for where, line in lines.items():
            if abs(line) >= half:
                raise BladeError(
                    f"{where}: a load line of {line * 1e3:.0f} mm is off the steel of {one.name!r}; "
                    f"stay within +-{half * 1e3:.0f} mm of mid-runner."
                )


def _named(top: Fields, key: str) -> list[tuple[str, dict]]:
    value = top.raw(key)
    if not isinstance(value, dict):
        raise BladeError(f"{key}: expected named entries (name: values).")
    if len(value) > MOST_NAMED:
        raise BladeError(f"{key}: {len(value)} entries; use at most {MOST_NAMED}.")
    return list(value.items())


def _check_blade(f: Fields) -> None:
    """Read the blade's defaults once, so that a fault in them is named as theirs and not as a candidate's."""
    for key, unit in (("length", "m"), ("blend", "m"), ("level", "m"), ("pitch", "rad"), ("thickness", "m")):
        f.quantity(key, unit)
    if not f.quantity("length", "m") > 0:
        raise BladeError(f"{f.path('length')}: a length above 0 is needed; use 100 mm to 600 mm.")
    f.radius("hollow")
    f.quantity("inside_edge_proud", "m")
    _sweep(f.inner("heel_sweep"))
    _sweep(f.inner("toe_sweep"))
    f.done()


def _sweep(fields: Fields) -> Sweep:
    result = Sweep(fields.quantity("length", "m"), fields.radius("radius"))
    fields.done()
    return result


# wide bounds: a factor of a hundred and more about any ice, so that no number runs away
_ICE = {
    "hardness_at_zero": ("hardness_at_zero_pa", 1e5, 1e9, "Pa"),
    "hardness_per_kelvin": ("hardness_slope_pa_per_k", 0, 1e8, "Pa"),
    "modulus": ("modulus_pa", 1e8, 1e12, "Pa"), "viscosity": ("viscosity_pa_s", 1e-5, 1, "Pa s"),
    "density": ("density_kg_m3", 10, 1e5, "kg/m^3"), "latent_heat": ("latent_j_kg", 1e3, 1e8, "J/kg"),
    "conductivity": ("conductivity_w_mk", 0, 1e3, "W/m/K"), "diffusivity": ("diffusivity_m2_s", 1e-9, 1e-3, "m^2/s"),
}  # fmt: skip


def read_ice(f: Fields) -> Ice:
    result = Ice(
        f.text("name"), f.text("source"), f.quantity("temperature", "degC"), f.quantity("hardness_at_zero", "Pa"),
        f.quantity("hardness_per_kelvin", "Pa"), f.quantity("modulus", "Pa"), f.number("poisson", 0, 0.49),
        f.quantity("viscosity", "Pa*s"), f.quantity("density", "kg/m^3"), f.quantity("latent_heat", "J/kg"),
        f.quantity("conductivity", "W/m/K"), f.quantity("diffusivity", "m^2/s"),
    )  # fmt: skip
    f.done()
    for key, (name, least, most, unit) in _ICE.items():
        value = getattr(result, name)
        if not least <= value <= most:
            raise BladeError(f"{f.path(key)}: {value:g} {unit} is not of any ice; use {least:g} to {most:g} {unit}.")
    return result


def _law(f: Fields) -> tuple[Law, float]:
    law = Law(
        float(f.choice("contact", ("sliding", "standing")) == "standing"),
        float(f.flag("rebound")),
        float(f.choice("rear_width", ("local", "full")) == "full"),
        float(f.choice("pressure", ("uniform", "slip_line")) == "slip_line"),
        float(f.flag("film")),
        f.number("scuff", 0, 1),
    )
    damping = f.quantity("contact_damping", "s/m")
    if not 0 <= damping <= 100:
        raise BladeError(f"law.contact_damping: {damping:g} s/m; use 0 s/m to 100 s/m.")
    f.done()
    return law, damping


def _skater(f: Fields, blade) -> tuple[Skater, float, str | None]:
    """(skater, scale of load lines, own blade length or None)."""
    tall = _tallness(f)
    body_height = f.quantity("body_height", "m") * tall
    skater = Skater(
        f.text("name", 40), f.quantity("mass", "kg"), f.quantity("skate_mass", "kg"),
        f.quantity("skate_inertia", "kg*m^2"), f.quantity("skate_x", "m"), f.quantity("skate_height", "m"),
        f.quantity("ankle_x", "m"), f.quantity("ankle_height", "m"), body_height,
        f.quantity("body_inertia", "kg*m^2") * tall**2, *_ankle(f, body_height), f.quantity("foot_length", "m") * tall,
    )  # fmt: skip
    scale, length = 1.0, None
    if f.has("blade_length"):
        length = f.raw("blade_length")
        scale = f.quantity("blade_length", "m") / Fields(blade, "blade").quantity("length", "m")
        if not 0.3 < scale < 3:
            raise BladeError(f"{f.path('blade_length')}: {length!r} is no length for a skate; use 100 mm to 600 mm.")
    f.done()
    return skater, scale, length


def _tallness(f: Fields) -> float:
    """Height over the height that the body's lengths were stated for; 1 when no height is given."""
    usual = f.quantity("standing_height", "m") if f.has("standing_height") else math.nan
    if not f.has("height"):
        return 1.0
    height = f.quantity("height", "m")
    if not 0.8 <= height <= 2.3:
        raise BladeError(f"{f.path('height')}: {height:g} m is no skater's height; use 0.8 m to 2.3 m.")
    if not usual > 0.5:
        raise BladeError(f"{f.path('standing_height')}: state for which height the body's lengths are, such as 1.78 m.")
    return height / usual


def _ankle(f: Fields, body_height: float) -> tuple[float, float]:
    """Ankle stiffness and damping: as stated, else as multiples that follow the skater's mass and height."""
    ratio = f.number("ankle_stiffness_over_mgh", 0.01, 100) if f.has("ankle_stiffness_over_mgh") else math.nan
    time = f.quantity("ankle_damping_time", "s") if f.has("ankle_damping_time") else math.nan
    above = f.quantity("mass", "kg") - f.quantity("skate_mass", "kg")
    stiffness = ratio * above * GRAVITY * body_height
    if f.has("ankle_stiffness"):
        stiffness = f.quantity("ankle_stiffness", "N*m/rad")
    damping = f.quantity("ankle_damping", "N*m*s/rad") if f.has("ankle_damping") else time * stiffness
    if math.isnan(stiffness) or math.isnan(damping):
        raise BladeError(
            f"{f.where}: state ankle_stiffness or ankle_stiffness_over_mgh, and ankle_damping or its time."
        )
    return stiffness, damping


def _states(f: Fields) -> tuple[dict[str, State], tuple[float, ...]]:
    states = {}
    for name in STATES:
        s = f.inner(name)
        try:
            if s.has("path_radius"):
                path, speed = s.quantity("path_radius", "m"), s.quantity("speed", "m/s")
                states[name] = State(s.quantity("line", "m"), speed_m_s=speed, path_radius_m=path)
            else:
                speed = s.quantity("speed", "m/s") if s.has("speed") else 0.0
                load = s.number("load", 0.01, 6)
                states[name] = State(s.quantity("line", "m"), s.quantity("lean", "rad"), load, speed)
        except BladeError as refusal:
            text = str(refusal)
            raise BladeError(text if text.startswith("states") else f"states.{name}: {text}") from None
        s.done()
    bias = f.inner("pitch_bias")
    start, stop, count = bias.quantity("from", "m"), bias.quantity("to", "m"), bias.count("count", 2, 201)
    bias.done()
    f.done()
    return states, tuple(np.linspace(start, stop, count))


def _scenario(name: str, f: Fields) -> Scenario:
    at, line = f.numbers("at", 0, 1), f.quantities("line", "m")
    common = dict(
        name=name, at=at, line_m=line, speed_m_s=f.quantity("speed", "m/s"), mode=f.choice("mode", ("guided", "free"))
    )
    common["time_step_s"] = f.quantity("time_step", "s")
    if f.has("path_radius"):
        common |= dict(path_radius_m=f.quantity("path_radius", "m"), heading_rad=f.quantity("heading", "rad"))
        common["ramp_m"] = f.quantity("ramp", "m")
    else:
        common |= dict(duration_s=f.quantity("duration", "s"), load_bw=f.numbers("load", 0, 6))
        common["lean_rad"] = f.quantities("lean", "rad")
    for key, unit, target in (
        ("impulse", "N*s", "impulse_ns"), ("impulse_above", "m", "impulse_above_m"),
        ("impulse_at", "s", "impulse_at_s"), ("impulse_for", "s", "impulse_for_s"),
    ):  # fmt: skip
        if f.has(key):
            common[target] = f.quantity(key, unit)
    f.done()
    made = Scenario(**common)
    lasts = made.path_m / made.speed_m_s if made.on_path else made.duration_s
    if not lasts / made.time_step_s <= MOST_STEPS:
        key = "heading" if made.on_path else "duration"
        raise BladeError(
            f"{f.path('time_step')}: {lasts:.3g} s at {made.time_step_s:.3g} s are more than {MOST_STEPS} steps; use a "
            f"longer time step (up to 0.5 ms) or a smaller {key}."
        )
    return made


def _line(f: Fields) -> tuple[float, ...]:
    start, stop, count = f.radius("from"), f.radius("to"), f.count("count", 2, 2001)
    f.done()
    if not start < stop < math.inf:
        raise BladeError("radius_line: 'from' must be a shorter radius than 'to', and neither flat.")
    return tuple(np.geomspace(start, stop, count))


def _scaled(state: State, scale: float) -> State:
    return State(state.line_m * scale, state.lean_rad, state.load_bw, state.speed_m_s, state.path_radius_m)


def _scaled_scenario(scenario: Scenario, scale: float) -> Scenario:
    return Scenario(**{**scenario.__dict__, "line_m": tuple(x * scale for x in scenario.line_m)})
