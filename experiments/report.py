"""The comparison as a table in the terminal: ratios to the reference, values where a ratio means nothing."""

import math

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from experiments.cases import Request
from experiments.runner import Results, Row
from experiments.scoring import BEYOND, Weighting
from sim.measures import REGISTRY
from sim.quantities import FOOT_M

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
MOST_ROWS, FEW = 40, 15  # a longer comparison shows its best few
JUDGED = (
    "Score: sum of weight x log2(ratio, better above 1) over the sum of weights; +0.1 is 7 % better overall; its parts "
    "are in results.h5/judgement. Beyond: no single radius on the blade's own runner and hollow has as little of both; "
    "the percentage is the frontier gain, the radius the nearest one. No interval here: see experiment=certainty."
)
NOTE = (
    "Ratios: 1.05 is 5 % more than the reference. The third line of a heading says which way is better, the fourth is "
    "the unit of the reference's own row. Smooth-ice theory lies 30 to 45 % below measured friction: trust ratios."
)


def show(results: Results, request: Request, console: Console) -> None:
    """Print the tables of each skater, split into as many as the width of the screen asks for."""
    masses = {setting.skater.name: setting.skater.mass_kg for setting in request.settings}
    for skater, reference in results.references.items():
        rows = [row for row in results.rows if row.skater == skater]
        who = f"{skater}, {masses[skater]:g} kg"
        title = f"Ratio to the reference ({reference.candidate}), skater: {who}"
        shown = rows if len(rows) <= MOST_ROWS else _by_score(rows)[:FEW]
        for part in _parts(shown, console.width, results.measures):
            console.print(_table(title, reference, shown, part))
            title = ""
        _judgement(rows, request.scheme, request.pairs, who, console)
        if len(rows) > MOST_ROWS:
            console.print(f"The {FEW} of the best score are shown; all {len(rows)} are in measures.csv.")
    console.print(Text(NOTE))
    console.print(Text(JUDGED))
    near = near_crown(results, request)
    if near:
        others = f" and {len(near) - 1} more" if len(near) > 1 else ""
        console.print(Text(
            f"Caution: {near[0]}{others} glide with the groove within 10 um of the crown of the hollow. There two "
            "water films become one, so that glide drag turns on small changes of load, hollow and hardness."
        ))  # fmt: skip
    scored = sum(not row.reasons for row in results.rows)
    console.print(f"{scored} of {len(results.rows)} candidates have every measure.")
    for row in [row for row in results.rows if row.reasons][:10]:
        console.print(Text(f"  {row.candidate}, {row.skater}: {len(row.reasons)} measures missing: {row.reason}"))


def _by_score(rows: list[Row]) -> list[Row]:
    """Best score first, those without one last."""
    return sorted(rows, key=lambda row: -row.score if math.isfinite(row.score) else math.inf)


def _parts(rows, width, measures):
    """The columns in groups that fit beside the names."""
    names = max(len("candidate"), *(len(row.candidate) for row in rows))
    fit = max(3, (width - names - 2) // 9)
    columns = [c for c in (*HEADLINE, *PLAIN) if c[0] in measures]
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
    for row in rows:
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


def near_crown(results: Results, request: Request) -> list[str]:
    """Names of blades whose glide groove lies within 10 um of the crown of their hollow: a sensitive place."""
    depth = {case.index: case.candidate.section.depth_m for case in request.cases}
    rows = [row for row in results.rows if abs(row.values["glide_groove_depth"] - depth[row.index]) < 10e-6]
    return list(dict.fromkeys(row.candidate for row in rows))


def _judgement(rows, scheme: Weighting, pairs, who: str, console: Console) -> None:
    """The score and, for each pair of costs, how the candidate stands to all single radii."""
    table = Table(
        title=f"Judged, skater: {who}", title_justify="left", title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False
    )
    table.add_column("candidate", no_wrap=True)
    table.add_column(f"score\n{scheme.name}", justify="right")
    for a, b in pairs:
        table.add_column(
            f"beyond every single radius on\n{REGISTRY[a].label}\nand {REGISTRY[b].label}?", justify="right"
        )
    for row in _by_score(rows)[: len(rows) if len(rows) <= MOST_ROWS else FEW]:
        table.add_row(row.candidate, _signed(row.score), *(_gain(row, pair) for pair in pairs))
    console.print(table)
    for row in [row for row in rows if not math.isfinite(row.score)][:5]:
        parts = [REGISTRY[name].label for name, part in row.parts.items() if not math.isfinite(part)]
        console.print(
            Text(f"  {row.candidate} has no score: {', '.join(parts)} is missing or nil, which has no ratio.")
        )


def _signed(value: float) -> str:
    return f"{value:+.3f}" if math.isfinite(value) else "none"


def _gain(row: Row, pair) -> str:
    gain = row.gains[pair]
    if not math.isfinite(gain.gain):
        return "none"
    feet, percent = gain.radius_m / FOOT_M, 100 * abs(gain.gain - 1)
    end = ", the end of the range" if gain.at_end else ""
    if gain.gain > BEYOND:
        return f"yes, {percent:.1f} % past {feet:.1f} ft{end}"
    if gain.gain > 2 - BEYOND:
        return f"on the line, {feet:.1f} ft{end}"
    return f"no, {feet:.1f} ft has {percent:.1f} % less{end}"
