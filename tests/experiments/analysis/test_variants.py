"""Every uncertain input by name: what it changes, which way, by how much, and that it changes nothing else."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from experiments.analysis.variants import (
    drawn_setting,
    gains,
    line_costs,
    runner_like,
    single_radius,
    static_pairs,
    statics,
    varied_candidate,
    varied_setting,
)
from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.request.fields import Fields
from experiments.request.uncertainty import GRINDING, INPUTS, read_inputs
from sim.blade.recipe import Recipe, Sweep
from sim.errors import BladeError
from sim.ice.rebound import RECTANGLE
from sim.measures import STATIC, evaluate
from sim.trial import Candidate, State, Trial
from tests import reference_model
from tests.cases import LeanedSection
from tests.experiments.analysis.hand import (
    FT,
    LAW,
    PAIRS,
    SCENARIOS,
    STATES,
    TEN,
    blade,
    changed,
    section_of,
    setting,
)

# input: (its number, what of the setting it changes and to what); the starting values stand in hand.py
OF_SETTING = {
    "hardness_factor": (1.1, {"ice.hardness_factor": 1.1}),
    "rebound_factor": (0.6, {"law.rebound_factor": 0.6}),
    "steel_sink": (2e4, {"law.sink": 2e4}),
    "roughness": (0.002, {"law.rough": 0.002}),
    "passive_share": (0.8, {"skater.passive_share": 0.8}),
    "height_shift": (-5e-3, {"reference.section.height_m": 20e-3}),
    "span_factor": (0.5, {"reference.section.span_m": 37.5e-3}),
    "temperature_shift": (3.0, {"ice.temperature_c": -2.0}),
    "scuff": (0.05, {"law.scuff": 0.05}),
    "mass_factor": (1.1, {"skater.mass_kg": 88.0}),
    "ankle_stiffness_factor": (1.2, {"skater.ankle_stiffness": 1800.0}),
    "guide_rate": (300.0, {}),  # of movements: below
    "glide_line_shift": (
        0.005,
        {"states.glide.line_m": -0.010, "states.stop.line_m": 0.005, "states.stop_across.line_m": 0.005},
    ),
    "turn_line_shift": (
        0.005,
        {"states.turn.line_m": 0.035, "states.fast_turn.line_m": 0.005, "states.edge_change.line_m": 0.035},
    ),
    "push_line_shift": (-0.005, {"states.push.line_m": 0.065, "states.start_push.line_m": 0.050}),
    "start_speed_factor": (0.5, {"states.start_push.speed_m_s": 1.0}),
    "start_angle_shift": (-0.1, {"states.start_push.turned_out_rad": 0.7726646259971648}),
    "stop_lean_shift": (0.1, {"states.stop.lean_rad": 0.4490658503988659}),
    "across_lean_shift": (-0.05, {"states.stop_across.lean_rad": 0.12453292519943295}),
    "across_load_factor": (1.5, {"states.stop_across.load_bw": 0.45}),
    "edge_lean_shift": (0.05, {"states.edge_change.lean_rad": 0.3117993877991494}),
    "edge_speed_factor": (1.25, {"states.edge_change.speed_m_s": 5.0}),
    "pivot_line_shift": (0.005, {"states.pivot_forefoot.line_m": 0.050, "states.pivot_heel.line_m": -0.040}),
    "hollow_factor": (1.25, {"reference.section.hollow_m": 15.875e-3}),
    "thickness_shift": (0.05e-3, {"reference.section.thickness_m": 2.95e-3}),
    "edge_shift": (10e-6, {"reference.section.proud_m": 10e-6}),
    "radius_factor": (1.01, {}),  # the reference is ground without errors
    "boundary_shift": (0.002, {}),
    "level_shift": (0.002, {}),
}
ZONED = blade(8, 10, 12, level_m=0.001)  # three zones of 80 mm
# ... and of a blade of 8/10/12 ft in equal zones of 80 mm, level point at 1 mm
OF_BLADE = {
    "hollow_factor": (1.25, {"section.hollow_m": 15.875e-3}),
    "thickness_shift": (-0.05e-3, {"section.thickness_m": 2.85e-3}),
    "edge_shift": (-10e-6, {"section.proud_m": -10e-6}),
    "height_shift": (5e-3, {"section.height_m": 30e-3}),
    "span_factor": (2.0, {"section.span_m": 150e-3}),
    "radius_factor": (1.25, {"recipe.radii_m.0": 3.048, "recipe.radii_m.1": 3.81, "recipe.radii_m.2": 4.572}),
    "boundary_shift": (0.002, {"recipe.shares.0": 0.082, "recipe.shares.1": 0.080, "recipe.shares.2": 0.078}),
    "level_shift": (0.002, {"recipe.level_m": 0.003}),
}


def test_every_input_is_covered_here_by_name():
    missing = set(INPUTS) - set(OF_SETTING)
    assert not missing, f"no test says what {sorted(missing)} changes: add a line to OF_SETTING"
    assert set(GRINDING) < set(OF_BLADE)
    assert set(OF_SETTING) == set(INPUTS), "an input of these tables is no longer one"


@pytest.mark.parametrize("name", OF_SETTING)
def test_an_input_changes_this_of_the_setting_and_nothing_else(name):
    number, wanted = OF_SETTING[name]
    found = changed(setting(), varied_setting(setting(), {name: number}))
    assert found.keys() == wanted.keys()
    assert found == pytest.approx(wanted, rel=1e-12)


def test_a_guide_rate_changes_guided_movements_and_what_is_rolled_of_them():
    """A softer guide lets the leg lag; nothing that stands still notices, nor does a shove that nothing holds."""
    stated = setting(scenarios=SCENARIOS)
    softer = varied_setting(stated, {"guide_rate": 200.0})
    assert changed(stated, softer) == {"scenarios.stride.guide_rate_rad_s": 200.0}
    names = [*STATIC, "nudge_shift", "stride_pitch_travel"]
    before, after = (evaluate(Trial(TEN, s), names)[0] for s in (stated, softer))
    moved = {name for name in names if after[name] != before[name]}
    assert moved == {"stride_pitch_travel"}
    assert 1e-4 < abs(after["stride_pitch_travel"] / before["stride_pitch_travel"] - 1) < 0.1


def test_the_prior_of_the_guide_rate_is_about_what_is_taken_without_it():
    inputs = read_inputs(Fields(composed(["experiment=certainty"])[0]["uncertainty"], "uncertainty"))
    (prior,) = [i.law for i in inputs if i.name == "guide_rate"]
    stated = read_request(composed([])[0]).settings[0].scenarios
    guided = {s.guide_rate_rad_s for s in stated.values() if s.mode == "guided"}
    assert guided == {400.0} and prior.mean() == pytest.approx(400.0) and prior.support() == (200.0, 600.0)


@pytest.mark.parametrize("name", [*OF_BLADE, *(n for n in INPUTS if n not in OF_BLADE)])
def test_an_input_changes_this_of_a_blade_and_nothing_else(name):
    number, wanted = OF_BLADE.get(name, (1.1, {}))
    found = changed(ZONED, varied_candidate(ZONED, {name: number}))
    assert found.keys() == wanted.keys()
    assert found == pytest.approx(wanted, rel=1e-12)


def test_the_one_boundary_of_two_zones_moves_as_well():
    """120 and 120 mm, 2 mm toward the toe: 122 and 118."""
    two = varied_candidate(blade(8, 12), {"boundary_shift": 0.002})
    assert two.recipe.shares == pytest.approx((0.122, 0.118))


def test_no_input_leaves_everything_as_it_is():
    assert changed(setting(), varied_setting(setting(), {})) == {} == changed(ZONED, varied_candidate(ZONED, {}))


def test_factors_multiply_what_is_stated_and_shifts_add_to_it():
    """On top of numbers that are not 1 and not 0."""
    first = varied_setting(setting(), {"hardness_factor": 1.2, "glide_line_shift": 0.005})
    both = varied_setting(first, {"hardness_factor": 1.5, "glide_line_shift": 0.005})
    assert both.ice.hardness_pa == pytest.approx(1.8 * 17.7e6) and both.states["glide"].line_m == pytest.approx(-0.005)
    proud = blade(10, section=section_of(2.9e-3, 12.7e-3, 20e-6))
    assert varied_candidate(proud, {"edge_shift": 10e-6}).section.proud_m == pytest.approx(30e-6)


def test_ice_is_never_warmer_than_its_melting_point():
    assert drawn_setting(setting(), {"temperature_shift": 9.0}).ice.temperature_c == 0.0
    assert drawn_setting(setting(), {"temperature_shift": 1.5}).ice.temperature_c == -3.5
    assert changed(setting(), drawn_setting(setting(), {})) == {}
    with pytest.raises(BladeError, match="is water"):
        varied_setting(setting(), {"temperature_shift": 9.0})


HARDNESS_MPA = (
    ({}, 17.7),
    ({"hardness_factor": 1.1}, 19.47),
    ({"temperature_shift": 3.0}, 15.9),
    ({"temperature_shift": -3.0}, 19.5),
)


@pytest.mark.parametrize(("inputs", "mpa"), HARDNESS_MPA)
def test_hardness_by_hand(inputs, mpa):
    """14.7 MPa at 0 degC and 0.6 MPa for each kelvin below: 3 K warmer is 1.8 MPa softer."""
    assert varied_setting(setting(), inputs).ice.hardness_pa == pytest.approx(mpa * 1e6)


@pytest.mark.parametrize("factor", [0.6, 1.0, 2.0])
def test_the_rebound_factor_is_that_of_the_rebound_height_itself(factor):
    """Love's rectangle in the reference model, with this contact's own arc and width: e goes as f."""
    there = varied_setting(setting(law=LAW._replace(rebound=RECTANGLE)), {"rebound_factor": factor})
    patch = Trial(TEN, there).patch("glide")
    wide = LeanedSection(2.9e-3, 12.7e-3, 0.0).width(patch.depth)
    plain = reference_model.rebound(patch.front - patch.rear, wide, 17.7e6)
    assert patch.rebound == pytest.approx(factor * plain, rel=1e-6)


def test_more_weight_cuts_deeper_and_harder_ice_less():
    def deep(**inputs):
        return statics(TEN, varied_setting(setting(), inputs), ["glide_groove_depth"])[0]

    assert deep(mass_factor=1.1) > deep() > deep(hardness_factor=1.1)
    assert deep(temperature_shift=3.0) > deep()


def test_a_shifted_line_is_where_the_ice_presses():
    """The centre of pressure is the load line: solved anew, to a tenth of a micrometre."""
    there = varied_setting(setting(), {"pivot_line_shift": 0.004, "glide_line_shift": -0.003})
    for state, line in (("pivot_forefoot", 0.049), ("pivot_heel", -0.041), ("glide", -0.018), ("push", 0.070)):
        assert Trial(TEN, there).patch(state).centre == pytest.approx(line, abs=1e-7), state


def test_boundaries_move_toward_the_toe_and_the_ends_stay():
    """Curvature of the finished curves: that of the shifted blade at s is that of the plain one at s - 2 mm."""
    plain, moved = ZONED.curve, varied_candidate(ZONED, {"boundary_shift": 0.002}).curve
    for boundary in (0.100, 0.180):  # 20 mm of sweep, then 80 mm and 160 mm
        s = boundary + np.linspace(-0.009, 0.009, 7)
        assert moved.at(s + 0.002)[3] == pytest.approx(plain.at(s)[3], rel=1e-9)
    ends = np.array([0.0, 0.015, 0.025, 0.255, 0.265, 0.280])
    assert moved.at(ends)[3] == pytest.approx(plain.at(ends)[3], rel=1e-9)


def test_stated_shares_become_lengths_and_one_zone_has_no_boundary():
    shared = blade(9, 12, 9, shares=(1.0, 2.0, 1.0))  # 60, 120 and 60 mm
    zones = varied_candidate(shared, {"boundary_shift": -0.003}).recipe.zones
    assert [z.length_m for z in zones] == pytest.approx([0.057, 0.120, 0.063])
    assert varied_candidate(TEN, {"boundary_shift": 0.002}).recipe == TEN.recipe
    graded = Candidate("g", Recipe("g", "graded", (3.0, 2.5)), TEN.section)
    assert varied_candidate(graded, {"boundary_shift": 0.002}).recipe == graded.recipe


# ---------------------------------------------------------------- measured blades

DRAWN = Recipe("drawn", "zoned", (3.1, 2.7), (0.13, 0.11), blend_m=0.011)


def measured(**more):
    """A blade with a reading of three unknowns that writes down what it was asked to draw."""
    asked = []
    reading = SimpleNamespace(unknowns=3, drawn=lambda z: asked.append(list(z)) or DRAWN)
    return blade(9, 11, reading=reading, **more), asked


def test_a_measured_blade_has_the_errors_of_its_trace_and_none_of_grinding():
    one, asked = measured(level_m=0.004)
    inputs = {"trace_0": 0.5, "trace_2": -1.5, "radius_factor": 2.0, "boundary_shift": 0.01, "level_shift": 0.01}
    found = varied_candidate(one, inputs | {"edge_shift": 5e-6})
    assert asked == [[0.5, 0.0, -1.5]]
    assert (found.recipe.radii_m, found.recipe.shares, found.recipe.blend_m) == ((3.1, 2.7), (0.13, 0.11), 0.011)
    assert found.recipe.level_m == 0.004 and found.section.proud_m == pytest.approx(5e-6)
    assert found.recipe.length_m == 0.28 and found.recipe.name == "blade"


def test_a_measured_reference_is_drawn_like_the_blade_that_it_is():
    one, asked = measured()
    there = varied_setting(setting(reference=one), {"trace_1": 2.0, "radius_factor": 1.1})
    assert asked == [[0.0, 2.0, 0.0]] and there.reference.recipe.shares == (0.13, 0.11)


# ---------------------------------------------------------------- single radii to be held against


def test_the_reference_itself_where_the_runner_is_the_same():
    base = setting().reference
    assert runner_like(blade(8, 13, 8, level_m=0.01, blend_m=0.01), base) is base


@pytest.mark.parametrize(
    ("more", "own"),
    [
        ({"length_m": 0.29}, {"recipe.length_m": 0.29}),
        ({"heel_sweep": Sweep(0.03, 0.12)}, {"recipe.heel_sweep.length_m": 0.03}),
        ({"toe_sweep": Sweep(0.02, 0.2)}, {"recipe.toe_sweep.radius_m": 0.2}),
        ({"section": section_of(2.9e-3, 16e-3)}, {"section.hollow_m": 16e-3}),
        ({"section": section_of(3e-3, 12.7e-3)}, {"section.thickness_m": 3e-3}),
        ({"section": section_of(2.9e-3, 12.7e-3, 1e-5)}, {"section.proud_m": 1e-5}),
    ],
)
def test_another_runner_or_hollow_is_taken_over_and_the_recipe_stays_the_references(more, own):
    base = setting().reference
    assert changed(base, runner_like(blade(8, 13, 8, level_m=0.01, **more), base)) == own


def test_a_single_radius_on_a_runner_is_that_circle():
    like = blade(8, 13, 8, shares=(1, 2, 1), level_m=0.01, section=section_of(3e-3, 16e-3), length_m=0.29)
    one = single_radius(like, 2.5)
    assert one.curve.at(np.linspace(0.035, 0.255, 9))[3] == pytest.approx(np.full(9, 0.4))
    assert one.section == like.section and one.recipe.level_m == 0.01 and one.recipe.length_m == 0.29
    assert one.recipe.family == "single_radius" and one.recipe.shares == ()


def test_statics_come_in_the_order_asked_and_are_nan_where_refused():
    names = ["turn_drag", "glide_groove_depth", "push_hold_angle"]
    values, _ = evaluate(Trial(TEN, setting()))
    assert statics(TEN, setting(), names).tolist() == [values[n] for n in names]
    off = setting(states=STATES | {"turn": State(0.2, speed_m_s=4.0, path_radius_m=1.8)})
    assert np.isnan(statics(TEN, off, names)).tolist() == [True, False, False]
    no_curve = blade(10, blend_m=0.15)  # its blends need more than a sweep has
    assert np.isnan(statics(no_curve, setting(), names)).tolist() == [True, True, True]


def test_the_line_holds_costs_of_single_radii_and_more_is_turned_round():
    pair, section = ("turn_drag", "push_hold_angle"), section_of(2.9e-3, 16e-3)
    found = line_costs(setting(), [8 * FT, 12 * FT], pair, blade(10, section=section))
    for row, feet in zip(found, (8, 12)):
        values, _ = evaluate(Trial(blade(feet, section=section), setting()), pair)
        assert row == pytest.approx([values["turn_drag"], 1 / values["push_hold_angle"]], rel=1e-12)
    plain = line_costs(setting(), [10 * FT], ("turn_drag", "push_hold_angle"))[0]
    assert plain[0] == evaluate(Trial(TEN, setting()), ["turn_drag"])[0]["turn_drag"]


def test_each_gain_is_taken_against_single_radii_on_the_blades_own_runner():
    """Costs a fifth below those of 10 ft on the same hollow: 10 ft is the nearest and the gain 1/0.8 (drag in the turn
    grows with the radius and the stiffness asked for falls, so that no other radius is nearer)."""
    one, pair = setting(), PAIRS[1]
    blades = [blade(9, 11), blade(9, 11, section=section_of(2.9e-3, 18e-3))]
    likes = [TEN, blade(10, section=section_of(2.9e-3, 18e-3))]
    values = {n: np.array([0.8 * evaluate(Trial(like, one), [n])[0][n] for like in likes]) for n in pair}
    radii = np.array([7, 8.5, 10, 12, 14]) * FT
    found = gains(blades, values, [pair], radii, one)
    assert found == pytest.approx(np.array([[1.25], [1.25]]), rel=1e-9)
    nothing = gains(blades, {n: np.array([np.nan, 1.0]) for n in pair}, [pair], radii, one)
    assert math.isnan(nothing[0, 0]) and nothing[1, 0] > 0


def test_pairs_with_a_rolled_measure_are_left_out_of_draws():
    assert static_pairs(PAIRS) == PAIRS[:2]
    assert static_pairs((("steel_removed_depth", "turn_drag"),)) == (("steel_removed_depth", "turn_drag"),)
    for rolled in ("stride_ice_loss", "turn_time", "nudge_shift"):
        assert static_pairs((("turn_drag", rolled),)) == ()
