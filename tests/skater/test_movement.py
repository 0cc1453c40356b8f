"""The movement program: what is asked for happens on the reference blade; what cannot be asked is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad

from sim.errors import BladeError
from sim.rolling.scenarios import roll
from sim.skater.movement import Scenario, history, program
from tests.cases import GRAVITY, WEIGHT_N

# Heel to forefoot and upright to 25 deg of lean over 3 s: slow beside the ankle and the body on it.
SLOW = Scenario("slow", (0, 0.3, 0.7, 1), (-0.02, -0.02, 0.03, 0.03), (0.8, 0.8, 1.2, 1.2),
                (0.0, 0.0, math.radians(25), math.radians(25)), duration_s=3.0)  # fmt: skip


@pytest.fixture(scope="module")
def slow_roll(steel, ice, law, skater):
    return roll(steel, ice, law, skater, SLOW, program(SLOW, skater, steel, ice, law))


def test_program_brings_about_the_wanted_load_line_on_the_reference(slow_roll):
    """The balance follows the line that was asked for, through the whole of statics, program and step loop."""
    assert slow_roll.outcome == "finished"
    wanted = history(SLOW.at, SLOW.line_m, slow_roll["time"] / SLOW.duration_s)
    gap = np.max(np.abs(slow_roll["balance_position"] - wanted))
    print(f"balance off the wanted load line by at most {gap * 1e3:.2f} mm of {np.ptp(wanted) * 1e3:.0f} mm travel")
    # statics only: what remains is inertia, which falls with the square of the duration
    assert gap < 3e-4


def test_program_brings_about_the_wanted_load_and_lean(slow_roll):
    share = slow_roll["time"] / SLOW.duration_s
    load = WEIGHT_N * history(SLOW.at, SLOW.load_bw, share)
    gap = np.abs(slow_roll["load"] / load - 1)
    assert np.quantile(gap, 0.99) < 2e-3
    assert gap.max() < 1e-2, "more than the passing jolt of the outside edge leaving the ice"
    assert np.max(np.abs(slow_roll["wanted_load"] / load - 1)) < 1e-4
    assert np.max(np.abs(slow_roll["lean"] - history(SLOW.at, SLOW.lean_rad, share))) < 1e-4


def test_a_movement_that_stands_still_stays_where_it_was_put(steel, ice, law, skater, scenarios):
    run = roll(steel, ice, law, skater, scenarios["glide"], program(scenarios["glide"], skater, steel, ice, law))
    assert run.outcome == "finished"
    # the program solves statics with 12 Gauss points, the loop steps with 8
    assert np.max(np.abs(run["balance_position"] + 0.015)) < 1e-4
    assert np.ptp(run["pitch"]) < 2e-5
    assert np.max(np.abs(run["load"] / WEIGHT_N - 1)) < 1e-4


def test_the_same_program_moves_another_blade_elsewhere(steel, zoned_steel, ice, law, skater, scenarios):
    movement = program(scenarios["stride"], skater, steel, ice, law)
    ours = roll(steel, ice, law, skater, scenarios["stride"], movement)
    other = roll(zoned_steel, ice, law, skater, scenarios["stride"], movement)
    assert ours.outcome == other.outcome == "finished"
    assert np.max(np.abs(ours["balance_position"] - other["balance_position"])) > 1e-3


def test_speed_falls_by_the_drag(slow_roll):
    """Newton: loss of momentum is the impulse of the drag, by trapezoid over the record."""
    lost = 80.0 * (SLOW.speed_m_s - slow_roll["speed"][-1])
    assert lost == pytest.approx(np.trapezoid(slow_roll["drag"], slow_roll["time"]), rel=5e-3)
    energy = 0.5 * 80.0 * (SLOW.speed_m_s**2 - slow_roll["speed"][-1] ** 2)
    assert slow_roll["ice_loss"][-1] == pytest.approx(energy, rel=5e-3)


def test_history_passes_its_levels_and_starts_and_ends_level():
    at, values = (0.0, 0.3, 0.6, 0.8, 1.0), (1.0, 1.0, 3.0, 2.0, 2.0)
    share = np.linspace(0, 1, 2001)
    h = history(at, values, share)
    assert h[0] == pytest.approx(1.0, abs=1e-6) and h[-1] == pytest.approx(2.0, abs=1e-6)
    assert 1.0 - 1e-9 <= h.min() and h.max() <= 3.0, "no overshoot"
    ends = np.abs([h[1] - h[0], h[-1] - h[-2]]) / (share[1] - share[0])
    assert np.max(ends) < 0.05 * np.max(np.abs(np.diff(h))) / (share[1] - share[0])


def test_a_turn_asks_for_the_lean_and_load_of_a_steady_circle(steel, ice, law, skater, scenarios):
    turn = scenarios["tight_turn"]
    movement = program(turn, skater, steel, ice, law)
    middle = len(movement.load) // 2
    lean = math.atan(turn.speed_m_s**2 / (GRAVITY * turn.path_radius_m))
    assert math.atan(movement.tan_lean[middle]) == pytest.approx(lean, rel=1e-9)
    assert movement.load[middle] == pytest.approx(WEIGHT_N / math.cos(lean), rel=1e-9)
    assert movement.load[0] == pytest.approx(WEIGHT_N, rel=1e-9)
    # 12 m/s on 8.50 m: 59.9 deg and 2.00 body weights (exact)
    fast = replace(turn, speed_m_s=12.0, path_radius_m=8.5, ramp_m=8.0)
    lean = math.atan(144 / (GRAVITY * 8.5))
    assert math.degrees(lean) == pytest.approx(59.9, abs=0.06) and 1 / math.cos(lean) == pytest.approx(2.0, abs=0.01)
    movement = program(fast, skater, steel, ice, law)
    assert movement.load[len(movement.load) // 2] == pytest.approx(2.0 * WEIGHT_N, rel=5e-3)


def test_a_path_turns_through_its_heading(scenarios):
    turn = scenarios["tight_turn"]
    heading = quad(lambda s: float(turn.curvature(s)), 0, turn.path_m, points=[1.2, turn.path_m - 1.2])[0]
    assert heading == pytest.approx(turn.heading_rad, rel=1e-9)


def test_a_line_off_the_steel_is_refused_by_the_reference_blade(steel, ice, law, skater, scenarios):
    off = replace(scenarios["glide"], line_m=(-0.015, 0.2))
    with pytest.raises(BladeError, match="cannot carry"):
        program(off, skater, steel, ice, law)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"at": (0, 0.5)}, "'at' must rise"),
        ({"at": (0, 0.6, 0.5, 1)}, "'at' must rise"),
        ({"at": (0,)}, "'at' must rise"),
        ({"at": (0, math.nan, 1), "line_m": (0, 0, 0), "load_bw": (1, 1, 1), "lean_rad": (0, 0, 0)}, "'at' must rise"),
        ({"line_m": (0.0,)}, "line_m has 1 values for 2"),
        ({"line_m": (0.0, math.nan)}, "line"),
        ({"load_bw": (1.0, 1.0, 1.0)}, "load_bw has 3"),
        ({"load_bw": (0.0, 1.0)}, "loads must lie"),
        ({"load_bw": (1.0, 7.0)}, "loads must lie"),
        ({"load_bw": (1.0, math.nan)}, "loads must lie"),
        ({"lean_rad": (-0.1, 0.0)}, "lean must lie"),
        ({"lean_rad": (0.0, 1.4)}, "lean must lie"),
        ({"lean_rad": (0.0, math.nan)}, "lean must lie"),
        ({"mode": "loose"}, "guided or free"),
        ({"mode": "free", "load_bw": (1.0, 1.1)}, "constant load and lean"),
        ({"duration_s": 0.0}, "duration"),
        ({"duration_s": math.nan}, "duration"),
        ({"speed_m_s": 0.0}, "speed"),
        ({"time_step_s": 1e-2}, "time step"),
        ({"time_step_s": math.nan}, "time step"),
        ({"path_radius_m": 0.3, "heading_rad": 1.0, "ramp_m": 0.05}, "at least 0.5 m"),
        ({"path_radius_m": 2.0, "heading_rad": 1.0, "ramp_m": 0.0}, "ramp"),
        ({"path_radius_m": 2.0, "heading_rad": 1.0, "ramp_m": 3.0}, "ramp"),
        ({"path_radius_m": 2.0, "heading_rad": 1.0, "ramp_m": 1.0, "mode": "free"}, "free movement"),
        ({"impulse_ns": 3.0, "impulse_for_s": 0.0}, "impulse"),
        ({"impulse_ns": math.nan}, "impulse"),
    ],
)
def test_impossible_scenarios_are_refused(scenarios, change, words):
    with pytest.raises(BladeError, match=words):
        replace(scenarios["glide"], **change)
