"""What a blade is used under: ice, law of contact, static states and movements, read from a config."""

from dataclasses import replace

import numpy as np

from experiments.request.fields import Fields
from sim.errors import BladeError
from sim.ice.contact import Law
from sim.ice.ice import Ice
from sim.ice.rebound import HALF_SPACE, NO_RISE, RECTANGLE
from sim.skater.movement import Scenario, smoothing_moves
from sim.trial import Setting, State

STATES = (
    "glide", "pivot_forefoot", "pivot_heel", "turn", "push", "start_push", "stop", "stop_across", "fast_turn",
    "edge_change",
)  # fmt: skip

REBOUNDS = {"half_space": HALF_SPACE, "rectangle": RECTANGLE, "none": NO_RISE}  # names of the forms

MOST_STEPS = 200_000  # of one scenario: 100 s at 0.5 ms

# wide bounds: a factor of a hundred and more about any ice, so that no number runs away
_ICE = {
    "hardness_at_zero": ("hardness_at_zero_pa", 1e5, 1e9, "Pa"),
    "hardness_per_kelvin": ("hardness_slope_pa_per_k", 0, 1e8, "Pa"),
    "modulus": ("modulus_pa", 1e8, 1e12, "Pa"), "viscosity": ("viscosity_pa_s", 1e-5, 1, "Pa s"),
    "density": ("density_kg_m3", 10, 1e5, "kg/m^3"), "latent_heat": ("latent_j_kg", 1e3, 1e8, "J/kg"),
    "conductivity": ("conductivity_w_mk", 0, 1e3, "W/m/K"), "diffusivity": ("diffusivity_m2_s", 1e-9, 1e-3, "m^2/s"),
}  # fmt: skip


def read_ice(f: Fields) -> Ice:
    """A set of ice constants. Raises BladeError for a value that is not of any ice."""
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


def read_law(f: Fields) -> tuple[Law, float]:
    """(switches of the contact law, contact damping in s/m). Raises BladeError."""
    law = Law(
        standing=float(f.choice("contact", ("sliding", "standing")) == "standing"),
        rebound=REBOUNDS[f.choice("rebound", tuple(REBOUNDS))],
        rebound_factor=f.number("rebound_factor", 0, 3),
        rear_full=float(f.choice("rear_width", ("local", "full")) == "full"),
        slip_line=float(f.choice("pressure", ("uniform", "slip_line")) == "slip_line"),
        film=float(f.flag("film")),
        melting=float(f.choice("melting", ("under_pressure", "at_zero")) == "under_pressure"),
        sink=f.quantity("steel_sink", "W/m^2"),
        rough=f.number("roughness", 0, 0.1),
        bending=float(f.flag("bending")),
        rate=f.number("hardness_rate", 0, 0.5),
        scuff=f.number("scuff", 0, 1),
    )
    if not 0 <= law.sink <= 1e6:
        raise BladeError(f"{f.path('steel_sink')}: {law.sink:g} W/m^2; use 0 to 1e6 W/m^2.")
    damping = f.quantity("contact_damping", "s/m")
    if not 0 <= damping <= 100:
        raise BladeError(f"law.contact_damping: {damping:g} s/m; use 0 s/m to 100 s/m.")
    f.done()
    return law, damping


def read_states(f: Fields) -> tuple[dict[str, State], tuple[float, ...]]:
    """(static states by name, load lines of the pitch bias in m). Raises BladeError."""
    states = {}
    for name in STATES:
        s = f.inner(name)
        try:
            states[name] = _state(name, s)
        except BladeError as refusal:
            text = str(refusal)
            raise BladeError(text if text.startswith("states") else f"states.{name}: {text}") from None
        s.done()
    bias = f.inner("pitch_bias")
    start, stop, count = bias.quantity("from", "m"), bias.quantity("to", "m"), bias.count("count", 2, 201)
    bias.done()
    f.done()
    return states, tuple(np.linspace(start, stop, count))


def _state(name: str, s: Fields) -> State:
    """One static state: a steady turn where a path is stated, a stop by its name, else lean and load as they stand."""
    line = s.quantity("line", "m")
    if s.has("path_radius"):
        return State(line, speed_m_s=s.quantity("speed", "m/s"), path_radius_m=s.quantity("path_radius", "m"))
    lean = s.quantity("lean", "rad")
    if name == "stop":
        return State(line, lean, stopping=True)
    load = s.number("load", 0.01, 6)
    if name == "edge_change" and not lean > 0:
        raise BladeError(f"{s.path('lean')}: {s.raw('lean')}; a change of edges starts from a lean above 0 deg.")
    turned = s.quantity("turned_out", "rad") if name == "start_push" else 0.0
    if name == "start_push" and not (turned > 0 and lean > 0):
        raise BladeError(f"{s.where}: a start needs a lean and turned_out, the blade from the travel, above 0 deg.")
    return State(line, lean, load, s.quantity("speed", "m/s") if s.has("speed") else 0.0, turned_out_rad=turned)


def read_scenario(name: str, f: Fields) -> Scenario:
    """A movement. Raises BladeError for values that make none, or more steps than can be computed."""
    common = {"name": name, "at": f.numbers("at", 0, 1), "line_m": f.quantities("line", "m"),
              "speed_m_s": f.quantity("speed", "m/s"), "mode": f.choice("mode", ("guided", "free")),
              "time_step_s": f.quantity("time_step", "s")}  # fmt: skip
    if f.has("path_radius"):
        common |= {"path_radius_m": f.quantity("path_radius", "m"), "heading_rad": f.quantity("heading", "rad"),
                   "ramp_m": f.quantity("ramp", "m")}  # fmt: skip
    else:
        common |= {"duration_s": f.quantity("duration", "s"), "load_bw": f.numbers("load", 0, 6),
                   "lean_rad": f.quantities("lean", "rad"),
                   "smoothing_s": f.quantity("smoothing", "s") if f.has("smoothing") else 0.0}  # fmt: skip
    if common["mode"] == "guided" and f.has("guide_rate"):
        common["guide_rate_rad_s"] = f.quantity("guide_rate", "rad/s")
    for key, (unit, target) in _IMPULSE.items():
        if f.has(key):
            common[target] = f.quantity(key, unit)
    f.done()
    scenario = Scenario(**common)
    _computable(scenario, f)
    return scenario


_IMPULSE = {
    "impulse": ("N*s", "impulse_ns"), "impulse_above": ("m", "impulse_above_m"),
    "impulse_at": ("s", "impulse_at_s"), "impulse_for": ("s", "impulse_for_s"),
}  # fmt: skip


def _computable(scenario: Scenario, f: Fields) -> None:
    """Refuse a movement of too many steps."""
    lasts = scenario.path_m / scenario.speed_m_s if scenario.on_path else scenario.duration_s
    if not lasts / scenario.time_step_s <= MOST_STEPS:
        key = "heading" if scenario.on_path else "duration"
        raise BladeError(
            f"{f.path('time_step')}: {lasts:.3g} s at {scenario.time_step_s:.3g} s are more than {MOST_STEPS} steps; "
            f"use a longer time step (up to 0.5 ms) or a smaller {key}."
        )


def smoothing_words(setting: Setting) -> list[str]:
    """A line for each movement that is smoothed because the request says so: by how much that moves the stated load."""
    return [
        f"{name}, {setting.skater.name}: a smoothing of {s.smoothing_s * 1e3:g} ms moves the stated load by up to "
        f"{most:.1f} N, at {when * 1e3:.0f} ms"
        for name, s in setting.scenarios.items() if s.smoothing_s > 0
        for most, when in [smoothing_moves(s, setting.skater)]
    ]  # fmt: skip


def scaled_state(state: State, scale: float) -> State:
    """The state with its load line scaled."""
    return replace(state, line_m=state.line_m * scale)


def scaled_scenario(scenario: Scenario, scale: float) -> Scenario:
    """The movement with its load lines scaled."""
    return replace(scenario, line_m=tuple(x * scale for x in scenario.line_m))
