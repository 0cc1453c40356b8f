"""What a result rests on besides its request: versions of the libraries, revision and digests of the code."""

import hashlib
import os
import platform
import subprocess
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np

from experiments.run.imports import PROJECT, code_digest
from sim import source_digest

PACKAGES = ("numpy", "scipy", "numba", "pymunk", "h5py", "hydra-core", "pint", "matplotlib")
LIBRARIES = ("numpy", "scipy", "numba", "pymunk")  # their versions may change the last bit


@cache
def computed_by(module: str) -> dict[str, str]:
    """What decides the bits of an answer of a function of `module`, besides the question: digests and versions.

    Read once in a process: its code stays what was loaded.
    """
    code = {"physics": source_digest(), "studies": code_digest(module) if module.split(".")[0] == PROJECT else module}
    code |= {"python": platform.python_version(), "processor": processor()[0]}
    return code | {name: package_version(name) for name in LIBRARIES}


def another(name: str) -> str:
    """How a person says that one entry of `computed_by` differs."""
    return "another kind of processor" if name == "processor" else f"another version of {name}"


@cache
def processor() -> tuple[str, str]:
    """(its kind with a digest of what it can, what it can): wide arithmetic may change the last bit of a sum."""
    can = " ".join(sorted(np.show_config(mode="dicts").get("SIMD Extensions", {}).get("found", [])))
    return f"{platform.machine()}-{hashlib.sha256(can.encode()).hexdigest()[:6]}", can


def package_version(name: str) -> str:
    """Version of an installed package; a word where it is not installed as one."""
    try:
        return version(name)
    except PackageNotFoundError:
        return "not installed as a package"


@cache
def provenance() -> dict[str, str]:
    """Versions, code revision and the digest of the physics, as text."""
    own = {
        "arcstride_version": package_version("arcstride"),
        "physics_digest": source_digest(),
        "code_revision": _revision(),
        "python_version": platform.python_version(),
        "processor": processor()[0],
        "processor_features": processor()[1],
    }
    return own | {f"{name}_version": package_version(name) for name in PACKAGES}


def _revision() -> str:
    """The git revision of the source folder, with + when it was changed since; unknown outside a checkout of this
    project, as when it is installed inside that of another."""
    home = Path(__file__).parents[2]
    git = ["git", "-C", str(home)]
    own = {key: value for key, value in os.environ.items() if not key.startswith("GIT_")}  # a hook names its own
    run = {"capture_output": True, "text": True, "timeout": 5, "check": True, "env": own}
    try:
        top = Path(subprocess.run([*git, "rev-parse", "--show-toplevel"], **run).stdout.strip())
        project = (top / "pyproject.toml").read_text(encoding="utf-8")
        if not top.samefile(home) or '\nname = "arcstride"\n' not in project:
            return "unknown"
        head = subprocess.run([*git, "rev-parse", "HEAD"], **run).stdout
        changed = subprocess.run([*git, "status", "--porcelain"], **run).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return "unknown"
    return head.strip()[:12] + ("+" if changed else "")
