"""Mutation test of the code that judges: python -m tests.mutation [PATH ...] [--sample 200] [--seed 0] [--list]"""

import argparse
import sys
from collections import Counter
from pathlib import Path

from tests.mutation.coverage_map import Map
from tests.mutation.mutants import Mutant, drawn, mutants_of
from tests.mutation.running import (
    ASSERTED,
    SURVIVED,
    UNLOADABLE,
    compiled_together,
    copy_of,
    in_turn,
    judge,
    load_libraries,
)

ROOT = Path(__file__).parents[2]
JUDGING = ("experiments/analysis", "experiments/studies/*/study.py", "sim/measures/*.py", "sim/blade/stock.py",
           "sim/rolling/scenarios.py", "sim/trial.py")  # fmt: skip
EQUIVALENT = "tests/mutation/equivalent.txt"
SLOWEST_S, PATIENCE, COMPILING_S = 30.0, 5.0, 180.0  # a mutant's limit: so long, and so many times what its tests take
SHOWN = ("survived", "untested", "unloadable", "equivalent")  # verdicts with a line each
LEFT_OUT = ("unloadable", "equivalent")  # they count as neither killed nor sampled


def files_of(root: Path, paths: list[str]) -> list[str]:
    """Python files of folders, files and patterns, relative to the root. Exits when a path is none."""
    found: list[Path] = []
    for path in paths:
        here = sorted(root.glob(str(Path(path).relative_to(root) if Path(path).is_absolute() else path)))
        every = [q for p in here for q in (sorted(p.rglob("*.py")) if p.is_dir() else [p])]
        if not every:
            sys.exit(f"mutation: {path} is neither a Python file of this project nor a folder that has one.")
        found += every
    return list(dict.fromkeys(str(p.relative_to(root)) for p in found))


def equivalents(listed: Path) -> set[tuple[str, str, str]]:
    """(path, line before, line after) of changes that change nothing. A row: path :: before => after  # reason"""
    out = set()
    for row in listed.read_text(encoding="utf-8").splitlines() if listed.is_file() else ():
        if row.strip() and not row.startswith("#"):
            change, marked, reason = row.rpartition("  # ")
            path, _, lines = change.partition(" :: ")
            before, arrow, after = lines.partition(" => ")
            if not (marked and arrow and reason.strip()):
                sys.exit(f"mutation: {listed.name}: {row!r} should be: path :: before => after  # reason")
            out.add((path.strip(), before.strip(), after.strip()))
    return out


def judged(root: Path, sample: list[Mutant], same: set[tuple[str, str, str]], processes: int) -> dict[Mutant, str]:
    """Mutant -> asserted, raised, late (its seconds were over), or one of SHOWN (untested: no test executes it)."""
    copy = copy_of(root)
    load_libraries(copy)
    map_, compiled = Map(copy, copy.parent / "map.json"), compiled_together(copy)
    out, works = {}, {}
    for mutant in sample:
        tests = map_.tests_of(mutant.path, mutant.line)
        if (mutant.path, *mutant.lines()) in same:
            out[mutant] = "equivalent"
        elif not tests:
            out[mutant] = "untested"
        else:
            anew = mutant.path in compiled
            limit = SLOWEST_S + PATIENCE * sum(map_.seconds.get(test, 0.0) for test in tests) + COMPILING_S * anew
            task = (copy, mutant.path, mutant.after, tests, anew)
            works[mutant] = (lambda task=task: judge(*task)), limit
    names = {SURVIVED: "survived", ASSERTED: "asserted", UNLOADABLE: "unloadable", None: "late"}
    out |= {m: names.get(status, "raised") for m, status in in_turn(works, processes, copy.parent).items()}
    return {mutant: out[mutant] for mutant in sample}


def report(verdicts: dict[Mutant, str], population: int, least: float) -> int:
    """A line for each survivor, the share of each file, the sum; returns the exit status."""
    for verdict in SHOWN:
        for mutant in (m for m, v in verdicts.items() if v == verdict):
            before, after = mutant.lines()
            print(f"{verdict}: {mutant.path}:{mutant.line} ({mutant.operator})\n    - {before}\n    + {after}")
    counted = {m: v for m, v in verdicts.items() if v not in LEFT_OUT}
    how = Counter(v for v in counted.values() if v not in SHOWN)
    killed = Counter(m.path for m, v in counted.items() if v not in SHOWN)
    for path, count in sorted(Counter(m.path for m in counted).items()):
        print(f"{killed[path]:4d} / {count:3d}  {path}")
    rate = killed.total() / len(counted) if counted else 0.0
    print(f"{killed.total()} of {len(counted)} mutants killed ({100 * rate:.1f} %): {how['asserted']} by an assertion, "
          f"{how['raised']} by another exception, {how['late']} by time. {len(verdicts) - len(counted)} left out "
          f"(equivalent or not loadable); {population} mutants in all.")  # fmt: skip
    return 0 if rate >= least else 1


def main(root: Path = ROOT) -> int:
    """Print what no test noticed and the share killed; 0 when that share is at least `--least`."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("paths", nargs="*", default=JUDGING)
    for name, default in (("--sample", 200), ("--seed", 0), ("--processes", 2)):
        parser.add_argument(name, type=int, default=default)
    parser.add_argument("--least", type=float, default=0.9)
    parser.add_argument("--list", action="store_true", help="print the sample and run nothing")
    asked = parser.parse_args()
    every = [mutant for path in files_of(root, asked.paths) for mutant in mutants_of(root, path)]
    sample = drawn(every, asked.sample, asked.seed)
    if asked.list:
        for mutant in sample:
            print(f"{mutant.path}:{mutant.line} ({mutant.operator})", *mutant.lines(), sep="\n    ")
        return 0
    return report(judged(root, sample, equivalents(root / EQUIVALENT), asked.processes), len(every), asked.least)


if __name__ == "__main__":
    sys.exit(main())
