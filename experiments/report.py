"""The comparison as a table in the terminal: ratios to the reference, values where a ratio means nothing."""

import math

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from experiments.runner import Results, Row
from experiments.scoring import Weighting
from sim.measures import REGISTRY

# (measure, heading of two lines): what a person at the counter asks first, as ratios
HEADLINE = (
    ("glide_drag_coefficient", "glide\ndrag"),
    ("stride_ice_loss", "stride\nloss"),
    ("pivot_forefoot_toe_in", "pivot\ntoe"),
    ("pivot_heel_toe_in", "pivot\nheel"),
    ("turn_drag", "turn\ndrag"),
    ("turn_tightest_clean_radius", "clean\nradius"),
    ("push_hold_angle", "push\nhold"),
    ("critical_ankle_stiffness", "ankle\nneeded"),
    ("nudge_settling_time", "nudge\nsettles"),
)
PLAIN = (("heel_over_toe", "heel\nup"), ("steel_removed_depth", "steel\noff"))  # as values: a ratio means nothing
MOST_ROWS = 40
NOTE = (
    "Ratios: 1.05 is 5 % more than the reference. The third line of a heading says which way is better, the fourth is "
    "the unit of the reference's own row. Smooth-ice theory lies 30 to 60 % below measured friction: trust ratios."
)


def show(results: Results, scheme: Weighting, pairs, console: Console) -> None:
    """Print one table per skater, split into as many as the width of the screen asks for."""
    for skater, reference in results.references.items():
        rows = [row for row in results.rows if row.skater == skater]
        title = f"Ratio to the reference ({reference.candidate}), skater: {skater}"
        for part in _parts(rows, console.width):
            console.print(_table(title, reference, rows, part))
            title = ""
        if len(rows) > MOST_ROWS:
            console.print(f"{len(rows) - MOST_ROWS} more rows are in measures.csv.")
    console.print(Text(NOTE))
    _judgement(results, scheme, pairs, console)
    scored = sum(not row.reasons for row in results.rows)
    console.print(f"{scored} of {len(results.rows)} candidates have every measure.")
    for row in [row for row in results.rows if row.reasons][:10]:
        console.print(Text(f"  {row.candidate}, {row.skater}: {len(row.reasons)} measures missing: {row.reason}"))


def _parts(rows, width):
    """The columns in groups that fit beside the names."""
    names = max(len("candidate"), *(len(row.candidate) for row in rows))
    fit = max(3, (width - names - 2) // 9)
    columns = (*HEADLINE, *PLAIN)
    fit = math.ceil(len(columns) / math.ceil(len(columns) / fit))  # even tables
    return [columns[i : i + fit] for i in range(0, len(columns), fit)]


def _table(title: str, reference: Row, rows: list[Row], columns) -> Table:
    table = Table(title=title or None, title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("candidate", no_wrap=True)
    for name, heading in columns:
        measure = REGISTRY[name]
        better = {"lower": "less", "higher": "more", "neither": ""}[measure.better]
        unit = measure.shown_unit.replace("N m/rad", "Nm/rad").replace("N m", "Nm")
        table.add_column(f"{heading}\n{better}\n{unit}", justify="right", no_wrap=True)
    table.add_row("reference itself", *(_value(reference, name) for name, _ in columns), end_section=True)
    for row in rows[:MOST_ROWS]:
        table.add_row(row.candidate, *(_ratio(row, reference, name) for name, _ in columns))
    return table


def _value(row: Row, name: str) -> str:
    value = REGISTRY[name].to_shown(row.values[name])
    return "none" if not math.isfinite(value) else f"{value:+.2f}" if name in dict(PLAIN) else f"{value:.3g}"


def _ratio(row: Row, reference: Row, name: str) -> str:
    if name in dict(PLAIN):
        return _value(row, name)
    value, base = row.values[name], reference.values[name]
    if not (math.isfinite(value) and math.isfinite(base)) or base == 0:
        return "none"
    return f"{value / base:.3f}"


def _judgement(results: Results, scheme: Weighting, pairs, console: Console) -> None:
    """The score and, for each pair of costs, how the candidate stands to all single radii."""
    table = Table(title="Judged", title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
    table.add_column("candidate", no_wrap=True)
    table.add_column(f"score\n{scheme.name}", justify="right")
    for a, b in pairs:
        table.add_column(f"{REGISTRY[a].label}\n{REGISTRY[b].label}", justify="right")
    best = sorted(results.rows, key=lambda row: -row.score if math.isfinite(row.score) else math.inf)
    several = len(results.references) > 1
    for row in best[:MOST_ROWS]:
        name = f"{row.candidate}, {row.skater}" if several else row.candidate
        table.add_row(name, _signed(row.score), *(_gain(row, pair) for pair in pairs))
    console.print(table)
    console.print(Text(
        "Score: sum of weight x log2(ratio, better above 1) over the sum of weights; +0.1 is 7 % better overall; the "
        "parts are in results.h5/judgement. Frontier gain of a pair: above 1, no single radius matches the candidate "
        "on both; below 1, the radius named beats it on both. No interval here: see experiment=certainty."
    ))  # fmt: skip


def _signed(value: float) -> str:
    return f"{value:+.3f}" if math.isfinite(value) else "none"


def _gain(row: Row, pair) -> str:
    gain = row.gains[pair]
    if not math.isfinite(gain.gain):
        return "none"
    return f"{gain.gain:.3f} at {gain.radius_m / 0.3048:.1f} ft" + (" (end of range)" if gain.at_end else "")
