"""Independent tasks over workers: this process, a pool of processes, or Dask; every answer kept once it is known."""

import os
import pickle
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from experiments.request.how import is_address
from experiments.run.address import address
from experiments.run.journal import Halted, Journal
from experiments.run.pool import Pool
from experiments.run.provenance import another, computed_by
from sim.errors import BladeError

SWITCH_S = 5e-4  # how long a computing thread may keep a Dask worker from answering
PATIENCE_S = 60.0  # how long a run waits for a cluster that has no worker

Progress = Callable[[int, int], None]  # hears (done, total)


def silent(done: int, total: int) -> None:
    """Progress that nobody watches."""


class Workers:
    """Who computes: `who` is 1 (this process), a number of processes, "dask", or a Dask scheduler's address.

    journal: where answers go and are looked up; None keeps none. Answers do not depend on who gives them.
    """

    def __init__(self, who: int | str = 1, journal: Journal | None = None) -> None:
        self.who, self.journal, self.computed = who, journal, 0
        self._backend, self._shared = None, (None, "", b"")

    def __enter__(self) -> "Workers":
        return self

    def __exit__(self, kind: type | None, *fault: object) -> None:
        self.close(at_once=kind is not None)

    def close(self, at_once: bool = False) -> None:
        """Let the workers go; at once: in the middle of what they do."""
        if self._backend is not None:
            self._backend.close(at_once)
            self._backend = None

    def map(
        self,
        function: Callable,
        items: Sequence,
        shared: Any = None,
        progress: Progress = silent,
        lost: Callable | None = None,
    ) -> list:
        """[function(shared, item) for item in items], in that order.

        function: top-level; its answers are of what `journal.pack` takes. shared: handed to each worker once. lost:
        what to put in place of a task that breaks every worker that takes it (item -> answer); without it such a task
        raises Halted. Raises LookupError for a function of a module that the journal does not vouch for.
        """
        items = list(items)
        if self.journal is not None and function.__module__ not in self.journal.covers:
            raise LookupError(f"{function.__module__} is not among the modules that the journal's digest covers")
        keys = [self._key(function, shared, item) for item in items] if self.journal is not None else [""] * len(items)
        answers = [self.journal.get(key) if self.journal is not None else None for key in keys]
        todo = {i: item for i, (item, answer) in enumerate(zip(items, answers)) if answer is None}
        done = len(items) - len(todo)
        for i, answer in self._answers(function, shared, todo, lost):
            answers[i] = answer
            if self.journal is not None:
                self.journal.add(keys[i], answer)
            done += 1
            self.computed += 1
            progress(done, len(items))
        return answers

    def _key(self, function, shared, item) -> str:
        if shared is not self._shared[0] or not self._shared[1]:
            self._shared = shared, address(shared), b""
        return address(function, self._shared[1], item)

    def _answers(self, function, shared, todo, lost):
        """(place, answer) of every task, as they come."""
        if self._backend is None and todo and self.who != "dask" and not is_address(self.who):
            i = next(iter(todo))  # here, so that code is compiled and loaded before processes are forked from this one
            yield i, function(shared, todo.pop(i))
        if self.who == 1:
            for i, item in todo.items():
                yield i, function(shared, item)
        elif todo:
            if self._backend is None:
                self._backend = Pool(self.who, _work) if isinstance(self.who, int) else _Dask(self.who)
            if shared is not self._shared[0] or not self._shared[2]:
                self._shared = shared, self._shared[1] if shared is self._shared[0] else "", pickle.dumps(shared)
            yield from self._backend.answers(function, self._shared[2], todo, lost)


HERE = Workers()


def worker_count(workers: int | str | None) -> int | str:
    """Workers as `Workers` takes them: None is one for each processor."""
    return workers if workers is not None else os.cpu_count() or 1


# ---------------------------------------------------------------- what runs in a worker

_UNPACKED: dict[int, object] = {}


def _work(function: Callable, blob: bytes, item, wanted: dict):
    """One task. blob: what all tasks share, unpacked once; wanted: the code that the run was begun with."""
    here = computed_by(function.__module__)
    if here != wanted:
        differs = next(name for name in here if wanted.get(name) != here[name])
        raise Halted(
            f"workers: one has {another(differs)} ({here[differs]}) than this machine ({wanted.get(differs)}), which "
            "may change the last bits; use workers that are alike."
        )
    key = hash(blob)
    if key not in _UNPACKED:
        sys.setswitchinterval(SWITCH_S)  # a Dask worker also talks, in another thread
        _UNPACKED.clear()
        _UNPACKED[key] = pickle.loads(blob)  # made by this run, never read from a file
    return function(_UNPACKED[key], item)


# ---------------------------------------------------------------- Dask


class _Dask:
    """Workers of a Dask cluster: one started here, or an existing scheduler. Dask gives the tasks of a lost worker to
    another, and gives a task up that has cost it four."""

    def __init__(self, where: str) -> None:
        import distributed

        self._cluster = None
        try:
            if where == "dask":
                self._cluster = distributed.LocalCluster(
                    n_workers=os.cpu_count(), threads_per_worker=1, dashboard_address=None, silence_logs=50
                )
            self._client = distributed.Client(self._cluster or where, timeout=10)
            self._client.wait_for_workers(1, timeout=PATIENCE_S)
        except (OSError, TimeoutError, ValueError) as fault:
            raise BladeError(
                f"workers: no Dask workers answer at {where} ({type(fault).__name__}); start them first."
            ) from None

    def answers(
        self, function: Callable, blob: bytes, todo: dict[int, Any], lost: Callable | None
    ) -> Iterator[tuple[int, Any]]:
        """As Workers._answers; a few tasks for each worker are out at a time."""
        from distributed import wait
        from distributed.scheduler import KilledWorker

        left, out, alone_since, threads = dict(reversed(todo.items())), {}, None, max(1, self._count())
        while left or out:
            while left and len(out) < 8 * threads:
                i, item = left.popitem()
                out[self._client.submit(_work, function, blob, item, computed_by(function.__module__), pure=False)] = (
                    i,
                    item,
                )
            try:
                ready = wait(list(out), timeout=5, return_when="FIRST_COMPLETED").done
            except TimeoutError:
                ready, threads = (), max(1, self._count())
            alone_since = None if ready or self._count() else alone_since or time.monotonic()
            if alone_since and time.monotonic() - alone_since > PATIENCE_S:
                raise Halted("workers: the Dask cluster has no workers left; start some.")
            # fetched together: a worker that computes answers each request late
            whole = [future for future in ready if future.status == "finished"]
            fetched = dict(zip(whole, self._client.gather(whole)))
            for future in ready:
                i, item = out.pop(future)
                try:
                    answer = fetched[future] if future in fetched else future.result()
                except KilledWorker:
                    if lost is None:
                        raise Halted("workers: a task killed every worker that took it (out of memory?).") from None
                    answer = lost(item)
                yield i, answer

    def _count(self) -> int:
        return len(self._client.nthreads())

    def close(self, at_once: bool) -> None:
        """See Workers.close."""
        self._client.close()
        if self._cluster is not None:
            self._cluster.close(timeout=5)
