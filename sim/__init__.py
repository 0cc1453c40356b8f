"""What a blade does on ice: pure functions and small frozen objects, SI units and radians throughout."""

import hashlib
import os
import tempfile
from pathlib import Path


def source_digest() -> str:
    """Digest of every source file of this package: names the physics that a result was computed with."""
    here = Path(__file__).parent
    files = sorted(here.rglob("*.py"))
    return hashlib.sha256(b"".join(str(f.relative_to(here)).encode() + f.read_bytes() for f in files)).hexdigest()[:16]


def _keep_compiled_code() -> None:
    """Give numba a cache folder named after the sources.

    Its own cache looks only at the file of the compiled function, so that a change in a callee elsewhere would go on
    running the old code.
    """
    if "NUMBA_CACHE_DIR" in os.environ:
        return
    base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = base / "arcstride" / source_digest()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        writable = os.access(folder, os.W_OK)
    except OSError:
        writable = False
    if not writable:
        folder = Path(tempfile.gettempdir()) / f"arcstride-{folder.name}"
    os.environ["NUMBA_CACHE_DIR"] = str(folder)


_keep_compiled_code()
