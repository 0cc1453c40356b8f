"""Times that a busy machine disturbs little: processor time, medians over repeats, lines of one table."""

import itertools
import statistics
import time
from dataclasses import replace

from sim.trial import Candidate

MS = 1e3


def median(work, repeats: int = 9, clock=time.process_time) -> float:
    """Median processor seconds of work(), after one call that is not counted."""
    work()
    times = []
    for _ in range(repeats):
        start = clock()
        work()
        times.append(clock() - start)
    return statistics.median(times)


_numbers = itertools.count(1)


def fresh(candidate: Candidate) -> Candidate:
    """A blade like this one that nothing is known of: radii differ by a billionth from those of any before."""
    factor = 1 + 1e-9 * next(_numbers)
    recipe = replace(candidate.recipe, radii_m=tuple(r * factor for r in candidate.recipe.radii_m))
    return Candidate(candidate.name, recipe, candidate.section)


def line(what: str, value: str, note: str = "") -> None:
    """One line of the table."""
    print(f"{what:52s}{value:>16s}   {note}".rstrip(), flush=True)
