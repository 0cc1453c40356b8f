"""The command `arcstride`: compose the request, check it, run it, leave a run folder."""

import difflib
import errno
import os
import shlex
import sys
import time
from datetime import datetime
from pathlib import Path

from hydra import compose, initialize_config_module
from hydra.errors import HydraException
from omegaconf import OmegaConf
from omegaconf.errors import OmegaConfBaseException
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeElapsedColumn

from experiments.untrusted import NAME, check_arguments, plain
from sim.errors import BladeError

EVERY_S = 5.0  # between lines of progress where nobody watches a terminal
GIVEN_OUT = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO, errno.EROFS, errno.EACCES, errno.EPERM)  # of a disk

USAGE = """arcstride compares blade curves on ice.

  arcstride                              run the default experiment, first_look
  arcstride experiment=NAME key=value    another experiment, with anything in it changed
  arcstride candidates_from=my.yaml      your own list of blades

Examples: arcstride skater.mass="90 kg" ice.temperature="-3 degC" blade.hollow="5/8 in"
          arcstride reference.radii='[9 ft]' workers=1

Experiments:
"""


def main() -> None:
    """Entry point: exit 0 when the run folder is complete, 2 for a bad request, 1 when nothing could be computed."""
    sys.exit(_guarded(sys.argv[1:]))


def _guarded(arguments) -> int:
    try:
        if any(a in ("-h", "--help", "help") for a in arguments):
            print(USAGE + "\n".join(f"  {name:18s} {what}" for name, what in experiments_known()))
            return 0
        return _run(arguments)
    except BladeError as refusal:
        print(f"arcstride: {refusal}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("arcstride: stopped by hand.", file=sys.stderr)
        return 130


def experiments_known() -> list[tuple[str, str]]:
    """(name, one line) of every experiment in configs/experiment."""
    folder = Path(__file__).parent.parent / "configs" / "experiment"
    out = []
    for path in sorted(folder.glob("*.yaml")):
        remarks = [
            x[2:] for x in path.read_text(encoding="utf-8").splitlines() if x.startswith("# ") and "Run:" not in x
        ]
        out.append((path.stem, next((r for r in remarks if not r.startswith("@")), "")))
    return out


def composed(arguments) -> tuple[dict, str]:
    """(config as plain values, experiment name) from key=value arguments. Raises BladeError in one sentence."""
    check_arguments(arguments)
    try:
        with initialize_config_module("configs", version_base="1.3"):
            config = compose("config", overrides=list(arguments), return_hydra_config=True)
        name = config.hydra.runtime.choices.experiment
        OmegaConf.set_struct(config, False)
        config.pop("hydra")
        missing = OmegaConf.missing_keys(config)
        if missing:
            raise BladeError(f"{sorted(missing)[0]}: no value given; write {sorted(missing)[0]}=value.")
        values = OmegaConf.to_container(config, resolve=False)  # shipped configs refer to nothing, others must not
    except BladeError:
        raise
    except (HydraException, OmegaConfBaseException, ArithmeticError, LookupError, TypeError, ValueError) as fault:
        raise BladeError(_plain_fault(fault, arguments)) from None
    plain(values)
    if not isinstance(name, str) or not NAME.fullmatch(name):
        raise BladeError("experiment: choose one by its plain name, for example experiment=first_look.")
    return values, name


def _plain_fault(fault, arguments) -> str:
    """Hydra's many lines as one sentence with the nearest right names."""
    text = " ".join(str(fault).split())
    for argument in arguments:
        key, _, value = argument.partition("=")
        key = key.lstrip("+~")
        if f"Could not override '{key}'" in text or f"Key '{key.rsplit('.', 1)[-1]}'" in text:
            keys = _keys()
            near = [k for k in keys if k.endswith(f".{key}") and k.count(".") == 1][:3]
            near = near or difflib.get_close_matches(key, keys, 3, 0.6)
            hint = f"did you mean {' or '.join(near)}?" if near else "see configs/ for what there is."
            return f"{key}: unknown key; {hint}"
        if "Could not find" in text and f"Could not find '{key}/" in text:
            options = [name for name, _ in experiments_known()] if key == "experiment" else _options(key)
            return f"{key}={value[:40]}: there is no such {key}; choose one of {', '.join(options)}."
    text = text.split(" See https")[0].split(" Config search path")[0][:300]
    return f"the request could not be read: {text}; check quotes and brackets."


def _keys() -> list[str]:
    with initialize_config_module("configs", version_base="1.3"):
        config = OmegaConf.to_container(compose("config"), resolve=False)

    def walk(node, path):
        if isinstance(node, dict):
            for key, value in node.items():
                yield from walk(value, f"{path}.{key}" if path else str(key))
        yield path

    return [k for k in walk(config, "") if k]


def _options(group: str) -> list[str]:
    folder = Path(__file__).parent.parent / "configs" / group.split("@")[0]
    return sorted(p.stem for p in folder.glob("*.yaml"))


def _run(arguments) -> int:
    started = time.perf_counter()
    console = Console(highlight=False, markup=False, width=None if sys.stdout.isatty() else 130)
    config, name = composed(arguments)
    from experiments.owncandidates import own_candidates  # heavy imports only once the request reads well

    if config.get("candidates_from"):
        config["candidates"] = own_candidates(str(config["candidates_from"]), "candidates_from")
    place, config = _gone_on_with(config, arguments) if config.get("resume") else (None, config)
    if config.get("kind") == "validation":
        return _validate(config, name, arguments, console)
    from experiments import kinds
    from experiments.runfolder import RunFolder

    kind = str(config.get("kind", "none"))
    if kind not in kinds.KINDS:
        raise BladeError(f"kind: {kind!r} is unknown; choose validation, {', '.join(kinds.KINDS)}.")
    own = {key: config[key] for key in kinds.KEYS if key in config}
    rest = {key: value for key, value in config.items() if key not in own}
    request, plan = kinds.KINDS[kind][0](own, rest)
    command = shlex.join(["arcstride", *arguments])
    folder = RunFolder(place, config) if place else RunFolder.new(config, name, datetime.now(), command)
    try:
        made = _carried_out(request, plan, kind, folder, console, started)
    finally:
        folder.close()
    kinds.KINDS[kind][2](made, request, console)
    console.print(f"Tables and figures ({time.perf_counter() - started:.1f} s):")
    print(folder.path)
    return 0 if getattr(made, "answered", True) else 1


def _carried_out(request, plan, kind, folder, console, started):
    """Run, write, draw. What stops it from outside says how to go on."""
    from experiments import kinds
    from experiments.crew import Crew, count
    from experiments.journal import Halted
    from experiments.sources import sources

    go_on = f"what was computed is kept: go on with  arcstride resume={shlex.quote(str(folder.path))}"
    try:
        with Crew(count(request.workers), folder.journal) as folder.crew, counter(console) as on_chunk:
            made = plan(folder, on_chunk)
            folder.note(sources(request))
        if request.figures:
            kinds.draw(kind, made, folder.path / "figures")
        folder.finish(time.perf_counter() - started)
        return made
    except Halted as fault:
        raise BladeError(f"{str(fault).rstrip('.')}; {go_on}") from None
    except OSError as fault:
        if fault.errno not in GIVEN_OUT:
            raise
        what, why = fault.filename or folder.path, os.strerror(fault.errno)
        raise BladeError(f"{what}: cannot be written ({why}); mend that; {go_on}") from None
    except KeyboardInterrupt:
        print(go_on, file=sys.stderr)
        raise


def _gone_on_with(config: dict, arguments) -> tuple[Path, dict]:
    """(folder, config) of the unfinished run that `resume` names, with this call's ways of carrying it out.

    Any other words must ask just what the folder was begun for. Raises BladeError where they differ.
    """
    from experiments.runfolder import HOW, asked, unfinished

    place, begun = unfinished(str(config["resume"]))
    told = [a for a in arguments if a.partition("=")[0] not in HOW]
    differs = _first_difference(asked(begun), asked(config)) if told else ""
    if differs:
        raise BladeError(
            f"resume: {place} belongs to another request (it differs at {differs}); give resume alone, or start anew."
        )
    how = {key: config[key] for key in HOW if any(a.partition("=")[0] == key for a in arguments)}
    return place, begun | how


def _first_difference(one, other, where="") -> str:
    """Where two configs differ first, as a person would type it; empty where they are the same."""
    if isinstance(one, dict) and isinstance(other, dict):
        for key in [*one, *(k for k in other if k not in one)]:
            found = _first_difference(one.get(key), other.get(key), f"{where}.{key}" if where else str(key))
            if found:
                return found
        return ""
    return "" if one == other else where


def _validate(config, name, arguments, console) -> int:
    for argument in arguments:
        if argument.partition("=")[0] not in ("experiment", "results_dir"):
            raise BladeError(f"{argument[:60]}: validation has states of its own and takes no change but results_dir.")
    from experiments import validation
    from experiments.runfolder import RunFolder

    started = time.perf_counter()
    folder = RunFolder.new(config, name, datetime.now())
    checks = validation.checks()
    console.print(validation.table(checks), markup=True)
    validation.write_csv(checks, folder.path / "validation.csv")
    validation.write_markdown(checks, folder.path / "validation.md")
    folder.log(f"{len(checks)} checks")
    folder.finish(time.perf_counter() - started)
    print(folder.path)
    return 0


class counter:
    """A bar over an unknown number of like pieces in a terminal, plain lines elsewhere when it takes long."""

    def __init__(self, console: Console):
        self.bar = Progress(BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), console=console, transient=True,
                            disable=not console.is_terminal)  # fmt: skip
        self.task, self.said = self.bar.add_task("", total=None), time.monotonic()

    def __enter__(self):
        self.bar.start()
        return self

    def __exit__(self, *fault):
        self.bar.stop()

    def __call__(self, done, total):
        self.bar.update(self.task, completed=done, total=total)
        if self.bar.disable and time.monotonic() - self.said > EVERY_S:
            self.said = time.monotonic()
            print(f"{done} of {total} done", file=sys.stderr)
