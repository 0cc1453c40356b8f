"""What can be ground: every limit found, placed and sized, and a search told the same as a person."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from experiments.analysis.grinding import LIMITS, ROUNDING, check, read_grinding, violations
from experiments.analysis.grinding_depth import depth_to_grind
from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.request.fields import Fields
from sim.blade.recipe import Recipe, Sweep
from sim.blade.stock import steel_removed
from sim.errors import BladeError
from tests.cases import FT

CONFIG = composed(["+grinding=shop"])[0]["grinding"]
SHOP = read_grinding(Fields(CONFIG, "grinding"))
STOCK = Recipe("stock", "single_radius", (10 * FT,)).curve()
RADII = st.one_of(st.floats(0.5, 12.0), st.just(math.inf))
SWEEPS = st.sampled_from([Sweep(), Sweep(0.0), Sweep(0.03, 0.2), Sweep(0.05, 0.04)])


def zoned(*feet, **more):
    return Recipe("r", "zoned", tuple(f * FT for f in feet), **more)


@st.composite
def wild_recipes(draw):
    """Recipes of every kind, many of which cannot be ground or even be curves."""
    family = draw(st.sampled_from(["zoned", "zoned", "zoned", "graded", "spline"]))
    count = {"zoned": draw(st.integers(1, 5)), "graded": 2, "spline": draw(st.integers(3, 6))}[family]
    radii = tuple(draw(st.lists(RADII, min_size=count, max_size=count)))
    shares = tuple(draw(st.lists(st.floats(0.05, 1.0), min_size=count, max_size=count))) if family == "zoned" else ()
    return Recipe(
        "w", family, radii, shares, 0.28, draw(st.sampled_from([0.0, 0.002, 0.005, 0.02, 0.06])),
        draw(st.floats(-0.16, 0.16)), 0.0, draw(SWEEPS), draw(SWEEPS),
    )  # fmt: skip


def broken(recipe, limits=SHOP, stock=None):
    """Names of the limits that `check` complains about."""
    return {line.split(":")[0] for line in check(recipe, limits, stock)}


# --- the config


def test_every_number_of_the_shop_says_where_it_comes_from():
    text = Path("configs/grinding/shop.yaml").read_text(encoding="utf-8")
    for line in text.splitlines():
        if line and not line.startswith(("#", "name")):
            assert "common practice, no published source" in line or "assumption of ours" in line, line


def test_the_shop_is_read_into_si():
    assert SHOP.least_radius_m == pytest.approx(1.8288) and SHOP.greatest_radius_m == pytest.approx(9.144)
    assert SHOP.steepest_per_m2 == pytest.approx(30.0), "1/m per mm is 1000 1/m^2"
    assert SHOP.template_resolution_m == pytest.approx(10e-6)
    without = {k: v for k, v in CONFIG.items() if k != "steel_available"}
    assert math.isinf(read_grinding(Fields(without, "grinding")).steel_available_m)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"least_radius": "40 ft"}, "shorter radius"),
        ({"least_radius": "-1 ft"}, "radius"),
        ({"least_zone": "-1 mm"}, "least_zone"),
        ({"least_blend": "1 m"}, "least_blend"),
        ({"curvature_change": 0}, "curvature_change"),
        ({"wheel_radius": "0 mm"}, "wheel_radius"),
        ({"steel_available": "0 mm"}, "steel_available"),
        ({"template_resolution": "2 mm"}, "template_resolution"),
        ({"boundary_tolerance": "30 mm"}, "boundary_tolerance"),
        ({"radius_tolerance": 0.5}, "radius_tolerance"),
        ({"negative_template": "perhaps"}, "neither true nor false"),
        ({"weel_radius": "1 mm"}, "unknown key"),
    ],
)
def test_limits_that_cannot_be_are_refused_in_one_sentence(change, words):
    with pytest.raises(BladeError, match=words) as refusal:
        read_grinding(Fields({**CONFIG, **change}, "grinding"))
    assert str(refusal.value).startswith("grinding.") and "\n" not in str(refusal.value)


# --- each limit


@pytest.mark.parametrize("experiment", ["first_look", "compare_families", "findings"])
def test_what_the_program_shows_can_be_ground(experiment):

    config, _ = composed([f"experiment={experiment}"])
    keys = ("kind", "results_dir", "candidates_from", "blade", "ice", "law", "scenarios", "states", "candidates",
            "radius_line", "weighting", "opinions", "pairs", "skaters", "skater", "reference", "workers",
            "figures")  # fmt: skip
    for case in read_request({k: config[k] for k in keys}).cases:
        if case.candidate.recipe.length_m == 0.28:
            assert check(case.candidate.recipe, SHOP) == [], case.candidate.name


@pytest.mark.parametrize(
    "recipe, words",
    [
        (zoned(9, 5, 9), "least radius: zone 2 from the heel (x -40 to 40 mm) has 5 ft (1524 mm), 1 ft (305 mm)"),
        (zoned(9, 32), "greatest radius: zone 2 from the heel (x 0 to 120 mm) has 32 ft (9754 mm), 2 ft (610"),
        (zoned(9, math.inf), "greatest radius: zone 2 from the heel (x 0 to 120 mm) has no curvature, longer than"),
        (zoned(9, 12, shares=(23, 1)), "zone length: zone 2 from the heel (x 110 to 120 mm) is 10.0 mm long, 15.0"),
        (zoned(9, blend_m=0.004), "blend length: at every boundary it is 4.00 mm, 1.00 mm short of"),
        (zoned(9, 12, shares=(47, 1)), "room for blends: zone 2 from the heel is 5.0 mm long, 15.0 mm short"),
        (zoned(7, 13, blend_m=0.005), "curvature change: between zones 1 and 2 from the heel curvature changes by 0"),
        (zoned(7, 13, blend_m=0.0), "curvature change: between zones 1 and 2 from the heel curvature changes by over"),
        (zoned(10, 10.01), "template resolution: zones 1 and 2 from the heel differ by 0.59 um over the shorter one, "),
        (zoned(9, toe_sweep=Sweep(0.02, 0.09)), "wheel radius: the toe sweep has 90.0 mm, 10.0 mm tighter"),
        (zoned(9, level_m=-0.15), "level point: at x = -150.0 mm it is 10.0 mm off the steel"),
        (zoned(9, toe_sweep=Sweep(0.02, 0.009)), "turning: from heel to toe the runner turns by 142 deg, 27.3"),
        (Recipe("g", "graded", (5 * FT, 9 * FT)), "least radius: the curve at x = -110.0 mm has 5.094 ft"),
        (Recipe("s", "spline", (9 * FT, 40 * FT, 9 * FT)), "greatest radius: the curve at x = 0.0 mm has 40 ft"),
        (Recipe("s", "spline", (*[6 * FT] * 3, 30 * FT, *[6 * FT] * 8)), "curvature change: the curve"),
    ],
)  # fmt: skip
def test_each_limit_says_where_and_by_how_much(recipe, words):
    assert [line for line in check(recipe, SHOP) if line.startswith(words)], check(recipe, SHOP)


def test_steel_available_is_held_against_the_stock():
    """A 7 ft out of a 10 ft is deepest at the ends: half-length squared over two, times the curvature's change."""
    recipe, thin = zoned(7), replace(SHOP, steel_available_m=1e-3)
    assert broken(recipe, thin) == set(), "without a stock nothing is said"
    (line,) = check(recipe, thin, STOCK)
    shape = steel_removed(recipe.curve(), STOCK)[0] * 1e3
    assert shape == pytest.approx(120**2 / 2 / 304.8 * (1 / 7 - 1 / 10), rel=0.4)
    depth = shape + 0.05  # what any visit takes off
    more = f"{depth - 1:.2f} mm more than the 1 mm available"
    assert f"{depth:.2f} mm of steel would have to be removed, {more}" in line
    assert violations(recipe, thin, STOCK)[LIMITS.index("steel available")] == pytest.approx(depth - 1, abs=1e-3)
    with pytest.raises(BladeError, match="one length"):
        check(replace(recipe, length_m=0.29), thin, STOCK)


def test_a_blade_on_the_limit_can_be_ground_and_one_beyond_cannot():
    least = SHOP.least_radius_m
    assert check(Recipe("r", "single_radius", (least,)), SHOP) == []
    assert broken(Recipe("r", "single_radius", (least * 0.999,)), SHOP) == {"least radius"}
    assert check(zoned(9, blend_m=0.005), SHOP) == []
    assert check(zoned(9, 16, shares=(215, 25)), SHOP) == []
    assert broken(zoned(9, 16, shares=(215.1, 24.9)), SHOP) == {"zone length"}


def test_sweeps_are_not_held_against_the_limits_of_the_template_but_against_the_wheel():
    tight = zoned(9, toe_sweep=Sweep(0.02, 0.05))
    assert broken(tight) == {"wheel radius"}
    assert check(tight, replace(SHOP, negative_template=False)) == []


def test_equal_neighbours_are_one_zone_and_nearly_equal_ones_too_little():
    at = LIMITS.index("template resolution")
    excess = [violations(zoned(10, f), SHOP)[at] for f in (10, 10.0001, 10.05, 10.2, 11)]
    assert excess[0] <= 0 < excess[1] < 0.01 and excess[2] > 0.5 and excess[3] < 0 and excess[4] < 0


def test_a_blade_without_boundaries_needs_no_blend():
    bare = zoned(9, blend_m=0.0, heel_sweep=Sweep(0.0), toe_sweep=Sweep(0.0))
    assert check(bare, SHOP) == []


# --- a search hears the same


@given(wild_recipes())
def test_check_and_violations_agree(recipe):
    excess = violations(recipe, SHOP, STOCK)
    assert excess.shape == (len(LIMITS),) and np.all(np.isfinite(excess))
    assert {name for name, e in zip(LIMITS, excess) if e > ROUNDING} == broken(recipe, SHOP, STOCK)
    assert np.all(excess >= -1) and np.all(excess <= 1e3)


@given(wild_recipes())
def test_room_level_and_turning_are_what_a_curve_is_refused_for(recipe):
    """The curve itself is the judge: it is refused just when one of the three is violated."""
    turned = dict(zip(LIMITS, violations(recipe, SHOP)))["turning"]
    assume(recipe.zones or abs(turned) > 0.2)  # of a spline it is estimated from its knots
    try:
        recipe.curve()
        refused = False
    except BladeError:
        refused = True
    assert refused == bool(broken(recipe) & {"room for blends", "level point", "turning"})


@given(wild_recipes())
def test_radii_and_their_change_are_those_of_the_curve(recipe):
    """Against curvature looked up on the finished curve, by finite differences."""
    assume(recipe.blend_m > 0 and not broken(recipe) & {"room for blends", "level point", "turning"})
    half = recipe.blend_m / 2
    start = recipe.heel_sweep.length_m + half * (recipe.heel_sweep.length_m > 0)
    stop = recipe.length_m - recipe.toe_sweep.length_m - half * (recipe.toe_sweep.length_m > 0)
    s = np.linspace(start, stop, 4001)
    k = recipe.curve().at(s)[3]
    excess = dict(zip(LIMITS, violations(recipe, SHOP)))
    steepest = np.max(np.abs(np.diff(k) / np.diff(s))) / SHOP.steepest_per_m2 - 1
    # zones no longer than their blends never reach their radii, so that only "at least" holds for zones
    assert excess["least radius"] >= SHOP.least_radius_m * k.max() - 1 - 1e-6
    assert excess["greatest radius"] >= 1 - SHOP.greatest_radius_m * k.min() - 1e-6
    if not recipe.zones:
        assert excess["least radius"] == pytest.approx(max(SHOP.least_radius_m * k.max() - 1, -1), abs=2e-3)
        assert excess["greatest radius"] == pytest.approx(max(1 - SHOP.greatest_radius_m * k.min(), -1), abs=2e-3)
    if steepest < 900:  # beyond, excesses are cut off
        assert excess["curvature change"] == pytest.approx(steepest, rel=0.02, abs=0.02)


@given(st.floats(2.0, 4.5), st.floats(2.0, 4.5), st.floats(-0.02, 0.02), st.floats(-0.003, 0.003), SWEEPS)
def test_depth_to_grind_is_the_steel_removed(heel, toe, level, pitch, sweep):
    curve = Recipe("r", "zoned", (heel, toe), (), 0.28, 0.015, level, pitch, Sweep(), sweep).curve()
    gap = abs(depth_to_grind(curve, STOCK)[0] - steel_removed(curve, STOCK)[0])
    assert gap < (0.3e-6 if sweep == Sweep() else 2e-6)


def test_violations_need_no_table(monkeypatch):
    """What makes them cheap: neither the nodes nor the table of a curve are built."""
    from sim.blade.curve import BladeCurve

    STOCK.table  # noqa: B018 (the stock's own is built once)
    monkeypatch.setattr(BladeCurve, "_nodes", property(lambda _: pytest.fail("nodes were built")))
    for recipe in (zoned(9, 12), Recipe("g", "graded", (3.0, 2.5)), Recipe("s", "spline", (3.0, 2.5, 3.0))):
        violations(recipe, SHOP, STOCK)
