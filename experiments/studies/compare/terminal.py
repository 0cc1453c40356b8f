"""The comparison in the terminal: what is sure of each measure, what is tied, how each blade stands to single radii."""

import math
from collections.abc import Sequence

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from experiments.analysis.draws import Draws, intervals, ratio_samples
from experiments.analysis.judging.intervals import NEAR_CROWN_M, near_crown
from experiments.analysis.judging.order import flip_distance, tie_groups
from experiments.analysis.judging.statement import measured_at_two_places, statement
from experiments.analysis.judging.weights import log_gains
from experiments.report.shown import TERMINAL, TERMINAL_VALUES, heading
from experiments.report.tables import MOST_ROWS, cell, terminal_table
from experiments.report.words import (
    NOT_AVAILABLE,
    ankle_words,
    change_text,
    delay_words,
    groups_text,
    pair_label,
    ratio_text,
    share_text,
    statement_text,
    warm_ice,
)
from experiments.request.comparison import Request
from experiments.studies.compare.rows import Results, Row
from experiments.studies.compare.study import MOST_DRAWN_BLADES, Plan
from sim.measures import REGISTRY, STATIC
from sim.quantities import FOOT_M
from sim.trial import Setting

COLUMN, DRAWN_COLUMN = 9, 12  # characters of a column, without and with an interval
MOST_REASONS, MOST_UNSCORED = 10, 5
BEST_ROWS = 15  # of a comparison longer than MOST_ROWS
NOTE = (
    "Ratios: 1.05 is 5 % more than the reference. The third line of a heading says which way is better, the fourth is "
    "the unit of the reference's own row. The level of friction rests on an assumed roughness of the ice: trust ratios."
)
DRAWN = (
    "Each ratio is the median of the draws, under it from where to where nine of ten lie; all blades of a draw are "
    "under the same ice, skater and stance. Columns marked 'one run' are rolled once, at nominal values. Tied: the "
    "first of a group beats the others in fewer than nine of ten draws."
)
STOOD = (
    "Beyond: in 95 % of the draws no single radius on the blade's own runner and hollow does as well on both by half a "
    "percent. It is said inside this model only; a single radius that does as well on ice would refute it. Nominal: "
    "with nothing in doubt, and the nearest single radius; not the median."
)


GAINED = (
    "Nominal: how far beyond (+) or inside (-) the line of single radii on the blade's own runner and hollow, with "
    "nothing in doubt, and the nearest single radius. Whether that is sure: a short list of blades, or "
    "experiment=certainty."
)


def show(plan: Plan, results: Results, console: Console) -> None:
    """Print the tables of each skater, split into as many as the width of the screen asks for."""
    request = plan.request
    for setting in request.settings:
        _skater(request, setting, results, console)
    console.print(Text(NOTE))
    if results.draws:
        console.print(Text(DRAWN))
    elif plan.sampling:
        console.print(Text(
            f"Nominal values: intervals are computed for up to {MOST_DRAWN_BLADES} blades of a skater; shorten the "
            "list, or run experiment=certainty."
        ))  # fmt: skip
    if request.pairs:
        console.print(Text(STOOD if results.draws else GAINED))
    _cautions(results, request, console)


def _skater(request: Request, setting: Setting, results: Results, console: Console) -> None:
    """All that is said of the blades under one skater."""
    skater, reference = setting.skater, results.references[setting.skater.name]
    draws = results.draws.get(skater.name)
    rows = [row for row in results.rows if row.skater == skater.name]
    shown = rows if len(rows) <= MOST_ROWS else best_rows(rows, request)
    title = f"Ratio to the reference ({reference.candidate}), skater: {skater.name}, {skater.mass_kg:g} kg"
    if draws is not None:
        title += f"; {len(draws.points)} draws"
    for part in _parts(shown, console.width, results.measures, draws):
        console.print(_table(title, reference, shown, part, draws))
        title = ""
    if draws is not None:
        _orders(draws, request, console)
    if request.pairs:
        _stand(shown, request, setting, draws, console)
    if request.scheme.weights:
        _scored(rows, shown, request, draws, console)
    if len(rows) > MOST_ROWS:
        why = "best score" if request.scheme.weights else "greatest nominal gain on each pair"
        which = f"with the {why}" if request.scheme.weights or request.pairs else "listed first"
        console.print(f"The {len(shown)} {which} are shown; all {len(rows)} are in measures.csv.")


def _cautions(results: Results, request: Request, console: Console) -> None:
    """How many blades glide at a sensitive place, and which have measures missing."""
    near = near_crown_names(results, request)
    if near:
        blades = list(dict.fromkeys(row.candidate for row in results.rows))
        which = "every blade glides" if len(near) == len(blades) else f"{len(near)} of {len(blades)} blades glide"
        console.print(Text(
            f"Caution: {which} with the groove within {NEAR_CROWN_M * 1e6:.0f} µm of the "
            "crown of the hollow. There two water films become one, so that glide drag turns on small changes of "
            "load, hollow and hardness."
        ))  # fmt: skip
    for setting in {s.ice: s for s in request.settings}.values():
        if setting.ice.melts_under_hardness:
            console.print(Text(warm_ice(setting.ice)))
    console.print(Text(ankle_words(request.settings)))
    delays = [r.values.get("critical_reaction_delay", math.nan) for r in results.references.values()]
    if len(delays) == 1 and math.isfinite(delays[0]):
        console.print(Text(delay_words(delays[0])))
    missing = [row for row in results.rows if row.reasons]
    console.print(f"{len(results.rows) - len(missing)} of {len(results.rows)} candidates have every measure.")
    for row in missing[:MOST_REASONS]:
        console.print(Text(f"  {row.candidate}, {row.skater}: {len(row.reasons)} measures missing: {row.reason}"))


def best_rows(rows: list[Row], request: Request) -> list[Row]:
    """Rows that a table has room for: by score, else by nominal gain on each pair in turn, else those listed first."""
    if request.scheme.weights or not request.pairs:
        return _by_score(rows)[:BEST_ROWS]
    each, out = BEST_ROWS // len(request.pairs), {}
    for pair in request.pairs[:BEST_ROWS]:
        known = sorted((r for r in rows if math.isfinite(r.gains[pair].gain)), key=lambda r, p=pair: -r.gains[p].gain)
        out |= {row.index: row for row in known[: max(each, 1)]}
    return list(out.values()) or rows[:BEST_ROWS]


def _by_score(rows: list[Row]) -> list[Row]:
    """Best score first, those without one last and in their own order."""
    return sorted(rows, key=lambda row: -row.score if math.isfinite(row.score) else math.inf)


def _parts(rows: list[Row], width: int, measures: tuple[str, ...], draws: Draws | None) -> list[list[str]]:
    """The columns in groups that fit beside the names."""
    names = max(len("candidate"), *(len(row.candidate) for row in rows))
    fit = max(3, (width - names - 2) // (COLUMN if draws is None else DRAWN_COLUMN))
    columns = [name for name in (*TERMINAL, *TERMINAL_VALUES) if name in measures]
    fit = math.ceil(len(columns) / math.ceil(len(columns) / fit))  # even tables
    return [columns[i : i + fit] for i in range(0, len(columns), fit)]


def _table(title: str, reference: Row, rows: list[Row], columns: list[str], draws: Draws | None) -> Table:
    better = {"lower": "less", "higher": "more", "neither": ""}
    headings = ["candidate"]
    for name in columns:
        unit = REGISTRY[name].shown_unit.replace("N m/rad", "Nm/rad").replace("N m", "Nm")
        drawn = "" if draws is None or name in STATIC or name in TERMINAL_VALUES else "\none run"
        headings.append(f"{heading(name)}\n{better[REGISTRY[name].better]}\n{unit}{drawn}")
    table = terminal_table(title, headings)
    for column in table.columns:
        column.no_wrap = True
    table.add_row("reference itself", *(_value(reference, name) for name in columns), end_section=True)
    spread = {} if draws is None else {n: intervals(ratio_samples(draws, n)) for n in columns if n in STATIC}
    for row in rows:
        table.add_row(row.candidate, *(_ratio(row, reference, name, spread, draws) for name in columns))
    return table


def _value(row: Row, name: str) -> str:
    return cell(REGISTRY[name].to_shown(row.values[name]), "+.2f" if name in TERMINAL_VALUES else ".3g")


def _ratio(row: Row, reference: Row, name: str, spread: dict[str, np.ndarray], draws: Draws | None) -> str:
    """A ratio, with its interval below where it is drawn; a value where a ratio means nothing."""
    if draws is not None and name in spread:
        low, middle, high = spread[name][:, draws.candidates.index(row.candidate)]
        if name not in TERMINAL_VALUES:
            return f"{ratio_text(middle)}\n{ratio_text(low)}-{ratio_text(high)}"
        low, middle, high = (REGISTRY[name].to_shown(x) for x in (low, middle, high))
        return f"{cell(middle, '+.2f')}\n{cell(low, '+.2f')} to {cell(high, '+.2f')}"
    if name in TERMINAL_VALUES:
        return _value(row, name)
    value, base = row.values[name], reference.values[name]
    return ratio_text(value / base if base else math.nan)


def near_crown_names(results: Results, request: Request) -> list[str]:
    """Names of blades whose glide groove lies near the crown of their hollow: a sensitive place."""
    crown = {case.index: case.candidate.section.depth_m for case in request.cases}
    rows = [row for row in results.rows if near_crown(row.values["glide_groove_depth"], crown[row.index])]
    return list(dict.fromkeys(row.candidate for row in rows))


def _orders(draws: Draws, request: Request, console: Console) -> None:
    """For each directed measure, the blades in tie groups."""
    table = terminal_table("Order by each measure, best first", ["measure", "blades"], (0, 1))
    for name in TERMINAL:
        if name in STATIC and REGISTRY[name].better != "neither":
            samples = draws.values[:, :, STATIC.index(name)]
            groups = tie_groups(samples, REGISTRY[name].better, request.opinions)
            table.add_row(REGISTRY[name].short, groups_text(groups, draws.candidates))
    console.print(table)


def _stand(rows: list[Row], request: Request, setting: Setting, draws: Draws | None, console: Console) -> None:
    """How each blade stands to all single radii on each declared pair."""
    headings = ["candidate"]
    for pair in request.pairs:
        places = "\nmeasured at two places of the blade" if measured_at_two_places(pair, setting.states) else ""
        headings.append(f"{pair_label(pair)}{places}")
    table = terminal_table("Against every single radius", headings, tuple(range(len(headings))))
    for row in rows:
        table.add_row(row.candidate, *(_stands(row, pair, draws, request) for pair in request.pairs))
    console.print(table)


def _stands(row: Row, pair: tuple[str, str], draws: Draws | None, request: Request) -> str:
    gain = row.gains[pair]
    if not math.isfinite(gain.gain):
        return NOT_AVAILABLE
    end = ", the end of the range" if gain.at_end else ""
    nominal = f"nominal {change_text(gain.gain)}, {gain.radius_m / FOOT_M:.1f} ft{end}"
    if draws is None:
        return nominal
    if pair not in draws.pairs:
        return f"one run\n{nominal}"
    samples = draws.gain[:, draws.candidates.index(row.candidate), draws.pairs.index(pair)]
    return f"{statement_text(statement(samples, request.opinions), intervals(samples))}\n{nominal}"


def _scored(rows: list[Row], shown: list[Row], request: Request, draws: Draws | None, console: Console) -> None:
    """The score by the weighting that was asked for, and what it takes to turn its first place round."""
    table = terminal_table(f"Score by the weighting {request.scheme.name!r}", ["candidate", "nominal", "of the draws"])
    spread = None if draws is None else intervals(draws.score)
    for row in _by_score(shown):
        drawn = "" if spread is None else _interval(spread[:, draws.candidates.index(row.candidate)])
        table.add_row(row.candidate, cell(row.score, "+.3f"), drawn)
    console.print(table)
    if draws is not None and np.isfinite(draws.score).any():
        groups = tie_groups(draws.score, "higher", request.opinions)
        console.print(Text(f"In order: {groups_text(groups, draws.candidates)}."))
        console.print(Text(flip_text(draws, request)))
    console.print(Text(
        "Score: sum of weight x log2(ratio, better above 1) over the sum of weights; +0.1 is 7 % better overall. The "
        "weights are an opinion; its parts are in results.h5/judgement."
    ))  # fmt: skip
    for row in [row for row in rows if not math.isfinite(row.score)][:MOST_UNSCORED]:
        parts = [REGISTRY[name].label for name, part in row.parts.items() if not math.isfinite(part)]
        console.print(
            Text(f"  {row.candidate} has no score: {', '.join(parts)} is missing or nil, which has no ratio.")
        )


def _interval(spread: Sequence[float]) -> str:
    return f"{cell(spread[1], '+.3f')} ({cell(spread[0], '+.3f')} to {cell(spread[2], '+.3f')})"


def flip_text(draws: Draws, request: Request) -> str:
    """How much of the weighting must move for another blade to come first, by medians."""
    names = list(request.scheme.weights)
    places = [STATIC.index(name) for name in names]
    ways = [request.scheme.better[name] for name in names]
    gains = log_gains(draws.values[:, :, places], draws.references[:, places], ways)
    medians = np.median(gains, axis=0)
    flip = flip_distance(np.array([request.scheme.weights[n] for n in names]), medians, request.opinions)
    if flip.first < 0:
        return "No blade has every part of the score in every draw."
    first = draws.candidates[flip.first]
    if flip.rival < 0:
        return f"{first} stays first however these weights are shared out."
    taste = ": a matter of taste" if flip.taste else ""
    return (
        f"By medians {first} is first; {draws.candidates[flip.rival]} would be when {share_text(flip.distance, 1)} of "
        f"the weight moves to {REGISTRY[names[flip.to]].label}{taste}."
    )
