"""Rocking on ice: the engine against a closed form, another integrator and another engine."""

import math

import numpy as np
import scipy

from experiments.studies.validation.checks import CHECK_GAUSS, NOT_RUN, OURS, RINK, STANDING, Check, blade, compare
from sim import closed_forms
from sim.blade.steel import lowest
from sim.ice.contact import press
from sim.ice.standing import settle
from sim.rolling.bodies import build
from sim.rolling.loop import COLUMNS, Man, Run, step_through
from sim.skater.body import GRAVITY, Skater
from sim.skater.movement import Program

ROCKER_M, SWING_RAD, WATCHED_S = 3.0, 0.002, 2.0

STIFF = 1e7  # N m/rad: the two bodies move as one, to 1e-4 of the period; the time step resolves this spring

TWO_BODIES = Skater("rocking test", skate_mass_kg=6.0, skate_inertia=0.3, skate_height_m=0.2, ankle_x_m=0.0,
                    ankle_height_m=0.3, body_height_m=0.3)  # fmt: skip


def _as_one(skater):
    """(mass, height of the centre of mass, inertia about it) of both bodies frozen together."""
    masses = np.array([skater.skate_mass_kg, skater.body_mass_kg])
    heights = np.array([skater.skate_height_m, skater.ankle_height_m + skater.body_height_m])
    middle = masses @ heights / masses.sum()
    inertia = skater.skate_inertia + skater.body_inertia + masses @ (heights - middle) ** 2
    return float(masses.sum()), float(middle), float(inertia)


def _period(time, angle):
    """Period from zero crossings, s."""
    i = np.flatnonzero(angle[1:] * angle[:-1] < 0)
    at = time[i] - angle[i] * (time[i + 1] - time[i]) / (angle[i + 1] - angle[i])
    return float(2 * (at[-1] - at[0]) / (len(at) - 1))


def rocking_engine() -> float:
    """Period of the stiff pair on a standing blade, s, stepped by the engine: let go at a small pitch, no drag."""
    steel, weight, dt = blade("single_radius", ROCKER_M), TWO_BODIES.weight_n, 1e-5
    patch = settle(steel, RINK, STANDING, 0.0, SWING_RAD, weight, 2e-5, *CHECK_GAUSS)
    bodies = build(TWO_BODIES, patch.base, SWING_RAD, patch.depth, SWING_RAD)
    none = np.zeros(2)
    plan = Program(np.array([0.0, 1e3]), np.full(2, weight), none, none, none, none, none, none)
    man = Man(TWO_BODIES.skate_mass_kg, 0.0, TWO_BODIES.skate_height_m, 0.0, TWO_BODIES.ankle_height_m,
              TWO_BODIES.body_mass_kg, TWO_BODIES.body_height_m, STIFF, 0.0, 0.0, 0.0)  # fmt: skip
    run = Run(dt, 5.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 10**9, 100)
    outcome, _, record, _, _ = step_through(
        *bodies, round(WATCHED_S / dt), 0.0, steel, RINK, STANDING, man, run, plan, CHECK_GAUSS
    )
    if outcome != "finished":
        return math.nan
    return _period(record[:, COLUMNS.index("time")], record[:, COLUMNS.index("pitch")])


def rocking_integrator() -> float:
    """The same, s, as one rigid body under the same ice force, integrated by DOP853 instead of the engine."""
    steel = blade("single_radius", ROCKER_M)
    mass, height, inertia = _as_one(TWO_BODIES)
    patch = settle(steel, RINK, STANDING, 0.0, SWING_RAD, mass * GRAVITY, 2e-5, *CHECK_GAUSS)

    def rates(_, state):
        y, rise, pitch, turn = state
        depth = height * math.cos(pitch) - y - lowest(steel, pitch)[1]
        ice = press(steel, RINK, STANDING, 0.0, pitch, depth, *CHECK_GAUSS)
        arm = ice.centre * math.cos(pitch) - height * math.sin(pitch)
        return rise, ice.load / mass - GRAVITY, turn, -arm * ice.load / inertia

    start = [height * math.cos(SWING_RAD) - patch.depth - patch.base, 0.0, SWING_RAD, 0.0]
    found = scipy.integrate.solve_ivp(rates, (0, WATCHED_S), start, method="DOP853", rtol=1e-9, atol=1e-11,
                      t_eval=np.linspace(0, WATCHED_S, 2001))  # fmt: skip
    return _period(found.t, found.y[2])


_WORLD = """<mujoco>
<option timestep="2e-4" gravity="0 0 -{g}" integrator="implicitfast" cone="elliptic" impratio="100"/>
<worldbody><geom type="plane" size="9 9 1" friction="{grip} 0 0" condim="{kind}" solref="0.002 1"/><body pos="0 0 {r}">
<joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 0 1"/><joint type="hinge" axis="0 1 0"/>
<inertial pos="0 0 {down}" mass="{m}" diaginertia="{i} {i} {i}"/>
<geom type="sphere" size="{r}" friction="{grip} 0 0" condim="{kind}" solref="0.002 1"/></body></worldbody></mujoco>"""


def rocking_mujoco(grip: float) -> float | None:
    """Period of the frozen pair on a ball of the rocker's radius, kept in its plane, s; None without MuJoCo."""
    try:
        import mujoco  # only a check needs it
    except ImportError:
        return None
    mass, height, inertia = _as_one(TWO_BODIES)
    kind, down = (3 if grip else 1), height - ROCKER_M
    text = _WORLD.format(g=GRAVITY, grip=grip, kind=kind, r=ROCKER_M, down=down, m=mass, i=inertia)
    model = mujoco.MjModel.from_xml_string(text)
    data, series = mujoco.MjData(model), []
    data.qpos[2] = SWING_RAD
    while data.time < WATCHED_S:
        mujoco.mj_step(model, data)
        series.append((data.time, data.qpos[2]))
    return _period(*np.array(series).T)


def _against_mujoco(number: str, part: str, title: str, grip: float, ours: float, note: str) -> Check:
    source = "MuJoCo, an independent engine, run here"
    theirs = rocking_mujoco(grip)
    if theirs is None:
        return Check(number, part, title, None, "s", ours, None, NOT_RUN, "a gap of more than 0.1 % either way", source,
                     "not run: install arcstride[test]")  # fmt: skip
    return compare(number, part, title, theirs, "s", ours, 1e-3, source, note)


def rocking_periods() -> list[Check]:
    """Rocking: the engine on the patch against a closed form, another integrator, another engine."""
    mass, height, inertia = _as_one(TWO_BODIES)
    engine = rocking_engine()
    slipping = closed_forms.rocking_period_slipping(inertia, mass, ROCKER_M, height)
    rolling = closed_forms.rocking_period_rolling(inertia, mass, ROCKER_M, height)
    text = "any mechanics text"
    case = f"{mass:g} kg, R 3 m, h {height:.2f} m, let go at 0.002 rad; ice without grip along the blade."
    return [
        compare("10a", "textbook", "Rocking period, slipping: own engine and closed form", slipping, "s", engine, 1e-3,
                text, case),
        compare("10b", "ours", "Rocking period, slipping: own engine and DOP853", rocking_integrator(), "s", engine,
                5e-4, f"SciPy DOP853 on the same ice force, {OURS}", "One rigid body there, two with a stiff ankle "
                "here."),
        _against_mujoco("10c", "ours", "Rocking period, slipping: own engine and MuJoCo", 0.0, engine, case),
        _against_mujoco("10d", "ours", "Rocking period, rolling: closed form and MuJoCo", 5.0, rolling,
                        "The closed form only: the ice of this model has no grip along the blade."),
    ]  # fmt: skip
