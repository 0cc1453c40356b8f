"""The comparison: many blades under one or more skaters, in one table, with every figure."""

from dataclasses import dataclass

from experiments import report, store
from experiments.cases import Request, request
from experiments.crew import count
from experiments.figures import draw_all
from experiments.runner import Results, run


@dataclass(frozen=True)
class Compared:
    """What came of a comparison."""

    request: Request
    results: Results

    @property
    def answered(self) -> bool:
        """Whether any blade has any measure."""
        return any(len(row.reasons) < len(row.values) for row in self.results.rows)


def read_compare(own: dict, rest: dict):
    """Check the request of a comparison; returns it and what runs it."""
    asked = request({**rest, **own})  # a key that belongs to a study is unknown here

    def compare(folder, on_chunk):
        folder.log(f"{len(asked.cases)} cases; the first run on a machine compiles for about half a minute")
        results = run(asked, folder.crew, on_chunk)
        for row in [row for row in results.rows if row.reasons][:1000]:
            bad = {name: what for name, what in row.outcomes.items() if what != "finished"}
            folder.log(f"{row.candidate}, {row.skater}: {bad} [{row.reason}]")
        store.write_h5(folder.path / "results.h5", results, folder.attributes())
        store.write_csv(folder.path / "measures.csv", results)
        return Compared(asked, results)

    return asked, compare


def draw(made: Compared, folder) -> list:
    """All figures."""
    label = made.request.settings[0].reference.name
    workers = count(made.request.workers)
    return draw_all(made.results, label, folder, workers if isinstance(workers, int) else 1)


def show(made: Compared, asked: Request, console) -> None:
    """The tables."""
    report.show(made.results, asked, console)
