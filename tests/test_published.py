"""What is published, measured or said, against the solvers: each verdict is pinned, so that a change of it fails.

The printed note and the number must tell one story: where ours misses, its note says so.
"""

import math
import string

import numpy as np
import pytest

from experiments.run.workers import HERE, silent
from experiments.studies.validation import rocking
from experiments.studies.validation.checks import AT_ZERO, PLAIN, RINK, at_mid, blade, long_track
from experiments.studies.validation.ours import RIGID
from experiments.studies.validation.rocking import _against_mujoco
from experiments.studies.validation.study import Plan, run
from sim import closed_forms
from sim.ice.contact import GAUSS
from sim.ice.drag import ploughing
from sim.ice.scrape import tightest_clean_radius
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

ALL = run(Plan(OPINIONS.felt), HERE, silent)
CHECKS = {check.number: check for check in ALL}

# Largest relative gap, and why. Half a unit of the last printed digit is `digit(value, unit of that digit)`.


def digit(value, last):
    return 0.5 * last / value


TEXTBOOK = {
    "1a": digit(88.9, 0.1),
    "1b": digit(6.78, 0.01),
    "2a": digit(43.7, 0.1),
    "2b": digit(43.4, 0.1),
    "2c": digit(0.701, 0.001),
    "9a": digit(59.9, 0.1),
    "9b": digit(2.00, 0.01),
    "10a": 5e-4,  # ankle of 1e7 N m/rad: 1e-4; amplitude 0.002 rad: 5e-5
    "14a": 1e-4,  # the fit is within 1.1e-4 K of the standard
    "14b": 2e-4,  # the same, where both curves cross at 0.08 K/MPa against 1.7 MPa/K
}
OURS = {
    "2d": 1e-6,  # exact for a parabola; the runner is a circle, and (l/R)^2 is 4e-6, a sixteenth of which shows
    "4a": 1e-6,  # exact; heights 5 mm from the apex of an ellipse leave (5 mm / 3 m)^2 / 4
    "4b": digit(3.464, 0.001),
    "4c": 1e-4,  # exact; 200 stations and 1000 columns resolve the swept area to 5e-5
    "4d": 1e-2,  # the reference says 'about 1.42'
    "4e": 1e-6,  # exact; gap read off a cubic table
    "5": 1.1e-3,  # half a digit of 0.522; the march itself adds 1e-4
    "10b": 2e-4,  # the stiff ankle, and leapfrog at 10 us
    "10c": 3e-4,  # the same, and MuJoCo's soft contact
    "10d": 1e-4,  # MuJoCo's soft contact and slip
}
# Measured magnitudes: the gap as found, +-0.03. A better or a worse model has to change these words. The r rows are as
# shipped, with an added roughness that was sized from the other gaps.
MISS = {"7a": -0.38, "7b": -0.30, "7c": -0.42, "8a": -0.39, "7cr": -0.21, "8ar": -0.17}
MET = {"7ar": -0.06, "7br": -0.05}
# Directions that come out as said, with the range in which ours lies: wide enough for other hardness and hollows, never
# across the value that would turn the direction round.
DIRECTION = {"3": (1.3, 1.9), "7d": (1.15, 1.6), "7e": (5.0, 14.0)}
# Rules of the trade: verdict, range of what is shown.
SAID = {
    "12a": ("supported", (0.8, 0.95)), "12b": ("supported", (1.1, 1.3)), "12c": ("supported", (0.75, 0.95)),
    "12d": ("partly supported", (1.05, 1.1)), "12f": ("supported", (1.1, 1.2)), "12g": ("supported", (2.0, 4.0)),
    "12h": ("too small to feel", (0.02, 0.2)),
}  # fmt: skip
INPUTS = {"11", "13"}


def test_every_check_has_its_expectation_and_no_number_is_used_twice():
    assert len(CHECKS) == len(ALL)
    expected = [*TEXTBOOK, *OURS, *MISS, *MET, *DIRECTION, *SAID, *INPUTS]
    assert sorted(CHECKS) == sorted(expected)


def test_all_items_are_covered_but_the_arc_whose_band_cannot_be_missed():
    assert {int(n.rstrip(string.ascii_letters)) for n in CHECKS} == set(range(1, 15)) - {6}


@pytest.mark.parametrize(("part", "word", "number"), [*(("textbook", "agrees", n) for n in TEXTBOOK),
                                                      *(("ours", "consistent", n) for n in OURS)])  # fmt: skip
def test_a_number_to_be_met_is_met(part, word, number):
    check = CHECKS[number]
    if check.note.startswith("not run"):
        pytest.skip(check.note)
    assert check.part == part
    most = (TEXTBOOK | OURS)[number]
    assert abs(check.gap) <= most, f"{check.title}: {check.published} {check.unit}, ours {check.ours}"
    assert check.verdict == word and word.capitalize() not in check.note


@pytest.mark.parametrize("number", [*MISS, *MET])
def test_a_measured_magnitude_is_as_far_off_as_it_says(number):
    check, gap = CHECKS[number], (MISS | MET)[number]
    assert check.part == "measured"
    assert check.gap == pytest.approx(gap, abs=0.03)
    assert check.gap == pytest.approx(check.ours / check.published - 1, abs=1e-12)
    low = f"Not reproduced: ours is {abs(100 * check.gap):.0f} % low"
    assert check.verdict == ("not reproduced" if number in MISS else "reproduced")
    assert check.note.startswith(low) == (number in MISS)


def test_added_roughness_is_said_to_check_nothing_and_adds_what_it_is():
    for number in ("7a", "7b", "7c"):
        bare, shipped = CHECKS[number], CHECKS[f"{number}r"]
        assert shipped.ours - bare.ours == pytest.approx(0.0015, rel=1e-9)
        assert (bare.variant, shipped.variant) == ("smooth", "shipped")
        assert "no check of the level" in shipped.note and f"Without it {100 * bare.gap:+.0f} %" in shipped.note
    watts = CHECKS["8ar"].ours - CHECKS["8a"].ours
    lean = math.atan(10.5**2 / (9.80665 * 27))
    assert watts == pytest.approx(0.0015 * 75 * 9.80665 * 10.5 * (1 + 1 / math.cos(lean)) / 2, rel=1e-9)


@pytest.mark.parametrize("number", DIRECTION)
def test_direction_is_reproduced(number):
    check, (low, high) = CHECKS[number], DIRECTION[number]
    assert low < check.ours < high
    assert check.verdict == "reproduced" and check.published is None
    assert "Not reproduced" not in check.note


@pytest.mark.parametrize("number", SAID)
def test_a_rule_of_the_trade_has_its_verdict(number):
    check, (verdict, (low, high)) = CHECKS[number], SAID[number]
    assert check.part == "trade" and check.published is None
    assert check.verdict == verdict and low < check.ours < high


def test_inputs_stand_beside_their_measurement_and_are_not_judged():
    assert all(CHECKS[n].verdict == "an input" for n in INPUTS)
    # 0.0137 to 0.0145 of 80 kg is 1.10 to 1.16 kg of foot: the 2.4 kg of skate and foot must hold it
    assert 80.0 * CHECKS["11"].ours - 80.0 * 0.0145 == pytest.approx(1.24, abs=0.005)
    ankle = CHECKS["13"]
    assert ankle.ours == pytest.approx(1500 / (77.6 * 9.80665 * 0.85), rel=1e-9)
    assert ankle.published == pytest.approx((0.68, 1.14)) and "2.32" in ankle.note


def test_the_two_pivots_are_told_apart():
    """N m on the forefoot at 8, 10, 13 ft; the long-track runner is easier to twist slowly, harder suddenly."""
    note = CHECKS["12a"].note
    for words in ("slow in 1.29, 1.45, 1.65 (0.72)", "sudden in 1.85, 2.04, 2.27 (2.40)"):
        assert words in note
    assert CHECKS["12b"].ours == pytest.approx(2.40 / 2.04, abs=0.01)
    assert "In a slow one it is 0.50 and 0.41" in CHECKS["12b"].note


def test_longer_glides_better_in_most_cases_and_the_others_stand_on_the_crown_step():
    note = CHECKS["12d"].note
    assert "above 1 in 172 of 180 combinations" in note
    assert "Of the 8 exceptions, by 2.0 % at most, 7 are at 8 m/s and 8 on the crown step (60 of all are)" in note


def test_the_warm_edge_is_where_two_published_curves_cross():
    assert CHECKS["14a"].ours == pytest.approx(-1.354, abs=5e-4)
    assert CHECKS["14b"].ours == pytest.approx(-1.17, abs=5e-3)
    assert "-0.97" in CHECKS["14b"].note and "-1.38" in CHECKS["14b"].note


def test_memory_and_trade_are_named_as_such():
    for number in ("2a", "2b", "2c", "7a", "7b", "7c"):
        assert "value from memory" in CHECKS[number].source
    for check in ALL:
        assert check.source and check.refuted_by
        assert (check.part == "trade") == (check.source == "common practice, no published source")


# A solver beside its closed form: `converged` where both mean the same, `model` where the form leaves something out.


def test_flat_upright_contact_meets_its_closed_form():
    load = 72 * 9.81
    patch = at_mid(long_track(), load, law=PLAIN, ice=AT_ZERO)
    length = closed_forms.upright_length(load, AT_ZERO.hardness, long_track().thickness)
    # converged: load is solved to 1e-13 in its logarithm; and since rim and deepest point lie alike about mid-runner,
    # the depth is 2 R sin^2(alpha) with sin(alpha) = l/2R: the closed form, without its parabola
    assert patch.front - patch.rear == pytest.approx(length, rel=1e-9), "the load is not solved for"
    assert patch.depth == pytest.approx(closed_forms.arc_depth(length, 22.0), rel=1e-9), "not the depth of that arc"
    force = ploughing(long_track(), AT_ZERO, PLAIN, patch, *GAUSS[24])
    assert force == pytest.approx(closed_forms.ploughing_force(load, AT_ZERO.hardness, 1.1e-3, 22.0), rel=1e-9)


@pytest.mark.parametrize("lean_deg", [20, 30, 45])
def test_flat_edge_meets_its_closed_form(lean_deg):
    lean, steel = math.radians(lean_deg), blade("single_radius", 3.0, hollow=math.inf)
    load = 40 * 9.80665
    patch = at_mid(steel, load, lean, law=PLAIN)
    length = closed_forms.edge_length(load, RINK.hardness, 3.0, lean)
    assert patch.depth < steel.thickness * math.tan(lean), "the outside edge is in the ice: the form does not hold"
    # converged: centred at mid-runner, the deepest point lies 3/8 l behind it, so that the pitch is (3/8) l/R = 7e-3;
    # lengths along the blade and along the ice differ by half of its square
    assert patch.front - patch.rear == pytest.approx(length, rel=3e-5)
    # model: with rebound the rear carries as well, which the form leaves out, and shortens the front
    sliding = at_mid(steel, load, lean, law=RIGID)
    assert 0.9 < (sliding.front - sliding.deepest) / length < 1.0


@pytest.mark.parametrize("lean_deg", [10, 25, 40])
def test_clean_radius_meets_its_closed_form(lean_deg):
    lean, steel = math.radians(lean_deg), blade("single_radius", 3.0)
    patch = at_mid(steel, 80 * 9.80665, lean, law=RIGID)
    assert patch.depth < steel.thickness * math.tan(lean), "the outside edge is in the ice: the form does not hold"
    found = tightest_clean_radius(steel, patch)
    form = closed_forms.tightest_clean_radius(3.0, lean, math.asin(2.9e-3 / 2 / 12.7e-3))
    assert found == pytest.approx(form, rel=1e-7)


def test_without_mujoco_the_rows_say_so(monkeypatch):
    monkeypatch.setattr(rocking, "rocking_mujoco", lambda grip: None)
    check = _against_mujoco("10c", "ours", "x", 0.0, 0.4, "")
    assert (check.verdict, check.published, check.note) == ("not run", None, "not run: install arcstride[test]")
    assert np.isfinite(check.ours)
