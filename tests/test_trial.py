"""A trial: states by hand numbers, contacts and effective radius against the reference model, refusals word by word."""

import math
from dataclasses import replace

import numpy as np
import pytest

import sim.trial
from sim.blade.recipe import Sweep
from sim.blade.section import Section
from sim.errors import BladeError
from sim.rolling.scenarios import Roll
from sim.skater.movement import program
from sim.trial import Candidate, State, Trial
from tests import reference_film, reference_model
from tests.cases import FT, GRAVITY, HOLLOW_M, LEVEL, STATES, THICKNESS_M, WEIGHT_N

ZONED = reference_model.curve([(0.08, 13 * FT), (0.08, 10 * FT), (0.08, 7 * FT)], npts=10001)


def slow(lean, load, line):
    """The zoned blade by the reference model."""
    section = reference_model.section(THICKNESS_M, HOLLOW_M, lean, npts=20001)
    return reference_model.at_load_line(ZONED, section, 17.7e6, load, line, **reference_model.FIRST_FORM)


# ---------------------------------------------------------------- states


def test_a_stated_lean_and_load(skater):
    state = State(0.07, math.radians(40), 1.5)
    assert state.tan_lean == pytest.approx(0.8390996312, rel=1e-9)
    assert state.load_n(skater) == pytest.approx(1176.798, rel=1e-9)  # 1.5 x 80 kg x 9.80665
    with pytest.raises(BladeError, match="follows from the blade"):
        State(0.0, math.radians(20), stopping=True).load_n(skater)
    assert State(0.0).tan_lean == 0.0 and State(0.0).load_n(skater) == pytest.approx(784.532, rel=1e-9)


def test_lean_and_load_of_a_turn_follow_from_speed_and_path(skater):
    """12 m/s on 8.50 m: 59.9 deg and 2.00 body weights; what is stated for lean and load does not count."""
    for state in (State(0.0, speed_m_s=12.0, path_radius_m=8.5), State(0.0, 0.3, 3.0, 12.0, 8.5)):
        assert math.degrees(math.atan(state.tan_lean)) == pytest.approx(59.93, abs=0.01)
        assert state.load_n(skater) / WEIGHT_N == pytest.approx(1.9961, abs=1e-4)
        # the push along the leg is weight and centripetal force together
        assert state.load_n(skater) == pytest.approx(80 * math.hypot(GRAVITY, 144 / 8.5), rel=1e-12)


@pytest.mark.parametrize(
    "values",
    [(0.0, 0.0), (0.0, math.radians(74.9)), (0.0, 0.3, 6.0), (0.0, 0.3, 0.01), (0, 0, 1, 2.0, 0.3), (0, 0, 1, 6.08, 1),
     (0.0, 0.0, 1.0, 0.5, 0.3)],
)  # fmt: skip
def test_states_that_a_skater_can_be_in(values):
    state = State(*values)
    assert 0 <= state.tan_lean < math.tan(math.radians(75.2))


@pytest.mark.parametrize(
    "values", [(0, -0.01), (0, math.radians(75.1)), (0, math.nan), (0, 0.3, 0.0), (0, 0.3, 6.1), (0, 0, math.nan)]
)
def test_no_such_lean_or_load(values):
    with pytest.raises(BladeError, match="lean must lie within 0 and 75 deg and load above 0 and at most 6"):
        State(*values)


@pytest.mark.parametrize("speed, radius", [(2.0, 0.29), (0.0, 2.0), (6.09, 1.0), (math.nan, 2.0), (4.0, -1.0)])
def test_no_such_turn(speed, radius):
    with pytest.raises(BladeError, match=r"a radius of at least 0\.3 m and a speed that leans less than 75 deg"):
        State(0.0, speed_m_s=speed, path_radius_m=radius)


# ---------------------------------------------------------------- candidates and settings


def test_steel_of_a_candidate(zoned):
    candidate = Candidate("c", zoned, Section(2.9e-3, 12.7e-3, 29e-6))
    steel = candidate.steel
    assert (steel.thickness, steel.hollow) == (2.9e-3, 12.7e-3)
    assert steel.tilt == pytest.approx(0.01, rel=1e-12)
    x = steel.x_first + steel.dx * np.arange(len(steel.z))
    assert x[0] == pytest.approx(ZONED.x[0], abs=1e-7) and x[-1] == pytest.approx(ZONED.x[-1], abs=1e-7)
    np.testing.assert_allclose(steel.z, np.interp(x, ZONED.x, ZONED.z), atol=2e-8)
    np.testing.assert_allclose(steel.slope, np.interp(x, ZONED.x, np.tan(ZONED.phi)), atol=2e-6)


def test_candidates_of_one_recipe_share_its_curve(zoned):
    one, two = Candidate("a", zoned, LEVEL), Candidate("b", replace(zoned), Section(3e-3, 11e-3))
    assert one.curve is two.curve


def test_a_candidate_is_not_another_for_its_reading(zoned):
    assert Candidate("a", zoned, LEVEL) == Candidate("a", zoned, LEVEL, reading="a trace")


def test_the_program_of_a_scenario_is_that_of_the_reference_and_solved_once(setting, ice, law, skater, steel):
    ours, theirs = setting.program("glide"), program(setting.scenarios["glide"], skater, steel, ice, law)
    assert all(np.array_equal(a, b) for a, b in zip(ours, theirs))
    assert setting.program("glide") is ours
    assert setting.program("stride") is not ours


# ---------------------------------------------------------------- contact, drag, scrape


@pytest.mark.parametrize(
    "name, state", list(zip(("glide", "pivot_forefoot", "pivot_heel", "turn", "push"), STATES.values()))
)
def test_contacts_against_the_reference_model(trial, name, state):
    lean, load, line = state
    theirs, ours = slow(lean, load, line), trial.patch(name)
    print(f"{name}: depth {ours.depth * 1e6:.2f} um, reference model {theirs.d * 1e6:.2f} um")
    assert trial.load(name) == pytest.approx(load, rel=1e-12) and ours.load == pytest.approx(load, rel=1e-8)
    assert ours.centre == pytest.approx(line, abs=1e-9)
    assert ours.t == pytest.approx(math.tan(lean), rel=1e-12)
    assert ours.depth == pytest.approx(theirs.d, rel=2e-3)
    assert ours.beta == pytest.approx(theirs.beta, abs=2e-5)
    assert trial.patch(name) is ours, "solved once"


def test_drag_of_a_state(trial):
    for name in ("glide", "push"):
        assert trial.drag(name)[0] == pytest.approx(reference_model.ploughing(slow(*STATES[name])), rel=5e-3)
    assert trial.drag("glide")[1] == pytest.approx(
        reference_film.film_drag(slow(*STATES["glide"]), 8.0, -5.0, **reference_film.PLAIN), rel=5e-3
    )
    assert trial.drag("glide") is trial.drag("glide"), "solved once"
    assert trial.drag("push")[1] == 0.0, "a state without speed has no film to shear"


def test_scrape_of_the_turn(trial, setting, zoned):
    slow_turn = slow(*STATES["turn"])
    assert trial.scrape("turn") == pytest.approx(
        reference_model.scrape(slow_turn, 1.8, nx=801, nu=1201, scan=9), rel=0.02
    )
    wide = {**setting.states, "turn": replace(setting.states["turn"], speed_m_s=8.0, path_radius_m=7.2)}
    same_lean = Trial(Candidate("c", zoned, LEVEL), replace(setting, states=wide))
    assert same_lean.scrape("turn") == 0.0, "as leaned, on four times the radius: wider than its clean one"


def test_pitches_of_the_bias_lines(trial, setting):
    theirs = [slow(0.0, WEIGHT_N, x).beta for x in (-0.06, 0.01, 0.05)]
    assert isinstance(trial.bias_pitches, tuple)
    np.testing.assert_allclose(trial.bias_pitches, theirs, atol=2e-5)
    # one radius: the contact's own shape is the same at every line, so pitches lie on the tangents' line
    ours = np.array(setting.reference_pitches)
    np.testing.assert_allclose(np.diff(np.sin(ours)), np.diff([-0.06, 0.01, 0.05]) / (10 * FT), rtol=1e-4)


@pytest.mark.parametrize("feet", [7, 10, 13])
def test_effective_radius_of_one_radius_is_that_radius(setting, single, feet):
    ours = Trial(Candidate("r", replace(single, radii_m=(feet * FT,)), LEVEL), setting).effective_radius("glide")
    print(f"{feet} ft: effective radius {ours:.5f} m, drawn {feet * FT:.5f} m")
    assert ours == pytest.approx(feet * FT, rel=1e-4)


def test_effective_radius_is_a_mean_of_the_radii_under_load(setting, zoned):
    """The centre of 13/10/7 ft on the boundary of its heel zone, against the reference model's."""
    at_bound = {**setting.states, "glide": State(-0.040, speed_m_s=8.0)}
    ours = Trial(Candidate("c", zoned, LEVEL), replace(setting, states=at_bound)).effective_radius("glide")
    state = slow(0.0, WEIGHT_N, -0.040)
    theirs = reference_model.r_eff(ZONED, state.sec, 17.7e6, WEIGHT_N, state.beta, **reference_model.FIRST_FORM)
    print(f"effective radius {ours:.4f} m, reference model {theirs:.4f} m")
    assert 10 * FT < ours < 13 * FT and ours == pytest.approx(theirs, rel=5e-3)


# ---------------------------------------------------------------- refusals


def at(setting, **state):
    """The setting with another glide state."""
    return replace(setting, states={**setting.states, "glide": replace(setting.states["glide"], **state)})


def test_an_unknown_state_is_answered_with_those_there_are(trial):
    with pytest.raises(
        BladeError, match="state 'jump' is not defined; there are glide, pivot_forefoot, pivot_heel, turn, push"
    ):
        trial.patch("jump")


@pytest.mark.parametrize("line, said", [(0.150, "150"), (-0.150, "-150"), (0.1399, "140"), (-0.1399, "-140")])
def test_a_line_off_the_steel(setting, zoned, line, said):
    """280 mm of arc whose ends turn up: in x they reach 139.7 mm to either side."""
    assert ZONED.x[-1] == pytest.approx(0.1397, abs=1e-4)
    lost = Trial(Candidate("c", zoned, LEVEL), at(setting, line_m=line))
    with pytest.raises(
        BladeError, match=f"glide: load line {said} mm is off the steel, which runs from -140 to 140 mm"
    ):
        lost.patch("glide")


@pytest.mark.parametrize(
    "line, end", [(0.1201, "toe end, which begins at 120 mm"), (0.139, "toe end, which begins at 120 mm"),
                  (-0.111, "heel end, which begins at -110 mm")],
)  # fmt: skip
def test_a_line_on_a_turned_up_end(setting, zoned, line, end):
    """Sweeps of 20 mm at the toe and 30 mm at the heel of 280 mm: states, lines of the pitch bias, movements."""
    blade = Candidate("c", replace(zoned, heel_sweep=Sweep(0.030)), LEVEL)
    said = f"load line {line * 1e3:.4g} mm stands on the turned-up {end}; move it toward mid-runner"
    states = {**setting.states, "glide": replace(setting.states["glide"], line_m=line)}
    with pytest.raises(BladeError, match=f"glide: {said}"):
        Trial(blade, replace(setting, states=states)).patch("glide")
    with pytest.raises(BladeError, match=f"pitch bias: {said}"):
        _ = Trial(blade, replace(setting, bias_lines_m=(0.0, line))).bias_pitches
    movement = replace(setting.scenarios["glide"], line_m=(0.0, line))
    with pytest.raises(BladeError, match=f"scenario 'glide': {said}"):
        replace(setting, scenarios={"glide": movement}, reference=blade).program("glide")


@pytest.mark.parametrize("line", [-0.12, 0.12])
def test_a_line_where_a_turned_up_end_begins_is_tried(setting, zoned, line):
    states = {**setting.states, "glide": replace(setting.states["glide"], line_m=line)}
    patch = Trial(Candidate("c", zoned, LEVEL), replace(setting, states=states)).patch("glide")
    assert patch.centre == pytest.approx(line, abs=1e-9)


def test_a_line_just_on_a_bare_runner_is_tried(setting, single):
    """On the steel to its last millimetre, but no load stands with its centre there."""
    bare = replace(single, heel_sweep=Sweep(0.0), toe_sweep=Sweep(0.0))
    for line in (-0.1399, 0.1399):
        with pytest.raises(
            BladeError, match=f"glide: this blade cannot carry 785 N with its centre at {line * 1e3:.0f} mm"
        ):
            Trial(Candidate("c", bare, LEVEL), at(setting, line_m=line)).patch("glide")


def test_a_bias_line_that_the_blade_cannot_stand_at(setting, zoned):
    with pytest.raises(BladeError, match="pitch bias: load line 145 mm is off the steel"):
        _ = Trial(Candidate("c", zoned, LEVEL), replace(setting, bias_lines_m=(0.0, 0.145))).bias_pitches


# ---------------------------------------------------------------- rolls


@pytest.fixture
def rolled(monkeypatch):
    """Arguments of every roll asked for; each ends as the test says."""
    asked = []

    def fake(*args):
        asked.append(args)
        return Roll(args[4], fake.outcome, np.zeros((0, 18)), 0.0, 0.0, 0.327)

    fake.outcome = "finished"
    monkeypatch.setattr(sim.trial, "roll", fake)
    return asked, fake


def test_a_roll_takes_the_candidate_through_the_references_program_once(setting, zoned, rolled):
    asked, _ = rolled
    candidate = Candidate("c", zoned, LEVEL)
    trial = Trial(candidate, replace(setting, contact_damping=7.0))
    result = trial.roll("glide")
    assert trial.roll("glide") is result and trial.finished("glide") is result and len(asked) == 1
    steel, ice, law, skater, scenario, steps, damping = asked[0]
    assert steel is candidate.steel and scenario is setting.scenarios["glide"] and damping == 7.0
    assert (ice, law, skater) == (setting.ice.numbers, setting.law, setting.skater)
    assert np.array_equal(steps.leg, setting.program("glide").leg)
    assert setting.contact_damping == 15.0, "s/m, unless stated"


def test_a_scenario_that_was_not_asked_for(setting, zoned):
    with pytest.raises(BladeError, match="scenario 'jump' was not asked for"):
        Trial(Candidate("c", zoned, LEVEL), setting).roll("jump")


@pytest.mark.parametrize("outcome, advice", [("fell", "raise the ankle stiffness"), ("sank", "lower the load")])
def test_a_roll_that_did_not_finish_is_refused_with_advice(setting, zoned, rolled, outcome, advice):
    rolled[1].outcome = outcome
    trial = Trial(Candidate("c", zoned, LEVEL), setting)
    assert trial.roll("glide").outcome == outcome
    with pytest.raises(BladeError, match=f"glide: {outcome} after 0.33 s: .*{advice}.*\\."):
        trial.finished("glide")
