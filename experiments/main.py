"""The command `arcstride`: compose the request, check it, run it, leave a run folder."""

import difflib
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
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

from experiments.untrusted import NAME, check_arguments, plain
from sim.errors import BladeError

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
        print("arcstride: stopped by hand; files already in the run folder are whole.", file=sys.stderr)
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
    from experiments.runfolder import RunFolder

    if config.get("candidates_from"):
        config["candidates"] = own_candidates(str(config["candidates_from"]), "candidates_from")
    if config.get("kind") == "validation":
        return _validate(config, name, arguments, console)
    if config.get("kind") != "compare":
        return _study(config, name, arguments, console)
    from experiments.cases import request as check

    request = check(config)
    folder = RunFolder(config, name, datetime.now())
    from experiments import report
    from experiments.runner import run

    folder.log(
        f"{len(request.cases)} cases, experiment {name}; the first run on a machine compiles for about half a minute"
    )
    with progress(console, len(request.cases), folder) as on_row:
        results = run(request, on_row)
    folder.write(request, results)
    if request.figures:
        from experiments.figures import draw_all

        folder.log("drawing figures")
        label = request.settings[0].reference.name
        draw_all(results, label, folder.path / "figures", request.workers or os.cpu_count() or 1)
    folder.log(f"done in {time.perf_counter() - started:.1f} s")
    report.show(results, request, console)
    console.print(f"Tables, series and figures ({time.perf_counter() - started:.1f} s):")
    print(folder.path)
    return 0 if any(len(row.reasons) < len(row.values) for row in results.rows) else 1


def _validate(config, name, arguments, console) -> int:
    for argument in arguments:
        if argument.partition("=")[0] not in ("experiment", "results_dir"):
            raise BladeError(f"{argument[:60]}: validation has states of its own and takes no change but results_dir.")
    from experiments import validation
    from experiments.runfolder import RunFolder

    folder = RunFolder(config, name, datetime.now())
    checks = validation.checks()
    console.print(validation.table(checks), markup=True)
    validation.write_csv(checks, folder.path / "validation.csv")
    validation.write_markdown(checks, folder.path / "validation.md")
    folder.log(f"{len(checks)} checks")
    print(folder.path)
    return 0


def _study(config, name, arguments, console) -> int:
    """A study of experiments/kinds.py: check everything, then run, draw and explain."""
    from experiments import kinds
    from experiments.runfolder import RunFolder
    from experiments.sources import sources

    started = time.perf_counter()
    kind = str(config["kind"])
    if kind not in kinds.KINDS:
        raise BladeError(f"kind: {kind!r} is unknown; choose compare, validation, {', '.join(kinds.KINDS)}.")
    own = {key: config[key] for key in kinds.KEYS if key in config}
    request, plan = kinds.KINDS[kind][0](own, {key: value for key, value in config.items() if key not in own})
    folder = RunFolder(config, name, datetime.now())
    folder.command = shlex.join(["arcstride", *arguments])
    with counter(console) as on_chunk:
        try:
            made = plan(folder, on_chunk)
        except KeyboardInterrupt:
            if (folder.path / "evaluations.jsonl").exists():
                print(f"what was judged is kept; go on with:\n  {folder.command} resume={folder.path}", file=sys.stderr)
            raise
    folder.note(sources(request))
    if request.figures:
        kinds.draw(kind, made, folder.path / "figures")
    kinds.KINDS[kind][2](made, request, console)
    folder.log(f"done in {time.perf_counter() - started:.1f} s")
    console.print(f"Tables and figures ({time.perf_counter() - started:.1f} s):")
    print(folder.path)
    return 0


class counter:
    """A bar over an unknown number of like pieces; silent where nobody watches."""

    def __init__(self, console: Console):
        self.bar = Progress(BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(), console=console, transient=True,
                            disable=not console.is_terminal)  # fmt: skip
        self.task = self.bar.add_task("", total=None)

    def __enter__(self):
        self.bar.start()
        return lambda done, total: self.bar.update(self.task, completed=done, total=total)

    def __exit__(self, *fault):
        self.bar.stop()


class progress:
    """A bar in a terminal, plain lines elsewhere; gives a function to call with each finished row."""

    def __init__(self, console: Console, total: int, folder):
        self.folder, self.console, self.done, self.total = folder, console, 0, total
        columns = (
            TextColumn("rolling"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
            TextColumn("{task.description}", markup=False),  # a blade's name is no markup
        )
        self.bar = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
        self.task = self.bar.add_task("getting ready (the first run on a machine compiles)", total=total)

    def __enter__(self):
        self.bar.start()
        return self

    def __exit__(self, *fault):
        self.bar.stop()

    def __call__(self, row, total):
        self.done += 1
        bad = {k: v for k, v in row.outcomes.items() if v != "finished"}
        text = f"{row.candidate}, {row.skater}" + (f": {bad}" if bad else "")
        self.folder.log(f"{self.done} of {total}: {text}" + (f" [{row.reason}]" if row.reason else ""))
        self.bar.update(self.task, advance=1, description=row.candidate)
        step = max(1, total // 20)
        if not self.console.is_terminal and (self.done % step == 0 or self.done == total):
            print(f"{self.done} of {total} rolled", file=sys.stderr)
