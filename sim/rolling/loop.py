"""The step loop: forces at the pose about to be reached, then one step of the engine; compiled, with a plain twin.

An engine step first moves the bodies with their velocities, then gives these the forces. Forces taken at x + dt v make
that a leapfrog: poses at whole steps, velocities half a step later; the first kick is half. Dampers act on the mean
of the rates before and after (see `dampers`), speed along the ice is 1.5 v - 0.5 v_before: second order, all of it.
"""

import math
from collections import namedtuple

import numpy as np
import pymunk

from sim.blade.steel import Steel, flexed, lowest
from sim.compiled import kernel
from sim.ice.contact import DEEPEST_ALLOWED, Law, Patch, bend_under, press_ahead, with_tail
from sim.ice.drag import film_shear, ploughing, rough_drag
from sim.ice.ice import IceNumbers
from sim.ice.scrape import turn_scrape
from sim.ice.standing import shift_per_pitch
from sim.rolling.bodies import call_step, engine_access, memory, space_address
from sim.rolling.dampers import joint_at, mean_rates
from sim.skater.body import GRAVITY
from sim.skater.movement import Program

Man = namedtuple(
    "Man",
    "skate_mass skate_x skate_z ankle_x ankle_z body_mass body_height stiffness damping guide_spring guide_damper",
)
Man.__doc__ = """The skater as the step loop reads it: masses kg; skate_*, ankle_*: x and z in the blade frame, m;
body_height: of the body's centre above the ankle, m; stiffness N m/rad and damping N m s/rad of the ankle, guide_* of
the guide."""

Run = namedtuple(
    "Run",
    "dt speed free on_path spin2 contact_damping impulse impulse_above impulse_at impulse_for drag_every record_every",
)
Run.__doc__ = """How to run: dt s; speed at the start, m/s; free 0/1; on_path 0/1; spin2: square of the turn rate for
the centrifugal term, 1/s^2; contact_damping: c of Hunt & Crossley, N (1 + c d'), s/m; impulse N s; steps between
evaluations of drag and between rows of the record."""

COLUMNS = (
    "time", "load", "wanted_load", "lean", "pitch", "leg_angle", "balance_position", "arc_front", "arc_rear",
    "arc_tail", "depth", "ploughing", "film", "rough", "scrape", "drag", "speed", "path_position", "ice_loss",
)  # fmt: skip
OUTCOMES = ("finished", "not_converged", "left_ice", "fell", "stopped", "sank")
_FINISHED, _NOT_CONVERGED, _LEFT_ICE, _FELL, _STOPPED, _SANK = range(6)
FALL_RAD = math.radians(30)  # a leg that has turned this far from its start has fallen
AIRBORNE_S = 0.03  # this long without contact, while load is wanted, counts as having left the ice
ROLLED_FILM_STEPS = 48  # film drag within 0.3 %; see the convergence test
FALLEN_M = 0.020  # sinking this near to an end of the runner is tipping over that end
LIMP_SHARE = 0.35  # steel that loses more of its curvature is taken as bent a step ago: foreseeing it would swing
START_BENDS = 12  # contacts by which the bend of the steel is found before the first step
ENERGY_SLACK = 1e-3  # energy from nowhere that is let pass, J per J of work turned over and one more joule

# places in `keep`, what the loop remembers from step to step
(
    _PATH, _PLOUGH, _FILM, _ROUGH, _SCRAPE, _LOSS, _POWER, _AIR, _LEAK, _WORK, _ROWS, _LEG0, _BEND, _BEND_AT,
    _LAST_BEND, _LAST_AT, _END,
) = range(17)  # fmt: skip


@kernel
def _program(program: Program, progress: float) -> tuple[float, float, float, float, float, float]:
    """Load, tan(lean), leg, leg rate, rest and curvature by linear interpolation at this progress."""
    at = program.at
    last = len(at) - 1
    i = min(max(int(progress / at[last] * last), 0), last - 1)  # the instants are nearly even: a step or two from there
    while i > 0 and at[i] > progress:
        i -= 1
    while i < last - 1 and at[i + 1] <= progress:
        i += 1
    r = min(max((progress - at[i]) / (at[i + 1] - at[i]), 0.0), 1.0)
    s = 1.0 - r
    return (
        s * program.load[i] + r * program.load[i + 1], s * program.tan_lean[i] + r * program.tan_lean[i + 1],
        s * program.leg[i] + r * program.leg[i + 1], s * program.leg_rate[i] + r * program.leg_rate[i + 1],
        s * program.rest[i] + r * program.rest[i + 1], s * program.curvature[i] + r * program.curvature[i + 1],
    )  # fmt: skip


@kernel
def _drag(
    steel: Steel, ice: IceNumbers, law: Law, patch: Patch, speed: float, curvature: float, keep: np.ndarray,
    gx: np.ndarray, gw: np.ndarray
) -> None:  # fmt: skip
    """Refresh ploughing, film, scrape and the drag of rough ice at this contact."""
    keep[_PLOUGH], keep[_FILM], keep[_ROUGH], keep[_SCRAPE] = 0.0, 0.0, 0.0, 0.0
    if patch.load > 0.0:
        keep[_ROUGH] = rough_drag(law, patch)
        keep[_PLOUGH] = ploughing(steel, ice, law, patch, gx, gw)
        keep[_FILM] = film_shear(steel, ice, law, patch, speed, ROLLED_FILM_STEPS)
        if curvature > 1e-6:
            keep[_SCRAPE] = turn_scrape(steel, ice, patch, 1.0 / curvature, 20, 40, gx, gw)


@kernel
def _ledger(
    keep: np.ndarray, inertia: np.ndarray, applied: np.ndarray, before: np.ndarray, after: np.ndarray, dt: float
) -> None:
    """Watch energy: over a step the gain in kinetic energy is the work of the applied forces; the rest is a leak.

    Leapfrog gives the work exactly as F . (v_before + v_after)/2 dt; only the joint may add to it, and should not.
    """
    work, gain = 0.0, 0.0
    for i in range(6):
        work += applied[i] * 0.5 * (before[i] + after[i]) * dt
        gain += 0.5 * inertia[i] * (after[i] * after[i] - before[i] * before[i])
    keep[_LEAK] += gain - work
    keep[_WORK] += abs(work)


@kernel
def _predict(k: int, dt: float, pose: np.ndarray, speed: np.ndarray, last: np.ndarray, q: np.ndarray) -> bool:
    """Pose about to be reached, into q; False when it is not finite."""
    for i in range(6):
        if k == 1:  # before v(0) the velocity was v(-dt/2), mirroring v(dt/2)
            last[i] = 2.0 * last[i] - speed[i]
        q[i] = pose[i] + dt * speed[i]
        if not math.isfinite(q[i]):
            return False
    return True


@kernel
def _along(man: Man, run: Run, rates: np.ndarray) -> float:
    """Speed of the common centre of mass along the ice, m/s."""
    return run.speed + (man.skate_mass * rates[0] + man.body_mass * rates[3]) / (man.skate_mass + man.body_mass)


@kernel
def _bodies(
    man: Man, run: Run, k: int, q: np.ndarray, wanted: float, leg: float, leg_rate: float, rest: float, load: float,
    arm: float, drag: float, out: np.ndarray
) -> None:  # fmt: skip
    """Forces, N, and counter-clockwise torques, N m, on skate and body: ice, weight, ankle, guide or turn, shove.

    All but those of the dampers, which `_damp` adds.
    """
    push = wanted / (man.skate_mass + man.body_mass)
    beta, psi = -q[2], -q[5]
    turn = man.stiffness * (rest - (beta - psi))
    out[0], out[1] = -drag, load - man.skate_mass * push
    out[2] = arm * load - q[1] * drag - turn
    out[3], out[4], out[5] = 0.0, -man.body_mass * push, turn
    if run.free > 0.0:
        middle = (man.skate_mass * q[0] + man.body_mass * q[3]) / (man.skate_mass + man.body_mass)
        out[0] += man.skate_mass * run.spin2 * (q[0] - middle)
        out[3] += man.body_mass * run.spin2 * (q[3] - middle)
    else:
        out[5] -= man.guide_spring * (leg - psi) + man.guide_damper * leg_rate
    since = k * run.dt - run.impulse_at
    if run.impulse != 0.0 and 0.0 <= since <= run.impulse_for:
        shove = run.impulse * 0.5 * math.pi / run.impulse_for * math.sin(math.pi * since / run.impulse_for)
        out[3] += shove
        out[5] -= shove * run.impulse_above * math.cos(psi)


@kernel
def _damp(
    man: Man, run: Run, dt: float, q: np.ndarray, speed: np.ndarray, inertia: np.ndarray, load: float, arm: float,
    out: np.ndarray
) -> float:  # fmt: skip
    """Add to `out` the dampers' forces over dt; returns the load with the contact's, N (1 + c d'), never below 0."""
    joint = joint_at(q, inertia, man.ankle_x - man.skate_x, man.ankle_z - man.skate_z, man.body_height)
    guide = man.guide_damper if run.free <= 0.0 else 0.0
    rise, opens, turns = mean_rates(joint, out, speed, dt, arm, run.contact_damping * load, man.damping, guide)
    held = load * (1.0 - run.contact_damping * rise)
    if held < 0.0:  # rises so fast that the ice lets go: no contact; the other dampers are solved again without it
        held = 0.0
        out[1] -= load
        out[2] -= arm * load
        _, opens, turns = mean_rates(joint, out, speed, dt, arm, 0.0, man.damping, guide)
    else:
        out[1] += held - load
        out[2] += arm * (held - load)
    out[2] -= man.damping * opens
    out[5] += man.damping * opens - guide * turns
    return held


@kernel
def _note(
    record: np.ndarray, keep: np.ndarray, time: float, load: float, wanted: float, t: float, beta: float, psi: float,
    patch: Patch, drag: float, forward: float
) -> None:  # fmt: skip
    """Add a row to the record, in the order of COLUMNS."""
    row = record[int(keep[_ROWS])]
    row[0], row[1], row[2], row[3], row[4], row[5] = time, load, wanted, math.atan(t), beta, psi
    row[6], row[7], row[8], row[9], row[10] = patch.centre, patch.front, patch.rear, patch.tail, patch.depth
    row[11], row[12], row[13], row[14], row[15] = keep[_PLOUGH], keep[_FILM], keep[_ROUGH], keep[_SCRAPE], drag
    row[16], row[17], row[18] = forward, keep[_PATH], keep[_LOSS]
    keep[_ROWS] += 1.0


@kernel
def _ending(run: Run, keep: np.ndarray, psi: float, load: float, wanted: float, weight: float, forward: float) -> int:
    """The outcome that ends the run here, or 0 to go on."""
    keep[_AIR] = keep[_AIR] + run.dt if load <= 0.0 and wanted > 0.2 * weight else 0.0
    if keep[_AIR] > AIRBORNE_S:
        return _LEFT_ICE
    if abs(psi - keep[_LEG0]) > FALL_RAD:
        return _FELL
    if forward < 0.05 * run.speed:
        return _STOPPED
    if abs(keep[_LEAK]) > ENERGY_SLACK * (keep[_WORK] + 1.0):
        return _NOT_CONVERGED
    return _FINISHED


@kernel
def _touch(
    steel: Steel, ice: IceNumbers, law: Law, t: float, beta: float, origin_y: float, keep: np.ndarray, gx: np.ndarray,
    gw: np.ndarray
) -> Patch:  # fmt: skip
    """The contact at this pose, the steel bent as foreseen from the contacts of the two steps before: second order."""
    bent = flexed(steel, keep[_BEND], keep[_BEND_AT])
    deepest, base = lowest(bent, beta)
    patch = press_ahead(bent, ice, law, t, beta, -origin_y - base, deepest, base, gx, gw)
    bend, at = bend_under(steel, law, patch.load, patch.front - patch.rear), patch.centre
    ahead = 1.0
    if bend > 0.0:  # where centre and place of the bend agree: Newton's step of `settle`
        share = bend * shift_per_pitch(steel, patch.centre)  # of its curvature that the steel loses
        at = patch.about + max(1.0 - share, 0.05) * (patch.centre - patch.about)
        ahead = 1.0 if share < LIMP_SHARE else 0.0
    keep[_BEND] = max(bend + ahead * (bend - keep[_LAST_BEND]), 0.0)
    keep[_BEND_AT] = at + ahead * (at - keep[_LAST_AT])
    keep[_LAST_BEND], keep[_LAST_AT] = bend, at
    return patch


@kernel
def kick(
    k: int, pose: np.ndarray, speed: np.ndarray, last: np.ndarray, q: np.ndarray, steel: Steel, ice: IceNumbers,
    law: Law, man: Man, run: Run, program: Program, gx: np.ndarray, gw: np.ndarray, inertia: np.ndarray,
    keep: np.ndarray, record: np.ndarray, out: np.ndarray
) -> int:  # fmt: skip
    """Forces on both bodies at the instant k dt, into `out` (fx, fy, torque, twice); returns an outcome, 0 to go on.

    pose: x, y, angle of skate and rest before the step; speed: their rates half a step earlier; last: those before;
    q: room for the pose about to be reached. The first engine step, k = 0, is half a step long and starts with the
    rates of that instant.
    """
    step = 0.5 * run.dt if k == 0 else run.dt
    if k > 0:
        _ledger(keep, inertia, out, last, speed, 0.5 * run.dt if k == 1 else run.dt)
    if not _predict(k, step, pose, speed, last, q):
        return _NOT_CONVERGED
    mass = man.skate_mass + man.body_mass
    between = _along(man, run, speed)
    forward = between if k == 0 else 1.5 * between - 0.5 * _along(man, run, last)
    keep[_PATH] += between * run.dt if k > 0 else 0.0
    along = run.on_path > 0.0
    wanted, t, leg, leg_rate, rest, curvature = _program(program, keep[_PATH] if along else k * run.dt)
    if along:  # lean and load follow from the speed at hand and the path
        t = forward * forward * curvature / GRAVITY
        wanted = mass * GRAVITY * math.sqrt(1.0 + t * t)
        leg_rate *= forward

    beta, psi = -q[2], -q[5]
    cos_b, sin_b = math.cos(beta), math.sin(beta)
    origin_x = q[0] - (man.skate_x * cos_b + man.skate_z * sin_b)
    origin_y = q[1] - (man.skate_z * cos_b - man.skate_x * sin_b)
    patch = _touch(steel, ice, law, t, beta, origin_y, keep, gx, gw)
    for _ in range(START_BENDS if k == 0 else 0):
        patch = _touch(steel, ice, law, t, beta, origin_y, keep, gx, gw)
    depth = patch.depth
    if depth > DEEPEST_ALLOWED:  # at the end of the runner it was tipped over that end, not pressed in
        toe_end = steel.x_first + (len(steel.z) - 1) * steel.dx
        return _FELL if min(patch.deepest - steel.x_first, toe_end - patch.deepest) < FALLEN_M else _SANK
    if k % run.drag_every == 0:
        _drag(steel, ice, law, with_tail(steel, patch), forward, curvature, keep, gx, gw)
    arm, load = origin_x + patch.centre * cos_b - q[0], patch.load
    drag = keep[_PLOUGH] + keep[_FILM] + keep[_ROUGH] + keep[_SCRAPE] if load > 0.0 else 0.0
    _bodies(man, run, k, q, wanted, leg, leg_rate, rest, load, arm, drag, out)
    load = _damp(man, run, step, q, speed, inertia, load, arm, out)
    for i in range(6):
        last[i] = speed[i]

    if k == 0:
        keep[_LEG0] = psi
    keep[_LOSS] += 0.5 * (keep[_POWER] + drag * forward) * run.dt if k > 0 else 0.0
    keep[_POWER] = drag * forward
    if k % run.record_every == 0:
        _note(record, keep, k * run.dt, load, wanted, t, beta, psi, with_tail(steel, patch), drag, forward)
    return _ending(run, keep, psi, load, wanted, mass * GRAVITY, forward)


@kernel
def _compiled(
    step: int, space: int, a: np.ndarray, b: np.ndarray, at: np.ndarray, steps: int, finish: float, steel: Steel,
    ice: IceNumbers, law: Law, man: Man, run: Run, program: Program, gx: np.ndarray, gw: np.ndarray,
    inertia: np.ndarray, keep: np.ndarray, record: np.ndarray
) -> tuple[int, int]:  # fmt: skip
    pose, speed, last, q, out = np.empty(6), np.empty(6), np.zeros(6), np.empty(6), np.zeros(6)
    for k in range(steps):
        for i in range(3):
            pose[i], pose[3 + i] = a[at[i]], b[at[i]]
            speed[i], speed[3 + i] = a[at[3 + i]], b[at[3 + i]]
        status = kick(k, pose, speed, last, q, steel, ice, law, man, run, program, gx, gw, inertia, keep, record, out)
        if status != 0 or (run.on_path > 0.0 and keep[_PATH] >= finish):
            return status, k
        for i in range(3):
            a[at[6 + i]], b[at[6 + i]] = out[i], out[3 + i]
        call_step(step, space, 0.5 * run.dt if k == 0 else run.dt)
    return 0, steps


def _plain(
    space: pymunk.Space, skate: pymunk.Body, rest: pymunk.Body, steps: int, finish: float, steel: Steel,
    ice: IceNumbers, law: Law, man: Man, run: Run, program: Program, gx: np.ndarray, gw: np.ndarray,
    inertia: np.ndarray, keep: np.ndarray, record: np.ndarray
) -> tuple[int, int]:  # fmt: skip
    last, q, out = np.zeros(6), np.empty(6), np.zeros(6)
    for k in range(steps):
        pose = np.array([*skate.position, skate.angle, *rest.position, rest.angle])
        speed = np.array([*skate.velocity, skate.angular_velocity, *rest.velocity, rest.angular_velocity])
        status = kick(k, pose, speed, last, q, steel, ice, law, man, run, program, gx, gw, inertia, keep, record, out)
        if status != 0 or (run.on_path > 0.0 and keep[_PATH] >= finish):
            return status, k
        force = out.tolist()
        skate.force, skate.torque, rest.force, rest.torque = force[:2], force[2], force[3:5], force[5]
        space.step(0.5 * run.dt if k == 0 else run.dt)
    return 0, steps


def step_through(
    space: pymunk.Space, skate: pymunk.Body, rest: pymunk.Body, steps: int, finish: float, steel: Steel,
    ice: IceNumbers, law: Law, man: Man, run: Run, program: Program, gauss: tuple[np.ndarray, np.ndarray],
    plain: bool = False
) -> tuple[str, int, np.ndarray, float, float]:  # fmt: skip
    """Step bodies through a frame that moves at run.speed; returns (outcome, steps done, record, leak, work).

    skate, rest: posed, and moving in that frame, as at the first instant. record: (rows, len(COLUMNS)).
    leak: energy that came from nowhere, J, against `work`, the work turned over. plain: use the public API only.
    The first engine step is the half kick of leapfrog. The engine moves positions before it changes rates, so the
    bodies are first set back by that half step, which then brings them to where they were.
    """
    for body in (skate, rest):
        body.position -= body.velocity * (0.5 * run.dt)
        body.angle -= body.angular_velocity * (0.5 * run.dt)
    inertia = np.array([skate.mass, skate.mass, skate.moment, rest.mass, rest.mass, rest.moment])
    keep, record = np.zeros(_END), np.zeros((steps // run.record_every + 1, len(COLUMNS)))
    tail = (steps, finish, steel, ice, law, man, run, program, *gauss, inertia, keep, record)
    access = None if plain else engine_access()
    if access is None:
        status, done = _plain(space, skate, rest, *tail)
    else:
        step, places = access
        status, done = _compiled(step, space_address(space), memory(skate), memory(rest), places, *tail)
    return OUTCOMES[status], done, record[: int(keep[_ROWS])], float(keep[_LEAK]), float(keep[_WORK])
