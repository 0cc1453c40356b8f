"""Recipes: families, zones, blends and sweeps, and what is refused."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.interpolate import PchipInterpolator

from sim.blade.recipe import FAMILIES, Recipe, Sweep
from sim.errors import BladeError
from tests import reference_model
from tests.cases import FT

EXAMPLES = {
    "single_radius": (10 * FT,),
    "rear_flat": (13 * FT, 10 * FT, 7 * FT),
    "rear_flat_eased": (10 * FT, 13 * FT, 9 * FT, 7 * FT),
    "mid_flat": (8 * FT, 12 * FT, 9 * FT),
    "zoned": (9 * FT, 13 * FT, 8 * FT, 11 * FT),
    "graded": (13 * FT, 7 * FT),
    "spline": (12 * FT, 9 * FT, 11 * FT, 7 * FT),
}


@st.composite
def zoned_recipes(draw):
    """Rear-flat recipes of 2 to 5 zones with any shares, blends that fit, and sweeps of any size or none."""
    count = draw(st.integers(2, 5))
    steps = draw(st.lists(st.floats(0.1, 2.0), min_size=count, max_size=count))
    radii = tuple(np.cumsum(steps)[::-1] + 1.0)
    shares = tuple(draw(st.lists(st.floats(0.5, 2.0), min_size=count, max_size=count)))
    sweeps = [draw(st.sampled_from([Sweep(), Sweep(0.0), Sweep(0.03, 0.2)])) for _ in range(2)]
    blend = draw(st.sampled_from([0.0, 0.005, 0.012]))
    level, pitch = draw(st.floats(-0.05, 0.05)), draw(st.floats(-0.02, 0.02))
    return Recipe("drawn", "rear_flat", radii, shares, draw(st.floats(0.25, 0.32)), blend, level, pitch, *sweeps)


@pytest.mark.parametrize("family", FAMILIES)
def test_every_family_makes_a_convex_curve_of_the_length_asked_for(family):
    recipe = Recipe(family, family, EXAMPLES[family])
    curve = recipe.curve()
    assert curve.length_m == pytest.approx(0.280, abs=1e-15)
    s = np.linspace(0.0, 0.280, 2801)
    angle, kappa = curve.at(s)[2:]
    assert np.all(np.diff(angle) > 0)
    assert kappa[0] == pytest.approx(1 / 0.120) and kappa[-1] == pytest.approx(1 / 0.120)
    inner = kappa[(s > 0.035) & (s < 0.245)]
    assert 1 / max(EXAMPLES[family]) - 1e-9 <= inner.min() and inner.max() <= 1 / min(EXAMPLES[family]) + 1e-9


@given(zoned_recipes())
def test_turning_of_a_zoned_recipe_is_the_sum_of_length_over_radius(recipe):
    """Ramps are centred on the boundaries, so that blending moves curvature about but neither adds nor takes any."""
    pieces = [recipe.heel_sweep, *recipe.zones, recipe.toe_sweep]
    angle = recipe.curve().at([0.0, recipe.length_m])[2]
    assert sum(p.length_m for p in pieces) == pytest.approx(recipe.length_m, abs=1e-15)
    assert angle[1] - angle[0] == pytest.approx(sum(p.length_m / p.radius_m for p in pieces), rel=1e-12)


@given(zoned_recipes())
def test_zones_carry_their_radii_and_blends_are_continuous(recipe):
    curve, blend = recipe.curve(), recipe.blend_m
    pieces = [p for p in (recipe.heel_sweep, *recipe.zones, recipe.toe_sweep) if p.length_m > 0]
    bounds = np.cumsum([p.length_m for p in pieces])
    middles = bounds - 0.5 * np.array([p.length_m for p in pieces])
    assert np.allclose(curve.at(middles)[3], [1 / p.radius_m for p in pieces], rtol=1e-12)
    for bound, before, after in zip(bounds, pieces, pieces[1:]):
        jump = 1 / after.radius_m - 1 / before.radius_m
        eps = 1e-7
        near = curve.at([bound - eps, bound + eps])
        assert abs(near[2][1] - near[2][0]) < 1e-5, "the tangent never jumps"
        if blend == 0:
            assert near[3][1] - near[3][0] == pytest.approx(jump, rel=1e-9)
        else:
            around = curve.at(bound + blend * np.array([-0.5, -0.25, 0.0, 0.25, 0.5]))[3]
            assert np.allclose(around, 1 / before.radius_m + jump * np.array([0, 0.25, 0.5, 0.75, 1]), rtol=1e-9)
            s = np.linspace(bound - blend, bound + blend, 201)
            s = s[(s > 0) & (s < recipe.length_m)]
            steepest = 1.001 * max(abs(1 / b.radius_m - 1 / a.radius_m) for a, b in itertools.pairwise(pieces)) / blend
            assert np.max(np.abs(np.diff(curve.at(s)[3]) / np.diff(s))) <= steepest


@st.composite
def zones_that_are_all_blend(draw):
    """Recipes of which all zones but one are as long as the blend, to within rounding."""
    blend, count = draw(st.floats(0.002, 0.03)), draw(st.integers(1, 4))
    shares = draw(st.permutations([blend] * count + [draw(st.floats(0.1, 0.25))]))
    length = sum(shares) + 0.06
    radii = draw(st.lists(st.floats(1.5, 5.0), min_size=count + 1, max_size=count + 1))
    sweeps = Sweep(0.03, 0.12), Sweep(0.03, 0.12)
    return Recipe("b", "zoned", tuple(radii), tuple(shares), length, blend, 0.0, 0.0, *sweeps)


@given(zones_that_are_all_blend())
def test_a_zone_may_be_exactly_as_long_as_its_blends(recipe):
    """Curvature then runs from one ramp into the next, and reaches the zone's own only in its middle."""
    curve, pieces = recipe.curve(), [recipe.heel_sweep, *recipe.zones, recipe.toe_sweep]
    assert np.all(np.diff(curve.arc_m) >= 0)
    middles = np.cumsum([p.length_m for p in pieces]) - 0.5 * np.array([p.length_m for p in pieces])
    assert np.allclose(curve.at(middles)[3], [1 / p.radius_m for p in pieces], rtol=1e-9)
    angle = curve.at([0.0, recipe.length_m])[2]
    assert angle[1] - angle[0] == pytest.approx(sum(p.length_m / p.radius_m for p in pieces), rel=1e-9)


def test_a_zone_of_20_mm_takes_blends_of_20_mm():
    """Shares 140, 20 and 80 of the 240 mm between the sweeps."""
    curve = Recipe("z", "mid_flat", (9 * FT, 12 * FT, 8 * FT), (140, 20, 80)).curve()
    assert curve.at(0.170)[3][0] == pytest.approx(1 / (12 * FT), rel=1e-12)


@pytest.mark.parametrize("family", ["single_radius", "graded", "spline"])
@pytest.mark.parametrize("length", [0.1, 0.103, 0.107, 0.11])
def test_a_sweep_may_be_exactly_half_a_blend(family, length):
    """Sweeps of a quarter of the length, their most, but for a rounding; and a blend of twice that."""
    sweep = Sweep(math.nextafter(length / 4, 0.0))
    curve = Recipe("s", family, EXAMPLES[family], (), length, length / 2, 0.0, 0.0, sweep, sweep).curve()
    assert np.all(np.diff(curve.arc_m) >= 0) and curve.length_m == pytest.approx(length)


def test_zoned_curve_lies_on_the_slow_reference():
    lengths = (0.07, 0.08, 0.09)
    recipe = Recipe("z", "rear_flat", EXAMPLES["rear_flat"], shares=lengths)
    slow = reference_model.curve(list(zip(lengths, EXAMPLES["rear_flat"])), npts=80001)
    x, z, angle, _ = recipe.curve().at(np.linspace(0, 0.28, 141))
    gap = np.max(np.abs(np.interp(x, slow.x, slow.z) - z))
    print(f"zoned curve against the reference model: {gap * 1e9:.3f} nm")
    assert gap < 2e-9
    assert np.max(np.abs(np.interp(x, slow.x, slow.phi) - angle)) < 1e-7


def test_equal_shares_are_the_default():
    even = Recipe("a", "rear_flat", EXAMPLES["rear_flat"])
    assert [zone.length_m for zone in even.zones] == pytest.approx([0.08] * 3)
    doubled = Recipe("a", "rear_flat", EXAMPLES["rear_flat"], shares=(2.0, 2.0, 2.0))
    assert np.array_equal(even.curve().arc_m, doubled.curve().arc_m)


def test_graded_curvature_is_linear_between_the_radii_of_heel_and_toe():
    heel, toe = EXAMPLES["graded"]
    curve = Recipe("g", "graded", (heel, toe)).curve()
    s = np.linspace(0.031, 0.249, 40)  # clear of the sweeps' blends
    wanted = 1 / heel + (1 / toe - 1 / heel) * (s - 0.020) / 0.240
    assert np.allclose(curve.at(s)[3], wanted, rtol=1e-12)


def test_spline_passes_through_its_knots_and_turns_by_its_integral():
    radii = EXAMPLES["spline"]
    curve = Recipe("s", "spline", radii).curve()
    knots = np.linspace(0.020, 0.260, 4)
    assert np.allclose(curve.at(knots[1:-1])[3], 1 / np.array(radii[1:-1]), rtol=1e-9)
    smooth = PchipInterpolator(knots, 1 / np.array(radii))
    total = quad(smooth, 0.030, 0.250, points=knots[1:-1])[0]
    angle = curve.at([0.030, 0.250])[2]
    assert angle[1] - angle[0] == pytest.approx(total, rel=1e-5)


@pytest.mark.parametrize("radii", [(1.5, math.inf, 1.0), (3.0, math.inf, 2.0, 2.5), (2.7, 3.1, math.inf)])
def test_a_spline_may_be_flat_at_a_knot(radii):
    """Interpolation rounds curvature there to either side of 0; it must not pass for a hollow."""
    curve = Recipe("f", "spline", radii, blend_m=0.0).curve()
    assert curve.curvature_per_m.min() == pytest.approx(0.0, abs=1e-15)


def test_spline_of_equal_knots_is_a_single_radius(single):
    spline = Recipe("s", "spline", (10 * FT,) * 4).curve()
    s = np.linspace(0.0, 0.28, 57)
    for ours, theirs in zip(spline.at(s), single.curve().at(s)):
        assert np.allclose(ours, theirs, atol=1e-13)


def test_level_point_and_pitch_reach_the_curve():
    curve = Recipe("p", "single_radius", (3.0,), level_m=0.012, pitch_offset_rad=0.004).curve()
    _, z, angle, _ = curve.at(0.140 + 0.012)
    assert abs(z[0]) < 1e-15 and angle[0] == pytest.approx(-0.004, abs=1e-15)


def test_a_flat_zone_may_have_no_curvature():
    curve = Recipe("f", "rear_flat", (math.inf, 3.0)).curve()
    assert curve.at(0.080)[3][0] == 0.0


@pytest.mark.parametrize("family", ["graded", "spline"])
def test_curves_without_sweeps_keep_the_end_radii(family):
    radii = EXAMPLES[family]
    curve = Recipe("n", family, radii, heel_sweep=Sweep(0.0), toe_sweep=Sweep(0.0)).curve()
    kappa = curve.at([0.0, 0.280])[3]
    assert kappa == pytest.approx([1 / radii[0], 1 / radii[-1]], rel=1e-12)


@pytest.mark.parametrize("family", FAMILIES)
def test_blend_zero_is_taken_by_every_family(family):
    curve = Recipe("b", family, EXAMPLES[family], blend_m=0.0).curve()
    kappa = curve.at([0.0199, 0.0201])[3]
    assert kappa[0] == pytest.approx(1 / 0.120) and kappa[1] == pytest.approx(1 / EXAMPLES[family][0], rel=0.01)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"family": "banana"}, "unknown"),
        ({"radii_m": (-3.0,)}, "radius above 0"),
        ({"radii_m": (math.nan,)}, "radius above 0"),
        ({"radii_m": (3.0, 2.0)}, "takes 1 radii"),
        ({"family": "rear_flat", "radii_m": (2.0, 3.0)}, "grow from toe to heel"),
        ({"family": "rear_flat", "radii_m": (3.0, 3.0)}, "grow from toe to heel"),
        ({"family": "rear_flat_eased", "radii_m": (4.0, 3.0, 2.0)}, "only the heel zone is shorter"),
        ({"family": "mid_flat", "radii_m": (4.0, 3.0, 2.0)}, "between shorter ones"),
        ({"family": "graded", "radii_m": (4.0, 3.0, 2.0)}, "takes 2"),
        ({"family": "spline", "radii_m": (4.0, 3.0)}, "3 to 12"),
        ({"length_m": 2.0}, "no blade"),
        ({"length_m": math.nan}, "no blade"),
        ({"blend_m": -0.01}, "blend"),
        ({"heel_sweep": Sweep(0.1, 0.12)}, "quarter"),
        ({"toe_sweep": Sweep(0.02, 0.0)}, "radius above 0"),
        ({"shares": (1.0, 2.0)}, "one each"),
        ({"shares": (0.0,)}, "above 0"),
        ({"shares": (math.nan,)}, "above 0"),
    ],
)
def test_impossible_recipes_are_refused_in_one_sentence(change, words):
    with pytest.raises(BladeError, match=words):
        Recipe(**{"name": "r", "family": "single_radius", "radii_m": (3.0,), **change})


def test_overlapping_blends_are_refused():
    with pytest.raises(BladeError, match="blends need"):
        Recipe("r", "rear_flat", (4.0, 3.0, 2.0), shares=(1.0, 0.01, 1.0)).curve()


@pytest.mark.parametrize("family", FAMILIES)
def test_a_blend_longer_than_a_sweep_is_refused_by_every_family(family):
    with pytest.raises(BladeError, match=r"stretch 1 .* is 20\.0 mm long, but its blends need 30\.0"):
        Recipe("r", family, EXAMPLES[family], blend_m=0.06).curve()


@pytest.mark.parametrize(
    ("pitch_deg", "fine"), [(9.9, True), (-9.9, True), (10.1, False), (-10.1, False), (1e300, False)]
)
def test_a_pitch_is_one_that_a_skate_has(pitch_deg, fine):
    def made():
        return Recipe("r", "single_radius", (3.0,), pitch_offset_rad=math.radians(pitch_deg))

    if fine:
        made()
    else:
        with pytest.raises(BladeError, match="deg is no skate's; use -10 to 10 deg"):
            made()
