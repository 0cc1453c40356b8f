"""The movement program: what is asked for happens on the reference blade; what cannot be asked is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator
from scipy.optimize import brentq

import sim.skater.movement as movement_module
from experiments.request.comparison import read_request
from experiments.request.compose import composed
from sim.errors import BladeError
from sim.ice.contact import GAUSS
from sim.ice.drag import film_shear, ploughing
from sim.ice.scrape import turn_scrape
from sim.ice.standing import stand
from sim.rolling.scenarios import roll
from sim.skater.body import ankle_torque
from sim.skater.movement import Scenario, history, program, smoothing_moves, spline_within
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
    wanted = PchipInterpolator(SLOW.at, SLOW.line_m)(slow_roll["time"] / SLOW.duration_s)
    gap = np.max(np.abs(slow_roll["balance_position"] - wanted))
    print(f"balance off the wanted load line by at most {gap * 1e3:.2f} mm of {np.ptp(wanted) * 1e3:.0f} mm travel")
    # statics only: what remains is inertia, which falls with the square of the duration
    assert gap < 3e-4


def test_program_brings_about_the_wanted_load_and_lean(slow_roll):
    share = slow_roll["time"] / SLOW.duration_s
    load = WEIGHT_N * PchipInterpolator(SLOW.at, SLOW.load_bw)(share)
    gap = np.abs(slow_roll["load"] / load - 1)
    assert np.quantile(gap, 0.99) < 2e-3
    assert gap.max() < 1e-2, "more than the passing jolt of the outside edge leaving the ice"
    assert np.max(np.abs(slow_roll["wanted_load"] / load - 1)) < 1e-4
    assert np.max(np.abs(slow_roll["lean"] - PchipInterpolator(SLOW.at, SLOW.lean_rad)(share))) < 1e-4


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


# ---------------------------------------------------------------- what is stated is what is run


def uneven(seed=3, count=120):
    """A history as a force sole might give it: uneven instants, up and down, sloping at both ends."""
    rng = np.random.default_rng(seed)
    gaps = rng.uniform(0.2, 1.0, count - 1)
    at = np.concatenate([[0.0], np.cumsum(gaps) / gaps.sum()])
    at[-1] = 1.0
    load = 0.9 + 0.5 * np.sin(7 * at + 0.5) + 0.1 * np.cumsum(rng.normal(0, 0.2, count)) * np.hanning(count)
    return tuple(at), tuple(np.clip(load, 0.15, 2.0))


AT, LOAD = uneven()
MEASURED = Scenario("measured", AT, tuple(-0.02 + 0.08 * np.array(AT) ** 2), LOAD,
                    tuple(np.radians(30 * np.array(AT))), duration_s=0.6, time_step_s=5e-4)  # fmt: skip


@pytest.mark.parametrize("name", ["glide", "stride", "start"])
def test_the_load_that_is_stated_is_the_load_that_is_run(steel, ice, law, skater, scenarios, name):
    """0.15 body weights at touch-down are 117.68 N in the record, and so at every stated instant, all on its rows."""
    movement = scenarios[name]
    run = roll(steel, ice, law, skater, movement, program(movement, skater, steel, ice, law))
    rows = np.array(movement.at) * movement.duration_s / 1e-3
    np.testing.assert_allclose(rows, np.round(rows), atol=1e-9)
    kept = np.round(rows).astype(int)
    np.testing.assert_allclose(run["wanted_load"][kept], WEIGHT_N * np.array(movement.load_bw), atol=1e-6)
    np.testing.assert_allclose(run["lean"][kept], movement.lean_rad, atol=1e-9)


def test_every_stated_instant_is_an_instant_of_the_program(steel, ice, law, skater):
    """Also where 120 of them fall between the half milliseconds; and none lie further apart than those."""
    asked = program(MEASURED, skater, steel, ice, law)
    stated = np.array(AT) * MEASURED.duration_s
    at = np.searchsorted(asked.at, stated - 1e-12)
    np.testing.assert_allclose(asked.at[at], stated, atol=1e-12)
    np.testing.assert_allclose(asked.load[at], WEIGHT_N * np.array(LOAD), atol=1e-6)
    np.testing.assert_allclose(np.arctan(asked.tan_lean[at]), MEASURED.lean_rad, atol=1e-9)
    assert 0 < np.diff(asked.at).min() and np.diff(asked.at).max() <= 5e-4 + 1e-9
    assert (asked.at[0], asked.at[-1]) == (0.0, MEASURED.duration_s)


def test_a_measured_history_runs(steel, zoned_steel, ice, law, skater):
    """The ice bears what was measured, but for the inertia of 80 kg on it."""
    asked = program(MEASURED, skater, steel, ice, law)
    for blade in (steel, zoned_steel):
        run = roll(blade, ice, law, skater, MEASURED, asked)
        assert run.outcome == "finished"
        wanted = np.interp(run["time"], np.array(AT) * 0.6, WEIGHT_N * np.array(LOAD))
        off = np.abs(run["load"] - wanted) / WEIGHT_N
        print(f"load off the measured one: median {np.median(off):.1%}, most {off.max():.1%} of body weight")
        assert np.median(off) < 0.02 and off.max() < 0.2


@pytest.mark.parametrize("movement", ["stride", "start", "tight_turn", MEASURED])
def test_angles_of_a_program_are_those_of_statics_at_every_instant(steel, ice, law, skater, scenarios, movement):
    """Pitch taken back from leg, rest and ankle rate: solved at a few instants, right at all of them."""
    movement = scenarios.get(movement, movement) if isinstance(movement, str) else movement
    asked = program(movement, skater, steel, ice, law)
    damped = skater.ankle_damping / skater.ankle_stiffness * (movement.speed_m_s if movement.on_path else 1.0)
    total = movement.path_m if movement.on_path else movement.duration_s
    line = PchipInterpolator(movement.at, movement.line_m)(asked.at / total)
    off, lever = [], skater.body_mass_kg * skater.body_height_m
    for i in range(0, len(asked.at), 7):
        patch = stand(steel, ice, law, asked.tan_lean[i], asked.load[i], line[i], *GAUSS[12])
        push = asked.load[i] / skater.mass_kg
        # the leg balances the ankle torque, M b_h (g' sin psi + a cos psi), in a frame slowed by the drag: a from both
        drag = ploughing(steel, ice, law, patch, *GAUSS[12])
        drag += film_shear(steel, ice, law, patch, movement.speed_m_s, 64)
        if asked.curvature[i] > 1e-3:
            drag += turn_scrape(steel, ice, patch, 1 / asked.curvature[i], 32, 64, *GAUSS[12])
        torque = ankle_torque(skater, asked.load[i], patch.centre, patch.beta, drag)
        slow = drag / skater.mass_kg
        leg = brentq(lambda a, p=push, s=slow, q=torque, m=lever: m * (p * math.sin(a) + s * math.cos(a)) - q, -1, 1)
        ankle = asked.rest[i] - damped * asked.ankle_rate[i] - torque / skater.ankle_stiffness
        off.append((ankle + asked.leg[i] - patch.beta, (asked.leg[i] - leg) * asked.load[i]))
    pitch, drag = np.abs(off).max(axis=0)
    print(f"{movement.name}: pitch off by at most {pitch:.1e} rad, leg by what {drag:.1e} N of drag turn it")
    assert pitch < 2e-5, "1e-7 of pitch, and what a hundredth of a newton of drag turns the skate"
    assert drag < 0.03


def test_few_states_are_solved_where_little_changes(steel, ice, law, skater, scenarios, monkeypatch):
    """A glide and a shove stand still: 17 instants and those halfway between them, for pitch and for drag."""
    solved, real = [], movement_module.statics
    monkeypatch.setattr(movement_module, "statics", lambda *args: solved.append(len(args[3])) or real(*args))
    program(scenarios["nudge"], skater, steel, ice, law)
    assert sum(solved) == 2 * (17 + 16)
    solved.clear()
    program(scenarios["stride"], skater, steel, ice, law)
    assert sum(solved) < 500, "of 801 instants, twice"


def test_a_spline_within_a_bound_is_within_it():
    """A narrow bump that evenly spaced solves would smear; and a corner, around which every row ends up solved."""
    at = np.linspace(0.0, 1.0, 2001)
    for truth in (lambda t: np.exp(-(((t - 0.41) / 0.03) ** 2)), lambda t: np.abs(t - 0.3)):
        rows = []
        spline = spline_within(lambda r, f=truth, k=rows: k.extend(r) or f(at[r]), at, np.array([0, 2000]), 1e-5)
        print(f"{len(rows)} of {len(at)} rows solved")
        assert np.max(np.abs(spline(at) - truth(at))) < 2e-5
        assert len(rows) == len(set(rows)) < 200


def test_a_history_passes_through_its_points_and_no_further():
    at, values = (0.0, 0.3, 0.6, 0.8, 1.0), (1.0, 1.0, 3.0, 2.0, 2.5)
    np.testing.assert_allclose(history(at, values, np.array(at)), values, rtol=1e-15)
    share = np.linspace(0, 1, 20001)
    h = history(at, values, share)
    assert 1.0 <= h.min() and h.max() <= 3.0 + 1e-12, "no overshoot"
    assert np.max(np.abs(np.diff(h, 2))) < 1e-6, "no corner: the rate never jumps"
    assert (h[-1] - h[-2]) / (share[1] - share[0]) > 3.0, "an end that was not stated level is not level"
    assert np.allclose(history((0, 1), (1.0, 3.0), share), 1.0 + 2.0 * share), "two points are a line"


def test_a_declared_smoothing_averages_and_says_what_it_changed(skater):
    """By hand: |t| smoothed by a Gaussian of standard deviation s is sqrt(2/pi) s at 0. A wedge of 1 body weight each
    way over 1 s, 20 ms: 0.0319154 body weights, 25.04 N at 0.5 s. Its 2001 points keep the tip sharp.
    """
    at = tuple(np.linspace(0, 1, 2001))
    wedge = Scenario("wedge", at, (0.0,) * 2001, tuple(1.5 - 2 * abs(t - 0.5) for t in at), (0.0,) * 2001, 1.0,
                     smoothing_s=0.02)  # fmt: skip
    most, when = smoothing_moves(wedge, skater)
    assert most == pytest.approx(2 * math.sqrt(2 / math.pi) * 0.02 * WEIGHT_N, rel=2e-3)
    assert when == pytest.approx(0.5, abs=1e-3)
    assert smoothing_moves(replace(wedge, smoothing_s=0.0), skater) == (0.0, 0.0)


def test_a_smoothed_program_is_level_at_both_ends(steel, ice, law, skater, scenarios):
    asked = program(replace(scenarios["stride"], smoothing_s=0.012), skater, steel, ice, law)
    assert np.abs(asked.load[[1, -1]] - asked.load[[0, -2]]).max() < 0.03 * np.abs(np.diff(asked.load)).max()
    # the load once run in silence for 117.68 N stated
    assert asked.load[[0, -1]] == pytest.approx([212.1, 302.5], abs=0.1)


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
    heading = quad(lambda s: float(turn.curvature(s)), 0, turn.path_m, points=[3.0, turn.path_m - 3.0])[0]
    assert heading == pytest.approx(turn.heading_rad, rel=1e-9)


def test_the_shipped_turn_asks_for_a_lean_that_a_body_can_follow():
    """Steepest in mid-ramp, by hand: v^3/g x 1.5/(1.8 m x 3 m)/(1 + (v^2/(2 g 1.8 m))^2), 1.504 rad/s; a little more
    before it, where the lean is less. A ramp of 1.2 m asks for 226 deg/s."""
    turn = read_request(composed([])[0]).settings[0].scenarios["tight_turn"]
    s = np.linspace(0.0, turn.path_m, 20001)
    lean = np.arctan(turn.speed_m_s**2 * turn.curvature(s) / GRAVITY)
    rate = np.degrees(np.gradient(lean, s)) * turn.speed_m_s
    middle = np.searchsorted(s, 1.5)
    assert rate[middle] == pytest.approx(math.degrees(1.504), rel=2e-3)
    assert rate.max() < 91.0 and lean.max() == pytest.approx(math.atan(16 / (GRAVITY * 1.8)))


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
        (
            {"duration_s": 0.0100, "at": (0, 0.0099, 1), "line_m": (0,) * 3, "load_bw": (1,) * 3, "lean_rad": (0,) * 3},
            "less than 0.1 ms apart",
        ),
        ({"smoothing_s": -0.01}, "smoothing"),
        ({"smoothing_s": 0.126}, "at most a quarter"),
        ({"smoothing_s": math.nan}, "smoothing"),
        ({"path_radius_m": 2.0, "heading_rad": 1.0, "ramp_m": 0.5, "smoothing_s": 0.01}, "movements in time"),
        ({"guide_rate_rad_s": 49.0}, "guide rate"),
        ({"guide_rate_rad_s": 1001.0}, "guide rate"),
        ({"guide_rate_rad_s": math.nan}, "guide rate"),
        ({"impulse_ns": math.nan}, "impulse"),
    ],
)
def test_impossible_scenarios_are_refused(scenarios, change, words):
    with pytest.raises(BladeError, match=words):
        replace(scenarios["glide"], **change)
