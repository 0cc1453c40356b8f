"""The text of a trace file: bytes -> lines -> cells, with the separator found and what is no text refused."""

import csv
import re
import stat
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from sim.errors import BladeError

MOST_BYTES = 20_000_000
MOST_READINGS = 100_000
MOST_LINES = 250_000  # blank lines, remarks and headings included
MOST_COLUMNS = 64
LONGEST_LINE = 10_000  # characters; 64 columns of 25 characters are 1600
SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas", " ": "blanks"}  # the first wins where several fit
MISSING = frozenset(("", "nan", "-", "--", "---", "–", "—", "na", "n/a", "#n/a", "null", "none"))
# Only plain digits: float() would also take 1_000, inf and the digits of other scripts. "10," is no number, or
# "10, 0.5" could be split at its blank.
NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?|[0-9]*[.,][0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_CONTROL = re.compile("[\x00-\x08\x0e-\x1f\x7f]")
_SAMPLE = 300  # lines looked at to find the separator
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_NOT_TEXT = {b"PK\x03\x04": "a spreadsheet or an archive", b"\x1f\x8b": "a packed file", b"%PDF": "a PDF"}


@dataclass(frozen=True)
class Table:
    """A file cut into cells.

    name: the file as refusals name it; separator: one of SEPARATORS; headings: (line number, text) of the lines ahead
    of the data; remarks: the lines that start with #; rows: (line number, cells) of every line of data, `width` cells
    each; notes: plain sentences.
    """

    name: str
    separator: str
    headings: tuple[tuple[int, str], ...]
    remarks: tuple[tuple[int, str], ...]
    rows: list[tuple[int, list[str]]]
    width: int
    notes: tuple[str, ...]


def refusal(name: str, text: str, line: int | None = None) -> BladeError:
    """The error to raise: one sentence that names the file and, where there is one, the line."""
    return BladeError(f"trace {name}{'' if line is None else f', line {line}'}: {text}")


def counted(number: int, what: str) -> str:
    """A count with its word."""
    return f"{number:,} {what}{'' if number == 1 else 's'}"


def shown(cell: str) -> str:
    """A piece of the file fit for a sentence."""
    return repr(cell) if len(cell) <= 30 else repr(cell[:27] + "...")


def read_table(path: str | Path) -> Table:
    """The cells of a text file. Raises BladeError for what cannot be read, is no text, too large or has no data."""
    name = _name(path)
    text, notes = _text(_bytes(path, name), name)
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    if lines.count("\n") > MOST_LINES:
        raise refusal(name, f"{lines.count(chr(10)):,} lines; a trace has at most {MOST_READINGS:,} rows of data.")
    content, remarks = _content(lines.split("\n"), name)
    separator, content = _separator(content, name)
    sample = _data_sample(content, separator, name)
    width = _width(sample)
    if width > MOST_COLUMNS:
        raise refusal(name, f"{width} columns; a trace has at most {MOST_COLUMNS}.", sample[0][0])
    start = _first_data(content, separator, width, _numeric_columns(sample, width))
    rows = _rows(content[start:], separator, width, name)
    if not rows:
        raise refusal(name, "no row gives a number in every column of numbers; leave empty cells only in heights.")
    notes.append(f"Columns are separated by {SEPARATORS[separator]}.")
    return Table(name, separator, tuple(content[:start]), tuple(remarks), rows, width, tuple(notes))


def split_line(line: str, separator: str) -> list[str]:
    """The cells of one line, stripped; quoted cells may hold the separator, blanks count once."""
    if separator == " ":
        line = line.replace("\t", " ").strip()
    if '"' in line:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    else:
        cells = line.split() if separator == " " and line.isascii() else line.split(separator)
        cells = [c for c in cells if c] if separator == " " else cells
    return [c.strip() for c in cells]


def fit_width(cells: list[str], width: int) -> list[str]:
    """The cells without empty ones beyond `width`, as spreadsheets leave them."""
    while len(cells) > width and not cells[-1]:
        cells = cells[:-1]
    return cells


def kind(cell: str) -> str:
    """What a cell is: "number", "missing", "word" (no digit in it) or "odd"."""
    if NUMBER.fullmatch(cell):
        return "number"
    if cell.lower() in MISSING:
        return "missing"
    return "odd" if any(c.isdigit() for c in cell) else "word"


def _name(path) -> str:
    try:
        name = Path(path).name or str(path)
    except (TypeError, ValueError):
        name = repr(path)
    name = name if name.isprintable() else ascii(name)
    return name if len(name) <= 80 else name[:77] + "..."


def _bytes(path, name: str) -> bytes:
    try:
        about = Path(path).stat()
        if stat.S_ISDIR(about.st_mode):
            raise refusal(name, "this is a folder; name the text file of one trace.")
        if not stat.S_ISREG(about.st_mode):  # a pipe or a device could be read for ever
            raise refusal(name, "this is no ordinary file; name the text file of one trace.")
        if about.st_size > MOST_BYTES:
            raise refusal(name, f"{about.st_size / 1e6:.0f} MB; a trace is at most {MOST_BYTES / 1e6:.0f} MB of text.")
        with Path(path).open("rb") as file:
            return file.read(MOST_BYTES)
    except FileNotFoundError:
        raise refusal(name, "there is no such file; check the name and the folder.") from None
    except BladeError:
        raise
    except (OSError, TypeError, ValueError) as err:
        reason = getattr(err, "strerror", None) or "no usable file name"
        raise refusal(name, f"cannot be read ({reason}); name a readable text file.") from None


def _text(data: bytes, name: str) -> tuple[str, list[str]]:
    """The characters of the file and a note where the encoding was not plain UTF-8."""
    for start, what in _NOT_TEXT.items():
        if data.startswith(start):
            raise refusal(name, f"this is {what}, not text; save the trace as CSV or plain text.")
    encoding = next((e for mark, e in _MARKS if data.startswith(mark)), "utf-8")
    notes = [] if encoding == "utf-8" else [f"The text is {encoding.upper().removesuffix('-SIG')} with a byte mark."]
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError:
        if encoding == "utf-16":
            raise refusal(name, "starts as UTF-16 text but breaks off; save it as UTF-8 text.") from None
        text, notes = data.decode("latin-1"), ["The text is no UTF-8 and was read as Latin-1."]
        if sum(c > 0x7F for c in data) > 0.1 * len(data):
            raise refusal(name, "this is binary, not text; save the trace as CSV or plain text.") from None
    text = text.rstrip("\x1a").replace("\u2212", "-")  # an old end-of-file mark; the typographic minus
    control = _CONTROL.search(text)
    if control:
        what = "a NUL byte" if control[0] == "\0" else "a control character"
        line = len(re.findall(r"\r\n|\r|\n", text[: control.start()])) + 1
        raise refusal(name, f"{what}, so this is binary or UTF-16 without its mark; save it as UTF-8 text.", line)
    if not text.strip():
        raise refusal(name, "the file is empty; it must hold rows of position and height.")
    return text, notes


def _content(lines: list[str], name: str):
    """(line number, text) of the lines that say something, and the remarks."""
    content, remarks = [], []
    for number, line in enumerate(lines, 1):
        bare = line.strip(' \t"')
        if bare.startswith("#") and not bare.lower().startswith("#n/a"):
            remarks.append((number, bare[:LONGEST_LINE]))
        elif line.strip(' \t,;"\f\v'):
            if len(line) > LONGEST_LINE:
                raise refusal(name, f"{len(line):,} characters; a row of a trace has at most {LONGEST_LINE:,}.", number)
            content.append((number, line))
    if not content:
        raise refusal(name, "there are only remarks; the file must hold rows of position and height.")
    return content, remarks


def _separator(content, name: str):
    """The separator under which most lines hold two plain numbers, and the content without a sep= line."""
    stated = re.fullmatch(r'"?sep=(.)"?[,;\s]*', content[0][1], re.IGNORECASE)
    if stated:
        if stated[1] not in SEPARATORS:
            raise refusal(name, f"{stated[1]!r} is no separator taken here; use , ; tabs or blanks.", content[0][0])
        return stated[1], content[1:]
    sample = content[:: max(1, len(content) // _SAMPLE)]
    scores = {s: sum(_likeness(split_line(line, s)) for _, line in sample) for s in SEPARATORS}
    return max(scores, key=scores.get), content


def _likeness(cells: list[str]) -> float:
    """1 for a line of at least two numbers, less for cells that hold digits but are none, 0 for other lines."""
    counts = Counter(map(kind, cells))
    values = counts["number"] + min(counts["missing"], 1)
    return 1.0 - 0.5 * counts["odd"] / len(cells) if counts["number"] and values >= 2 else 0.0


def _data_sample(content, separator: str, name: str):
    """Some lines that are surely data, cut up. Raises BladeError when there are none."""
    cut = [(n, split_line(line, separator)) for n, line in content[:: max(1, len(content) // _SAMPLE)]]
    sample = [(n, cells) for n, cells in cut if _likeness(cells)]
    if not sample:
        first = next(((n, line) for n, line in content if any(c.isdigit() for c in line)), None)
        if first is None:
            raise refusal(name, "there are only headings; below them must stand rows of position and height.")
        raise refusal(
            name,
            f"{shown(first[1].strip())} is not a position and a height in plain numbers, and no other line is; "
            "write for example 10.0, 3.25 and keep units to the heading.",
            first[0],
        )
    return sample


def _width(sample) -> int:
    """The usual number of columns, less those that are empty throughout at the right."""
    width = Counter(len(cells) for _, cells in sample).most_common(1)[0][0]
    full = [cells for _, cells in sample if len(cells) == width]
    while width > 2 and not any(cells[width - 1] for cells in full):
        width -= 1
    return width


def _numeric_columns(sample, width: int) -> list[int]:
    rows = [[kind(c) for c in cells[:width]] for _, cells in sample if len(cells) >= width]
    counts = [Counter(column) for column in zip(*rows, strict=True)]
    return [j for j, c in enumerate(counts) if c["number"] > c["word"] + c["odd"]]


def _first_data(content, separator: str, width: int, numeric: list[int]) -> int:
    """Index of the first line with nothing but numbers where the data has numbers."""
    for i, (_, line) in enumerate(content):
        cells = fit_width(split_line(line, separator), width)
        if len(cells) == width:
            kinds = {kind(cells[j]) for j in numeric}
            if "number" in kinds and kinds <= {"number", "missing"}:
                return i
    return len(content)


def _rows(content, separator: str, width: int, name: str):
    if len(content) > MOST_READINGS:
        raise refusal(name, f"{len(content):,} rows of data; a trace has at most {MOST_READINGS:,}.")
    rows = []
    for number, line in content:
        if line.count('"') % 2:
            raise refusal(name, "a quote is opened and not closed; close it or take it out.", number)
        cells = fit_width(split_line(line, separator), width)
        if len(cells) != width:
            hint = (
                "; decimal commas need quotes or another separator" if separator == "," and len(cells) > width else ""
            )
            raise refusal(name, f"{counted(len(cells), 'column')} where the other rows have {width}{hint}.", number)
        rows.append((number, cells))
    return rows
