"""What a comparison leaves: results.h5 (describes itself, opens in xarray) and measures.csv, whole or not at all."""

import math
import re
from collections.abc import Sequence
from pathlib import Path

import h5py
import numpy as np

from experiments.analysis.draws import Draws
from experiments.analysis.judging.statement import statement
from experiments.report import sources
from experiments.report.draw_tables import write_intervals
from experiments.request.opinions import Opinions
from experiments.run.files import csv_table, h5_file, put, scale
from experiments.run.folder import RunFolder
from experiments.studies.compare.rows import Results, Row
from experiments.studies.compare.study import Plan
from experiments.studies.compare.terminal import show
from sim.measures import REGISTRY
from sim.rolling.scenarios import RECORD_S

__all__ = ["cite", "show", "write", "write_csv", "write_h5"]
MOST_INSTANTS = 800  # of a movement that are written; its measures and figures use every one
MOST_LOGGED = 1000  # rows with missing measures
SERIES_UNITS = {
    "time": "s", "load": "N", "wanted_load": "N", "lean": "rad", "pitch": "rad", "leg_angle": "rad",
    "balance_position": "m", "arc_front": "m", "arc_rear": "m", "arc_tail": "m", "depth": "m", "ploughing": "N",
    "film": "N", "rough": "N", "scrape": "N", "drag": "N", "speed": "m/s", "path_position": "m", "ice_loss": "J",
}  # fmt: skip
CURVE_UNITS = {"arc_length": "m", "x": "m", "z": "m", "tangent_angle": "rad", "curvature": "1/m"}
CONTACT_UNITS = {"x": "m", "penetration": "m", "pressure": "Pa", "loaded_width": "m"}


def write(plan: Plan, results: Results, folder: RunFolder) -> None:
    """results.h5, measures.csv, and a line of the log for each row with missing measures.

    Where inputs were drawn, also intervals.csv and statements.csv, one set a skater.
    """
    for row in [row for row in results.rows if row.reasons][:MOST_LOGGED]:
        failed = {name: outcome for name, outcome in row.outcomes.items() if outcome != "finished"}
        folder.log(f"{row.candidate}, {row.skater}: {failed} [{row.reason}]")
    write_h5(folder.path / "results.h5", results, folder.attributes())
    write_csv(folder.path / "measures.csv", results)
    for skater, draws in results.draws.items():
        end = re.sub(r"\W+", "_", f"_{skater}") if len(results.draws) > 1 else ""
        write_intervals(folder.path / f"intervals{end}.csv", draws)
        write_statements(folder.path / f"statements{end}.csv", draws, plan.request.opinions)


def cite(plan: Plan, results: Results) -> list[str]:
    """What the run rests on."""
    return sources.cite(plan.request, results.measures, plan.request.settings[0].scenarios)


def write_h5(path: Path, results: Results, attributes: dict[str, str]) -> None:
    """Write curves, measures, contact, series and the single-radius line with units on every array.

    Layout: curves/{x,z,...}(candidate, point); measures/NAME(candidate); contact/STATE/...(candidate, point);
    series/SCENARIO/...(candidate, time), nan after a run ended; single_radius/NAME(skater, radius). Without curves,
    contact and series where the run kept none.
    """
    with h5_file(path, attributes) as file:
        rows = results.rows
        if any(row.curve for row in rows):
            _stack(file.create_group("curves"), rows, [row.curve for row in rows], CURVE_UNITS, "point")
        _measures(file.create_group("measures"), rows, results.measures)
        for state in dict.fromkeys(s for row in rows for s in row.contacts):
            group = file.create_group(f"contact/{state}")
            _stack(group, rows, [row.contacts.get(state, {}) for row in rows], CONTACT_UNITS, "point")
        for scenario in dict.fromkeys(s for row in rows for s in row.series):
            _series(file.create_group(f"series/{scenario}"), rows, scenario)
        _line(file.create_group("single_radius"), results)
        _reference(file.create_group("reference"), results)
        _judgement(file.create_group("judgement"), rows)


def write_statements(path: Path, draws: Draws, opinions: Opinions) -> None:
    """One line a blade and a declared pair: what is said of it against every single radius, and on what."""
    header = ["candidate", "pair", "statement", "share_beyond", "share_on_the_line", "share_inside", "median_gain"]
    with csv_table(path, header) as writer:
        for i, candidate in enumerate(draws.candidates):
            for k, pair in enumerate(draws.pairs):
                said = statement(draws.gain[:, i, k], opinions)
                shares = (said.share_beyond, said.share_on, said.share_inside, said.median)
                writer.writerow([candidate, " | ".join(pair), said.kind, *map(_text, shares)])


def labels(rows: Sequence[Row]) -> list[str]:
    """One label a row: the candidate, and the skater where there is more than one."""
    several = len({row.skater for row in rows}) > 1
    return [f"{row.candidate}, {row.skater}" if several else row.candidate for row in rows]


def _candidates(group: h5py.Group, rows: Sequence[Row]) -> h5py.Dataset:
    return scale(group, "candidate", np.array(labels(rows), dtype=object), long_name="candidate")


def _stack(group, rows, parts, units, axis):
    """Named arrays of each row side by side, (candidate, axis); nan where a row has none or fewer."""
    candidate = _candidates(group, rows)
    length = max(len(next(iter(p.values()))) for p in parts if p)
    along = scale(group, axis, np.arange(length, dtype="i4"))
    for name, unit in units.items():
        block = np.full((len(rows), length), np.nan)
        for i, part in enumerate(parts):
            if part:
                block[i, : len(part[name])] = part[name]
        put(group, name, block, unit, name.replace("_", " "), candidate, along)


def _measures(group, rows, names):
    candidate = _candidates(group, rows)
    for name in ("family", "skater", "reason"):
        values = np.array([getattr(row, name) for row in rows], dtype=object)
        put(group, name, values, "", name, candidate)
    for scenario in dict.fromkeys(s for row in rows for s in row.outcomes):
        values = np.array([row.outcomes.get(scenario, "not run") for row in rows], dtype=object)
        put(group, f"outcome_{scenario}", values, "", f"outcome of {scenario}", candidate)
    for measure in (REGISTRY[name] for name in names):
        values = np.array([row.values[measure.name] for row in rows])
        data = put(group, measure.name, values, measure.unit, measure.label, candidate)
        data.attrs["state"], data.attrs["better"] = measure.state, measure.better


def _series(group, rows, scenario):
    candidate = _candidates(group, rows)
    parts = [row.series.get(scenario, {}) for row in rows]
    times = max((p["time"] for p in parts if p), key=len)
    every = math.ceil((len(times) - 1) / MOST_INSTANTS) or 1
    times = times[::every]
    time = scale(group, "time", times, "s", f"time, every {every * RECORD_S * 1e3:g} ms of the run")
    for name, unit in SERIES_UNITS.items():
        if name == "time":
            continue
        block = np.full((len(rows), len(times)), np.nan, np.float32)  # seven digits: more than the step leaves sure
        for i, part in enumerate(parts):
            if part:
                kept = part[name][::every]
                block[i, : len(kept)] = kept
        put(group, name, block, unit, name.replace("_", " "), candidate, time)


def _line(group, results):
    skater = scale(group, "skater", np.array(list(results.line), dtype=object))
    radius = scale(group, "radius", results.line_radii, "m", "single radius")
    for name in next(iter(results.line.values())):
        block = np.array([line[name] for line in results.line.values()])
        put(group, name, block, REGISTRY[name].unit, REGISTRY[name].label, skater, radius)


def _reference(group, results):
    skater = scale(group, "skater", np.array(list(results.references), dtype=object))
    for measure in (REGISTRY[name] for name in results.measures):
        values = np.array([row.values[measure.name] for row in results.references.values()])
        put(group, measure.name, values, measure.unit, measure.label, skater)


def _judgement(group, rows):
    """Score with its parts where a weighting was asked for, and nominal frontier gain for each declared pair."""
    candidate = _candidates(group, rows)
    if rows[0].parts:
        put(group, "score", np.array([row.score for row in rows]), "1", "score, sum of the parts", candidate)
    for name in rows[0].parts:
        part = np.array([row.parts.get(name, math.nan) for row in rows])
        put(group, f"part_{name}", part, "1", f"part of the score from {name}", candidate)
    pairs = list(rows[0].gains)
    pair = scale(group, "pair", np.array([" | ".join(p) for p in pairs], dtype=object))
    for key, unit, text in (
        ("gain", "1", "frontier gain G"), ("beats", "1", "D, best ratio to one single radius on both costs"),
        ("radius_m", "m", "single radius nearest to matching"), ("at_end", "1", "1: that radius ends the range"),
    ):  # fmt: skip
        block = np.array(
            [[float(getattr(row.gains[p], key)) if p in row.gains else math.nan for p in pairs] for row in rows]
        )
        put(group, key, block, unit, text, candidate, pair)


def _text(value: float) -> str:
    return repr(float(value)) if math.isfinite(value) else ""


def write_csv(path: Path, results: Results) -> None:
    """One line a case, tidy: names, then every measure in SI with its unit in the header, outcomes and reason."""
    scenarios = list(dict.fromkeys(s for row in results.rows for s in row.outcomes))
    gains = [f"gain_{'__'.join(p)} [1]" for p in results.rows[0].gains]
    scored = ["score [1]"] if results.rows[0].parts else []
    header = [
        "candidate",
        "family",
        "skater",
        *scored,
        *gains,
        *(f"{name} [{REGISTRY[name].unit}]" for name in results.measures),
    ]
    with csv_table(path, [*header, *(f"outcome_{s}" for s in scenarios), "reason"]) as writer:
        for row in results.rows:
            numbers = [_text(row.values[name]) for name in results.measures]
            outcomes = [row.outcomes.get(s, "not run") for s in scenarios]
            judged = [_text(v) for v in (*([row.score] if scored else []), *(g.gain for g in row.gains.values()))]
            writer.writerow([row.candidate, row.family, row.skater, *judged, *numbers, *outcomes, row.reason])
