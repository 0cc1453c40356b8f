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
class Counts:
    """What `python -m tests.rehearsal` counted of all cases: how many of each verdict, and how many were wrong by the
    truth.

    leave_with_complaint: of them those of skaters who complain; passed_over: some curve would really have paid, which
    for those who complain counts where the rule saw no harm in it. harmed_complaint: of the advice to those who
    complain, that which makes what a complaint is about really worse by more than 2 %.
    """

    cases: int
    regrind: int
    regrind_wrong: int
    regrind_wrong_by_1_percent: int
    probably: int
    probably_wrong: int
    leave: int
    leave_passed_over: int
    leave_with_complaint: int
    leave_with_complaint_passed_over: int
    leave_without_complaint: int
    leave_without_complaint_passed_over: int
    cannot_tell: int
    advised_to_complaint: int
    harmed_complaint: int
    complaint_not_helped: int


@dataclass(frozen=True)
class Rehearsal:
    """Counts by a truth drawn wider than a shop allows for, and by one just as wide (as_known); the day, and the digest
    of the rule that was rehearsed."""

    wider: Counts
    as_known: Counts
    date: str
    digest: str


def judging_digest() -> str:
    """Digest, 16 hex digits, of the text of the judging code and of the opinions that it is given."""
    files = [Path(module.__file__) for module in JUDGING] + [CONFIGS / "opinions" / "shop.yaml"]
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).hexdigest()[:16]


def rehearsed(path: Path = FILE) -> Rehearsal:
    """The committed rehearsal."""
    found = json.loads(path.read_text(encoding="utf-8"))
    return Rehearsal(Counts(**found["wider"]), Counts(**found["as_known"]), found["date"], found["digest"])


def in_100(part: int, whole: int) -> str:
    """How many in a hundred: 3; "fewer than 1" where there are some; "none" where there is none."""
    share = 100 * part / whole if whole else 0.0
    return f"{share:.0f}" if share >= 0.5 else "fewer than 1" if part else "none"


def rehearsal_words(found: Rehearsal) -> str:
    """What was counted, for page 2."""
    c, known = found.wider, found.as_known

    def both(part: str, whole: str) -> str:
        one, other = (in_100(getattr(x, part), getattr(x, whole)) for x in (c, known))
        return f"{one} ({other})"

    kinds = ", ".join(
        f"{words} in {in_100(part, c.cases)}"
        for words, part in (("regrind", c.regrind), ("probably", c.probably), ("leave it", c.leave),
                            ("cannot tell", c.cannot_tell))
    )  # fmt: skip
    barred = c.leave_passed_over - c.leave_with_complaint_passed_over - c.leave_without_complaint_passed_over
    return (
        f"The rule was rehearsed on {found.date} with {c.cases:,} made-up cases (bodies, blades, wishes, complaints), "
        "each judged by a truth drawn wider than a shop allows for (in brackets: just as wide). Of 100 cases it said "
        f"{kinds}. Of 100 times “regrind” was wrong in {both('regrind_wrong', 'regrind')}, by more than 1 % in "
        f"{both('regrind_wrong_by_1_percent', 'regrind')}, “probably” in {both('probably_wrong', 'probably')}. Advice "
        "to those who complain really made what the complaint is about worse by more than 2 % in "
        f"{both('harmed_complaint', 'advised_to_complaint')} of 100. Looking back, “leave it” passed over a curve that "
        f"would have paid in {both('leave_passed_over', 'leave')}; {in_100(barred, c.leave_passed_over)} of 100 of "
        f"those curves were barred by a complaint. To repeat it: {COMMAND}."
    )
