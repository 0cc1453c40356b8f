"""One candidate: its static measures, all its measures, each scenario, and the two loops."""

from sim.measures import STATIC, evaluate
from sim.rolling.bodies import engine_access
from sim.rolling.scenarios import roll
from sim.trial import Trial
from tests.benchmarks.timing import MS, fresh, line, median

BATCH = 40
NEEDED = ("stride", "tight_turn", "nudge")  # the scenarios that measures ask for


def show(case) -> None:
    """Lines of the table about one case."""
    setting = case.setting

    def batch():
        for _ in range(BATCH):
            evaluate(Trial(fresh(case.candidate), setting), STATIC)

    statics = median(batch, 15) / BATCH
    line("static measures of one fresh candidate", f"{statics * MS:.2f} ms", f"{1 / statics:.0f}/s; target 1000/s")
    everything = median(lambda: evaluate(Trial(fresh(case.candidate), setting)), 15)
    line("all measures and the scenarios they need", f"{everything * MS:.1f} ms", "target 25 ms")
    for name in NEEDED:
        args = arguments(case, name)
        seconds = median(lambda a=args: roll(*a), 15)
        line(f"  scenario {name}", f"{seconds * MS:.2f} ms")
    args = arguments(case, "stride")
    fast, plain = median(lambda: roll(*args)), median(lambda: roll(*args, plain=True), 3)
    how = "same bits, same engine" if engine_access() else "engine's memory not found: both are the plain loop"
    line("  stride: plain Python loop / compiled loop", f"{plain / fast:.1f}", how)


def arguments(case, name: str):
    """What `roll` takes for a scenario of this case."""
    s = case.setting
    return case.candidate.steel, s.ice.numbers, s.law, s.skater, s.scenarios[name], s.program(name)
