"""The two pymunk bodies, and how compiled code steps their engine.

Stepped from Python, nearly all of the time goes into pymunk's getters and setters rather than its engine. The loop is
therefore compiled and calls the engine's `cpSpaceStep` by address; poses are read and forces written through float64
arrays laid over the engine's own structs. The layout of those structs is private: it is found and checked through the
public API at first use (`engine_access`). Where the check fails the same loop runs in Python, with the same bits.
"""

import math
from collections.abc import Callable
from functools import cache

import numpy as np
import pymunk
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic
from pymunk._chipmunk_cffi import ffi, lib

from sim.skater.body import Skater

_STEP_TYPE = "void(*)(struct cpSpace *, double)"
_WINDOW = 24  # float64s read from the start of a body's struct, which is longer


def build(
    skater: Skater, base: float, beta: float, depth: float, leg: float, rates: tuple[float, float, float] = (0, 0, 0)
) -> tuple[pymunk.Space, pymunk.Body, pymunk.Body]:
    """(space, skate, body): the skate, its blade `depth` (m) in the ice at pitch beta (rad), and the body on its ankle.

    base: height of the deepest point in the pitched blade frame, m; leg: leg angle, rad. rates: at which mid-runner
    rises, m/s, pitch and leg turn, rad/s; the common centre of mass does not move along the ice.
    The engine's angles are counter-clockwise, ours toe-down, hence the signs.
    The joint corrects its whole drift in each step (error_bias 0); for a single joint one iteration is exact.
    """
    space = pymunk.Space()
    space.gravity, space.damping, space.iterations = (0.0, 0.0), 1.0, 1
    cos_b, sin_b = math.cos(beta), math.sin(beta)
    height = -depth - base  # of mid-runner, the origin of the blade frame, above the ice

    def world(x: float, z: float) -> tuple[float, float]:
        return x * cos_b + z * sin_b, height + z * cos_b - x * sin_b

    skate = pymunk.Body(skater.skate_mass_kg, skater.skate_inertia)
    skate.position, skate.angle = world(skater.skate_x_m, skater.skate_height_m), -beta
    ankle = world(skater.ankle_x_m, skater.ankle_height_m)
    rest = pymunk.Body(skater.body_mass_kg, skater.body_inertia)
    rest.position = ankle[0] + skater.body_height_m * math.sin(leg), ankle[1] + skater.body_height_m * math.cos(leg)
    rest.angle = -leg
    _set_going(skater, skate, rest, ankle, height, rates)
    joint = pymunk.PivotJoint(skate, rest, skater.ankle_from_skate, (0.0, -skater.body_height_m))
    joint.error_bias, joint.collide_bodies = 0.0, False
    space.add(skate, rest, joint)
    return space, skate, rest


def _set_going(
    skater: Skater, skate: pymunk.Body, rest: pymunk.Body, ankle: tuple[float, float], height: float,
    rates: tuple[float, float, float]
) -> None:  # fmt: skip
    """Rates of two bodies on their ankle; mid-runner stands at (0, height). A toe-down turn moves (x, z) by (z, -x)."""
    rise, pitch_rate, leg_rate = rates
    along, up = skate.position - (0.0, height)
    above, high = rest.position - ankle
    ankle_rate = (ankle[1] - height) * pitch_rate, rise - ankle[0] * pitch_rate
    skate.velocity = up * pitch_rate, rise - along * pitch_rate
    rest.velocity = ankle_rate[0] + high * leg_rate, ankle_rate[1] - above * leg_rate
    drift = (skate.mass * skate.velocity.x + rest.mass * rest.velocity.x) / skater.mass_kg
    skate.velocity -= (drift, 0.0)
    rest.velocity -= (drift, 0.0)
    skate.angular_velocity, rest.angular_velocity = -pitch_rate, -leg_rate


@intrinsic
def call_step(typingctx: object, address: types.Type, space: types.Type, dt: types.Type) -> tuple[object, Callable]:
    """Call a C function void(void *, double) by an address known only at run time, so that the caller can be cached."""

    def codegen(context: object, builder: object, signature: object, args: tuple) -> object:
        ir, pointer = cgutils.ir, cgutils.voidptr_t
        kind = ir.FunctionType(ir.VoidType(), [pointer, ir.DoubleType()])
        function = builder.inttoptr(args[0], kind.as_pointer())
        builder.call(function, [builder.inttoptr(args[1], pointer), args[2]])
        return context.get_dummy_value()

    return types.void(types.intp, types.intp, types.float64), codegen


def memory(body: pymunk.Body) -> np.ndarray:
    """The first _WINDOW float64s of a body's struct, shared with the engine; valid as long as the body lives."""
    return np.frombuffer(ffi.buffer(ffi.cast("char *", body._body), 8 * _WINDOW))


def space_address(space: pymunk.Space) -> int:
    """Address of the engine's own struct of a space."""
    return int(ffi.cast("intptr_t", space._space))


@cache
def engine_access() -> tuple[int, np.ndarray] | None:
    """(address of the engine's step; places in `memory` of x y angle, their rates, fx fy torque, (9,)), or None.

    Values set through the public API are looked for in the struct, and forces written there must come back through it.
    None where this engine is laid out otherwise.
    """
    try:
        function = ffi.addressof(lib, "cpSpaceStep")
        if ffi.typeof(function) is not ffi.typeof(_STEP_TYPE):
            return None
        body, marks = pymunk.Body(2.0, 3.0), [1000.5 + i for i in range(9)]
        body.center_of_gravity = 8.0, 16.0  # off the origin, or the struct would hold each coordinate twice
        body.position = marks[0] - 8.0, marks[1] - 16.0
        body.angle, body.velocity, body.angular_velocity = marks[2], tuple(marks[3:5]), marks[5]
        body.force, body.torque = tuple(marks[6:8]), marks[8]
        found = [np.flatnonzero(memory(body) == mark) for mark in marks]
        if any(len(place) != 1 for place in found):
            return None
        places = np.concatenate(found)
        memory(body)[places[6:]] = 1.5, 2.5, 3.5
        if (*body.force, body.torque) != (1.5, 2.5, 3.5):
            return None
        return int(ffi.cast("intptr_t", function)), places
    except (AttributeError, TypeError, ValueError, ffi.error):
        return None
