"""How the rows of a comparison are judged: scores, parts, gains against their own line, and the cautions in words."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis.frontier import Gain
from experiments.analysis.variants import HeldLine
from experiments.request.objectives import Weighting
from experiments.studies.compare import study, terminal
from experiments.studies.compare.rows import Results, Row
from sim.measures import REGISTRY
from tests.experiments.analysis.hand import FT, ICE, PAIRS, TEN, blade, request, section_of, setting

RADII = np.geomspace(2.0, 5.0, 61)
PAIR = ("turn_drag", "push_hold_angle")
SCHEME = Weighting("w", {"turn_drag": 3.0, "push_hold_angle": 1.0}, {"turn_drag": "lower", "push_hold_angle": "higher"})


def row(name="a", skater="adult", index=0, reasons=None, **values) -> Row:
    return Row(index, name, "zoned", skater, dict.fromkeys(REGISTRY, 1.0) | values, reasons or {}, {}, {}, {}, {})


def test_every_row_is_judged_against_its_own_skater_and_its_own_line():
    """Costs of the line R^-1 and R^2 (the hold is R^-2): costs a, b have the gain (a^2 b)^(-1/3) at R^3 = b/a;
    the second line costs twice as much of both, so that the same blade gains twice as much against it."""
    line = {"turn_drag": 1 / RADII, "push_hold_angle": RADII**-2.0}
    twice = {"turn_drag": 2 / RADII, "push_hold_angle": RADII**-2.0 / 2}
    a, b = 0.3, 9.0
    rows = [row(turn_drag=a, push_hold_angle=1 / b), row(turn_drag=a, push_hold_angle=1 / b, skater="child"),
            row(turn_drag=math.nan, push_hold_angle=1 / b)]  # fmt: skip
    bases = {"adult": row(turn_drag=2 * a, push_hold_angle=4 / b), "child": row(turn_drag=a, push_hold_angle=1 / b)}
    results = Results(rows, RADII, {}, bases)
    asked = replace(request([blade(9, 11), blade(9, 11), blade(9, 11)], pairs=(PAIR,)), scheme=SCHEME)
    first, second = HeldLine(RADII, RADII, line), HeldLine(RADII, RADII, twice)
    study.judge_rows(results, asked, [first, second, first])
    gain = (a**2 * b) ** (-1 / 3)
    assert rows[0].gains[PAIR].gain == pytest.approx(gain, rel=1e-3)
    assert rows[0].gains[PAIR].radius_m == pytest.approx((b / a) ** (1 / 3), rel=1e-3)
    assert rows[1].gains[PAIR].gain == pytest.approx(2 * gain, rel=1e-3)
    assert math.isnan(rows[2].gains[PAIR].gain) and math.isnan(rows[2].score)
    # half the drag: 3/4 of one; a quarter of the hold: 1/4 of minus two
    assert rows[0].parts == {"turn_drag": pytest.approx(0.75), "push_hold_angle": pytest.approx(-0.5)}
    assert rows[0].score == pytest.approx(0.25) and rows[1].score == pytest.approx(0.0)


def test_a_line_is_computed_for_what_is_static_and_what_pairs_ask_for_besides():
    found = study.line_names(request([TEN], pairs=PAIRS))
    assert "stride_ice_loss" in found and "turn_time" not in found and len(found) == len(set(found))
    assert "steel_removed_depth" not in found and "stride_ice_loss" not in study.line_names(request([TEN]))


# ---------------------------------------------------------------- the crown of the hollow


@pytest.mark.parametrize(("away_um", "near"), [(9.9, True), (-9.9, True), (10.1, False), (-10.1, False), (90, False)])
def test_caution_within_ten_micrometres_of_the_crown(away_um, near):
    """A hollow of 12.7 mm on 3.0 mm is 88.9 um deep; on 16 mm it is 70.5 um (sagitta of the circle)."""
    deep = 12.7e-3 - math.sqrt(12.7e-3**2 - 1.5e-3**2)
    blades = [
        blade(9, name="a", section=section_of(3e-3, 12.7e-3)),
        blade(9, name="b", section=section_of(3e-3, 16e-3)),
    ]
    shallow = 16e-3 - math.sqrt(16e-3**2 - 1.5e-3**2)
    rows = [
        row("a", index=0, glide_groove_depth=deep + away_um * 1e-6),
        row("b", index=1, glide_groove_depth=shallow / 2),
    ]
    results = Results(rows, RADII, {}, {})
    assert terminal.near_crown_names(results, request(blades)) == (["a"] if near else [])
    rows[1].values["glide_groove_depth"] = shallow - away_um * 1e-6
    assert terminal.near_crown_names(results, request(blades)) == (["a", "b"] if near else [])


def test_the_caution_is_said_once_a_blade_and_with_its_distance():
    said = []
    console = SimpleNamespace(print=lambda text, *_: said.append(str(text)))
    one = request([TEN], setting())
    rows = [row("ten", skater=s, glide_groove_depth=section_of(2.9e-3, 12.7e-3).depth_m) for s in ("adult", "child")]
    terminal._cautions(Results(rows, RADII, {}, {}), one, console)
    assert said[0].startswith("Caution: ten glides with the groove within 10 um of the crown")
    assert said[1].startswith("Ankle stiffness over m g h, boot included: adult 2.32.")  # 1500/(77.6 x 9.80665 x 0.85)
    assert said[2] == "2 of 2 candidates have every measure."
    rows[1].reasons["turn_drag"] = "no"
    said.clear()
    terminal._cautions(Results(rows, RADII, {}, {}), one, console)
    assert said[2:] == ["1 of 2 candidates have every measure.", "  ten, child: 1 measures missing: no"]


def test_warm_ice_has_a_caution_and_other_ice_none():
    for degrees, warned in ((-1.0, True), (-1.3, False)):  # hardness is the melting pressure at -1.17 degC
        said = []
        console = SimpleNamespace(print=lambda text, *_, said=said: said.append(str(text)))
        one = request([TEN], setting(ice=replace(ICE, temperature_c=degrees)))
        terminal._cautions(Results([row("ten")], RADII, {}, {}), one, console)
        assert any(f"at {degrees:g} degC ice would melt" in text for text in said) == warned


# ---------------------------------------------------------------- how a gain reads


@pytest.mark.parametrize(
    ("gain", "words"),
    [
        (1.0051, "yes, 0.5 % past 9.0 ft"),
        (1.0049, "on the line, 9.0 ft"),
        (0.9951, "on the line, 9.0 ft"),
        (0.9949, "no, 9.0 ft has 0.5 % less"),
        (1.25, "yes, 25.0 % past 9.0 ft"),
        (math.nan, "n/a"),
    ],
)
def test_a_gain_in_words(gain, words):
    one = row()
    one.gains[PAIR] = Gain(gain, gain, 9 * FT, False)
    assert terminal._gain(one, PAIR) == words
    one.gains[PAIR] = Gain(gain, gain, 9 * FT, True)
    assert terminal._gain(one, PAIR) == (words if words == "n/a" else f"{words}, the end of the range")


def test_rows_are_shown_by_their_score_and_those_without_one_last():
    rows = [row(n) for n in "abcd"]
    for one, score in zip(rows, (0.1, math.nan, 0.3, -0.2)):
        one.score = score
    assert [r.candidate for r in terminal._by_score(rows)] == ["c", "a", "d", "b"]


def test_ratios_to_the_reference_and_values_of_which_a_ratio_means_nothing():
    base, one = row(turn_drag=2.0, heel_over_toe=0.001), row(turn_drag=2.5, heel_over_toe=-0.002)
    assert terminal._ratio(one, base, "turn_drag") == "1.250" and terminal._ratio(one, base, "heel_over_toe") == "-2.00"
    assert terminal._ratio(one, row(turn_drag=0.0), "turn_drag") == "n/a"
