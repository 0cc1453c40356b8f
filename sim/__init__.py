"""What a blade does on ice: pure functions and small frozen objects, SI units and radians throughout."""

import atexit
import contextlib
import hashlib
import os
import shutil
import stat
import tempfile
from pathlib import Path


def source_digest() -> str:
    """Digest of every source file of this package: names the physics that a result was computed with."""
    here = Path(__file__).parent
    files = sorted(here.rglob("*.py"))
    parts = [f.relative_to(here).as_posix().encode() + f.read_bytes() for f in files]
    return hashlib.sha256(b"".join(parts)).hexdigest()[:16]


def _keep_compiled_code() -> None:
    """Give numba a cache folder named after the sources.

    Its own cache looks only at the file of the compiled function, so that a change in a callee elsewhere would go on
    running the old code.
    """
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    folder = None
    with contextlib.suppress(OSError, RuntimeError):  # RuntimeError: this user has no home
        folder = _own_cache() / source_digest()
        for each in (folder.parent, folder):
            each.mkdir(parents=True, mode=0o700, exist_ok=True)
    if folder is None or not (is_ours(folder.parent) and is_ours(folder)):
        folder = Path(tempfile.mkdtemp(prefix="arcstride-"))
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
    os.environ["NUMBA_CACHE_DIR"] = str(folder)


def _own_cache() -> Path:
    """Where this person's programs keep what can be made again."""
    if os.name == "nt":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "arcstride" / "compiled"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "arcstride"


def is_ours(folder: Path) -> bool:
    """Whether only this user can write in a folder: code that others could have put there is never loaded."""
    try:
        about = folder.lstat()
    except OSError:
        return False
    if not stat.S_ISDIR(about.st_mode) or not os.access(folder, os.W_OK):
        return False
    return not hasattr(os, "getuid") or (about.st_uid == os.getuid() and not about.st_mode & 0o022)


_keep_compiled_code()
