"""Shared cases: one blade, one sheet of ice, one skater, the movements; and the settings of the property tests."""

import math

import pytest
from hypothesis import HealthCheck, settings

from sim.blade.recipe import Recipe
from sim.ice.contact import GAUSS, Law
from sim.ice.ice import Ice
from sim.skater.body import Skater
from sim.skater.movement import Scenario
from sim.trial import Candidate, Setting, State, Trial
from tests.cases import FT, LEVEL, steel_of

settings.register_profile(
    "arcstride", max_examples=60, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
settings.load_profile("arcstride")


@pytest.fixture(scope="session")
def single():
    """The reference recipe: 280 mm, one radius of 10 ft."""
    return Recipe("10 ft", "single_radius", (10 * FT,))


@pytest.fixture(scope="session")
def zoned():
    """A three-zone rear-flat recipe, 13/10/7 ft heel to toe."""
    return Recipe("13/10/7 ft", "rear_flat", (13 * FT, 10 * FT, 7 * FT))


@pytest.fixture(scope="session")
def steel(single):
    return steel_of(single)


@pytest.fixture(scope="session")
def zoned_steel(zoned):
    return steel_of(zoned)


@pytest.fixture(scope="session")
def ice_set():
    """Handbook constants at -5 deg C; hardness 17.7 MPa."""
    return Ice("handbook", "handbook values", -5.0, 14.7e6, 0.6e6, 9.3e9, 0.33, 1.79e-3, 1000.0, 3.34e5, 2.2, 1.15e-6)


@pytest.fixture(scope="session")
def ice(ice_set):
    return ice_set.numbers


@pytest.fixture(scope="session")
def law():
    """The default model form: sliding, rebound on, film on."""
    return Law(rebound=1.0, rebound_factor=1.0, melting=0.0, sink=0.0, rough=0.0, bending=0.0)


@pytest.fixture(scope="session")
def standing(law):
    """A blade pressed straight in: full hardness on both sides, conservative, no film."""
    return law._replace(standing=1.0, film=0.0)


@pytest.fixture(scope="session")
def gauss():
    return GAUSS[24]


@pytest.fixture(scope="session")
def skater():
    return Skater("adult")


@pytest.fixture(scope="session")
def scenarios():
    """The movements, shortened where a test does not need all of it."""
    deg = math.radians
    return {
        # upright, body weight, a little behind mid-runner
        "glide": Scenario("glide", (0, 1), (-0.015, -0.015), (1.0, 1.0), (0.0, 0.0), duration_s=0.5),
        # touch-down, glide, push with lean and load rising while the balance travels to the toe, lift-off
        "stride": Scenario(
            "stride", (0, 0.1, 0.25, 0.5, 0.75, 0.9, 1), (-0.02, -0.02, -0.015, 0.01, 0.05, 0.07, 0.075),
            (0.15, 0.6, 1.0, 1.1, 1.6, 1.0, 0.15), (0, 0, deg(2), deg(14), deg(36), deg(43), deg(43)), duration_s=0.4,
        ),
        # forefoot, slow, leaned from the first
        "start": Scenario(
            "start", (0, 0.2, 0.6, 0.85, 1), (0.03, 0.035, 0.055, 0.075, 0.08), (0.2, 1.2, 1.6, 1.2, 0.2),
            (deg(20), deg(24), deg(40), deg(48), deg(48)), duration_s=0.28, speed_m_s=2.0,
        ),
        # lean ramps in and out of half a circle of 1.8 m; lean and load follow from the speed
        "tight_turn": Scenario(
            "tight_turn", (0, 0.25, 0.75, 1), (-0.01, 0.03, 0.03, -0.01), speed_m_s=4.0, path_radius_m=1.8,
            heading_rad=deg(150), ramp_m=3.0, time_step_s=2e-4,
        ),
        # nothing holds the leg; a shove at 0.2 s
        "nudge": Scenario(
            "nudge", (0, 1), (-0.015, -0.015), (1.0, 1.0), (0.0, 0.0), duration_s=1.0, mode="free", impulse_ns=3.0,
        ),
    }  # fmt: skip


@pytest.fixture(scope="session")
def setting(ice_set, law, skater, scenarios, single):
    """The default setting, by hand: what the shipped configuration asks for, without reading it."""
    states = {
        "glide": State(-0.015, speed_m_s=8.0),
        "pivot_forefoot": State(0.045, math.radians(15)),
        "pivot_heel": State(-0.045, math.radians(15)),
        "turn": State(0.030, speed_m_s=4.0, path_radius_m=1.8),
        "push": State(0.070, math.radians(40), 1.5),
        "start_push": State(0.055, math.radians(40), 1.6, 2.0, turned_out_rad=math.radians(50)),
        "stop": State(0.0, math.radians(20), stopping=True),
        "stop_across": State(0.0, math.radians(10), 0.3),
        "fast_turn": State(0.0, speed_m_s=8.0, path_radius_m=10.0),
        "edge_change": State(0.030, math.radians(15), speed_m_s=4.0),
    }
    lines = (-0.06, 0.01, 0.05)
    return Setting(ice_set, law, skater, states, scenarios, Candidate("10 ft", single, LEVEL), lines)


@pytest.fixture(scope="session")
def trial(setting, zoned):
    """The three-zone rear-flat blade against 10 ft."""
    return Trial(Candidate("13/10/7 ft", zoned, LEVEL), setting)
