"""Pairs of recipes that differ in one thing, held against each other at several stances of the skater."""

import math
from dataclasses import dataclass, replace

import numpy as np

from experiments.analysis.draws import run_draws
from experiments.analysis.variants import LINE_OF, varied_setting
from experiments.request.comparison import Case, Request, on_steel
from experiments.request.fields import Fields
from experiments.request.uncertainty import Sampling
from experiments.run.workers import Progress, Workers
from sim.errors import BladeError
from sim.measures import STATIC

SHORT_ENDS, LONG_ENDS, PLAIN_HEEL, EASED_HEEL = (
    "mid-flat short ends", "mid-flat long ends", "rear-flat", "rear-flat eased",
)  # fmt: skip
NEEDED = (SHORT_ENDS, LONG_ENDS, PLAIN_HEEL, EASED_HEEL)
SHIFTED_WITH_STANCE = tuple(dict.fromkeys(f"{line}_line_shift" for line in LINE_OF.values()))
MOST_STANDS = 5


@dataclass(frozen=True)
class Paired:
    """stands: words of each stance; values: (stance, draw, blade of NEEDED, static measure), nan failed."""

    stands: tuple[str, ...]
    values: np.ndarray

    def log_ratio(self, stance: int, name: str, one: str, other: str) -> np.ndarray:
        """(draw,) log of a measure of one blade over another's; nan where either is missing or not above 0."""
        pair = self.values[stance][:, [NEEDED.index(one), NEEDED.index(other)], STATIC.index(name)]
        usable = (np.isfinite(pair) & (pair > 0)).all(axis=1)
        return np.where(usable, np.log(np.where(usable, pair[:, 0], 1.0) / np.where(usable, pair[:, 1], 1.0)), math.nan)


def read_stands(fields: Fields) -> dict[str, float]:
    """`stands`: words to shifts of all load lines, m. Raises BladeError."""
    inner = fields.inner("stands")
    if not 1 <= len(inner.mapping) <= MOST_STANDS:
        raise BladeError(f"{inner.where}: name 1 to {MOST_STANDS} stances.")
    return {words: inner.quantity(words, "m") for words in inner.mapping}


def requests_at(request: Request, stands: dict[str, float]) -> tuple[Request, ...]:
    """The blades of NEEDED under each stance, nothing rolled.

    Raises BladeError for a stance off the steel, or a missing blade.
    """
    blades = {case.candidate.name: case.candidate for case in request.cases}
    missing = [name for name in NEEDED if name not in blades]
    if missing:
        raise BladeError(f"candidates: the findings compare {', '.join(NEEDED)}; {missing[0]!r} is missing.")
    setting, out = replace(request.settings[0], scenarios={}), []
    for shift in stands.values():
        there = varied_setting(setting, dict.fromkeys(SHIFTED_WITH_STANCE, shift))
        cases = tuple(Case(i, blades[name], there) for i, name in enumerate(NEEDED))
        for case in cases:
            on_steel(case)
        out.append(replace(request, cases=cases, settings=(there,), pairs=()))
    return tuple(out)


def hold_against(
    requests: tuple[Request, ...], stands: tuple[str, ...], sampling: Sampling, workers: Workers, progress: Progress
) -> Paired:
    """All draws at each stance; the same draws at all of them."""
    values = [
        run_draws(one, sampling.inputs, sampling.draws, sampling.seed, workers, progress).values for one in requests
    ]
    return Paired(stands, np.array(values))
