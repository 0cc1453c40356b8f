"""Steel: what a grind takes, why it cannot be done, what is left in mm and in visits; each against a hand number."""

import math
from dataclasses import replace

import numpy as np
import pytest

from experiments.analysis.shop import ShopSteps
from experiments.studies.recommend import steel
from experiments.studies.recommend.steel import Stock, same_again, to_remove
from sim.blade.recipe import Recipe, Sweep
from sim.blade.stock import Removal
from tests.experiments.analysis.hand import FT, blade, request
from tests.experiments.analysis.test_limits import SHOP

NAN = math.nan
STEPS = ShopSteps(FT / 4, 1e-3)
NOWHERE = -1  # no case is the same curve again


def stock(*heights_mm, least_mm=NAN, cut_mm=0.0) -> Stock:
    heights = tuple(h / 1e3 for h in heights_mm) or (NAN,)
    return Stock(heights, least_mm / 1e3, replace(SHOP, cleaning_cut_m=cut_mm / 1e3), STEPS)


def removed(depth_m) -> Removal:
    return Removal(np.array([-0.1, 0.0, 0.1]), np.array([depth_m, 0.0, depth_m / 2]), 0.0)


# ---------------------------------------------------------------- the same curve again


def measured(feet, lengths_mm) -> Recipe:
    """A blade as read from a trace: odd radii and odd zones."""
    family = "single_radius" if len(feet) == 1 else "zoned"
    shares = tuple(x / 1e3 for x in lengths_mm)
    return Recipe("measured", family, tuple(f * FT for f in feet), shares, sum(shares) + 0.04)


@pytest.mark.parametrize(
    ("feet", "quarter"), [(9.12, 9.0), (9.13, 9.25), (9.37, 9.25), (9.38, 9.5), (0.05, 0.25), (10.0, 10.0)]
)
def test_radii_are_rounded_to_what_the_shop_grinds(feet, quarter):
    found = same_again(measured((feet,), (240,)), None, STEPS, "again")
    assert found.radii_m == pytest.approx((quarter * FT,)) and (found.family, found.name) == ("single_radius", "again")
    metric = same_again(measured((10.0,), (240,)), None, ShopSteps(0.05, 1e-3, metric=True), "again")
    assert metric.radii_m == pytest.approx((3.05,))


def test_zone_ends_are_rounded_to_millimetres_and_alike_zones_joined():
    found = same_again(measured((8.1, 12.1, 11.9, 8.9), (60.4, 59.6, 71.3, 48.7)), None, STEPS, "again")
    assert found.radii_m == pytest.approx((8 * FT, 12 * FT, 9 * FT))
    assert found.shares == pytest.approx((60, 131, 49)) and found.family == "zoned"
    one = same_again(measured((9.1, 8.9), (100.0, 140.0)), None, STEPS, "again")
    assert (one.family, one.shares) == ("single_radius", ()) and one.radii_m == pytest.approx((9 * FT,))


def test_what_was_last_ground_is_ground_again_on_the_ends_that_are_there():
    ground = Recipe("as ground", "rear_flat", (12 * FT, 9.1 * FT), length_m=0.285, heel_sweep=Sweep(0.03, 0.2))
    worn = measured((9.0,), (240,))
    found = same_again(worn, ground, STEPS, "again")
    assert (found.radii_m, found.family) == (ground.radii_m, "rear_flat"), "as stated, not rounded"
    assert (found.length_m, found.heel_sweep) == (worn.length_m, worn.heel_sweep)


# ---------------------------------------------------------------- what a grind takes


def test_steel_to_remove_between_the_turned_up_ends_and_the_cleaning_cut_all_along():
    """8 ft out of 10 ft, level known: x^2/2 times the change of curvature at the end of the working part and of its
    blend, 280/2 - 20 - 20/2 = 110 mm; out of 12 ft as much in the middle. Any visit takes 0.05 mm besides."""
    blades = [blade(10, name="as measured"), blade(8), blade(12), blade(9, length_m=0.29)]
    circle = {f: f * FT - math.sqrt((f * FT) ** 2 - 0.11**2) for f in (8, 10, 12)}
    for cut in (0.0, 0.05):
        found, refused = to_remove(request(blades), stock(cut_mm=cut), False, 0, NAN, NOWHERE)
        shape = [None if x is None else x.depth_m - cut / 1e3 for x in found]
        assert found[0] is None and refused[:3] == ["", "", ""]
        assert shape[1].max() == pytest.approx(circle[8] - circle[10], rel=0.01)
        assert np.interp(0.0, found[1].x_m, shape[1]) < 2e-6
        assert shape[2].max() == pytest.approx(circle[10] - circle[12], rel=0.01)
        assert abs(found[2].x_m[np.argmax(shape[2])]) < 2e-3 and found[1].x_m[0] == pytest.approx(-0.11, abs=2e-4)
        assert found[3] is None and refused[3].startswith("cannot be ground: steel removed: the stock runner is 280 mm")


def test_the_same_curve_again_costs_the_cleaning_cut_and_no_limit_of_the_grinder_forbids_it():
    """Zones of 9 and 9.01 ft are less than a template shows: refused as new, not as the curve that is there."""
    blades = [blade(9, 9.01, name="as measured"), blade(9, 9.01), blade(9, 9.01)]
    found, refused = to_remove(request(blades), stock(25, least_mm=20, cut_mm=0.05), False, 0, 0.025, 1)
    assert found[1].most_m == pytest.approx(0.05e-3, abs=1e-7) and refused[1] == ""
    assert refused[2].startswith("cannot be ground: template resolution")
    _, low = to_remove(request(blades), stock(20.04, least_mm=20, cut_mm=0.05), False, 0, 0.02004, 1)
    assert low[1] == "cannot be ground: 20.0 mm of steel would be left, and 20.0 mm is the least stated"


def test_each_blade_of_a_pair_is_checked_at_its_own_height():
    blades = [blade(9, name="left"), blade(8), blade(13, name="right")]
    there = stock(20.5, 20.5, least_mm=20)
    notes = [to_remove(request(blades), there, False, place, 0.0205, NOWHERE)[1][1] for place in (0, 2)]
    assert notes[0] == "" and notes[1].startswith("cannot be ground: 19."), "8 ft out of 13 ft takes 0.9 mm"


def test_a_tilt_is_free_where_the_gauge_was_not_level():
    blades = [blade(10), blade(10, level_m=0.01)]
    known, _ = to_remove(request(blades), stock(), False, 0, NAN, NOWHERE)
    free, _ = to_remove(request(blades), stock(), True, 0, NAN, NOWHERE)
    tilt = 0.01 / (10 * FT)  # rad over 220 mm
    assert known[1].most_m == pytest.approx(0.22 * tilt, rel=0.02) and free[1].most_m < 2e-6
    assert abs(free[1].tilt_rad) == pytest.approx(tilt, rel=0.02) and known[1].tilt_rad == 0.0


@pytest.mark.parametrize(("least_mm", "left"), [(20.49, True), (20.51, False)])
def test_steel_that_is_left(least_mm, left):
    """21 mm less 0.5 mm are 20.5 mm."""
    found = steel.too_low(removed(0.5e-3), stock(21, least_mm=least_mm), 0.021)
    assert found == ([] if left else ["20.5 mm of steel would be left, and 20.5 mm is the least stated"])


def test_steel_is_not_judged_where_a_height_is_not_stated():
    for height, least_mm in ((NAN, 20), (0.003, NAN), (NAN, NAN)):
        assert steel.too_low(removed(1.4e-3), stock(least_mm=least_mm), height) == []


@pytest.mark.parametrize(("depth_mm", "fine"), [(1.499, True), (1.501, False)])
def test_steel_that_a_shop_takes_off(depth_mm, fine):
    found = steel.too_deep(removed(depth_mm / 1e3), stock())
    assert found == ([] if fine else ["1.50 mm would have to be removed, and the limit of the shop is 1.50 mm"])


def test_limits_of_the_grinder_hold_between_the_ends_alone():
    inner = steel.between_ends(blade(9, 11, level_m=0.13).recipe)
    assert inner.length_m == pytest.approx(0.24) and inner.heel_sweep.length_m == inner.toe_sweep.length_m == 0.0
    assert inner.level_m == pytest.approx(0.096), "0.4 of 240 mm"


# ---------------------------------------------------------------- what is left


@pytest.mark.parametrize(
    ("height_mm", "least_mm", "cut_mm", "visits"),
    [(24.0, 20.0, 0.05, 80), (20.049, 20.0, 0.05, 0), (20.05, 20.0, 0.05, 1), (19.0, 20.0, 0.05, 0),
     (24.0, NAN, 0.05, None), (NAN, 20.0, 0.05, None), (24.0, 20.0, 0.0, None)],
)  # fmt: skip
def test_a_height_is_good_for_so_many_visits(height_mm, least_mm, cut_mm, visits):
    assert stock(least_mm=least_mm, cut_mm=cut_mm).visits(height_mm / 1e3) == visits


def test_what_is_left_is_told_in_mm_and_in_visits():
    there = stock(24, least_mm=20, cut_mm=0.05)
    words = steel.left_words(there, 0.024, removed(0.5e-3))
    assert words == "at least 23.5 mm of 24.0 mm, good for about 70 visits of 0.05 mm"
    assert steel.left_words(stock(24), 0.024, removed(0.5e-3)) == "at least 23.5 mm of 24.0 mm"
    assert steel.left_words(stock(), NAN, removed(0.5e-3)) == "not known: no runner height was given"


@pytest.mark.parametrize(
    ("heights_mm", "words"),
    [
        ((24.0, 23.5), ""),
        ((24.0, 19.9), "the right blade is 19.9 mm high, under the least stated, 20.0 mm"),
        ((19.8, 19.9), "the left blade is 19.8 mm high, under the least stated, 20.0 mm"),
        ((20.04, 23.5), "a visit takes 0.05 mm, and the left blade has 0.04 mm to the least stated, 20.0 mm"),
        ((20.05, 23.5), ""),
        ((NAN, 19.9), "the right blade is 19.9 mm high, under the least stated, 20.0 mm"),
        ((NAN, NAN), ""),
    ],
)
def test_steel_that_is_used_up_is_named(heights_mm, words):
    assert steel.spent(stock(*heights_mm, least_mm=20, cut_mm=0.05), ("left", "right")) == words
    assert steel.spent(stock(19.0), ("measured",)) == "", "no least was stated"
    assert steel.spent(stock(19.0, least_mm=20), ("measured",)).startswith("the blade is 19.0 mm high")


def test_what_the_same_curve_again_takes():
    there = stock(cut_mm=0.05)
    assert steel.again_words(there, [removed(0.06e-3)], ("measured",)) == (
        "The same curve again would take 0.06 mm; 0.05 mm of it is what any visit takes off all along."
    )
    both = steel.again_words(there, [removed(0.06e-3), removed(0.11e-3)], ("left", "right"))
    assert both.startswith("The same curve again would take left 0.06 mm, right 0.11 mm; ")
    assert steel.again_words(there, [removed(0.06e-3), None], ("left", "right")) == ""
