"""Rehearse the rule and write what the sheet states of it: python -m tests.rehearsal [--cases N] [--workers N]"""

import argparse
import datetime
import json
import math
from dataclasses import asdict

import numpy as np

from experiments.analysis.judging.verdict import KINDS
from experiments.report.page import write_text
from experiments.run.workers import Workers, worker_count
from experiments.studies.recommend.rehearsal import FILE, Counts, Rehearsal, in_100, judging_digest
from tests.rehearsal.skaters import COLUMNS, rehearse

TOGETHER = 45  # wishes and truths for one body on one blade
USUAL = 1620


def counted(rows: np.ndarray) -> Counts:
    """Counts of (case, column) rows."""
    of = dict(zip(COLUMNS, rows.T))
    regrind, probably, leave, open_ = (of["kind"] == k for k in range(len(KINDS)))
    complains = of["complaints"] > 0
    advised = (regrind | probably) & complains
    wrong = ~(of["score"] > 0)  # a blade that fails is wrong as well
    paid, paid_allowed = of["passed_over"] > 0, of["passed_over_allowed"] > 0
    numbers = {
        "cases": np.ones(len(rows)), "regrind": regrind, "regrind_wrong": regrind & wrong,
        "regrind_wrong_by_1_percent": regrind & ~(of["score"] > -math.log2(1.01)),
        "probably": probably, "probably_wrong": probably & wrong, "leave": leave, "leave_passed_over": leave & paid,
        "leave_with_complaint": leave & complains,
        "leave_with_complaint_passed_over": leave & complains & paid_allowed,
        "leave_without_complaint": leave & ~complains, "leave_without_complaint_passed_over": leave & ~complains & paid,
        "cannot_tell": open_, "advised_to_complaint": advised, "harmed_complaint": advised & (of["harmed"] > 0),
        "complaint_not_helped": advised & ~(of["helped"] > 0),
    }  # fmt: skip
    return Counts(**{name: int(np.sum(value)) for name, value in numbers.items()})


def said(c: Counts) -> list[str]:
    """The counts as lines."""
    return [
        f"{c.cases} cases: "
        + ", ".join(f"{kind.replace('_', ' ')} {getattr(c, kind) / c.cases:.0%}" for kind in KINDS),
        f"regrind wrong: {in_100(c.regrind_wrong, c.regrind)} in 100, by more than 1 %: "
        f"{in_100(c.regrind_wrong_by_1_percent, c.regrind)}",
        f"probably wrong: {in_100(c.probably_wrong, c.probably)} in 100",
        f"leave passed over a curve that pays: {in_100(c.leave_passed_over, c.leave)} in 100; of those who complain, "
        f"one that harms no complaint: {in_100(c.leave_with_complaint_passed_over, c.leave_with_complaint)}; where "
        f"nobody complained: {in_100(c.leave_without_complaint_passed_over, c.leave_without_complaint)}",
        f"advice to those who complain, a main measure really worse by more than 2 %: "
        f"{in_100(c.harmed_complaint, c.advised_to_complaint)} in 100; a complaint not really better: "
        f"{in_100(c.complaint_not_helped, c.advised_to_complaint)}",
    ]


def main() -> None:
    """Rehearse, print, write."""
    asked = argparse.ArgumentParser(prog="python -m tests.rehearsal", description=__doc__)
    asked.add_argument("--cases", type=int, default=USUAL)
    asked.add_argument("--workers", type=int, default=None)
    given = asked.parse_args()
    digest = judging_digest()  # of what is rehearsed: the text may change before this ends
    seeds = list(range(1, math.ceil(given.cases / TOGETHER) + 1))
    with Workers(worker_count(given.workers)) as workers:
        rows = np.concatenate(workers.map(rehearse, seeds, TOGETHER, lambda n, m: print(f"{n} of {m}", flush=True)))
    rows = rows[: 2 * given.cases]
    found, as_known = (counted(rows[rows[:, 0] == wider]) for wider in (1, 0))
    print("\n".join(["Truth drawn wider than the shop allows for:", *said(found), "Truth as the shop allows for:",
                     *said(as_known)]))  # fmt: skip
    if given.cases < USUAL:
        print(f"fewer than {USUAL} cases: {FILE.name} is left as it was")
        return
    whole = Rehearsal(found, as_known, datetime.date.today().isoformat(), digest)
    write_text(FILE, json.dumps(asdict(whole), indent=1) + "\n")


if __name__ == "__main__":
    main()
