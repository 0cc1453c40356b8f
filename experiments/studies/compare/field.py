"""What one set of figures draws: one skater's rows, how each is drawn, and which rows have room."""

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.figure import Figure
from matplotlib.legend import Legend

from experiments.analysis.draws import Draws
from experiments.report.style import DASHES, FAMILY_HUES, FEW, HUES, MANY, MARKERS, SKY, Look, key, key_width
from experiments.studies.compare.rows import Results, Row


def looks(rows: Sequence[Row]) -> dict[str, Look]:
    """Colours of a field: each its own when few; else single radii in grey, longer darker, and a hue per family."""
    first = {row.candidate: row for row in reversed(rows)}
    names = list(dict.fromkeys(row.candidate for row in rows))
    if len(names) <= FEW:
        return {name: Look(HUES[i], DASHES[i % len(DASHES)], 1.6, MARKERS[i]) for i, name in enumerate(names)}
    single = sorted((n for n in names if first[n].family == "single_radius"), key=lambda n: first[n].radius_m)
    greys = np.linspace(0.74, 0.10, max(len(single), 2))
    out = {n: Look(f"#{3 * f'{int(255 * g):02x}'}", (), 1.1, "o") for n, g in zip(single, greys)}
    families = list(dict.fromkeys(first[n].family for n in names if n not in out))
    seen = Counter()
    for name in names:
        if name not in out:
            family = first[name].family
            i = families.index(family) + seen[family] + bool(single)  # solid lines are the single radii's
            hue = FAMILY_HUES.get(family, SKY)
            out[name] = Look(hue, DASHES[i % len(DASHES)], 1.7, MARKERS[1 + seen[family] % (len(MARKERS) - 1)])
            seen[family] += 1
    return out


def pick(rows: Sequence[Row], keep: Row | None = None, most: int = MANY) -> list[Row]:
    """At most `most` rows: evenly from every family, `keep` among them, in their own order."""
    if len(rows) <= most:
        return list(rows)
    groups = {}
    for row in rows:
        groups.setdefault(row.family, []).append(row)
    quota = Counter()
    while sum(quota.values()) < most:
        for family, members in groups.items():
            if quota[family] < len(members) and sum(quota.values()) < most:
                quota[family] += 1
    chosen = {}
    for family, members in groups.items():
        for i in np.linspace(0, len(members) - 1, quota[family]).round().astype(int):
            chosen[id(members[i])] = family
    if keep is not None and id(keep) not in chosen and any(row is keep for row in rows):
        family = keep.family if keep.family in chosen.values() else next(iter(chosen.values()))
        del chosen[[k for k, f in chosen.items() if f == family][-1]]
        chosen[id(keep)] = keep.family
    return [row for row in rows if id(row) in chosen]


@dataclass(frozen=True)
class Field:
    """What one set of figures draws: one skater's rows with their looks, the reference and the single-radius line."""

    rows: list[Row]
    looks: dict[str, Look]
    skater: str  # empty when there is only one
    label: str  # of the reference
    row: Row | None  # the candidate that is the reference, if any
    reference: Row | None
    radii: np.ndarray
    line: dict[str, np.ndarray]
    draws: Draws | None = None

    @property
    def values(self) -> dict[str, float]:
        """Measures of the reference."""
        return self.reference.values if self.reference else {}

    def drawn(self, usable: Callable[[Row], bool], most: int = MANY) -> tuple[list[Row], list[str]]:
        """Rows to draw, and notes on those that are not."""
        fit = [row for row in self.rows if usable(row)]
        shown = pick(fit, self.row, most)
        notes = [f"skater: {self.skater}"] if self.skater else []
        if len(fit) < len(self.rows):
            gone = ", ".join(row.candidate for row in self.rows if not usable(row))
            notes.append(f"{len(fit)} of {len(self.rows)} drawn, no result for {gone[:70]}{'...' * (len(gone) > 70)}")
        if len(shown) < len(fit):
            notes.append(f"{len(shown)} of {len(fit)} shown, evenly from every family")
        return shown, notes

    def name(self, row: Row) -> str:
        """Label of a row in a legend."""
        return f"{row.candidate} (reference)" if row is self.row else row.candidate

    def key(self, fig: Figure, rows: Sequence[Row], top: float) -> Legend:
        """Legend of these rows."""
        return key(fig, [(self.name(row), self.looks[row.candidate]) for row in rows], top)

    def key_width(self, rows: Sequence[Row]) -> float:
        """Right margin that their legend needs, inches."""
        return key_width([self.name(row) for row in rows]) + 0.1


def field_of(results: Results, skater: str, label: str, looks: dict[str, Look], several: bool) -> Field:
    """One skater's field; the row whose measures all equal the reference's is the reference among the candidates."""
    rows = [row for row in results.rows if row.skater == skater]
    reference = results.references.get(skater)
    row = next((row for row in rows if reference and _same(row, reference)), None)
    line = results.line.get(skater, {})
    draws = results.draws.get(skater)
    return Field(rows, looks, skater if several else "", label, row, reference, results.line_radii, line, draws)


def _same(a: Row, b: Row) -> bool:
    return np.array_equal([a.values.get(n, math.nan) for n in b.values], list(b.values.values()), equal_nan=True)
