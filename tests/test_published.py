"""What is published, measured or said, against the solvers: each verdict is pinned, so that a change of it fails.

The printed note and the number must tell one story: where ours misses, its note says so.
"""

import csv
import io
import math
import string

import numpy as np
import pytest
from rich.console import Console

from experiments.run.workers import HERE, silent
from experiments.studies.validation import rocking
from experiments.studies.validation.checks import LONG_TRACK, MELTING, NO_REBOUND, RINK, at_mid, blade
from experiments.studies.validation.rocking import _against_mujoco
from experiments.studies.validation.study import Plan, run
from experiments.studies.validation.tables import table, write_csv, write_markdown
from sim import closed_forms
from sim.ice.contact import GAUSS
from sim.ice.drag import ploughing
from sim.ice.scrape import tightest_clean_radius

ALL = run(Plan(), HERE, silent)
CHECKS = {check.number: check for check in ALL}

# Largest relative gap, and why. Half a unit of the last printed digit is `digit(value, unit of that digit)`.


def digit(value, last):
    return 0.5 * last / value


AGREE = {
    "1a": digit(88.9, 0.1),
    "1b": digit(6.78, 0.01),
    "2a": digit(43.7, 0.1),
    "2b": digit(43.4, 0.1),
    "2c": digit(0.701, 0.001),
    "2d": 1e-6,  # exact for a parabola; the runner is a circle, and (l/R)^2 is 4e-6, a sixteenth of which shows
    "4a": 1e-6,  # exact; heights 5 mm from the apex of an ellipse leave (5 mm / 3 m)^2 / 4
    "4b": digit(3.464, 0.001),
    "4c": 1e-4,  # exact; 200 stations and 1000 columns resolve the swept area to 5e-5
    "4d": 1e-2,  # the reference says 'about 1.42'
    "4e": 1e-6,  # exact; gap read off a cubic table
    "5a": 1.1e-3,  # half a digit of 0.522; the march itself adds 1e-4
    "5b": 0.0,  # a band: inside or not
    "6": 0.0,
    "8b": 0.0,
    "9a": digit(59.9, 0.1),
    "9b": digit(2.00, 0.01),
    "10a": 5e-4,  # ankle of 1e7 N m/rad: 1e-4; amplitude 0.002 rad: 5e-5
    "10b": 2e-4,  # the stiff ankle, and leapfrog at 10 us
    "10c": 3e-4,  # the same, and MuJoCo's soft contact
    "10d": 1e-4,  # MuJoCo's soft contact and slip
}
# Where ours is known to miss: the gap as found, +-0.03. A better or a worse model has to change these words.
MISS = {"7a": -0.35, "7b": -0.30, "7c": -0.43, "8a": -0.38}
# Directions that come out as said, with the range in which ours lies: wide enough for other hardness and hollows, never
# across the value that would turn the direction round.
DIRECTION = {
    "3": (1.3, 1.9), "7d": (1.15, 1.6), "12a": (0.7, 0.9), "12b": (0.8, 0.95), "12c": (0.75, 0.92), "12e": (1.02, 1.1),
    "12f": (1.1, 1.3), "12g": (1.05, 1.3), "12h": (0.005, 0.05), "12i": (-0.005, 0.005), "12j": (0.75, 0.92),
}  # fmt: skip
# A direction that breaks down where the crown of the hollow comes clear of the ice: the radii between which it does,
# and the ratio of 8 to 12 ft. At 80 kg that turns the ratio round; at 100 kg it does not.
BROKEN = {"12d": ("From 8 to 10 ft", (0.97, 0.999)), "12k": ("From 12 to 13 ft", (1.05, 1.25))}
CANNOT = {"11"}


def test_every_check_has_its_expectation_and_no_number_is_used_twice():
    assert len(CHECKS) == len(ALL)
    assert set(CHECKS) == set(AGREE) | set(MISS) | set(DIRECTION) | set(BROKEN) | CANNOT


def test_all_twelve_items_are_covered():
    assert {int(number.rstrip(string.ascii_letters)) for number in CHECKS} == set(range(1, 13))


@pytest.mark.parametrize("number", AGREE)
def test_published_number_is_met(number):
    check = CHECKS[number]
    if check.note.startswith("not run"):
        pytest.skip(check.note)
    assert abs(check.gap) <= AGREE[number], f"{check.title}: {check.published} {check.unit}, ours {check.ours}"
    assert check.verdict == "agrees" and "Not reproduced" not in check.note


@pytest.mark.parametrize("number", MISS)
def test_a_known_miss_is_still_that_miss_and_says_so(number):
    check = CHECKS[number]
    assert check.gap == pytest.approx(MISS[number], abs=0.03)
    assert check.gap == pytest.approx(check.ours / check.published - 1, abs=1e-12)
    assert check.verdict == "disagrees"
    assert check.note.startswith(f"Not reproduced: ours is {abs(100 * check.gap):.0f} % low")


@pytest.mark.parametrize("number", DIRECTION)
def test_direction_is_reproduced(number):
    check, (low, high) = CHECKS[number], DIRECTION[number]
    assert low < check.ours < high
    assert check.verdict == "direction agrees" and check.published is None
    assert "Not reproduced" not in check.note


@pytest.mark.parametrize("number", BROKEN)
def test_direction_is_not_reproduced_and_says_so(number):
    check, (where, (low, high)) = CHECKS[number], BROKEN[number]
    assert low < check.ours < high
    assert check.verdict == "disagrees" and check.note.startswith(f"Not reproduced. {where} drag grows")


@pytest.mark.parametrize("number", CANNOT)
def test_what_the_model_cannot_see_says_why(number):
    check = CHECKS[number]
    assert check.verdict == "cannot see" and "no source" in check.note
    # 0.0137 to 0.0145 of 80 kg is 1.10 to 1.16 kg of foot: the 2.4 kg of skate and foot must hold it
    assert 80.0 * check.ours - 80.0 * 0.0145 == pytest.approx(1.24, abs=0.005)


def test_memory_and_trade_are_named_as_such():
    for number in ("2a", "2b", "2c", "6", "7a", "7b", "7c"):
        assert "value from memory" in CHECKS[number].source
    for number, check in CHECKS.items():
        assert check.source
        assert not number.startswith("12") or check.source == "common practice, no published source"


# A solver beside its closed form: `converged` where both mean the same, `model` where the form leaves something out.


def test_flat_upright_contact_meets_its_closed_form():
    load = 72 * 9.81
    patch = at_mid(LONG_TRACK, load, law=NO_REBOUND, ice=MELTING)
    length = closed_forms.upright_length(load, MELTING.hardness, LONG_TRACK.thickness)
    # converged: load is solved to 1e-13 in its logarithm; and since rim and deepest point lie alike about mid-runner,
    # the depth is 2 R sin^2(alpha) with sin(alpha) = l/2R: the closed form, without its parabola
    assert patch.front - patch.rear == pytest.approx(length, rel=1e-9), "the load is not solved for"
    assert patch.depth == pytest.approx(closed_forms.arc_depth(length, 22.0), rel=1e-9), "not the depth of that arc"
    force = ploughing(LONG_TRACK, MELTING, NO_REBOUND, patch, *GAUSS[24])
    assert force == pytest.approx(closed_forms.ploughing_force(load, MELTING.hardness, 1.1e-3, 22.0), rel=1e-9)


@pytest.mark.parametrize("lean_deg", [20, 30, 45])
def test_flat_edge_meets_its_closed_form(lean_deg):
    lean, steel = math.radians(lean_deg), blade("single_radius", 3.0, hollow=math.inf)
    load = 40 * 9.80665
    patch = at_mid(steel, load, lean, law=NO_REBOUND)
    length = closed_forms.edge_length(load, RINK.hardness, 3.0, lean)
    assert patch.depth < steel.thickness * math.tan(lean), "the outside edge is in the ice: the form does not hold"
    # converged: centred at mid-runner, the deepest point lies 3/8 l behind it, so that the pitch is (3/8) l/R = 7e-3;
    # lengths along the blade and along the ice differ by half of its square
    assert patch.front - patch.rear == pytest.approx(length, rel=3e-5)
    # model: with rebound the rear carries as well, which the form leaves out, and shortens the front
    sliding = at_mid(steel, load, lean)
    assert 0.9 < (sliding.front - sliding.deepest) / length < 1.0


@pytest.mark.parametrize("lean_deg", [10, 25, 40])
def test_clean_radius_meets_its_closed_form(lean_deg):
    lean, steel = math.radians(lean_deg), blade("single_radius", 3.0)
    patch = at_mid(steel, 80 * 9.80665, lean)
    assert patch.depth < steel.thickness * math.tan(lean), "the outside edge is in the ice: the form does not hold"
    found = tightest_clean_radius(steel, patch)
    form = closed_forms.tightest_clean_radius(3.0, lean, math.asin(2.9e-3 / 2 / 12.7e-3))
    assert found == pytest.approx(form, rel=1e-7)


# The page


def test_table_is_readable_at_120_columns():
    console = Console(width=120, record=True, file=io.StringIO())
    console.print(table(ALL))
    lines = console.export_text().splitlines()
    assert max(len(line) for line in lines) <= 120
    text = "\n".join(lines)
    assert "…" not in text, "a cell is cut"
    assert all(f"│ {number} " in text for number in CHECKS)


def test_csv_and_markdown_carry_every_check_and_its_source(tmp_path):
    write_csv(ALL, tmp_path / "checks.csv")
    with (tmp_path / "checks.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["number"] for row in rows] == list(CHECKS)
    for row in rows:
        check = CHECKS[row["number"]]
        assert float(row["ours"]) == check.ours
        if isinstance(check.published, float):
            assert float(row["published_low"]) == float(row["published_high"]) == check.published
    write_markdown(ALL, tmp_path / "checks.md")
    text = (tmp_path / "checks.md").read_text(encoding="utf-8")
    assert all(check.source in text and check.title in text for check in CHECKS.values())
    widths = {line.count("|") for line in text.splitlines() if line.startswith("|")}
    assert widths == {9}


def test_without_mujoco_the_rows_say_so(monkeypatch):
    monkeypatch.setattr(rocking, "rocking_mujoco", lambda grip: None)
    check = _against_mujoco("10c", "x", 0.0, 0.4, "")
    assert (check.verdict, check.published, check.note) == ("cannot see", None, "not run: install arcstride[test]")
    assert "not run" in check.note and np.isfinite(check.ours)
