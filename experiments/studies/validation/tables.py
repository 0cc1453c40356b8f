"""Tables of a validation in three parts: on screen, as CSV, and as markdown with sources."""

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from experiments.run.files import csv_table, whole
from experiments.run.folder import RunFolder
from experiments.studies.validation.checks import INPUT, MEMORY, NOT_RUN, PARTLY, PARTS, TOO_SMALL, Check, headline
from experiments.studies.validation.study import Plan
from experiments.studies.validation.trade import LEFT_OUT


def write(plan: Plan, checks: list[Check], folder: RunFolder) -> None:
    """validation.csv and validation.md."""
    write_csv(checks, folder.path / "validation.csv")
    write_markdown(checks, folder.path / "validation.md")
    folder.log(f"{len(checks)} checks. {headline(checks)}")


def cite(plan: Plan, checks: list[Check]) -> list[str]:
    """The source of every check, once."""
    return list(dict.fromkeys(check.source for check in checks))


def show(plan: Plan, checks: list[Check], console: Console) -> None:
    """The answer in one line, then a table for each part."""
    console.print(headline(checks), style="bold", markup=False)
    for part in PARTS:
        console.print()
        console.print(table(checks, part))
    console.print(f"* {MEMORY}. {_LEFT_OUT} Every source: validation.md and validation.csv in the run folder.",
                  markup=False)  # fmt: skip


_LEFT_OUT = "Left out, because they prove nothing: " + " ".join(LEFT_OUT)


def of_part(checks: Sequence[Check], part: str) -> list[Check]:
    """The checks of one part, in order."""
    return [check for check in checks if check.part == part]


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
    """The gap in per cent; `direction` where there is no size to compare with."""
    if check.gap is None:
        return "-" if check.verdict == NOT_RUN else "direction"
    if isinstance(check.published, tuple) and check.gap == 0:
        return "inside"
    share = 100 * check.gap
    if abs(share) < 0.005:
        return "< 0.01 %"
    return f"{share:+.0f} %" if abs(share) >= 10 else f"{share:+.2f} %"


_COLOURS = {
    **{part.good: "green" for part in PARTS.values()},
    **{part.bad: "red" for part in PARTS.values()},
    **dict.fromkeys((PARTLY, TOO_SMALL, INPUT, NOT_RUN), "yellow"),
}


def table(checks: Sequence[Check], part: str) -> Table:
    """One part as a table for 120 columns: note and refutation stand under the title; sources go to the files."""
    words = PARTS[part]
    title = Text.assemble((words.heading, "bold"), f". {words.what}")
    out = Table(title=title, title_style="italic", title_justify="left", show_lines=True, width=120)
    for name, width, side in (("", 3, "left"), ("check", 53, "left"), (words.other, 13, "right"), ("ours", 11, "right"),
                              ("gap", 9, "right"), ("verdict", 11, "left")):  # fmt: skip
        out.add_column(name, width=width, justify=side)
    for check in of_part(checks, part):
        below = [*([check.note] if check.note else []), f"Refuted by: {check.refuted_by}."]
        what = Text.assemble(check.title, ("\n" + "\n".join(below), "dim"))
        out.add_row(check.number, what, published_text(check), ours_text(check), gap_text(check),
                    Text(check.verdict, _COLOURS[check.verdict]))  # fmt: skip
    return out


_COLUMNS = ("number part title published_low published_high unit ours gap tolerance variant verdict refuted_by source "
            "note").split()  # fmt: skip


def write_csv(checks: Sequence[Check], path: Path) -> None:
    """One line per check, part by part; a single published value stands in both published columns. gap is a share."""
    with csv_table(Path(path), _COLUMNS) as table:
        for c in (check for part in PARTS for check in of_part(checks, part)):
            low, high = c.published if isinstance(c.published, tuple) else (c.published, c.published)
            row = (c.number, c.part, c.title, low, high, c.unit, c.ours, c.gap, c.tolerance, c.variant, c.verdict,
                   c.refuted_by, c.source, c.note)  # fmt: skip
            table.writerow(["" if cell is None else cell for cell in row])


def write_markdown(checks: Sequence[Check], path: Path) -> None:
    """The answer in the first line, a table for each part, the sources numbered below."""
    sources = list(dict.fromkeys(check.source for check in checks))
    lines = [f"**{headline(checks)}**", "", "# Validation", ""]
    for part, words in PARTS.items():
        lines += [f"## {words.heading}", "", words.what, "", *_rows(of_part(checks, part), words.other, sources), ""]
    lines += ["## Left out, because they prove nothing", "", *(f"- {text}" for text in LEFT_OUT), ""]
    lines += ["## Sources", "", *(f"{i}. {source}" for i, source in enumerate(sources, 1)), "", f"\\* {MEMORY}", ""]
    with whole(Path(path)) as temporary:
        temporary.write_text("\n".join(lines), encoding="utf-8")


def _rows(checks: Sequence[Check], other: str, sources: Sequence[str]) -> list[str]:
    """Lines of a markdown table."""
    head = ("", "check", other, "ours", "gap", "verdict", "refuted by", "source", "note")
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    for c in checks:
        where = f"[{sources.index(c.source) + 1}]"
        numbers = published_text(c), ours_text(c), gap_text(c)
        cells = c.number, c.title, *numbers, c.verdict, c.refuted_by, where, c.note
        lines.append("| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |")
    return lines
