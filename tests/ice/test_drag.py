"""Ploughing and the melt film against quadrature, an ODE solver and the slow reference model."""

import itertools
import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from sim.blade.recipe import Recipe
from sim.ice.contact import Law, press
from sim.ice.drag import film_shear, groove_area, ploughing
from sim.ice.ice import melting_point
from sim.ice.standing import settle, stand
from tests import reference_film, reference_model
from tests.cases import FT, HOLLOW_M, STATES, THICKNESS_M, WEIGHT_N, LeanedSection, PlainContact, relative, steel_of

SPEEDS = {"glide": 8.0, "pivot, forefoot": 3.0, "pivot, heel": 3.0, "turn": 4.0, "push": 8.0}


@pytest.fixture(scope="module")
def slow_states(ice):
    curve = reference_model.single_radius(10 * FT, npts=40001)
    section = lambda lean: reference_model.section(THICKNESS_M, HOLLOW_M, lean)  # noqa: E731
    return {
        name: reference_model.at_load_line(curve, section(lean), ice.hardness, load, line, **reference_model.FIRST_FORM)
        for name, (lean, load, line) in STATES.items()
    }


@pytest.fixture(scope="module")
def patches(steel, ice, law, gauss):
    return {
        name: stand(steel, ice, law, math.tan(lean), load, line, *gauss) for name, (lean, load, line) in STATES.items()
    }


@pytest.mark.parametrize("lean_deg", [0.0, 3.0, 15.0, 42.0])
@pytest.mark.parametrize("depth", [2e-5, 8.1e-5, 8.5e-5, 4e-4])
def test_groove_area_is_the_integral_of_the_width(steel, ice, law, gauss, lean_deg, depth):
    t = math.tan(math.radians(lean_deg))
    patch = press(steel, ice, law, t, 0.0, depth, *gauss)
    section = LeanedSection(THICKNESS_M, HOLLOW_M, t)
    kinks = [k for k in (section.h(THICKNESS_M), section.h(section.crown)) if 0 < k < depth]
    area = quad(section.width, 0.0, depth, points=kinks or None, epsabs=1e-16, limit=200)[0]
    # a(n) is a square root just under the crown: Gauss on it is good to about 1e-5
    assert groove_area(steel, patch, *gauss) == pytest.approx(area, rel=5e-5)


@pytest.mark.parametrize("state", STATES)
def test_groove_area_is_the_area_of_the_immersed_section(steel, patches, gauss, state):
    """The same area the other way round: integral over u of max(0, d - h(u))."""
    patch = patches[state]
    u = (np.arange(400_000) + 0.5) * THICKNESS_M / 400_000
    h = np.sqrt(HOLLOW_M**2 - (u - THICKNESS_M / 2) ** 2) - math.sqrt(HOLLOW_M**2 - THICKNESS_M**2 / 4) + u * patch.t
    area = np.mean(np.maximum(0.0, patch.depth - h)) * THICKNESS_M
    assert groove_area(steel, patch, *gauss) == pytest.approx(area, rel=5e-5)


@pytest.mark.parametrize("state", STATES)
def test_ploughing_is_the_forward_part_of_the_pressure(single, steel, ice, law, gauss, patches, state):
    """F_p = integral of p a dn/dx along the blade: the front resists, the rebounding rear pushes."""
    patch = patches[state]
    plain = PlainContact(single.curve(), steel, ice.hardness, patch)
    forward = plain.integral(plain.p * plain.a * -np.gradient(plain.n, plain.x))
    force = ploughing(steel, ice, law, patch, *gauss)
    print(f"{state}: ploughing {force:.4f} N, by pressure {forward:.4f} N")
    assert force == pytest.approx(forward, rel=5e-4)


@pytest.mark.parametrize("state", STATES)
def test_ploughing_against_the_reference_model(steel, ice, law, gauss, patches, slow_states, state):
    gap = relative(ploughing(steel, ice, law, patches[state], *gauss), reference_model.ploughing(slow_states[state]))
    print(f"{state}: ploughing off the reference model by {gap:.1e}")
    assert gap < 5e-3


def test_without_rebound_ploughing_is_hardness_times_groove(steel, ice, law, gauss):
    law = law._replace(rebound=0.0)
    patch = settle(steel, ice, law, 0.2, 0.0, WEIGHT_N, 5e-5, *gauss)
    section = LeanedSection(THICKNESS_M, HOLLOW_M, 0.2)
    area = quad(section.width, 0.0, patch.depth, epsabs=1e-16, limit=200)[0]
    assert ploughing(steel, ice, law, patch, *gauss) == pytest.approx(ice.hardness * area, rel=1e-4)


def test_pressed_straight_in_there_is_no_force_along_the_blade(steel, ice, standing, gauss):
    for t, beta in ((0.0, 0.0), (0.0, 0.012), (0.6, -0.01)):
        patch = settle(steel, ice, standing, t, beta, WEIGHT_N, 5e-5, *gauss)
        assert abs(ploughing(steel, ice, standing, patch, *gauss)) < 1e-9


def test_ploughing_of_a_flat_upright_skate(ice, law, gauss):
    """mu_p = N/(2 R w H), 72 kg, R 22 m, w 1.1 mm, 0 deg C: 0.701 N (form: van Leeuwen 2017)."""
    blade = steel_of(Recipe("long", "single_radius", (22.0,), length_m=0.42), 1.1e-3, math.inf)
    warm, law = ice._replace(hardness=14.7e6, cold=0.0), law._replace(rebound=0.0)
    load = 72 * 9.80665
    patch = settle(blade, warm, law, 0.0, 0.0, load, 5e-5, *gauss)
    force = ploughing(blade, warm, law, patch, *gauss)
    print(f"ploughing 0.701 N, ours {force:.4f} N")
    assert force == pytest.approx(load**2 / (2 * 22.0 * 1.1e-3 * 14.7e6), rel=1e-5), "solver"
    assert force == pytest.approx(0.701, rel=1e-2), "model"


def test_drag_rises_as_the_hollow_gets_deeper(ice, law, gauss):
    """53 kg, R 3 m, hollow 22.23, 9.53, 3.18 mm: friction strictly rises (direction: Federolf & Redmond 2010)."""
    recipe = Recipe("R3", "single_radius", (3.0,))
    forces = []
    for hollow in (22.23e-3, 9.53e-3, 3.18e-3):
        blade = steel_of(recipe, hollow=hollow)
        patch = settle(blade, ice, law, 0.0, 0.0, 53 * 9.80665, 5e-5, *gauss)
        forces.append(ploughing(blade, ice, law, patch, *gauss) + film_shear(blade, ice, law, patch, 1.8, 256))
    print("drag at hollow 22.23, 9.53, 3.18 mm:", [f"{f:.3f} N" for f in forces])
    assert forces[0] < forces[1] < forces[2]


@pytest.mark.parametrize("state", STATES)
def test_film_against_the_reference_model(steel, ice, law, patches, slow_states, state):
    """The reference marches each strip's film with an implicit ODE solver at 1e-7."""
    slow = reference_film.film_drag(slow_states[state], SPEEDS[state], -5.0, **reference_film.PLAIN)
    gaps = {
        steps: film_shear(steel, ice, law, patches[state], SPEEDS[state], steps) / slow - 1 for steps in (32, 64, 512)
    }
    print(f"{state}: film {slow:.4f} N, off by", {k: f"{v:+.1e}" for k, v in gaps.items()})
    assert abs(gaps[512]) < 5e-3
    # the step loop uses 32 steps, the movement program 64
    assert abs(gaps[64]) < 1e-2 and abs(gaps[32]) < 2e-2


def film_by_ode(ice, speed, width, length):
    """One strip of constant width at full hardness, h marched in x with DOP853 from h = c sqrt(x)."""
    melt = ice.density * ice.latent
    chill = ice.conductivity * ice.cold * math.sqrt(speed / (math.pi * ice.diffusivity))
    c = brentq(lambda q: melt * speed * q * q / 2 + chill * q - ice.viscosity * speed**2, 0.0, 1.0, xtol=1e-16)
    first = 1e-10

    def rhs(x, y):
        grow = (ice.viscosity * speed**2 / y[0] - chill / math.sqrt(x)) / melt
        squeeze = ice.hardness * y[0] ** 3 / (ice.viscosity * width**2)
        return [(grow - squeeze) / speed, ice.viscosity * speed / y[0] * width]

    start = [c * math.sqrt(first), 2 * ice.viscosity * speed * width * math.sqrt(first) / c]
    run = solve_ivp(rhs, (first, length), start, method="LSODA", rtol=1e-10, atol=[1e-16, 1e-12])
    return run.y[1, -1], run.y[0, -1]


@pytest.mark.parametrize("speed", [2.0, 8.0, 12.0])
@pytest.mark.parametrize("cold", [0.0, 5.0, 15.0])
def test_film_of_a_flat_skate_against_an_ode_solver(ice, law, gauss, speed, cold):
    blade = steel_of(Recipe("long", "single_radius", (22.0,), length_m=0.42), 1.1e-3, math.inf)
    cold_ice, law = ice._replace(cold=cold), law._replace(rebound=0.0)
    patch = settle(blade, cold_ice, law, 0.0, 0.0, 72 * 9.80665, 5e-5, *gauss)
    slow, _ = film_by_ode(cold_ice, speed, 1.1e-3, patch.front - patch.rear)
    ours = film_shear(blade, cold_ice, law, patch, speed, 512)
    print(f"{speed} m/s, {cold} K: film {ours:.5f} N, ODE {slow:.5f} N")
    assert ours == pytest.approx(slow, rel=1e-4)


@pytest.mark.parametrize("bottom", ["hollow", "flat"])
def test_film_shear_converges_at_second_order(single, ice, law, gauss, bottom):
    blade = steel_of(single, hollow=HOLLOW_M if bottom == "hollow" else math.inf)
    lean, load, line = STATES["push"] if bottom == "hollow" else STATES["glide"]
    patch = stand(blade, ice, law, math.tan(lean), load, line, *gauss)
    best = film_shear(blade, ice, law, patch, 8.0, 8192)
    errors = [abs(film_shear(blade, ice, law, patch, 8.0, n) - best) for n in (32, 64, 128, 256)]
    print("film error ratios per doubling of steps:", [f"{a / b:.2f}" for a, b in itertools.pairwise(errors)])
    assert errors[0] / best < 2e-2
    assert all(a / b > 3.5 for a, b in itertools.pairwise(errors)), "an implicit trapezoid is second order"


def test_a_long_film_settles_at_the_quasi_steady_thickness(ice, law, gauss):
    """h* = (eta^2 V^2 b^2/(rho L H))^(1/4): 10 m/s, b 1.1 mm, H 14.7 MPa, eta 1.737e-3, rho L 0.334e9: 0.522 um."""
    warm = ice._replace(hardness=14.7e6, cold=0.0, viscosity=1.737e-3)
    b, v, law = 1.1e-3, 10.0, law._replace(rebound=0.0)
    blade = steel_of(Recipe("long", "single_radius", (22.0,), length_m=0.42), b, math.inf)
    patches = [settle(blade, warm, law, 0.0, 0.0, n, 5e-5, *gauss) for n in (900.0, 1100.0)]
    shear = [film_shear(blade, warm, law, p, v, 4096) for p in patches]
    lengths = [p.front - p.rear for p in patches]
    thickness = warm.viscosity * v * b * (lengths[1] - lengths[0]) / (shear[1] - shear[0])
    print(f"quasi-steady film 0.522 um, ours {thickness * 1e6:.4f} um")
    assert thickness * 1e6 == pytest.approx(0.522, rel=1e-2)


def test_no_film_without_speed_contact_or_switch(steel, ice, law, gauss, patches):
    patch = patches["glide"]
    assert film_shear(steel, ice, law, patch, 0.0, 64) == 0.0
    assert film_shear(steel, ice, law._replace(film=0.0), patch, 8.0, 64) == 0.0
    assert film_shear(steel, ice, law, press(steel, ice, law, 0.0, 0.0, -1e-5, *gauss), 8.0, 64) == 0.0


def film_by_pieces(st, speed, cold, keep_volume=True, **film):
    """Film shear where the crown of a leaned hollow is covered, piece by piece with the reference model's ODE solver.

    Inside strip from the front, outside strip from where its edge enters; at the crown the water of both makes one film
    of the same volume, and the inside strip's clock goes on; behind the crown both strips carry that film on.
    """
    sec, law = st.sec, reference_film.film_law(-cold, **film)
    xi = (st.X[-1] - st.X)[::-1]
    n_of, p_of, deepest = reference_film.along(st)
    end = xi[(st.p > 0)[::-1]][-1]
    march = lambda b_of, a, z, *more: reference_film.march(b_of, p_of, speed, law, a, z, *more)  # noqa: E731
    rise, fall = (
        (sec.h[: sec.ic + 1], sec.u[: sec.ic + 1]),
        (sec.h[: sec.ic - 1 : -1].copy(), sec.u[: sec.ic - 1 : -1].copy()),
    )
    strip = [lambda q: np.interp(n_of(q), *rise), lambda q: sec.w - np.interp(n_of(q), *fall)]
    start, edge, covered = (brentq(lambda q, n=n: n_of(q) - n, 0.0, deepest) for n in (0.0, sec.h[-1], sec.h[sec.ic]))
    bare = min(brentq(lambda q: n_of(q) - sec.h[sec.ic], deepest, xi[-1]), end)
    parts = [march(strip[k], begin, covered) for k, begin in ((0, start), (1, edge))]
    width = np.array([strip[k](covered - 1e-9) for k in (0, 1)])
    film = np.array([p.y[0, -1] for p in parts])
    mixed = film @ width / width.sum() if keep_volume else film[0]
    one = march(lambda q: sec.w, covered, bare, mixed, covered - start)
    parts.append(one)
    if bare < end:
        parts += [march(s, bare, end, one.y[0, -1], bare - start) for s in strip]
    return sum(p.y[1, -1] for p in parts), len(parts)


@pytest.mark.parametrize(
    "whole, lean_deg, load_bw, hollow, pieces",
    [
        (False, 2.0, 3.0, 25e-3, 3),
        (False, 1.0, 1.15, 12.7e-3, 5),
        (True, 2.0, 3.0, 25e-3, 3),
        (True, 1.0, 1.08, 12.7e-3, 5),
    ],
)
def test_two_films_of_a_leaned_hollow_become_one_and_two_again(
    ice, law, gauss, lean_deg, load_bw, hollow, pieces, whole
):
    """The outside strip is younger and thinner, so that it matters how the two flow into one.

    whole: with rebound on a half-space, melting under pressure and heat into the steel.
    """
    lean, load = math.radians(lean_deg), load_bw * WEIGHT_N
    law, form, film = (Law(), {}, {}) if whole else (law, reference_model.FIRST_FORM, reference_film.PLAIN)
    blade = steel_of(Recipe("r", "single_radius", (10 * FT,)), hollow=hollow)
    patch = settle(blade, ice, law, math.tan(lean), 0.0, load, 5e-5, *gauss)
    section = reference_model.section(THICKNESS_M, hollow, lean)
    slow = reference_model.at_load(reference_model.single_radius(10 * FT), section, ice.hardness, load, 0.0, **form)
    theirs, seen = film_by_pieces(slow, 8.0, 5.0, **film)
    ours = film_shear(blade, ice, law, patch, 8.0, 512)
    print(f"lean {lean_deg} deg: film {ours:.5f} N, by pieces {theirs:.5f}, crown {slow.d - section.h.max():.1e} m in")
    assert seen == pieces
    assert ours == pytest.approx(theirs, rel=1e-3)


def test_melting_point_is_the_inverse_of_the_melting_pressure():
    """The quadratic against the equation of IAPWS R14-08(2011), turned round by a root finder; no ice melts above 0."""
    p = np.linspace(0.14e6, 30e6, 500)
    ours = np.array([melting_point(q) for q in p])
    print(f"melting point off by {np.abs(ours - reference_film.melting_point(p)).max():.1e} K at most")
    assert np.abs(ours - reference_film.melting_point(p)).max() < 1.2e-4
    low = np.linspace(0.0, 0.14e6, 50)
    assert np.abs([melting_point(q) for q in low] - reference_film.melting_point(low)).max() < 1.05e-2
    assert melting_point(0.0) == 0.0
    # printed beside the equation in that release: 260 K, 138.268 MPa (value from memory)
    assert reference_film.melting_pressure(260.0 - 273.15) == pytest.approx(138.268e6, rel=1e-5)
