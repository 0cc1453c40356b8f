"""How time grows: with quadrature points, stations, candidates and simulated time."""

from dataclasses import replace

from sim.ice.contact import GAUSS
from sim.ice.drag import film_shear
from sim.ice.scrape import turn_scrape
from sim.ice.standing import stand
from sim.measures import STATIC, evaluate
from sim.rolling.scenarios import roll
from sim.skater.movement import program
from sim.trial import FINE, Trial
from tests.benchmarks.timing import MS, fresh, line, median

US = 1e6


def _row(what, sizes, seconds, unit=US, name="us"):
    line(what, " ".join(f"{s * unit:.4g}" for s in seconds) + f" {name}", "at " + ", ".join(str(s) for s in sizes))


def many(work, calls: int = 200) -> float:
    """Median seconds of one call, timed over many."""

    def all_calls():
        for _ in range(calls):
            work()

    return median(all_calls, 7) / calls


def show(case) -> None:
    """Lines of the table."""
    trial, setting = Trial(case.candidate, case.setting), case.setting
    steel, ice, law, push, turn = trial.steel, trial.ice, setting.law, trial.state("push"), trial.patch("turn")
    where = push.tan_lean, trial.load("push"), push.line_m
    points = sorted(GAUSS)
    _row("contact solved, by quadrature points", points,
         [many(lambda n=n: stand(steel, ice, law, *where, *GAUSS[n])) for n in points])  # fmt: skip
    steps = (64, 128, 256, 512)
    _row("melt film, by steps", steps, [many(lambda n=n: film_shear(steel, ice, law, turn, 4.0, n)) for n in steps])
    grids = ((12, 24), (24, 48), (48, 96), (96, 192))
    _row("turn scrape, by stations x columns", [f"{a} x {b}" for a, b in grids],
         [many(lambda g=g: turn_scrape(steel, ice, turn, 1.8, *g, *FINE), 20) for g in grids])  # fmt: skip
    counts = (10, 40, 160)

    def statics(count):
        for _ in range(count):
            evaluate(Trial(fresh(case.candidate), setting), STATIC)

    _row("static measures, by candidates", counts, [median(lambda n=n: statics(n), 3) for n in counts], MS, "ms")
    lengths = (1.0, 2.0, 4.0)
    nudges = [replace(setting.scenarios["nudge"], duration_s=t) for t in lengths]
    programs = [program(n, setting.skater, steel, ice, law) for n in nudges]
    times = [median(lambda a=(n, p): roll(steel, ice, law, setting.skater, *a), 7) for n, p in zip(nudges, programs)]
    _row("nudge, by simulated seconds", lengths, times, MS, "ms")
