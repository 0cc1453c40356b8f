"""The cross-section against dense sampling of h(u) = v(u) + u tan(lean), and against quadrature."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad

from sim.blade.section import Section, breaks, loaded_width, rise, rises, strips
from sim.errors import BladeError
from tests.cases import HOLLOW_M, THICKNESS_M, LeanedSection, bottom

POINTS = 200_001
widths = st.floats(1.0e-3, 4.5e-3)
hollows = st.one_of(st.floats(6e-3, 40e-3), st.just(math.inf))
leans = st.one_of(st.just(0.0), st.floats(1e-3, 1.2))
# penetration as a share of the height at which all is immersed, so that every case is met
shares = st.one_of(st.floats(1e-3, 1.6), st.floats(0.95, 1.05))


def sampled(w, hollow, t):
    u = (np.arange(POINTS) + 0.5) * w / POINTS
    return u, bottom(u, w, hollow) + u * t


@given(widths, hollows, leans, shares)
def test_loaded_width_is_the_measure_of_the_immersed_bottom(w, hollow, lean, share):
    t = math.tan(lean)
    u, h = sampled(w, hollow, t)
    assume(abs(share - 1) > 1e-6)  # at the crown itself the measure is a coin toss of rounding
    n = share * max(h.max(), 1e-5)
    assert loaded_width(n, t, w, hollow) == pytest.approx(w * np.mean(h < n), abs=2.1 * w / POINTS)
    left, right = strips(n, t, w, hollow)
    wet = h < n
    assert abs(np.mean(wet[u < left - 2 * w / POINTS]) - 1) < 1e-12 if left > 3 * w / POINTS else True
    assert not np.any(wet[(u > left + 2 * w / POINTS) & (u < right - 2 * w / POINTS)])
    assert 0 <= left <= right <= w


@pytest.mark.parametrize("hollow", [HOLLOW_M, 9.5e-3, math.inf])
def test_loaded_width_over_a_sweep_of_lean(hollow):
    """From upright (two strips, merging over the crown) to an edge so leaned that its strip grows across the blade."""
    worst = 0.0
    for lean in np.radians([0, 0.5, 2, 5, 6.5, 6.6, 6.7, 10, 30, 60]):
        t = math.tan(lean)
        _, h = sampled(THICKNESS_M, hollow, t)
        for n in np.linspace(1e-6, 1.1 * max(h.max(), 2e-4), 60):
            worst = max(worst, abs(loaded_width(n, t, THICKNESS_M, hollow) - THICKNESS_M * np.mean(h < n)))
    assert worst < 2.1 * THICKNESS_M / POINTS


def test_upright_hollow_has_two_equal_strips_that_merge_at_the_depth_of_hollow():
    depth = Section(THICKNESS_M, HOLLOW_M).depth_m
    left, right = strips(0.5 * depth, 0.0, THICKNESS_M, HOLLOW_M)
    assert left == pytest.approx(THICKNESS_M - right, rel=1e-12) and 0 < left < THICKNESS_M / 2
    assert strips(1.001 * depth, 0.0, THICKNESS_M, HOLLOW_M) == (THICKNESS_M, THICKNESS_M)
    assert strips(0.0, 0.0, THICKNESS_M, HOLLOW_M) == (0.0, THICKNESS_M)
    assert strips(-1e-6, 0.3, THICKNESS_M, HOLLOW_M) == (0.0, THICKNESS_M)


@given(widths, hollows, leans, shares)
def test_rises_are_integrals_of_the_positive_part_of_the_slope(w, hollow, lean, share):
    t = math.tan(lean)
    u, h = sampled(w, hollow, t)
    n = share * max(h.max(), 1e-5)
    slope = np.zeros_like(u) if math.isinf(hollow) else -(u - w / 2) / np.sqrt(hollow**2 - (u - w / 2) ** 2)
    wet = h < n
    step = 2.5 * w / POINTS * np.max(np.abs(slope))
    out, inward = rises(n, t, w, hollow, 0.0)
    assert out == pytest.approx(np.sum(np.maximum(slope, 0)[wet]) * w / POINTS, abs=step + 1e-18)
    assert inward == pytest.approx(np.sum(np.maximum(-slope, 0)[wet]) * w / POINTS, abs=step + 1e-18)


@pytest.mark.parametrize("lean_deg", [0, 3, 15, 40])
@pytest.mark.parametrize("share", [0.2, 0.7, 0.99, 1.2])
def test_rises_against_adaptive_quadrature(lean_deg, share):
    t = math.tan(math.radians(lean_deg))
    section = LeanedSection(THICKNESS_M, HOLLOW_M, t)
    n = share * section.h(section.crown)
    b, c = section.strips(n)
    s = lambda u: -(u - THICKNESS_M / 2) / math.sqrt(HOLLOW_M**2 - (u - THICKNESS_M / 2) ** 2)  # noqa: E731
    for sign, ours in zip((1, -1), rises(n, t, THICKNESS_M, HOLLOW_M, 0.0)):
        theirs = sum(
            quad(lambda u, sign=sign: max(sign * s(u), 0), lo, hi, points=[THICKNESS_M / 2], epsabs=1e-16)[0]
            for lo, hi in ((0, b), (c, THICKNESS_M)) if hi > lo
        )  # fmt: skip
        assert ours == pytest.approx(theirs, abs=1e-13)


@given(widths, hollows, leans)
def test_breaks_are_the_outside_edge_and_the_crown(w, hollow, lean):
    t = math.tan(lean)
    section = LeanedSection(w, hollow, t)
    n_w, n_c = breaks(t, w, hollow)
    assert n_w == pytest.approx(section.h(w), abs=1e-15)
    if section.crown < w * (1 - 1e-6) and not math.isinf(hollow):
        assert n_c == pytest.approx(section.h(section.crown), abs=1e-12)
        assert n_c >= n_w - 1e-15
    elif math.isinf(hollow):
        assert n_c == 0.0


@pytest.mark.parametrize("lean_deg", [0, 1, 4, 6, 8, 20, 40])
@pytest.mark.parametrize("hollow", [HOLLOW_M, math.inf])
def test_loaded_width_kinks_at_the_breaks_and_nowhere_else(lean_deg, hollow):
    """Second differences of a(n) on a grid stand out by an order at the breaks only."""
    t = math.tan(math.radians(lean_deg))
    kinks = [n for n in breaks(t, THICKNESS_M, hollow) if n > 0]
    top = 1.4 * max([*kinks, 5e-5])
    n = np.linspace(1e-7, top, 20001)
    a = np.array([loaded_width(q, t, THICKNESS_M, hollow) for q in n])
    bend = np.abs(np.diff(a, 2))
    near = np.zeros(len(bend), bool)
    for kink in kinks:
        here = np.abs(n[1:-1] - kink) <= 2 * (n[1] - n[0])
        assert bend[here].max() > 20 * np.median(bend) + 1e-12, "no kink where one is named"
        near |= np.abs(n[1:-1] - kink) <= 0.02 * top  # a(n) is steep as a square root just below the crown
    assert bend[~near].max(initial=0.0) < 0.05 * max((bend[near].max(initial=1e-9)), 1e-9), "a kink that is not named"


@given(widths, st.floats(6e-3, 40e-3))
def test_rise_is_a_circle_through_both_edges(w, hollow):
    u = np.linspace(0, w, 101)
    ours = np.array([rise(q, w, hollow) for q in u])
    centre = ours[50] - hollow  # crown, less the radius
    assert np.allclose(np.hypot(u - w / 2, ours - centre), hollow, rtol=1e-14)
    assert ours[0] == 0.0 and abs(ours[-1]) < 1e-18
    assert rise(0.3 * w, w, math.inf) == 0.0


def test_depth_of_hollow_and_bite_angle():
    """w 3.0 mm, hollow 12.7 mm: 88.9 um and 6.78 deg (exact geometry, by hand)."""
    section = Section(3.0e-3, 12.7e-3)
    assert section.depth_m == pytest.approx(12.7e-3 - math.sqrt(12.7e-3**2 - 1.5e-3**2), rel=1e-12)
    assert section.depth_m * 1e6 == pytest.approx(88.9, abs=0.05)
    assert math.degrees(section.bite_rad) == pytest.approx(6.78, abs=0.005)
    flat = Section(3.0e-3, math.inf)
    assert flat.depth_m == 0.0 and flat.bite_rad == 0.0


@pytest.mark.parametrize("w, hollow, words", [
    (0.1e-3, 0.0127, "no runner"), (math.nan, 0.0127, "no runner"), (2.9e-3, 1.4e-3, "larger hollow"),
    (2.9e-3, math.nan, "larger hollow"), (2.9e-3, -0.0127, "larger hollow"),
])  # fmt: skip
def test_impossible_sections_are_refused(w, hollow, words):
    with pytest.raises(BladeError, match=words):
        Section(w, hollow)
