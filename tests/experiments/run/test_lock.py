"""A run's lock and its helpers end with it, however it ends."""

import multiprocessing
import os
import subprocess
import sys
import time
from datetime import datetime
from pathlib import Path

import portalocker
import pytest

from experiments.run.folder import RunFolder
from sim.errors import BladeError

HOME = Path(__file__).parents[3]
MODULE = "experiments.studies.compare.study"
SLOW = """
import os, sys, time
from types import SimpleNamespace
from experiments.studies.compare import figures

def slow(task):
    print(os.getpid(), flush=True)
    time.sleep(60)

figures._draw, figures.looks = slow, lambda rows: {}
figures.draw_all(SimpleNamespace(rows=[SimpleNamespace(skater="a")]), "9 ft", sys.argv[1], 2)
"""


def begun(tmp_path: Path) -> RunFolder:
    return RunFolder.new({"results_dir": str(tmp_path), "kind": "compare"}, "x", MODULE, datetime.now(), "arcstride")


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no process is a copy of another here")
def test_a_worker_that_outlives_a_run_does_not_hold_its_folder(tmp_path):
    folder = begun(tmp_path)
    with pytest.raises(BladeError, match="another process is at work"):
        RunFolder(folder.path, {"kind": "compare"}, MODULE)
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe()
    worker = context.Process(target=lambda: (there.send("at work"), time.sleep(60)))
    worker.start()
    assert here.poll(30)
    try:
        folder.close()
        RunFolder(folder.path, {"kind": "compare"}, MODULE).close()
    finally:
        worker.kill()
        worker.join()


def test_a_disk_without_locks_is_named_as_such(tmp_path, monkeypatch):
    def lock(*given):
        raise portalocker.exceptions.LockException("no locks available")

    monkeypatch.setattr(portalocker, "lock", lock)
    with pytest.raises(BladeError, match="cannot be locked; name a results_dir on another"):
        begun(tmp_path)


@pytest.mark.skipif(not Path("/proc/self/stat").is_file(), reason="asks the system about other processes")
def test_who_draws_ends_with_the_run(tmp_path):
    """The run is killed while two processes draw for it."""
    script = tmp_path / "slow.py"
    script.write_text(SLOW)
    env = os.environ | {"PYTHONPATH": str(HOME)}
    run = subprocess.Popen([sys.executable, "-P", script, tmp_path / "f"], stdout=subprocess.PIPE, env=env, text=True)
    drawing = [int(run.stdout.readline()) for _ in range(2)]
    run.kill()
    run.wait()
    run.stdout.close()
    try:
        until = time.monotonic() + 30
        while any(_alive(pid) for pid in drawing) and time.monotonic() < until:
            time.sleep(0.05)
        assert not any(_alive(pid) for pid in drawing)
    finally:
        for pid in filter(_alive, drawing):
            os.kill(pid, 9)


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
