"""Tables of a validation: every check on screen, as CSV and as markdown with its source."""

from pathlib import Path

from rich.console import Console
from rich.table import Table

from experiments.run.files import csv_table, whole
from experiments.run.folder import RunFolder
from experiments.studies.validation.checks import MEMORY, Check
from experiments.studies.validation.study import Plan


def write(plan: Plan, checks: list[Check], folder: RunFolder) -> None:
    """validation.csv and validation.md."""
    write_csv(checks, folder.path / "validation.csv")
    write_markdown(checks, folder.path / "validation.md")
    folder.log(f"{len(checks)} checks")


def cite(plan: Plan, checks: list[Check]) -> list[str]:
    """The source of every check, once."""
    return list(dict.fromkeys(check.source for check in checks))


def show(plan: Plan, checks: list[Check], console: Console) -> None:
    """The table on screen."""
    console.print(table(checks), markup=True)


def published_text(check: Check) -> str:
    """The published value or band, with a star where it comes from memory; a dash for a direction."""
    if check.published is None:
        return "-"
    ends = check.published if isinstance(check.published, tuple) else (check.published,)
    return " to ".join(f"{end:.4g}" for end in ends) + ("*" if MEMORY in check.source else "")


def ours_text(check: Check) -> str:
    """Ours with its unit."""
    value = "-" if check.ours is None else f"{check.ours:.4g}"
    return value if check.unit == "1" else f"{value} {check.unit}"


def gap_text(check: Check) -> str:
    """The gap in per cent; a dash where there is no size to compare with."""
    if check.gap is None:
        return "-"
    if isinstance(check.published, tuple) and check.gap == 0:
        return "inside"
    share = 100 * check.gap
    if abs(share) < 0.005:
        return "< 0.01 %"
    return f"{share:+.0f} %" if abs(share) >= 10 else f"{share:+.2f} %"


_TITLE = "Published, measured or customary values beside ours"

_LEGEND = f"* {MEMORY}. Every source: validation.md and validation.csv in the run folder."

_COLOURS = {"agrees": "green", "disagrees": "red", "direction agrees": "cyan", "cannot see": "yellow"}


def table(checks: list[Check]) -> Table:
    """The checks as a table for 120 columns: the note stands under its title; sources go to the files."""
    out = Table(title=_TITLE, caption=_LEGEND, show_lines=True, width=120)
    for name, width, side in (("", 3, "left"), ("check", 54, "left"), ("published", 13, "right"), ("ours", 12, "right"),
                              ("gap", 8, "right"), ("verdict", 10, "left")):  # fmt: skip
        out.add_column(name, width=width, justify=side)
    for check in checks:
        note = f"\n[dim]{check.note}[/dim]" if check.note else ""
        out.add_row(check.number, check.title + note, published_text(check), ours_text(check), gap_text(check),
                    f"[{_COLOURS[check.verdict]}]{check.verdict}[/]")  # fmt: skip
    return out


_COLUMNS = "number title published_low published_high unit ours gap tolerance verdict source note".split()


def write_csv(checks: list[Check], path: Path) -> None:
    """One line per check; a single published value stands in both published columns. gap is a share, not per cent."""
    with csv_table(Path(path), _COLUMNS) as table:
        for c in checks:
            low, high = c.published if isinstance(c.published, tuple) else (c.published, c.published)
            row = (c.number, c.title, low, high, c.unit, c.ours, c.gap, c.tolerance, c.verdict, c.source, c.note)
            table.writerow(["" if cell is None else cell for cell in row])


def write_markdown(checks: list[Check], path: Path) -> None:
    """A table with the sources numbered below it."""
    sources = list(dict.fromkeys(check.source for check in checks))
    head = ("", "check", "published", "ours", "gap", "verdict", "source", "note")
    lines = ["# External checks", "", "| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    for c in checks:
        where = f"[{sources.index(c.source) + 1}]"
        cells = (c.number, c.title, published_text(c), ours_text(c), gap_text(c), c.verdict, where, c.note)
        lines.append("| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |")
    lines += ["", "## Sources", "", *(f"{i}. {source}" for i, source in enumerate(sources, 1)), "", f"\\* {MEMORY}", ""]
    with whole(Path(path)) as temporary:
        temporary.write_text("\n".join(lines), encoding="utf-8")
