"""The mutation test itself: on a project of a few lines, of which it is known what a test notices."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("cosmic_ray", reason="the mutation extra is not installed")

LIMITS = """
LIMIT = 10


def above(value):
    return value > LIMIT


def doubled(value):
    return value * 2


def forgotten(value):
    return value + 1
"""
TESTS = """
import pytest
from tiny.limits import above, doubled


def test_above():
    assert above(11) and not above(9)


@pytest.fixture(scope="session")
def twice():
    return doubled(3)


def test_uses_first(twice):
    pass


def test_checks(twice):
    assert twice == 6
"""
COMMAND = "import sys, pathlib; from tests.mutation.__main__ import main; sys.exit(main(pathlib.Path(sys.argv.pop(1))))"


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """The command on that project: (exit status, what it printed)."""
    root, cache = tmp_path_factory.mktemp("project"), tmp_path_factory.mktemp("cache")
    files = {
        "pyproject.toml": "[tool.pytest.ini_options]\npythonpath = ['.']\n",
        "tiny/__init__.py": "",
        "tiny/limits.py": LIMITS,
        "tests/test_limits.py": TESTS,
        "tests/mutation/equivalent.txt": "tiny/limits.py :: LIMIT = 10 => LIMIT = 9  # whole numbers\n",
    }
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text)

    def go(*arguments):
        before = {p: p.read_bytes() for p in root.rglob("*") if p.is_file()}
        done = subprocess.run(
            [sys.executable, "-c", COMMAND, str(root), "tiny", "--processes", "1", *arguments],
            cwd=Path(__file__).parents[1], env=os.environ | {"XDG_CACHE_HOME": str(cache)},
            capture_output=True, text=True,
        )  # fmt: skip
        assert {p: p.read_bytes() for p in root.rglob("*") if p.is_file()} == before  # the tree is never touched
        return done.returncode, done.stdout + done.stderr

    return go


def test_what_is_noticed_and_what_is_not(run):
    status, said = run("--least", "0.5")
    assert "survived: tiny/limits.py:6 (ReplaceComparisonOperator_Gt_GtE)" in said  # nothing asks at the limit itself
    assert said.count("survived:") == 1
    assert "equivalent: tiny/limits.py:2 (Number)\n    - LIMIT = 10\n    + LIMIT = 9" in said
    assert said.count("untested: tiny/limits.py:14") == 3
    # killed: > to <, LIMIT 11, and all three changes of `doubled`, which only the second user of the fixture checks
    assert "   5 /   9  tiny/limits.py" in said and "5 by an assertion, 0 by another exception, 0 by time" in said
    assert status == 0


def test_too_few_killed_is_an_error_and_a_list_runs_nothing(run):
    assert run("--least", "0.6")[0] == 1
    status, said = run("--list", "--sample", "3")
    assert status == 0 and said.count("tiny/limits.py:") == 3 and "killed" not in said
