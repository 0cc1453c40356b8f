"""Statics of the two bodies by free-body computation with cross products, and stability by eigenvalues."""

import math

import numpy as np
import pytest
import sympy
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from sim.errors import BladeError
from sim.ice.standing import settle
from sim.skater.body import Skater, ankle_torque, critical_ankle_stiffness, leg_angle
from tests.cases import GRAVITY, WEIGHT_N

loads = st.floats(100, 2500)
drags = st.floats(0, 40)
centres = st.floats(-0.08, 0.08)
pitches = st.floats(-0.04, 0.04)


@st.composite
def skaters(draw):
    return Skater(
        "drawn", draw(st.floats(40, 120)), draw(st.floats(1, 4)), 0.02, draw(st.floats(-0.03, 0.03)),
        draw(st.floats(0.05, 0.12)), draw(st.floats(-0.05, 0.05)), draw(st.floats(0.1, 0.2)), draw(st.floats(0.6, 1.1)),
    )  # fmt: skip


def placed(x, z, beta):
    """A point of the blade frame in the world: x toe-ward, y to the left, z up; pitch is about +y, toe-down."""
    turn = np.array([[math.cos(beta), 0, math.sin(beta)], [0, 1, 0], [-math.sin(beta), 0, math.cos(beta)]])
    return turn @ np.array([x, 0.0, z])


@given(skaters(), loads, centres, pitches, drags)
def test_ankle_torque_balances_the_skate(skater, load, centre, beta, drag):
    """Moments about the ankle of all that acts on the skate, in the frame that decelerates with the skater."""
    ankle = placed(skater.ankle_x_m, skater.ankle_height_m, beta)
    middle = placed(skater.skate_x_m, skater.skate_height_m, beta)
    press_point = np.array([centre * math.cos(beta), 0.0, 0.0])  # on the ice, at the height of the frame's origin
    down = np.array([0, 0, -skater.skate_mass_kg * load / skater.mass_kg])
    onward = np.array([skater.skate_mass_kg * drag / skater.mass_kg, 0, 0])  # inertial force of slowing down
    moment = np.cross(press_point - ankle, [-drag, 0, load]) + np.cross(middle - ankle, down + onward)
    # about +y a moment is toe-down; the leg gives what is missing
    assert ankle_torque(skater, load, centre, beta, drag) == pytest.approx(-moment[1], abs=1e-9 * load)


@given(skaters(), loads, drags, st.floats(-0.9, 0.9))
def test_leg_angle_balances_the_body(skater, load, drag, share):
    push, slow = load / skater.mass_kg, drag / skater.mass_kg
    torque = share * skater.body_mass_kg * skater.body_height_m * push
    psi = leg_angle(skater, load, drag, torque)
    centre = skater.body_height_m * np.array([math.sin(psi), 0, math.cos(psi)])
    force = skater.body_mass_kg * np.array([slow, 0, -push])
    moment = np.cross(centre, force)[1] - torque  # the ankle torque on the skate, reversed, acts on the body
    assert abs(moment) < 1e-9 * max(1.0, abs(torque))


@given(skaters(), loads, centres, pitches, drags)
def test_whole_skater_is_in_balance(skater, load, centre, beta, drag):
    """Ice forces, weight and inertia of both bodies have no moment left about the point of contact."""
    torque = ankle_torque(skater, load, centre, beta, drag)
    psi = leg_angle(skater, load, drag, torque)
    contact = np.array([centre * math.cos(beta), 0, 0])
    skate = placed(skater.skate_x_m, skater.skate_height_m, beta)
    body = placed(skater.ankle_x_m, skater.ankle_height_m, beta)
    body = body + skater.body_height_m * np.array([math.sin(psi), 0, math.cos(psi)])
    moment = np.zeros(3)
    for mass, place in ((skater.skate_mass_kg, skate), (skater.body_mass_kg, body)):
        moment += np.cross(place - contact, mass / skater.mass_kg * np.array([drag, 0, -load]))
    assert abs(moment[1]) < 1e-9 * load


def test_a_torque_that_no_leg_angle_carries_is_refused(skater):
    with pytest.raises(BladeError, match="no leg angle"):
        leg_angle(skater, WEIGHT_N, 0.0, 1.01 * skater.body_mass_kg * skater.body_height_m * GRAVITY)


def stiffness_matrix(skater, load, radius):
    """Second derivatives of the potential energy at the upright stand: skate rolling on a circle, body on the ankle."""
    beta, psi, k = sympy.symbols("beta psi k", real=True)
    g = load / skater.mass_kg
    # a circle of this radius: its centre stays at one height, and a point at height h lies radius - h below it
    ankle = radius - (radius - skater.ankle_height_m) * sympy.cos(beta)
    skate = radius - (radius - skater.skate_height_m) * sympy.cos(beta)
    energy = skater.body_mass_kg * g * (ankle + skater.body_height_m * sympy.cos(psi))
    energy += skater.skate_mass_kg * g * skate + k * (beta - psi) ** 2 / 2
    matrix = sympy.hessian(energy, (beta, psi)).subs({beta: 0, psi: 0})
    return sympy.lambdify(k, matrix)


@pytest.mark.parametrize("radius", [2.0, 3.048, 9.0])
@pytest.mark.parametrize("load", [WEIGHT_N, 1.5 * WEIGHT_N])
def test_critical_stiffness_is_where_an_eigenvalue_of_the_stiffness_passes_zero(skater, radius, load):
    matrix = stiffness_matrix(skater, load, radius)
    least = lambda k: np.linalg.eigvalsh(np.array(matrix(k), float))[0]  # noqa: E731
    wanted = brentq(least, 10.0, 1e5, xtol=1e-9)
    ours = critical_ankle_stiffness(skater, load, radius)
    print(f"R {radius} m, {load:.0f} N: critical stiffness {ours:.3f}, eigenvalue passes zero at {wanted:.3f} N m/rad")
    assert ours == pytest.approx(wanted, rel=1e-9)
    assert least(0.99 * ours) < 0 < least(1.01 * ours)


def test_critical_stiffness_worked_number(skater):
    assert critical_ankle_stiffness(skater, WEIGHT_N, 3.048) == pytest.approx(904, abs=0.5)


def test_no_ankle_is_stiff_enough_on_a_radius_shorter_than_the_skater(skater):
    assert critical_ankle_stiffness(skater, WEIGHT_N, 0.9) == math.inf
    matrix = stiffness_matrix(skater, WEIGHT_N, 0.9)
    assert all(np.linalg.eigvalsh(np.array(matrix(k), float))[0] < 0 for k in (1e3, 1e5, 1e8))


def test_effective_radius_of_the_contact_is_shorter_than_the_steel(steel, ice, standing, law, gauss, skater):
    """dx_c/dbeta at fixed load: the radius itself for a standing contact of one radius, close to it when sliding."""
    slopes = {}
    for name, form in (("standing", standing), ("sliding", law)):
        at = [settle(steel, ice, form, 0.0, b, WEIGHT_N, 5e-5, *gauss).centre for b in (-1e-3, 1e-3)]
        slopes[name] = (at[1] - at[0]) / 2e-3
    print("effective radius:", {k: f"{v:.4f} m" for k, v in slopes.items()})
    assert slopes["standing"] == pytest.approx(3.048, rel=1e-3)
    assert slopes["sliding"] == pytest.approx(3.048, rel=1e-2)


@pytest.mark.parametrize("change, words", [
    ({"mass_kg": 5.0}, "mass_kg"), ({"mass_kg": math.nan}, "mass_kg"), ({"ankle_stiffness": -1.0}, "ankle_stiffness"),
    ({"ankle_damping": math.inf}, "ankle_damping"), ({"mass_kg": 16.0, "skate_mass_kg": 5.0}, "quarter"),
])  # fmt: skip
def test_impossible_skaters_are_refused(change, words):
    with pytest.raises(BladeError, match=words):
        Skater("x", **change)
