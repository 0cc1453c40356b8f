"""Keeping a visit: a file of its own in the shop's folder, whole or not at all, that nothing else is lost for."""

from pathlib import Path

import portalocker

from experiments.request.visits import is_visit, visit_name
from experiments.run.files import PART, own, whole
from sim.errors import BladeError

LOCK = ".visits.lock"  # in the folder: two that keep a visit at once must not choose one name


def keep(folder: Path, initials: str, day: str, text: str) -> Path:
    """Write a visit under the next name of its day that is free; the folder is made where there is none.

    Raises BladeError where the folder's lock is no ordinary file or cannot be had, OSError when it cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    with open(folder / LOCK, "a", opener=own) as handle:
        try:
            portalocker.lock(handle, portalocker.LOCK_EX)
        except portalocker.exceptions.LockException:
            raise BladeError(
                f"visits: {folder} cannot be locked, so that two runs might mix; use a local disk."
            ) from None
        there = {path.name.casefold() for path in folder.iterdir()}
        for torn in folder.glob(f".*{PART}"):  # of a process that was killed while it kept one
            name, _, process = torn.name.removeprefix(".").removesuffix(PART).rpartition(".")
            if process.isdigit() and is_visit(name):
                torn.unlink(missing_ok=True)
        for number in range(1, 10_000):
            path = folder / visit_name(initials, day, number)
            if path.name.casefold() not in there:
                with whole(path) as temporary:
                    temporary.write_text(text, encoding="utf-8")
                return path
    raise BladeError(f"visits: {folder} holds too many visits of {initials} on {day}.")
