"""Mutation test of the code that judges: python -m tests.mutation [PATH ...] [--sample 200] [--seed 0] [--least 0.9]"""

import argparse
import importlib
import multiprocessing
import os
import random
import re
import shutil
import signal
import sys
import time
from collections import Counter
from pathlib import Path

from tests.mutation.coverage_map import HOME, mapped
from tests.mutation.mutants import Mutant, mutants_of

ROOT = Path(__file__).parents[2]
JUDGING = ("experiments/analysis", "experiments/studies/*/study.py", "sim/measures.py", "sim/blade/stock.py",
           "sim/rolling/scenarios.py", "sim/trial.py")  # fmt: skip
EQUIVALENT = Path(__file__).with_name("equivalent.txt")
HEAVY = ("numpy", "scipy.stats", "scipy.optimize", "numba", "matplotlib.figure", "hydra", "pymoo.core.problem", "h5py",
         "xarray", "hypothesis", "SALib", "ezdxf", "pytest", "pymunk")  # fmt: skip
SLOWEST_S, PATIENCE = 30.0, 5.0  # a mutant may take this long, or so many times what its tests take
MOST_TESTS = 120  # fastest ones that execute the line


def files_of(paths) -> list[str]:
    """Python files of folders, files and patterns, relative to the root."""
    found = [p for path in paths for p in sorted(ROOT.glob(path))]
    every = [q for p in found for q in (sorted(p.rglob("*.py")) if p.is_dir() else [p])]
    return [str(p.relative_to(ROOT)) for p in every if p.name != "__init__.py"]


def equivalents() -> set[tuple[str, str, str]]:
    """(path, line before, line after) of changes that change nothing, by content."""
    out = set()
    for row in EQUIVALENT.read_text(encoding="utf-8").splitlines() if EQUIVALENT.is_file() else ():
        if row and not row.startswith("#"):
            path, before, after, *_ = (cell.strip() for cell in row.split(" | "))
            out.add((path, before, after))
    return out


# ---------------------------------------------------------------- what a worker does


def prepare(turn) -> None:
    """A copy of the project for this process, and the libraries that every test wants; of the project nothing yet."""
    with turn.get_lock():
        number, turn.value = turn.value, turn.value + 1
    copy = HOME / f"copy-{number}"
    shutil.rmtree(copy, ignore_errors=True)
    kept = ("sim", "experiments", "configs", "tests", "results")
    for name in kept:
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__", "2*"))
    for name in ("pyproject.toml", "README.md", "DEVELOPERS.md"):
        shutil.copy2(ROOT / name, copy / name)
    os.environ["NUMBA_CACHE_DIR"] = str(HOME / f"numba-{number}")
    os.chdir(copy)
    sys.path[:] = [str(copy), *(p for p in sys.path if p not in ("", str(ROOT)))]
    for name in [name for name in sys.modules if name.split(".")[0] in ("sim", "experiments", "configs", "tests")]:
        del sys.modules[name]
    for name in HEAVY:
        importlib.import_module(name)


def tried(task: tuple[str, str, list[str], float]) -> str:
    """killed, late or survived: what the tests say of one changed file. task: path, its text, tests, seconds."""
    path, text, tests, limit = task
    whole = Path(path).read_text(encoding="utf-8")
    Path(path).write_text(text, encoding="utf-8")
    try:
        return _judged(tests, limit)
    finally:
        Path(path).write_text(whole, encoding="utf-8")


def _judged(tests: list[str], limit: float) -> str:
    child = os.fork()
    if child == 0:
        os.setsid()
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.dup2(nothing, 2)
        sys.dont_write_bytecode = True
        import pytest

        os._exit(min(int(pytest.main(["-x", "-q", "-n0", "-p", "no:cacheprovider", *tests])), 100))
    until = time.monotonic() + limit
    while time.monotonic() < until:
        pid, status = os.waitpid(child, os.WNOHANG)
        if pid:
            return "survived" if os.WIFEXITED(status) and os.WEXITSTATUS(status) == 0 else "killed"
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return "late"


# ---------------------------------------------------------------- the command


def main() -> int:
    """Print a line for each survivor and the share killed; 0 when that share is at least `--least`."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("paths", nargs="*", default=JUDGING)
    for name, default in (("--sample", 200), ("--seed", 0), ("--processes", 2)):
        parser.add_argument(name, type=int, default=default)
    parser.add_argument("--least", type=float, default=0.9)
    asked = parser.parse_args()
    every = [mutant for path in files_of(asked.paths) for mutant in mutants_of(ROOT, path)]
    sample = random.Random(asked.seed).sample(every, min(asked.sample, len(every)))
    verdicts = judged(sorted(sample, key=lambda m: (m.path, m.line)), asked.processes)
    return report(verdicts, len(every), asked.least)


def tests_of(mutant: Mutant, lines: dict[str, dict[str, list[str]]]) -> set[str]:
    """Tests that execute the line; of a constant, read when its module is loaded, those of lines that mention it."""
    own = lines.get(mutant.path, {})
    if own.get(str(mutant.line)):
        return set(own[str(mutant.line)])
    names = re.findall(r"\b[A-Z][A-Z0-9_]+\b", mutant.lines(ROOT)[0].split("=")[0])
    found = {test for path in lines if names for number, test in _mentions(path, names, lines[path])}
    return found or {test for tests in own.values() for test in tests}


def _mentions(path: str, names: list[str], its_lines: dict[str, list[str]]):
    pattern = re.compile(rf"\b({'|'.join(names)})\b")
    for number, line in enumerate((ROOT / path).read_text(encoding="utf-8").splitlines(), 1):
        if pattern.search(line):
            yield from ((number, test) for test in its_lines.get(str(number), ()))


def judged(sample: list[Mutant], processes: int) -> dict[Mutant, str]:
    """Mutant -> killed, late (a time-out), survived, untested (no test executes its line) or equivalent."""
    lines, seconds = mapped(ROOT)
    same, out, tasks = equivalents(), {}, {}
    for mutant in sample:
        tests = sorted(tests_of(mutant, lines), key=lambda test: seconds.get(test, 0))
        if (mutant.path, *mutant.lines(ROOT)) in same:
            out[mutant] = "equivalent"
        elif not tests:
            out[mutant] = "untested"
        else:
            usual = sum(seconds.get(test, 0) for test in tests[:MOST_TESTS])
            tasks[mutant] = mutant.path, mutant.text(ROOT), tests[:MOST_TESTS], SLOWEST_S + PATIENCE * usual
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes, prepare, (context.Value("i", 0),)) as pool:
        out |= dict(zip(tasks, pool.imap(tried, tasks.values(), chunksize=1)))
    return out


def report(verdicts: dict[Mutant, str], population: int, least: float) -> int:
    """The table; returns the exit status."""
    for mutant, verdict in verdicts.items():
        if verdict in ("survived", "untested", "equivalent"):
            before, after = mutant.lines(ROOT)
            print(f"{verdict}: {mutant.path}:{mutant.line} ({mutant.operator})\n    - {before}\n    + {after}")
    counted = {m: v for m, v in verdicts.items() if v != "equivalent"}
    killed = Counter(m.path for m, v in counted.items() if v in ("killed", "late"))
    for path, count in Counter(m.path for m in counted).items():
        print(f"{killed[path]:4d} / {count:3d}  {path}")
    rate = sum(killed.values()) / max(1, len(counted))
    late = sum(v == "late" for v in counted.values())
    print(f"{sum(killed.values())} of {len(counted)} mutants killed ({100 * rate:.1f} %), {late} of them by time; "
          f"{len(verdicts) - len(counted)} equivalent; {population} in all")  # fmt: skip
    return 0 if rate >= least else 1


if __name__ == "__main__":
    sys.exit(main())
