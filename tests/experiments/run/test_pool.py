"""Workers that die at the worst moment: in mid-answer, all of them, while idle; nothing hangs or is lost."""

import multiprocessing
import os
import pickle
import signal
import time
from multiprocessing.connection import Connection
from pathlib import Path

import pytest

from experiments.run.journal import Halted
from experiments.run.pool import ATTEMPTS, Pool
from experiments.run.workers import Workers, _work

LARGE = 3_000_000  # bytes of an answer: far more than a pipe holds
STARTS = [s for s in ("fork", "spawn") if s in multiprocessing.get_all_start_methods()]


def large(shared, item):
    return bytes([item % 251]) * LARGE


def slow(shared, item):
    time.sleep(0.02)
    return item


def faulty(shared, item):
    if item == 3:
        raise ValueError("three")
    return item


def unspeakable(shared, item):
    raise type("Local", (Exception,), {})("cannot be sent")


def asked(function, items, pool, lost=None, shared=None):
    """{place: answer} of a pool."""
    return dict(pool.answers(function, pickle.dumps(shared), dict(enumerate(items)), lost))


@pytest.fixture(params=STARTS)
def pool(request):
    made = Pool(2, _work, request.param)
    yield made
    made.close(at_once=True)


def test_both_ways_of_starting_processes_give_the_same(pool):
    assert asked(large, range(6), pool) == {i: bytes([i]) * LARGE for i in range(6)}
    assert asked(slow, range(6), pool) == {i: i for i in range(6)}, "the same workers take another question"


@pytest.mark.parametrize("sent", [4, 70_000, LARGE // 2], ids=["the head", "a pipe full", "half"])
def test_a_worker_killed_in_the_middle_of_its_answer_is_replaced(sent, tmp_path, monkeypatch):
    """Every second answer is cut after so many bytes, the first time that it is sent: what is left of the message can
    never come, and whoever waits for it waits for ever."""
    plain = Connection._send

    def cut(self, buf, *rest):
        if len(buf) > LARGE // 2:
            mark = tmp_path / f"{bytes(buf[-100:-99])[0]}"
            if bytes(buf[-100:-99])[0] % 2 and not mark.exists():
                mark.touch()
                plain(self, bytes(buf[:sent]))
                os.kill(os.getpid(), signal.SIGKILL)
        return plain(self, buf, *rest)

    monkeypatch.setattr(Connection, "_send", cut)
    pool = Pool(2, _work, "fork")
    found = asked(large, range(10), pool)
    pool.close(at_once=False)
    assert found == {i: bytes([i]) * LARGE for i in range(10)}
    assert len(list(tmp_path.iterdir())) == 5, "it did happen, to each of the odd ones"


def test_all_workers_killed_at_once_and_then_while_idle():
    with Workers(2) as workers:
        killed = []

        def strike(done, total):
            if done in (4, 9):
                for worker in workers._backend._workers:
                    os.kill(worker.process.pid, signal.SIGKILL)
                    killed.append(worker.process.pid)

        assert workers.map(slow, range(12), None, strike) == list(range(12))
        assert len(set(killed)) == 4
        for worker in workers._backend._workers:
            os.kill(worker.process.pid, signal.SIGKILL)
        time.sleep(0.1)
        assert workers.map(slow, range(20, 26)) == list(range(20, 26))


def test_a_task_is_given_up_when_it_has_killed_so_many_workers(tmp_path):
    def tried():
        return len(list(tmp_path.iterdir()))

    with Workers(2) as workers:
        found = workers.map(_die_at_five, range(8), str(tmp_path), lost=lambda item: -item)
        assert found == [0, 1, 2, 3, 4, -5, 6, 7] and tried() == ATTEMPTS
        with pytest.raises(Halted, match="a task killed every worker"):
            workers.map(_die_at_five, range(8), str(tmp_path))
        assert workers.map(slow, range(4)) == list(range(4)), "no answer of the question before is heard"


def _die_at_five(shared, item):
    if item == 5:
        (Path(shared) / f"{os.getpid()}").touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return item


def test_a_fault_of_a_task_is_raised_here_and_says_where_it_came_from(pool):
    with pytest.raises(ValueError, match="three") as told:
        asked(faulty, range(6), pool)
    assert "in faulty" in "".join(told.value.__notes__)
    with pytest.raises(RuntimeError, match="cannot be sent"):
        asked(unspeakable, range(2), pool)
    assert asked(slow, range(4), pool) == {i: i for i in range(4)}


def test_small_tasks_are_given_in_portions_and_large_ones_one_by_one(monkeypatch):
    """A thousand tasks of nothing need few messages; tasks that take their time are shared out to the end."""
    sizes = []
    plain = Pool._give
    monkeypatch.setattr(Pool, "_give", lambda self, worker, f, blob, places, todo: sizes.append(len(places)) or plain(
        self, worker, f, blob, places, todo))  # fmt: skip
    with Workers(2) as workers:
        assert len(workers.map(pow_of, range(1001), 2)) == 1001
        assert len(sizes) < 100 and max(sizes) > 50
        sizes.clear()
        workers.map(slow, range(9))
        assert max(sizes) <= 4


def pow_of(shared, item):
    return item**shared


def test_letting_go_ends_every_process_at_once():
    pool = Pool(2, _work)
    steps = pool.answers(endless, pickle.dumps(None), dict(enumerate([0.0, 600.0, 600.0])), None)
    assert next(steps) == (0, 0.0)
    children = [worker.process for worker in pool._workers]
    steps.close()
    assert not any(child.is_alive() for child in children)


def endless(shared, item):
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    time.sleep(item)
    return item
