"""How sure: all candidates under many draws of the uncertain inputs, with common random numbers."""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats
from scipy.stats import qmc

from experiments.cases import Request
from experiments.crew import HERE, Crew
from experiments.fields import Fields, number
from experiments.scoring import Weighting, contributions
from experiments.variants import (
    GRINDING,
    INPUTS,
    TRACE,
    gains,
    static_pairs,
    statics,
    varied_candidate,
    varied_setting,
)
from sim.errors import BladeError
from sim.measures import STATIC
from sim.quantities import parse_quantity

LINE_RADII = 33
PORTION = 4  # draws that a worker takes at once
LEVELS = (0.05, 0.5, 0.95)
MOST_DRAWN = 2_000_000  # blades in all draws: about half a gigabyte of measures
MOST_COMPARED = 200_000_000  # pairs of blades in all draws
MOST_BLADES = 2_000  # what Sobol points have dimensions for


@dataclass(frozen=True)
class Input:
    """An uncertain input: its distribution (scipy frozen), and why it is that wide."""

    name: str
    law: object
    why: str


@dataclass(frozen=True)
class Draws:
    """All draws of one setting. candidates, measures, pairs and inputs name the axes.

    points: (draw, column) numbers of the inputs, columns named in `columns`; values: (draw, candidate, measure);
    references: (draw, measure); gain: (draw, candidate, pair); score: (draw, candidate). nan: failed.
    """

    candidates: tuple[str, ...]
    columns: tuple[str, ...]
    pairs: tuple[tuple[str, str], ...]
    points: np.ndarray
    values: np.ndarray
    references: np.ndarray
    gain: np.ndarray
    score: np.ndarray

    @property
    def failed(self) -> np.ndarray:
        """(draw,) whether a measure in this draw could not be had."""
        return np.isnan(self.values).any(axis=(1, 2)) | np.isnan(self.references).any(axis=1)


def read_inputs(fields: Fields) -> tuple[Input, ...]:
    """The uncertain inputs of a config. Raises BladeError for an unknown input or a distribution that is none."""
    fields.text("name", 40)
    inner = fields.inner("inputs")
    out = []
    for name in inner.mapping:
        Fields({"input": name}, inner.where).choice("input", tuple(INPUTS))
        entry, unit = inner.inner(name), INPUTS[name][0]
        kind, why = entry.choice("distribution", ("normal", "uniform")), entry.text("why")
        low, high = ("mean", "sd") if kind == "normal" else ("low", "high")
        a, b = _value(entry, low, unit), _value(entry, high, unit)
        entry.done()
        if not (b > 0 if kind == "normal" else b > a):
            raise BladeError(f"{entry.where}: {high} must be above {'0' if kind == 'normal' else low}.")
        out.append(Input(name, stats.norm(a, b) if kind == "normal" else stats.uniform(a, b - a), why))
    if not out:
        raise BladeError(f"{inner.where}: no uncertain input is named; see configs/uncertainty/shop.yaml.")
    fields.done()
    return tuple(out)


def fitting(draws: int, blades: int, key: str = "draws") -> int:
    """The number of draws. Raises BladeError when what they make of so many blades would not fit in memory."""
    most = min(MOST_DRAWN // blades, MOST_COMPARED // blades**2)
    if blades > MOST_BLADES:
        raise BladeError(f"candidates: {blades} are too many to draw for; list at most {MOST_BLADES}.")
    if draws > most:
        raise BladeError(f"{key}: {draws} draws for {blades} blades do not fit in memory; use at most {most} draws.")
    return draws


def _value(entry: Fields, key: str, unit: str) -> float:
    if unit in ("1", "K"):
        return number(entry.raw(key), -1e6, 1e6, entry.path(key))
    return parse_quantity(entry.raw(key), unit, entry.path(key))


def columns_of(inputs, candidates) -> list[tuple[str, int]]:
    """(input, candidate) of every column of the points; -1: shared by all. Grinding errors are each blade's own.

    A measured blade brings the unknowns of its trace instead: shared, since the reference may be that blade too.
    """
    shared = [(i.name, -1) for i in inputs if i.name not in GRINDING]
    ground = [k for k, candidate in enumerate(candidates) if candidate.reading is None]
    unknowns = max([0, *(c.reading.unknowns for c in candidates if c.reading is not None)])
    shared += [(f"{TRACE}{j}", -1) for j in range(unknowns)]
    return shared + [(i.name, k) for i in inputs if i.name in GRINDING for k in ground]


def sample(inputs, columns, draws: int, seed: int) -> np.ndarray:
    """(draw, column) inputs: scrambled Sobol points (Owen 1998) where draws is a power of 2, else a Latin hypercube."""
    power = draws & (draws - 1) == 0
    maker = qmc.Sobol if power else qmc.LatinHypercube
    cube = maker(len(columns), rng=np.random.default_rng(seed)).random(draws)
    laws = {name: stats.norm() for name, _ in columns if name.startswith(TRACE)} | {i.name: i.law for i in inputs}
    # the open interval keeps normal draws finite
    cube = np.clip(cube, 1e-9, 1 - 1e-9)
    return np.column_stack([laws[name].ppf(cube[:, j]) for j, (name, _) in enumerate(columns)])


def draw(shared, points) -> list[np.ndarray]:
    """A portion of draws: values (draw, candidate, measure), references (draw, measure), gains (draw, candidate, pair).

    What a worker does; nan for an input beyond what can be built: a failed draw, counted and shown.
    """
    candidates, setting, columns, pairs, radii = shared
    values = np.full((len(points), len(candidates), len(STATIC)), math.nan)
    references = np.full((len(points), len(STATIC)), math.nan)
    gain = np.full((len(points), len(candidates), len(pairs)), math.nan)
    for d, point in enumerate(points):
        common = {name: float(x) for (name, k), x in zip(columns, point) if k < 0}
        try:
            here = varied_setting(setting, common)
            made = [
                varied_candidate(c, common | {name: float(x) for (name, k), x in zip(columns, point) if k == i})
                for i, c in enumerate(candidates)
            ]
        except BladeError:
            continue
        values[d] = [statics(c, here, STATIC) for c in made]
        references[d] = statics(here.reference, here, STATIC)
        table = {name: values[d, :, j] for j, name in enumerate(STATIC)}
        gain[d] = gains(made, table, pairs, radii, here)
    return [values, references, gain]


def run_draws(
    request: Request, inputs, draws: int, seed: int, crew: Crew = HERE, on_chunk=lambda done, total: None, points=None
) -> Draws:
    """Evaluate all draws for the first setting of a request. The numbers do not depend on who computes them."""
    setting = request.settings[0]
    candidates = tuple(case.candidate for case in request.cases if case.setting is setting)
    columns = columns_of(inputs, candidates)
    points = sample(inputs, columns, draws, seed) if points is None else points
    pairs = static_pairs(request.pairs)
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    shared = candidates, replace(setting, scenarios={}), tuple(columns), pairs, radii
    portions = [points[i : i + PORTION] for i in range(0, len(points), PORTION)]
    values, references, gain = map(np.concatenate, zip(*crew.map(draw, portions, shared, on_chunk)))
    names = tuple(c.name for c in candidates)
    labels = tuple(name if k < 0 else f"{name} of {names[k]}" for name, k in columns)
    return Draws(names, labels, pairs, points, values, references, gain, scores(values, references, request.scheme))


def scores(values, references, scheme: Weighting) -> np.ndarray:
    """Score of every candidate in every draw, (draw, candidate); nan when the weighting asks for a rolled measure."""
    out = np.full(values.shape[:2], math.nan)
    if not set(scheme.weights) <= set(STATIC):
        return out
    for i, (block, base) in enumerate(zip(values, references)):
        reference = dict(zip(STATIC, base))
        for k, row in enumerate(block):
            out[i, k] = sum(contributions(dict(zip(STATIC, row)), reference, scheme).values())
    return out


def intervals(samples: np.ndarray) -> np.ndarray:
    """Quantiles 5, 50, 95 % along the first axis, over draws that did not fail."""
    nothing = np.isnan(samples).all(axis=0)
    out = np.nanquantile(np.where(nothing, 0.0, samples), LEVELS, axis=0)
    return np.where(nothing, np.nan, out)


def beats(samples: np.ndarray, better: str) -> np.ndarray:
    """(n, n) share of draws in which row beats column; a tie counts half; draws with a failure are left out."""
    good = samples[~np.isnan(samples).any(axis=1)]
    if not len(good):
        return np.full((samples.shape[1],) * 2, math.nan)
    signed = good if better == "higher" else -good
    more = (signed[:, :, None] > signed[:, None, :]).mean(axis=0)
    ties = (signed[:, :, None] == signed[:, None, :]).mean(axis=0)
    return more + 0.5 * ties


def ranks(samples: np.ndarray, better: str) -> np.ndarray:
    """(draw, candidate) rank, 1 is best, equals share the better place, in draws without a failure."""
    good = samples[~np.isnan(samples).any(axis=1)]
    return stats.rankdata(-good if better == "higher" else good, axis=1, method="min")
