"""Cases to rows, over workers, in order, with progress; a failed case is a row with a reason."""

import math
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from experiments.cases import Case, Request
from experiments.crew import HERE, Crew
from experiments.scoring import Gain, judge
from experiments.variants import runner_like, single_radius, statics
from sim.errors import BladeError
from sim.ice.contact import gap, pressed
from sim.measures import REGISTRY, STATIC, evaluate
from sim.rolling.loop import COLUMNS
from sim.trial import Candidate, Setting, Trial

CURVE_POINTS = 281
CONTACT_POINTS = 241
PORTION_ROLLED, PORTION_STATIC = 4, 64  # cases that a worker takes at once, at most: a tenth of a second or so
RADII_TOGETHER = 16
LOST = "the computation broke off: it killed every worker that took it (out of memory?)"


@dataclass(eq=False)
class Row:
    """All that came of one case. curve, contacts[state], series[scenario]: named 1-D arrays; SI.

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


def run_case(candidate: Candidate, setting: Setting, measures, full: bool) -> dict:
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
    patch, steel, law = trial.patch(name), trial.steel, trial.setting.law
    x = np.linspace(patch.tail, patch.front, CONTACT_POINTS)
    n = np.array([patch.depth - gap(steel, patch, v) for v in x])
    both = np.array([pressed(steel, trial.ice, law, patch, v, k) for v, k in zip(x, n)])
    return {"x": x, "penetration": n, "pressure": both[:, 0], "loaded_width": both[:, 1]}


def run(request: Request, crew: Crew = HERE, on_chunk=lambda done, total: None) -> Results:
    """All cases and the single-radius line of each skater on each runner.

    The reference runs here first: what it cannot carry is refused before any work, and each setting's programs are
    solved once before workers start. Rows do not depend on who computes them.
    """
    references = {}
    for setting in request.settings:
        for name in setting.scenarios:
            setting.program(name)
        _ = setting.reference_pitches
        answer = run_case(setting.reference, setting, request.measures, request.detail == "full")
        references[setting.skater.name] = _row(Case(-1, setting.reference, setting), answer, request.measures)
    places = {id(setting): i for i, setting in enumerate(request.settings)}
    cuts = _cuts(request, places)
    # the runner that each case is held against, and every single-radius line that a row or a figure needs, once
    held = [(places[id(c.setting)], runner_like(c.candidate, c.setting.reference)) for c in request.cases]
    lines = list(dict.fromkeys([*((i, setting.reference) for i, setting in enumerate(request.settings)), *held]))
    radii = [request.line_m[i : i + RADII_TOGETHER] for i in range(0, len(request.line_m), RADII_TOGETHER)]
    items = [("cases", i, [c.candidate for c in cases], ()) for i, cases in cuts]
    items += [("line", i, like, part) for i, like in lines for part in radii]
    shared = Shared(request.settings, request.measures, line_names(request), request.detail == "full")
    answers = crew.map(work, items, shared, on_chunk, lambda item: _lost(shared, item))
    rows = [_row(case, answer, request.measures) for (_, cases), part in zip(cuts, answers)
            for case, answer in zip(cases, part)]  # fmt: skip
    parts, known = answers[len(cuts) :], {}
    for k, key in enumerate(lines):
        table = np.concatenate(parts[k * len(radii) : (k + 1) * len(radii)])
        known[key] = {name: table[:, j] for j, name in enumerate(shared.on_line)}
    line = {s.skater.name: known[i, s.reference] for i, s in enumerate(request.settings)}
    results = Results(rows, np.array(request.line_m), line, references, request.measures)
    judge(results, request.scheme, request.pairs, [known[key] for key in held])
    return results


def _cuts(request: Request, places) -> list[tuple[int, list[Case]]]:
    """Cases in portions of one setting: (place of the setting, cases). The same for any number of workers."""
    most = PORTION_ROLLED if request.rolled else PORTION_STATIC
    size, out = min(most, math.ceil(len(request.cases) / 64)), []
    for case in request.cases:
        i = places[id(case.setting)]
        if not out or out[-1][0] != i or len(out[-1][1]) == size:
            out.append((i, []))
        out[-1][1].append(case)
    return out


class Shared(NamedTuple):
    """What all tasks of a comparison share. on_line: measures of the single-radius line."""

    settings: tuple[Setting, ...]
    measures: tuple[str, ...]
    on_line: tuple[str, ...]
    full: bool


def work(shared: Shared, item):
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


def _lost(shared: Shared, item):
    """In place of a task that killed every worker: rows with that reason, or a line of which nothing is known."""
    kind, _, what, radii = item
    if kind == "line":
        return np.full((len(radii), len(shared.on_line)), math.nan)
    return [_gone(LOST, candidate, shared) for candidate in what]


def _gone(why: str, candidate, shared: Shared) -> dict:
    names, curve = shared.measures, _curve(candidate) if shared.full else {}
    return {"values": np.full(len(names), math.nan), "reasons": dict.fromkeys(names, why), "outcomes": {},
            "curve": curve, "contacts": {}, "series": {}}  # fmt: skip


def _row(case: Case, answer: dict, measures) -> Row:
    """A worker's answer as the row of its case."""
    parts = {key: answer[key] for key in ("reasons", "outcomes", "curve", "contacts", "series")}
    return Row(case.index, case.candidate.name, case.candidate.recipe.family, case.setting.skater.name,
               dict(zip(measures, answer["values"].tolist())), **parts)  # fmt: skip


def line_names(request: Request) -> tuple[str, ...]:
    """Measures wanted of the single-radius line: the static ones, and what the declared pairs ask for besides."""
    return tuple(dict.fromkeys([*STATIC, *(name for pair in request.pairs for name in pair)]))
