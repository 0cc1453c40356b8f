"""Recipes on the bounds of a space: which, and where the bound goes when it is moved by a tenth, by hand."""

import math
from dataclasses import replace

import pytest

from experiments.analysis.bounds import bounds_of
from experiments.analysis.shop import ShopSteps
from experiments.analysis.space import Space
from tests.experiments.analysis.hand import FT, TEN
from tests.experiments.analysis.test_limits import SHOP, zoned

STEPS = ShopSteps(FT / 4, 1e-3)


def space(low=7.0, high=14.0, level=(0.0, 0.0), blend=(0.02, 0.02), count=(3, 3)) -> Space:
    return Space("zones", *count, "free", (low * FT, high * FT), level, blend, TEN.recipe)


def found(recipe, there=None, raw=None, limits=SHOP, steps=STEPS):
    return bounds_of(recipe, raw or recipe, there or space(), steps, limits)


def test_a_recipe_inside_lies_on_no_bound():
    assert found(zoned(7.25, 13.75, 9)) == []


@pytest.mark.parametrize(
    ("feet", "low", "zones", "wider", "moved"),
    [
        ((7, 13, 7), True, (1, 3), 6.25, (6.25, 13, 6.25)),  # 6.3 ft
        ((9, 14, 9), False, (2,), 15.5, (9, 15.5, 9)),  # 15.4 ft
        ((7.125, 13, 9), True, (1,), 6.25, (6.25, 13, 9)),  # half a step off is on it
        ((8, 10, 13.875), False, (3,), 15.5, (8, 10, 15.5)),
    ],
)
def test_radii_at_an_end_and_a_tenth_beyond_it(feet, low, zones, wider, moved):
    (bound,) = found(zoned(*feet))
    assert (bound.what, bound.low, bound.zones) == ("radius", low, zones)
    assert bound.value == pytest.approx((7 if low else 14) * FT) and bound.wider == pytest.approx(wider * FT)
    assert [r / FT for r in bound.moved.radii_m] == pytest.approx(moved)


def test_both_ends_are_two_bounds_and_each_is_moved_alone():
    short, long = found(zoned(7, 14, 7))
    assert [r / FT for r in short.moved.radii_m] == pytest.approx([6.25, 14, 6.25])
    assert [r / FT for r in long.moved.radii_m] == pytest.approx([7, 15.5, 7])


@pytest.mark.parametrize(
    ("low", "high", "feet", "wider"),
    [
        (6.5, 14, (6.5, 9, 9), 6.0),  # 5.85 ft is 5.75 or 6: the grinder stops at 6
        (6.0, 14, (6, 9, 9), None),  # the grinder's own limit
        (6.125, 14, (6.125, 9, 9), 6.0),  # half a step away
        (6.12, 14, (6.12, 9, 9), None),  # less than half a step away
        (7, 29.5, (9, 29.5, 9), 30.0),  # 32.45 ft: the grinder stops at 30
        (7, 30, (9, 30, 9), None),
        (6.9, 14, (7, 9, 9), 6.25),  # 6.21 ft
    ],
)
def test_no_bound_is_moved_beyond_the_grinder(low, high, feet, wider):
    (bound,) = found(zoned(*feet), space(low, high))
    if wider is None:
        assert math.isnan(bound.wider) and bound.moved is None
    else:
        assert bound.wider == pytest.approx(wider * FT)


def test_a_tenth_that_is_less_than_half_a_step_is_one_step():
    (bound,) = found(zoned(7, 9, 9), steps=ShopSteps(2 * FT, 1e-3), limits=replace(SHOP, least_radius_m=1 * FT))
    assert bound.wider == pytest.approx(6 * FT)
    (bound,) = found(zoned(10, 13, 10), space(high=13), steps=ShopSteps(4 * FT, 1e-3))
    assert bound.wider == pytest.approx(16 * FT), "14.3 ft is nearest to 16 in steps of 4"


@pytest.mark.parametrize(
    ("level", "low", "wider"),
    [(0.02, False, 0.024), (-0.02, True, -0.024), (0.0195, False, 0.024), (0.0194, None, None)],
)
def test_a_level_point_at_an_end_goes_on_by_a_tenth_of_the_range(level, low, wider):
    out = found(replace(zoned(8, 9, 8), level_m=level), space(level=(-0.02, 0.02)))
    assert len(out) == (low is not None)
    for bound in out:
        assert (bound.what, bound.low, bound.wider) == ("level", low, pytest.approx(wider))
        assert bound.moved.level_m == bound.wider and bound.moved.radii_m == zoned(8, 9, 8).radii_m


def test_a_blend_goes_no_shorter_than_can_be_ground_and_a_fixed_one_is_no_bound():
    """5 to 25 mm: a tenth of the range is 2 mm. The grinder blends 5 mm at least."""
    there = space(blend=(0.007, 0.027))
    (short,) = found(replace(zoned(8, 9, 8), blend_m=0.007), there)
    assert (short.what, short.low, short.wider) == ("blend", True, pytest.approx(0.005))
    (long,) = found(replace(zoned(8, 9, 8), blend_m=0.027), there)
    assert (long.what, long.low, long.wider) == ("blend", False, pytest.approx(0.029))
    assert long.moved.blend_m == long.wider
    (least,) = found(replace(zoned(8, 9, 8), blend_m=0.005), space(blend=(0.005, 0.025)))
    assert least.moved is None and math.isnan(least.wider)
    assert found(replace(zoned(8, 9, 8), blend_m=0.02)) == []


def test_zones_as_unlike_as_the_space_holds():
    """Four to one goes on to 4.4 to one, the middle zone with the rest of what the two leave."""
    (bound,) = found(zoned(8, 9, 8, shares=(40, 80, 20)), raw=zoned(8, 9, 8, shares=(2.0, 1.0, 0.5)))
    lengths = [z.length_m for z in bound.moved.zones]
    assert (bound.what, bound.value, bound.wider) == ("length", pytest.approx(4.0), pytest.approx(4.4))
    assert max(lengths) / min(lengths) == pytest.approx(4.4) and sum(lengths) == pytest.approx(0.24)
    assert lengths[0] / lengths[1] == pytest.approx(40 / 80 / math.sqrt(1.1)), "the longest alone by half of it"
    assert found(zoned(8, 9, 8), raw=zoned(8, 9, 8, shares=(3.95, 1.0, 1.0))) == []
    (near,) = found(zoned(8, 9, 8, shares=(159, 40, 41)), raw=zoned(8, 9, 8, shares=(3.97, 1.0, 1.01)))
    assert near.what == "length"
    shares = near.moved.shares
    assert shares[0] / shares[1] == pytest.approx(4.4, rel=1e-9) and shares[2] / shares[1] > 1.0
    (joined,) = found(zoned(8, 9, shares=(160, 80)), raw=zoned(8, 8.01, 9, shares=(2.0, 1.0, 0.5)))
    assert (
        joined.what == "length"
        and joined.moved is None
        and not joined.low
        and not bound.low
        and math.isnan(joined.wider)
    )


def test_zones_that_are_as_long_are_moved_together_and_a_millimetre_is_another_length():
    """Two of 80 mm go on with each other; one of 79 mm keeps its own."""
    (both,) = found(zoned(8, 9, 8, shares=(80, 20, 80)), raw=zoned(8, 9, 8, shares=(2.0, 0.5, 2.0)))
    long, short, other = both.moved.shares
    assert long == pytest.approx(other) and long / short == pytest.approx(4.4)
    (one,) = found(zoned(8, 9, 8, shares=(121, 30, 120)), raw=zoned(8, 9, 8, shares=(2.0, 0.5, 2.0)))
    home = [z.length_m for z in zoned(8, 9, 8, shares=(121, 30, 120)).zones]
    assert one.moved.shares[2] == pytest.approx(home[2]) and one.moved.shares[0] > home[0]
    (low,) = found(zoned(8, 9, 8, shares=(30, 120, 31)), raw=zoned(8, 9, 8, shares=(0.5, 2.0, 0.5)))
    home = [z.length_m for z in zoned(8, 9, 8, shares=(30, 120, 31)).zones]
    assert low.moved.shares[2] == pytest.approx(home[2]) and low.moved.shares[0] < home[0]


def test_the_most_zones_of_the_space_are_named_and_not_moved():
    (bound,) = found(zoned(8, 9, 8), space(count=(1, 3)))
    assert (bound.what, bound.value, bound.moved) == ("zones", 3, None)
    assert found(zoned(8, 9), space(count=(1, 3))) == [] == found(zoned(8, 9, 8), space(count=(3, 3)))
    (raw,) = found(zoned(8, 9), space(count=(1, 3)), raw=zoned(8, 8.01, 9))
    assert raw.what == "zones", "it was found with three"
