"""Rehearse the rule and write what the sheet states of it: python -m tests.rehearsal [--cases N] [--workers N]"""

import argparse
import datetime
import json
import math

import numpy as np

from experiments.analysis.judging.verdict import KINDS
from experiments.report.page import write_text
from experiments.run.workers import Workers, worker_count
from experiments.studies.recommend.rehearsal import FILE, in_100, judging_digest
from tests.rehearsal.skaters import COLUMNS, rehearse

TOGETHER = 45  # wishes and truths for one body on one blade
USUAL = 1620


def counted(rows: np.ndarray) -> dict:
    """Counts of (case, column) rows: what rehearsal.json holds."""
    of = dict(zip(COLUMNS, rows.T))
    regrind, probably, leave, open_ = (of["kind"] == k for k in range(len(KINDS)))
    advised = (regrind | probably) & (of["complaints"] > 0)
    wrong = ~(of["score"] > 0)  # a blade that fails is wrong as well
    without = leave & (of["complaints"] == 0)
    numbers = {
        "cases": len(rows), "regrind": regrind, "regrind_wrong": regrind & wrong,
        "regrind_wrong_by_1_percent": regrind & ~(of["score"] > -math.log2(1.01)),
        "probably": probably, "probably_wrong": probably & wrong,
        "leave": leave, "leave_passed_over": leave & (of["passed_over"] > 0),
        "leave_passed_over_allowed": leave & (of["passed_over_allowed"] > 0),
        "leave_without_complaint": without, "leave_without_complaint_passed_over": without & (of["passed_over"] > 0),
        "cannot_tell": open_, "advised_to_complaint": advised, "harmed_complaint": advised & (of["harmed"] > 0),
        "complaint_not_helped": advised & ~(of["helped"] > 0),
    }  # fmt: skip
    return {name: int(np.sum(value)) for name, value in numbers.items()}


def said(c: dict) -> list[str]:
    """The counts as lines."""
    shares = ", ".join(f"{name.replace('_', ' ')} {c[name] / c['cases']:.0%}" for name in KINDS)
    return [
        f"{c['cases']} cases: {shares}",
        f"regrind wrong: {in_100(c['regrind_wrong'], c['regrind'])} in 100, by more than 1 %: "
        f"{in_100(c['regrind_wrong_by_1_percent'], c['regrind'])}",
        f"probably wrong: {in_100(c['probably_wrong'], c['probably'])} in 100",
        f"leave passed over a curve that pays: {in_100(c['leave_passed_over'], c['leave'])} in 100; one that harms no "
        f"complaint: {in_100(c['leave_passed_over_allowed'], c['leave'])}; where nobody complained: "
        f"{in_100(c['leave_without_complaint_passed_over'], c['leave_without_complaint'])}",
        f"advice to who complains, a main measure really worse by more than 2 %: "
        f"{in_100(c['harmed_complaint'], c['advised_to_complaint'])} in 100; a complaint not really better: "
        f"{in_100(c['complaint_not_helped'], c['advised_to_complaint'])}",
    ]


def main() -> None:
    """Rehearse, print, write."""
    asked = argparse.ArgumentParser(prog="python -m tests.rehearsal", description=__doc__)
    asked.add_argument("--cases", type=int, default=USUAL)
    asked.add_argument("--workers", type=int, default=None)
    given = asked.parse_args()
    seeds = list(range(1, math.ceil(given.cases / TOGETHER) + 1))
    with Workers(worker_count(given.workers)) as workers:
        rows = np.concatenate(workers.map(rehearse, seeds, TOGETHER, lambda n, m: print(f"{n} of {m}", flush=True)))
    found = counted(rows[: given.cases])
    print("\n".join(said(found)))
    if given.cases < USUAL:
        print(f"fewer than {USUAL} cases: {FILE.name} is left as it was")
        return
    found |= {"date": datetime.date.today().isoformat(), "digest": judging_digest()}
    write_text(FILE, json.dumps(found, indent=1) + "\n")


if __name__ == "__main__":
    main()
