"""Movement: what a skater does on the reference blade, as histories of load, lean and load line."""

import math
from collections import namedtuple
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.ndimage import gaussian_filter1d

from sim.blade.steel import Steel
from sim.compiled import kernel
from sim.errors import BladeError
from sim.ice.contact import GAUSS, Law, stand
from sim.ice.drag import straight_drag
from sim.ice.ice import IceNumbers
from sim.ice.scrape import turn_scrape
from sim.skater.body import GRAVITY, Skater, ankle_torque, leg_angle

KNOTS = 81  # states solved along a movement; the rest is interpolated
TABLE_S, TABLE_M = 0.5e-3, 2e-3  # spacing of the program tables in time and along a path

Program = namedtuple("Program", "step load tan_lean curvature leg leg_rate rest")
Program.__doc__ = """A movement program on a uniform grid of progress (s, or m along a path), spacing `step`.

load N, tan(lean), path curvature 1/m; leg: leg angle, rad; rest: ankle angle at which the ankle spring is slack, rad;
leg_rate is per unit of progress. `rest` already holds what the ankle's damper takes in the reference's own motion.
"""


@dataclass(frozen=True)
class Scenario:
    """One movement. `at`: fractions of the whole, rising from 0 to 1; the other histories hold a value at each.

    mode guided: an outside couple holds the leg at the program's angle (the rest of the body balances it);
    free: nothing does (balance test, constant load and lean). load_bw: in-plane load in body weights;
    lean_rad; line_m: wanted load line on the reference blade. path_radius_m > 0: a turn of that radius through
    heading_rad, entered and left over ramp_m of path; lean and load then follow from speed and path:
    tan(lean) = v^2/(g rho), N = m g/cos(lean). impulse_ns: a toe-ward shove,
    impulse_above_m over the body's centre (at the centre it would only push the skater along: ice has no grip).
    Raises BladeError for a movement that nobody makes or that this model cannot follow.
    """

    name: str
    at: tuple[float, ...]
    line_m: tuple[float, ...]
    load_bw: tuple[float, ...] = ()
    lean_rad: tuple[float, ...] = ()
    duration_s: float = 0.4
    speed_m_s: float = 8.0
    mode: str = "guided"
    path_radius_m: float = 0.0
    heading_rad: float = 0.0
    ramp_m: float = 0.0
    impulse_ns: float = 0.0
    impulse_at_s: float = 0.2
    impulse_for_s: float = 0.05
    impulse_above_m: float = 0.4
    time_step_s: float = 1e-4

    def __post_init__(self) -> None:
        fault = _fault(self)
        if fault:
            raise BladeError(f"scenario {self.name!r}: {fault}")

    @property
    def on_path(self) -> bool:
        """Whether this movement follows a stated path."""
        return self.path_radius_m > 0

    @property
    def path_m(self) -> float:
        """Length of the path, m: the arc and its two ramps, along which curvature rises and falls smoothly."""
        return self.heading_rad * self.path_radius_m + self.ramp_m

    def curvature(self, progress_m: float | np.ndarray) -> float | np.ndarray:
        """Path curvature, 1/m, at distances along the path (smooth cubic ramps)."""
        inner = np.minimum(progress_m, self.path_m - progress_m) / self.ramp_m
        r = np.clip(inner, 0.0, 1.0)
        return r * r * (3 - 2 * r) / self.path_radius_m


def _fault(s: Scenario) -> str:
    """What is wrong with a scenario, with what would be right; empty when nothing is. Written so that nan is wrong."""
    if s.mode not in ("guided", "free"):
        return f"mode {s.mode!r} is unknown; use guided or free."
    if len(s.at) < 2 or s.at[0] != 0 or s.at[-1] != 1 or not min(np.diff(s.at)) > 0:
        return "'at' must rise from 0 to 1, for example [0, 0.5, 1]."
    for key in ("line_m",) if s.on_path else ("line_m", "load_bw", "lean_rad"):
        if len(getattr(s, key)) != len(s.at):
            return f"{key} has {len(getattr(s, key))} values for {len(s.at)} entries of 'at'."
    if not all(abs(x) < 1 for x in s.line_m):
        return "line_m holds a value that is not finite, or farther than 1 m from mid-runner."
    if not all(0 < x <= 6 for x in s.load_bw):
        return "loads must lie above 0 and at most 6 body weights."
    if not all(0 <= x <= math.radians(70) for x in s.lean_rad):
        return "lean must lie within 0 and 70 deg."
    if s.mode == "free" and (s.on_path or len(set(s.load_bw)) > 1 or len(set(s.lean_rad)) > 1):
        return (
            "a free movement needs constant load and lean; lean that changes has inertia that only the guide can "
            "stand for."
        )
    if not 0.01 <= s.duration_s <= 60 or not 0.1 <= s.speed_m_s <= 20:
        return "use a duration of 0.01 s to 60 s and a speed of 0.1 to 20 m/s."
    shove = abs(s.impulse_ns) <= 100 and 1e-3 <= s.impulse_for_s <= 10 and 0 <= s.impulse_at_s <= 60
    if not (shove and abs(s.impulse_above_m) <= 2):
        return (
            "an impulse must be at most 100 N s, last 1 ms to 10 s, start by 60 s, and act within 2 m of the body's "
            "centre."
        )
    if not 1e-6 <= s.time_step_s <= 5e-4 or abs(1e-3 / s.time_step_s - round(1e-3 / s.time_step_s)) > 1e-6:
        return f"time step {s.time_step_s:g} s; use a whole part of 1 ms between 1e-6 s and 5e-4 s."
    if s.on_path and not (s.path_radius_m >= 0.5 and 0 < s.ramp_m < s.path_m / 2):
        return "a turn needs a radius of at least 0.5 m and a ramp below half the path."
    return ""


@kernel
def statics(
    steel: Steel, ice: IceNumbers, law: Law, loads: np.ndarray, tans: np.ndarray, lines: np.ndarray,
    speeds: np.ndarray, radii: np.ndarray, gx: np.ndarray, gw: np.ndarray
) -> np.ndarray:  # fmt: skip
    """Pitch, centre and drag of the loads standing at the given lines, (k, 3); nan where the blade cannot."""
    out = np.empty((len(loads), 3))
    for i in range(len(loads)):
        patch = stand(steel, ice, law, tans[i], loads[i], lines[i], gx, gw)
        drag = straight_drag(steel, ice, law, patch, speeds[i], 64, gx, gw)
        if radii[i] < 1e3:
            drag += turn_scrape(steel, ice, patch, radii[i], 32, 64, gx, gw)
        out[i, 0], out[i, 1], out[i, 2] = patch.beta, patch.centre, drag
        if math.isnan(patch.load):
            out[i, :] = math.nan
    return out


def program(scenario: Scenario, skater: Skater, steel: Steel, ice: IceNumbers, law: Law) -> Program:
    """The movement program: leg and ankle angles that realise the scenario on the reference blade `steel`.

    Inverse statics at each instant (contact from the patch solver, moments about the ankle, then about the leg);
    every candidate gets the same program, so that a shift of its balance is an outcome, not an input.
    Raises BladeError when the reference cannot carry the scenario.
    """
    total = scenario.path_m if scenario.on_path else scenario.duration_s
    knots = np.linspace(0.0, total, KNOTS)
    share = knots / total
    line = history(scenario.at, scenario.line_m, share)
    curvature, tans, loads = _conditions(scenario, skater, knots)
    radii = 1.0 / np.maximum(curvature, 1e-6)
    speeds = np.full(KNOTS, scenario.speed_m_s)
    solved = statics(steel, ice, law, loads, tans, line, speeds, radii, *GAUSS[12])
    if not np.all(np.isfinite(solved)):
        i = int(np.argmin(np.isfinite(solved).all(axis=1)))
        raise BladeError(
            f"scenario {scenario.name!r}: the reference blade cannot carry {loads[i]:.0f} N at a load line of "
            f"{line[i] * 1e3:.0f} mm; lower the load or move the line toward mid-runner."
        )
    torque = [ankle_torque(skater, n, c, b, f) for n, (b, c, f) in zip(loads, solved)]
    leg = CubicSpline(knots, [leg_angle(skater, n, f, q) for n, f, q in zip(loads, solved[:, 2], torque)],
                      bc_type="clamped")  # fmt: skip
    ankle = CubicSpline(knots, solved[:, 0] - leg(knots), bc_type="clamped")
    pace = scenario.speed_m_s if scenario.on_path else 1.0
    slack = np.array(torque) + skater.ankle_damping * ankle(knots, 1) * pace
    rest = CubicSpline(knots, ankle(knots) + slack / skater.ankle_stiffness, bc_type="clamped")
    step = TABLE_M if scenario.on_path else TABLE_S
    grid = np.linspace(0.0, total, max(round(total / step), 2) + 1)
    curvature, tans, loads = _conditions(scenario, skater, grid)
    return Program(float(grid[1]), loads, tans, curvature, leg(grid), leg(grid, 1), rest(grid))


def _conditions(scenario: Scenario, skater: Skater, progress: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Path curvature, tan(lean) and load at each progress, at the scenario's own speed."""
    if scenario.on_path:
        curvature = scenario.curvature(progress)
        tans = scenario.speed_m_s**2 * curvature / GRAVITY
        return curvature, tans, skater.weight_n * np.sqrt(1 + tans**2)
    share = progress / scenario.duration_s
    tans = np.tan(history(scenario.at, scenario.lean_rad, share))
    return np.zeros(len(progress)), tans, skater.weight_n * history(scenario.at, scenario.load_bw, share)


def history(at: Sequence[float], values: Sequence[float], share: float | np.ndarray) -> float | np.ndarray:
    """A history through its key points (monotone cubic), smoothed over 3 % of its length: nobody moves in corners.

    It starts and ends level, so that a run can start from rest.
    """
    fine = np.linspace(0.0, 1.0, 1001)
    smooth = gaussian_filter1d(PchipInterpolator(at, values)(fine), 30.0, mode="mirror", truncate=6.0)
    return CubicSpline(fine, smooth)(share)
