"""Steel removed from a stock curve, against circles and quadrature."""

import math
from dataclasses import replace

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
