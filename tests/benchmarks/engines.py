"""The same stride by MuJoCo, RK45 and LSODA, each as coarse as 0.1 % of DOP853 (1e-11) in pitch and load allows.

The force law of the contact is one compiled function for all. Around it, ours is compiled; theirs are Python, as those
who use these packages write them, so the count of its evaluations is shown beside the times: it tells method from
language. Drag is evaluated at every step here, as theirs do it; the line `as shipped` holds it over 2 ms.
"""

import contextlib
import math
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp

from sim.rolling import scenarios as rolling
from sim.rolling.scenarios import roll
from tests.benchmarks.candidate import arguments
from tests.benchmarks.timing import MS, line, median
from tests.rolling.test_against_other_engines import TwoBodies, by_dop853, by_mujoco, gaps

ALLOWED = 1e-3  # of the peak, in pitch and in load
OUR_STEPS = (5e-4, 2.5e-4, 1e-4)
MUJOCO_STEPS = (2.5e-4, 1e-4, 5e-5, 2e-5, 1e-5, 5e-6)  # at 0.5 ms it is unstable: the damping is explicit there
TOLERANCES = (1e-2, 3e-3, 1e-3, 3e-4, 1e-4, 3e-5, 1e-5, 3e-6, 1e-6, 1e-7)


class Counted(TwoBodies):
    """The two bodies, counting how often the force law is asked for."""

    asked_for = 0

    def forces(self, time, q, rate):
        """As the model's, counted."""
        self.asked_for += 1
        return super().forces(time, q, rate)


def by_solver(model, run, method, tolerance):
    """Pitch, leg and load at the rows of the run, from one call of solve_ivp."""
    times = run["time"]
    done = solve_ivp(model.rates, (times[0], times[-1]), model.start(run), method=method, t_eval=times,
                     rtol=tolerance, atol=1e-4 * tolerance)  # fmt: skip
    loads = [model.forces(t, y[:4], y[4:])[4] for t, y in zip(done.t, done.y.T)]
    return np.array([done.y[2], done.y[3], loads])


def coarsest(solve, choices, run, reference):
    """(choice, worst gap) of the first choice that is within what is allowed; nan when none is."""
    for choice in choices:
        with np.errstate(all="ignore"):
            found = solve(choice)
        gap = gaps(dict(zip(("pitch", "leg_angle", "load"), found)), reference)
        worst = max(gap["pitch"], gap["load"])
        if worst < ALLOWED:
            return choice, worst
    return math.nan, worst


@contextlib.contextmanager
def drag_at_every_step():
    """As the model's text has it, without the hold between evaluations."""
    kept, rolling._drag_interval = rolling._drag_interval, lambda scenario: 1e-9
    try:
        yield
    finally:
        rolling._drag_interval = kept


def show(case) -> None:
    """Lines of the table: time of each engine, over ours."""
    steel, ice, law, skater, scenario, asked = args = arguments(case, "stride")
    shipped = median(lambda: roll(*args), 15)
    with drag_at_every_step():
        run = roll(*args)
        model = Counted(steel, ice, law, skater, scenario, asked)
        reference = by_dop853(model, run, tolerance=1e-11)

        def ours_at(step):
            done = roll(steel, ice, law, skater, replace(scenario, time_step_s=step), asked)
            return done["pitch"], done["leg_angle"], done["load"]

        step, worst = coarsest(ours_at, OUR_STEPS, run, reference)
        ours = median(lambda: ours_at(step), 9)
    steps = round(scenario.duration_s / step) + 1
    line("stride, ours", f"{ours * MS:.2f} ms", f"{step * MS:g} ms, {steps} evaluations, off by {worst:.0e}")
    line("stride, ours as shipped", f"{shipped * MS:.2f} ms")
    rivals = [("MuJoCo", lambda dt: by_mujoco(model, run, dt), MUJOCO_STEPS, "target 10; ")]
    for method, target in (("RK45", "target 25; "), ("LSODA", "")):
        rivals.append((method, lambda tol, m=method: by_solver(model, run, m, tol), TOLERANCES, target))
    for name, solve, choices, target in rivals:
        choice, worst = coarsest(solve, choices, run, reference)
        model.asked_for = 0
        seconds = median(lambda s=solve, c=choice: s(c), 2)
        setting = f"{choice * MS:g} ms" if name == "MuJoCo" else f"rtol {choice:g}"
        note = f"{target}{setting}, {model.asked_for // 3} evaluations, {seconds:.2f} s, off by {worst:.0e}"
        line(f"  stride: {name} / ours", f"{seconds / ours:.0f}", note)
