"""Recipes in shop steps, one grind or two, one radius or several: every number worked out on paper."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from experiments.analysis.judging.statement import measured_at_two_places
from experiments.analysis.places import load_lines
from experiments.analysis.shop import (
    ShopSteps,
    Tolerance,
    boundaries,
    one_grind,
    one_radius,
    radius_words,
    read_steps,
    rounded,
    stepped,
    tolerance_of,
)
from experiments.analysis.space import Space
from experiments.request.fields import Fields
from experiments.request.uncertainty import Input
from sim.blade.recipe import Recipe
from sim.errors import BladeError
from tests.experiments.analysis.hand import FT, STATES, TEN

STEPS = ShopSteps(FT / 4, 1e-3)
ONE_PERCENT = Tolerance(0.01, FT / 4, 2e-3, 2e-3)


def space(low=7.0, high=14.0, level=(0.0, 0.0), blend=(0.02, 0.02), kind="zones", count=(1, 3)) -> Space:
    return Space(kind, *count, "free", (low * FT, high * FT), level, blend, TEN.recipe)


def zoned(*feet, shares=(), family="zoned", **more) -> Recipe:
    """240 mm of zones between sweeps of 20 mm."""
    return Recipe("r", family, tuple(f * FT for f in feet), shares, **more)


# ---------------------------------------------------------------- steps


@pytest.mark.parametrize(
    ("value", "low", "high", "wanted"),
    [(9.12, 7, 14, 9.0), (9.13, 7, 14, 9.25), (7.03, 7, 14, 7.0), (7.1, 7.1, 14, 7.25), (13.99, 7, 13.9, 13.75),
     (7.0, 7, 14, 7.0), (14.0, 7, 14, 14.0), (10.1, 10.05, 10.2, 10.0), (10.2, 10.05, 10.24, 10.25)],
)  # fmt: skip
def test_quarter_feet_within_the_ends_where_one_lies_there(value, low, high, wanted):
    """Between 10.05 and 10.2 ft there is no quarter: then the nearest outside it is."""
    assert stepped(value * FT, FT / 4, low * FT, high * FT) == pytest.approx(wanted * FT, rel=1e-12)


@given(value=st.floats(1.0, 6.0), step=st.floats(0.01, 0.5))
def test_a_whole_number_of_steps_no_more_than_half_a_step_away(value, step):
    found = stepped(value, step)
    assert abs(found - value) <= step / 2 * (1 + 1e-9) and found / step == pytest.approx(round(found / step), abs=1e-9)


def test_steps_are_read_and_their_unit_is_that_of_the_words():
    def read(radius, boundary="1 mm"):
        return read_steps(Fields({"radius_step": radius, "boundary_step": boundary}, ""))

    assert read("1/4 ft") == ShopSteps(pytest.approx(0.0762), 1e-3, False)
    assert read("50 mm", "2 mm") == ShopSteps(0.05, 2e-3, True) and read("0.05 m").metric and read("5 cm").metric
    assert not read("3 in").metric and read("3 in").radius_m == pytest.approx(0.0762)
    assert read("0.1 mm", "20 mm").boundary_m == 0.02 and read("1 m").radius_m == 1.0
    for bad in (("0.09 mm", "1 mm"), ("1.001 m", "1 mm")):
        with pytest.raises(BladeError, match=r"radius_step: .* use a step of 0.1 mm to 1000 mm"):
            read(*bad)
    for bad in ("0.09 mm", "20.1 mm", "0 mm", "-1 mm"):
        with pytest.raises(BladeError, match=r"boundary_step: .* use a step of 0.1 mm to 20 mm"):
            read("1/4 ft", bad)


def test_a_recipe_in_shop_steps():
    """240 mm in shares 1 : 2 : 1.03 are zones to 59.55 and 178.66 mm; 7.04, 13.83 and 9.13 ft are 7, 13.75 and 9.25."""
    found = rounded(zoned(7.04, 13.83, 9.13, shares=(1, 2, 1.03)), STEPS, space())
    assert [r / FT for r in found.radii_m] == pytest.approx([7, 13.75, 9.25])
    assert found.shares == (60.0, 119.0, 61.0) and found.family == "zoned"
    assert [z.length_m for z in found.zones] == pytest.approx([0.060, 0.119, 0.061])
    assert "7/13.75/9.25" == "/".join(radius_words(r, False) for r in found.radii_m), "no sixteen digits"
    assert [radius_words(r, True) for r in rounded(zoned(7.04, 13.83), ShopSteps(0.05, 1e-3), space()).radii_m] == [
        "2150", "4200"]  # fmt: skip


def test_boundaries_in_coarse_steps_and_a_zone_that_is_rounded_away():
    """Thirds of 240 mm in steps of 15 mm: 80 is 75 and 160 is 165. Zones of 4 mm are gone in steps of 10 mm."""
    assert rounded(zoned(7, 13, 9), ShopSteps(FT / 4, 0.015), space()).shares == (75.0, 90.0, 75.0)
    with pytest.raises(BladeError, match="zone"):
        rounded(zoned(7, 13, 9, shares=(118, 4, 118)), ShopSteps(FT / 4, 0.010), space())


def test_boundaries_in_fractions_of_an_inch_are_lengths_to_the_nanometre():
    """201 steps of 1/64 in are 79.771875 mm."""
    found = rounded(zoned(7, 13, shares=(79.8, 160.2)), ShopSteps(FT / 4, 25.4e-3 / 64), space())
    assert found.shares == (79.771875, 160.228125)


def test_neighbours_that_come_to_one_radius_are_one_zone():
    found = rounded(zoned(9.02, 8.98, 12, shares=(60, 60, 120)), STEPS, space())
    assert [r / FT for r in found.radii_m] == pytest.approx([9, 12]) and found.shares == (120.0, 120.0)
    alone = rounded(zoned(9.02, 8.98, 9.1), STEPS, space())
    assert (alone.family, alone.shares, alone.radii_m) == ("single_radius", (), (pytest.approx(9 * FT),))
    apart = rounded(zoned(9.02, 12, 8.98), STEPS, space())
    assert [r / FT for r in apart.radii_m] == pytest.approx([9, 12, 9])


def test_only_what_the_space_leaves_free_is_rounded():
    """A fixed level of 5.3 mm and blend of 12.7 mm were asked for; free ones come in whole millimetres within the
    ends."""
    here = zoned(9, 12, level_m=5.3e-3, blend_m=12.7e-3)
    fixed = rounded(here, STEPS, space(level=(5.3e-3, 5.3e-3), blend=(12.7e-3, 12.7e-3)))
    assert (fixed.level_m, fixed.blend_m) == (5.3e-3, 12.7e-3)
    free = rounded(here, STEPS, space(level=(-0.02, 0.02), blend=(0.01, 0.0126)))
    assert (free.level_m, free.blend_m) == (pytest.approx(5e-3), pytest.approx(12e-3))


@pytest.mark.parametrize(("kind", "feet"), [("graded", (7.1, 12.9)), ("spline", (7.1, 9.2, 12.9))])
def test_curves_without_zones_have_radii_only(kind, feet):
    found = rounded(zoned(*feet, family=kind), STEPS, space(kind=kind))
    assert found.family == kind and found.shares == () and found.radii_m[0] == pytest.approx(7 * FT)
    assert found.radii_m[-1] == pytest.approx(13 * FT) and len(found.radii_m) == len(feet)


# ---------------------------------------------------------------- one grind


def test_the_tolerance_is_the_larger_of_what_is_drawn_and_a_step():
    sd = {"radius_factor": stats.norm(1, 0.03), "boundary_shift": stats.norm(0, 2e-3),
          "level_shift": stats.norm(0, 5e-4), "hollow_factor": stats.norm(1, 0.5)}  # fmt: skip
    inputs = [Input(name, law, "t") for name, law in sd.items()]
    found = tolerance_of(STEPS, inputs)
    assert found == Tolerance(pytest.approx(0.03), FT / 4, pytest.approx(2e-3), 1e-3)
    assert found.of_radius(8 * FT) == pytest.approx(0.25 * FT), "0.24 ft is less than a step"
    assert found.of_radius(9 * FT) == pytest.approx(0.27 * FT)
    assert tolerance_of(STEPS, []) == Tolerance(0.0, FT / 4, 1e-3, 1e-3)


@pytest.mark.parametrize(
    ("feet", "single"),
    [
        ((10, 10.25, 10), True),
        ((10, 10.26), False),
        ((9, 9), True),
        ((10, 10.2, 10.4), False),
        ((28, 28.25), True),
        ((28, 28.3), False),
    ],
)
def test_radii_within_the_tolerance_of_one_grind_are_a_single_radius(feet, single):
    """The tolerance of 10 ft is a step of 0.25 ft; 1 % of 28.25 ft is 0.2825 ft."""
    assert one_radius(zoned(*feet), ONE_PERCENT) is single


BASE = zoned(7, 13, 7, shares=(90, 60, 90), blend_m=0.02)


@pytest.mark.parametrize(
    ("other", "same"),
    [
        (BASE, True), (replace(BASE, name="another name"), True),
        (zoned(7.24, 13, 7, shares=(90, 60, 90)), True), (zoned(7.25, 13, 7, shares=(90, 60, 90)), False),
        (zoned(6.76, 13, 7, shares=(90, 60, 90)), True), (zoned(6.75, 13, 7, shares=(90, 60, 90)), False),
        (zoned(7, 13, 7, shares=(91, 59, 90)), True), (zoned(7, 13, 7, shares=(92, 58, 90)), False),
        (zoned(7, 13, 7, shares=(90, 61, 89)), True), (zoned(7, 13, 7, shares=(90, 62, 88)), False),
        (replace(BASE, level_m=1.9e-3), True), (replace(BASE, level_m=2e-3), False),
        (replace(BASE, level_m=-2e-3), False), (replace(BASE, blend_m=0.0219), True),
        (replace(BASE, blend_m=0.022), False), (zoned(7, 13, shares=(90, 150)), False),
        (zoned(7, 13, 7, family="spline"), False), (zoned(7, 13, 7, shares=(90, 60, 90), family="mid_flat"), True),
    ],
)  # fmt: skip
def test_what_one_grind_cannot_tell_apart_is_nearer_than_its_tolerance_in_every_number(other, same):
    """A step of 0.25 ft, 2 mm at a boundary, the level point and the blend: just so much is told apart."""
    assert one_grind(BASE, other, ONE_PERCENT) is same is one_grind(other, BASE, ONE_PERCENT)


def test_boundaries_are_counted_from_the_heel_sweep():
    assert boundaries(BASE) == pytest.approx([0.090, 0.150])
    assert boundaries(zoned(9, family="single_radius")) == boundaries(zoned(9, 12, family="graded")) == []


# ---------------------------------------------------------------- where it is measured


@pytest.mark.parametrize(
    ("pair", "two"),
    [
        (("pivot_forefoot_toe_in", "critical_ankle_stiffness"), True),  # +45 and -15 mm
        (("turn_drag", "critical_ankle_stiffness"), True),  # +30 and -15
        (("turn_drag", "pivot_forefoot_toe_in"), False),  # +30 and +45
        (("glide_drag_coefficient", "critical_ankle_stiffness"), False),  # both at -15
        (("pivot_heel_toe_in", "glide_drag_coefficient"), True),  # -45 and -15
        (("turn_drag", "stride_ice_loss"), False),  # a movement has no one place
    ],
)
def test_pairs_of_measures_taken_at_two_places(pair, two):
    assert measured_at_two_places(pair, STATES) is two


def test_twenty_millimetres_are_one_place():
    for line, two in ((0.005, False), (0.00501, True), (-0.035, False), (-0.03501, True)):
        states = STATES | {"turn": replace(STATES["turn"], line_m=line)}
        assert measured_at_two_places(("turn_drag", "glide_drag_coefficient"), states) is two
        assert load_lines(("turn_drag", "stride_ice_loss"), states) == [line]
