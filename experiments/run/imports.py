"""Which modules of this project can change an answer: those that its function's module imports, followed to the end."""

import ast
import hashlib
from functools import cache
from importlib.util import find_spec
from pathlib import Path

PROJECT = "experiments"  # sim/ has a digest of its own, of every file


@cache
def imported(module: str) -> frozenset[str]:
    """Modules of the project that a module imports itself, at its top or inside a function."""
    out: set[str] = set()
    for node in ast.walk(ast.parse(_path(module).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            out |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:  # `from package import module` names modules too
            out |= {node.module, *(f"{node.module}.{name.name}" for name in node.names)}
    return frozenset(name for name in out if name.split(".")[0] == PROJECT and _exists(name))


@cache
def reachable(module: str) -> frozenset[str]:
    """The module and every module of the project that it reaches by imports."""
    found, todo = set(), [module]
    while todo:
        name = todo.pop()
        if name not in found:
            found.add(name)
            todo += imported(name)
    return frozenset(found)


@cache
def code_digest(module: str) -> str:
    """Digest, 16 hex digits, of the text of every module that `module` reaches."""
    parts = [f"{name}\n".encode() + _path(name).read_bytes() for name in sorted(reachable(module))]
    return hashlib.sha256(b"".join(parts)).hexdigest()[:16]


def _exists(module: str) -> bool:
    try:
        return find_spec(module) is not None
    except ModuleNotFoundError:  # a name inside a module, not a module
        return False


def _path(module: str) -> Path:
    spec = find_spec(module)
    if spec is None or not spec.origin:
        raise ModuleNotFoundError(f"{module} has no source to read")
    return Path(spec.origin)
