"""Implicit dampers of the two bodies: contact, ankle and guide act on the mean of the rates before and after a step.

A damper's force is linear in the rates, and the rates that the engine will give are known beforehand: those of free
bodies, corrected by the impulse of the joint. The mean rates therefore solve three linear equations (trapezoid rule).
That is of second order and stable at any step; damping a rocking skate by past rates alone would bound the step.
"""

import math
from collections import namedtuple

import numpy as np

from sim.compiled import kernel

Joint = namedtuple("Joint", "ax ay bx by xx xy yy skate skate_turn rest rest_turn miss_x miss_y")
Joint.__doc__ = """The ankle joint at a pose. ax ay, bx by: arms to it from the centres of skate and body, m; xx xy yy:
inverse of its mass matrix, kg; skate, rest, *_turn: inverse masses, 1/kg, and inertias, 1/(kg m^2); miss_*: how far
apart the two bodies hold it, m."""


@kernel
def joint_at(q: np.ndarray, inertia: np.ndarray, ankle_x: float, ankle_z: float, height: float) -> Joint:
    """The joint at a pose q: (6,) x, y, angle of skate and body. inertia: (6,) kg, kg, kg m^2 of both.

    ankle_x, ankle_z: ankle from the skate's centre; height: of the body's centre above it, m.
    """
    cos_a, sin_a, cos_b, sin_b = math.cos(q[2]), math.sin(q[2]), math.cos(q[5]), math.sin(q[5])
    ax, ay = ankle_x * cos_a - ankle_z * sin_a, ankle_x * sin_a + ankle_z * cos_a
    bx, by = height * sin_b, -height * cos_b
    skate, skate_turn, rest, rest_turn = 1.0 / inertia[0], 1.0 / inertia[2], 1.0 / inertia[3], 1.0 / inertia[5]
    k_xx = skate + rest + ay * ay * skate_turn + by * by * rest_turn
    k_yy = skate + rest + ax * ax * skate_turn + bx * bx * rest_turn
    k_xy = -ax * ay * skate_turn - bx * by * rest_turn
    whole = 1.0 / (k_xx * k_yy - k_xy * k_xy)
    return Joint(
        ax, ay, bx, by, k_yy * whole, -k_xy * whole, k_xx * whole, skate, skate_turn, rest, rest_turn,
        q[3] + bx - q[0] - ax, q[4] + by - q[1] - ay,
    )  # fmt: skip


@kernel
def _held(j: Joint, v: tuple[float, ...], close: float) -> tuple[float, float, float, float, float, float]:
    """Rates that the joint leaves of the rates v of free bodies; close: rate at which its miss shrinks, 1/s."""
    gap_x = v[3] - v[5] * j.by - v[0] + v[2] * j.ay + close * j.miss_x
    gap_y = v[4] + v[5] * j.bx - v[1] - v[2] * j.ax + close * j.miss_y
    px, py = j.xx * gap_x + j.xy * gap_y, j.xy * gap_x + j.yy * gap_y
    return (
        v[0] + px * j.skate, v[1] + py * j.skate, v[2] + (j.ax * py - j.ay * px) * j.skate_turn,
        v[3] - px * j.rest, v[4] - py * j.rest, v[5] - (j.bx * py - j.by * px) * j.rest_turn,
    )  # fmt: skip


@kernel
def _rates(v: np.ndarray | tuple[float, ...], arm: float) -> tuple[float, float, float]:
    """Rates that dampers act on: rise of the skate at the contact, m/s; the ankle opens, the body turns, rad/s."""
    return v[1] + arm * v[2], v[2] - v[5], v[5]


@kernel
def mean_rates(
    j: Joint, force: np.ndarray, speed: np.ndarray, dt: float, arm: float, contact: float, ankle: float, guide: float
) -> tuple[float, float, float]:
    """Mean rates over the coming step, as `_rates` lists them, while the dampers act.

    force: (6,) on both bodies without the dampers; speed: (6,) rates before the step; dt: s; arm: contact ahead of the
    skate's centre, m; contact N s/m, ankle, guide N m s/rad: the three dampers.
    """
    free = (
        speed[0] + dt * force[0] * j.skate, speed[1] + dt * force[1] * j.skate, speed[2] + dt * force[2] * j.skate_turn,
        speed[3] + dt * force[3] * j.rest, speed[4] + dt * force[4] * j.rest, speed[5] + dt * force[5] * j.rest_turn,
    )  # fmt: skip
    after = _held(j, free, 1.0 / dt)
    old, new = _rates(speed, arm), _rates(after, arm)
    r0, r1, r2 = 0.5 * (old[0] + new[0]), 0.5 * (old[1] + new[1]), 0.5 * (old[2] + new[2])
    by_contact = _rates(_held(j, (0.0, j.skate, arm * j.skate_turn, 0.0, 0.0, 0.0), 0.0), arm)
    by_ankle = _rates(_held(j, (0.0, 0.0, j.skate_turn, 0.0, 0.0, -j.rest_turn), 0.0), arm)
    by_guide = _rates(_held(j, (0.0, 0.0, 0.0, 0.0, 0.0, j.rest_turn), 0.0), arm)
    a, b, c = 0.5 * dt * contact, 0.5 * dt * ankle, 0.5 * dt * guide
    # (1 + response x damping) rates = undamped rates: elimination without pivoting, for the ones dominate the diagonal
    m00, m01, m02 = 1.0 + a * by_contact[0], b * by_ankle[0], c * by_guide[0]
    m10, m11, m12 = a * by_contact[1], 1.0 + b * by_ankle[1], c * by_guide[1]
    m20, m21, m22 = a * by_contact[2], b * by_ankle[2], 1.0 + c * by_guide[2]
    k = m10 / m00
    m11, m12, r1 = m11 - k * m01, m12 - k * m02, r1 - k * r0
    k = m20 / m00
    m21, m22, r2 = m21 - k * m01, m22 - k * m02, r2 - k * r0
    k = m21 / m11
    u2 = (r2 - k * r1) / (m22 - k * m12)
    u1 = (r1 - m12 * u2) / m11
    return (r0 - m01 * u1 - m02 * u2) / m00, u1, u2
