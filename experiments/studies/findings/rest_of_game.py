"""What a short and a long single radius give in starts, stops, fast turns and from edge to edge, draw by draw."""

import math
from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.draws import run_draws
from experiments.analysis.variants import single_radius
from experiments.request.comparison import Case, Request
from experiments.request.fields import Fields
from experiments.request.uncertainty import Sampling
from experiments.run.workers import Progress, Workers
from sim.errors import BladeError
from sim.ice.scrape import tightest_clean_radius
from sim.measures import STATIC
from sim.skater.body import GRAVITY, steered_pull
from sim.trial import Candidate, Setting, Trial

KEYS = ("short_radius", "long_radius", "quick_enough")
SHORT_BLADE, LONG_BLADE, MIDDLE_BLADE, TIGHT_BLADE, WIDE_BLADE = range(5)  # places of the blades among the draws
TIGHT_HOLLOW, WIDE_HOLLOW = 0.75, 1.5  # times the reference's own: what hollow does, beside what the curve does


@dataclass(frozen=True)
class Asked:
    """Radii of the two blades, m, and a time between edges that is quick enough for anyone, s (an opinion)."""

    short_m: float
    long_m: float
    quick_enough_s: float


@dataclass(frozen=True)
class RestOfGame:
    """values: (draw, blade, measure) of short, long, the reference, and it with a tighter and a wider hollow; stiff:
    (draw, blade) time from edge to edge of the first three when the body rolls as one stiff piece. push_m_s: speed that
    one start step would give if the ice took nothing, nan where no start is rolled; fast_m_s: speed from which the
    long blade, too, changes edges within the time that is enough."""

    asked: Asked
    values: np.ndarray
    stiff: np.ndarray
    push_m_s: float
    fast_m_s: float

    def of(self, name: str, blade: int) -> np.ndarray:
        """(draw,) a measure of one of the blades."""
        return self.values[:, blade, STATIC.index(name)]

    def ratio(self, name: str, one: int, other: int) -> np.ndarray:
        """(draw,) a measure of one blade over another's; nan where either is missing."""
        return self.of(name, one) / self.of(name, other)


def read_asked(fields: Fields) -> Asked:
    """The keys of KEYS. Raises BladeError for radii out of order or a time that is none."""
    short, long = fields.radius("short_radius"), fields.radius("long_radius")
    enough = fields.quantity("quick_enough", "s")
    if not short < long < math.inf:
        raise BladeError("short_radius: it must be shorter than long_radius, and neither flat.")
    if not 0.05 <= enough <= 5:
        raise BladeError(f"quick_enough: {enough:g} s is no time between edges; use 0.05 s to 5 s.")
    return Asked(short, long, enough)


def play(request: Request, asked: Asked, sampling: Sampling, workers: Workers, progress: Progress) -> RestOfGame:
    """All draws of the five blades. Raises BladeError when the reference cannot carry the start that is rolled."""
    setting = request.settings[0]
    base, ends = setting.reference, (asked.short_m, asked.long_m)
    blades = [replace(single_radius(base, r), name=name) for r, name in zip(ends, ("short", "long"))]
    blades += [base, *(_hollowed(base, factor) for factor in (TIGHT_HOLLOW, WIDE_HOLLOW))]
    values = _draws(request, setting, blades, sampling, workers, progress)
    stiff = replace(setting, skater=replace(setting.skater, stiff_body=True))
    times = _draws(request, stiff, blades[:3], sampling, workers, progress)[:, :, STATIC.index("edge_change_time")]
    return RestOfGame(asked, values, times, _push(setting), _fast(setting, blades[LONG_BLADE], asked.quick_enough_s))


def _hollowed(base: Candidate, factor: float) -> Candidate:
    section = replace(base.section, hollow_m=base.section.hollow_m * factor)
    return replace(base, name=f"hollow x {factor:g}", section=section)


def _draws(
    request: Request, setting: Setting, blades: list[Candidate], sampling: Sampling, workers: Workers,
    progress: Progress
) -> np.ndarray:  # fmt: skip
    """(draw, blade, measure) of blades under the same draws of everything that they share."""
    cases = tuple(Case(i, blade, setting) for i, blade in enumerate(blades))
    mine = replace(request, cases=cases, settings=(setting,), pairs=())
    return run_draws(mine, sampling.inputs, sampling.draws, sampling.seed, workers, progress).values


def _push(setting: Setting) -> float:
    """Forward speed of one rolled start step on the reference, m/s: sin(delta)/m times the integral of N sin(lean)."""
    if "start" not in setting.scenarios:
        return math.nan
    run = Trial(setting.reference, setting).finished("start")
    across = np.trapezoid(run["load"] * np.sin(run["lean"]), run["time"])
    return float(across / setting.skater.mass_kg * math.sin(setting.states["start_push"].turned_out_rad))


def _fast(setting: Setting, blade: Candidate, enough_s: float) -> float:
    """Speed from which a blade changes edges within a time, m/s: the formula of `edge_change_time` solved for it."""
    trial, state, man = Trial(blade, setting), setting.states["edge_change"], setting.skater
    clean = tightest_clean_radius(trial.steel, trial.patch("edge_change"))
    up, lean = man.ankle_height_m + man.body_height_m, state.lean_rad
    asks = GRAVITY * math.sin(lean) + up * lean * (math.pi / enough_s) ** 2
    return math.sqrt(asks / (steered_pull(up, lean, 1.0, clean) * math.cos(lean)))
