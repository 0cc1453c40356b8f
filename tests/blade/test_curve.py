"""The longitudinal curve against an ODE solver, Fresnel integrals and the circle."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp
from scipy.special import fresnel

from sim.blade import curve as curve_module
from sim.blade.curve import BladeCurve
from sim.blade.steel import height
from sim.errors import BladeError
from tests.cases import relative, steel_of


@st.composite
def curves(draw):
    """Curvature through 2 to 8 breakpoints, radii from 0.1 m to flat, some jumps, pitched and levelled anywhere."""
    pieces = draw(st.lists(st.floats(0.01, 0.08), min_size=2, max_size=7))
    arc = np.concatenate([[0.0], np.cumsum(pieces)])
    if draw(st.booleans()):
        arc = np.sort(np.append(arc, arc[1]))  # a jump of curvature
    kappa = [draw(st.one_of(st.just(0.0), st.floats(0.03, 10.0))) for _ in arc]
    assume(np.trapezoid(kappa, arc) < 1.0)  # a runner, not a hook
    level = draw(st.floats(-0.4, 0.4)) * arc[-1]
    return BladeCurve(arc, np.array(kappa), level, draw(st.floats(-0.03, 0.03)))


def by_ode(curve, stations):
    """x, z, angle at the stations relative to the heel end, piece by piece with DOP853 at 1e-12."""
    state, out = np.zeros(3), []
    s, k = curve.arc_m, curve.curvature_per_m
    for s0, s1, k0, k1 in zip(s, s[1:], k, k[1:]):
        if s1 <= s0:
            continue
        rate = (k1 - k0) / (s1 - s0)
        inside = stations[(stations >= s0) & (stations < s1)]
        run = solve_ivp(
            lambda q, y, s0=s0, k0=k0, rate=rate: [math.cos(y[2]), math.sin(y[2]), k0 + rate * (q - s0)],
            (s0, s1), state, t_eval=np.append(inside, s1), method="DOP853", rtol=1e-12, atol=1e-14,
        )  # fmt: skip
        out.append(run.y[:, :-1].T)
        state = run.y[:, -1]
    return np.concatenate([*out, state[None]]).T


def turned(x, z, angle, by):
    return x * math.cos(by) - z * math.sin(by), x * math.sin(by) + z * math.cos(by), angle + by


@given(curves())
def test_curve_is_the_integral_of_its_curvature(curve):
    stations = np.linspace(0.0, curve.length_m, 25)
    x, z, angle, _ = curve.at(stations)
    ref_x, ref_z, ref_angle = turned(*by_ode(curve, stations), by=angle[0])
    assert np.max(np.abs(angle - ref_angle)) < 1e-10
    assert np.max(np.abs((x - x[0]) - ref_x)) < 1e-10, "x off the ODE by more than 0.1 nm"
    assert np.max(np.abs((z - z[0]) - ref_z)) < 1e-10, "z off the ODE by more than 0.1 nm"


@given(curves())
def test_arc_length_is_preserved_x_rises_and_the_curve_is_convex(curve):
    s = np.linspace(0.0, curve.length_m, 4001)
    x, z, angle, kappa = curve.at(s)
    # a chord is shorter than its arc by about (kappa ds)^2/24 of it
    chords = np.hypot(np.diff(x), np.diff(z)).sum()
    assert abs(chords / curve.length_m - 1) < 1e-6
    assert np.all(np.diff(x) > 0)
    assert np.all(np.diff(angle) >= -1e-15)
    assert np.all(kappa > -1e-14)
    assert np.all(np.diff(np.diff(z) / np.diff(x)) > -1e-10), "slope of the chords must never fall"


@given(curves())
def test_total_turning_is_the_integral_of_curvature(curve):
    s, k = curve.arc_m, curve.curvature_per_m
    total = sum(
        quad(lambda q, a=a, b=b: np.interp(q, s[[a, b]], k[[a, b]]), s[a], s[b])[0]
        for a, b in zip(range(len(s) - 1), range(1, len(s))) if s[b] > s[a]
    )  # fmt: skip
    angle = curve.at([0.0, curve.length_m])[2]
    assert angle[1] - angle[0] == pytest.approx(total, rel=1e-10, abs=1e-13)


@given(curves())
def test_origin_level_point_and_pitch_offset(curve):
    middle, level = curve.length_m / 2, curve.length_m / 2 + curve.level_m
    x, z, angle, _ = curve.at([middle, level])
    assert abs(x[0]) < 1e-13 and abs(z[1]) < 1e-13
    # toe-down: at the level point the tangent falls toward the toe by the offset
    assert angle[1] == pytest.approx(-curve.pitch_offset_rad, abs=1e-12)


@given(curves())
def test_pitch_offset_is_a_rotation(curve):
    plain = BladeCurve(curve.arc_m, curve.curvature_per_m, curve.level_m)
    s = np.linspace(0.0, curve.length_m, 17)
    x, z, angle, _ = curve.at(s)
    ref_x, ref_z, ref_angle = turned(*plain.at(s)[:3], by=-curve.pitch_offset_rad)
    assert np.max(np.abs(angle - ref_angle)) < 1e-12
    assert np.ptp(x - ref_x) < 1e-12 and np.ptp(z - ref_z) < 1e-12


@given(curves())
def test_mirrored_curve(curve):
    s = np.linspace(0.0, curve.length_m, 31)
    x, z, angle, kappa = curve.at(s)
    mx, mz, mangle, mkappa = curve.mirrored().at(curve.length_m - s)
    # rounding of about a thousand sums, read from the other end
    assert np.max(np.abs(mx + x)) < 1e-12 and np.max(np.abs(mz - z)) < 1e-12
    assert np.max(np.abs(mangle + angle)) < 1e-12
    smooth = np.min(np.abs(s[:, None] - curve.arc_m[None, :]), axis=1) > 1e-9  # at a jump either side may be named
    assert np.max(np.abs(mkappa - kappa)[smooth]) < 1e-9
    again = curve.mirrored().mirrored()
    assert np.allclose(again.arc_m, curve.arc_m, atol=1e-16) and again.level_m == curve.level_m
    assert again.pitch_offset_rad == curve.pitch_offset_rad


@given(curves())
def test_table_and_its_interpolation_lie_on_the_curve(curve):
    x_first, dx, z, _ = curve.table
    steel = steel_of(curve)
    s = np.linspace(0.0, curve.length_m, 301)
    x, ref_z, angle, _ = curve.at(s)
    assert x_first == pytest.approx(x[0], abs=1e-13)
    assert x_first + dx * (len(z) - 1) == pytest.approx(x[-1], abs=1e-13)
    assert dx == pytest.approx(curve_module.CELL_M, rel=0.01)
    ours = np.array([height(steel, q) for q in x])
    # cubic Hermite; a jump of curvature of 10/m inside a cell costs 10 dx^2/54 = 11 nm and 1e-4 of slope at most
    assert np.max(np.abs(ours[:, 0] - ref_z)) < 1.2e-8
    assert np.max(np.abs(ours[:, 1] - np.tan(angle))) < 4e-4
    jumps = curve.arc_m[1:-1]
    clear = np.min(np.abs(s[:, None] - jumps[None, :]), axis=1) > 2 * curve_module.CELL_M
    # smooth: dx^4 z/384 with z up to about 15 kappa^3 + 10 kappa kappa' sec^5(phi) = 1e6/m^3 here
    assert np.max(np.abs(ours[clear, 0] - ref_z[clear])) < 1e-11, "away from kinks the table is exact to 10 pm"
    assert np.max(np.abs(ours[clear, 1] - np.tan(angle[clear]))) < 1e-7


def test_a_curve_that_turns_past_upright_is_refused():
    """Beyond a quarter turn x runs backward and there is no height at an x."""
    with pytest.raises(BladeError):
        assert BladeCurve(np.array([0.0, 0.45]), np.array([8.0, 8.0])).table


def test_constant_curvature_is_a_circle():
    radius, length = 3.048, 0.28
    curve = BladeCurve(np.array([0.0, length]), np.full(2, 1 / radius))
    s = np.linspace(0.0, length, 101)
    x, z, angle, kappa = curve.at(s)
    phi = (s - length / 2) / radius
    assert np.max(np.abs(x - radius * np.sin(phi))) < 1e-15
    assert np.max(np.abs(z - 2 * radius * np.sin(phi / 2) ** 2)) < 1e-15
    assert np.max(np.abs(angle - phi)) < 1e-15 and np.all(kappa == 1 / radius)


def test_linear_curvature_is_a_clothoid():
    """kappa = c s gives x = sqrt(pi/c) C(s sqrt(c/pi)), z with S: Fresnel integrals from an independent library."""
    c, length = 8.0, 0.28
    curve = BladeCurve(np.array([0.0, length]), np.array([0.0, c * length]))
    s = np.linspace(0.0, length, 101)
    x, z, angle, _ = curve.at(s)
    sine, cosine = fresnel(s * math.sqrt(c / math.pi))
    scale = math.sqrt(math.pi / c)
    ref_x, ref_z, _ = turned(scale * cosine, scale * sine, 0.0, by=angle[0])
    assert angle[0] == pytest.approx(-c * (length / 2) ** 2 / 2, abs=1e-15)
    assert np.max(np.abs(x - x[0] - ref_x)) < 1e-14
    assert np.max(np.abs(z - z[0] - ref_z)) < 1e-14


def test_finer_cells_give_the_same_curve(single, monkeypatch):
    s = np.linspace(0.0, 0.28, 57)
    coarse = single.curve().at(s)
    monkeypatch.setattr(curve_module, "CELL_M", curve_module.CELL_M / 4)
    fine = single.curve().at(s)
    assert max(np.max(np.abs(a - b)) for a, b in zip(coarse[:3], fine[:3])) < 1e-13
    assert relative(coarse[3], fine[3]) < 1e-9


@pytest.mark.parametrize(
    "arc, kappa, level, words",
    [
        ([0.0, 0.1], [0.3, -0.1], 0.0, "concave"),
        ([0.0, 0.1, 0.05], [0.3] * 3, 0.0, "never fall"),
        ([0.01, 0.1], [0.3] * 2, 0.0, "start at 0"),
        ([0.0, 0.01], [0.3] * 2, 0.0, "20 mm"),
        ([0.0, 0.1], [0.3, math.nan], 0.0, "finite"),
        ([0.0, 0.1], [0.3, math.inf], 0.0, "finite"),
        ([0.0, 0.1], [0.3, 0.3], 0.05, "off the steel"),
        ([0.0, 0.1], [0.3, 0.3], math.nan, "off the steel"),
    ],
)
def test_impossible_curves_are_refused(arc, kappa, level, words):
    with pytest.raises(BladeError, match=words):
        BladeCurve(np.array(arc), np.array(kappa), level)


@pytest.mark.parametrize("where", [-1e-3, 0.281, math.nan])
def test_no_place_off_the_steel(single, where):
    with pytest.raises(BladeError, match="within 0 and 280"):
        single.curve().at(where)
