"""The sheet a technician prints for a skater: one page in plain words, then the physics; all results are given."""

import json
import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import cache
from itertools import accumulate
from pathlib import Path

from jinja2 import ChainableUndefined
from markupsafe import Markup, escape

from experiments.analysis.judging.decide import ADVISED
from experiments.report.page import environment, write_text
from experiments.report.style import text_width
from experiments.run.folder import RunFolder
from experiments.studies.recommend import inline
from experiments.studies.recommend.content import sheet_content
from experiments.studies.recommend.detail import sheet_figures
from experiments.studies.recommend.last_visit import last_visit
from experiments.studies.recommend.study import Plan, Recommendation
from experiments.studies.recommend.visit import keep_visit

ADVISED_ROLES = ("recommended", "runner-up")
WISHES = 7  # lines of the menu on page 1
FELT_LINES = (4, 9)  # least and most lines of what gets better and of what gets worse, which stand side by side
ROOM = 28  # lines that these, complaints, reasons, zones and the menu have together; tried on both papers
POINTS_MM = 72 / 25.4
WRAP = 1.08  # what the ends of lines lose
# Widths of the page's font (Arial, and what is made to its measure), thousandths of its size.
WIDTHS = {
    278: " !,./:;I[\\]ft", 556: "#$0123456789?L_abdeghnopqu", 667: "&ABEKPSVXY", 333: "()-`r", 584: "+<=>~",
    722: "CDHNRUw", 611: "FTZ", 778: "GOQ", 500: "Jcksvxyz", 833: "Mm", 222: "ijl", 355: '"', 889: "%", 191: "'",
    389: "*", 1015: "@", 944: "W", 469: "^", 334: "{}", 260: "|", 1000: "…",
}  # fmt: skip
SUBJECT = (8, 5)  # items that say who and what, and how many of them may take a second line


class Short:
    """Shortens text and lists to the room that page 1 has, and keeps what page 2 must then print in full."""

    def __init__(self) -> None:
        self.full: dict[str, list[str]] = {}

    def text(self, text: object, lines: int, width_mm: float, where: str) -> str:
        """`text` in at most `lines` lines of `width_mm`, cut between words; `where` heads its full text on page 2."""
        text = _words(text)
        if _lines(text, width_mm) <= lines:
            return text
        self._keep(where, text)
        room = lines * width_mm * POINTS_MM / (WRAP if lines > 1 else 1.0)
        cut = text[: bisect_right(list(accumulate(map(_advance, text))), room - _advance("…"))]
        space = cut.rfind(" ")
        return (cut[:space] if space > 0.6 * len(cut) else cut).rstrip(" ,;:.") + "…"

    def items(self, texts: Sequence | None, lines: int, width_mm: float, where: str) -> list[str]:
        """The texts that fit into `lines` lines, two each at most; the last line says how many more page 2 has."""
        texts, shown = [_words(text) for text in texts or () if text], []
        for i, text in enumerate(texts):
            room = lines - (i < len(texts) - 1)  # one line is kept for the words on those left out
            if room < 1:
                break
            shown.append(self.text(text, min(room, 2), width_mm, where))
            lines -= _lines(shown[-1], width_mm)
        rest = texts[len(shown) :]
        for text in rest:
            self._keep(where, text)
        return [*shown, f"{len(rest)} more on page 2"] if rest else shown

    def later(self, text: object, where: str) -> str:
        """Leave a text to page 2; nothing for page 1."""
        self._keep(where, _words(text))
        return ""

    def _keep(self, where, text):
        kept = self.full.setdefault(_words(where) or "More", [])
        if text not in kept:
            kept.append(text)


@cache
def _advance(mark: str) -> float:
    """Width that one character takes on the page, points."""
    for width, marks in WIDTHS.items():
        if mark in marks:
            return width * inline.TEXT_PT / 1000
    return text_width(f"|{mark}|", inline.TEXT_PT) - text_width("||", inline.TEXT_PT)  # of a wider font


def _lines(text: str, width_mm: float) -> int:
    """Lines that a text takes on the page."""
    wide = sum(map(_advance, text)) / (width_mm * POINTS_MM)
    return math.ceil(wide if wide <= 1 else WRAP * wide)


def _words(text) -> str:
    return "" if text is None else " ".join(str(text).split())


def _number(value, digits=2) -> str:
    """A number as printed; text as it is; what is missing is said."""
    if value is None or value == "":
        return "not known"
    return f"{value:.{digits}f}" if isinstance(value, int | float) else str(value)


def _place(value) -> str:
    """A position along the blade, mm, with its sign."""
    if not isinstance(value, int | float):
        return _words(value)
    return f"{value:+.0f}" if round(value) else "0"


def _sentence(text) -> str:
    """With a capital at its start."""
    text = _words(text)
    return text[:1].upper() + text[1:]


def _breaks(text) -> Markup:
    """A name that may also be broken after an underscore, as names of files and recipes have no space."""
    return Markup(escape(text).replace("_", Markup("_<wbr>")))


def _role(choice, advised: bool) -> str:
    """What stands above a choice: its role, unless the verdict is to leave the blade alone."""
    role = _words(choice.get("role")) or "choice"
    return "to compare" if role in ADVISED_ROLES and not advised else role


def _subject(items, short: Short) -> list[tuple[str, str]]:
    """Who and what, name and text of each item; what has no room goes to page 2."""
    shown, spare = [], SUBJECT[1]
    for name, text in items or ():
        if len(shown) == SUBJECT[0]:
            short.later(text, name)
            continue
        shown.append((short.text(name, 1, 12.5, "Who and what"), short.text(text, 2 if spare > 0 else 1, 75, name)))
        spare -= _lines(shown[-1][1], 75) - 1
    return shown


def _room(content: dict) -> int:
    """Lines that are left for what gets better and worse; less than the least where the page has to be tight."""
    texts = [*(content.get("complaints") or ()), *((content.get("verdict") or {}).get("plain") or ())]
    zones = [len(blade.get("zones") or ()) for blade in content.get("blades") or () if blade]
    menu = [1 + bool(row.get("buys")) for row in (content.get("menu") or [])[:WISHES]]
    asked = sum(_lines(_words(text), 178) for text in texts) + max(zones, default=0) + 4 * (len(zones) > 1)
    return ROOM - asked - (sum(menu) if 2 in menu else 0)


def _compared(choices) -> list[dict]:
    """The numbers of all choices, one row a measure: its words, the value now, and the number of each choice."""
    rows = {}
    for i, choice in enumerate(choices):
        for number in choice.get("numbers") or ():
            row = rows.setdefault(_words(number.get("label")), {**number, "cells": [None] * len(choices)})
            row["cells"][i] = number
    return list(rows.values())


def page(content: dict, drawn: dict[str, str]) -> str:
    """The whole sheet as one HTML text without scripts and without anything to load; drawn: SVG texts by name."""
    here = environment(Path(__file__).parent, ChainableUndefined)
    here.filters |= {"number": _number, "place": _place, "sentence": _sentence, "breaks": _breaks}
    advised = (content.get("verdict") or {}).get("kind", "") in ADVISED  # one that is not known advises nothing
    choices = [choice for choice in content.get("choices") or () if choice][:2]
    room = _room(content)
    return here.get_template("sheet.html.j2").render(
        content=content,
        subject=_subject(content.get("subject"), short := Short()),
        blades=[blade for blade in content.get("blades") or () if blade][:2],
        choices=choices,
        roles=[_role(choice, advised) for choice in choices],
        compared=_compared(choices),
        menu=(content.get("menu") or [])[:WISHES],
        menu_rest=(content.get("menu") or [])[WISHES:],
        advised=advised,
        full=room < FELT_LINES[0],
        felt=min(max(room, FELT_LINES[0]), FELT_LINES[1]),
        figures={name: Markup(text) for name, text in (drawn or {}).items() if text},
        keys={
            "blades": [Markup(inline.key(look)) for look in inline.BLADES],
            "choices": [Markup(inline.key(look)) for look in inline.CHOICES],
        },
        short=short,
    )


def write_page(plan: Plan, result: Recommendation, folder: RunFolder, name: str = "sheet") -> None:
    """sheet.html, and sheet.json with the same content, each whole or not at all; and the visit, where it is kept."""
    content = sheet_content(plan, result, folder)
    content |= last_visit(plan, content)
    write_sheet(folder.path, content, sheet_figures(plan, result), name)
    keep_visit(plan, content, folder)


def write_sheet(folder: Path, content: dict, drawn: dict[str, str], name: str = "sheet") -> None:
    """NAME.html and NAME.json of a content."""
    write_text(folder / f"{name}.json", json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
    write_text(folder / f"{name}.html", page(content, drawn))
