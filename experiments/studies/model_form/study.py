"""Does the order of the candidates survive other defensible physics: one change of the model's form at a time."""

import math
from dataclasses import dataclass, replace

import numpy as np
import scipy

from experiments.analysis.draws import beats, checked_draw_count, columns_of, drawn, sample
from experiments.analysis.judging.order import tie_groups
from experiments.analysis.scores import scores
from experiments.analysis.variants import LINE_RADII, gains, static_pairs, statics
from experiments.request.comparison import Request, one_setting, read_request
from experiments.request.fields import Fields
from experiments.request.setting import read_ice
from experiments.request.uncertainty import Sampling, read_sampling
from experiments.run.workers import Progress, Workers
from sim.errors import BladeError
from sim.ice.ice import Ice
from sim.ice.rebound import NO_RISE, RECTANGLE
from sim.measures import STATIC
from sim.trial import Candidate, Setting

KEYS = ("other_ice", "other_hardness", "other_mass", "uncertainty", "draws", "seed")
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
LEAST_MASS_KG, MOST_MASS_KG = 20.0, 200.0  # of the other skater


@dataclass(frozen=True)
class Others:
    """What else than the law differs in a variant: a set of ice constants, how much harder and softer the ice is
    (a share), and the mass of another skater, kg."""

    ice: Ice
    hardness_share: float
    mass_kg: float


@dataclass(frozen=True)
class Plan:
    """A comparison, what it is repeated with, and how the rest is drawn for its tie groups."""

    request: Request
    others: Others
    sampling: Sampling


@dataclass(frozen=True)
class Variant:
    """The candidates under one physics. score: (candidate,) nominal; gain: (candidate, pair) nominal; tau: Kendall's
    tau-b of the nominal order against the standard's, nan where a score is missing; groups: places of the candidates in
    tie groups, best first, from draws of all else that is unknown; turned: pairs of candidates of which one beats the
    other in nine of ten draws under the standard and is beaten as often here."""

    name: str
    score: np.ndarray
    gain: np.ndarray
    tau: float
    groups: tuple[tuple[int, ...], ...]
    turned: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class ModelForm:
    """All variants, the standard first."""

    candidates: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...]
    variants: tuple[Variant, ...]


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError."""
    request, fields = one_setting(read_request(rest)), Fields(own, "")
    plan = checked_plan(request, read_others(fields), read_sampling(fields, 16))
    fields.done()
    return plan


def read_others(fields: Fields) -> Others:
    """`other_ice`, `other_hardness` and `other_mass` of a config. Raises BladeError for what is no change."""
    mass = fields.quantity("other_mass", "kg")
    if not LEAST_MASS_KG <= mass <= MOST_MASS_KG:
        raise BladeError(f"other_mass: {mass:g} kg; use {LEAST_MASS_KG:g} kg to {MOST_MASS_KG:g} kg.")
    return Others(read_ice(fields.inner("other_ice")), fields.number("other_hardness", 0.01, 0.9), mass)


def checked_plan(request: Request, others: Others, sampling: Sampling) -> Plan:
    """The plan. Raises BladeError for a weighting of rolled measures, or for more draws than fit."""
    if not set(request.scheme.weights) <= set(STATIC):
        raise BladeError(
            "weighting: this study needs a weighting of static measures only; choose even, turns_first or another."
        )
    checked_draw_count(sampling.draws, len(request.cases))
    return Plan(request, others, sampling)


def run(plan: Plan, workers: Workers, progress: Progress) -> ModelForm:
    """Every candidate under every variant: at nominal values, and in draws that all variants share."""
    request = plan.request
    pairs, candidates = static_pairs(request.pairs), request.candidates
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    setting = replace(request.settings[0], scenarios={})
    settings = varied_physics(setting, plan.others)
    parts = workers.map(under_other_physics, list(settings.values()), (candidates, pairs, radii), progress)
    rows = [scores(part["values"][None], part["base"][None], request.scheme)[0] for part in parts]
    columns = tuple(columns_of(plan.sampling.inputs, candidates))
    points = sample(plan.sampling.inputs, columns, plan.sampling.draws, plan.sampling.seed)
    shared = candidates, setting, columns, points, plan.others, request.scheme
    samples = workers.map(drawn_scores, list(settings), shared, progress)
    first = beats(samples[0], "higher")
    variants = tuple(
        Variant(
            name, score, part["gain"], order_tau(rows[0], score),
            tuple(tuple(group) for group in tie_groups(those, "higher", request.opinions)),
            turned_round(first, beats(those, "higher"), request.opinions.beaten_from),
        )
        for name, score, part, those in zip(settings, rows, parts, samples)
    )  # fmt: skip
    return ModelForm(tuple(x.name for x in candidates), pairs, variants)


def turned_round(before: np.ndarray, after: np.ndarray, sure: float) -> tuple[tuple[int, int], ...]:
    """Pairs (i, j) of which i surely beats j before, and j surely beats i after.

    before, after: (n, n) share of draws in which the row beats the column.
    """
    return tuple((int(i), int(j)) for i, j in np.argwhere((before >= sure) & (after.T >= sure)))


def varied_physics(setting: Setting, others: Others, stated: Setting | None = None) -> dict[str, Setting]:
    """The setting under each variant, by name. What a variant sets, it sets whatever was drawn.

    stated: the setting that was drawn about, where this one is a draw: harder is harder than stated.
    """
    hardness = (stated or setting).ice.hardness_factor
    out = {name: replace(setting, law=setting.law._replace(**change)) for name, change in VARIANTS.items()}
    out[STIFF_BODY] = replace(setting, skater=replace(setting.skater, stiff_body=True))
    constants = {key: getattr(others.ice, key) for key in ICE_CONSTANTS}
    out[f"ice constants {others.ice.name.replace('_', ' ')}"] = replace(setting, ice=replace(setting.ice, **constants))
    for words, factor in (("harder", 1 + others.hardness_share), ("softer", 1 - others.hardness_share)):
        ice = replace(setting.ice, hardness_factor=hardness * factor)
        out[f"ice {100 * others.hardness_share:.0f} % {words}"] = replace(setting, ice=ice)
    skater = replace(setting.skater, mass_kg=others.mass_kg)
    return out | {f"skater of {others.mass_kg:g} kg": replace(setting, skater=skater)}


def under_other_physics(shared: tuple[tuple[Candidate, ...], tuple, np.ndarray], setting: Setting) -> dict:
    """Measures of candidates and reference, and frontier gains, under one setting. What a worker does."""
    candidates, pairs, radii = shared
    values = np.array([statics(x, setting, STATIC) for x in candidates])
    table = {m: values[:, j] for j, m in enumerate(STATIC)}
    # an upright standing blade does not plough: a pair with a cost of nothing has no gain
    gain = gains(candidates, table, pairs, radii, setting)
    return {"values": values, "base": statics(setting.reference, setting, STATIC), "gain": gain}


def drawn_scores(shared: tuple, variant: str) -> np.ndarray:
    """(draw, candidate) scores of all draws under one variant, nan where a draw cannot be. What a worker does."""
    candidates, setting, columns, points, others, scheme = shared
    values = np.full((len(points), len(candidates), len(STATIC)), math.nan)
    base = np.full((len(points), len(STATIC)), math.nan)
    weighed = [STATIC.index(name) for name in scheme.weights]
    names = [STATIC[j] for j in weighed]
    for d, point in enumerate(points):
        try:
            there, blades = drawn(candidates, setting, columns, point)
        except BladeError:
            continue
        there = varied_physics(there, others, setting)[variant]
        values[d][:, weighed] = [statics(blade, there, names) for blade in blades]
        base[d, weighed] = statics(there.reference, there, names)
    return scores(values, base, scheme)


def order_tau(standard: np.ndarray, score: np.ndarray) -> float:
    """Kendall's tau-b between two scores; nan when one is missing."""
    if not (np.isfinite(standard) & np.isfinite(score)).all():
        return math.nan
    return float(scipy.stats.kendalltau(standard, score).statistic)
