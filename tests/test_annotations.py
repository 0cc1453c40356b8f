"""Every public function says what goes in, what comes out, and what it refuses: read off the syntax trees."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGES = ("sim", "experiments")


def defined(node, inside=""):
    """(name with its classes, function, class or None) of what a module offers: nothing inside a function."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, (ast.FunctionDef, ast.AsyncFunctionDef)):
            yield inside + child.name, child, node if isinstance(node, ast.ClassDef) else None
        elif isinstance(child, ast.ClassDef):
            yield from defined(child, f"{inside}{child.name}.")


def is_public(name):
    """Whether no part of a dotted name is private; methods like __init__ are as public as their class."""
    return not any(part.startswith("_") and not part.endswith("__") for part in name.split("."))


def public(package):
    """(where, function, class or None) of every public function and method of a package."""
    for path in sorted((ROOT / package).rglob("*.py")):
        for name, function, owner in defined(ast.parse(path.read_text(encoding="utf-8"))):
            if is_public(name):
                yield f"{path.relative_to(ROOT)}:{function.lineno} {name}", function, owner


def missing(function):
    """Names of the parameters without annotation, and 'return'."""
    a = function.args
    every = [*a.posonlyargs, *a.args, *a.kwonlyargs, *filter(None, (a.vararg, a.kwarg))]
    bare = [p.arg for p in every if p.annotation is None and p.arg not in ("self", "cls")]
    return bare + ["return"] * (function.returns is None)


def raises(function):
    """Whether the function itself raises, and does not catch it: a def inside it answers for itself."""

    def walk(node):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Try) and child.handlers:
                yield from (
                    n for part in (child.handlers, child.orelse, child.finalbody) for s in part for n in walk_one(s)
                )
            else:
                yield from walk_one(child)

    def walk_one(node):
        yield node
        if not isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda, ast.ClassDef)):
            yield from walk(node)

    return any(isinstance(node, ast.Raise) for node in walk(function))


@pytest.mark.parametrize("package", PACKAGES)
def test_public_functions_are_annotated(package):
    bare = {where: names for where, function, _ in public(package) if (names := missing(function))}
    assert not bare


@pytest.mark.parametrize("package", PACKAGES)
def test_public_functions_have_a_docstring(package):
    silent = [
        where
        for where, function, _ in public(package)
        if not ast.get_docstring(function) and not (function.name.startswith("__") and function.name.endswith("__"))
    ]
    assert not silent


@pytest.mark.parametrize("package", PACKAGES)
def test_what_raises_says_so(package):
    """In its own docstring, or for __init__ and the like in that of the class."""
    quiet = []
    for where, function, owner in public(package):
        told = (ast.get_docstring(function) or "") + (ast.get_docstring(owner) or "" if owner is not None else "")
        if raises(function) and "Raises " not in told:
            quiet.append(where)
    assert not quiet


def test_the_walk_sees_what_it_should():
    tree = ast.parse(
        "def bare(a, *, b=1): pass\n"
        "def _private(a): pass\n"
        "class Thing:\n"
        "    def method(self, x: int): raise ValueError\n"
        "    def __init__(self) -> None:\n"
        "        try:\n            raise OSError\n        except OSError:\n            pass\n"
        "def outer() -> None:\n    def inner(q): raise ValueError\n"
    )
    seen = {name: (missing(function), raises(function)) for name, function, _ in defined(tree) if is_public(name)}
    assert seen == {
        "bare": (["a", "b", "return"], False),
        "Thing.method": (["return"], True),
        "Thing.__init__": ([], False),
        "outer": ([], False),
    }
