"""A copy of the project, and processes forked from one that has the libraries loaded and nothing of the project."""

import ast
import hashlib
import importlib
import os
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from importlib.machinery import SourceFileLoader
from importlib.metadata import entry_points
from pathlib import Path

ARGUMENTS = ("-q", "-o", "addopts=", "-m", "not slow", "-p", "no:xdist", "-p", "no:cacheprovider")
HEAVY = ("numpy", "scipy.stats", "scipy.optimize", "numba", "matplotlib.figure", "hydra", "pymoo.core.problem", "h5py",
         "xarray", "SALib", "ezdxf", "pymunk", "hypothesis")  # fmt: skip
ALWAYS = ("hypothesis",)  # its plugin loads it in every run
# of no concern to the tests; the mutation test itself, so that work on it leaves the measured map valid; runs (20*)
NOT_COPIED = shutil.ignore_patterns(".*", "__pycache__", "*.egg-info", "build", "mutation", "test_mutation.py", "20*")
MOST_MEMORY = 6 << 30  # bytes of a child: a loop that no longer ends fills no machine
SURVIVED, ASSERTED, RAISED, UNLOADABLE = 10, 11, 12, 13  # how a child ends


def copy_of(root: Path) -> Path:
    """A copy of the project as it stands, in the user's cache; an older one of the same project goes."""
    base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    home = base / "arcstride" / "mutation" / hashlib.sha256(str(root).encode()).hexdigest()[:8]
    home.mkdir(parents=True, exist_ok=True)
    fresh = Path(tempfile.mkdtemp(dir=home))
    shutil.copytree(root, fresh / "copy", ignore=NOT_COPIED)
    files = sorted(p for p in (fresh / "copy").rglob("*") if p.is_file())
    parts = [str(p.relative_to(fresh)).encode() + p.read_bytes() for p in files]
    kept = home / hashlib.sha256(b"".join(parts)).hexdigest()[:16]
    if kept.is_dir():
        shutil.rmtree(fresh)
    else:
        for old in home.iterdir():
            if old != fresh:
                shutil.rmtree(old, ignore_errors=True)
        fresh.rename(kept)
    return kept / "copy"


def load_libraries(copy: Path) -> None:
    """What every child has already; one thread of arithmetic each, and one folder of compiled code."""
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "PYTHONPATH": str(copy), "MPLBACKEND": "Agg",
                   "NUMBA_CACHE_DIR": str(copy.parent / "numba")}  # fmt: skip
    words = {word for p in copy.rglob("*.py") for word in re.findall(r"\w+", p.read_text(encoding="utf-8"))}
    sys.dont_write_bytecode = False  # children share what one of them has parsed
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    for name in HEAVY:
        if name.split(".")[0] in words or name in ALWAYS:
            importlib.import_module(name)
    for plugin in entry_points(group="pytest11"):  # pytest loads them at each start
        plugin.load()


def purged(copy: Path) -> None:
    """From here on the project is the copy."""
    os.chdir(copy)
    roots = {p.stem for p in copy.iterdir()}
    for name in [name for name in sys.modules if name.split(".")[0] in roots]:
        del sys.modules[name]
    sys.path[:] = [str(copy), *(p for p in sys.path[1:] if p)]
    importlib.invalidate_caches()


def start(work: Callable[[], int], log: Path) -> int:
    """A child in a process group of its own, with a log for what it prints; its exit status is the answer of work."""
    sys.stdout.flush()
    child = os.fork()
    if child:
        return child
    try:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY, MOST_MEMORY))
        out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(out, 1)
        os.dup2(out, 2)
        status = work()
        sys.stdout.flush()
    except BaseException:
        status = 1
    os._exit(status)


def stop(child: int) -> None:
    """End a child and what it started."""
    try:
        os.killpg(child, signal.SIGKILL)
    except ProcessLookupError:
        os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def in_turn(
    works: dict[object, tuple[Callable[[], int], float]], processes: int, logs: Path
) -> dict[object, int | None]:
    """Name -> exit status of its work (negative: ended by a signal), or None when its seconds were over."""
    waiting, running, out = list(works), {}, {}
    try:
        while waiting or running:
            while waiting and len(running) < processes:
                name = waiting.pop(0)
                work, limit = works[name]
                running[start(work, logs / f"log-{len(out) % processes}")] = name, time.monotonic() + limit
            for child, (name, until) in list(running.items()):
                ended, status = os.waitpid(child, os.WNOHANG)
                if not ended and time.monotonic() < until:
                    continue
                out[name] = os.waitstatus_to_exitcode(status) if ended else stop(child)
                del running[child]
            time.sleep(0.02)
    finally:
        for child in running:
            stop(child)
    return out


def compiled_together(copy: Path) -> set[str]:
    """Files whose change numba's cache would not see: those with compiled functions, and all that these import."""
    texts = {str(p.relative_to(copy)): p.read_text(encoding="utf-8") for p in copy.rglob("*.py")}
    reached, queue = set(), [path for path, text in texts.items() if re.search(r"^\s*@kernel\b", text, re.M)]
    while queue:
        path = queue.pop()
        reached.add(path)
        nodes = [node for node in ast.walk(ast.parse(texts[path])) if isinstance(node, ast.ImportFrom) and node.module]
        names = {name for node in nodes for name in (node.module, *(f"{node.module}.{a.name}" for a in node.names))}
        queue += [p for name in names if (p := f"{name.replace('.', '/')}.py") in texts and p not in reached]
    return reached


class _Chosen:
    """Only the chosen tests, in their order; and how the first failing one failed."""

    def __init__(self, tests: list[str]):
        self.order, self.how = {test: i for i, test in enumerate(tests)}, SURVIVED

    def pytest_collection_modifyitems(self, items: list) -> None:
        """A change may rename the cases of a test: a chosen one that is gone stands for all cases of that test."""
        gone = set(self.order) - {item.nodeid for item in items}
        renamed = {test.split("[")[0]: self.order[test] for test in gone}
        place = {item: self.order.get(item.nodeid, renamed.get(item.nodeid.split("[")[0])) for item in items}
        items[:] = sorted((item for item in items if place[item] is not None), key=lambda item: place[item])

    def pytest_exception_interact(self, node, call) -> None:
        """Called for what fails: tests, their fixtures, and files that cannot be loaded (call.when: collect)."""
        import pytest

        if self.how == SURVIVED:
            asserted = call.excinfo.errisinstance((AssertionError, pytest.fail.Exception))
            self.how = UNLOADABLE if call.when == "collect" else ASSERTED if asserted else RAISED


def judge(copy: Path, path: str, text: str, tests: list[str], anew: bool) -> int:
    """What the tests say of one changed file, which no file on disk holds: SURVIVED, ASSERTED, RAISED or UNLOADABLE.

    anew: everything is compiled again, in a folder of its own."""
    purged(copy)
    import pytest

    changed, usual = str(copy / path), SourceFileLoader.get_code

    def get_code(self, name):
        return compile(text, changed, "exec", dont_inherit=True) if self.path == changed else usual(self, name)

    SourceFileLoader.get_code = get_code
    chosen = _Chosen(tests)
    with tempfile.TemporaryDirectory() as folder:
        if anew:
            import numba

            numba.config.CACHE_DIR = os.environ["NUMBA_CACHE_DIR"] = folder
        status = pytest.main([*ARGUMENTS, "-x", *dict.fromkeys(test.split("::")[0] for test in tests)], [chosen])
    if chosen.how == SURVIVED and status:
        return UNLOADABLE
    return chosen.how
