"""The contact patch: balance, symmetry, convergence, and the slow reference model."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from sim.blade import curve as curve_module
from sim.blade.recipe import Recipe, Sweep
from sim.blade.steel import lowest
from sim.ice.contact import GAUSS, gap, limits, press
from sim.ice.standing import settle, stand
from tests import reference_model
from tests.cases import FT, HOLLOW_M, STATES, THICKNESS_M, WEIGHT_N, LeanedSection, PlainContact, relative, steel_of

LEANS = [0.0, 2.0, 6.5, 15.0, 42.0]
# (lean deg, N, load line m) on the three-zone recipe
ZONED = [(0.0, WEIGHT_N, 0.040), (0.0, WEIGHT_N, -0.040), (40.0, 1.5 * WEIGHT_N, 0.040), (15.0, WEIGHT_N, -0.040)]


@pytest.fixture(scope="module")
def slow_curves():
    thirds = [(0.08, 13 * FT), (0.08, 10 * FT), (0.08, 7 * FT)]
    single = reference_model.single_radius(10 * FT, npts=40001)
    return {"single": single, "zoned": reference_model.curve(thirds, npts=40001)}


def arcs(patch):
    return np.array([patch.tail, patch.rear, patch.deepest, patch.front])


@pytest.mark.parametrize("lean_deg", LEANS)
@pytest.mark.parametrize("load", [100.0, WEIGHT_N, 2000.0])
def test_load_and_line_are_met_to_nine_digits(steel, ice, law, gauss, lean_deg, load):
    patch = stand(steel, ice, law, math.tan(math.radians(lean_deg)), load, 0.02, *gauss)
    assert patch.load == pytest.approx(load, rel=1e-9)
    assert patch.centre == pytest.approx(0.02, abs=1e-8)


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("mode", ["sliding", "standing", "no rebound"])
def test_the_ice_carries_the_load_by_independent_quadrature(single, steel, ice, law, gauss, state, mode):
    """Integral of p a and of p a x anew: curve from `at`, strips by root finding, dense midpoint sum."""
    lean, load, line = STATES[state]
    law = law._replace(standing=float(mode == "standing"), rebound=float(mode != "no rebound"))
    patch = stand(steel, ice, law, math.tan(lean), load, line, *gauss)
    plain = PlainContact(single.curve(), steel, ice.hardness, patch, standing=mode == "standing")
    carried = plain.integral(plain.p * plain.a)
    assert carried == pytest.approx(load, rel=2e-5), "force balance"
    assert plain.integral(plain.p * plain.a * plain.x) / carried == pytest.approx(line, abs=2e-7), "centre of pressure"
    assert patch.deepest == pytest.approx(plain.deepest, abs=1e-5)


@pytest.mark.parametrize("state", STATES)
def test_rebound_height_is_the_mean_settlement_of_the_loaded_rectangle(steel, ice, law, gauss, state):
    """e = (2/pi)(ln(2 l/a_d) + 1/2) H a_d/E*, with l the loaded arc that e itself brings about."""
    lean, load, line = STATES[state]
    patch = stand(steel, ice, law, math.tan(lean), load, line, *gauss)
    a_d = LeanedSection(THICKNESS_M, HOLLOW_M, patch.t).width(patch.depth)
    e_star = 9.3e9 / (1 - 0.33**2)
    wanted = 2 / math.pi * (math.log(2 * (patch.front - patch.rear) / a_d) + 0.5) * 17.7e6 * a_d / e_star
    assert patch.rebound == pytest.approx(wanted, rel=1e-6)
    if patch.rear > patch.tail:
        assert gap(steel, patch, patch.rear) == pytest.approx(patch.rebound, rel=1e-6)


@pytest.mark.parametrize("state", STATES)
def test_ends_of_the_arcs(steel, ice, law, gauss, state):
    lean, load, line = STATES[state]
    patch = stand(steel, ice, law, math.tan(lean), load, line, *gauss)
    assert patch.tail <= patch.rear < patch.deepest < patch.front
    assert gap(steel, patch, patch.front) == pytest.approx(patch.depth, rel=1e-9)
    assert gap(steel, patch, patch.tail) == pytest.approx(patch.depth, rel=1e-9)
    ends = np.empty(8)
    count = limits(steel, patch, ends)
    section = LeanedSection(THICKNESS_M, HOLLOW_M, patch.t)
    kinks = [section.h(THICKNESS_M), section.h(section.crown)]
    for x in ends[:count]:
        n = patch.depth - gap(steel, patch, x)
        known = [patch.tail, patch.rear, patch.deepest, patch.front]
        assert min(abs(x - k) for k in known) < 1e-12 or min(abs(n - k) for k in kinks) < 1e-10


@given(st.floats(-0.04, 0.04))
def test_deepest_point_is_where_the_tangent_lies_along_the_ice(zoned, zoned_steel, beta):
    curve = zoned.curve()
    x, base = lowest(zoned_steel, beta)
    arc = brentq(lambda s: curve.at(s)[2][0] - beta, 0.0, curve.length_m, xtol=1e-14)
    ref_x, ref_z, _, _ = (v[0] for v in curve.at(arc))
    assert x == pytest.approx(ref_x, abs=1e-8)
    assert base == pytest.approx(ref_z * math.cos(beta) - ref_x * math.sin(beta), abs=1e-12)


@pytest.mark.parametrize("beta", [-0.5, 0.5])
def test_deepest_point_is_clamped_to_the_runner(steel, beta):
    x, _ = lowest(steel, beta)
    assert x == pytest.approx(math.copysign(-steel.x_first, beta), abs=1e-9)


@given(st.floats(0, 1.0), st.floats(-0.02, 0.02), st.floats(20, 2000), st.floats(1.01, 3))
def test_depth_grows_with_load(steel, ice, law, gauss, lean, beta, load, more):
    t = math.tan(lean)
    light = settle(steel, ice, law, t, beta, load, 5e-5, *gauss)
    heavy = settle(steel, ice, law, t, beta, load * more, 5e-5, *gauss)
    assert heavy.depth > light.depth
    assert heavy.front > light.front and heavy.tail <= light.tail


@given(st.floats(0, 1.0), st.floats(-0.03, 0.03), st.floats(1e-4, 0.01), st.floats(50, 2000), st.booleans())
def test_centre_moves_toeward_with_pitch(steel, zoned_steel, ice, law, gauss, lean, beta, more, load, zones):
    blade, t = zoned_steel if zones else steel, math.tan(lean)
    first = settle(blade, ice, law, t, beta, load, 5e-5, *gauss)
    second = settle(blade, ice, law, t, beta + more, load, 5e-5, *gauss)
    if math.isnan(first.load) or math.isnan(second.load):
        return
    assert second.centre > first.centre and second.deepest > first.deepest


@given(st.floats(0, 1.0), st.floats(-0.05, 0.05), st.floats(50, 1500))
def test_mirror_of_blade_and_load_line_gives_the_mirrored_contact(zoned, ice, standing, gauss, lean, line, load):
    """A standing contact does not know heel from toe."""
    blade, turned = steel_of(zoned.curve()), steel_of(zoned.curve().mirrored())
    one = stand(blade, ice, standing, math.tan(lean), load, line, *gauss)
    two = stand(turned, ice, standing, math.tan(lean), load, -line, *gauss)
    assert two.depth == pytest.approx(one.depth, rel=1e-7)
    assert two.beta == pytest.approx(-one.beta, abs=1e-9)
    assert np.allclose(arcs(two)[[3, 2, 0]], -arcs(one)[[0, 2, 3]], atol=2e-8)


def test_sliding_contact_does_know_heel_from_toe(steel, ice, law, gauss):
    patch = settle(steel, ice, law, 0.0, 0.0, WEIGHT_N, 5e-5, *gauss)
    assert patch.deepest == pytest.approx(0.0, abs=1e-9)
    assert patch.centre > 1e-3, "the front carries more than the rear"


def test_gauss_points_have_converged(steel, zoned_steel, ice, law):
    """The 16 points per piece of static states, 12 of the movement program and 8 of the step loop against 32."""
    worst = {8: 0.0, 12: 0.0, 16: 0.0}
    for blade in (steel, zoned_steel):
        for lean, load, line in STATES.values():
            fine = stand(blade, ice, law, math.tan(lean), load, line, *GAUSS[32])
            for count in worst:
                ours = stand(blade, ice, law, math.tan(lean), load, line, *GAUSS[count])
                gaps = [relative(ours.depth, fine.depth), relative(ours.front - ours.rear, fine.front - fine.rear),
                        abs(ours.beta - fine.beta) / 0.01]  # fmt: skip
                worst[count] = max(worst[count], *gaps)
    print("Gauss points against 32:", {k: f"{v:.1e}" for k, v in worst.items()})
    assert worst[16] < 5e-5 and worst[12] < 2e-3 and worst[8] < 2e-3


def test_curve_table_has_converged(single, zoned, ice, law, gauss, monkeypatch):
    coarse = [steel_of(recipe) for recipe in (single, zoned)]
    monkeypatch.setattr(curve_module, "CELL_M", curve_module.CELL_M / 4)
    fine = [steel_of(recipe) for recipe in (single, zoned)]
    assert fine[0].dx == pytest.approx(coarse[0].dx / 4, rel=1e-3)
    worst = 0.0
    for one, two in zip(coarse, fine):
        for lean, load, line in STATES.values():
            ours = stand(one, ice, law, math.tan(lean), load, line, *gauss)
            best = stand(two, ice, law, math.tan(lean), load, line, *gauss)
            worst = max(worst, relative(ours.depth, best.depth), abs(ours.beta - best.beta) / 0.01,
                        relative(ours.front - ours.rear, best.front - best.rear))  # fmt: skip
    print(f"curve table against one four times finer: {worst:.1e}")
    assert worst < 2e-3


@pytest.mark.parametrize("lean_deg", [0.0, 40.0])
def test_loads_that_cannot_be_carried_are_refused(steel, ice, law, gauss, lean_deg):
    t = math.tan(math.radians(lean_deg))
    assert math.isnan(settle(steel, ice, law, t, 0.0, 1e7, 5e-5, *gauss).load)
    assert math.isnan(stand(steel, ice, law, t, 1e7, 0.0, *gauss).load)
    for line in (-0.139, 0.139, 0.2, -0.2):
        assert math.isnan(stand(steel, ice, law, t, WEIGHT_N, line, *gauss).load), "no contact centred on the very end"


def test_a_runner_without_turned_up_ends_is_refused_near_its_ends(ice, law, gauss):
    bare = steel_of(Recipe("bare", "single_radius", (10 * FT,), heel_sweep=Sweep(0.0), toe_sweep=Sweep(0.0)))
    assert math.isnan(stand(bare, ice, law, 0.0, WEIGHT_N, 0.137, *gauss).load)
    assert stand(bare, ice, law, 0.0, WEIGHT_N, 0.05, *gauss).load == pytest.approx(WEIGHT_N, rel=1e-9)


@pytest.mark.parametrize("mode", ["sliding", "standing", "no rebound"])
@pytest.mark.parametrize("beta", [-0.35, -0.25, 0.22, 0.25, 0.35])
def test_rocked_past_its_very_end_a_blade_still_carries_a_finite_load(steel, ice, law, gauss, mode, beta):
    """Pitched beyond the tangent of the turned-up end (0.21 rad) the end itself is deepest; load grows with depth."""
    law = law._replace(standing=float(mode == "standing"), rebound=float(mode != "no rebound"))
    for t in (0.0, 0.5):
        loads = [press(steel, ice, law, t, beta, d, *gauss).load for d in (1e-5, 1e-4, 1e-3, 2e-3)]
        assert np.all(np.isfinite(loads)), f"loads {loads}"
        assert np.all(np.diff(loads) >= 0) and loads[0] >= 0


def test_out_of_the_ice_carries_nothing(steel, ice, law, gauss):
    for depth in (0.0, -1e-4):
        patch = press(steel, ice, law, 0.3, 0.01, depth, *gauss)
        assert patch.load == 0.0 and patch.front == patch.rear == patch.tail == patch.deepest


def test_contact_is_continuous_in_depth(steel, ice, law, gauss):
    """No jump of load where the outside edge enters, the crown is covered, or the rear end is reached."""
    for t in (0.0, 0.02, 0.3):
        steps = []
        for count in (501, 8001):
            depths = np.linspace(1e-6, 4e-4, count)
            steps.append(np.diff([press(steel, ice, law, t, 0.0, d, *gauss).load for d in depths]))
            assert np.all(steps[-1] > 0)
        # a(n) is a square root below the crown, N(d) its integral: 16 times finer must shrink steps over 4 times
        assert steps[0].max() / steps[1].max() > 4.0, "steps shrink with the grid; a jump would not"


def check_against_slow(blade, slow_curve, ice, law, gauss, lean, load, line):
    slow = reference_model.at_load_line(
        slow_curve,
        reference_model.section(THICKNESS_M, HOLLOW_M, lean),
        ice.hardness,
        load,
        line,
        **reference_model.FIRST_FORM,
    )
    ours = stand(blade, ice, law, math.tan(lean), load, line, *gauss)
    gaps = {
        "depth": relative(ours.depth, slow.d), "loaded arc": relative(ours.front - ours.rear, slow.loaded),
        "immersed arc": relative(ours.front - ours.tail, slow.immersed), "rebound": relative(ours.rebound, slow.e),
        "pitch": abs(ours.beta - slow.beta) / max(abs(slow.beta), 1e-3),
    }  # fmt: skip
    print({k: f"{v:.1e}" for k, v in gaps.items()})
    for name, gap_ in gaps.items():
        assert gap_ < 5e-3, f"{name} off the reference model by {gap_:.2%}"


@pytest.mark.parametrize("state", STATES)
def test_against_the_reference_model(steel, slow_curves, ice, law, gauss, state):
    check_against_slow(steel, slow_curves["single"], ice, law, gauss, *STATES[state])


@pytest.mark.parametrize("lean_deg, load, line", ZONED)
def test_zoned_recipe_against_the_reference_model(zoned_steel, slow_curves, ice, law, gauss, lean_deg, load, line):
    check_against_slow(zoned_steel, slow_curves["zoned"], ice, law, gauss, math.radians(lean_deg), load, line)


@pytest.mark.parametrize("mode, change", [("standing", {"standing": 1.0}), ("no_rebound", {"rebound": 0.0})])
def test_other_model_forms_against_the_reference_model(steel, slow_curves, ice, law, gauss, mode, change):
    for lean, load, beta in ((0.0, WEIGHT_N, -0.004), (0.5, 1.4 * WEIGHT_N, 0.01)):
        section = reference_model.section(THICKNESS_M, HOLLOW_M, lean)
        slow = reference_model.at_load(slow_curves["single"], section, ice.hardness, load, beta, mode)
        ours = settle(steel, ice, law._replace(**change), math.tan(lean), beta, load, 5e-5, *gauss)
        assert relative(ours.depth, slow.d) < 5e-3
        assert abs(ours.centre - slow.x_c) < 5e-3 * slow.loaded


def test_flat_upright_speed_skate_without_rebound(ice, law, gauss):
    """72 kg, R 22 m, w 1.1 mm at 0 deg C: l = N/(H w), d = l^2/2R; a quarter of the depth standing.

    Published form (van Leeuwen 2017), with l 43.7 mm and d 43.4 um.
    """
    recipe = Recipe("long", "single_radius", (22.0,), length_m=0.42)
    blade = steel_of(recipe, thickness=1.1e-3, hollow=math.inf)
    cold = ice._replace(hardness=14.7e6, cold=0.0)
    load = 72 * 9.80665
    gliding = settle(blade, cold, law._replace(rebound=0.0), 0.0, 0.0, load, 5e-5, *gauss)
    standing = settle(blade, cold, law._replace(standing=1.0), 0.0, 0.0, load, 5e-5, *gauss)
    arc = gliding.front - gliding.rear
    print(f"arc 43.7 mm, ours {1e3 * arc:.2f}; depth 43.4 um, ours {1e6 * gliding.depth:.2f}")
    assert arc == pytest.approx(load / (14.7e6 * 1.1e-3), rel=1e-7), "the solver has converged on N/(H w)"
    assert gliding.depth == pytest.approx(22.0 - math.sqrt(22.0**2 - arc**2), rel=1e-7), "and on the circle"
    assert arc * 1e3 == pytest.approx(43.7, rel=1e-2) and gliding.depth * 1e6 == pytest.approx(43.4, rel=1e-2)
    assert standing.depth / gliding.depth == pytest.approx(0.25, rel=1e-4)
