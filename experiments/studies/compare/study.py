"""The comparison: many blades under one or more skaters, each held against single radii on its own runner."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.analysis.frontier import Line, cost
from experiments.analysis.scores import contributions
from experiments.analysis.variants import runner_like
from experiments.request.comparison import Case, Request, read_request
from experiments.request.objectives import Weighting
from experiments.run.workers import HERE, Progress, Workers, silent
from experiments.studies.compare.rows import Results, Row, Shared, lost_task, row_of, run_case, work
from sim.measures import STATIC
from sim.trial import Candidate, Setting

KEYS = ()
PORTION_ROLLED, PORTION_STATIC = 4, 64  # cases that a worker takes at once, at most: a tenth of a second or so
PORTIONS = 64  # at least so many, where there are enough cases
RADII_TOGETHER = 16


@dataclass(frozen=True)
class Plan:
    """What is compared."""

    request: Request


def read(own: dict, rest: dict) -> Plan:
    """Check the config. Raises BladeError; a key that belongs to another study is unknown here."""
    return Plan(read_request(rest))


def run(plan: Plan, workers: Workers, progress: Progress) -> Results:
    """All rows, judged."""
    return compared(plan.request, workers, progress)


def compared(request: Request, workers: Workers = HERE, progress: Progress = silent) -> Results:
    """All cases and the single-radius line of each skater on each runner.

    The reference runs here first: what it cannot carry is refused before any work, and each setting's programs are
    solved once before workers start. Rows do not depend on who computes them.
    """
    references = {setting.skater.name: _reference_row(setting, request) for setting in request.settings}
    places = {id(setting): i for i, setting in enumerate(request.settings)}
    held = [(places[id(c.setting)], runner_like(c.candidate, c.setting.reference)) for c in request.cases]
    # every single-radius line that a row or a figure needs, once
    lines = list(dict.fromkeys([*((i, setting.reference) for i, setting in enumerate(request.settings)), *held]))
    cuts, radii = _portions(request, places), _together(request.line_m)
    items = [("cases", i, [c.candidate for c in cases], ()) for i, cases in cuts]
    items += [("line", i, like, part) for i, like in lines for part in radii]
    shared = Shared(request.settings, request.measures, line_names(request), request.detail == "full")
    answers = workers.map(work, items, shared, progress, lambda item: lost_task(shared, item))
    rows = [row_of(case, answer, request.measures) for (_, cases), part in zip(cuts, answers)
            for case, answer in zip(cases, part)]  # fmt: skip
    known = _lines_of(lines, answers[len(cuts) :], len(radii), shared.on_line)
    line = {s.skater.name: known[i, s.reference] for i, s in enumerate(request.settings)}
    results = Results(rows, np.array(request.line_m), line, references, request.measures)
    judge_rows(results, request.scheme, request.pairs, [known[key] for key in held])
    return results


def _reference_row(setting: Setting, request: Request) -> Row:
    """The reference under a setting. Raises BladeError where it cannot be computed at all."""
    for name in setting.scenarios:
        setting.program(name)
    _ = setting.reference_pitches
    answer = run_case(setting.reference, setting, request.measures, request.detail == "full")
    return row_of(Case(-1, setting.reference, setting), answer, request.measures)


def _portions(request: Request, places: dict[int, int]) -> list[tuple[int, list[Case]]]:
    """Cases in portions of one setting: (place of the setting, cases). The same for any number of workers."""
    most = PORTION_ROLLED if request.rolled else PORTION_STATIC
    size, out = min(most, math.ceil(len(request.cases) / PORTIONS)), []
    for case in request.cases:
        i = places[id(case.setting)]
        if not out or out[-1][0] != i or len(out[-1][1]) == size:
            out.append((i, []))
        out[-1][1].append(case)
    return out


def _together(radii_m: Sequence[float]) -> list[Sequence[float]]:
    return [radii_m[i : i + RADII_TOGETHER] for i in range(0, len(radii_m), RADII_TOGETHER)]


def _lines_of(
    lines: list[tuple[int, Candidate]], parts: list[np.ndarray], parts_each: int, names: tuple[str, ...]
) -> dict[tuple[int, Candidate], dict[str, np.ndarray]]:
    """(setting, runner) to the measures of its single radii, each (radius,)."""
    out = {}
    for k, key in enumerate(lines):
        table = np.concatenate(parts[k * parts_each : (k + 1) * parts_each])
        out[key] = {name: table[:, j] for j, name in enumerate(names)}
    return out


def line_names(request: Request) -> tuple[str, ...]:
    """Measures wanted of the single-radius line: the static ones, and what the declared pairs ask for besides."""
    return tuple(dict.fromkeys([*STATIC, *(name for pair in request.pairs for name in pair)]))


def judge_rows(
    results: Results, scheme: Weighting, pairs: Sequence[tuple[str, str]], lines: Sequence[dict[str, np.ndarray]]
) -> None:
    """Give every row of a run its score, the score's parts and its frontier gains, in place.

    lines[i]: measures of the single radii that row i is held against; rows on the same runner share one.
    """
    known: dict[tuple, Line] = {}
    for row, line in zip(results.rows, lines):
        base = results.references[row.skater].values
        row.parts = contributions(row.values, base, scheme)
        row.score = sum(row.parts.values())
        for pair in pairs:
            if (id(line), pair) not in known:
                known[id(line), pair] = Line(results.line_radii, np.column_stack([cost(n, line[n]) for n in pair]))
            row.gains[pair] = known[id(line), pair].gain([float(cost(name, row.values[name])) for name in pair])
