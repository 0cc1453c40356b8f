"""Scenarios: where a roll starts, what the step loop is asked for, when it is repeated; by hand numbers and statics."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy.linalg import eigh

from sim.blade.recipe import Recipe
from sim.errors import BladeError
from sim.ice.drag import film_shear, ploughing
from sim.rolling import scenarios as rolling
from sim.rolling.loop import COLUMNS
from sim.rolling.scenarios import Roll, equilibrium, longest_step, roll
from sim.skater.movement import Program, Scenario, program
from tests.cases import WEIGHT_N, steel_of


def record(**columns):
    """Rows of a record with these columns and nothing else."""
    rows = len(next(iter(columns.values())))
    series = np.full((rows, len(COLUMNS)), math.nan)
    for name, values in columns.items():
        series[:, COLUMNS.index(name)] = values
    return series


# ---------------------------------------------------------------- the root nearest to level


def root(function, low=-0.25, high=0.25):
    """Pitch at which a scalar function is found to vanish, on a blade whose tangents run from low to high."""
    found = rolling._root(
        lambda b: (function(b), "patch", b + 1.0), SimpleNamespace(slope=[math.tan(low), math.tan(high)])
    )
    if found is None:
        return None
    assert found[0] == "patch"
    return found[1] - 1.0


@pytest.mark.parametrize("sign", [1, -1])
def test_of_several_roots_the_one_nearest_to_level_is_taken(sign):
    for roots in ((-0.1, 0.004, 0.06), (-0.17, -0.05, 0.12), (0.03, 0.19, -0.11)):
        ours = root(lambda b, at=roots: math.prod(b - sign * r for r in at))
        assert ours == pytest.approx(sign * min(roots, key=abs), abs=1e-12)


@pytest.mark.parametrize("low, high", [(-0.25, 0.25), (-0.20, 0.25), (-0.23, 0.20), (-0.21, 0.24)])
@pytest.mark.parametrize("near, far", [(-0.002, 0.05), (0.002, -0.05), (-0.012, 0.04), (0.012, -0.04), (0.018, -0.055)])
def test_nearest_counts_on_both_sides_of_level_alike(low, high, near, far):
    assert root(lambda b: (b - near) * (b - far), low, high) == pytest.approx(near, abs=1e-12)


def test_the_whole_range_of_tangents_is_searched():
    for place in (-0.249, -0.2, 0.2, 0.249):
        assert root(lambda b, at=place: b - at) == pytest.approx(place, abs=1e-12)
    assert root(lambda b: b - 0.26) is None and root(lambda b: 1.0) is None


def test_a_root_on_a_pitch_that_is_tried_is_seen():
    assert root(lambda b: b) == 0.0
    assert root(lambda b: b - np.linspace(-0.25, 0.25, 25)[19]) == pytest.approx(0.5 * 19 / 24 - 0.25, abs=1e-12)


def test_pitches_that_the_ice_does_not_carry_are_passed_over():
    def carried(b):
        if b < 0.05:
            raise BladeError("no")
        return (b - 0.2) * (b - 0.01)

    assert root(carried) == pytest.approx(0.2, abs=1e-12)


# ---------------------------------------------------------------- where a roll starts


def moments(skater, patch, leg, load, drag):
    """Toe-down moments of ice, weights and inertia: of the skate about the ankle, of all about the contact, N m.

    Cross products in the frame that decelerates with the skater at drag/mass, gravity load/mass; z from mid-runner.
    """

    def placed(x, z):
        return np.array([x * math.cos(patch.beta) + z * math.sin(patch.beta),
                         z * math.cos(patch.beta) - x * math.sin(patch.beta)])  # fmt: skip

    def moment(arm, force):
        return arm[1] * force[0] - arm[0] * force[1]

    ankle, skate = placed(skater.ankle_x_m, skater.ankle_height_m), placed(skater.skate_x_m, skater.skate_height_m)
    body = ankle + skater.body_height_m * np.array([math.sin(leg), math.cos(leg)])
    contact = np.array([patch.centre * math.cos(patch.beta), 0.0])
    felt = np.array([drag, -load]) / skater.mass_kg
    skate_force, body_force = skater.skate_mass_kg * felt, skater.body_mass_kg * felt
    of_skate = moment(contact - ankle, np.array([-drag, load])) + moment(skate - ankle, skate_force)
    return of_skate, moment(skate - contact, skate_force) + moment(body - contact, body_force)


@pytest.mark.parametrize("t, load", [(0.0, WEIGHT_N), (0.3, 1.3 * WEIGHT_N)])
@pytest.mark.parametrize("leg", [None, 0.01, -0.02])
def test_at_the_start_ankle_spring_and_contact_agree(zoned_steel, ice, law, gauss, skater, t, load, leg):
    rest, speed = 0.02, 8.0
    patch, angle = equilibrium(zoned_steel, ice, law, skater, load, t, rest, leg, speed, gauss)
    drag = ploughing(zoned_steel, ice, law, patch, *gauss) + film_shear(zoned_steel, ice, law, patch, speed, 48)
    drag += law.rough * load
    of_skate, of_all = moments(skater, patch, angle, load, drag)
    assert patch.load == pytest.approx(load, rel=1e-9) and patch.t == t
    # the spring turns the skate toe-down by K (rest - (beta - leg)); what the ice and weight do must cancel it
    assert skater.ankle_stiffness * (rest - (patch.beta - angle)) == pytest.approx(-of_skate, abs=1e-6)
    if leg is None:
        assert abs(of_all) < 1e-6, "a free leg balances the whole skater"
    else:
        assert angle == leg


def test_no_equilibrium_where_no_pitch_carries_the_load(steel, ice, law, gauss, skater):
    slush = ice._replace(hardness=ice.hardness * 1e-3)
    assert equilibrium(steel, slush, law, skater, 3 * WEIGHT_N, 0.0, 0.0, 0.0, 8.0, gauss) is None


@pytest.mark.parametrize("name", ["glide", "stride", "nudge", "tight_turn"])
def test_the_reference_starts_at_the_line_of_its_own_program(steel, ice, law, skater, scenarios, monkeypatch, name):
    """Statics there and back: the program solves for the line, the start solves from the program."""
    movement, kept = scenarios[name], {}
    monkeypatch.setattr(rolling, "_attempt", lambda *args: kept.update(start=args[6]) or Roll(
        movement, "finished", record(load=[0.0]), 0.0, 0.0, 0.0))  # fmt: skip
    asked = program(movement, skater, steel, ice, law)
    roll(steel, ice, law, skater, movement, asked)
    patch, leg, (rise, pitching, leaning) = kept["start"]
    sinks = pitching * patch.centre - rise
    assert patch.load * (1 + 15.0 * sinks) == pytest.approx(0.15 * WEIGHT_N if name == "stride" else WEIGHT_N, rel=1e-4)
    assert patch.centre == pytest.approx(movement.line_m[0], abs=2e-4 if name == "stride" else 1e-4)
    assert leg == pytest.approx(asked.leg[0], abs=1e-5) and patch.t == pytest.approx(0.0, abs=1e-6)
    if name in ("glide", "nudge"):
        assert (rise, pitching, leaning) == pytest.approx((0.0, 0.0, 0.0), abs=1e-12)


@pytest.fixture
def sought(monkeypatch):
    """What the start is sought for: (load, t, rest, leg, speed), from a program whose first instant stands alone."""
    kept = []

    def no_start(steel, ice, law, skater, load, t, rest, leg, speed, gauss, near, damped):
        kept.append((load, t, rest, leg, speed))

    monkeypatch.setattr(rolling, "equilibrium", no_start)
    table = np.array([1.0, 0.0, 0.0])
    at = 5e-4 * np.arange(3)
    steps = Program(at, 700.0 * table, 0.2 * table, 0.0 * table, 0.01 * table, 0.0 * table, 0.03 * table, 0.15 * table)

    def of(movement, skater):
        assert roll(None, None, None, skater, movement, steps).outcome == "no_start"
        return kept[0]

    return of


def test_a_start_is_sought_for_the_first_instant_of_the_program(scenarios, skater, sought):
    """The slack angle without what the ankle's damper takes: 0.03 rad less 100/1500 s x 0.15 rad/s."""
    assert sought(scenarios["stride"], skater) == (700.0, 0.2, pytest.approx(0.02), 0.01, 8.0)


def test_nothing_holds_the_leg_of_a_free_start(scenarios, skater, sought):
    assert sought(scenarios["nudge"], skater) == (700.0, 0.2, pytest.approx(0.02), None, 8.0)


def test_rates_along_a_path_are_those_at_its_speed(scenarios, skater, sought):
    """At 4 m/s the same 0.15 rad a metre are 0.6 rad/s."""
    assert sought(scenarios["tight_turn"], skater) == (700.0, 0.2, pytest.approx(-0.01), 0.01, 4.0)


def test_no_start_has_an_empty_record(steel, ice, law, skater, scenarios):
    asked = program(scenarios["glide"], skater, steel, ice, law)
    run = roll(steel, ice, law, skater, scenarios["glide"], asked._replace(rest=asked.rest + 1.5))
    assert (run.outcome, run.leak_j, run.work_j, run.seconds) == ("no_start", 0.0, 0.0, 0.0)
    assert run.series.shape == (0, 19) and run["load"].shape == (0,)


# ---------------------------------------------------------------- what the step loop is asked for


class Asked:
    """Stands in for the step loop: keeps what it is asked for, and answers with records made by hand."""

    def __init__(self, *depths, outcome="finished", steps=300):
        self.depths, self.outcome, self.steps, self.calls = list(depths), outcome, steps, []

    def __call__(self, space, skate, rest, steps, finish, steel, ice, law, man, run, steps_of, gauss, plain):
        depth = self.depths[min(len(self.calls), len(self.depths) - 1)]
        self.calls.append(SimpleNamespace(skate=skate, rest=rest, steps=steps, finish=finish, man=man, run=run,
                                          gauss=gauss, plain=plain, damping=run.contact_damping))  # fmt: skip
        rows = record(load=[784.532] * 2, depth=[depth] * 2, balance_position=[-0.02] * 2)
        return self.outcome, self.steps, rows, 0.25, 4.0


def ask(monkeypatch, asked, steel, ice, law, skater, movement, **more):
    monkeypatch.setattr(rolling, "step_through", asked)
    return roll(steel, ice, law, skater, movement, program(movement, skater, steel, ice, law), **more)


def test_a_guided_movement(steel, ice, law, skater, scenarios, monkeypatch):
    asked = Asked(80e-6)
    done = ask(
        monkeypatch, asked, steel, ice, law, skater, replace(scenarios["stride"], time_step_s=2.5e-4), plain=True
    )
    (call,) = asked.calls
    run = call.run
    assert (run.dt, run.speed, run.free, run.on_path, run.spin2, run.impulse) == (2.5e-4, 8.0, 0.0, 0.0, 0.0, 0.0)
    assert call.steps == 1601, "0.4 s and the last instant"
    assert run.drag_every == 8, "every 2 ms"
    assert run.record_every == 4, "every 1 ms"
    assert call.damping == 15.0 and call.plain is True
    assert len(call.gauss[0]) == 8
    assert (done.outcome, done.leak_j, done.work_j) == ("finished", 0.25, 4.0)
    assert done.seconds == pytest.approx(300 * 2.5e-4) and done.scenario.name == "stride"
    np.testing.assert_array_equal(done["depth"], [80e-6, 80e-6])


def test_a_free_movement_on_a_lean(steel, ice, law, skater, monkeypatch):
    """Leaned by 20 deg at 6 m/s the path turns at g tan(lean)/v: 0.59490 rad/s."""
    movement = Scenario("lean", (0, 1), (-0.015, -0.015), (1.1, 1.1), (math.radians(20),) * 2, 0.6, 6.0, "free",
                        impulse_ns=2.5, impulse_at_s=0.3, impulse_for_s=0.04, impulse_above_m=0.35,
                        time_step_s=5e-4)  # fmt: skip
    asked = Asked(80e-6)
    ask(monkeypatch, asked, steel, ice, law, skater, movement, contact_damping=3.0)
    (call,) = asked.calls
    run = call.run
    assert (run.speed, run.free, run.on_path, run.contact_damping) == (6.0, 1.0, 0.0, 3.0)
    assert run.spin2 == pytest.approx(0.59489**2, rel=1e-4)
    assert (run.impulse, run.impulse_above, run.impulse_at, run.impulse_for) == (2.5, 0.35, 0.3, 0.04)
    assert call.steps == 1201 and run.drag_every == 40 and run.record_every == 2 and call.plain is False


def test_a_path(steel, ice, law, skater, scenarios, monkeypatch):
    """150 deg of 1.8 m and a ramp of 3 m: 7.7124 m, 1.928 s at 4 m/s; four times that before it is given up."""
    asked = Asked(80e-6)
    ask(monkeypatch, asked, steel, ice, law, skater, replace(scenarios["tight_turn"], time_step_s=5e-4))
    (call,) = asked.calls
    assert call.finish == pytest.approx(7.712389, abs=1e-6)
    assert call.steps == 15426, "7.712389 s and the last instant"
    assert (call.run.free, call.run.on_path, call.run.spin2, call.run.drag_every) == (0.0, 1.0, 0.0, 40)


def test_drag_is_renewed_at_least_every_step(steel, ice, law, skater, scenarios, monkeypatch):
    monkeypatch.setattr(rolling, "_drag_interval", lambda scenario: 1e-9)
    asked = Asked(80e-6)
    ask(monkeypatch, asked, steel, ice, law, skater, scenarios["stride"])
    assert asked.calls[0].run.drag_every == 1


def test_bodies_stand_as_the_start_was_solved(steel, ice, law, skater, scenarios, monkeypatch):
    asked = Asked(80e-6)
    ask(monkeypatch, asked, steel, ice, law, skater, scenarios["glide"])
    (call,) = asked.calls
    movement = program(scenarios["glide"], skater, steel, ice, law)
    beta, leg = -call.skate.angle, -call.rest.angle
    assert leg == pytest.approx(movement.leg[0], abs=1e-9)
    assert math.sin(beta) == pytest.approx(-0.005, abs=3e-3), "near the tangent at the load line"
    # mid-runner under the skate's centre stands where the arc of 10 ft puts it, 80 um in the ice
    height = call.skate.position.y - skater.skate_height_m * math.cos(beta) + skater.skate_x_m * math.sin(beta)
    assert height == pytest.approx(-82e-6 + 3.048 * (1 - math.cos(beta)), abs=8e-6)


def test_numbers_of_the_man(skater):
    """Adult: the guide holds I = 8 kg m^2 at 400 rad/s, critically damped: both roots of its motion are -400 1/s."""
    man = rolling._man(skater, 400.0)
    assert man[:9] == (2.4, 0.0, 0.08, -0.020, 0.15, 77.6, 0.85, 1500.0, 100.0)
    roots = np.linalg.eigvals([[0, 1], [-man.guide_spring / 8.0, -man.guide_damper / 8.0]])
    np.testing.assert_allclose(roots, -400.0, rtol=1e-6)


# ---------------------------------------------------------------- the longest step, and attempts with a shorter one


def test_longest_step_by_hand(skater, scenarios):
    """784.532 N at 1 um: k = 1.569064e9 N/m, k/m = 1.961330e7; at the ankle's foot the arm is 0, I of the skate about
    the ankle 0.02 + 2.4 (0.02^2 + 0.07^2) = 0.03272, K/I = 4.5844e4; 1.5/sqrt of the sum: 0.338305 ms."""
    run = Roll(scenarios["nudge"], "finished", record(load=[784.532], depth=[1e-6], balance_position=[-0.02]), 0, 0, 1)
    assert longest_step(run, skater) == pytest.approx(3.383055e-4, rel=1e-5)


def test_the_guide_of_a_guided_movement_shortens_the_longest_step(skater, scenarios):
    """As above, with a guide of 600 rad/s: 3.6e5 on top of 1.965914e7 1/s^2."""
    rows = record(load=[784.532], depth=[1e-6], balance_position=[-0.02])
    guided = replace(scenarios["glide"], guide_rate_rad_s=600.0)
    assert longest_step(Roll(guided, "finished", rows, 0, 0, 1), skater) == pytest.approx(3.352502e-4, rel=1e-5)


@pytest.mark.parametrize("balance", [-0.06, 0.03, 0.075])
def test_longest_step_keeps_a_leapfrog_stable(skater, scenarios, balance):
    """Heave of the skater and rocking of the skate on one spring: their eigenvalues, and 2/rate as the limit."""
    load, depth = 900.0, 90e-6
    k, arm = 2 * load / depth, balance + 0.020
    inertia = 0.02 + 2.4 * (0.020**2 + 0.070**2)
    squares = eigh([[k, -k * arm], [-k * arm, k * arm**2 + 1500.0]], np.diag([80.0, inertia]), eigvals_only=True)
    rows = record(load=[load, 500.0], depth=[depth, depth], balance_position=[balance, -0.02])
    ours = longest_step(Roll(scenarios["nudge"], "finished", rows, 0, 0, 1), skater)
    print(f"step {ours * 1e3:.4f} ms, limit {2e3 / math.sqrt(squares.max()):.4f} ms")
    assert ours == pytest.approx(1.5 / math.sqrt(squares.sum()), rel=1e-9)
    assert 0.5 < ours * math.sqrt(squares.max()) / 2 <= 0.75, "a quarter below the limit, and not needlessly short"


def test_the_stiffest_loaded_instant_counts(skater, scenarios):
    """80 kg: a twentieth is 39.23 N; lighter rows say nothing, and a run that carries nothing asks for no step."""

    def of(**columns):
        return longest_step(Roll(scenarios["nudge"], "finished", record(**columns), 0, 0, 1), skater)

    rows = {"depth": [1e-9, 1e-6, 2e-6], "balance_position": [-0.02] * 3}
    assert of(load=[39.2, 784.532, 784.532], **rows) == pytest.approx(3.383055e-4, rel=1e-5)
    assert of(load=[39.3, 784.532, 784.532], **rows) < 5e-5
    assert of(load=[0.0, 39.2, 10.0], **rows) == math.inf


def test_a_step_within_the_longest_is_not_repeated(steel, ice, law, skater, scenarios, monkeypatch):
    asked = Asked(1e-6)
    done = ask(monkeypatch, asked, steel, ice, law, skater, replace(scenarios["glide"], time_step_s=2e-4))
    assert [c.run.dt for c in asked.calls] == [2e-4] and done.outcome == "finished"


def test_a_step_as_long_as_the_longest_is_not_repeated(steel, ice, law, skater, scenarios, monkeypatch):
    monkeypatch.setattr(rolling, "longest_step", lambda done, skater: 2e-4)
    asked = Asked(1e-6)
    ask(monkeypatch, asked, steel, ice, law, skater, replace(scenarios["glide"], time_step_s=2e-4))
    assert len(asked.calls) == 1


def test_a_step_that_was_too_long_is_shortened_to_a_whole_part_of_the_record(
    steel, ice, law, skater, scenarios, monkeypatch
):
    """0.5 ms where 0.338 ms is the longest: the next whole part of 1 ms below nine tenths of that, and it is kept."""
    asked = Asked(1e-6)
    done = ask(monkeypatch, asked, steel, ice, law, skater, replace(scenarios["glide"], time_step_s=5e-4))
    assert [c.run.dt for c in asked.calls] == pytest.approx([5e-4, 2.5e-4], rel=1e-12)
    assert [c.run.record_every for c in asked.calls] == [2, 4] and [c.steps for c in asked.calls] == [1001, 2001]
    assert done.outcome == "finished" and done.seconds == pytest.approx(300 * 2.5e-4)


@pytest.mark.parametrize("outcome, named", [("finished", "not_converged"), ("fell", "fell"), ("left_ice", "left_ice")])
def test_after_four_attempts_it_is_not_called_finished(steel, ice, law, skater, scenarios, monkeypatch, outcome, named):
    """Each attempt asks for a far shorter step; a fifth is the least that is tried next."""
    asked = Asked(1e-10, outcome=outcome)
    done = ask(monkeypatch, asked, steel, ice, law, skater, replace(scenarios["glide"], time_step_s=5e-4))
    assert [c.run.dt for c in asked.calls] == pytest.approx([5e-4, 1e-4, 2e-5, 4e-6], rel=1e-9)
    assert done.outcome == named and len(done.series) == 2


def test_the_fourth_attempt_may_still_do(steel, ice, law, skater, scenarios, monkeypatch):
    asked = Asked(1e-10, 1e-10, 1e-10, 80e-6)
    done = ask(monkeypatch, asked, steel, ice, law, skater, replace(scenarios["glide"], time_step_s=5e-4))
    assert len(asked.calls) == 4 and done.outcome == "finished"


# ---------------------------------------------------------------- by the true loop


@pytest.mark.parametrize("dt", [5e-4, 2e-4, 1e-4])
def test_a_blade_that_hardly_sinks_is_rolled_with_a_step_short_enough(steel, ice, law, skater, scenarios, dt):
    """22 m, 1.1 mm, flat, lightly loaded: 0.2 um deep at touch-down, and so stiff that it asks for about 0.035 ms."""
    long_track = steel_of(Recipe("long track", "single_radius", (22.0,), length_m=0.42), 1.1e-3, math.inf)
    stride = replace(scenarios["stride"], time_step_s=dt)
    run = roll(long_track, ice, law, skater, stride, program(stride, skater, steel, ice, law))
    print(f"longest step {longest_step(run, skater) * 1e3:.4f} ms")
    assert run["depth"].min() < 1e-6 and run.outcome == "finished"


def test_a_short_glide_keeps_what_it_starts_with(steel, ice, law, skater, scenarios):
    """10 ms at 8 m/s: rows at every millisecond, load line where it was, slowed by the drag it records."""
    brief = replace(scenarios["glide"], duration_s=0.01)
    run = roll(steel, ice, law, skater, brief, program(brief, skater, steel, ice, law))
    assert run.outcome == "finished"
    np.testing.assert_allclose(run["time"], np.arange(11) * 1e-3, atol=1e-12)
    np.testing.assert_allclose(run["balance_position"], -0.015, atol=2e-5)
    np.testing.assert_allclose(run["load"], WEIGHT_N, rtol=1e-3)
    assert 8.0 - run["speed"][-1] == pytest.approx(run["drag"][0] / 80.0 * 0.01, rel=1e-3)
    assert run["drag"][0] == pytest.approx(run["ploughing"][0] + run["film"][0] + run["rough"][0], rel=1e-12)
    assert run["rough"][0] == pytest.approx(law.rough * run["load"][0], rel=1e-6)
