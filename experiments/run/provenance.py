"""What a result rests on besides its request: versions of the libraries, revision and digests of the code."""

import platform
import subprocess
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

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
    return code | {name: package_version(name) for name in LIBRARIES}


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
    }
    return own | {f"{name}_version": package_version(name) for name in PACKAGES}


def _revision() -> str:
    """The git revision of the source folder, with + when it was changed since; unknown outside a checkout."""
    git = ["git", "-C", str(Path(__file__).parents[2])]
    run = {"capture_output": True, "text": True, "timeout": 5, "check": True}
    try:
        head = subprocess.run([*git, "rev-parse", "HEAD"], **run).stdout
        changed = subprocess.run([*git, "status", "--porcelain"], **run).stdout.strip()
    except (OSError, subprocess.SubprocessError):
        return "unknown"
    return head.strip()[:12] + ("+" if changed else "")
