"""Cases to rows: over worker processes, in order, with progress; a failed case is a row with a reason."""

import math
import os
from concurrent.futures import ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np

from experiments.cases import Case, Request
from experiments.scoring import Gain, judge
from experiments.variants import runner_like, single_radius, statics
from sim.errors import BladeError
from sim.ice.contact import gap, pressed
from sim.measures import REGISTRY, evaluate
from sim.rolling.loop import COLUMNS
from sim.trial import Candidate, Setting, Trial

CURVE_POINTS = 281
CONTACT_POINTS = 241
LINE_MEASURES = tuple(m.name for m in REGISTRY.values() if m.state not in ("stride", "nudge", "tight_turn", "blade"))


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
    """Rows in the order of the request; the single-radius line, line[skater][measure] over line_radii; and the
    reference blade itself under each skater."""

    rows: list[Row]
    line_radii: np.ndarray
    line: dict[str, dict[str, np.ndarray]]
    references: dict[str, Row]


def run_case(case: Case) -> Row:
    """Everything about one case. A refusal of the model becomes reasons, never an exception."""
    trial = Trial(case.candidate, case.setting)
    values, reasons = evaluate(trial)
    outcomes = {name: _outcome(trial, name) for name in case.setting.scenarios}
    rolls = {name: trial.roll(name) for name, what in outcomes.items() if not what.startswith("refused")}
    series = {name: {c: roll[c] for c in COLUMNS} for name, roll in rolls.items()}
    contacts = {}
    for name in case.setting.states:
        try:
            contacts[name] = _contact(trial, name)
        except BladeError:
            continue  # its measures already carry the reason
    return Row(
        case.index, case.candidate.name, case.candidate.recipe.family, case.setting.skater.name, values, reasons,
        outcomes, _curve(case.candidate), contacts, series,
    )  # fmt: skip


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


def radius_line(setting: Setting, radii, names=LINE_MEASURES, like=None) -> dict[str, np.ndarray]:
    """Measures of single radii on the runner of `like`: the line that a recipe has to leave; nan where refused."""
    like = like or setting.reference
    table = np.array([statics(single_radius(like, radius), setting, names) for radius in radii])
    return {name: table[:, i] for i, name in enumerate(names)}


def run(request: Request, on_row=lambda row, total: None) -> Results:
    """All cases and each skater's single-radius line; `on_row` hears of each finished row.

    The reference runs here first: what it cannot carry is refused before any work, code gets compiled and each
    setting's programs are solved once before workers start. Rows do not depend on how many workers there are.
    """
    references = {}
    for setting in request.settings:
        for name in setting.scenarios:
            setting.program(name)
        _ = setting.reference_pitches
        references[setting.skater.name] = run_case(Case(-1, setting.reference, setting))
    rows: list[Row] = []
    workers = min(request.workers or os.cpu_count() or 1, len(request.cases))
    if workers == 1:
        for case in request.cases:
            rows.append(_again(case, None))
            on_row(rows[-1], len(request.cases))
        line = {s.skater.name: radius_line(s, request.line_m, line_names(request)) for s in request.settings}
    else:
        line = _spread(request, workers, rows, on_row)
    rows.sort(key=lambda row: row.index)
    results = Results(rows, np.array(request.line_m), line, references)
    judge(results, request.scheme, request.pairs, own_lines(request, line))
    return results


def own_lines(request: Request, line) -> dict[int, dict[str, np.ndarray]]:
    """The single-radius line on each case's own runner, by index; `line` where that is the reference's."""
    names, known, out = tuple(dict.fromkeys(n for pair in request.pairs for n in pair)), {}, {}
    for case in request.cases:
        setting, like = case.setting, runner_like(case.candidate, case.setting.reference)
        key = setting.skater.name, like
        if like is setting.reference:
            known[key] = line[setting.skater.name]
        elif key not in known:
            known[key] = radius_line(setting, request.line_m, names, like)
        out[case.index] = known[key]
    return out


def line_names(request: Request) -> tuple[str, ...]:
    """Measures wanted of the single-radius line: the static ones, and what the declared pairs ask for besides."""
    return tuple(dict.fromkeys([*LINE_MEASURES, *(name for pair in request.pairs for name in pair)]))


def _spread(request, workers, rows, on_row):
    rest = request.cases
    chunk = max(1, min(16, len(rest) // (4 * workers)))
    with stoppable(ProcessPoolExecutor(workers)) as pool:
        lines = {
            s.skater.name: pool.submit(radius_line, s, request.line_m, line_names(request)) for s in request.settings
        }
        waiting = {
            pool.submit(_run_chunk, rest[i : i + chunk]): rest[i : i + chunk] for i in range(0, len(rest), chunk)
        }
        lost = []
        for future in as_completed(waiting):
            try:
                done = future.result()
            except Exception as fault:  # a worker died: its cases are done again here, one by one
                lost.append((waiting[future], fault))
                continue
            for row in done:
                rows.append(row)
                on_row(row, len(request.cases))
        line = {}
        for setting in request.settings:
            try:
                line[setting.skater.name] = lines[setting.skater.name].result()
            except Exception:  # as above
                line[setting.skater.name] = radius_line(setting, request.line_m, line_names(request))
    for cases, fault in lost:
        for case in cases:
            rows.append(_again(case, fault))
            on_row(rows[-1], len(request.cases))
    return line


@contextmanager
def stoppable(pool):
    """A process pool whose workers end at once when the run is stopped by hand, instead of finishing their queue."""
    with pool:
        try:
            yield pool
        except KeyboardInterrupt:
            for worker in list(pool._processes.values()):
                worker.terminate()
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _run_chunk(cases):
    return [run_case(case) for case in cases]


def _again(case: Case, fault: Exception | None) -> Row:
    """The case run here; what breaks it becomes its reason. fault: why a worker did not finish it."""
    try:
        return run_case(case)
    except Exception as second:  # kept as a row with its reason: one bad case must not lose the others
        why = f"the computation broke off: {type(second).__name__}: {second}" + (
            f" (after {type(fault).__name__})" if fault else ""
        )
        values = {name: math.nan for name in REGISTRY}
        return Row(
            case.index, case.candidate.name, case.candidate.recipe.family, case.setting.skater.name, values,
            {name: why for name in REGISTRY}, {}, _curve(case.candidate), {}, {},
        )  # fmt: skip
