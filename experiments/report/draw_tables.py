"""Tables of draws that several studies leave: results.h5 of all draws, intervals.csv of every measure."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from experiments.analysis.draws import STATIC, Draws, intervals, ratio_samples
from experiments.request.uncertainty import Input
from experiments.run.files import csv_table, h5_file, put, scale
from sim.measures import REGISTRY


def write_draws(path: Path, draws: Draws, inputs: Sequence[Input], attributes: dict[str, str]) -> None:
    """results.h5 of a certainty study: inputs(draw, input), MEASURE(draw, candidate), gain and score."""
    with h5_file(path, attributes) as file:
        file.attrs["why"] = "\n".join(f"{i.name}: {i.why}" for i in inputs)
        group = file.create_group("draws")
        number = scale(group, "draw", np.arange(len(draws.points), dtype="i4"))
        column = scale(group, "input", np.array(draws.columns, dtype=object))
        candidate = scale(group, "candidate", np.array(draws.candidates, dtype=object))
        pair = scale(group, "pair", np.array([" | ".join(p) for p in draws.pairs], dtype=object))
        put(group, "inputs", draws.points, "SI", "uncertain inputs", number, column)
        for j, name in enumerate(STATIC):
            put(group, name, draws.values[:, :, j], REGISTRY[name].unit, REGISTRY[name].label, number, candidate)
            reference = draws.references[:, j]
            put(
                group, f"reference_{name}", reference, REGISTRY[name].unit, f"reference: {REGISTRY[name].label}", number
            )
        put(group, "gain", draws.gain, "1", "frontier gain G", number, candidate, pair)
        put(group, "score", draws.score, "1", "score", number, candidate)


def write_intervals(path: Path, draws: Draws) -> None:
    """One line per candidate and measure: interval of the value and of its ratio to the reference."""
    header = ["candidate", "measure", "unit", "q05", "q50", "q95"]
    header += ["against_reference", "r05", "r50", "r95", "failed_draws"]
    with csv_table(path, header) as writer:
        for j, name in enumerate(STATIC):
            absolute, against = intervals(draws.values[:, :, j]), intervals(ratio_samples(draws, name))
            kind = "difference" if REGISTRY[name].signed else "ratio"
            for i, candidate in enumerate(draws.candidates):
                row = [*absolute[:, i], kind, *against[:, i]]
                writer.writerow([candidate, name, REGISTRY[name].unit, *row, int(draws.failed.sum())])
        for k, label in enumerate(["score", *(f"gain {' | '.join(p)}" for p in draws.pairs)]):
            samples = draws.score if k == 0 else draws.gain[:, :, k - 1]
            for i, candidate in enumerate(draws.candidates):
                row = [*intervals(samples)[:, i], "", "", "", ""]
                writer.writerow([candidate, label, "1", *row, int(draws.failed.sum())])
