"""A small comparison put together by hand: what the tests of the judgements share. No config, every number in sight."""

from dataclasses import fields, is_dataclass

import numpy as np

from experiments.analysis.draws import Draws
from experiments.request.comparison import Case, Request
from experiments.request.objectives import Weighting
from sim.blade.recipe import Recipe
from sim.blade.section import Section
from sim.ice.contact import Law
from sim.ice.ice import Ice
from sim.measures import STATIC
from sim.skater.body import Skater
from sim.skater.movement import Scenario
from sim.trial import Candidate, Setting, State

FT = 0.3048
ICE = Ice("handbook", "handbook values", -5.0, 14.7e6, 0.6e6, 9.3e9, 0.33, 1.79e-3, 1000.0, 3.34e5, 2.2, 1.15e-6)
LAW = Law()
SECTION = Section(2.9e-3, 12.7e-3, span_m=0.075)
LEAN_15, LEAN_40 = 0.2617993877991494, 0.6981317007977318
STATES = {
    "glide": State(-0.015, speed_m_s=8.0),
    "pivot_forefoot": State(0.045, LEAN_15),
    "pivot_heel": State(-0.045, LEAN_15),
    "turn": State(0.030, speed_m_s=4.0, path_radius_m=1.8),
    "push": State(0.070, LEAN_40, 1.5),
    "start_push": State(0.055, LEAN_40, 1.6, 2.0, turned_out_rad=0.8726646259971648),
    "stop": State(0.0, 0.3490658503988659, stopping=True),
    "stop_across": State(0.0, 0.17453292519943295, 0.3),
    "fast_turn": State(0.0, speed_m_s=8.0, path_radius_m=10.0),
    "edge_change": State(0.030, LEAN_15, speed_m_s=4.0),
}
PAIRS = (
    ("pivot_forefoot_toe_in", "glide_drag_coefficient"),
    ("turn_drag", "critical_ankle_stiffness"),
    ("pivot_forefoot_toe_in", "stride_ice_loss"),
)
SCENARIOS = {
    "stride": Scenario("stride", (0, 0.5, 1), (-0.01, 0.0, 0.04), (0.3, 1.2, 0.3), (0.0, 0.1, 0.4), time_step_s=5e-4),
    "nudge": Scenario(
        "nudge", (0, 1), (-0.015,) * 2, (1.0,) * 2, (0.0,) * 2, 3.0, mode="free", impulse_ns=3.0, time_step_s=5e-4
    ),
}
SCHEME = Weighting(
    "hand", {"turn_drag": 3.0, "push_hold_angle": 1.0}, {"turn_drag": "lower", "push_hold_angle": "higher"}
)


def blade(*feet, name="blade", section=SECTION, reading=None, **more) -> Candidate:
    """A blade of radii in feet, heel to toe."""
    family = "single_radius" if len(feet) == 1 else "zoned"
    return Candidate(name, Recipe(name, family, tuple(f * FT for f in feet), **more), section, reading)


TEN = blade(10, name="ten")


def setting(**more) -> Setting:
    """An adult on the standard states, reference 10 ft; nothing is rolled."""
    made = {"ice": ICE, "law": LAW, "skater": Skater("adult"), "states": dict(STATES), "scenarios": {},
            "reference": TEN, "bias_lines_m": (-0.03, 0.03)}  # fmt: skip
    return Setting(**(made | more))


def request(candidates, one=None, pairs=PAIRS[1:2], scheme=SCHEME, line_m=(6 * FT, 16 * FT), **more) -> Request:
    """A comparison of these blades under one setting."""
    one = one or setting()
    cases = tuple(Case(i, candidate, one) for i, candidate in enumerate(candidates))
    return Request(cases, (one,), line_m, scheme, pairs, **more)


def draws_of(table: dict[str, np.ndarray], names=None, references=None, gain=None, pairs=(), score=None) -> Draws:
    """Draws in which the named measures have these values (draw, candidate), and all others are 1."""
    count, blades = next(iter(table.values())).shape if table else score.shape if score is not None else gain.shape[:2]
    values = np.ones((count, blades, len(STATIC)))
    for name, block in table.items():
        values[:, :, STATIC.index(name)] = block
    base = np.ones((count, len(STATIC)))
    for name, column in (references or {}).items():
        base[:, STATIC.index(name)] = column
    names = tuple(names or (f"blade {i}" for i in range(blades)))
    gain = np.ones((count, blades, len(pairs))) if gain is None else gain
    score = np.zeros((count, blades)) if score is None else score
    return Draws(names, (), tuple(pairs), np.zeros((count, 1)), values, base, gain, score)


def leaves(value, path="") -> dict[str, object]:
    """Every plain value inside a frozen object, by its path: what may differ between two of them."""
    if is_dataclass(value):
        inner = {f.name: getattr(value, f.name) for f in fields(value) if f.name != "reading"}
    elif hasattr(value, "_asdict"):
        inner = value._asdict()
    elif isinstance(value, dict):
        inner = value
    elif isinstance(value, tuple):
        inner = {str(i): x for i, x in enumerate(value)}
    else:
        return {path: value}
    return {k: v for name, x in inner.items() for k, v in leaves(x, f"{path}.{name}" if path else name).items()}


def changed(before, after) -> dict[str, object]:
    """What is no longer the same, by its path, with its new value (None: gone)."""
    old, new = leaves(before), leaves(after)
    return {k: new.get(k) for k in sorted({*old, *new}) if old.get(k) != new.get(k)}


def section_of(thickness_m=2.9e-3, hollow_m=12.7e-3, proud_m=0.0) -> Section:
    """A section in the holder that all blades here have."""
    return Section(thickness_m, hollow_m, proud_m, span_m=0.075)
