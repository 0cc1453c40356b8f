"""Times of one candidate, and ratios measured in the same run: python -m tests.benchmarks"""

import statistics
import time
from dataclasses import replace

from experiments.cases import request
from experiments.main import composed
from experiments.runner import run
from sim.measures import REGISTRY, evaluate
from sim.rolling.bodies import engine_access
from sim.rolling.scenarios import roll
from sim.trial import Candidate, Trial

REPEATS = 9
STATIC = [m.name for m in REGISTRY.values() if m.state not in ("stride", "nudge", "tight_turn", "blade")]


def median(work, repeats: int = REPEATS) -> float:
    """Median seconds of work(), after one call that is not counted."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def fresh(candidate: Candidate) -> Candidate:
    """The same blade with nothing solved yet."""
    return Candidate(candidate.name, candidate.recipe, candidate.section)


def main() -> None:
    """Print the table."""
    asked = request(composed([])[0])
    case = asked.cases[6]
    setting = case.setting
    for name in setting.scenarios:
        setting.program(name)
    _ = setting.reference_pitches
    ms = 1e3
    statics = median(lambda: evaluate(Trial(fresh(case.candidate), setting), STATIC))
    everything = median(lambda: evaluate(Trial(fresh(case.candidate), setting)))
    print(f"engine stepped from compiled code: {'yes' if engine_access() else 'no, plain loop'}")
    print(f"static measures of one candidate      {statics * ms:8.1f} ms")
    print(f"all measures, all scenarios           {everything * ms:8.1f} ms   asked for: under 150 ms")
    steel, ice = case.candidate.steel, setting.ice.numbers
    for name in setting.scenarios:
        args = (steel, ice, setting.law, setting.skater, setting.scenarios[name], setting.program(name))
        print(f"  scenario {name:12s}                 {median(lambda a=args: roll(*a)) * ms:8.1f} ms")
    args = (steel, ice, setting.law, setting.skater, setting.scenarios["stride"], setting.program("stride"))
    fast, plain = median(lambda: roll(*args)), median(lambda: roll(*args, plain=True), 3)
    print(f"stride, plain Python loop / compiled  {plain / fast:8.1f}      same bits, same engine")
    one = median(lambda: run(replace(asked, workers=1)), 3)
    two = median(lambda: run(replace(asked, workers=2)), 3)
    print(f"first look, one worker / two          {one / two:8.2f}      {one:.2f} s against {two:.2f} s, no figures")


if __name__ == "__main__":
    main()
