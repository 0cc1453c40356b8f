"""The folder of one run: resolved config, log, results, sources; with what is needed to repeat it."""

import hashlib
import json
import platform
import subprocess
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import yaml

from experiments import store
from experiments.cases import Request
from experiments.runner import Results
from experiments.sources import sources
from sim import source_digest
from sim.errors import BladeError

PACKAGES = ("numpy", "scipy", "numba", "pymunk", "h5py", "hydra-core", "pint", "matplotlib")


class RunFolder:
    """results/<experiment>/<run id>/, made at once and never shared with another run.

    command: how it was asked for, when known. Raises BladeError when it cannot be made.
    """

    command = ""

    def __init__(self, config: dict, experiment: str, now: datetime):
        self.config_text = yaml.safe_dump(config, sort_keys=False, allow_unicode=True)
        # how a run is carried out does not belong to what was asked: the same numbers carry the same request
        asked = {key: value for key, value in config.items() if key not in ("workers", "results_dir", "figures")}
        self.asked_text = yaml.safe_dump(asked, sort_keys=False, allow_unicode=True)
        digest = hashlib.sha256(self.asked_text.encode()).hexdigest()[:6]
        base = Path(str(config["results_dir"])) / experiment
        for attempt in range(1000):
            suffix = f"-{attempt + 1}" if attempt else ""
            self.path = base / f"{now:%Y%m%d-%H%M%S}-{digest}{suffix}"
            try:
                self.path.mkdir(parents=True)
                (self.path / "config.yaml").write_text(self.config_text, encoding="utf-8")
                break
            except FileExistsError as clash:
                if not self.path.is_dir():
                    raise BladeError(f"results_dir: {base} is a file, not a folder; name another.") from clash
            except OSError as fault:
                raise BladeError(
                    f"results_dir: cannot write in {base} ({fault.strerror}); name a folder that can be written."
                ) from None

    def log(self, line: str) -> None:
        """Append a line with the time of day to run.log."""
        with open(self.path / "run.log", "a", encoding="utf-8") as handle:
            handle.write(f"{datetime.now():%H:%M:%S} {line}\n")

    def write(self, request: Request, results: Results) -> None:
        """Write results.h5, measures.csv, sources.txt and versions.json."""
        facts = self.note(sources(request))
        attributes = {"config": self.asked_text, "seed": "none: nothing in this run is random", **facts}
        store.write_h5(self.path / "results.h5", results, attributes)
        store.write_csv(self.path / "measures.csv", results)

    def note(self, lines: list[str]) -> dict[str, str]:
        """Write sources.txt and versions.json; returns the latter's facts."""
        facts = provenance()
        (self.path / "sources.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
        (self.path / "versions.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
        return facts


def provenance() -> dict[str, str]:
    """Versions, code revision and the digest of the physics, as text."""
    facts = {
        "arcstride_version": _version("arcstride"),
        "physics_digest": source_digest(),
        "code_revision": _revision(),
    }
    facts["python_version"] = platform.python_version()
    return facts | {f"{name}_version": _version(name) for name in PACKAGES}


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed as a package"


def _revision() -> str:
    """The git revision of the source folder, with + when it was changed since; unknown outside a checkout."""
    here = Path(__file__).parent.parent
    try:
        run = ["git", "-C", str(here)]
        head = subprocess.run([*run, "rev-parse", "HEAD"], capture_output=True, text=True, timeout=5, check=True).stdout
        dirty = subprocess.run([*run, "status", "--porcelain"], capture_output=True, text=True, timeout=5, check=True)
        return head.strip()[:12] + ("+" if dirty.stdout.strip() else "")
    except (OSError, subprocess.SubprocessError):
        return "unknown"
