"""Movement: what a skater does on the reference blade, as histories of load, lean and load line."""

import math
from collections import namedtuple
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy

from sim.blade.steel import Steel
from sim.compiled import kernel
from sim.errors import BladeError
from sim.ice.contact import GAUSS, Law
from sim.ice.drag import straight_drag
from sim.ice.ice import IceNumbers
from sim.ice.scrape import turn_scrape
from sim.ice.standing import stand
from sim.skater.body import GRAVITY, Skater, ankle_torque, leg_angle

TABLE_S, TABLE_M = 0.5e-3, 2e-3  # most between two instants of a program, in time and along a path
SLOWEST_GUIDE, FASTEST_GUIDE = 50.0, 1000.0  # rad/s: a slower one lags behind, a faster one asks for shorter steps
CLOSEST_S = 1e-4  # least between two stated instants
OFF_RAD, OFF_N = 1e-7, 1e-2  # most that interpolated pitch and drag may be off those solved at that instant
FIRST_PIECES = 16  # a movement is solved at the ends of this many equal pieces, and wherever it was stated

Program = namedtuple("Program", "at load tan_lean curvature leg leg_rate rest ankle_rate")
Program.__doc__ = """A movement program at instants `at` of progress (s, or m along a path); between them it is linear.

Every stated instant is one of them. load N, tan(lean), path curvature 1/m; leg: leg angle, rad; rest: ankle angle at
which the ankle spring is slack, rad; leg_rate and ankle_rate (of the reference) are per unit of progress. `rest`
already holds what the ankle's damper takes at that ankle_rate.
"""


@dataclass(frozen=True)
class Scenario:
    """One movement. `at`: fractions of the whole, rising from 0 to 1; the other histories hold a value at each.

    Between the values a history is a monotone cubic; nothing is smoothed but by smoothing_s, the standard deviation
    of a Gaussian that averages the histories of a movement in time.
    mode guided: an outside couple holds the leg at the program's angle (the rest of the body balances it), as a
    critically damped spring of natural rate guide_rate_rad_s on the body's inertia (assumption of ours);
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
    smoothing_s: float = 0.0
    guide_rate_rad_s: float = 400.0

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

    @property
    def lasts_s(self) -> float:
        """Duration, s; on a path at the speed it is entered with."""
        return self.path_m / self.speed_m_s if self.on_path else self.duration_s

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
    if not 0 <= s.smoothing_s <= s.lasts_s / 4 or (s.on_path and s.smoothing_s):
        return "smoothing is for movements in time and at most a quarter of the duration; leave it out for none."
    if not SLOWEST_GUIDE <= s.guide_rate_rad_s <= FASTEST_GUIDE:
        return f"a guide rate of {s.guide_rate_rad_s:g} rad/s; use {SLOWEST_GUIDE:g} to {FASTEST_GUIDE:g} rad/s."
    if not min(np.diff(s.at)) * s.lasts_s >= CLOSEST_S:
        return f"'at' holds two instants less than {CLOSEST_S * 1e3:g} ms apart; leave out one of them."
    return ""


@kernel
def statics(
    steel: Steel, ice: IceNumbers, law: Law, loads: np.ndarray, tans: np.ndarray, lines: np.ndarray,
    speeds: np.ndarray, radii: np.ndarray, gx: np.ndarray, gw: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
    """Pitch and drag of the loads standing at the given lines, (k,) each; nan where the blade cannot.

    No drag is computed for speeds of 0.
    """
    pitch, drag = np.empty(len(loads)), np.zeros(len(loads))
    for i in range(len(loads)):
        patch = stand(steel, ice, law, tans[i], loads[i], lines[i], gx, gw)
        pitch[i] = patch.beta
        if math.isnan(patch.load):
            pitch[i], drag[i] = math.nan, math.nan
        elif speeds[i] > 0.0:
            drag[i] = straight_drag(steel, ice, law, patch, speeds[i], 64, gx, gw)
            if radii[i] < 1e3:
                drag[i] += turn_scrape(steel, ice, patch, radii[i], 32, 64, gx, gw)
    return pitch, drag


def program(scenario: Scenario, skater: Skater, steel: Steel, ice: IceNumbers, law: Law) -> Program:
    """The movement program: leg and ankle angles that realise the scenario on the reference blade `steel`.

    Inverse statics at each instant (contact from the patch solver, moments about the ankle, then about the leg);
    every candidate gets the same program, so that a shift of its balance is an outcome, not an input.
    Load, lean and line are those stated. Pitch and drag are solved at every stated instant, and at as many more as
    cubic splines through them need to pass within OFF_RAD and OFF_N of a solve halfway between.
    Raises BladeError when the reference cannot carry the scenario.
    """
    at = _instants(scenario)
    curvature, tans, loads, lines = _conditions(scenario, skater, at)
    radii = 1.0 / np.maximum(curvature, 1e-6)

    def solved(rows: np.ndarray, speed: float) -> tuple[np.ndarray, np.ndarray]:
        pitch, drag = statics(steel, ice, law, loads[rows], tans[rows], lines[rows], np.full(len(rows), speed),
                              radii[rows], *GAUSS[12])  # fmt: skip
        if not np.all(np.isfinite(pitch)):
            i = rows[np.argmin(np.isfinite(pitch))]
            raise BladeError(
                f"scenario {scenario.name!r}: the reference blade cannot carry {loads[i]:.0f} N at a load line of "
                f"{lines[i] * 1e3:.0f} mm; lower the load or move the line toward mid-runner."
            )
        return pitch, drag

    stated = np.searchsorted(at, np.array(scenario.at) * _total(scenario))
    pitch = spline_within(lambda rows: solved(rows, 0.0)[0], at, stated, OFF_RAD)(at)
    drag = spline_within(lambda rows: solved(rows, scenario.speed_m_s)[1], at, stated, OFF_N)(at)
    torque = ankle_torque(skater, loads, lines, pitch, drag)
    leg = leg_angle(skater, loads, drag, torque)
    ankle = pitch - leg
    leg_rate, ankle_rate = scipy.interpolate.CubicSpline(at, [leg, ankle], axis=1)(at, 1)
    pace = scenario.speed_m_s if scenario.on_path else 1.0
    rest = ankle + (torque + skater.ankle_damping * ankle_rate * pace) / skater.ankle_stiffness
    return Program(at, loads, tans, curvature, leg, leg_rate, rest, ankle_rate)


def spline_within(
    solve: Callable[[np.ndarray], np.ndarray], at: np.ndarray, first: np.ndarray, off: float
) -> "scipy.interpolate.CubicSpline":
    """A cubic spline over `at` through solve(rows), (k,), at few of its rows; halfway between them it was within off.

    first: rows solved whatever happens. Each interval is halved until a solve in its middle agrees with the spline
    so far, or until nothing lies between its ends; every solve is passed through, so that the spline's error is
    about a sixteenth of `off` where the truth is smooth. scipy's CubicSpline (not-a-knot).
    """
    rows = np.unique(np.concatenate([first, np.linspace(0, len(at) - 1, FIRST_PIECES + 1).astype(int)]))
    values, open_ = solve(rows), np.ones(len(rows) - 1, bool)
    while True:
        spline = scipy.interpolate.CubicSpline(at[rows], values)
        open_ &= np.diff(rows) > 1
        if not open_.any():
            return spline
        middle = (rows[:-1] + rows[1:])[open_] // 2
        found = solve(middle)
        halved = np.repeat(open_, np.where(open_, 2, 1))  # each open interval becomes two, side by side
        halved[halved] = np.repeat(np.abs(spline(at[middle]) - found) > off, 2)
        order = np.argsort(np.concatenate([rows, middle]))
        rows, values = np.concatenate([rows, middle])[order], np.concatenate([values, found])[order]
        open_ = halved


def _total(scenario: Scenario) -> float:
    """All of a movement's progress: s, or m along its path."""
    return scenario.path_m if scenario.on_path else scenario.duration_s


def _instants(scenario: Scenario) -> np.ndarray:
    """Instants of a program: all that are stated, and between them a grid of spacing TABLE_S or TABLE_M."""
    total, step = _total(scenario), TABLE_M if scenario.on_path else TABLE_S
    grid, stated = np.linspace(0.0, total, max(round(total / step), 2) + 1), np.array(scenario.at) * total
    after = np.clip(np.searchsorted(stated, grid), 1, len(stated) - 1)
    apart = np.minimum(np.abs(grid - stated[after - 1]), np.abs(grid - stated[after]))
    return np.sort(np.concatenate([stated, grid[apart > 1e-3 * step]]))


def _conditions(
    scenario: Scenario, skater: Skater, progress: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Path curvature, tan(lean), load and load line at each progress, at the scenario's own speed."""
    share = progress / _total(scenario)
    if scenario.on_path:
        curvature = scenario.curvature(progress)
        tans = scenario.speed_m_s**2 * curvature / GRAVITY
        return curvature, tans, skater.weight_n * np.sqrt(1 + tans**2), history(scenario.at, scenario.line_m, share)
    smooth = scenario.smoothing_s / scenario.duration_s
    load, lean, line = (
        history(scenario.at, values, share, smooth) for values in (scenario.load_bw, scenario.lean_rad, scenario.line_m)
    )
    return np.zeros(len(progress)), np.tan(lean), skater.weight_n * load, line


def history(
    at: Sequence[float], values: Sequence[float], share: float | np.ndarray, smooth: float = 0.0
) -> float | np.ndarray:
    """A history at shares of the whole: through each stated point, monotone between them (Fritsch & Carlson 1980).

    Its rate is continuous; its ends may slope. smooth > 0 averages it by a Gaussian of that standard deviation, as a
    share of the whole, and mirrored at both ends, which then are level: it no longer passes through what was stated.
    """
    stated = scipy.interpolate.PchipInterpolator(at, values)
    if smooth <= 0:
        return stated(share)
    fine = np.linspace(0.0, 1.0, int(min(max(1000, 20 / smooth), 100_000)) + 1)
    averaged = scipy.ndimage.gaussian_filter1d(stated(fine), smooth * (len(fine) - 1), mode="mirror", truncate=6.0)
    return scipy.interpolate.CubicSpline(fine, averaged)(share)


def smoothing_moves(scenario: Scenario, skater: Skater) -> tuple[float, float]:
    """(N, s): the largest change that a declared smoothing makes to the stated load, and when; 0, 0 without one."""
    if scenario.smoothing_s <= 0:
        return 0.0, 0.0
    at = _instants(scenario)
    change = np.abs(
        _conditions(scenario, skater, at)[2] - _conditions(replace(scenario, smoothing_s=0.0), skater, at)[2]
    )
    worst = int(np.argmax(change))
    return float(change[worst]), float(at[worst])
