"""Steel removed from a stock curve, against circles and quadrature."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import linprog

from sim.blade.recipe import Recipe, Sweep
from sim.blade.stock import removal, steel_removed
from sim.errors import BladeError

BARE = {"heel_sweep": Sweep(0.0), "toe_sweep": Sweep(0.0)}


def arc(radius, **more):
    return Recipe("arc", "single_radius", (radius,), **{**BARE, **more}).curve()


def circle(x, radius):
    return radius - math.sqrt(radius**2 - x * x)


def test_nothing_is_removed_from_a_curve_that_is_the_stock(single):
    depth, area = steel_removed(single.curve(), single.curve())
    assert depth == 0.0 and area == 0.0


@pytest.mark.parametrize("radius, stock", [(2.0, 3.0), (3.0, 2.0), (2.4, 2.7432)])
def test_arc_out_of_arc(radius, stock):
    """A shorter radius is ground away at the ends, a longer one at mid-runner."""
    half = min(r * math.sin(0.14 / r) for r in (radius, stock))
    high = lambda x: circle(x, radius) - circle(x, stock)  # noqa: E731
    least = min(high(0.0), high(half))
    depth, area = steel_removed(arc(radius), arc(stock))
    # the table is read by straight lines there: up to dx^2 curvature/8 = 4 nm between nodes
    assert depth == pytest.approx(max(high(0.0), high(half)) - least, abs=8e-9)
    assert area == pytest.approx(quad(lambda x: high(x) - least, -half, half)[0], abs=8e-9 * 2 * half)


@given(st.floats(2.0, 4.5), st.floats(2.0, 4.5), st.floats(-0.02, 0.02), st.floats(-0.003, 0.003))
def test_the_candidate_just_fits_inside_the_stock(radius, stock, level, pitch):
    candidate, blank = arc(radius, level_m=level, pitch_offset_rad=pitch), arc(stock)
    depth, area = steel_removed(candidate, blank)
    s = np.linspace(0, 0.28, 20001)
    ours, theirs = candidate.at(s), blank.at(s)
    x = np.linspace(max(ours[0][0], theirs[0][0]), min(ours[0][-1], theirs[0][-1]), 3001)
    gap = np.interp(x, ours[0], ours[1]) - np.interp(x, theirs[0], theirs[1])
    assert depth == pytest.approx(np.ptp(gap), abs=8e-9)
    assert 0 <= area <= depth * 0.28
    assert area == pytest.approx(np.trapezoid(gap - gap.min(), x), abs=8e-9 * 0.28)


def test_runners_of_different_length_are_not_compared():
    with pytest.raises(BladeError, match="one length"):
        steel_removed(arc(3.0), arc(3.0, length_m=0.29))


def test_free_tilt_finds_a_turned_curve(zoned):
    # the same steel mounted a little toe-down: turned back, nothing is left to grind; held level, there is
    turned = replace(zoned, pitch_offset_rad=0.004).curve()
    free = removal(turned, zoned.curve(), True, within=(-0.115, 0.115))  # the steep ends shift along x as they turn
    assert free.most_m < 2e-6 < 2e-4 < removal(turned, zoned.curve()).most_m
    assert abs(free.tilt_rad) == pytest.approx(0.004, abs=2e-5)


def test_removal_by_linear_programme(single, zoned):
    # least area over tilt and height with the new curve inside the old steel everywhere: an outside solver
    old, new = single.curve(), zoned.curve()
    ours = removal(new, old, free_tilt=True)
    (x_a, dx_a, z_a, _), (x_b, dx_b, z_b, _) = new.table, old.table
    x = ours.x_m[::10]
    apart = np.interp(x, x_a + dx_a * np.arange(len(z_a)), z_a) - np.interp(x, x_b + dx_b * np.arange(len(z_b)), z_b)
    found = linprog([len(x), x.sum()], A_ub=-np.column_stack([np.ones_like(x), x]), b_ub=apart, bounds=(None, None))
    by_solver = apart + found.x[0] + found.x[1] * x
    assert ours.at(0.0) == pytest.approx(np.interp(0.0, x, by_solver), abs=2e-6)
    assert ours.most_m == pytest.approx(by_solver.max(), abs=2e-6)


# ---------------------------------------------------------------- closed forms, on curves given as heights


def heights(function, low=-0.14, high=0.14, length=0.28, points=1121):
    """Stands in for a curve: z(x) on a grid, as `removal` reads it."""
    x = np.linspace(low, high, points)
    return SimpleNamespace(length_m=length, table=(low, x[1] - x[0], function(x), np.zeros(points)))


FLAT = heights(np.zeros_like)
BOWL = heights(lambda x: 0.01 * x**2)  # 0.01/m: 196 um at 0.14 m


def test_a_parabola_out_of_a_flat():
    """a x^2 over +-L: a L^2 deep at the ends, 2 a L^3/3 in area."""
    found = removal(BOWL, FLAT)
    assert found.tilt_rad == 0.0
    assert found.most_m == pytest.approx(0.01 * 0.14**2, rel=1e-9)
    assert found.area_m2 == pytest.approx(2 * 0.01 * 0.14**3 / 3, rel=1e-5)
    assert found.at(0.0) == pytest.approx(0.0, abs=1e-12) and found.at(-0.07) == pytest.approx(49e-6, rel=1e-5)
    assert (found.x_m[0], found.x_m[-1]) == pytest.approx((-0.14, 0.14), abs=1e-12)


def test_a_flat_out_of_a_parabola():
    """The other way round all of it goes in the middle: the same depth, twice the area."""
    found = removal(FLAT, BOWL)
    assert found.most_m == pytest.approx(196e-6, rel=1e-9) and found.at(0.0) == pytest.approx(196e-6, rel=1e-9)
    assert found.area_m2 == pytest.approx(4 * 0.01 * 0.14**3 / 3, rel=1e-5)


@pytest.mark.parametrize("slope", [-0.012, 0.0, 0.007])
def test_free_tilt_takes_a_slope_out_and_keeps_its_sign(slope):
    """a x^2 + b x: turned by atan(b) only a x^2 is left. A toe higher by b is laid in toe-down by b."""
    found = removal(heights(lambda x: 0.01 * x**2 + slope * x), FLAT, free_tilt=True)
    assert found.tilt_rad == pytest.approx(math.atan(slope), abs=2e-5)
    assert found.area_m2 == pytest.approx(2 * 0.01 * 0.14**3 / 3, rel=1e-4)
    assert found.most_m == pytest.approx(196e-6, abs=4e-6)


@pytest.mark.parametrize("low, high", [(-0.05, 0.10), (-0.14, 0.02), (-0.11, 0.11)])
def test_free_tilt_within_a_part(low, high):
    """a x^2 over (p, q): least area at slope a (p + q), and then it is a (x - (p + q)/2)^2."""
    found = removal(BOWL, FLAT, free_tilt=True, within=(low, high))
    assert (found.x_m[0], found.x_m[-1]) == pytest.approx((low, high), abs=1e-12)
    assert found.tilt_rad == pytest.approx(0.01 * (low + high), abs=1e-5)
    half = (high - low) / 2
    assert found.area_m2 == pytest.approx(2 * 0.01 * half**3 / 3, rel=1e-3)
    assert found.most_m == pytest.approx(0.01 * half**2, abs=2e-6)
    assert found.at((low + high) / 2) == pytest.approx(0.0, abs=2e-6)


@pytest.mark.parametrize("slope", [-0.05, 0.05])
def test_more_tilt_than_a_holder_allows_is_not_taken(slope):
    """2 % at most: of a slope of 5 % over 280 mm 3 % are left, 8.4 mm at one end."""
    found = removal(heights(lambda x: slope * x), FLAT, free_tilt=True)
    assert found.tilt_rad == pytest.approx(math.copysign(math.atan(0.02), slope), abs=2e-5)
    assert found.most_m == pytest.approx(0.03 * 0.28, abs=1e-5)
    assert found.at(0.14 if slope > 0 else -0.14) == pytest.approx(found.most_m, rel=1e-9)


def test_only_what_both_curves_cover_is_compared():
    """Runners of 140.5 mm and 140 mm to either side, and off their middles: the part that both have."""
    longer = heights(lambda x: 0.01 * x**2, -0.1405, 0.1395, 0.281)
    found = removal(longer, FLAT)
    assert (found.x_m[0], found.x_m[-1]) == pytest.approx((-0.14, 0.1395), abs=1e-12)
    found = removal(FLAT, longer)
    assert (found.x_m[0], found.x_m[-1]) == pytest.approx((-0.14, 0.1395), abs=1e-12)


def test_lengths_may_differ_by_two_millimetres():
    assert removal(BOWL, heights(np.zeros_like, length=0.2819)).most_m == pytest.approx(196e-6, rel=1e-9)
    assert removal(heights(np.zeros_like, length=0.2781), BOWL).most_m == pytest.approx(196e-6, rel=1e-9)
    for length in (0.2821, 0.2779):
        with pytest.raises(BladeError, match=f"the stock runner is {length * 1e3:.0f} mm and the candidate 280 mm"):
            removal(BOWL, heights(np.zeros_like, length=length))


def test_depth_and_area_are_those_of_the_removal_held_level():
    tilted = heights(lambda x: 0.01 * x**2 + 0.003 * x)
    depth, area = steel_removed(tilted, FLAT)
    # lowest at x = -0.15, beyond the heel: nothing goes there, all of it at the toe; depth is z less z at the heel
    assert depth == pytest.approx(0.003 * 0.28, rel=1e-9)
    assert area == pytest.approx(2 * 0.01 * 0.14**3 / 3 - 0.28 * (0.01 * 0.14**2 - 0.003 * 0.14), rel=1e-5)
