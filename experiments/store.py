"""Results to disk: results.h5 (self-describing, opens in xarray) and measures.csv; half-written is invisible."""

import csv
import math
import os
from contextlib import contextmanager
from pathlib import Path

import h5py
import numpy as np

from experiments.runner import Results
from sim.measures import REGISTRY

SERIES_UNITS = {
    "time": "s", "load": "N", "wanted_load": "N", "lean": "rad", "pitch": "rad", "leg_angle": "rad",
    "balance_position": "m", "arc_front": "m", "arc_rear": "m", "arc_tail": "m", "depth": "m", "ploughing": "N",
    "film": "N", "scrape": "N", "drag": "N", "speed": "m/s", "path_position": "m", "ice_loss": "J",
}  # fmt: skip
CURVE_UNITS = {"arc_length": "m", "x": "m", "z": "m", "tangent_angle": "rad", "curvature": "1/m"}
CONTACT_UNITS = {"x": "m", "penetration": "m", "pressure": "Pa", "loaded_width": "m"}


PART = ".part"  # ends the names of what is being written


@contextmanager
def whole(path: Path):
    """A temporary path beside `path` that takes its place only when everything was written and is on disk."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}{PART}")
    try:
        yield temporary
        with open(temporary, "rb+") as handle:
            os.fsync(handle.fileno())
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


@contextmanager
def h5_file(path: Path, attributes: dict[str, str]):
    """An HDF5 file with these attributes, built in memory and then written whole: a full disk leaves no half of it, and
    is heard of as any other fault of a file."""
    with h5py.File(path.name, "w", driver="core", backing_store=False) as file:
        file.attrs.update(attributes)
        yield file
        file.flush()
        image = file.id.get_file_image()
    with whole(path) as temporary:
        temporary.write_bytes(image)


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


def scale(group, name, values, unit="1", long_name=""):
    """A dimension scale: the coordinate of one axis."""
    data = group.create_dataset(name, data=values, dtype=h5py.string_dtype() if values.dtype.kind == "O" else None)
    data.make_scale(name)
    data.attrs["units"], data.attrs["long_name"] = unit, long_name or name.replace("_", " ")
    return data


def put(group, name, values, unit, long_name, *scales):
    strings = values.dtype.kind == "O"
    data = group.create_dataset(name, data=values, dtype=h5py.string_dtype() if strings else values.dtype)
    if not strings:
        data.attrs["units"] = unit
    data.attrs["long_name"] = long_name
    for axis, scale in enumerate(scales):
        data.dims[axis].attach_scale(scale)
    return data


def labels(rows) -> list[str]:
    """One label a row: the candidate, and the skater where there is more than one."""
    several = len({row.skater for row in rows}) > 1
    return [f"{row.candidate}, {row.skater}" if several else row.candidate for row in rows]


def _candidates(group, rows):
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
    time = scale(group, "time", times, "s")
    for name, unit in SERIES_UNITS.items():
        if name == "time":
            continue
        block = np.full((len(rows), len(times)), np.nan)
        for i, part in enumerate(parts):
            if part:
                block[i, : len(part[name])] = part[name]
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
    """Score with its parts, and frontier gain for each declared pair."""
    candidate = _candidates(group, rows)
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


@contextmanager
def csv_table(path: Path, header):
    """A CSV file under its header, whole or not at all; gives a writer of rows."""
    with whole(path) as temporary, open(temporary, "w", newline="", encoding="utf-8") as handle:
        writer = _Finite(csv.writer(handle))
        writer.writerow(header)
        yield writer


class _Finite:
    """A writer of rows in which a number that cannot be had leaves its cell empty: nobody reads nan."""

    def __init__(self, writer):
        self.writer = writer

    def writerow(self, row) -> None:
        self.writer.writerow(["" if isinstance(x, float) and not math.isfinite(x) else x for x in row])

    def writerows(self, rows) -> None:
        for row in rows:
            self.writerow(row)


def write_csv(path: Path, results: Results) -> None:
    """One line a case, tidy: names, then every measure in SI with its unit in the header, outcomes and reason."""
    scenarios = list(dict.fromkeys(s for row in results.rows for s in row.outcomes))
    gains = [f"gain_{'__'.join(p)} [1]" for p in results.rows[0].gains]
    header = [
        "candidate",
        "family",
        "skater",
        "score [1]",
        *gains,
        *(f"{name} [{REGISTRY[name].unit}]" for name in results.measures),
    ]
    with csv_table(path, [*header, *(f"outcome_{s}" for s in scenarios), "reason"]) as writer:
        for row in results.rows:
            numbers = [_text(row.values[name]) for name in results.measures]
            outcomes = [row.outcomes.get(s, "not run") for s in scenarios]
            judged = [_text(v) for v in (row.score, *(g.gain for g in row.gains.values()))]
            writer.writerow([row.candidate, row.family, row.skater, *judged, *numbers, *outcomes, row.reason])
