"""Content addresses: the same numbers, texts and functions always have the same address, whatever process asks."""

import dataclasses
import hashlib
import struct
from typing import Any

import numpy as np


def address(*things: Any) -> str:
    """Address, 32 hex digits, of numbers, texts, arrays, lists, mappings, functions and dataclasses of these.

    Raises TypeError for anything else: what cannot be told apart must not be looked up.
    """
    return hashlib.sha256(b"".join(_bytes(thing) for thing in things)).hexdigest()[:32]


def _bytes(thing) -> bytes:
    if type(thing) is float:  # most of what a blade is made of
        return b"f" + struct.pack("<d", thing)
    if type(thing) in _FIELDS:
        return _tagged(b"o", type(thing).__name__.encode(), *[_bytes(getattr(thing, f)) for f in _FIELDS[type(thing)]])
    if thing is None or isinstance(thing, bool | np.bool_):
        return _tagged(b"w", str(thing).encode())
    if isinstance(thing, int | np.integer):
        return _tagged(b"i", str(thing).encode())
    if isinstance(thing, float | np.floating):
        return b"f" + struct.pack("<d", thing)
    if isinstance(thing, str):
        return _tagged(b"s", thing.encode())
    if isinstance(thing, np.ndarray) and thing.dtype.kind in "fiub":
        return _tagged(b"a", f"{thing.dtype.str}{thing.shape}".encode() + thing.tobytes())
    if isinstance(thing, list | tuple):
        return _tagged(b"l", type(thing).__name__.encode(), *map(_bytes, thing))
    if isinstance(thing, dict):
        return _tagged(b"d", *(_bytes(part) for pair in thing.items() for part in pair))
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        _FIELDS[type(thing)] = [field.name for field in dataclasses.fields(thing)]
        return _bytes(thing)
    if callable(thing) and hasattr(thing, "__qualname__"):
        return _tagged(b"c", f"{thing.__module__}.{thing.__qualname__}".encode())
    raise TypeError(f"no address for a {type(thing).__name__}")


_FIELDS: dict[type, list[str]] = {}  # of the dataclasses met so far


def _tagged(kind: bytes, *parts: bytes) -> bytes:
    """Bytes that no other kind and no other way of cutting the parts can give."""
    return kind + struct.pack(f"<{len(parts) + 1}q", len(parts), *map(len, parts)) + b"".join(parts)
