"""What the findings say about starts, stops, speed and quickness: each verdict at its threshold."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from experiments.request.fields import Fields
from experiments.request.uncertainty import Input, Sampling
from experiments.run.workers import HERE, silent
from experiments.studies.findings import game_rules, rest_of_game
from experiments.studies.findings.game_rules import rules, verdict_of
from experiments.studies.findings.rest_of_game import Asked, RestOfGame, play, read_asked
from sim.errors import BladeError
from sim.measures import STATIC, evaluate
from sim.trial import Trial
from tests.experiments.analysis.hand import FT, SCENARIOS, TEN, blade, request, section_of, setting
from tests.experiments.analysis.judging.opinions_by_hand import OPINIONS

FELT = OPINIONS.felt

ASKED = Asked(8 * FT, 13 * FT, 0.35)


def game(stiff=(1.0, 1.2, 1.1), push=2.0, fast=6.0, **blades) -> RestOfGame:
    """Twenty draws alike: measures are 1 for short, long, reference, tight and wide hollow unless given; a loss 1 %."""
    values = np.ones((20, 5, len(STATIC)))
    values[:, :, STATIC.index("start_loss_share")] = 0.01
    for name, five in blades.items():
        values[:, :, STATIC.index(name)] = five
    return RestOfGame(ASKED, values, np.tile(stiff, (20, 1)), push, fast)


def row(rule, **given):
    (found,) = [r for r in rules(game(**given), FELT) if rule in r.rule]
    return found


@pytest.mark.parametrize(
    ("ratio", "verdict"),
    [(1.0501, "supported"), (1.0499, "no support"), (1.0, "no support"), (0.9525, "no support"), (0.952, "refuted")],
)
def test_a_verdict_turns_at_five_per_cent(ratio, verdict):
    assert verdict_of(np.full(20, ratio), FELT) == verdict


def test_the_whole_interval_counts_not_the_middle():
    """100 draws evenly from 1.00 to 1.10: the 90 % interval, 1.005 to 1.095, holds 1.05."""
    assert verdict_of(np.linspace(1.0, 1.1, 101), FELT) == "open"
    assert verdict_of(np.linspace(0.9, 1.0, 101), FELT) == "no support"
    assert verdict_of(np.linspace(1.046, 1.146, 101), FELT) == "supported", "5 % of the draws may lie below"
    assert verdict_of(np.array([1.2] * 19 + [math.nan]), FELT) == "could not be computed"


def test_a_push_is_kept_by_what_the_ice_leaves_of_it():
    """Short loses 2 %, long 1 %: 0.98/0.99 = -1.0 % kept; of 2 m/s the long one is 0.020 m/s ahead."""
    found = row("accelerates", start_loss_share=(0.02, 0.01, 1, 1, 1), start_hold_angle=(1, 1.1, 1, 1, 1))
    assert found.verdict == "no support" and "8 over 13 ft: -1.0 % (-1.0 % to -1.0 %)" in found.number
    assert "0.020 m/s ahead (0.020 to 0.020)" in found.why and "tilts further, +10.0 %" in found.why
    assert row("accelerates", start_loss_share=(0.01, 0.10, 1, 1, 1)).verdict == "supported"
    assert "ahead" not in row("accelerates", push=math.nan).why


def test_stopping_is_short_against_long_and_hollow_against_hollow():
    found = row("cannot stop", stop_deceleration=(4.0, 4.4, 4.2, 5.0, 4.0))
    assert found.verdict == "refuted" and "-9.1 %" in found.number and "stops harder, +25.0 %" in found.why
    assert row("cannot stop", stop_deceleration=(4.4, 4.0, 1, 1, 1)).verdict == "supported"


def test_across_and_steady_are_long_against_short():
    assert row("swing across", stop_across_moment=(1.0, 1.2, 9, 9, 9)).verdict == "supported"
    assert row("swing across", stop_across_moment=(1.2, 1.0, 9, 9, 9)).verdict == "refuted"
    found = row("steadier", fast_turn_reaction_delay=(0.30, 0.33, 9, 9, 9), fast_turn_drag=(10, 8, 9, 9, 9))
    assert found.verdict == "supported" and "+10.0 %" in found.number and "Drag -20.0 %" in found.why


def test_edge_to_edge_is_a_limit_and_says_which():
    quick = {"edge_change_time": (0.4, 0.6, 9, 9, 9)}
    found = row("edge to edge", **quick, stiff=(0.50, 9, 0.52))
    assert found.verdict == "supported as a limit" and "+50.0 %" in found.number
    assert "from 6.0 m/s" in found.why and "0.35 s" in found.why and "not shown: time of the reference" in found.why
    assert "+4.0 %" in found.why
    assert "not shown" not in row("edge to edge", **quick, stiff=(0.50, 9, 0.60)).why
    assert row("edge to edge", edge_change_time=(0.6, 0.4, 9, 9, 9)).verdict == "refuted"


def test_heel_to_toe_is_the_swing_of_the_leg():
    found = row("heel to toe", transfer_lean=(5.0, 4.0, 9, 9, 9), transfer_pitch=(2.0, 1.0, 9, 9, 9))
    assert found.verdict == "refuted" and "-20.0 %" in found.number and "short blade, +100.0 %" in found.why


def test_what_the_model_does_not_have_is_no_verdict():
    unseen = [r for r in rules(game(), FELT) if r.verdict == "cannot be seen"]
    assert len(unseen) == 3 and all("not modelled" in r.why or "leaves no chips" in r.why for r in unseen)
    assert all(r.number == "" for r in unseen)


def test_sizes_are_long_over_short_and_leave_out_what_is_not_known():
    found = dict(game_rules.sizes(game(stop_deceleration=(4.0, 5.0, 1, 1, 1), transfer_lean=math.nan)))
    assert len(found) == 10 and found["deceleration of a stop"] == pytest.approx([1.25] * 3)


# ---------------------------------------------------------------- the numbers behind


def test_the_five_blades_are_what_they_are_called():
    """Without uncertain inputs every draw is the measure itself, of five blades built by hand."""
    still = Sampling((Input("hardness_factor", stats.uniform(1.0, 1e-12), "none"),), 2, 1)
    found = play(request([TEN]), ASKED, still, HERE, silent)
    tight, wide = section_of(hollow_m=0.75 * 12.7e-3), section_of(hollow_m=1.5 * 12.7e-3)
    five = [blade(8), blade(13), blade(10), blade(10, section=tight), blade(10, section=wide)]
    for i, one in enumerate(five):
        wanted, _ = evaluate(Trial(one, setting()), STATIC)
        assert found.values[0, i] == pytest.approx([wanted[n] for n in STATIC], rel=1e-9, abs=1e-12)
    stiff = setting(skater=replace(setting().skater, stiff_body=True))
    wanted = [evaluate(Trial(one, stiff), ["edge_change_time"])[0]["edge_change_time"] for one in five[:3]]
    assert found.stiff[0] == pytest.approx(wanted, rel=1e-9)
    assert wanted[0] > found.of("edge_change_time", 0)[0], "a stiff body is slower"
    assert math.isnan(found.push_m_s), "no start is rolled"


def test_the_speed_that_is_enough_is_where_the_measure_itself_says_so():
    def missing(speed):
        states = setting().states | {"edge_change": replace(setting().states["edge_change"], speed_m_s=speed)}
        return evaluate(Trial(blade(13), setting(states=states)), ["edge_change_time"])[0]["edge_change_time"] - 0.35

    assert rest_of_game._fast(setting(), blade(13), 0.35) == pytest.approx(brentq(missing, 4.0, 9.0), rel=1e-9)


def test_a_start_step_gives_the_integral_of_its_sideways_push():
    """By trapezia over the record, by hand, times sin(50 deg) over 80 kg."""
    start = replace(SCENARIOS["stride"], name="start")
    here = setting(scenarios={"start": start})
    run = Trial(TEN, here).finished("start")
    push = run["load"] * np.sin(run["lean"])
    whole = float(np.sum(0.5 * (push[1:] + push[:-1]) * np.diff(run["time"])))
    assert rest_of_game._push(here) == pytest.approx(whole * math.sin(math.radians(50)) / 80.0, rel=1e-9)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"short_radius": "13 ft", "long_radius": "8 ft", "quick_enough": "0.35 s"}, "shorter than long_radius"),
        ({"short_radius": "8 ft", "long_radius": "flat", "quick_enough": "0.35 s"}, "neither flat"),
        ({"short_radius": "8 ft", "long_radius": "13 ft", "quick_enough": "0 s"}, "no time between edges"),
    ],
)
def test_what_makes_no_question_is_refused(given, words):
    with pytest.raises(BladeError, match=words):
        read_asked(Fields(given, ""))
