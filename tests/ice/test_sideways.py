"""Pivot resistance and hold angle against plain quadrature, brute force over pivot points, and the reference model."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.blade.recipe import Recipe
from sim.ice.sideways import capacities, hold_angle, pivot
from sim.ice.standing import settle, stand
from tests import reference_model
from tests.cases import FT, HOLLOW_M, STATES, THICKNESS_M, WEIGHT_N, PlainContact, relative, steel_of

SCUFF = 0.02


@pytest.fixture(scope="module")
def patches(steel, ice, law, gauss):
    return {
        name: stand(steel, ice, law, math.tan(lean), load, line, *gauss) for name, (lean, load, line) in STATES.items()
    }


def side_capacity(plain, w):
    """(s_in, s_out) along the blade from the definitions: wall, rises of the loaded bottom, scuff."""
    out, inward = plain.rises()
    loaded = plain.p > 0
    scuff = SCUFF * plain.p * plain.a
    s_in = plain.hardness * (plain.n + inward * loaded) + scuff
    s_out = plain.hardness * (np.maximum(0, plain.n - w * plain.patch.t) + out * loaded) + scuff
    return s_in, s_out


def moments(plain, ahead, behind, places):
    """integral of s |x - x_p| dx for each place x_p."""
    return np.array([plain.integral(np.where(plain.x > q, ahead, behind) * np.abs(plain.x - q)) for q in places])


@pytest.mark.parametrize("state", STATES)
def test_capacities_along_the_blade(single, steel, ice, law, patches, state):
    plain = PlainContact(single.curve(), steel, ice.hardness, patches[state])
    s_in, s_out = side_capacity(plain, THICKNESS_M)
    ours = np.array([capacities(steel, ice, law, patches[state], x) for x in plain.x[::20]])
    peak = max(s_in.max(), s_out.max())
    assert np.max(np.abs(ours[:, 0] - s_in[::20])) < 2e-4 * peak
    assert np.max(np.abs(ours[:, 1] - s_out[::20])) < 2e-4 * peak


@pytest.mark.parametrize("state", STATES)
@pytest.mark.parametrize("toe_in", [True, False])
def test_pivot_is_the_least_moment_over_every_pivot_point(single, steel, ice, law, gauss, patches, state, toe_in):
    plain = PlainContact(single.curve(), steel, ice.hardness, patches[state])
    s_in, s_out = side_capacity(plain, THICKNESS_M)
    ahead, behind = (s_in, s_out) if toe_in else (s_out, s_in)
    tried = moments(plain, ahead, behind, np.linspace(plain.x[0], plain.x[-1], 2001))
    ours = pivot(steel, ice, law, patches[state], toe_in, *gauss)
    print(f"{state}, toe {'in' if toe_in else 'out'}: pivot {ours:.5f} N m, brute force {tried.min():.5f} N m")
    assert ours <= tried.min() * (1 + 2e-4), "some pivot point asks for less"
    assert ours == pytest.approx(tried.min(), rel=5e-4)


@pytest.mark.parametrize("toe_in", [True, False])
@pytest.mark.parametrize("state", STATES)
def test_pivot_against_the_reference_model(steel, ice, law, gauss, patches, state, toe_in):
    lean, load, line = STATES[state]
    curve = reference_model.single_radius(10 * FT, npts=40001)
    slow = reference_model.at_load_line(
        curve,
        reference_model.section(THICKNESS_M, HOLLOW_M, lean),
        ice.hardness,
        load,
        line,
        **reference_model.FIRST_FORM,
    )
    theirs = reference_model.pivot(slow)[0 if toe_in else 1]
    gap = relative(pivot(steel, ice, law, patches[state], toe_in, *gauss), theirs)
    print(f"{state}: pivot off the reference model by {gap:.1e}")
    assert gap < 5e-3


def test_upright_and_standing_it_does_not_matter_which_way_the_toe_turns(steel, ice, standing, gauss):
    patch = settle(steel, ice, standing, 0.0, 0.0, WEIGHT_N, 5e-5, *gauss)
    assert pivot(steel, ice, standing, patch, True, *gauss) == pytest.approx(
        pivot(steel, ice, standing, patch, False, *gauss), rel=1e-9
    )


def test_mirrored_blade_pivots_the_other_way_alike(zoned, ice, standing, gauss):
    one = stand(steel_of(zoned), ice, standing, 0.3, WEIGHT_N, 0.03, *gauss)
    two = stand(steel_of(zoned.curve().mirrored()), ice, standing, 0.3, WEIGHT_N, -0.03, *gauss)
    for toe_in in (True, False):
        assert pivot(steel_of(zoned), ice, standing, one, toe_in, *gauss) == pytest.approx(
            pivot(steel_of(zoned.curve().mirrored()), ice, standing, two, not toe_in, *gauss), rel=1e-5
        )


@given(st.floats(2.0, 4.0), st.floats(1.05, 2.0), st.floats(0.15, 0.7))
def test_a_shorter_radius_pivots_more_easily(ice, law, gauss, radius, longer, lean):
    ours = []
    for r in (radius, radius * longer):
        blade = steel_of(Recipe("r", "single_radius", (r,)))
        patch = stand(blade, ice, law, math.tan(lean), WEIGHT_N, 0.02, *gauss)
        ours.append(pivot(blade, ice, law, patch, True, *gauss))
    assert ours[0] < ours[1]


@pytest.mark.parametrize("state", STATES)
def test_hold_angle_by_plain_quadrature(single, steel, ice, law, gauss, patches, state):
    plain = PlainContact(single.curve(), steel, ice.hardness, patches[state])
    out, _ = plain.rises()
    wanted = math.atan(plain.integral(plain.p * out) / plain.integral(plain.p * plain.a))
    ours = hold_angle(steel, ice, law, patches[state], *gauss)
    print(f"{state}: hold {math.degrees(ours):.4f} deg, plain quadrature {math.degrees(wanted):.4f} deg")
    assert ours == pytest.approx(wanted, rel=2e-4)


def test_hold_angle_against_the_reference_model(steel, ice, law, gauss, patches):
    lean, load, line = STATES["push"]
    curve = reference_model.single_radius(10 * FT, npts=40001)
    slow = reference_model.at_load_line(
        curve,
        reference_model.section(THICKNESS_M, HOLLOW_M, lean),
        ice.hardness,
        load,
        line,
        **reference_model.FIRST_FORM,
    )
    assert relative(hold_angle(steel, ice, law, patches["push"], *gauss), reference_model.hold_angle(slow)) < 5e-3


@pytest.mark.parametrize("lean_deg", [0.0, 10.0, 40.0])
def test_a_flat_bottom_does_not_hold(single, ice, law, gauss, lean_deg):
    flat = steel_of(single, hollow=math.inf)
    patch = settle(flat, ice, law, math.tan(math.radians(lean_deg)), 0.0, WEIGHT_N, 5e-5, *gauss)
    assert hold_angle(flat, ice, law, patch, *gauss) == 0.0


def test_hold_angle_is_below_the_bite_angle(steel, ice, law, gauss):
    """The bottom nowhere climbs more steeply than at the edge itself."""
    bite = math.asin(THICKNESS_M / (2 * HOLLOW_M))
    for lean_deg in (0, 10, 25, 45):
        patch = settle(steel, ice, law, math.tan(math.radians(lean_deg)), 0.0, WEIGHT_N, 5e-5, *gauss)
        assert 0 < hold_angle(steel, ice, law, patch, *gauss) < bite
