"""Processes on this machine that compute tasks: each has a pipe of its own, so that one that dies harms no other."""

import contextlib
import multiprocessing
import os
import pickle
import signal
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from typing import Any

from experiments.run.journal import Halted
from experiments.run.provenance import computed_by

ATTEMPTS = 3  # workers that a task may kill before it is given up
PORTION_S = 0.1  # what one worker is given at a time takes about so long
GRACE_S = 1.0  # how long a worker that is told to end may take

Work = Callable[[Callable, bytes, Any, dict], Any]  # (function, blob, item, wanted) -> answer


@dataclass
class _Worker:
    """A process, this side of its pipe, the tasks that are out there (the first is being computed), and the shared
    values that it has (their bytes)."""

    process: Any
    pipe: Connection
    out: deque[int] = field(default_factory=deque)
    has: bytes | None = None


class Pool:
    """Processes that compute `work(function, blob, item, wanted)`; made when first needed.

    start: how processes are started, as multiprocessing names it; None: as this system does.
    """

    def __init__(self, count: int, work: Work, start: str | None = None) -> None:
        self._count, self._work, self._context = count, work, multiprocessing.get_context(start)
        self._workers: list[_Worker] = []

    def answers(
        self, function: Callable, blob: bytes, todo: dict[int, Any], lost: Callable | None
    ) -> Iterator[tuple[int, Any]]:
        """(place, answer) of every task, as they come.

        A worker that dies is replaced, and what was out there given to others. A task that has killed ATTEMPTS workers
        is lost: `lost(item)` stands for its answer; Halted without that.
        """
        try:
            yield from self._answers(function, blob, todo, lost)
        finally:
            if any(w.out for w in self._workers):  # left in the middle: no later question may hear these answers
                self.close(at_once=True)

    def _answers(self, function, blob, todo, lost):
        left, deaths = deque(todo), dict.fromkeys(todo, 0)
        size = 1
        while len(self._workers) < min(self._count, len(todo)):
            self._workers.append(self._new())
        began, done = time.monotonic(), 0
        while left or any(w.out for w in self._workers):
            for worker in self._workers:
                if left and not worker.out:
                    self._give(worker, function, blob, [left.popleft() for _ in range(min(size, len(left)))], todo)
            for worker in self._ready():
                try:
                    i, answer, fault = pickle.loads(worker.pipe.recv_bytes())
                except (EOFError, OSError, pickle.UnpicklingError):  # dead, perhaps in the middle of an answer
                    gone = self._replace(worker)
                    if gone:
                        deaths[gone[0]] += 1
                        blamed = gone.popleft() if deaths[gone[0]] >= ATTEMPTS else None
                        left.extendleft(reversed(gone))
                        if blamed is not None:
                            if lost is None:
                                raise Halted(
                                    "workers: a task killed every worker that took it (out of memory?); use fewer "
                                    "workers."
                                ) from None
                            yield blamed, lost(todo[blamed])
                    continue
                if fault is not None:
                    raise fault
                worker.out.popleft()
                done += 1
                each = (time.monotonic() - began) * len(self._workers) / done
                size = max(1, min(int(PORTION_S / max(each, 1e-6)), len(left) // (2 * len(self._workers))))
                yield i, answer

    def _give(self, worker: _Worker, function: Callable, blob: bytes, places: list[int], todo: dict[int, Any]) -> None:
        """Send a portion to an idle worker: it reads, so that this never waits for it to compute."""
        shared = None if worker.has == blob else blob
        items = [(i, todo[i]) for i in places]
        worker.out.extend(places)
        worker.has = blob
        _send(worker, pickle.dumps((function, shared, items, computed_by(function.__module__))))

    def _ready(self) -> list[_Worker]:
        """Workers from which there is something to read: an answer, or their end."""
        of = {w.pipe: w for w in self._workers if w.out}
        return [of[pipe] for pipe in wait(list(of))]

    def _replace(self, dead: _Worker) -> deque[int]:
        """Another worker in the place of a dead one; gives the tasks that were out there, the one at fault first."""
        _end([dead], at_once=True)
        self._workers[self._workers.index(dead)] = self._new()
        return dead.out

    def _new(self) -> _Worker:
        here, there = self._context.Pipe()
        process = self._context.Process(target=_serve, args=(there, self._work), daemon=True)
        process.start()
        there.close()  # or a worker's death would not end its pipe, nor would a later worker's copy let it
        return _Worker(process, here)

    def close(self, at_once: bool) -> None:
        """Let the workers go; at once: in the middle of what they do."""
        workers, self._workers = self._workers, []
        for worker in workers if not at_once else ():
            _send(worker, b"")
        _end(workers, at_once)


def _send(worker: _Worker, message: bytes) -> None:
    """A message to a worker; an empty one lets it go."""
    with contextlib.suppress(OSError):  # dead: its pipe says so when it is read
        worker.pipe.send_bytes(message)


def _end(workers: Sequence[_Worker], at_once: bool) -> None:
    """Be sure that workers are gone, all within one time of grace."""
    until = time.monotonic() + GRACE_S
    for worker in workers:
        worker.pipe.close()
        if at_once:
            worker.process.terminate()
    for worker in workers:
        worker.process.join(max(0.0, until - time.monotonic()))
        if worker.process.is_alive():
            worker.process.kill()
    for worker in workers:
        worker.process.join(GRACE_S)


# ---------------------------------------------------------------- what runs in a worker


def _serve(pipe: Connection, work: Work) -> None:
    """Compute what is sent until the pipe ends. Each answer goes back once it is known."""
    begin()
    blob = b""
    while True:
        try:
            message = pipe.recv_bytes()
        except (EOFError, OSError):
            return
        if not message:
            return
        function, shared, items, wanted = pickle.loads(message)
        blob = blob if shared is None else shared
        for i, item in items:
            try:
                told = pickle.dumps((i, work(function, blob, item, wanted), None))
            except Exception as fault:
                told = _fault(i, fault)
            try:
                pipe.send_bytes(told)
            except OSError:  # nobody listens any more
                return


def _fault(place: int, fault: Exception) -> bytes:
    """An exception with where it came from; its text alone where it cannot travel."""
    fault.add_note(f"in a worker:\n{''.join(traceback.format_exception(fault))}")
    try:
        told = pickle.dumps((place, None, fault))
        pickle.loads(told)
        return told
    except Exception:
        return pickle.dumps((place, None, RuntimeError(repr(fault))))


def begin() -> None:
    """A worker ends with its parent, even one that was killed. Ctrl-C and a closed terminal are the parent's."""
    for name in ("SIGINT", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
