"""What comes from elsewhere, a file or a command line: plain values of bounded size, never code, never a file's name.

Every refusal is a BladeError of one sentence. Nothing here resolves interpolation, builds objects or follows a tag.
"""

import re
import stat
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import yaml
from hydra.core.override_parser.overrides_parser import OverridesParser
from hydra.errors import HydraException

from sim.errors import BladeError

LARGEST_FILE = 1_000_000  # bytes
LONGEST_TEXT = 1_000  # characters of one value
LONGEST_KEY = 100
LONGEST_ARGUMENT = 100_000
MOST_ARGUMENTS = 1_000
MOST_DEPTH = 12  # lists and mappings inside each other
MOST_SIZE = 5_000_000  # values and characters, an alias counted wherever it stands
GREATEST_INT = 10**15
CONFIGS = Path(__file__).parents[2] / "configs"
NAME = re.compile(r"[A-Za-z0-9_]+")  # of an experiment or of any other file of configs/
_KEY = re.compile(r"(?:\+{0,2}|~)[A-Za-z0-9_][A-Za-z0-9_-]*(?:[./@][A-Za-z0-9_-]+)*")
_QUOTED = re.compile(r"'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\"")
# control characters, line separators, marks that turn the direction of writing, halves of characters
_UNFIT = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")
_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def plain(value: object, where: str = "") -> None:
    """Refuse what is no plain value of bounded depth and size, or holds text that is resolved or cannot be written.

    where: the place as a person would type it; "" for the whole request. Raises BladeError.
    """
    _walk(value, where, MOST_DEPTH, [MOST_SIZE])


def _walk(value, where: str, deeper: int, left: list[int]) -> None:
    left[0] -= 1 + (len(value) if isinstance(value, str) else 0)
    if left[0] < 0:
        raise BladeError(f"{_place(where)}: more than {MOST_SIZE} values and characters in all; ask for less at once.")
    if isinstance(value, str):
        _text(value, where)
    elif isinstance(value, dict | list):
        if deeper == 0:
            raise BladeError(f"{_place(where)}: nested deeper than {MOST_DEPTH} levels; see configs/ for the form.")
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            if isinstance(value, list):
                key = f"[{key}]"
            elif not isinstance(key, str) or not 0 < len(key) <= LONGEST_KEY:
                raise BladeError(
                    f"{_place(where)}: a key that is not text of 1 to {LONGEST_KEY} characters; write a name, or put "
                    "it in quotes."
                )
            else:
                _text(key, where)
                key = f".{key}" if where else key
            _walk(inner, where + key, deeper - 1, left)
    elif isinstance(value, int) and abs(value) > GREATEST_INT:
        raise BladeError(f"{_place(where)}: a whole number beyond 10^15; use a smaller one.")
    elif not (value is None or isinstance(value, int | float)):
        raise BladeError(
            f"{_place(where)}: a {type(value).__name__} is no plain value; put it in quotes to make it text."
        )


def _text(text: str, where: str) -> None:
    if len(text) > LONGEST_TEXT:
        raise BladeError(f"{_place(where)}: a text of {len(text)} characters; use at most {LONGEST_TEXT}.")
    if "${" in text:
        raise BladeError(f"{_place(where)}: text with ${{ would be filled in from elsewhere; write the value itself.")
    if _UNFIT.search(text):
        raise BladeError(f"{_place(where)}: text with characters that cannot be shown; use plain text on one line.")


def _place(where: str) -> str:
    return (where if len(where) <= 100 else where[:97] + "...") or "request"


# ---------------------------------------------------------------- the command line


def check_arguments(arguments: Sequence[str]) -> None:
    """Refuse arguments that are not key=value, change the composing itself, or name files outside configs/.

    Raises BladeError.
    """
    if len(arguments) > MOST_ARGUMENTS:
        raise BladeError(
            f"{len(arguments)} changes at once; use at most {MOST_ARGUMENTS}, or a file (candidates_from)."
        )
    for argument in arguments:
        key, mark, value = argument.partition("=")
        if not mark or not _KEY.fullmatch(key) or len(key) > LONGEST_KEY:
            quotes = ' (a value with a space needs quotes: skater.mass="95 kg")' if len(arguments) > 1 else ""
            raise BladeError(f"{argument[:60]!r} is not key=value{quotes}; for help run: arcstride --help.")
        if "hydra" in re.split("[./@]", key.lstrip("+~")):
            raise BladeError(f"{key}: how a request is composed cannot be changed; leave this out.")
        if len(argument) > LONGEST_ARGUMENT:
            raise BladeError(f"{key}: {len(argument)} characters; use at most {LONGEST_ARGUMENT}, or candidates_from.")
        for piece in re.findall("(?s).{1,1000}", value):
            _text(piece, key)
        if "${" in value:  # at the seam of two pieces
            _text("${", key)
        _shallow(value, key)
        _choice(argument, key)


def _shallow(value: str, key: str) -> None:
    depth = 0
    for mark in re.findall(r"[\[\](){}]", _QUOTED.sub("", value)):
        depth += 1 if mark in "[({" else -1
        if depth > MOST_DEPTH:
            raise BladeError(f"{key}: nested deeper than {MOST_DEPTH} levels; see configs/ for the form.")


def _choice(argument: str, key: str) -> None:
    """Refuse a choice among the files of configs/ that is no plain name."""
    try:
        override = OverridesParser.create().parse_override(argument)
        group, value = override.key_or_group, override.value()
    except (HydraException, ValueError, RecursionError):
        return  # composing says what is wrong with it
    if (
        not (CONFIGS / group).is_dir()
        or isinstance(value, dict)
        or override.is_sweep_override()
        or override.is_delete()
    ):
        return
    named = value if isinstance(value, list) and group != "experiment" else [value]
    if not all(isinstance(name, str) and NAME.fullmatch(name) for name in named):
        options = sorted(path.stem for path in (CONFIGS / group).glob("*.yaml"))
        raise BladeError(f"{argument[:60]}: there is no such {group}; choose one of {', '.join(options)}.")


# ---------------------------------------------------------------- files


def shown(text: object, most: int = 100) -> str:
    """Text from elsewhere as a sentence may quote it: short, on one line, without marks that a terminal obeys."""
    words = str(text)
    words = words if len(words) <= most else words[: most - 3] + "..."
    return words if words.isprintable() else ascii(words)


def read_yaml(path: str, where: str, largest: int = LARGEST_FILE, like: str = "configs/candidate_list") -> Any:
    """The plain values of a YAML file. like: what to compare one with that cannot be read. Raises BladeError for a file
    that is missing, large, no ordinary file, no YAML of plain values, or nested or repeated beyond measure."""
    file = shown(path)
    try:
        about = Path(path).stat()
        if not stat.S_ISREG(about.st_mode):  # a pipe or a device could be read for ever
            raise BladeError(f"{where}: {file} is no ordinary file; give a YAML file of plain text.")
        if about.st_size > largest:
            raise BladeError(f"{where}: {file} is larger than {largest / 1e6:g} MB; compare {like}.")
        with open(path, "rb") as handle:
            text = handle.read(largest).decode("utf-8")
    except BladeError:
        raise
    except (OSError, ValueError):
        raise BladeError(f"{where}: cannot read {file}; give a YAML file of plain text that exists.") from None
    return yaml_values(text, where, file, like)


def yaml_values(text: str, where: str, file: str, like: str) -> Any:
    """The plain values of a YAML text. file: what a refusal calls it; like: as read_yaml. Raises BladeError."""
    try:
        _scan(text, f"{where}: {file}")
        values = yaml.load(text, Loader=_LOADER)  # a safe loader, of what was scanned
    except BladeError:
        raise
    except yaml.YAMLError as fault:
        line = getattr(getattr(fault, "problem_mark", None), "line", 0) + 1
        raise BladeError(f"{where}: {file} is not YAML from line {line} on; compare {like}.") from None
    except (ValueError, TypeError, OverflowError, RecursionError):
        raise BladeError(f"{where}: {file} holds a number or date that is none; put text in quotes.") from None
    plain(values, where)
    return values


def _scan(text: str, where: str) -> None:
    """Refuse, before anything is built, depth, long texts, tags, merges (which grow without sharing), and a key that
    stands twice in its mapping (of which the first would be lost)."""
    depth, open_keys = 0, []  # of each list or mapping that is open: keys seen, and whether a key comes next
    for event in yaml.parse(text, Loader=_LOADER):
        line = event.start_mark.line + 1
        if isinstance(event, yaml.CollectionEndEvent):
            depth -= 1
            open_keys.pop()
        elif isinstance(event, yaml.NodeEvent):
            inside = open_keys[-1] if open_keys else None
            if inside is not None:
                if inside["next"] and isinstance(event, yaml.ScalarEvent) and event.value in inside["seen"]:
                    raise BladeError(f"{where}, line {line}: {event.value[:40]!r} stands twice; leave one of them.")
                if inside["next"] and isinstance(event, yaml.ScalarEvent):
                    inside["seen"].add(event.value)
                inside["next"] = not inside["next"]
        if isinstance(event, yaml.CollectionStartEvent):
            depth += 1
            open_keys.append({"seen": set(), "next": True} if isinstance(event, yaml.MappingStartEvent) else None)
        if depth > MOST_DEPTH:
            raise BladeError(
                f"{where}, line {line}: nested deeper than {MOST_DEPTH} levels; see configs/candidate_list."
            )
        if getattr(event, "tag", None) is not None:
            raise BladeError(f"{where} is not YAML of plain values, line {line}; leave out tags (words after !).")
        if isinstance(event, yaml.ScalarEvent):
            if len(event.value) > LONGEST_TEXT:
                raise BladeError(f"{where}, line {line}: a value of over {LONGEST_TEXT} characters; shorten it.")
            if event.value == "<<" and not event.style:
                raise BladeError(f"{where}, line {line}: merge keys (<<) are not taken; write the values out.")
