"""Dampers of the two bodies, implicit: contact, ankle and guide at the mean of the rates before and after the step.

Their forces are linear in the rates, and what the engine makes of a force is known: new rates are those that free
bodies would get, less what the joint takes. So the mean rates solve three linear equations (trapezoid rule). That is
second order and stable at any step, where damping of a rocking skate taken from past rates would bound the step.
"""

import math
from collections import namedtuple

from sim.compiled import kernel

Joint = namedtuple("Joint", "ax ay bx by xx xy yy skate skate_turn rest rest_turn miss_x miss_y")
Joint.__doc__ = """The pivot at a pose: arms to it from the centres of skate (a) and rest (b), the inverse of its mass
matrix, inverse masses and inertias, and the joint's miss, m."""


@kernel
def joint_at(q, inertia, ankle_x, ankle_z, height):
    """The joint at a pose q (x, y, angle of skate and rest); ankle from the skate's centre, and from the body's."""
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
def _held(j, v, close):
    """Rates v of free bodies as the joint leaves them; close: rate at which its miss is to shrink, 1/s."""
    gap_x = v[3] - v[5] * j.by - v[0] + v[2] * j.ay + close * j.miss_x
    gap_y = v[4] + v[5] * j.bx - v[1] - v[2] * j.ax + close * j.miss_y
    px, py = j.xx * gap_x + j.xy * gap_y, j.xy * gap_x + j.yy * gap_y
    return (
        v[0] + px * j.skate, v[1] + py * j.skate, v[2] + (j.ax * py - j.ay * px) * j.skate_turn,
        v[3] - px * j.rest, v[4] - py * j.rest, v[5] - (j.bx * py - j.by * px) * j.rest_turn,
    )  # fmt: skip


@kernel
def _rates(v, arm):
    """What the dampers see: rising of the skate at the contact, ankle opening, turning of the rest."""
    return v[1] + arm * v[2], v[2] - v[5], v[5]


@kernel
def mean_rates(j, force, speed, dt, arm, contact, ankle, guide):
    """Mean rates of contact, ankle and guide over the coming step, with their dampers acting; N s/m, N m s.

    force: on both bodies without the dampers; speed: rates before the step. arm: contact ahead of the skate's centre.
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
    # (1 + responses x dampers) rates = rates without them; elimination, the matrix is well conditioned by its ones
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
