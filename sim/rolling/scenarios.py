"""Scenarios: one candidate taken through one movement, with a named outcome."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import scipy

from sim.blade.steel import Steel
from sim.errors import BladeError
from sim.ice.contact import GAUSS, Law, Patch
from sim.ice.drag import straight_drag
from sim.ice.ice import IceNumbers
from sim.ice.standing import settle
from sim.rolling.bodies import build
from sim.rolling.loop import COLUMNS, ROLLED_FILM_STEPS, Man, Run, step_through
from sim.skater.body import GRAVITY, Skater, ankle_torque, leg_angle
from sim.skater.movement import Program, Scenario

RECORD_S = 1e-3  # between rows of the record
QUADRATURE = GAUSS[8]
MOST_ATTEMPTS = 4  # of one roll, each with a shorter step; a step far too long says little about the one that would do
SHORTER = 0.9  # of the longest step that a run asked for: what it asks for shifts by some per cent with the step
DRAG_FAST_S, DRAG_SLOW_S = 0.002, 0.020  # between evaluations of drag: in a stride; in a turn or a balance test
ADVICE = {
    "finished": "",
    "not_converged": "energy or positions went wrong; use a smaller time step",
    "left_ice": "the blade lost contact under load; lower the rate of loading or raise the contact damping",
    "fell": "the body tipped over or off the end of the runner; raise the ankle stiffness or use a flatter blade (at "
    "0.00 s: the steel bends away too much of its curvature for this model; state a higher runner or a shorter span)",
    "stopped": "drag ate the speed before the end of the path; start faster or turn wider",
    "sank": "the blade went 3 mm into the ice; lower the load or use a longer or thicker runner",
    "no_start": "the candidate has no equilibrium at the start; move the load line or stiffen the ankle",
}


@dataclass(frozen=True)
class Roll:
    """What came of a movement. series: (rows, len(COLUMNS)); leak_j against work_j: energy ledger of the run."""

    scenario: Scenario
    outcome: str
    series: np.ndarray
    leak_j: float
    work_j: float
    seconds: float

    def __getitem__(self, column: str) -> np.ndarray:
        """One column of the record, by its name in COLUMNS."""
        return self.series[:, COLUMNS.index(column)]

    def at_path_end(self) -> tuple[float, float]:
        """(time, s; speed, m/s) at the end of the path, carried on from the last row of the record.

        Raises BladeError for a movement without a path, or one that ends before its second row.
        """
        time, speed, path = (self[c] for c in ("time", "speed", "path_position"))
        name = self.scenario.name
        if not self.scenario.on_path or len(time) < 2:
            raise BladeError(f"{name}: this movement has no path to its end; give path_radius and a longer heading.")
        left = (self.scenario.path_m - path[-1]) / speed[-1]
        slowing = (speed[-1] - speed[-2]) / (time[-1] - time[-2])
        return time[-1] + left, speed[-1] + slowing * left


def equilibrium(
    steel: Steel, ice: IceNumbers, law: Law, skater: Skater, load: float, t: float, rest: float, leg: float | None,
    speed: float, gauss: tuple[np.ndarray, np.ndarray], near: float | None = None, damped: float = 0.0
) -> tuple[Patch, float] | None:  # fmt: skip
    """(patch, leg) at which ankle spring and contact agree: root of K (rest - (beta - leg)) - tau(beta), or None.

    load N; t = tan(lean); rest, leg: ankle and leg angle, rad; speed m/s. leg None: a free leg that balances the ankle
    torque. Of several roots the one nearest to level, as far as 25 pitches between the ends' tangents tell them apart;
    or, given a pitch that it is `near`, the one that the secant method finds from there. damped: what the contact's
    damper adds to the load of the ice, as a share of it; the ice then bears load/(1 + damped).
    """

    def state(beta: float) -> tuple[float, Patch, float]:
        patch = settle(steel, ice, law, t, beta, load / (1.0 + damped), 5e-5, *gauss)
        if math.isnan(patch.load):
            raise BladeError("the ice does not carry this load at this pitch")
        drag = straight_drag(steel, ice, law, patch, speed, ROLLED_FILM_STEPS, *gauss)
        torque = ankle_torque(skater, load, patch.centre, beta, drag)
        angle = leg_angle(skater, load, drag, torque) if leg is None else leg
        return skater.ankle_stiffness * (rest - (beta - angle)) - torque, patch, angle

    return _root(state, steel) if near is None else _nearby(state, near)


def _nearby(state: Callable[[float], tuple[float, Patch, float]], beta: float) -> tuple[Patch, float] | None:
    """The root next to a pitch, by secants, or None."""
    try:
        miss, last, last_miss = state(beta)[0], beta + 1e-5, state(beta + 1e-5)[0]
        for _ in range(20):
            if abs(miss - last_miss) <= 1e-300:
                return None
            beta, last, last_miss = beta - miss * (beta - last) / (miss - last_miss), beta, miss
            miss, patch, angle = state(beta)
            if abs(beta - last) < 1e-10:  # the error left is about the square of the last step
                return patch, angle
    except BladeError:
        pass
    return None


def _root(state: Callable[[float], tuple[float, Patch, float]], steel: Steel) -> tuple[Patch, float] | None:
    grid = np.linspace(math.atan(steel.slope[0]), math.atan(steel.slope[-1]), 25)

    @cache
    def value(i: int) -> float:
        try:
            return state(grid[i])[0]
        except BladeError:
            return math.nan

    for i in sorted(range(24), key=lambda i: abs(grid[i] + grid[i + 1])):  # by the middle of each interval
        if value(i) * value(i + 1) <= 0:
            beta = scipy.optimize.brentq(lambda b: state(b)[0], grid[i], grid[i + 1], xtol=1e-13)
            _, patch, angle = state(beta)
            return patch, angle
    return None


def roll(
    steel: Steel,
    ice: IceNumbers,
    law: Law,
    skater: Skater,
    scenario: Scenario,
    program: Program,
    contact_damping: float = 15.0,
    plain: bool = False,
) -> Roll:
    """Take a blade through a movement program, from its own equilibrium under the first instant's load.

    It starts at the rates at which that equilibrium moves on, a free movement from rest.
    contact_damping: c of Hunt & Crossley, N (1 + c d'), s/m; plain: step the engine through its public API only.
    A run whose stiffest instant asked for a shorter time step is repeated with one, up to three times.
    """
    start = first_instant(steel, ice, law, skater, scenario, program, contact_damping)
    if start is None:
        return Roll(scenario, "no_start", np.zeros((0, len(COLUMNS))), 0.0, 0.0, 0.0)
    dt = scenario.time_step_s
    for _ in range(MOST_ATTEMPTS):
        done = _attempt(steel, ice, law, skater, scenario, program, start, dt, contact_damping, plain)
        safe = longest_step(done, skater)
        if dt <= safe:
            return done
        dt = RECORD_S / math.ceil(RECORD_S / max(SHORTER * safe, dt / 5))
    return replace(done, outcome="not_converged") if done.outcome == "finished" else done


def first_instant(
    steel: Steel, ice: IceNumbers, law: Law, skater: Skater, scenario: Scenario, program: Program,
    contact_damping: float
) -> tuple[Patch, float, tuple[float, float, float]] | None:  # fmt: skip
    """(patch, leg angle, rates) that a roll starts with, or None without an equilibrium.

    rates: at which mid-runner rises, m/s, pitch and leg turn, rad/s: those from one equilibrium to the next over the
    program's first two instants. The first is then solved again with what the dampers of ankle and contact take at
    these rates, so that the blade is under way and not set going. A free movement starts at rest.
    """
    pace = scenario.speed_m_s if scenario.on_path else 1.0
    winds = skater.ankle_damping / skater.ankle_stiffness

    def at(i: int, rest: float, near: float | None = None, damped: float = 0.0) -> tuple[Patch, float] | None:
        leg = None if scenario.mode == "free" else float(program.leg[i])
        load, t = float(program.load[i]), float(program.tan_lean[i])
        return equilibrium(steel, ice, law, skater, load, t, rest, leg, scenario.speed_m_s, QUADRATURE, near, damped)

    slack = program.rest[:2] - winds * pace * program.ankle_rate[:2]
    still = at(0, float(slack[0]))
    if still is None or scenario.mode == "free":
        return still and (*still, (0.0, 0.0, 0.0))
    here, next_ = still[0], at(1, float(slack[1]), still[0].beta)
    if next_ is None:
        return None
    lasts = float(program.at[1]) / pace
    rise = (here.depth + here.base - next_[0].depth - next_[0].base) / lasts
    pitch_rate, leg_rate = (next_[0].beta - here.beta) / lasts, float(program.leg_rate[0]) * pace
    damped = max(contact_damping * (pitch_rate * here.centre - rise), -0.5)
    moving = at(0, float(program.rest[0]) - winds * (pitch_rate - leg_rate), here.beta, damped)
    return moving and (*moving, (rise, pitch_rate, leg_rate))


def _attempt(
    steel: Steel, ice: IceNumbers, law: Law, skater: Skater, scenario: Scenario, program: Program,
    start: tuple[Patch, float, tuple[float, float, float]], dt: float, contact_damping: float, plain: bool
) -> Roll:  # fmt: skip
    patch, angle, rates = start
    bodies = build(skater, patch.base, patch.beta, patch.depth, angle, rates)
    duration = 4.0 * scenario.path_m / scenario.speed_m_s if scenario.on_path else scenario.duration_s
    spin = patch.t * GRAVITY / scenario.speed_m_s if scenario.mode == "free" else 0.0
    run = Run(
        dt, scenario.speed_m_s, float(scenario.mode == "free"), float(scenario.on_path), spin * spin, contact_damping,
        scenario.impulse_ns, scenario.impulse_above_m, scenario.impulse_at_s, scenario.impulse_for_s,
        max(1, round(_drag_interval(scenario) / dt)), max(1, round(RECORD_S / dt)),
    )  # fmt: skip
    steps = round(duration / dt) + 1
    outcome, done, record, leak, work = step_through(
        *bodies,
        steps,
        scenario.path_m,
        steel,
        ice,
        law,
        _man(skater, scenario.guide_rate_rad_s),
        run,
        program,
        QUADRATURE,
        plain,
    )
    return Roll(scenario, outcome, record, leak, work, done * dt)


def longest_step(done: Roll, skater: Skater) -> float:
    """Longest time step, s, that the stiffest instant of a run allows; inf for one that never carried a load.

    Leapfrog is stable while rate x dt < 2, rate^2 = (k arm^2 + K)/I + k/m: contact stiffness k, about 2 N/d, at its
    arm from the ankle, ankle stiffness K, I of the skate about the ankle; and that of the guide's spring on top of it.
    Dampers are implicit and do not count.
    """
    carried = done["load"] > 0.05 * skater.weight_n
    if not carried.any():
        return math.inf
    stiffness = 2.0 * done["load"][carried] / done["depth"][carried]
    arm = done["balance_position"][carried] - skater.ankle_x_m
    along, up = skater.ankle_from_skate
    inertia = skater.skate_inertia + skater.skate_mass_kg * (along**2 + up**2)
    rate2 = (stiffness * arm**2 + skater.ankle_stiffness) / inertia + stiffness / skater.mass_kg
    guide = done.scenario.guide_rate_rad_s if done.scenario.mode == "guided" else 0.0
    return 1.5 / math.sqrt(float(rate2.max()) + guide**2)


def _drag_interval(scenario: Scenario) -> float:
    return DRAG_SLOW_S if scenario.on_path or scenario.mode == "free" else DRAG_FAST_S


def _man(skater: Skater, guide_rate: float) -> Man:
    guide = skater.body_inertia * guide_rate**2
    return Man(
        skater.skate_mass_kg, skater.skate_x_m, skater.skate_height_m, skater.ankle_x_m, skater.ankle_height_m,
        skater.body_mass_kg, skater.body_height_m, skater.ankle_stiffness, skater.ankle_damping,
        guide, 2.0 * skater.body_inertia * guide_rate,
    )  # fmt: skip
