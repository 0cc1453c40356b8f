"""Workers: two against one on whole runs, and Dask against a pool of processes on tasks of 50 ms."""

import time
from dataclasses import replace

from experiments.request.comparison import read_request
from experiments.request.compose import composed
from experiments.run.workers import Workers
from experiments.studies.compare.rows import Shared, work
from experiments.studies.compare.study import compared
from tests.benchmarks.timing import line

ZONE = "{{from: 7 ft, to: 13 ft, count: {}}}"
GRID = f"candidates=[{{{{family: zoned, each: {{{{radii_each: [{ZONE}, {ZONE}, [8 ft]]}}}}}}}}]"
TASKS, REPEATS = 80, 3


def nothing(shared, item):
    """A task of no work."""


def idle(shared, item):
    """A task that waits, s."""
    time.sleep(shared)


def seconds(job) -> float:
    """Best wall time of some: what is request is the method, not what else the machine does."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        job()
        times.append(time.perf_counter() - start)
    return min(times)


def show() -> None:
    """Lines of the table."""
    for what, arguments in (
        ("240 blades, all measures", [GRID.format(16, 15), "detail=measures"]),
        ("4,000 blades, static", ["experiment=sweep", GRID.format(80, 50)]),
    ):
        request = read_request(composed([*arguments, "radius_line.count=9"])[0])
        times = {}
        for workers in (1, 2):
            with Workers(workers) as pool:
                pool.map(nothing, range(4))  # the pool is there
                times[workers] = seconds(lambda pool=pool, request=request: compared(request, pool))
        line(
            f"{what}: one worker / two", f"{times[1] / times[2]:.2f}", f"target 1.9; {times[1]:.1f} s, {times[2]:.1f} s"
        )
    static = read_request(composed(["experiment=sweep", GRID.format(8, 8), "radius_line.count=2"])[0])
    shared = Shared(static.settings, static.measures, ("turn_drag",), False)
    items = [
        ("cases", 0, [replace(c.candidate, name=f"{i} {c.index}") for c in static.cases], ()) for i in range(TASKS)
    ]
    for what, function, tasks, common in (
        ("waiting", idle, range(TASKS), 0.05), ("computing", work, items, shared),
    ):  # fmt: skip
        times = {}
        for workers in (2, "dask"):
            with Workers(workers) as pool:
                pool.map(function, tasks[:8], common)  # workers started, code loaded
                times[workers] = seconds(lambda: pool.map(function, tasks, common))  # noqa: B023
        each, more = 2e3 * times[2] / TASKS, 100 * (times["dask"] / times[2] - 1)
        note = "client and scheduler share the processors with the workers" if what == "computing" else ""
        line(f"Dask over a pool, {what} {each:.0f} ms a task", f"{more:+.1f} %", f"target +10 %; {note}".rstrip("; "))
