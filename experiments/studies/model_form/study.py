"""Does the order of the candidates survive other defensible physics: one change of the model's form at a time."""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from experiments.analysis.scores import scores
from experiments.analysis.variants import LINE_RADII, gains, static_pairs, statics
from experiments.request.comparison import Request, one_setting, read_request
from experiments.request.fields import Fields
from experiments.request.setting import read_ice
from experiments.run.workers import Progress, Workers
from sim.errors import BladeError
from sim.ice.ice import Ice
from sim.ice.rebound import NO_RISE, RECTANGLE
from sim.measures import STATIC
from sim.trial import Candidate, Setting

KEYS = ("other_ice",)
# fields of the law that each variant changes
VARIANTS = {
    "standard": {},
    "standing contact": {"standing": 1.0},
    "no rebound": {"rebound": NO_RISE},
    "rebound of a rectangle": {"rebound": RECTANGLE, "rebound_factor": 1.0},
    "rigid steel": {"bending": 0.0},
    "melting at 0 degC": {"melting": 0.0},
    "no heat into the steel": {"sink": 0.0},
    "smooth ice": {"rough": 0.0},
    "harder when pressed faster": {"rate": 0.1},
    "rear width a(d)": {"rear_full": 1.0},
    "slip-line pressure": {"slip_line": 1.0},
    "no film": {"film": 0.0},
    "scuff 0": {"scuff": 0.0},
    "scuff 0.04": {"scuff": 0.04},
}
STIFF_BODY = "stiff body from edge to edge"  # of the skater, not of the law
# constants that the other set of ice brings; its hardness and temperature stay those of the request
ICE_CONSTANTS = ("modulus_pa", "viscosity_pa_s", "conductivity_w_mk", "diffusivity_m2_s")


@dataclass(frozen=True)
class Plan:
    """A comparison, and the other set of ice constants that it is repeated with."""

    request: Request
    other_ice: Ice


@dataclass(frozen=True)
class Variant:
    """The candidates under one physics. score: (candidate,); gain: (candidate, pair); tau: Kendall's tau-b of the order
    against the standard's, nan where a score is missing."""

    name: str
    score: np.ndarray
    gain: np.ndarray
    tau: float


@dataclass(frozen=True)
class ModelForm:
    """All variants, the standard first."""

    candidates: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...]
    variants: tuple[Variant, ...]


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError."""
    request, fields = one_setting(read_request(rest)), Fields(own, "")
    plan = Plan(request, read_ice(fields.inner("other_ice")))
    fields.done()
    if not set(request.scheme.weights) <= set(STATIC):
        raise BladeError(
            "weighting: this study needs a weighting of static measures only; choose even, turns_first or another."
        )
    return plan


def run(plan: Plan, workers: Workers, progress: Progress) -> ModelForm:
    """Score and order of the candidates under each physics."""
    request = plan.request
    candidates, pairs = request.candidates, static_pairs(request.pairs)
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    settings = varied_physics(replace(request.settings[0], scenarios={}), plan.other_ice)
    shared = candidates, pairs, radii
    parts = workers.map(under_other_physics, list(settings.values()), shared, progress)
    rows = [scores(part["values"][None], part["base"][None], request.scheme)[0] for part in parts]
    variants = tuple(
        Variant(name, score, part["gain"], order_tau(rows[0], score))
        for name, score, part in zip(settings, rows, parts)
    )
    return ModelForm(tuple(x.name for x in candidates), pairs, variants)


def varied_physics(setting: Setting, other_ice: Ice) -> dict[str, Setting]:
    """The setting under each variant, by name."""
    out = {name: replace(setting, law=setting.law._replace(**change)) for name, change in VARIANTS.items()}
    out[STIFF_BODY] = replace(setting, skater=replace(setting.skater, stiff_body=True))
    constants = {key: getattr(other_ice, key) for key in ICE_CONSTANTS}
    return out | {f"ice constants {other_ice.name}": replace(setting, ice=replace(setting.ice, **constants))}


def under_other_physics(shared: tuple[tuple[Candidate, ...], tuple, np.ndarray], setting: Setting) -> dict:
    """Measures of candidates and reference, and frontier gains, under one setting. What a worker does."""
    candidates, pairs, radii = shared
    values = np.array([statics(x, setting, STATIC) for x in candidates])
    table = {m: values[:, j] for j, m in enumerate(STATIC)}
    # an upright standing blade does not plough: a pair with a cost of nothing has no gain
    gain = gains(candidates, table, pairs, radii, setting)
    return {"values": values, "base": statics(setting.reference, setting, STATIC), "gain": gain}


def order_tau(standard: np.ndarray, score: np.ndarray) -> float:
    """Kendall's tau-b between two scores; nan when one is missing."""
    if not (np.isfinite(standard) & np.isfinite(score)).all():
        return math.nan
    return float(stats.kendalltau(standard, score).statistic)
