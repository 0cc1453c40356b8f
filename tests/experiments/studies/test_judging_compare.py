"""How the rows of a comparison are judged: scores, parts, gains against their own line, and the cautions in words."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis.draws import intervals, ratio_samples, run_draws
from experiments.analysis.frontier import Gain
from experiments.analysis.variants import HeldLine
from experiments.report.words import groups_text
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.objectives import Weighting
from experiments.request.uncertainty import Sampling, read_inputs
from experiments.run.workers import HERE, silent
from experiments.studies.compare import study, terminal
from experiments.studies.compare.rows import Results, Row
from sim.errors import BladeError
from sim.measures import REGISTRY
from tests.experiments.analysis.hand import FT, ICE, PAIRS, TEN, blade, draws_of, request, section_of, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

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
    assert said[0].startswith("Caution: every blade glides with the groove within 10 µm of the crown")
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


JUDGED = request([TEN, blade(9, name="nine")], setting(), pairs=(PAIR,), opinions=OPINIONS)


@pytest.mark.parametrize(
    ("gain", "words"),
    [(1.0051, "nominal +0.5 %, 9.0 ft"), (0.99996, "nominal +0.0 %, 9.0 ft"), (0.9, "nominal -10.0 %, 9.0 ft"),
     (math.nan, "n/a")],
)  # fmt: skip
def test_a_nominal_gain_in_words_makes_no_claim(gain, words):
    one = row()
    one.gains[PAIR] = Gain(gain, gain, 9 * FT, False)
    assert terminal._stands(one, PAIR, None, JUDGED) == words
    one.gains[PAIR] = Gain(gain, gain, 9 * FT, True)
    assert terminal._stands(one, PAIR, None, JUDGED) == (words if words == "n/a" else f"{words}, the end of the range")


@pytest.mark.parametrize(
    ("gains", "words"),
    [
        ([1.02] * 20, "beyond every single radius (+2.0 % to +2.0 %)"),
        ([1.02] * 19 + [1.0], "beyond every single radius (+1.9 % to +2.0 %)"),  # 95 % of the draws
        ([1.02] * 18 + [1.0] * 2, "cannot tell: beyond in 90 % (+0.0 % to +2.0 %)"),
        ([1.0] * 20, "on the line (+0.0 % to +0.0 %)"),
        ([0.98] * 20, "inside the line (-2.0 % to -2.0 %)"),
        ([0.98] * 10 + [1.0] * 10, "not beyond (-2.0 % to +0.0 %)"),
        ([math.nan] * 20, "could not be computed"),
    ],
)
def test_a_statement_holds_for_the_draws_of_its_own_blade_and_pair(gains, words):
    one = row("nine")
    one.gains[PAIR] = Gain(1.0, 1.0, 9 * FT, False)
    both = np.stack([np.full(20, 1.5), gains], axis=1)[:, :, None]
    draws = draws_of({}, names=("ten", "nine"), gain=both, pairs=(PAIR,))
    assert terminal._stands(one, PAIR, draws, JUDGED) == f"{words}\nnominal +0.0 %, 9.0 ft"
    assert terminal._stands(one, PAIR, replace(draws, pairs=(PAIR[::-1],)), JUDGED).startswith("one run\n")


def test_places_in_tie_groups():
    assert groups_text([[2], [0, 3, 1], [4]], "abcde") == "1: c; 2 to 4 tied: a, d, b; 5: e"
    assert groups_text([], "a") == ""


def test_what_turns_the_first_place_round():
    """turn drag weighs 3 of 4, hold 1: logs of a (0.10, 0.00), b (0.08, 0.04): 0.075 against 0.070. A share t moved
    to hold takes 0.02 t from the lead and gives b 0.04 t: 0.005 = 0.06 t, t = 8.3 %."""
    drag = np.tile(2.0 ** -np.array([0.10, 0.08]), (9, 1))
    hold = np.tile(2.0 ** np.array([0.0, 0.04]), (9, 1))
    draws = draws_of({"turn_drag": drag, "push_hold_angle": hold}, names=("a", "b"))
    assert terminal.flip_text(draws, JUDGED) == (
        "By medians a is first; b would be when 8.3 % of the weight moves to hold angle at push."
    )
    close = draws_of({"turn_drag": np.tile(2.0 ** -np.array([0.10, 0.09]), (9, 1)), "push_hold_angle": hold},
                     names=("a", "b"))  # fmt: skip
    assert terminal.flip_text(close, JUDGED).startswith("By medians b is first; a would be when 5.0 %")
    ahead = draws_of({"turn_drag": drag}, names=("a", "b"))
    assert terminal.flip_text(ahead, JUDGED) == "a stays first however these weights are shared out."


def test_rows_are_shown_by_their_score_and_those_without_one_last():
    rows = [row(n) for n in "abcd"]
    for one, score in zip(rows, (0.1, math.nan, 0.3, -0.2)):
        one.score = score
    assert [r.candidate for r in terminal._by_score(rows)] == ["c", "a", "d", "b"]


def test_ratios_to_the_reference_and_values_of_which_a_ratio_means_nothing():
    base, one = row(turn_drag=2.0, heel_over_toe=0.001), row(turn_drag=2.5, heel_over_toe=-0.002)
    assert terminal._ratio(one, base, "turn_drag", {}, None) == "1.25"
    assert terminal._ratio(one, base, "heel_over_toe", {}, None) == "-2.00"
    assert terminal._ratio(one, row(turn_drag=0.0), "turn_drag", {}, None) == "n/a"


def test_a_drawn_ratio_is_its_median_over_its_interval_and_not_the_nominal_one():
    """101 draws of b evenly from 1.00 to 2.00 times the reference: 1.05, 1.50, 1.95; heights in mm, as differences."""
    even = np.linspace(1.0, 2.0, 101)
    draws = draws_of({"turn_drag": np.stack([even * 0 + 1, even], axis=1),
                      "heel_over_toe": np.stack([even * 0, even * 1e-3], axis=1)}, names=("a", "b"),
                     references={"heel_over_toe": np.zeros(101)})  # fmt: skip
    spread = {name: intervals(ratio_samples(draws, name)) for name in ("turn_drag", "heel_over_toe")}
    one, base = row("b", turn_drag=9.0), row(turn_drag=1.0)
    assert terminal._ratio(one, base, "turn_drag", spread, draws) == "1.50\n1.05-1.95"
    assert terminal._ratio(one, base, "heel_over_toe", spread, draws) == "+1.50\n+1.05 to +1.95"
    assert terminal._ratio(one, base, "nudge_shift", spread, draws) == "1.000", "rolled: one run"


@pytest.mark.parametrize(("given", "drawn"), [(0, None), (16, 16), (128, 128)])
def test_draws_are_asked_for_or_not(given, drawn):
    config = composed([f"draws={given}"])[0]
    own = {key: config[key] for key in study.KEYS}
    plan = study.read(own, {key: value for key, value in config.items() if key not in own})
    assert (plan.sampling and plan.sampling.draws) == drawn and plan.drawn == bool(drawn)


def test_too_few_draws_are_refused_and_too_many_blades_are_not_drawn():
    config = composed(["draws=15"])[0]
    own = {key: config[key] for key in study.KEYS}
    with pytest.raises(BladeError, match="draws: 15 are too few"):
        study.read(own, {key: value for key, value in config.items() if key not in own})
    some = [blade(9, name=f"b{i}") for i in range(41)]
    assert study.Plan(request(some[:40]), "sampling").drawn and not study.Plan(request(some), "sampling").drawn


def test_each_skater_is_drawn_apart_with_the_numbers_of_a_study_of_its_own(monkeypatch):
    inputs = read_inputs(Fields(composed([])[0]["uncertainty"], "uncertainty"))
    one = request([blade(9, name="nine"), TEN], detail="static", line_m=(8 * FT, 12 * FT))
    heavy = setting(skater=replace(setting().skater, name="heavy", mass_kg=100.0))
    cases = (*one.cases, *(replace(c, index=c.index + 2, setting=heavy) for c in one.cases))
    both = replace(one, cases=cases, settings=(one.settings[0], heavy))
    found = study.run(study.Plan(both, Sampling(inputs, 16, 3)), HERE, silent)
    alone = run_draws(replace(one, cases=cases[2:], settings=(heavy,)), inputs, 16, 3)
    assert list(found.draws) == ["adult", "heavy"]
    assert np.array_equal(found.draws["heavy"].values, alone.values, equal_nan=True)
    assert not np.array_equal(found.draws["adult"].values, alone.values, equal_nan=True)


def test_of_many_blades_those_with_the_greatest_gain_on_each_pair_are_shown():
    """45 rows, gains falling on one pair and rising on the other: 7 of either end, each pair's best first."""
    rows = [row(f"b{i}", index=i) for i in range(45)]
    pairs = (PAIR, PAIR[::-1])
    for i, one in enumerate(rows):
        one.gains = {pairs[0]: Gain(2.0 - i / 100, 1.0, 3.0, False), pairs[1]: Gain(1.0 + i / 100, 1.0, 3.0, False)}
    rows[0].gains[pairs[0]] = Gain(math.nan, math.nan, math.nan, False)
    asked = request([TEN], pairs=pairs, scheme=Weighting("none", {}, {}))
    assert [r.index for r in terminal.best_rows(rows, asked)] == [*range(1, 8), *range(44, 37, -1)]
    assert terminal.best_rows(rows, replace(asked, pairs=())) == rows[:15]
    for one in rows:
        one.score = one.index
    assert [r.index for r in terminal.best_rows(rows, replace(asked, scheme=SCHEME))] == list(range(44, 29, -1))
