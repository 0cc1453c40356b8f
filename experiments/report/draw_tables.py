"""Tables of draws that several studies leave: results.h5 of all draws, intervals.csv of every measure."""

import numpy as np

from experiments.analysis.draws import STATIC, Draws, intervals, ratio_samples
from experiments.run.files import csv_table, h5_file, put, scale
from sim.measures import REGISTRY


def write_draws(path, made: Draws, inputs, attributes) -> None:
    """results.h5 of a certainty study: inputs(draw, input), MEASURE(draw, candidate), gain and score."""
    with h5_file(path, attributes) as file:
        file.attrs["why"] = "\n".join(f"{i.name}: {i.why}" for i in inputs)
        group = file.create_group("draws")
        draw = scale(group, "draw", np.arange(len(made.points), dtype="i4"))
        column = scale(group, "input", np.array(made.columns, dtype=object))
        candidate = scale(group, "candidate", np.array(made.candidates, dtype=object))
        pair = scale(group, "pair", np.array([" | ".join(p) for p in made.pairs], dtype=object))
        put(group, "inputs", made.points, "SI", "uncertain inputs", draw, column)
        for j, name in enumerate(STATIC):
            put(group, name, made.values[:, :, j], REGISTRY[name].unit, REGISTRY[name].label, draw, candidate)
            reference = made.references[:, j]
            put(group, f"reference_{name}", reference, REGISTRY[name].unit, f"reference: {REGISTRY[name].label}", draw)
        put(group, "gain", made.gain, "1", "frontier gain G", draw, candidate, pair)
        put(group, "score", made.score, "1", "score", draw, candidate)


def write_intervals(path, made: Draws) -> None:
    """One line per candidate and measure: interval of the value and of its ratio to the reference."""
    header = ["candidate", "measure", "unit", "q05", "q50", "q95"]
    header += ["against_reference", "r05", "r50", "r95", "failed_draws"]
    with csv_table(path, header) as writer:
        for j, name in enumerate(STATIC):
            absolute, against = intervals(made.values[:, :, j]), intervals(ratio_samples(made, name))
            kind = "difference" if REGISTRY[name].signed else "ratio"
            for i, candidate in enumerate(made.candidates):
                row = [*absolute[:, i], kind, *against[:, i]]
                writer.writerow([candidate, name, REGISTRY[name].unit, *row, int(made.failed.sum())])
        for k, label in enumerate(["score", *(f"gain {' | '.join(p)}" for p in made.pairs)]):
            samples = made.score if k == 0 else made.gain[:, :, k - 1]
            for i, candidate in enumerate(made.candidates):
                row = [*intervals(samples)[:, i], "", "", "", ""]
                writer.writerow([candidate, label, "1", *row, int(made.failed.sum())])
