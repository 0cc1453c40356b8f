"""One row a case: what a worker computes of it; a failed case is a row with a reason."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from experiments.analysis.frontier import Gain
from experiments.analysis.variants import single_radius, statics
from experiments.request.comparison import Case
from sim.errors import BladeError
from sim.ice.contact import gap, pressed
from sim.measures import REGISTRY, evaluate
from sim.rolling.loop import COLUMNS
from sim.trial import Candidate, Setting, Trial

CURVE_POINTS = 281
CONTACT_POINTS = 241
LOST_REASON = "the computation broke off: it killed every worker that took it (out of memory?)"


@dataclass(eq=False)
class Row:
    """All that came of one case. curve, contacts[state], series[scenario]: named 1-D arrays; SI; empty unless all is
    kept. radius_m: of the zone at the heel, by which single radii are put in order.

    score, its parts and the frontier gains are filled in when the whole run is known.
    """

    index: int
    candidate: str
    family: str
    skater: str
    values: dict[str, float]
    reasons: dict[str, str]
    outcomes: dict[str, str]
    curve: dict[str, np.ndarray]
    contacts: dict[str, dict[str, np.ndarray]]
    series: dict[str, dict[str, np.ndarray]]
    radius_m: float = math.nan
    score: float = math.nan
    parts: dict[str, float] = field(default_factory=dict)
    gains: dict[tuple[str, str], Gain] = field(default_factory=dict)

    @property
    def reason(self) -> str:
        """Why measures are missing: each distinct reason once; empty when none is."""
        return " | ".join(dict.fromkeys(self.reasons.values()))


@dataclass
class Results:
    """Rows in the order of the request; the single-radius line, line[skater][measure] over line_radii; the reference
    blade itself under each skater; and the measures that were asked for."""

    rows: list[Row]
    line_radii: np.ndarray
    line: dict[str, dict[str, np.ndarray]]
    references: dict[str, Row]
    measures: tuple[str, ...] = tuple(REGISTRY)

    @property
    def answered(self) -> bool:
        """Whether any blade has any measure."""
        return any(len(row.reasons) < len(row.values) for row in self.rows)


def run_case(candidate: Candidate, setting: Setting, measures: Sequence[str], full: bool) -> dict:
    """Everything about one case; without curve, contact and series unless `full`. A refusal becomes reasons."""
    trial = Trial(candidate, setting)
    values, reasons = evaluate(trial, measures)
    outcomes = {name: _outcome(trial, name) for name in setting.scenarios}
    answer = {"values": np.array([values[name] for name in measures]), "reasons": reasons, "outcomes": outcomes,
              "curve": {}, "contacts": {}, "series": {}}  # fmt: skip
    if not full:
        return answer
    answer["curve"] = _curve(candidate)
    for name in [n for n, what in outcomes.items() if not what.startswith("refused")]:
        roll = trial.roll(name)
        answer["series"][name] = {c: roll[c] for c in COLUMNS}
    for name in setting.states:
        try:
            answer["contacts"][name] = _contact(trial, name)
        except BladeError:
            continue  # its measures already carry the reason
    return answer


def _outcome(trial: Trial, name: str) -> str:
    try:
        return trial.roll(name).outcome
    except BladeError as refusal:
        return f"refused: {refusal}"


def _curve(candidate: Candidate) -> dict[str, np.ndarray]:
    arc = np.linspace(0.0, candidate.curve.length_m, CURVE_POINTS)
    x, z, angle, curvature = candidate.curve.at(arc)
    return {"arc_length": arc, "x": x, "z": z, "tangent_angle": angle, "curvature": curvature}


def _contact(trial: Trial, name: str) -> dict[str, np.ndarray]:
    """Pressure, loaded width and penetration along the immersed arc of a static state."""
    patch, ice, steel, law = trial.patch(name), trial.ice_at(name), trial.steel, trial.law_at(name)
    x = np.linspace(patch.tail, patch.front, CONTACT_POINTS)
    n = np.array([patch.depth - gap(steel, patch, v) for v in x])
    both = np.array([pressed(steel, ice, law, patch, v, k) for v, k in zip(x, n)])
    return {"x": x, "penetration": n, "pressure": both[:, 0], "loaded_width": both[:, 1]}


class Shared(NamedTuple):
    """What all tasks of a comparison share. on_line: measures of the single-radius line."""

    settings: tuple[Setting, ...]
    measures: tuple[str, ...]
    on_line: tuple[str, ...]
    full: bool


def work(shared: Shared, item: tuple) -> Any:
    """What a worker does: a portion of cases, or of the single radii of a line on one runner."""
    kind, i, what, radii = item
    setting = shared.settings[i]
    if kind == "line":
        return np.array([statics(single_radius(what, radius), setting, shared.on_line) for radius in radii])
    return [_whatever_comes(candidate, setting, shared) for candidate in what]


def _whatever_comes(candidate, setting, shared: Shared) -> dict:
    """run_case; what breaks it becomes its reason: one bad case must not lose the others."""
    try:
        return run_case(candidate, setting, shared.measures, shared.full)
    except Exception as fault:
        return _gone(f"the computation broke off: {type(fault).__name__}: {fault}", candidate, shared)


def lost_task(shared: Shared, item: tuple) -> Any:
    """In place of a task that killed every worker: rows with that reason, or a line of which nothing is known."""
    kind, _, what, radii = item
    if kind == "line":
        return np.full((len(radii), len(shared.on_line)), math.nan)
    return [_gone(LOST_REASON, candidate, shared) for candidate in what]


def _gone(why: str, candidate, shared: Shared) -> dict:
    names, curve = shared.measures, _curve(candidate) if shared.full else {}
    return {"values": np.full(len(names), math.nan), "reasons": dict.fromkeys(names, why), "outcomes": {},
            "curve": curve, "contacts": {}, "series": {}}  # fmt: skip


def row_of(case: Case, answer: dict, measures: Sequence[str]) -> Row:
    """A worker's answer as the row of its case."""
    parts = {key: answer[key] for key in ("reasons", "outcomes", "curve", "contacts", "series")}
    return Row(case.index, case.candidate.name, case.candidate.recipe.family, case.setting.skater.name,
               dict(zip(measures, answer["values"].tolist())), radius_m=case.candidate.recipe.radii_m[0],
               **parts)  # fmt: skip
