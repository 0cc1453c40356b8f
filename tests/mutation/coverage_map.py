"""Which tests execute which line, and how long each takes: one run of those that assert values, kept until changes."""

import ast
import json
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import coverage
import pytest

from tests.mutation.running import ARGUMENTS, in_turn, purged

NEAREST = 150  # tests tried for a line that is read when its module is loaded, or that runs compiled
MOST_S = 3600.0  # of the run that measures
# the tests that assert values of what judges, in minutes; whole runs of a study (a sheet takes 18 s anew for every test
# that looks at it) would make that an hour, and mostly add kills by a crash
ASSERTING = (
    "tests/experiments/analysis", "tests/experiments/studies/test_judging_*.py", "tests/experiments/test_command.py",
    "tests/test_measures.py", "tests/test_trial.py", "tests/test_exact_ends.py", "tests/blade/test_stock.py",
    "tests/rolling/test_scenarios.py",
)  # fmt: skip


class _Watcher:
    """Tells coverage which test is running; notes how long each takes and which failed.

    Each test starts with fixtures and caches of its own: what it uses of an earlier one would be put down to that one.
    """

    def __init__(self, measured: coverage.Coverage, roots: tuple[str, ...]):
        self.measured, self.roots, self.seconds, self.failed = measured, roots, defaultdict(float), []

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        for cached in _caches(self.roots):
            cached.cache_clear()
        self.measured.switch_context(item.nodeid)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] += report.duration
        if report.failed:
            self.failed.append(report.nodeid)


def _caches(roots: tuple[str, ...]) -> Iterator:
    for name, module in list(sys.modules.items()):
        if name.split(".")[0] in roots:
            yield from (value for value in vars(module).values() if hasattr(value, "cache_clear"))


class Map:
    """Tests of every line of the copy of the project in `copy`; measured there when `kept` is not a file yet."""

    def __init__(self, copy: Path, kept: Path):
        self.copy = copy
        if not kept.is_file():
            logs = copy.parent
            if in_turn({"map": (lambda: _measure(copy, kept), MOST_S)}, 1, logs)["map"] != 0:
                raise SystemExit(f"mutation: the suite does not pass as it stands; {logs / 'log-0'} says why.")
        self.lines, self.seconds = json.loads(kept.read_text())
        self.trees = {path: ast.parse((copy / path).read_text(encoding="utf-8")) for path in self.lines}

    def tests_of(self, path: str, line: int) -> list[str]:
        """Tests that execute the line, fastest first. Of what runs when its module is loaded, and of what is compiled,
        those that execute a line that names it, nearest first."""
        tree = self.trees.get(path)
        inside = [node for node in ast.walk(tree) if _holds(node, line)] if tree else []
        if not inside:
            return []
        functions = [node for node in inside if isinstance(node, ast.FunctionDef) and node.body[0].lineno <= line]
        first, last = _span(inside[-1])
        if functions and not any(_compiled(f) for f in functions):
            return self._fastest({t for number in range(first, last + 1) for t in self._at(path, number)})
        named = self._by_name(_names_of(inside))
        own = {test for tests in self.lines[path].values() for test in tests}
        return [*named, *(test for test in self._fastest(own) if test not in named)][:NEAREST]

    def _at(self, path: str, line: int) -> list[str]:
        return self.lines[path].get(str(line), [])

    def _fastest(self, tests: set[str]) -> list[str]:
        return sorted(tests, key=lambda test: (self.seconds.get(test, 0.0), test))

    def _by_name(self, names: set[str]) -> list[str]:
        """Tests of lines that name any of these; where no test executes such a line, of what it defines."""
        found: list[str] = []
        seen: set[str] = set()
        while names - seen:
            new, seen, names = names - seen, seen | names, set()
            tests: set[str] = set()
            for path, tree in self.trees.items():
                lines = {node.lineno for node in ast.walk(tree) if getattr(node, "id", getattr(node, "attr", 0)) in new}
                for line in lines:
                    tests |= set(self._at(path, line))
                    if not self._at(path, line):
                        names |= _names_of([node for node in tree.body if _holds(node, line)])
            found += [test for test in self._fastest(tests) if test not in found]
        return found


def _holds(node: ast.AST, line: int) -> bool:
    return isinstance(node, ast.stmt) and node.lineno <= line <= node.end_lineno


def _span(node: ast.stmt) -> tuple[int, int]:
    """Lines of a statement; of a compound one, of its head."""
    body = getattr(node, "body", None)
    return node.lineno, max(node.lineno, body[0].lineno - 1) if body else node.end_lineno


def _compiled(function: ast.FunctionDef) -> bool:
    return any(getattr(decorator, "id", "") == "kernel" for decorator in function.decorator_list)


def _names_of(statements: list[ast.stmt]) -> set[str]:
    """What these statements define."""
    targets = [t for s in statements for t in getattr(s, "targets", [getattr(s, "target", s)])]
    names = {n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
    return names | {s.name for s in statements if isinstance(s, ast.FunctionDef | ast.ClassDef)}


def _asserting(copy: Path) -> list[str]:
    """Paths of the tests that assert values; everything below tests/ in a project that has none of these."""
    found = [str(p.relative_to(copy)) for pattern in ASSERTING for p in sorted(copy.glob(pattern))]
    return found or ["tests"]


def _measure(copy: Path, kept: Path) -> int:
    purged(copy)
    roots = tuple(p.name for p in copy.iterdir() if p.is_dir())
    measured = coverage.Coverage(source=[str(copy)], omit=["*/tests/*"], data_file=None)
    watcher, fixture = _Watcher(measured, roots), pytest.fixture
    pytest.fixture = lambda *args, scope=None, **named: fixture(*args, **named)  # each test by itself
    measured.start()
    status = pytest.main([*ARGUMENTS, *_asserting(copy)], [watcher])
    measured.stop()
    if status:
        print(f"failed: {', '.join(watcher.failed[:5])}")
        return 1
    data = measured.get_data()
    lines = {
        str(Path(name).relative_to(copy)): {
            str(number): [test for test in tests if test] for number, tests in data.contexts_by_lineno(name).items()
        }
        for name in data.measured_files()
    }
    kept.write_text(json.dumps([lines, watcher.seconds]))
    return 0
