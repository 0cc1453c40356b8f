"""Which tests execute which line, and how long each takes: one run of the quick suite, kept until a file changes."""

import hashlib
import json
import os
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

import coverage
import pytest

# left out: the fuzz and the kills (long, and they assert survival, not values)
LEFT_OUT = ("tests/experiments/test_fuzz.py", "tests/experiments/run", "tests/experiments/request/test_tracefile.py")
HOME = Path(tempfile.gettempdir()) / f"arcstride-mutation-{os.getuid()}"


def digest(root: Path) -> str:
    """Of every source and test."""
    files = sorted(p for folder in ("sim", "experiments", "configs", "tests") for p in (root / folder).rglob("*.*"))
    parts = [str(p.relative_to(root)).encode() + p.read_bytes() for p in files if p.suffix in (".py", ".yaml", ".j2")]
    return hashlib.sha256(b"".join(parts)).hexdigest()[:16]


class _Watcher:
    """Tells coverage which test is running, and notes how long each takes and whether it passed."""

    def __init__(self, measured: coverage.Coverage):
        self.measured, self.seconds, self.failed = measured, defaultdict(float), []

    def pytest_runtest_setup(self, item):
        self.measured.switch_context(item.nodeid)

    def pytest_runtest_logreport(self, report):
        self.seconds[report.nodeid] += report.duration
        if report.failed:
            self.failed.append(report.nodeid)


def mapped(root: Path) -> tuple[dict[str, dict[str, list[str]]], dict[str, float]]:
    """(file -> line -> tests, test -> seconds). Exits when the suite does not pass: nothing can be said then."""
    kept = HOME / f"map-{digest(root)}.json"
    if not kept.is_file():
        kept.parent.mkdir(mode=0o700, exist_ok=True)
        kept.write_text(json.dumps(_measured(root)))
    lines, seconds = json.loads(kept.read_text())
    return lines, seconds


def _measured(root: Path):
    os.chdir(root)
    measured = coverage.Coverage(source=["sim", "experiments"], data_file=None)
    watcher = _Watcher(measured)
    measured.start()
    status = pytest.main(["-q", "-n0", "-p", "no:cacheprovider", *(f"--ignore={path}" for path in LEFT_OUT)], [watcher])
    measured.stop()
    if status:
        sys.exit(f"mutation: the suite does not pass as it stands ({', '.join(watcher.failed[:3])}); mend that first.")
    data = measured.get_data()
    lines = {
        str(Path(name).relative_to(root)): {
            str(number): [test for test in tests if test] for number, tests in data.contexts_by_lineno(name).items()
        }
        for name in data.measured_files()
    }
    return lines, watcher.seconds
