"""What the headings and remarks of a trace file say: the columns, their units and sides, which end comes first."""

import re
from dataclasses import dataclass, replace

from experiments.request.gauge.text import SEPARATORS, Table, fit_width, kind, refusal, shown, split_line

UNIT_NAMES = {
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "um": ("um", "micron", "microns", "micrometre", "micrometres", "micrometer", "micrometers"),
    "in": ("in", "inch", "inches", '"', "''"),
    "thou": ("thou", "thous", "mil", "mils", "thousandths", "0.001 in", "0.001in", '0.001"', "1/1000 in"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters"),
    "m": ("m", "metre", "metres", "meter", "meters"),
}
_UNIT = {name: unit for unit, names in UNIT_NAMES.items() for name in names}
_OTHER_UNITS = frozenset("ft foot feet nm km yd v mv volt volts counts count deg px pixel pixels pt dm kg n".split())

_PLACE = frozenset("position pos posn x distance dist station location loc place travel".split())
_PLACE_WEAK = frozenset("along length arc s abscissa axis".split())
_HEIGHT = frozenset("height z h y reading gauge gage depth dial indicator probe deflection value profile".split())
_HEIGHT |= {"ht", "elevation", "sagitta", "sag", "rise", "drop"}
_PASS = frozenset("pass run repeat rep trial scan".split())
_BLADE = frozenset("blade side foot skate runner".split())
# Columns about a reading, not readings; "pass id" and "run no" are still the number of a pass.
_ABOUT = frozenset("std sd sigma error err uncertainty nominal target tolerance temperature temp time".split())
_NUMBERING = frozenset("serial id no index row line count point".split())
_AVERAGE = frozenset("mean avg average".split())
_UNIT_AFTER = re.compile(r"\s+(?=[\[(]|(?:mm|um|µm|μm|cm|thou|in)(?:\s|$))")
SIDES = {"left": "left", "l": "left", "right": "right", "r": "right"}


@dataclass(frozen=True)
class Column:
    """One column. role: position, height, pass, side or extra; unit, side, end: "" when unsaid; word: what kind of
    height; end: the end of the blade that the positions are counted from."""

    index: int
    role: str
    label: str
    unit: str = ""
    side: str = ""
    word: str = ""
    end: str = ""


@dataclass(frozen=True)
class Layout:
    """The columns of a file, the heading's line number (None without one), the end that the remarks say the file
    starts at and the one they say positions are counted from ("" when unsaid), and notes."""

    columns: tuple[Column, ...]
    line: int | None
    starts: str
    counted_from: str
    notes: tuple[str, ...]

    def of(self, role: str) -> list[Column]:
        """The columns of one role."""
        return [c for c in self.columns if c.role == role]


def read_layout(table: Table) -> Layout:
    """What the headings say of the columns. Raises BladeError when position or height cannot be told."""
    at, cells = _names(table)
    notes = []
    if at is None:
        columns, line = _unnamed(table), None
        notes.append("There is no heading; the first column was taken for the position.")
    else:
        line = table.headings[at][0] if at >= 0 else table.remarks[-1][0]
        columns = _columns(cells, table, line, notes)
        columns = _with_units_row(columns, table, at)
        place, height = (_listed(columns, role) for role in ("position", "height"))
        notes.insert(0, f"By the heading the position is {place} and the height is {height}.")
    _no_lost_data(table, at)
    free = [(n, text) for i, (n, text) in enumerate(table.headings) if i != at and not (at is not None and i > at >= 0)]
    if free:
        notes.append(f"Taken for remarks: line {', '.join(str(n) for n, _ in free[:5])}.")
    said = [text for _, text in (*table.remarks, *free)]
    columns = _with_remarked_units(columns, said)
    starts, counted = _ends(said, columns, table.name)
    return Layout(tuple(columns), line, starts, counted, tuple(notes))


def _listed(columns: list[Column], role: str) -> str:
    names = [shown(c.label) for c in columns if c.role == role]
    return ", ".join(names[:4]) + (f" and {len(names) - 4} more" if len(names) > 4 else "")


def side_of(cell: str) -> str:
    """left or right as written in a cell, or ""."""
    found = {SIDES[w] for w in _words(cell) if w in SIDES}
    return found.pop() if len(found) == 1 else ""


# --- the heading -------------------------------------------------------------------------------------------------


def _words(text: str) -> list[str]:
    """Lower-case words and whole numbers, singular; words run together as in leftZ or xmm are taken apart."""
    text = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).replace("µ", "u").replace("μ", "u").lower()
    words = []
    for word in re.findall(r"[a-z]+|[0-9]+", text):
        stem = word[:-2]
        if word[-2:] in ("mm", "um", "cm") and (stem in _PLACE or stem in _HEIGHT):
            words += [stem, word[-2:]]
        elif word.endswith("s") and word[:-1] in _PLACE | _HEIGHT | _PASS | _BLADE:
            words.append(word[:-1])
        else:
            words.append(word)
    return words


def _names(table: Table):
    """Index among the headings of the line that names the columns, and its cells; None without one."""
    lines = [(i, text) for i, (_, text) in enumerate(table.headings)]
    for i, text in reversed(lines):
        cells = _heading_cells(text, table)
        if cells and _is_naming(cells):
            return i, _with_group(cells, table, i)
    for i, text in reversed(lines):  # two columns under words of another language: first position, then height
        cells = split_line(text, table.separator)
        if table.width == 2 == len(cells) and all(kind(c) == "word" for c in cells):
            return i, cells
    if not table.headings and table.remarks and table.remarks[-1][0] < table.rows[0][0]:
        cells = _heading_cells(table.remarks[-1][1].lstrip("# "), table)  # a heading written as a remark
        roles = {_column(i, c, True).role for i, c in enumerate(cells)}
        if {"position", "height"} <= roles and _is_naming(cells):
            return -1, cells
    return None, []


def _heading_cells(text: str, table: Table) -> list[str]:
    """The line as `width` names, by the separator of the data or else by another; [] when it cannot be."""
    for separator in [table.separator, *SEPARATORS]:
        cells = fit_width(split_line(text, separator), table.width)
        if separator == " " and len(cells) != table.width:
            cells = _UNIT_AFTER.sub("_", text.strip()).split()  # "x [mm]" is one name
        if separator == " " and len(cells) != table.width:
            cells = [c for c in re.split(r"\t|\s{2,}", text.strip()) if c]
        if len(cells) == table.width:
            return cells
    return []


def _is_naming(cells: list[str]) -> bool:
    """Whether the cells name columns: a position or a height among them, and nothing that is a reading."""
    if any(len(c) > 40 or len(_words(c)) > 7 or (kind(c) == "number" and not c.isdigit()) for c in cells):
        return False
    columns = [_column(i, c, True) for i, c in enumerate(cells)]
    if any(c.role == "position" for c in columns):
        return True
    known = any(c.role == "height" and c.word not in ("", "number", "pass") for c in columns)
    return known and all(kind(c.label) == "word" or c.word for c in columns)


def _with_group(cells: list[str], table: Table, at: int) -> list[str]:
    """The names with "left"/"right" or pass words of a line above them in front, as merged cells of a spreadsheet."""
    above = split_line(table.headings[at - 1][1], table.separator) if at > 0 and table.separator != " " else []
    above = fit_width(above, table.width)
    known = set(SIDES) | _BLADE | _PASS
    groups = all(w in known or w.isdigit() for c in above for w in _words(c))
    if len(above) != table.width or not any(above) or not groups:
        return cells
    merged, group = [], ""
    for top, name in zip(above, cells, strict=True):
        group = top or group
        merged.append(f"{group} {name}".strip())
    return merged


def _columns(cells: list[str], table: Table, line: int, notes: list[str]) -> list[Column]:
    words = [set(_words(c)) for c in cells]
    letters = any("l" in w for w in words) and any("r" in w for w in words)
    columns = [_column(i, cell, letters) for i, cell in enumerate(cells)]
    columns = _without_averages(columns)
    columns = _completed(columns, table, line, notes)
    columns = _one_kind_of_height(columns, table, line, notes)
    extra = [shown(c.label) for c in columns if c.role == "extra" and c.label]
    if extra:
        notes.append(f"Ignored {'column' if len(extra) == 1 else 'columns'}: {', '.join(extra)}.")
    if any(c.word == "depth" for c in columns if c.role == "height"):
        notes.append("The heights are called depth, so their sign may be the other way round.")
    for c in columns:
        if c.role in ("position", "height") and c.unit.startswith("?"):
            raise refusal(
                table.name, f"{shown(c.label)} is in a unit not taken here; use mm, um, in, thou, cm or m.", line
            )
    return columns


def _column(index: int, cell: str, letters: bool) -> Column:
    """One name understood. letters: l and r count as left and right."""
    rest, unit = _unit_of(cell)
    words = _words(rest)
    have = set(words)
    sides = {SIDES[w] for w in words if w in SIDES and (letters or len(w) > 1)}
    side = sides.pop() if len(sides) == 1 else ""
    role, word = _role(words, have, bool(side))
    if role == "extra" and not unit:  # a row of nothing but units
        unit = _unit_word(cell)
    ends = have & {"heel", "toe"}
    end = ends.pop() if role == "position" and "from" in have and len(ends) == 1 else ""
    return Column(index, role, cell, unit, side, word, end)


def _role(words: list[str], have: set[str], sided: bool) -> tuple[str, str]:
    """Role of a name and, for a height, the word that says so. The order settles names such as "gauge position"."""
    numbered = any(w.isdigit() for w in words)
    if have & _ABOUT or (have & _NUMBERING and not have & _PASS):
        return "extra", ""
    if "x" in have or ("from" in have and have & {"heel", "toe"} and not have & _HEIGHT):
        return "position", ""
    if have & {"z", "y", "h"}:
        return "height", next(w for w in words if w in ("z", "y", "h"))
    if have & _PLACE:
        return "position", ""
    if have & _HEIGHT:
        return "height", next(w for w in words if w in _HEIGHT)
    if have & _PLACE_WEAK:
        return "position", ""
    if have & _PASS:
        return ("height", "pass") if numbered or sided else ("pass", "")
    if sided:
        return "height", ""
    if have & _BLADE:
        return "side", ""
    return ("height", "number") if words and all(w.isdigit() for w in words) else ("extra", "")


def _unit_of(cell: str) -> tuple[str, str]:
    """The name without its unit, and the unit: "" when unsaid, "?" and the word when it is none that we take."""
    for bracket in re.finditer(r"([\[({<])\s*([^\[\](){}<>]{1,20}?)\s*[\])}>]", cell):
        unit = _unit_word(bracket[2])
        if unit or bracket[1] == "[" or bracket[2].lower() in _OTHER_UNITS:
            return cell[: bracket.start()] + " " + cell[bracket.end() :], unit or f"?{bracket[2]}"
    words = _words(cell)
    if len(words) > 1 and words[-1] in _UNIT:
        words = words[:-1] if words[-2] != "in" else words[:-2]
        return " ".join(words), _UNIT[_words(cell)[-1]]
    return cell, ""


def _unit_word(text: str) -> str:
    return _UNIT.get(text.strip(" .").replace("µ", "u").replace("μ", "u").lower(), "")


def _is_unit(cell: str) -> bool:
    return bool(_unit_word(cell.strip(" []()")))


def _without_averages(columns: list[Column]) -> list[Column]:
    """An average beside the passes it was made from is no pass."""
    heights = [c for c in columns if c.role == "height"]
    means = [c for c in heights if set(_words(c.label)) & _AVERAGE]
    drop = means if len(means) < len(heights) else []
    return [replace(c, role="extra") if c in drop else c for c in columns]


def _completed(columns: list[Column], table: Table, line: int, notes: list[str]) -> list[Column]:
    """Where only one of two columns was understood, the other one is the other thing."""
    roles = {c.role for c in columns}
    both = all(c.role == "position" for c in columns) or all(c.side for c in columns)
    # A height first and a position unnamed is more likely a title such as "Height gauge, workshop".
    title = columns[0].role == "height" and columns[0].word not in ("", "number", "pass") and "position" not in roles
    if len(columns) == 2 and not both and not title and not {"position", "height"} <= roles:
        height = 0 if columns[1].role == "position" else 1
        notes.append(f"{shown(columns[1 - height].label)} was taken for the position.")
        notes.append(f"{shown(columns[height].label)} was taken for the height.")
        return [replace(c, role="height" if i == height else "position") for i, c in enumerate(columns)]
    for role, example in (("position", "position [mm]"), ("height", "height [mm]")):
        if role not in roles:
            raise refusal(table.name, f"no column is named as the {role}; call it for example '{example}'.", line)
    return columns


def _one_kind_of_height(columns: list[Column], table: Table, line: int, notes: list[str]) -> list[Column]:
    """Several heights must be repeats or the two blades, not different things; one position, or one for each blade."""
    heights = [c for c in columns if c.role == "height"]
    kinds = {c.word for c in heights} - {""}
    if kinds == {"y", "z"}:
        notes.append("There are both y and z; z was taken for the height.")
        columns = [replace(c, role="extra") if c.role == "height" and c.word == "y" else c for c in columns]
    elif len(kinds) > 1:
        names = " and ".join(shown(c.label) for c in heights[:4])
        raise refusal(
            table.name, f"{names} may all be heights; leave one, or name repeats alike (height 1, height 2).", line
        )
    sides = {c.side for c in columns if c.role == "height"}
    if len(sides) > 1 and "" in sides:
        raise refusal(table.name, "some heights say left or right and others do not; name all or none.", line)
    if sides != {""} and any(c.role == "side" for c in columns):
        raise refusal(table.name, "left and right are named both by column and by row; keep one way.", line)
    places = [c.side for c in columns if c.role == "position"]
    if len(places) > 1 and sorted(places) != sorted(sides):
        raise refusal(table.name, f"{len(places)} columns are named as positions; leave one.", line)
    for role in ("pass", "side"):
        if sum(c.role == role for c in columns) > 1:
            raise refusal(table.name, f"several columns are named as the {role}; leave one.", line)
    return columns


def _unnamed(table: Table) -> list[Column]:
    """Without a heading: position, then heights (several only when the reader finds that they agree)."""
    roles = ["position"] + ["height"] * (table.width - 1)
    if table.width < 2:
        raise refusal(table.name, "one column; a trace needs the position and the height.", table.rows[0][0])
    return [Column(i, role, f"column {i + 1}") for i, role in enumerate(roles)]


# --- around the heading ------------------------------------------------------------------------------------------


def _with_units_row(columns: list[Column], table: Table, at: int) -> list[Column]:
    """Units from a row of units below the names."""
    for number, text in table.headings[at + 1 :] if at >= 0 else ():
        cells = _heading_cells(text, table)
        if not cells or not all(not c or c in "[]()-" or _is_unit(c) for c in cells):
            raise refusal(
                table.name,
                f"{shown(text.strip())} stands below the heading but is neither units nor plain numbers; "
                "correct it or take it out.",
                number,
            )
        for i, cell in enumerate(cells):
            unit = _unit_word(cell.strip(" []()"))
            if unit and columns[i].unit not in ("", unit):
                raise refusal(table.name, f"{shown(columns[i].label)} is given two units; keep one.", number)
            columns = [replace(c, unit=unit) if c.index == i and unit else c for c in columns]
    return columns


def _no_lost_data(table: Table, at: int | None) -> None:
    """A damaged first row must not pass for a heading."""
    for i, (number, text) in enumerate(table.headings):
        cells = fit_width(split_line(text, table.separator), table.width)
        looks = len(cells) == table.width and any(kind(c) == "number" for c in cells)
        begins = re.match(r'[\s"]*[+-]?[.,]?[0-9]', text) is not None
        if at is None and (looks or begins):
            raise refusal(
                table.name,
                f"{shown(text.strip())} is not plain numbers; correct it, or start the line with # if it is a remark.",
                number,
            )
        if at is None and len(table.headings) - i == 1 and table.width > 2 and len(cells) == table.width:
            raise refusal(table.name, "the heading names no position; call it for example 'position [mm]'.", number)
        if at is None and len(table.headings) - i == 1 and _names_place_and_height(text):
            raise refusal(
                table.name,
                f"the heading does not give {table.width} names for the {table.width} columns below it; "
                "give each column one name.",
                number,
            )


def _names_place_and_height(text: str) -> bool:
    words = set(_words(text))
    return bool(words & _PLACE) and bool(words & (_HEIGHT | set(SIDES) - {"l", "r"}))


_NAMED_UNIT = r"(mm|um|microns?|thou|mils?|cm|inch(?:es)?|in(?=\s*(?:$|[,;.)\]]))|m|millimet(?:re|er)s|met(?:re|er)s)\b"
_IN_UNIT = rf"\s*(?:are |is |given )*(?:in |[:=(\[])\s*{_NAMED_UNIT}"
_SAID_PLACE = re.compile(rf"\b(?:positions?|x|distances?|stations?){_IN_UNIT}", re.MULTILINE)
_SAID_HEIGHT = re.compile(rf"\b(?:heights?|z|readings?|depths?){_IN_UNIT}", re.MULTILINE)
_BOTH = r"\b(?:units?|positions? and heights?|x and z|all(?: lengths| values)?)"
_SAID_BOTH = re.compile(_BOTH + _IN_UNIT, re.MULTILINE)


def _with_remarked_units(columns: list[Column], said: list[str]) -> list[Column]:
    """Units that only a remark gives, such as "heights in um"; two that differ count as unsaid."""
    text = "\n".join(said)[:20_000].lower().replace("µ", "u").replace("μ", "u")
    found = {}
    both = {_UNIT[u] for u in _SAID_BOTH.findall(text)}
    for role, pattern in (("position", _SAID_PLACE), ("height", _SAID_HEIGHT)):
        units = {_UNIT[u] for u in pattern.findall(text)} or both
        found[role] = units.pop() if len(units) == 1 else ""
    return [replace(c, unit=c.unit or found.get(c.role, "")) for c in columns]


_STARTS = (
    re.compile(r"\b(heel|toe)(?: end)?(?: is| comes)? first\b"),
    re.compile(r"\b(?:starts?|begins?|starting) (?:at|from|with) (?:the )?(heel|toe)\b"),
    re.compile(r"\bfirst(?: end)?\s*(?:is|:|=)\s*(?:the )?(heel|toe)\b"),
    re.compile(r"\b(heel|toe)(?: end)? to (?:the )?(?:heel|toe)\b"),
)
_COUNTED = re.compile(r"\bfrom (?:the )?(heel|toe)\b")


def _ends(said: list[str], columns, name: str) -> tuple[str, str]:
    """The end the file starts at and the end positions are counted from, as remarks and names say."""
    text = re.sub(r"[_-]", " ", "\n".join(said)[:20_000].lower())
    starts = set()
    for pattern in _STARTS:
        starts |= set(pattern.findall(text))
    counted = {c.end for c in columns if c.end}
    if not starts:
        counted |= set(_COUNTED.findall(text))
    if len(starts) > 1 or len(counted) > 1:
        raise refusal(name, "both the heel and the toe are said to come first; keep one of the two remarks.")
    return (starts.pop() if starts else ""), (counted.pop() if counted else "")
