"""The folder of one run: resolved config, log, answers kept on the way, results; with what is needed to repeat it."""

import contextlib
import hashlib
import json
import os
import shutil
from datetime import datetime
from pathlib import Path

import portalocker
import yaml

from experiments.request.how import request_of
from experiments.request.plain import read_yaml, shown
from experiments.run.files import NOT_ORDINARY, PART, own, whole
from experiments.run.journal import Journal
from experiments.run.provenance import provenance
from sim.errors import BladeError

KEPT = "answers.journal"  # of an unfinished run
LARGEST_CONFIG = 20_000_000  # bytes
MOST_BELOW = 100_000  # files below the folder of a run
BEGUN = {"config.yaml", "run.log", ".lock", KEPT}  # what stands in a folder before anything is computed
LONGEST_PATH = 400  # characters of one that a sentence shows
LOG_END = 65_536  # bytes at the end of a log, where it says that a run is finished


class RunFolder:
    """results/<experiment>/<run id>/: a new one, never shared with another run, or an unfinished one gone on with.

    module: the study's; answers are kept in `journal` until the run is finished. Raises BladeError when it cannot be
    made, or when another process is at work in it.
    """

    def __init__(self, path: Path, config: dict, module: str) -> None:
        self.path, self._new = path, False
        self.request_text = _yaml(request_of(config))
        with open(path / "config.yaml", encoding="utf-8") as handle:
            first = handle.readline(LARGEST_CONFIG)
        self.command = first[2:].strip() if first.startswith("# arcstride") else ""
        self._lock = self._locked()
        self.journal = Journal(path / KEPT, _digest(self.request_text), module)  # refuses what is not this run's
        for torn in path.rglob(f".*{PART}"):  # of a run that was killed
            if torn.is_file():
                torn.unlink(missing_ok=True)

    @classmethod
    def new(cls, config: dict, experiment: str, module: str, now: datetime, command: str) -> "RunFolder":
        """A folder of its own. command: the words that asked for it."""
        base = Path(str(config["results_dir"])) / experiment
        digest = _digest(_yaml(request_of(config)))[:6]
        for attempt in range(1000):
            suffix = f"-{attempt + 1}" if attempt else ""
            path = base / f"{now:%Y%m%d-%H%M%S}-{digest}{suffix}"
            try:
                path.mkdir(parents=True)
                with whole(path / "config.yaml") as temporary:
                    temporary.write_text(f"# {command}\n{_yaml(config)}", encoding="utf-8")
                folder = cls(path, config, module)
                folder._new = True
                return folder
            except FileExistsError as clash:
                if not path.is_dir():
                    raise BladeError(f"results_dir: {base} is a file, not a folder; name another.") from clash
            except OSError as fault:
                raise BladeError(
                    f"results_dir: cannot write in {base} ({fault.strerror}); name a folder that can be written."
                ) from None
        raise BladeError(f"results_dir: {base} holds too many runs of this second; wait a moment.")

    def _locked(self):
        """A lock that ends with this process, however it ends: workers that outlive it have no part in it."""
        try:
            handle = open(self.path / ".lock", "a", opener=own)
            portalocker.lock(handle, portalocker.LOCK_EX | portalocker.LOCK_NB)
        except portalocker.exceptions.AlreadyLocked:
            raise BladeError(f"resume: another process is at work in {self.path}; let it end, or stop it.") from None
        except portalocker.exceptions.LockException:
            raise BladeError(
                f"{self.path}: files on this disk cannot be locked; name a results_dir on another."
            ) from None
        except OSError as fault:
            raise BladeError(
                f"{self.path}: cannot be written ({fault.strerror}); it must be, to go on in it."
            ) from None
        if hasattr(os, "register_at_fork"):  # a lock lasts as long as any process has the file open
            os.register_at_fork(after_in_child=handle.close)
        return handle

    def log(self, line: str) -> None:
        """Append a line with the time of day to run.log."""
        with open(self.path / "run.log", "a", encoding="utf-8", opener=own) as handle:
            handle.write(f"{datetime.now():%H:%M:%S} {line}\n")

    def attributes(self) -> dict[str, str]:
        """What a file of results says of where it comes from."""
        seed = str(yaml.safe_load(self.request_text).get("seed", "none: nothing in this run is random"))
        return {"config": self.request_text, "seed": seed, **provenance()}

    def note(self, lines: list[str]) -> None:
        """Write sources.txt and versions.json."""
        for name, text in (("sources.txt", "\n".join(lines)), ("versions.json", json.dumps(provenance(), indent=1))):
            with whole(self.path / name) as temporary:
                temporary.write_text(text + "\n", encoding="utf-8")

    def finish(self, seconds: float) -> None:
        """Say that the run is done, and drop what was kept to go on with."""
        self.log(f"{DONE} {seconds:.1f} s")
        self.close()
        (self.path / KEPT).unlink(missing_ok=True)
        (self.path / ".lock").unlink(missing_ok=True)

    def drop(self) -> None:
        """Take a new folder away again in which nothing was computed: what is refused leaves none behind."""
        if self._new and not len(self.journal) and {path.name for path in self.path.iterdir()} <= BEGUN:
            self.close()
            shutil.rmtree(self.path, ignore_errors=True)

    def close(self) -> None:
        """Let go of the folder; an unfinished run can be gone on with."""
        self.journal.close()
        self._lock.close()


DONE = "done in"


def unfinished(place: str) -> tuple[Path, dict]:
    """(folder, its config) of an unfinished run. Raises BladeError where there is none to go on with."""
    path = Path(place)
    log, config = "", None
    if (path / "config.yaml").exists():
        only_ordinary(path)
    if (path / "config.yaml").is_file():
        config = read_yaml(str(path / "config.yaml"), "resume", LARGEST_CONFIG)  # the folder may be from elsewhere
    if (path / "run.log").is_file():
        with contextlib.suppress(OSError), open(path / "run.log", "rb") as handle:
            handle.seek(-min(LOG_END, handle.seek(0, 2)), 2)
            log = handle.read(LOG_END).decode(errors="replace")
    if not isinstance(config, dict) or "kind" not in config:
        raise BladeError(f"resume: {place[:200]} is not the folder of a run; name the one that it printed.")
    if f" {DONE} " in log:
        raise BladeError(f"resume: {place[:200]} is finished; its tables are whole, and nothing is left to do.")
    return path, config


def only_ordinary(path: Path) -> None:
    """Refuse a folder that holds anything but ordinary files and folders. Raises BladeError before anything is opened.

    A folder from elsewhere could otherwise have us write through a link, or wait for a pipe. The folder itself may be
    reached by a link: that is the reader's own.
    """
    todo, seen = [path], 0
    while todo:
        try:
            entries = list(os.scandir(todo.pop()))
        except OSError as fault:
            raise BladeError(
                f"resume: {shown(fault.filename, LONGEST_PATH)} cannot be read ({fault.strerror})."
            ) from None
        seen += len(entries)
        if seen > MOST_BELOW:
            raise BladeError(f"resume: {path} holds more than {MOST_BELOW} files; it is not the folder of a run.")
        for entry in entries:
            if entry.is_dir(follow_symlinks=False):
                todo.append(Path(entry.path))
            elif not entry.is_file(follow_symlinks=False):
                raise BladeError(f"resume: {shown(entry.path, LONGEST_PATH)}: {NOT_ORDINARY}")


def _yaml(config: dict) -> str:
    return yaml.safe_dump(config, sort_keys=False, allow_unicode=True)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
