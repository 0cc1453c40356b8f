"""Closed forms against quadrature, symbolic algebra, a dense search, an integrator or a number worked by hand."""

import math

import numpy as np
import pytest
import sympy
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from sim import closed_forms as cf
from sim.errors import BladeError

G = 9.80665
WEIGHT = 72 * 9.81
FILM = {"viscosity_pa_s": 1.737e-3, "density_kg_m3": 1000.0, "latent_j_kg": 3.34e5}


def test_hollow_depth_is_the_integrated_slope_of_the_circle():
    w, hollow = 3.0e-3, 12.7e-3
    depth = quad(lambda s: s / math.sqrt(hollow**2 - s**2), 0, w / 2, epsabs=1e-15)[0]
    assert cf.hollow_depth(w, hollow) == pytest.approx(depth, rel=1e-11)
    assert cf.hollow_depth(w, hollow) == pytest.approx(88.9e-6, abs=0.05e-6)  # by hand, one decimal


def test_bite_angle_is_the_slope_of_the_circle_at_the_edge():
    w, hollow, step = 3.0e-3, 12.7e-3, 1e-7

    def height(s):
        return math.sqrt(hollow**2 - s**2)

    slope = (height(w / 2 - step) - height(w / 2 + step)) / (2 * step)
    assert math.tan(cf.bite_angle(w, hollow)) == pytest.approx(slope, rel=1e-7)
    assert math.degrees(cf.bite_angle(w, hollow)) == pytest.approx(6.78, abs=0.005)


@pytest.mark.parametrize("form", [cf.hollow_depth, cf.bite_angle])
def test_a_hollow_narrower_than_the_blade_is_refused(form):
    with pytest.raises(BladeError, match="larger than half the thickness"):
        form(3e-3, 1.5e-3)


def test_upright_blade_by_pressing_a_true_circle_into_the_ice():
    w, radius, hardness = 1.1e-3, 22.0, 14.7e6

    def length(d):  # rim to deepest point of a circle pressed d deep
        return math.sqrt(radius**2 - (radius - d) ** 2)

    depth = brentq(lambda d: hardness * w * length(d) - WEIGHT, 1e-7, 1e-3, xtol=1e-16)
    # horizontal part of the pressure on the front of the circle: p w tan(phi) over its length
    force = quad(lambda x: hardness * w * x / math.sqrt(radius**2 - x**2), 0, length(depth))[0]
    flat = cf.upright_length(WEIGHT, hardness, w)
    assert flat == pytest.approx(length(depth), rel=1e-12)
    # (l/R)^2 is 4e-6: that is what the parabola of the closed forms leaves out
    assert cf.arc_depth(flat, radius) == pytest.approx(depth, rel=4e-6)
    assert cf.ploughing_force(WEIGHT, hardness, w, radius) == pytest.approx(force, rel=4e-6)
    assert cf.ploughing_coefficient(WEIGHT, hardness, w, radius) == pytest.approx(force / WEIGHT, rel=4e-6)
    # worked by hand: 706.32/16170 = 0.04368 m; 0.04368^2/44 = 43.36 um; 16170 * 43.36e-6 = 0.7012 N
    assert (flat, depth, force) == pytest.approx((43.68e-3, 43.36e-6, 0.7012), rel=2e-4)


def test_edge_length_by_quadrature_of_a_wedge():
    load, hardness, radius, lean = 784.5, 17.7e6, 3.0, math.radians(30)
    length = cf.edge_length(load, hardness, radius, lean)
    # the wedge under ice at x has a triangle for its section; its loaded width is cut by the level of the ice
    carried = hardness * quad(lambda x: (length**2 - x**2) / (2 * radius) / math.tan(lean), 0, length)[0]
    assert carried == pytest.approx(load, rel=1e-12)
    assert length == pytest.approx(61.3e-3, abs=0.05e-3)
    assert cf.edge_length(8 * load, hardness, radius, lean) == pytest.approx(2 * length, rel=1e-12)


def test_film_is_where_the_marched_film_settles():
    speed, b, hardness = 10.0, 1.1e-3, 14.7e6
    eta, melt = FILM["viscosity_pa_s"], FILM["density_kg_m3"] * FILM["latent_j_kg"]

    def grow(_, h):
        return (eta * speed**2 / h / melt - hardness * h**3 / (eta * b**2)) / speed

    settled = solve_ivp(grow, (0, 0.2), [5e-8], method="Radau", rtol=1e-10, atol=1e-16).y[0, -1]
    film = cf.film_thickness(speed, b, hardness, **FILM)
    assert film == pytest.approx(settled, rel=1e-7)
    assert film == pytest.approx(0.522e-6, abs=0.0005e-6)  # worked by hand
    shear_over_pressure = eta * speed / settled / hardness
    assert cf.film_coefficient(speed, b, hardness, **FILM) == pytest.approx(shear_over_pressure, rel=1e-7)


@pytest.mark.parametrize(("lean_deg", "hollow"), [(30, math.inf), (30, 12.7e-3), (10, 12.7e-3), (50, 9.5e-3)])
def test_tightest_clean_radius_by_sliding_sections_over_the_groove(lean_deg, hollow):
    """The least path radius at which no section of a circular edge cuts the groove that the deepest one left."""
    radius, w, lean = 3.0, 2.9e-3, math.radians(lean_deg)
    x = np.linspace(1e-3, 5e-3, 200)
    rise = radius - np.sqrt(radius**2 - x**2)

    def clearance(path):
        u = (path - np.sqrt(path**2 - x**2)) * math.cos(lean)  # how far the section has slid out
        floor = u * math.tan(lean)
        if math.isfinite(hollow):
            floor = floor + np.sqrt(hollow**2 - (u - w / 2) ** 2) - math.sqrt(hollow**2 - w**2 / 4)
        return np.min((rise - floor) / rise)

    found = brentq(clearance, 0.05, 50.0)
    bite = math.atan2(w / 2, math.sqrt(hollow**2 - w**2 / 4)) if math.isfinite(hollow) else 0.0
    # a finite first station sees the hollow curve away from its edge: below 1e-3 at 1 mm along the blade
    assert cf.tightest_clean_radius(radius, lean, bite) == pytest.approx(found, rel=1e-3)


def test_tightest_clean_radius_by_hand():
    assert cf.tightest_clean_radius(3.0, math.radians(30)) == pytest.approx(1.5, rel=1e-12)  # half of 3 m
    eighth = math.radians(45)
    assert cf.tightest_clean_radius(3.0, eighth, eighth) == pytest.approx(3.0 * math.sqrt(2), rel=1e-12)  # R / cos(45)


def test_projected_radii_are_curvatures_of_an_ellipse():
    a, lean, radius = sympy.symbols("a lean R", positive=True)

    def radius_at_apex(share):
        x, y = radius * sympy.sin(a), share * radius * (1 - sympy.cos(a))
        turn = sympy.diff(x, a) * sympy.diff(y, a, 2) - sympy.diff(y, a) * sympy.diff(x, a, 2)
        speed = (sympy.diff(x, a) ** 2 + sympy.diff(y, a) ** 2) ** sympy.Rational(3, 2)
        at = {a: 0, radius: 3, lean: sympy.pi / 6}
        return float((speed / turn).subs(at))

    assert cf.plan_radius(3.0, math.pi / 6) == pytest.approx(radius_at_apex(sympy.sin(lean)), rel=1e-12)
    assert cf.vertical_radius(3.0, math.pi / 6) == pytest.approx(radius_at_apex(sympy.cos(lean)), rel=1e-12)
    assert cf.plan_radius(3.0, math.pi / 6) == pytest.approx(6.0, abs=5e-4)
    assert cf.vertical_radius(3.0, math.pi / 6) == pytest.approx(3.464, abs=5e-4)
    assert cf.plan_radius(3.0, 0.0) == math.inf


def test_steady_lean_balances_moments_about_the_edge():
    speed, path = 12.0, 8.5
    lean = brentq(lambda a: G * math.sin(a) - speed**2 / path * math.cos(a), 0.1, 1.5, xtol=1e-14)
    assert cf.steady_lean(speed, path) == pytest.approx(lean, rel=1e-12)
    assert math.degrees(cf.steady_lean(speed, path)) == pytest.approx(59.9, abs=0.05)  # published
    assert cf.turn_load(lean) == pytest.approx(math.hypot(1.0, speed**2 / path / G), rel=1e-12)
    assert cf.turn_load(lean) == pytest.approx(2.00, abs=0.005)  # published


@pytest.mark.parametrize("grip", [False, True])
def test_rocking_period_is_what_the_full_equations_do(grip):
    inertia, mass, radius, height = 9.188, 80.0, 3.0, 0.57
    off = radius - height

    def rates(_, state):  # Lagrange, with x = 0 (slipping) or x = R a - off sin(a) (rolling)
        a, w = state
        if grip:
            size = inertia + mass * (radius**2 + off**2 - 2 * radius * off * math.cos(a))
            pull = -mass * off * math.sin(a) * (G + radius * w * w)
        else:
            size = inertia + mass * off**2 * math.sin(a) ** 2
            pull = -mass * off * math.sin(a) * (G + off * math.cos(a) * w * w)
        return w, pull / size

    def upright(_, state):
        return state[0]

    swing = solve_ivp(rates, (0, 5), [1e-4, 0.0], method="DOP853", rtol=1e-12, atol=1e-16, events=upright)
    at = swing.t_events[0]
    period = 2 * (at[-1] - at[0]) / (len(at) - 1)
    form = cf.rocking_period_rolling if grip else cf.rocking_period_slipping
    # the share m (R-h)^2 beta^2 / 4I is 1.3e-7 at this amplitude
    assert form(inertia, mass, radius, height) == pytest.approx(period, rel=3e-7)
    assert form(inertia, mass, radius, height) == pytest.approx(0.854 if grip else 0.436, abs=5e-4)


def test_rocking_lengthens_with_amplitude_as_the_docstring_says():
    inertia, mass, off, swing = 9.188, 80.0, 2.43, 0.01
    # energy integral: quarter period = integral of d(angle)/rate, angle = swing sin(q)
    stored = mass * G * off

    def slowness(q):
        a = swing * math.sin(q)
        height = 2 * math.sin((swing - a) / 2) * math.sin((swing + a) / 2)  # cos(a) - cos(swing)
        rate = math.sqrt(2 * stored * height / (inertia + mass * off**2 * math.sin(a) ** 2))
        return swing * math.cos(q) / rate

    period = 4 * quad(slowness, 0, math.pi / 2 - 1e-9)[0]
    small = cf.rocking_period_slipping(inertia, mass, 3.0, 3.0 - off)
    assert period / small - 1 == pytest.approx(mass * off**2 * swing**2 / (4 * inertia), rel=0.02)


@pytest.mark.parametrize("form", [cf.rocking_period_slipping, cf.rocking_period_rolling])
def test_what_stands_above_its_circle_does_not_rock(form):
    with pytest.raises(BladeError, match="falls over"):
        form(10.0, 80.0, 0.9, 1.0)


def test_sagitta_on_a_right_triangle():
    assert cf.sagitta(8.0, 5.0) == pytest.approx(2.0, rel=1e-14)  # 3-4-5
    assert cf.radius_of_sagitta(8.0, 2.0) == pytest.approx(5.0, rel=1e-14)
    assert cf.sagitta(0.2, 3.048) == pytest.approx(1.641e-3, abs=5e-7)  # worked by hand
    middle, end = 0.1, 0.0  # from the slope of the arc
    drop = quad(lambda x: x / math.sqrt(3.048**2 - x**2), end, middle, epsabs=1e-16)[0]
    assert cf.sagitta(0.2, 3.048) == pytest.approx(drop, rel=1e-11)
    with pytest.raises(BladeError, match="diameter"):
        cf.sagitta(2.1, 1.0)
