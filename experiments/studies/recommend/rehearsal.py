"""How often advice by the rule was wrong when it was rehearsed: the figures that the sheet states, from a file."""

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path

from experiments.analysis.judging import decide, verdict, weights
from experiments.request.plain import CONFIGS

FILE = Path(__file__).parent / "rehearsal.json"
COMMAND = "python -m tests.rehearsal"
JUDGING = (decide, verdict, weights)  # what turns draws into advice; the rest of judging words or widens it


@dataclass(frozen=True)
class Rehearsal:
    """What `python -m tests.rehearsal` counted. cases: rehearsed; advised, probably, left, open: of each verdict; the
    rest in words of the file: how many of them were wrong by the truth."""

    cases: int
    regrind: int
    regrind_wrong: int
    regrind_wrong_by_1_percent: int
    probably: int
    probably_wrong: int
    leave: int
    leave_passed_over: int
    cannot_tell: int
    advised_to_complaint: int
    harmed_complaint: int
    date: str
    digest: str


def judging_digest() -> str:
    """Digest, 16 hex digits, of the text of the judging code and of the opinions that it is given."""
    files = [Path(module.__file__) for module in JUDGING] + [CONFIGS / "opinions" / "shop.yaml"]
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()[:16]


def rehearsed(path: Path = FILE) -> Rehearsal:
    """The committed rehearsal."""
    found = json.loads(path.read_text(encoding="utf-8"))
    return Rehearsal(**{name: found[name] for name in Rehearsal.__dataclass_fields__})


def in_100(part: int, whole: int) -> str:
    """How many in a hundred: 3; "fewer than 1" where there are some; "none" where there is none."""
    share = 100 * part / whole if whole else 0.0
    return f"{share:.0f}" if share >= 0.5 else "fewer than 1" if part else "none"
