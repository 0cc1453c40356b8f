"""Uncertainty: all candidates under many draws of the uncertain inputs, with common random numbers."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import scipy

from experiments.analysis.scores import scores
from experiments.analysis.variants import LINE_RADII, drawn_setting, gains, static_pairs, statics, varied_candidate
from experiments.request.comparison import Request
from experiments.request.uncertainty import GRINDING, TRACE, Input, Normal
from experiments.run.workers import HERE, Progress, Workers, silent
from sim.errors import BladeError
from sim.measures import REGISTRY, STATIC
from sim.trial import Candidate, Setting

DRAWS_TOGETHER = 4  # draws that a worker takes at once
QUANTILES = (0.05, 0.5, 0.95)
MOST_DRAWN = 2_000_000  # blades in all draws: about half a gigabyte of measures
MOST_COMPARED = 200_000_000  # pairs of blades in all draws
MOST_BLADES = 2_000  # what Sobol points have dimensions for


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
        """(draw,) whether a measure is missing in this draw."""
        return np.isnan(self.values).any(axis=(1, 2)) | np.isnan(self.references).any(axis=1)


def checked_draw_count(draws: int, blades: int, key: str = "draws") -> int:
    """The number of draws. Raises BladeError when what they make of so many blades would not fit in memory."""
    most = min(MOST_DRAWN // blades, MOST_COMPARED // blades**2)
    if blades > MOST_BLADES:
        raise BladeError(f"candidates: {blades} are too many to draw for; list at most {MOST_BLADES}.")
    if draws > most:
        raise BladeError(f"{key}: {draws} draws for {blades} blades do not fit in memory; use at most {most} draws.")
    return draws


def columns_of(inputs: Sequence[Input], candidates: Sequence[Candidate]) -> list[tuple[str, int]]:
    """(input, candidate) of every column of the points; -1: shared by all. Grinding errors are each blade's own.

    A measured blade brings the unknowns of its trace instead: shared, since the reference may be that blade too.
    """
    shared = [(i.name, -1) for i in inputs if i.name not in GRINDING]
    ground = [k for k, candidate in enumerate(candidates) if candidate.reading is None]
    unknowns = max([0, *(c.reading.unknowns for c in candidates if c.reading is not None)])
    shared += [(f"{TRACE}{j}", -1) for j in range(unknowns)]
    return shared + [(i.name, k) for i in inputs if i.name in GRINDING for k in ground]


def sample(inputs: Sequence[Input], columns: Sequence[tuple[str, int]], draws: int, seed: int) -> np.ndarray:
    """(draw, column) inputs: scrambled Sobol points (Owen 1998) where draws is a power of 2, else a Latin hypercube."""
    power = draws & (draws - 1) == 0
    maker = scipy.stats.qmc.Sobol if power else scipy.stats.qmc.LatinHypercube
    cube = maker(len(columns), rng=np.random.default_rng(seed)).random(draws)
    laws = {name: Normal(0.0, 1.0) for name, _ in columns if name.startswith(TRACE)} | {i.name: i.law for i in inputs}
    # the open interval keeps normal draws finite
    cube = np.clip(cube, 1e-9, 1 - 1e-9)
    return np.column_stack([laws[name].ppf(cube[:, j]) for j, (name, _) in enumerate(columns)])


class Shared(NamedTuple):
    """What all portions of draws share. setting: without movements; radii: of the single-radius line, m."""

    candidates: tuple[Candidate, ...]
    setting: Setting
    columns: tuple[tuple[str, int], ...]
    pairs: tuple[tuple[str, str], ...]
    radii: np.ndarray


def evaluate_draws(shared: Shared, points: np.ndarray) -> list[np.ndarray]:
    """A portion of draws: values (draw, candidate, measure), references (draw, measure), gains (draw, candidate, pair).

    What a worker does; nan for an input beyond what can be built: a failed draw, counted and shown.
    """
    count = len(shared.candidates)
    values = np.full((len(points), count, len(STATIC)), math.nan)
    references = np.full((len(points), len(STATIC)), math.nan)
    gain = np.full((len(points), count, len(shared.pairs)), math.nan)
    for d, point in enumerate(points):
        try:
            setting, blades = drawn(shared.candidates, shared.setting, shared.columns, point)
        except BladeError:
            continue
        values[d] = [statics(blade, setting, STATIC) for blade in blades]
        references[d] = statics(setting.reference, setting, STATIC)
        table = {name: values[d, :, j] for j, name in enumerate(STATIC)}
        gain[d] = gains(blades, table, shared.pairs, shared.radii, setting)
    return [values, references, gain]


def drawn(
    candidates: Sequence[Candidate], setting: Setting, columns: Sequence[tuple[str, int]], point: np.ndarray
) -> tuple[Setting, list[Candidate]]:
    """(setting, blades) of one draw: what all share, and each blade's own errors of grinding.

    columns: (input, candidate) of each number of the (column,) point, as `columns_of`. Raises BladeError for what
    cannot be built.
    """
    own: list[dict[str, float]] = [{} for _ in candidates]
    common: dict[str, float] = {}
    for (name, owner), x in zip(columns, point):
        (common if owner < 0 else own[owner])[name] = float(x)
    there = drawn_setting(setting, common)
    return there, [varied_candidate(candidate, common | mine) for candidate, mine in zip(candidates, own)]


def run_draws(
    request: Request, inputs: Sequence[Input], draws: int, seed: int, workers: Workers = HERE,
    progress: Progress = silent, points: np.ndarray | None = None,
) -> Draws:  # fmt: skip
    """Evaluate all draws for the first setting of a request. The numbers do not depend on who computes them.

    points: (draw, column) inputs to use instead of `draws` sampled ones.
    """
    candidates = request.candidates
    columns, pairs = columns_of(inputs, candidates), static_pairs(request.pairs)
    points = sample(inputs, columns, draws, seed) if points is None else points
    radii = np.geomspace(request.line_m[0], request.line_m[-1], LINE_RADII)
    shared = Shared(candidates, replace(request.settings[0], scenarios={}), tuple(columns), pairs, radii)
    portions = [points[i : i + DRAWS_TOGETHER] for i in range(0, len(points), DRAWS_TOGETHER)]
    values, references, gain = map(np.concatenate, zip(*workers.map(evaluate_draws, portions, shared, progress)))
    names = tuple(candidate.name for candidate in candidates)
    labels = tuple(name if owner < 0 else f"{name} of {names[owner]}" for name, owner in columns)
    return Draws(names, labels, pairs, points, values, references, gain, scores(values, references, request.scheme))


def intervals(samples: np.ndarray) -> np.ndarray:
    """Quantiles 5, 50, 95 % along the first axis, over draws that did not fail."""
    nothing = np.isnan(samples).all(axis=0)
    out = np.nanquantile(np.where(nothing, 0.0, samples), QUANTILES, axis=0)
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
    return scipy.stats.rankdata(-good if better == "higher" else good, axis=1, method="min")


def ratio_samples(draws: Draws, name: str) -> np.ndarray:
    """(draw, candidate) ratios of a measure to the reference of the same draw; differences where it can change sign."""
    j = STATIC.index(name)
    values, base = draws.values[:, :, j], draws.references[:, j, None]
    if REGISTRY[name].signed:
        return values - base
    return values / np.where(base == 0, np.nan, base)  # a ratio to nothing (no scrape at all) is none
