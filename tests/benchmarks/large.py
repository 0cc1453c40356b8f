"""The largest study: cases written and read, and how much memory each process takes."""

import contextlib
import multiprocessing
import os
import resource
import tempfile
import time
from pathlib import Path

import h5py
import numpy as np

from experiments.main import run_command
from experiments.studies.compare.rows import Results, Row
from experiments.studies.compare.tables import write_csv, write_h5
from sim.measures import REGISTRY
from tests.benchmarks.timing import line

STORED = 10_000


def show(cases: int) -> None:
    """Lines of the table."""
    store()
    count = round(cases ** (1 / 3))
    zone = f"{{from: 6 ft, to: 14 ft, count: {count}}}"
    with tempfile.TemporaryDirectory() as folder:
        blades = Path(folder) / "grid.yaml"
        blades.write_text(f"- {{family: zoned, each: {{radii_each: [{zone}, {zone}, {zone}]}}}}\n")
        arguments = ["experiment=sweep", f"candidates_from={blades}", f"results_dir={folder}/r", "figures=false"]
        context = multiprocessing.get_context("spawn")
        answer = context.Queue()
        child = context.Process(target=_measured, args=(arguments, answer))
        child.start()
        seconds, own, workers = answer.get()
        child.join()
    line(f"whole study of {count**3} static blades", f"{seconds:.1f} s", "target 180 s for 100,000")
    line("  greatest memory: this process, a worker", f"{own:.0f}, {workers:.0f} MB", "target 1024 MB each")


def _measured(arguments, answer):
    start = time.perf_counter()
    with open(os.devnull, "w") as nowhere, contextlib.redirect_stdout(nowhere), contextlib.redirect_stderr(nowhere):
        assert run_command(arguments) == 0
    peak = [resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    answer.put((time.perf_counter() - start, *peak))


def store() -> None:
    """Write and read a table of 10,000 blades."""
    values = {name: 1.0 / 3.0 for name in REGISTRY}
    rows = [Row(i, f"blade {i}", "zoned", "adult", values, {}, {}, {}, {}, {}) for i in range(STORED)]
    radii = np.linspace(2.0, 4.0, 49)
    results = Results(rows, radii, {"adult": {"turn_drag": radii}}, {"adult": rows[0]}, tuple(REGISTRY))
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        write_h5(Path(folder) / "results.h5", results, {})
        written = time.perf_counter()
        with h5py.File(Path(folder) / "results.h5") as file:
            total = sum(float(file[f"measures/{name}"][()].sum()) for name in REGISTRY)
        read = time.perf_counter()
        write_csv(Path(folder) / "measures.csv", results)
        text = time.perf_counter()
    assert abs(total - STORED * len(REGISTRY) / 3) < 1e-3
    line(f"{STORED} blades: HDF5 written, read; CSV written",
         f"{written - start:.2f}, {read - written:.2f}, {text - read:.2f} s")  # fmt: skip
