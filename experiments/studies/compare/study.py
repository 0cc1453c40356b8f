"""The comparison: many blades under one or more skaters, each held against single radii on its own runner."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from experiments.analysis.frontier import continued, cost
from experiments.analysis.scores import contributions
from experiments.analysis.variants import HeldLine, runner_like
from experiments.request.comparison import Case, Request, read_request
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
    spans = _spans(request, held)
    cuts = _portions(request, places)
    items = [("cases", i, [c.candidate for c in cases], ()) for i, cases in cuts]
    items += [("line", i, like, part) for (i, like), span in spans.items() for part in _together(span)]
    shared = Shared(request.settings, request.measures, line_names(request), request.detail == "full")
    answers = workers.map(work, items, shared, progress, lambda item: lost_task(shared, item))
    rows = [row_of(case, answer, request.measures) for (_, cases), part in zip(cuts, answers)
            for case, answer in zip(cases, part)]  # fmt: skip
    known = _lines_of(spans, answers[len(cuts) :], shared.on_line, np.array(request.line_m))
    line = {s.skater.name: _as_stated(known[i, s.reference]) for i, s in enumerate(request.settings)}
    results = Results(rows, np.array(request.line_m), line, references, request.measures)
    judge_rows(results, request, [known[key] for key in held])
    return results


def _spans(request: Request, held: Sequence[tuple[int, Candidate]]) -> dict[tuple[int, Candidate], tuple[float, ...]]:
    """(setting, runner) to the single radii that are computed, m: every line that a row or a figure needs, once, each
    continued as far as the blades that are held against it ask for."""
    radii: dict = {(i, setting.reference): [] for i, setting in enumerate(request.settings)}
    for key, case in zip(held, request.cases):
        radii.setdefault(key, []).extend(case.candidate.recipe.radii_m)
    return {key: tuple(continued(request.line_m, found).tolist()) for key, found in radii.items()}


def _as_stated(held: HeldLine) -> dict[str, np.ndarray]:
    """The part of a line that was asked for: what figures draw."""
    first = int(np.searchsorted(held.span, held.radii[0] * (1 - 1e-9)))
    return {name: column[first : first + len(held.radii)] for name, column in held.table.items()}


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
    spans: dict[tuple[int, Candidate], tuple[float, ...]], parts: Sequence[np.ndarray], names: tuple[str, ...],
    stated: np.ndarray,
) -> dict[tuple[int, Candidate], HeldLine]:  # fmt: skip
    """(setting, runner) to its single radii, from the answers in the order of the items."""
    out, rest = {}, iter(parts)
    for key, span in spans.items():
        table = np.concatenate([next(rest) for _ in _together(span)])
        out[key] = HeldLine(stated, np.array(span), {name: table[:, j] for j, name in enumerate(names)})
    return out


def line_names(request: Request) -> tuple[str, ...]:
    """Measures wanted of the single-radius line: the static ones, and what the declared pairs ask for besides."""
    return tuple(dict.fromkeys([*STATIC, *(name for pair in request.pairs for name in pair)]))


def judge_rows(results: Results, request: Request, lines: Sequence[HeldLine]) -> None:
    """Give every row of a run its score, the score's parts and its frontier gains, in place.

    lines[i]: the single radii that row i is held against; rows on the same runner share one.
    """
    for row, case, line in zip(results.rows, request.cases, lines):
        base = results.references[row.skater].values
        row.parts = contributions(row.values, base, request.scheme)
        row.score = sum(row.parts.values())
        for pair in request.pairs:
            costs = [float(cost(name, row.values[name])) for name in pair]
            row.gains[pair] = line.gain(pair, costs, case.candidate.recipe)
