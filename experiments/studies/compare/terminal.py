"""The comparison as a table in the terminal: ratios to the reference, values where a ratio means nothing."""

import math

from rich.console import Console
from rich.table import Table
from rich.text import Text

from experiments.analysis.judging.intervals import BEYOND, INSIDE, NEAR_CROWN_M, near_crown
from experiments.report.shown import TERMINAL, TERMINAL_VALUES, heading
from experiments.report.tables import MOST_ROWS, cell, terminal_table
from experiments.report.words import NOT_AVAILABLE, ankle_words, delay_words, warm_ice
from experiments.request.comparison import Request
from experiments.studies.compare.rows import Results, Row
from experiments.studies.compare.study import Plan
from sim.measures import REGISTRY
from sim.quantities import FOOT_M

COLUMN = 9  # characters of a column
MOST_REASONS, MOST_UNSCORED = 10, 5
BEST_ROWS = 15  # of a comparison longer than MOST_ROWS
JUDGED = (
    "Score: sum of weight x log2(ratio, better above 1) over the sum of weights; +0.1 is 7 % better overall; its parts "
    "are in results.h5/judgement. Beyond: no single radius on the blade's own runner and hollow has as little of both; "
    "the percentage is the frontier gain, the radius the nearest one. Intervals: experiment=certainty."
)
NOTE = (
    "Ratios: 1.05 is 5 % more than the reference. The third line of a heading says which way is better, the fourth is "
    "the unit of the reference's own row. The level of friction rests on an assumed roughness of the ice: trust ratios."
)


def show(plan: Plan, results: Results, console: Console) -> None:
    """Print the tables of each skater, split into as many as the width of the screen asks for."""
    request = plan.request
    masses = {setting.skater.name: setting.skater.mass_kg for setting in request.settings}
    for skater, reference in results.references.items():
        rows = [row for row in results.rows if row.skater == skater]
        shown = rows if len(rows) <= MOST_ROWS else _by_score(rows)[:BEST_ROWS]
        who = f"{skater}, {masses[skater]:g} kg"
        title = f"Ratio to the reference ({reference.candidate}), skater: {who}"
        for part in _parts(shown, console.width, results.measures):
            console.print(_table(title, reference, shown, part))
            title = ""
        _judgement(rows, shown, request, who, console)
        if len(rows) > MOST_ROWS:
            console.print(f"The {BEST_ROWS} with the best score are shown; all {len(rows)} are in measures.csv.")
    console.print(Text(NOTE))
    console.print(Text(JUDGED))
    _cautions(results, request, console)


def _cautions(results: Results, request: Request, console: Console) -> None:
    """Which blades glide at a sensitive place, and which have measures missing."""
    near = near_crown_names(results, request)
    if near:
        others = {1: " glides", 2: " and one other blade glide"}.get(
            len(near), f" and {len(near) - 1} other blades glide"
        )
        console.print(Text(
            f"Caution: {near[0]}{others} with the groove within {NEAR_CROWN_M * 1e6:.0f} um of the crown of the "
            "hollow. There two water films become one, so that glide drag turns on small changes of load, hollow and "
            "hardness."
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


def _by_score(rows: list[Row]) -> list[Row]:
    """Best score first, those without one last."""
    return sorted(rows, key=lambda row: -row.score if math.isfinite(row.score) else math.inf)


def _parts(rows: list[Row], width: int, measures: tuple[str, ...]) -> list[list[str]]:
    """The columns in groups that fit beside the names."""
    names = max(len("candidate"), *(len(row.candidate) for row in rows))
    fit = max(3, (width - names - 2) // COLUMN)
    columns = [name for name in (*TERMINAL, *TERMINAL_VALUES) if name in measures]
    fit = math.ceil(len(columns) / math.ceil(len(columns) / fit))  # even tables
    return [columns[i : i + fit] for i in range(0, len(columns), fit)]


def _table(title: str, reference: Row, rows: list[Row], columns: list[str]) -> Table:
    better = {"lower": "less", "higher": "more", "neither": ""}
    headings = ["candidate"]
    for name in columns:
        unit = REGISTRY[name].shown_unit.replace("N m/rad", "Nm/rad").replace("N m", "Nm")
        headings.append(f"{heading(name)}\n{better[REGISTRY[name].better]}\n{unit}")
    table = terminal_table(title, headings)
    for column in table.columns:
        column.no_wrap = True
    table.add_row("reference itself", *(_value(reference, name) for name in columns), end_section=True)
    for row in rows:
        table.add_row(row.candidate, *(_ratio(row, reference, name) for name in columns))
    return table


def _value(row: Row, name: str) -> str:
    return cell(REGISTRY[name].to_shown(row.values[name]), "+.2f" if name in TERMINAL_VALUES else ".3g")


def _ratio(row: Row, reference: Row, name: str) -> str:
    if name in TERMINAL_VALUES:
        return _value(row, name)
    value, base = row.values[name], reference.values[name]
    return cell(value / base if base else math.nan)


def near_crown_names(results: Results, request: Request) -> list[str]:
    """Names of blades whose glide groove lies near the crown of their hollow: a sensitive place."""
    crown = {case.index: case.candidate.section.depth_m for case in request.cases}
    rows = [row for row in results.rows if near_crown(row.values["glide_groove_depth"], crown[row.index])]
    return list(dict.fromkeys(row.candidate for row in rows))


def _judgement(rows: list[Row], shown: list[Row], request: Request, who: str, console: Console) -> None:
    """The score and, for each pair of costs, how the candidate stands to all single radii."""
    headings = ["candidate", f"score\n{request.scheme.name}"]
    for a, b in request.pairs:
        headings.append(f"beyond every single radius on\n{REGISTRY[a].label}\nand {REGISTRY[b].label}?")
    table = terminal_table(f"Score and frontier gain, skater: {who}", headings)
    for row in _by_score(shown):
        table.add_row(row.candidate, cell(row.score, "+.3f"), *(_gain(row, pair) for pair in request.pairs))
    console.print(table)
    for row in [row for row in rows if not math.isfinite(row.score)][:MOST_UNSCORED]:
        parts = [REGISTRY[name].label for name, part in row.parts.items() if not math.isfinite(part)]
        console.print(
            Text(f"  {row.candidate} has no score: {', '.join(parts)} is missing or nil, which has no ratio.")
        )


def _gain(row: Row, pair: tuple[str, str]) -> str:
    gain = row.gains[pair]
    if not math.isfinite(gain.gain):
        return NOT_AVAILABLE
    feet, percent = gain.radius_m / FOOT_M, 100 * abs(gain.gain - 1)
    end = ", the end of the range" if gain.at_end else ""
    if gain.gain > BEYOND:
        return f"yes, {percent:.1f} % past {feet:.1f} ft{end}"
    if gain.gain > INSIDE:
        return f"on the line, {feet:.1f} ft{end}"
    return f"no, {feet:.1f} ft has {percent:.1f} % less{end}"
