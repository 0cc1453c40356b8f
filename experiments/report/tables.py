"""Tables in the terminal: one look, and cells that say n/a where there is no number."""

import math
from collections.abc import Sequence

from rich import box
from rich.table import Table

from experiments.report.words import NOT_AVAILABLE

LEFT = "left"
MOST_ROWS = 40  # of a table on screen; the rest is in the files


def terminal_table(title: str | None, headings: Sequence[str], left: Sequence[int] = (0,)) -> Table:
    """An empty table; columns whose place is in `left` hold words, the others numbers. Names are never broken."""
    table = Table(title=title or None, title_justify=LEFT, title_style="bold", box=box.SIMPLE_HEAD, pad_edge=False)
    for i, heading in enumerate(headings):
        table.add_column(heading, justify=LEFT if i in left else "right", no_wrap=i == 0)
    return table


def cell(value: float, form: str = ".3f") -> str:
    """A number in a form; n/a where it is none."""
    return format(value, form) if math.isfinite(value) else NOT_AVAILABLE


def cells(values: Sequence[float], form: str = ".3f") -> str:
    """Numbers side by side: 0.981 / 0.995 / 1.004; n/a where one is missing."""
    return " / ".join(format(v, form) for v in values) if all(map(math.isfinite, values)) else NOT_AVAILABLE
