"""Files of a run: whole or not at all; CSV without nan, HDF5 with units on every array (it opens in xarray)."""

import csv
import errno
import math
import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import reduce
from operator import or_
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from sim.errors import BladeError

NOT_ORDINARY = "no ordinary file of this folder alone, but a link, a pipe or the like; remove it, or start anew."
LARGE = 512  # numbers from which an array is compressed: a smaller one would only grow
PART = ".part"  # ends the names of what is being written


def own(path: Path | str, flags: int) -> int:
    """An opener for `open`: a descriptor of an ordinary file under this very name, which nothing else is a name of.

    Raises BladeError for a link, a pipe, a device or a file with a second name: what is written here must not end up
    elsewhere, and a pipe would be waited for. OSError as os.open.
    """
    extra = (getattr(os, name, 0) for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_CLOEXEC", "O_BINARY"))
    try:
        handle = os.open(path, reduce(or_, extra, flags), 0o666)
    except OSError as fault:
        if fault.errno in (errno.ELOOP, errno.EMLINK, errno.ENXIO):
            raise BladeError(f"{path}: {NOT_ORDINARY}") from None
        raise
    about = os.fstat(handle)
    if not stat.S_ISREG(about.st_mode) or about.st_nlink > 1:
        os.close(handle)
        raise BladeError(f"{path}: {NOT_ORDINARY}")
    return handle


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A temporary path beside `path` that takes its place only when everything was written and is on disk."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}{PART}")
    try:
        yield temporary
        with open(temporary, "rb+") as handle:
            os.fsync(handle.fileno())
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


@contextmanager
def h5_file(path: Path, attributes: dict[str, str]) -> Iterator[h5py.File]:
    """An HDF5 file with these attributes, built in memory and then written whole: a full disk leaves no half of it, and
    is heard of as any other fault of a file."""
    with h5py.File(path.name, "w", driver="core", backing_store=False) as file:
        file.attrs.update(attributes)
        yield file
        file.flush()
        image = file.id.get_file_image()
    with whole(path) as temporary:
        temporary.write_bytes(image)


def scale(group: h5py.Group, name: str, values: np.ndarray, unit: str = "1", long_name: str = "") -> h5py.Dataset:
    """A dimension scale: the coordinate of one axis."""
    data = group.create_dataset(name, data=values, dtype=h5py.string_dtype() if values.dtype.kind == "O" else None)
    data.make_scale(name)
    data.attrs["units"], data.attrs["long_name"] = unit, long_name or name.replace("_", " ")
    return data


def put(
    group: h5py.Group, name: str, values: np.ndarray, unit: str, long_name: str, *scales: h5py.Dataset
) -> h5py.Dataset:
    """A dataset with its unit and label, each axis tied to the scale of its coordinate (xarray reads it so)."""
    strings = values.dtype.kind == "O"
    packed = {"compression": "gzip", "shuffle": True} if values.size >= LARGE and not strings else {}
    data = group.create_dataset(name, data=values, dtype=h5py.string_dtype() if strings else values.dtype, **packed)
    if not strings:
        data.attrs["units"] = unit
    data.attrs["long_name"] = long_name
    for axis, scale in enumerate(scales):
        data.dims[axis].attach_scale(scale)
    return data


@contextmanager
def csv_table(path: Path, header: Sequence[str]) -> Iterator["_Finite"]:
    """A CSV file under its header, whole or not at all; gives a writer of rows."""
    with whole(path) as temporary, open(temporary, "w", newline="", encoding="utf-8") as handle:
        writer = _Finite(csv.writer(handle))
        writer.writerow(header)
        yield writer


class _Finite:
    """A writer of rows in which a number that is missing leaves its cell empty instead of nan."""

    def __init__(self, writer: Any):
        self.writer = writer

    def writerow(self, row: Sequence) -> None:
        self.writer.writerow(["" if isinstance(x, float) and not math.isfinite(x) else x for x in row])

    def writerows(self, rows: Iterable[Sequence]) -> None:
        for row in rows:
            self.writerow(row)
