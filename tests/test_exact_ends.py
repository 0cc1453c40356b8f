"""The very last of a range: ends of the steel, loads that just count, and one damping wherever it is not stated."""

from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace

import pytest
import yaml

from sim.errors import BladeError
from sim.measures import REGISTRY, Measure
from sim.quantities import parse_quantity
from sim.rolling import scenarios as rolling
from sim.rolling.scenarios import Roll, longest_step
from sim.trial import Candidate, Setting, State, Trial
from tests.cases import LEVEL
from tests.rolling.test_scenarios import record
from tests.test_measures import Recorded

LAW = Path(__file__).parents[1] / "configs" / "law" / "standard.yaml"


@pytest.mark.parametrize("end", ["heel", "toe"])
def test_the_very_end_of_the_steel_is_off_it(setting, zoned, end):
    """No load has its centre at the last point of a runner."""
    steel = Candidate("c", zoned, LEVEL).steel
    line = steel.x_first if end == "heel" else steel.x_first + steel.dx * (len(steel.z) - 1)
    states = setting.states | {"glide": State(line)}
    with pytest.raises(BladeError, match="is off the steel"):
        Trial(Candidate("c", zoned, LEVEL), replace(setting, states=states)).patch("glide")


def test_a_blade_that_carries_just_a_fifth_of_body_weight_is_not_yet_counted(setting, scenarios):
    fifth = 0.2 * setting.skater.weight_n
    run = Recorded(setting, scenarios["stride"], load=[fifth, 900.0, 900.0, fifth], pitch=[-0.5, 0.0, 0.011, 0.5],
                   balance_position=[-0.9, 0.01, 0.03, 0.9])  # fmt: skip
    assert REGISTRY["stride_balance_travel"].function(run) == pytest.approx(0.02)
    assert REGISTRY["stride_pitch_travel"].function(run) == pytest.approx(0.011)


def test_just_a_tenth_of_the_peak_is_settled(setting, scenarios):
    """Shoved at 0.15 s, half a metre at 0.2 s, and a tenth of that to the bit at 0.3 s."""
    shoved = replace(scenarios["nudge"], impulse_at_s=0.15)
    run = Recorded(setting, shoved, time=[0.0, 0.1, 0.2, 0.3, 0.4, 0.5], balance_position=[0, 0, 0.5, 0.10 * 0.5, 0, 0])
    assert REGISTRY["nudge_settling_time"].function(run) == pytest.approx(0.15)


def test_a_row_at_the_instant_of_the_shove_is_no_longer_before_it(setting, scenarios):
    """Shoved at 0.2 s, where a row stands 4 mm off; the last before it stands at 0."""
    shoved = replace(scenarios["nudge"], impulse_at_s=0.2)
    run = Recorded(setting, shoved, time=[0.0, 0.1, 0.2, 0.3, 0.4, 0.5], balance_position=[0, 0, 0.004, 0.01, 0, 0])
    assert REGISTRY["nudge_shift"].function(run) == pytest.approx(0.010)
    assert REGISTRY["nudge_settling_time"].function(run) == pytest.approx(0.2)


def test_a_twentieth_of_body_weight_asks_for_no_step(skater, scenarios):
    """The first row would be a thousand times stiffer than the second."""
    loads = [0.05 * skater.weight_n, skater.weight_n]
    rows = record(load=loads, depth=[1e-12, 1e-6], balance_position=[-0.02] * 2)
    alone = record(load=loads[1:], depth=[1e-6], balance_position=[-0.02])
    step, wanted = (longest_step(Roll(scenarios["glide"], "finished", r, 0, 0, 1), skater) for r in (rows, alone))
    assert step == wanted


def test_the_contact_is_damped_alike_wherever_nothing_is_said(skater, scenarios, monkeypatch):
    """15 s/m: of the shipped law, of a setting without one, and of a roll by itself."""
    taken = []
    monkeypatch.setattr(rolling, "first_instant", lambda *_: ("patch", 0.0, (0.0, 0.0, 0.0)))
    monkeypatch.setattr(rolling, "_attempt", lambda *given: taken.append(given[8:]))
    monkeypatch.setattr(rolling, "longest_step", lambda done, skater: 1.0)
    nothing = SimpleNamespace(load=[800.0], tan_lean=[0.0], rest=[0.0], leg=[0.0])
    rolling.roll(None, None, None, skater, scenarios["glide"], nothing)
    stated = parse_quantity(yaml.safe_load(LAW.read_text(encoding="utf-8"))["contact_damping"], "s/m", "law")
    of_setting = next(f.default for f in fields(Setting) if f.name == "contact_damping")
    assert taken == [(15.0, False)] and stated == of_setting == 15.0


def test_a_measure_without_a_unit_for_people_is_shown_as_it_is():
    plain = Measure("m", "s", "a time", "glide", "lower", "sooner", lambda trial: 2.5)
    assert (plain.to_shown(2.5), plain.shown_unit, plain.signed, plain.short) == (2.5, "s", False, "")


def test_a_blade_that_does_not_start_has_no_energy_to_account_for(zoned, setting, scenarios, monkeypatch):
    monkeypatch.setattr("sim.rolling.scenarios.equilibrium", lambda *_: None)
    trial = Trial(Candidate("c", zoned, LEVEL), replace(setting, scenarios={"glide": scenarios["glide"]}))
    lost = trial.roll("glide")
    assert (lost.outcome, lost.series.shape[0], lost.leak_j, lost.work_j, lost.seconds) == ("no_start", 0, 0.0, 0.0, 0)


def test_a_state_that_says_nothing_stands_upright_and_still_under_body_weight():
    assert State(0.01) == State(0.01, lean_rad=0.0, load_bw=1.0, speed_m_s=0.0, path_radius_m=0.0)
