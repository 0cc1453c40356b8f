"""Tables of a stance map: results.h5, and the best and worst stance of every candidate in the terminal."""

import h5py
import numpy as np
from rich.console import Console
from rich.text import Text

from experiments.analysis.judging.statement import statement
from experiments.report import sources
from experiments.report.tables import MOST_ROWS, cell, terminal_table
from experiments.report.words import NOT_AVAILABLE, pair_label, share_text
from experiments.request.opinions import Opinions
from experiments.run.files import h5_file, put, scale
from experiments.run.folder import RunFolder
from experiments.studies.stance_map.study import SURROUNDINGS, Plan, StanceMap, stated_place
from experiments.studies.stance_map.words import moves_text
from sim.measures import REGISTRY


def write(plan: Plan, result: StanceMap, folder: RunFolder) -> None:
    """results.h5: stance/gain(candidate, pair, glide_line, turn_line), its measures, over_*/gain."""
    with h5_file(folder.path / "results.h5", folder.attributes()) as file:
        group = file.create_group("stance")
        candidate, pair = _names(group, "candidate", result.candidates), _names(group, "pair", _joined(result.pairs))
        lines = [scale(group, "glide_line", result.glide_m, "m"), scale(group, "turn_line", result.turn_m, "m")]
        put(group, "gain", result.gain, "1", "frontier gain G", candidate, pair, *lines)
        for name, values in result.measures.items():
            along = lines[0 if REGISTRY[name].state == "glide" else 1]
            put(group, name, values, REGISTRY[name].unit, REGISTRY[name].label, along, candidate)
        for name, block in result.around.items():
            _write_around(file.create_group(f"over_{name}"), name, block, result)


def _write_around(group: h5py.Group, name: str, block: np.ndarray, result: StanceMap) -> None:
    values, words = SURROUNDINGS[name]
    value = scale(group, name, values, "K" if name == "temperature_shift" else "1", words)
    candidate, pair = _names(group, "candidate", result.candidates), _names(group, "pair", _joined(result.all_pairs))
    put(group, "gain", block, "1", "frontier gain G", value, candidate, pair)


def _names(group: h5py.Group, axis: str, names) -> h5py.Dataset:
    return scale(group, axis, np.array(list(names), dtype=object))


def _joined(pairs) -> list[str]:
    return [" | ".join(pair) for pair in pairs]


def cite(plan: Plan, result: StanceMap) -> list[str]:
    """What the run rests on."""
    return sources.cite(plan.request, [name for pair in result.all_pairs for name in pair])


def show(plan: Plan, result: StanceMap, console: Console) -> None:
    """Best and worst stance of every candidate for every pair, and what it comes to at the stated one."""
    headings = ("candidate", "pair", "least", "stated", "most", "at glide / turn, mm", "share of stances beyond")
    table = terminal_table("Nominal frontier gain over stances: nothing else in doubt", headings, left=(0, 1))
    for i, name in enumerate(result.candidates[:MOST_ROWS]):
        for p, pair in enumerate(result.pairs):
            at = stated_place(plan, result)
            table.add_row(name, pair_label(pair), *_best(result, result.gain[i, p], at, plan.request.opinions))
    console.print(table)
    console.print(Text(moves_text(plan.request.settings[0])))


def _best(result: StanceMap, gain: np.ndarray, at: tuple[int, int], opinions: Opinions) -> list[str]:
    if np.isnan(gain).all():
        return [NOT_AVAILABLE, NOT_AVAILABLE, NOT_AVAILABLE, "", ""]
    g, t = np.unravel_index(np.nanargmax(gain), gain.shape)
    where = f"{result.glide_m[g] * 1e3:+.0f} / {result.turn_m[t] * 1e3:+.0f}"
    past = statement(gain.ravel(), opinions).share_beyond
    return [cell(np.nanmin(gain)), cell(gain[at]), cell(gain[g, t]), where, share_text(past)]
