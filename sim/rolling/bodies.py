"""The two pymunk bodies and the way to step their engine from compiled code.

Stepped from Python, nearly all of a step goes into pymunk's getters and setters, not into its engine. So the loop is
compiled and calls the engine's `cpSpaceStep` through its address; poses are read, and forces written, through float64
arrays laid over the engine's own structs. What is private in this is found and proved against the public API at first
use (`engine_access`); failing that, the same loop runs in Python. Both give the same bits.
"""

import math
from functools import cache

import numpy as np
import pymunk
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic
from pymunk._chipmunk_cffi import ffi, lib

from sim.skater.body import Skater

_STEP_TYPE = "void(*)(struct cpSpace *, double)"
_WINDOW = 24  # float64s looked at in a body's struct, which is larger


def build(skater: Skater, base: float, beta: float, depth: float, leg: float):
    """(space, skate, rest): skate with its blade `depth` in the ice at pitch beta, and the body above it.

    base: height of the deepest point in the pitched blade frame. Engine angles are counter-clockwise, ours toe-down.
    The joint corrects all of its drift in each step (error_bias 0); one iteration solves a single joint.
    """
    space = pymunk.Space()
    space.gravity, space.damping, space.iterations = (0.0, 0.0), 1.0, 1
    cos_b, sin_b = math.cos(beta), math.sin(beta)
    height = -depth - base  # of the blade frame's origin above the ice

    def world(x, z):
        return x * cos_b + z * sin_b, height + z * cos_b - x * sin_b

    skate = pymunk.Body(skater.skate_mass_kg, skater.skate_inertia)
    skate.position, skate.angle = world(skater.skate_x_m, skater.skate_height_m), -beta
    ankle = world(skater.ankle_x_m, skater.ankle_height_m)
    rest = pymunk.Body(skater.body_mass_kg, skater.body_inertia)
    rest.position = ankle[0] + skater.body_height_m * math.sin(leg), ankle[1] + skater.body_height_m * math.cos(leg)
    rest.angle = -leg
    joint = pymunk.PivotJoint(skate, rest, skater.ankle_from_skate, (0.0, -skater.body_height_m))
    joint.error_bias, joint.collide_bodies = 0.0, False
    space.add(skate, rest, joint)
    return space, skate, rest


@intrinsic
def call_step(typingctx, address, space, dt):
    """Call void(void *, double) by an address given at run time, so that compiled code can be kept on disk."""

    def codegen(context, builder, signature, args):
        ir, pointer = cgutils.ir, cgutils.voidptr_t
        kind = ir.FunctionType(ir.VoidType(), [pointer, ir.DoubleType()])
        function = builder.inttoptr(args[0], kind.as_pointer())
        builder.call(function, [builder.inttoptr(args[1], pointer), args[2]])
        return context.get_dummy_value()

    return types.void(types.intp, types.intp, types.float64), codegen


def memory(body) -> np.ndarray:
    """The start of a body's struct as float64s; valid as long as the body is."""
    return np.frombuffer(ffi.buffer(ffi.cast("char *", body._body), 8 * _WINDOW))


def space_address(space) -> int:
    """Address of the engine's space."""
    return int(ffi.cast("intptr_t", space._space))


@cache
def engine_access():
    """(address of the engine's step, places of x y angle, their rates, fx fy torque in `memory`), or None.

    The places are found by values set through the public API, and writing forces is checked to be what the setters do.
    """
    try:
        function = ffi.addressof(lib, "cpSpaceStep")
        if ffi.typeof(function) is not ffi.typeof(_STEP_TYPE):
            return None
        body, marks = pymunk.Body(2.0, 3.0), [1000.5 + i for i in range(9)]
        body.center_of_gravity = 8.0, 16.0  # else the position stands there twice
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
