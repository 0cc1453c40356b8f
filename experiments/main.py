"""The command `arcstride`: compose the request, check it, run it, leave a run folder."""

import contextlib
import errno
import os
import shlex
import sys
import time
import traceback
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeElapsedColumn

from experiments.request.compose import FILE_KEYS, composed, experiments_known
from experiments.run.stopping import heed, leave, stopped_words
from sim.errors import BladeError

EVERY_S = 5.0  # between lines of progress where nobody watches a terminal
NOBODY_READS = 141  # exit status where the screen was closed: 128 and SIGPIPE, as shells give it
WIDE = 130  # columns of a table that no terminal bounds
# errors of a file that come from the disk or its owner, not from this program
DISK_FAULTS = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EROFS, errno.EACCES, errno.EPERM,
               errno.EISDIR, errno.ENOTDIR, errno.EEXIST, errno.ENOTEMPTY)  # fmt: skip

USAGE = """arcstride compares blade curves on ice.

  arcstride                              run the default experiment, first_look
  arcstride experiment=NAME key=value    another experiment, with anything in it changed
  arcstride candidates_from=my.yaml      your own list of blades

Examples: arcstride skater.mass="90 kg" ice.temperature="-3 degC" blade.hollow="5/8 in"
          arcstride reference.radii='[9 ft]' workers=1

Experiments:
"""


def main() -> None:
    """Entry point: exit 0 when the run folder is complete, 2 for a bad request, 1 when nothing could be computed, over
    128 when it was stopped."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a name that this screen cannot show stops nothing
    heed()
    try:
        status = run_command(sys.argv[1:])
        sys.stdout.flush()
    except BrokenPipeError:  # who read the screen has gone, as in `arcstride --help | head`
        status = NOBODY_READS
    leave(status)


def run_command(arguments: list[str]) -> int:
    """The command with these arguments; every refusal is one sentence on standard error. Returns the exit status."""
    try:
        if any(a in ("-h", "--help", "help") for a in arguments):
            print(USAGE + "\n".join(f"  {name:18s} {what}" for name, what in experiments_known()))
            return 0
        return _run(arguments)
    except BladeError as refusal:
        print(f"arcstride: {refusal}", file=sys.stderr)
        return 2
    except KeyboardInterrupt as stop:
        words, status = stopped_words(stop)
        _say(f"arcstride: {words}.")
        return status


def _run(arguments: list[str]) -> int:
    started = time.perf_counter()
    console = Console(highlight=False, markup=False, width=None if sys.stdout.isatty() else WIDE)
    config, name = composed(arguments)
    from experiments.request.fields import Fields
    from experiments.request.how import read_workers
    from experiments.request.recipe_files import own_candidates  # heavy imports only once the request reads well
    from experiments.run.folder import RunFolder
    from experiments.run.workers import worker_count
    from experiments.studies.kinds import kind_of

    if config.get("candidates_from"):
        config["candidates"] = own_candidates(str(config["candidates_from"]), "candidates_from")
    place, config = _resumed(config, arguments) if config.get("resume") else (None, config)
    kind = kind_of(config)
    who = worker_count(read_workers(Fields(config, "")))
    plan = _read_again(kind, config, place) if place else kind.read(config)
    command = shlex.join(["arcstride", *arguments])
    folder = (
        RunFolder(place, config, kind.module) if place
        else RunFolder.new(config, name, kind.module, datetime.now(), command)
    )  # fmt: skip
    try:
        result, tables = _carry_out(kind, plan, config, folder, console, started, who)
    finally:
        folder.close()
    print(tables, end="")
    print(f"Tables and figures ({time.perf_counter() - started:.1f} s):")
    print(folder.path)
    return 0 if getattr(result, "answered", True) else 1


def _read_again(kind, config: dict, place: Path) -> Any:
    """The plan of a run that is gone on with. Its folder may be from elsewhere: nothing is told of a file that it names
    and that cannot be read as what it should be."""
    try:
        return kind.read(config)
    except BladeError as refusal:
        named = [key for key in (*FILE_KEYS, "start_from") if isinstance(config.get(key), str) and config[key]]
        named = [key for key in named if key not in ("resume", "results_dir")]
        if not named:
            raise
        raise BladeError(
            f"resume: {place} names files of this machine ({', '.join(named)}) that cannot be read as such; start anew."
        ) from refusal


def _carry_out(
    kind, plan: Any, config: dict, folder, console: Console, started: float, who: int | str
) -> tuple[Any, str]:
    """Run, write, draw; (result, what the screen shows of it). What stops it from outside says how to go on."""
    from experiments.run.journal import Halted

    again = [f"resume={folder.path}", *([f"visits={config['visits']}"] if config.get("visits") else [])]
    go_on = f"what was computed is kept; continue with  arcstride {shlex.join(again)}"
    try:
        result = _stages(kind, plan, config, folder, console, who)
        with console.capture() as shown:  # before the run is called finished: showing may find odd answers, too
            kind.show(plan, result, console)
        folder.finish(time.perf_counter() - started)
        return result, shown.get()
    except Halted as fault:
        raise BladeError(f"{str(fault).rstrip('.')}; {go_on}") from None
    except BladeError:
        folder.drop()
        raise
    except OSError as fault:
        if not folder.path.is_dir():
            raise BladeError(
                f"{folder.path}: this folder was removed while the run wrote in it; start again."
            ) from None
        if fault.errno not in DISK_FAULTS:
            raise
        what, why = fault.filename or folder.path, os.strerror(fault.errno)
        raise BladeError(f"{what}: cannot be written ({why}); mend that; {go_on}") from None
    except Exception as fault:  # of whatever kind: libraries that meet odd numbers raise all of them
        if not folder.journal.used:
            raise
        folder.log(traceback.format_exc())
        raise BladeError(
            f"{folder.path}: going on with the answers kept there failed ({type(fault).__name__}; run.log has more): "
            "either they are not this program's own, or it has a fault; start anew."
        ) from None
    except KeyboardInterrupt:
        _say(go_on)
        raise


def _say(words: str) -> None:
    """On standard error, where anybody may still read it."""
    with contextlib.suppress(OSError):
        print(words, file=sys.stderr, flush=True)


def _stages(kind, plan: Any, config: dict, folder, console: Console, who: int | str) -> Any:
    """The stages of every study, in order."""
    from experiments.request.fields import Fields
    from experiments.request.setting import smoothing_words
    from experiments.run.workers import Workers

    folder.log(f"{describe(plan)}; the first run on a machine compiles for about half a minute")
    for setting in getattr(getattr(plan, "request", None), "settings", ()):
        for line in smoothing_words(setting):
            folder.log(line)
    with Workers(who, folder.journal) as workers, ProgressLine(console) as progress:
        result = kind.run(plan, workers, progress)
    kind.write(plan, result, folder)
    if Fields(config, "").flag("figures"):
        kind.draw(plan, result, folder.path / "figures", who if isinstance(who, int) else 1)
    kind.write_page(plan, result, folder)
    return result


def describe(plan: Any) -> str:
    """How much a plan asks for, for the log."""
    request = getattr(plan, "request", None)
    return f"{len(request.cases)} cases" if request is not None else "checks"


def _resumed(config: dict, arguments: list[str]) -> tuple[Path, dict]:
    """(folder, config) of the unfinished run that `resume` names, with this call's ways of carrying it out.

    Any other words must ask just what the folder was begun for. Raises BladeError where they differ.
    """
    from experiments.request.how import HOW, first_difference, request_of
    from experiments.run.folder import unfinished

    place, begun = unfinished(str(config["resume"]))
    keys = {argument.partition("=")[0] for argument in arguments}
    differs = first_difference(request_of(begun), request_of(config)) if keys - set(HOW) else ""
    if differs:
        raise BladeError(
            f"resume: {place} belongs to another request (it differs at {differs}); give resume alone, or start anew."
        )
    # who computes is said here, never by a folder: an address in it would have its answers believed; and so is where
    # anything is written besides the folder itself
    here = {"workers": config["workers"], "visits": config.get("visits")}
    return place, begun | {key: config[key] for key in HOW if key in keys} | here


class ProgressLine:
    """A bar over an unknown number of like pieces in a terminal, plain lines elsewhere when it takes long."""

    def __init__(self, console: Console) -> None:
        self.bar = Progress(BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), console=console, transient=True,
                            disable=not console.is_terminal)  # fmt: skip
        self.task, self.last_line_s = self.bar.add_task("", total=None), time.monotonic()

    def __enter__(self) -> "ProgressLine":
        self.bar.start()
        return self

    def __exit__(self, *fault: object) -> None:
        self.bar.stop()

    def __call__(self, done: int, total: int) -> None:
        self.bar.update(self.task, completed=done, total=total)
        if self.bar.disable and time.monotonic() - self.last_line_s > EVERY_S:
            self.last_line_s = time.monotonic()
            print(f"{done} of {total} done", file=sys.stderr)
