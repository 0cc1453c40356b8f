"""The step loop: same bits compiled and plain, second order in time, energy kept, and outcomes by name."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pymunk
import pytest
from scipy.integrate import cumulative_trapezoid

from sim.blade.recipe import Recipe
from sim.blade.steel import lowest
from sim.ice.contact import press
from sim.ice.ice import Ice
from sim.rolling import loop, scenarios
from sim.rolling.bodies import engine_access, memory
from sim.rolling.scenarios import ADVICE, first_instant, roll
from sim.skater.body import critical_ankle_stiffness
from sim.skater.movement import Scenario, program
from tests.cases import FT, GRAVITY, WEIGHT_N, PlainContact, steel_of
from tests.rolling.conftest import held


@pytest.fixture(scope="module")
def programs(steel, ice, law, skater, scenarios):
    return {name: program(movement, skater, steel, ice, law) for name, movement in scenarios.items()}


@pytest.fixture
def drag_every_step(monkeypatch):
    """Drag is held over 20 steps or more, which is an error of first order in time; here it is always fresh."""
    monkeypatch.setattr(scenarios, "_drag_interval", lambda scenario: 1e-9)


# ---------------------------------------------------------------- same bits


@pytest.mark.parametrize("name", ["stride", "nudge"])
def test_compiled_and_plain_loops_give_the_same_bits(steel, ice, law, skater, scenarios, programs, name):
    movement, asked = replace(scenarios[name], duration_s=0.4), programs[name]
    assert engine_access() is not None, "the compiled loop was not reached"
    fast = roll(steel, ice, law, skater, movement, asked)
    slow = roll(steel, ice, law, skater, movement, asked, plain=True)
    assert fast.outcome == slow.outcome == "finished"
    assert fast.series.tobytes() == slow.series.tobytes()
    assert (fast.leak_j, fast.work_j) == (slow.leak_j, slow.work_j)


@pytest.mark.parametrize("name", ["stride", "nudge"])
def test_without_access_to_the_engine_the_plain_loop_steps_in(
    steel, ice, law, skater, scenarios, programs, name, monkeypatch
):
    movement, asked = replace(scenarios[name], duration_s=0.4), programs[name]
    fast = roll(steel, ice, law, skater, movement, asked)
    monkeypatch.setattr(loop, "engine_access", lambda: None)
    assert roll(steel, ice, law, skater, movement, asked).series.tobytes() == fast.series.tobytes()


def test_the_same_run_twice_gives_the_same_bits(steel, ice, law, skater, scenarios, programs):
    one, two = (roll(steel, ice, law, skater, scenarios["stride"], programs["stride"]) for _ in range(2))
    assert one.series.tobytes() == two.series.tobytes()


def test_places_in_the_engine_are_those_of_its_public_api():
    _, places = engine_access()
    body = pymunk.Body(2.0, 3.0)
    body.position, body.angle, body.velocity, body.angular_velocity = (1.25, -2.5), 0.75, (3.5, 4.5), -5.5
    assert memory(body)[places[:6]].tolist() == [1.25, -2.5, 0.75, 3.5, 4.5, -5.5]


@pytest.mark.parametrize("dt", [5e-4, 1e-4])
@pytest.mark.parametrize("name", ["stride", "start"])
def test_a_movement_that_is_under_way_is_neither_stopped_nor_set_going(
    zoned_steel, ice, law, skater, scenarios, programs, name, dt
):
    """The first row is the pose that was solved, the load that is wanted; a millisecond on it went on at its rates."""
    movement, asked = replace(scenarios[name], time_step_s=dt), programs[name]
    patch, leg, (rise, pitching, leaning) = first_instant(zoned_steel, ice, law, skater, movement, asked, 15.0)
    run = roll(zoned_steel, ice, law, skater, movement, asked)
    assert run["pitch"][0] == pytest.approx(patch.beta, abs=1e-12)
    assert run["leg_angle"][0] == pytest.approx(leg, abs=1e-12)
    assert run["depth"][0] == pytest.approx(patch.depth, abs=1e-12)
    assert run["load"][0] == pytest.approx(asked.load[0], rel=3e-3)
    slope = np.gradient(run["leg_angle"], run["time"], edge_order=2)[0]
    assert leaning > 0.01 and slope == pytest.approx(leaning, rel=0.04)
    sinking = np.gradient(run["depth"], run["time"], edge_order=2)[0]
    bottom = lowest(zoned_steel, patch.beta)[0]
    assert sinking == pytest.approx(bottom * pitching - rise, rel=0.1)


# ---------------------------------------------------------------- convergence in time


@pytest.mark.parametrize(
    "name, contact_damping, first",
    [
        ("stride", 15.0, 5e-4),
        ("start", 15.0, 5e-4),
        ("stride", 15.0, 1e-4),
        ("stride", 0.0, 1e-4),
        ("nudge", 15.0, 5e-4),
    ],
)
def test_error_falls_fourfold_with_half_the_time_step(
    steel, ice, law, skater, scenarios, programs, drag_every_step, name, contact_damping, first
):
    steps = (first, first / 2, first / 4)
    movement = replace(scenarios[name], duration_s=min(scenarios[name].duration_s, 0.4))

    def run(dt):
        return roll(steel, ice, law, skater, replace(movement, time_step_s=dt), programs[name], contact_damping)

    fine = run(first / 16)
    runs = [run(dt) for dt in steps]
    assert all(r.outcome == "finished" for r in [fine, *runs])
    for column in ("pitch", "load", "balance_position"):
        peak = np.max(np.abs(fine[column]))
        errors = [np.sqrt(np.mean((r[column] - fine[column]) ** 2)) / peak for r in runs]
        ratios = [a / b for a, b in itertools.pairwise(errors)]
        print(f"{name}, damping {contact_damping:g} s/m, {column}: error at {first * 1e3} ms {errors[0]:.1e} of peak, "
              "ratios "
              + ", ".join(f"{r:.2f}" for r in ratios))  # fmt: skip
        assert errors[0] < 1e-4
        assert all(3.4 < r < 5.0 for r in ratios)


def test_holding_the_drag_between_evaluations_costs_little(steel, ice, law, skater, scenarios, programs, monkeypatch):
    held = roll(steel, ice, law, skater, scenarios["stride"], programs["stride"])
    monkeypatch.setattr("sim.rolling.scenarios._drag_interval", lambda scenario: 1e-9)
    fresh = roll(steel, ice, law, skater, scenarios["stride"], programs["stride"])
    for column in ("pitch", "load", "speed"):
        assert np.max(np.abs(held[column] - fresh[column])) < 1e-3 * np.max(np.abs(fresh[column]))
    assert held["ice_loss"][-1] == pytest.approx(fresh["ice_loss"][-1], rel=2e-3)


@pytest.mark.parametrize("name", ["stride", "tight_turn"])
@pytest.mark.parametrize("dt", [5e-4, 2.5e-4, 2e-4])
def test_a_time_step_that_is_too_long_is_not_called_finished(steel, ice, law, skater, scenarios, programs, name, dt):
    """Every step that a scenario accepts must give the right loads, or end in another outcome."""
    fine = roll(steel, ice, law, skater, replace(scenarios[name], time_step_s=5e-5), programs[name])
    coarse = roll(steel, ice, law, skater, replace(scenarios[name], time_step_s=dt), programs[name])
    if coarse.outcome == "finished":
        rows = min(len(fine.series), len(coarse.series)) - 5
        gap = np.max(np.abs(coarse["load"][:rows] - fine["load"][:rows])) / np.max(fine["load"])
        assert gap < 0.05, f"finished at dt {dt * 1e3:g} ms with loads {gap:.0%} of peak off"


# ---------------------------------------------------------------- energy


@pytest.mark.parametrize("name", ["glide", "stride", "tight_turn", "nudge"])
def test_no_energy_from_nowhere(steel, ice, law, skater, scenarios, programs, name):
    run = roll(steel, ice, law, skater, scenarios[name], programs[name])
    print(f"{name}: {run.outcome}, leak {run.leak_j:.1e} J of {run.work_j:.2f} J turned over")
    assert run.outcome == "finished"
    assert abs(run.leak_j) < 1e-6 * (run.work_j + 1e-3)


@pytest.mark.parametrize("name", ["stride", "tight_turn"])
def test_speed_is_lost_to_the_ice_alone(steel, ice, law, skater, scenarios, programs, name):
    run = roll(steel, ice, law, skater, scenarios[name], programs[name])
    lost = 0.5 * skater.mass_kg * (run["speed"][0] ** 2 - run["speed"][-1] ** 2)
    assert run["ice_loss"][-1] == pytest.approx(lost, rel=2e-3)


def displaced_volume(curve, blade, patch):
    """Volume of ice under the blade, plain quadrature: integral of the groove area up to n(x) along the blade."""
    plain = PlainContact(curve, blade, 1.0, patch, standing=True, points=1500)
    area = cumulative_trapezoid(plain.widths, plain.levels, initial=0)
    return plain.integral(np.interp(plain.n, plain.levels, area))


def energies(run, curve, blade, ice, standing, gauss, man, every):
    """Energy of the two bodies from the recorded poses alone, at every so many rows.

    No force acts along the ice, so that the common centre of mass stays where it is and pitch, leg and depth say all.
    """
    pitch, leg, depth, time = run["pitch"], run["leg_angle"], run["depth"], run["time"]
    rows = np.arange(1000, len(time) - 2, every)  # the shove is over
    base = np.array([press(blade, ice, standing, 0.0, b, 1e-6, *gauss).base for b in pitch])
    origin_z = -depth - base
    ankle = np.array([man.ankle_x_m * np.cos(pitch) + man.ankle_height_m * np.sin(pitch),
                      origin_z + man.ankle_height_m * np.cos(pitch) - man.ankle_x_m * np.sin(pitch)])  # fmt: skip
    skate = np.array([man.skate_x_m * np.cos(pitch) + man.skate_height_m * np.sin(pitch),
                      origin_z + man.skate_height_m * np.cos(pitch) - man.skate_x_m * np.sin(pitch)])  # fmt: skip
    body = ankle + man.body_height_m * np.array([np.sin(leg), np.cos(leg)])
    middle = (man.skate_mass_kg * skate[0] + man.body_mass_kg * body[0]) / man.mass_kg
    skate[0] -= middle
    body[0] -= middle
    rate = lambda y: np.gradient(y, time, axis=-1)[..., rows]  # noqa: E731
    moving = 0.5 * man.skate_mass_kg * (rate(skate) ** 2).sum(0) + 0.5 * man.body_mass_kg * (rate(body) ** 2).sum(0)
    moving += 0.5 * man.skate_inertia * rate(pitch) ** 2 + 0.5 * man.body_inertia * rate(leg) ** 2
    height = GRAVITY * (man.skate_mass_kg * skate[1] + man.body_mass_kg * body[1])[rows]
    patches = [press(blade, ice, standing, 0.0, pitch[i], depth[i], *gauss) for i in rows]
    ground = ice.hardness * np.array([displaced_volume(curve, blade, p) for p in patches])
    return moving, height, ground, (pitch - leg)[rows]


def test_free_rocking_on_a_standing_contact_keeps_its_energy(single, steel, ice, standing, gauss, skater, monkeypatch):
    """Kinetic + m g h + ankle spring + H x displaced volume stays put over several swings; nothing damps."""
    man = replace(skater, ankle_damping=0.0, ankle_stiffness=4000.0)
    shove = Scenario("rock", (0, 1), (-0.015, -0.015), (1.0, 1.0), (0.0, 0.0), duration_s=3.0, mode="free",
                     impulse_ns=2.0, impulse_at_s=0.0, impulse_for_s=0.05)  # fmt: skip
    standing = standing._replace(rough=0.0, bending=0.0)  # nothing drags, and no energy hides in the steel
    asked = program(shove, man, steel, ice, standing)
    monkeypatch.setattr("sim.rolling.scenarios.RECORD_S", 1e-4)
    run = roll(steel, ice, standing, man, replace(shove, time_step_s=1e-4), asked, contact_damping=0.0)
    assert run.outcome == "finished"
    assert np.max(np.abs(run["drag"])) < 1e-9
    swing = run["leg_angle"] - run["leg_angle"].mean()
    crossings = int(np.count_nonzero(np.diff(np.sign(swing[1000:]))))
    moving, height, ground, ankle = energies(run, single.curve(), steel, ice, standing, gauss, man, every=3300)
    spring = 0.5 * man.ankle_stiffness * (asked.rest[0] - ankle) ** 2
    total, exchanged = moving + height + ground + spring, np.ptp(height + spring)
    print(f"rocking: {crossings} half swings, kinetic up to {moving.max():.3f} J, exchanged {exchanged:.3f} J, "
          f"total energy within {np.ptp(total):.1e} J")  # fmt: skip
    assert crossings >= 4
    assert np.ptp(total) < 2e-3 * moving.max()


# ---------------------------------------------------------------- stability as statics foretells


@pytest.mark.parametrize("share, outcome", [(0.9, "fell"), (1.1, "finished")])
def test_critical_ankle_stiffness_parts_falling_from_standing(steel, ice, law, skater, share, outcome):
    """A touch of 0.01 N s, long enough for 10 % either side to show. R_eff 3.048 m for one radius."""
    man = replace(skater, ankle_stiffness=share * critical_ankle_stiffness(skater, WEIGHT_N, 3.048))
    touch = Scenario("touch", (0, 1), (-0.015, -0.015), (1.0, 1.0), (0.0, 0.0), duration_s=30.0, mode="free",
                     impulse_ns=0.01, speed_m_s=12.0, time_step_s=2e-4)  # fmt: skip
    run = roll(steel, ice, law, man, touch, program(touch, man, steel, ice, law))
    assert run.outcome == outcome


# ---------------------------------------------------------------- outcomes by name


def test_every_outcome_has_advice():
    assert set(loop.OUTCOMES) | {"no_start"} == set(ADVICE)
    assert all(words for name, words in ADVICE.items() if name != "finished")


def test_fell(steel, ice, law, skater, scenarios):
    weak = replace(skater, ankle_stiffness=800.0)
    long = replace(scenarios["nudge"], duration_s=4.0)
    run = roll(steel, ice, law, weak, long, program(long, weak, steel, ice, law))
    assert run.outcome == "fell"
    assert abs(run["leg_angle"][-1] - run["leg_angle"][0]) > math.radians(10)
    assert run.seconds < 4.0


def test_fell_over_the_very_end_of_the_runner(steel, ice, law, skater, scenarios):
    """So weak an ankle that the blade rocks past its turned-up toe: still a fall, not a numerical failure."""
    weak = replace(skater, ankle_stiffness=300.0)
    long = replace(scenarios["nudge"], duration_s=4.0)
    assert roll(steel, ice, law, weak, long, program(long, weak, steel, ice, law)).outcome in ("fell", "sank")


def test_left_ice(steel, ice, law, skater):
    """Six body weights let go in milliseconds on springy, undamped ice: what was stored throws the skater up."""
    hop = Scenario("hop", (0, 0.4, 0.44, 1), (0.0,) * 4, (6.0, 6.0, 0.25, 0.25), (0.0,) * 4, duration_s=0.1)
    springy = law._replace(standing=1.0, film=0.0)
    run = roll(steel, ice, springy, skater, hop, program(hop, skater, steel, ice, springy), contact_damping=0.0)
    assert run.outcome == "left_ice"
    assert run["load"][-1] == 0.0


def test_sank(steel, ice, law, skater, ice_set):
    """Programmed on hard ice, rolled on slush that still carries the light start."""
    press_on = Scenario("press", (0, 0.3, 1), (0.0,) * 3, (0.02, 0.02, 5.0), (0.0,) * 3, duration_s=1.0)
    asked = program(press_on, skater, steel, ice, law)
    run = roll(steel, replace(ice_set, hardness_factor=0.01).numbers, law, skater, press_on, asked)
    assert run.outcome == "sank"
    assert run["depth"][-1] > 2e-3


def test_stopped(steel, ice, law, skater, scenarios):
    crawl = replace(scenarios["tight_turn"], speed_m_s=0.4, path_radius_m=3.0, ramp_m=2.0)
    run = roll(steel, ice, law, skater, crawl, program(crawl, skater, steel, ice, law))
    assert run.outcome == "stopped"
    assert run["speed"][-1] < 0.1 * 0.4


def test_no_start_without_an_equilibrium(steel, ice, law, skater, scenarios):
    """A program whose ankle is slack far from anything the blade can stand at."""
    asked = program(scenarios["glide"], skater, steel, ice, law)
    off = asked._replace(rest=asked.rest + 1.5)
    run = roll(steel, ice, law, skater, scenarios["glide"], off)
    assert run.outcome == "no_start"
    assert len(run.series) == 0


def test_no_start_on_ice_that_cannot_carry_the_first_load(steel, ice, law, skater, scenarios, ice_set: Ice):
    asked = program(scenarios["glide"], skater, steel, ice, law)
    slush = replace(ice_set, hardness_factor=1e-3).numbers
    run = roll(steel, slush, law, skater, scenarios["glide"], asked)
    assert run.outcome in ("no_start", "sank") and len(run.series) <= 1


def test_not_converged_is_named_when_a_number_goes_wrong(steel, ice, law, skater, scenarios):
    asked = program(scenarios["glide"], skater, steel, ice, law)
    broken = asked._replace(leg=np.where(np.arange(len(asked.leg)) > 100, math.nan, asked.leg))
    assert roll(steel, ice, law, skater, scenarios["glide"], broken).outcome == "not_converged"


def test_a_short_run_keeps_its_last_instant(steel, ice, law, skater, scenarios, programs):
    run = roll(steel, ice, law, skater, scenarios["stride"], programs["stride"])
    assert run["time"][0] == 0.0 and run["time"][-1] == pytest.approx(0.4, abs=1e-9)
    assert np.allclose(np.diff(run["time"]), 1e-3)
    assert np.all(np.isfinite(run.series))


# ---------------------------------------------------------------- direction of what a blade does


def test_a_flatter_blade_balances_less_far_from_a_shove(ice, law, skater, scenarios, steel):
    """12 ft is steadier than 8 ft (trade direction): the same shove moves the balance less in pitch."""
    shifts = {}
    for feet in (8, 12):
        blade = steel_of(Recipe(f"{feet} ft", "single_radius", (feet * FT,)))
        run = roll(blade, ice, law, skater, scenarios["nudge"], program(scenarios["nudge"], skater, blade, ice, law))
        assert run.outcome == "finished"
        shifts[feet] = np.ptp(run["pitch"])
    assert shifts[12] < shifts[8]


def test_a_tight_turn_costs_speed_by_the_drag_that_is_computed(steel, ice, law, skater, scenarios, programs):
    run = roll(steel, ice, law, skater, scenarios["tight_turn"], programs["tight_turn"])
    assert run.outcome == "finished"
    assert run["path_position"][-1] == pytest.approx(scenarios["tight_turn"].path_m, abs=5e-3)
    slowed = np.trapezoid(run["drag"], run["time"]) / skater.mass_kg
    assert run["speed"][0] - run["speed"][-1] == pytest.approx(slowed, rel=5e-3)


@pytest.mark.parametrize("height_m, span_m", [(0.018, 0.12), (0.015, 0.075), (0.02, 0.15)])
def test_a_runner_that_bends_much_glides_where_it_was_put(single, ice, law, skater, scenarios, height_m, span_m):
    """Bent by up to a quarter of its curvature; iterated plainly it sank or fell in the first instant."""
    soft = held(single)._replace(rigidity=200e9 * 2.9e-3 * height_m**3 / 12, span=span_m)
    brief = replace(scenarios["glide"], duration_s=0.05)
    run = roll(soft, ice, law, skater, brief, program(brief, skater, soft, ice, law))
    assert run.outcome == "finished"
    assert np.abs(run["balance_position"] + 0.015).max() < 1e-4
    assert np.abs(run["load"] / run["load"][0] - 1).max() < 1e-3
