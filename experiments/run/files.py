"""Files of a run: whole or not at all; CSV without nan, HDF5 with units on every array (it opens in xarray)."""

import csv
import math
import os
from contextlib import contextmanager
from pathlib import Path

import h5py

PART = ".part"  # ends the names of what is being written


@contextmanager
def whole(path: Path):
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
def h5_file(path: Path, attributes: dict[str, str]):
    """An HDF5 file with these attributes, built in memory and then written whole: a full disk leaves no half of it, and
    is heard of as any other fault of a file."""
    with h5py.File(path.name, "w", driver="core", backing_store=False) as file:
        file.attrs.update(attributes)
        yield file
        file.flush()
        image = file.id.get_file_image()
    with whole(path) as temporary:
        temporary.write_bytes(image)


def scale(group, name, values, unit="1", long_name=""):
    """A dimension scale: the coordinate of one axis."""
    data = group.create_dataset(name, data=values, dtype=h5py.string_dtype() if values.dtype.kind == "O" else None)
    data.make_scale(name)
    data.attrs["units"], data.attrs["long_name"] = unit, long_name or name.replace("_", " ")
    return data


def put(group, name, values, unit, long_name, *scales):
    strings = values.dtype.kind == "O"
    data = group.create_dataset(name, data=values, dtype=h5py.string_dtype() if strings else values.dtype)
    if not strings:
        data.attrs["units"] = unit
    data.attrs["long_name"] = long_name
    for axis, scale in enumerate(scales):
        data.dims[axis].attach_scale(scale)
    return data


@contextmanager
def csv_table(path: Path, header):
    """A CSV file under its header, whole or not at all; gives a writer of rows."""
    with whole(path) as temporary, open(temporary, "w", newline="", encoding="utf-8") as handle:
        writer = _Finite(csv.writer(handle))
        writer.writerow(header)
        yield writer


class _Finite:
    """A writer of rows in which a number that cannot be had leaves its cell empty: nobody reads nan."""

    def __init__(self, writer):
        self.writer = writer

    def writerow(self, row) -> None:
        self.writer.writerow(["" if isinstance(x, float) and not math.isfinite(x) else x for x in row])

    def writerows(self, rows) -> None:
        for row in rows:
            self.writerow(row)
