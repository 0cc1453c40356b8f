"""Workers: answers in order whoever gives them, kept once known, and found again; lost workers lose nothing."""

import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import pytest

from experiments.run.journal import Halted, Journal
from experiments.run.workers import Workers
from sim.errors import BladeError


def scaled(shared, item):
    return np.array([shared["factor"] * item])


def slow(shared, item):
    time.sleep(shared)
    return item


def deadly(shared, item):
    """Kills its worker the first time that anybody tries it; shared: a folder to note that in."""
    mark = Path(shared) / str(item)
    if item % 4 == 1 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return item


def always_deadly(shared, item):
    if item == shared:
        os.kill(os.getpid(), signal.SIGKILL)
    return item


def faulty(shared, item):
    if item == 3:
        raise BladeError("three: choose another.")
    return item


WORKERS = [1, 2, pytest.param("dask", marks=pytest.mark.slow)]


@pytest.mark.parametrize("who", WORKERS)
def test_answers_come_in_order_and_do_not_depend_on_who_gives_them(who):
    with Workers(who) as workers:
        for factor in (3.0, 4.0):  # the same workers take another question
            answers = workers.map(scaled, range(20), {"factor": factor})
            assert [a[0] for a in answers] == [factor * i for i in range(20)]
        assert workers.map(scaled, [], {"factor": 1.0}) == []


@pytest.mark.parametrize("who", WORKERS)
def test_kept_answers_are_found_and_only_the_others_computed(who, tmp_path):
    journal, heard = Journal(tmp_path / "j", "asked", __name__), []
    with Workers(who, journal) as workers:
        workers.map(scaled, range(5), {"factor": 2.0})
        assert workers.computed == 5
        again = workers.map(scaled, range(8), {"factor": 2.0}, lambda done, total: heard.append((done, total)))
        assert workers.computed == 8 and [a[0] for a in again] == [2.0 * i for i in range(8)]
        workers.map(scaled, range(5), {"factor": 2.5})
        assert workers.computed == 13
    assert heard == [(6, 8), (7, 8), (8, 8)]


@pytest.mark.parametrize("who", [2, pytest.param("dask", marks=pytest.mark.slow)])
def test_a_lost_worker_loses_no_answer(who, tmp_path):
    with Workers(who) as workers:
        assert workers.map(deadly, range(2, 12), str(tmp_path)) == list(range(2, 12))
    assert len(list(tmp_path.iterdir())) == 2  # it did happen


@pytest.mark.parametrize("who", [2, pytest.param("dask", marks=pytest.mark.slow)])
def test_a_task_that_kills_every_worker_is_given_up_and_the_others_kept(who):
    with Workers(who) as workers:
        assert workers.map(always_deadly, range(8), 5, lost=lambda item: -item) == [0, 1, 2, 3, 4, -5, 6, 7]
        with pytest.raises(Halted, match="killed every worker"):
            workers.map(always_deadly, range(8), 5)


@pytest.mark.parametrize("who", WORKERS)
def test_a_refusal_in_a_worker_is_the_refusal_of_the_run(who):
    with Workers(who) as workers, pytest.raises(BladeError, match="three: choose another"):
        workers.map(faulty, range(6))


def test_no_scheduler_is_refused_in_one_sentence(monkeypatch):
    with Workers("tcp://127.0.0.1:9") as workers, pytest.raises(BladeError, match="no Dask workers answer"):
        workers.map(scaled, range(3), {"factor": 1.0})


def test_workers_do_not_outlive_a_killed_parent(tmp_path):
    code = f"""
        import multiprocessing, sys
        sys.path.insert(0, {str(Path(__file__).parents[3])!r})
        from experiments.run.workers import Workers
        from tests.experiments.run.test_workers import slow
        def said(done, total):
            print(*[p.pid for p in multiprocessing.active_children()], flush=True)
        with Workers(2) as workers:
            workers.map(slow, range(2000), 0.05, said)
        """
    parent = subprocess.Popen([sys.executable, "-c", textwrap.dedent(code)], stdout=subprocess.PIPE, text=True)
    pids = []
    while len(pids) < 2:
        pids = [int(p) for p in parent.stdout.readline().split()]
    parent.kill()
    parent.wait()
    until = time.monotonic() + 10
    while time.monotonic() < until and any(_alive(pid) for pid in pids):
        time.sleep(0.1)
    assert not any(_alive(pid) for pid in pids)


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")")[-1].split()[0] != "Z"
    except FileNotFoundError:
        return False
