"""Tables of a certainty study: draws, intervals, who beats whom, places; and the medians in the terminal."""

import math
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.text import Text

from experiments.analysis.draws import Draws, beats, intervals, ranks
from experiments.analysis.judging.statement import measured_at_two_places, statement
from experiments.report.draw_tables import write_draws, write_intervals
from experiments.report.sources import cite_statics
from experiments.report.tables import MOST_ROWS, cell, cells, terminal_table
from experiments.report.words import said_text, share_text
from experiments.request.opinions import Opinions
from experiments.run.files import csv_table
from experiments.run.folder import RunFolder
from experiments.studies.certainty.study import Plan
from sim.measures import REGISTRY, STATIC


def write(plan: Plan, draws: Draws, folder: RunFolder) -> None:
    """results.h5, intervals.csv, beats.csv and ranks.csv."""
    write_draws(folder.path / "results.h5", draws, plan.sampling.inputs, folder.attributes())
    write_intervals(folder.path / "intervals.csv", draws)
    write_beats(folder.path / "beats.csv", draws, plan.request.scheme.name)
    write_ranks(folder.path / "ranks.csv", draws)


def cite(plan: Plan, draws: Draws) -> list[str]:
    """What the run rests on."""
    return cite_statics(plan.request)


def write_beats(path: Path, draws: Draws, scheme: str) -> None:
    """Share of draws in which the row's candidate beats the column's, on the weighting and on each directed measure."""
    directed = [name for name in STATIC if REGISTRY[name].better != "neither"]
    sheets = [(f"weighting {scheme}", draws.score, "higher")]
    sheets += [(name, draws.values[:, :, STATIC.index(name)], REGISTRY[name].better) for name in directed]
    with csv_table(path, ["on", "candidate", *draws.candidates]) as writer:
        for label, samples, better in sheets:
            for candidate, shares in zip(draws.candidates, beats(samples, better)):
                writer.writerow([label, candidate, *(f"{s:.4f}" if math.isfinite(s) else "" for s in shares)])


def write_ranks(path: Path, draws: Draws) -> None:
    """How steady the order by the weighting is: share of draws in which each candidate takes each place."""
    places = np.arange(1, len(draws.candidates) + 1)
    rank = ranks(draws.score, "higher")
    with csv_table(path, ["candidate", "mean_rank", *(f"share_at_{p}" for p in places)]) as writer:
        for i, candidate in enumerate(draws.candidates):
            shares = [f"{(rank[:, i] == p).mean():.4f}" for p in places] if len(rank) else [""] * len(places)
            writer.writerow([candidate, f"{rank[:, i].mean():.3f}" if len(rank) else "", *shares])


def show(plan: Plan, draws: Draws, console: Console) -> None:
    """Medians and intervals; how often each candidate is first."""
    rank, spread = ranks(draws.score, "higher"), intervals(draws.score)
    headings = ["candidate", f"score ({plan.request.scheme.name})\n5 / 50 / 95 %", "first\nin"]
    headings += [_heading(pair, plan) for pair in draws.pairs]
    failed = int(draws.failed.sum())
    table = terminal_table(f"Uncertainty (90 % intervals), {len(draws.points)} draws, {failed} failed", headings)
    for i in np.argsort(-np.nan_to_num(spread[1], nan=-math.inf))[:MOST_ROWS]:
        first = share_text((rank[:, i] == 1).mean()) if len(rank) else share_text(math.nan)
        gains = [_gain(draws.gain[:, i, k], plan.request.opinions) for k in range(len(draws.pairs))]
        table.add_row(draws.candidates[i], cells(spread[:, i], "+.3f"), first, *gains)
    console.print(table)
    opinions = plan.request.opinions
    console.print(Text(
        "Shared inputs are the same for all candidates of a draw; grinding errors are each blade's own. Gains are 5 / "
        f"50 / 95 % of the draws; beyond: above {1 + opinions.line_within:g} in {share_text(opinions.line_sure)} of "
        "them. * measured at two places of the blade: zones leave the line almost by construction. Who beats whom: "
        "beats.csv."
    ))  # fmt: skip


def _heading(pair: tuple[str, str], plan: Plan) -> str:
    star = "*" if measured_at_two_places(pair, plan.request.settings[0].states) else ""
    return f"gain{star}, {REGISTRY[pair[0]].label} |\n{REGISTRY[pair[1]].label}"


def _gain(gain: np.ndarray, opinions: Opinions) -> str:
    spread = intervals(gain)
    return f"{cells(spread)}; {said_text(statement(gain, opinions))}" if np.isfinite(spread).all() else cell(math.nan)
