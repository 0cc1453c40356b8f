"""Answers on disk from the moment they are known: an append-only file of records, each with its own digest."""

import hashlib
import json
import os
from pathlib import Path
from typing import Any

import numpy as np

from experiments.request.plain import shown
from experiments.run.files import own
from experiments.run.imports import reachable
from experiments.run.provenance import another, computed_by
from sim.errors import BladeError

LARGEST_RECORD = 1 << 28  # bytes of one record: what a file from elsewhere may make us hold
LARGEST_TEXT = 1 << 24  # bytes of its text, of which each may take a hundred once read; numbers in arrays are no text
_MARK = "array"  # of a JSON object that stands for an array: its type, shape and place among the bytes


class Halted(BladeError):
    """The machine gave out (disk, workers), not the request: what was computed is kept, and the run can go on."""


class Journal:
    """Answers by key. The first record says the request and what computes it, so that others are never mixed in.

    module: the module of the study; it and all that it imports decide the answers, and are what `covers` names. used:
    how many answers were taken from it.

    A record is a line `digest key bytes`, that many bytes, and a line end. What a kill has torn, and all behind it, is
    cut off when the file is opened. Raises BladeError for a journal of another request or of other code.
    """

    def __init__(self, path: Path, request: str, module: str) -> None:
        self.path, self._places, self.used = path, {}, 0
        self.covers, code = reachable(module), computed_by(module)
        head = json.dumps({"request": request, "computed_by": code}).encode()
        try:
            self._out = open(path, "ab", buffering=0, opener=own)
            self._in = open(path, "rb", opener=own)
        except OSError as fault:
            raise BladeError(f"{path}: cannot be written ({fault.strerror}); it needs a folder that can be.") from None
        good = self._index(request, code)
        if good < self._size():
            self._out.truncate(good)
        if not good:
            self._write("head", head)

    def __contains__(self, key: str) -> bool:
        return key in self._places

    def __len__(self) -> int:
        return len(self._places)

    def add(self, key: str, answer: Any) -> None:
        """Append an answer and have it on disk before returning. Raises Halted when the disk does not take it."""
        self._places[key] = self._write(key, pack(answer))

    def get(self, key: str) -> Any:
        """The answer kept under a key; None where there is none, or none that `pack` made."""
        if key not in self._places:
            return None
        start, count = self._places[key]
        self._in.seek(start)
        try:
            answer = unpack(self._in.read(count))
        except (ValueError, TypeError, OverflowError, MemoryError, RecursionError):
            return None
        self.used += 1
        return answer

    def close(self) -> None:
        """Close the file."""
        self._out.close()
        self._in.close()

    def _size(self) -> int:
        return os.fstat(self._out.fileno()).st_size

    def _index(self, request: str, code: dict[str, str]) -> int:
        """Note the places of all whole records; returns the bytes they take."""
        size, good = self._size(), 0
        self._in.seek(0)
        while (found := self._record(size)) is not None:
            key, payload = found
            if not good:
                _same(self.path, payload, request, code)
            else:
                self._places[key] = self._in.tell() - len(payload) - 1, len(payload)
            good = self._in.tell()
        return good

    def _record(self, size: int):
        """(key, payload) of the next record; None at the end and where one is torn or was changed."""
        words = self._in.readline(256).split(b" ")
        if len(words) != 3 or not words[2].strip().isdigit():
            return None
        digest, key, count = words[0], words[1], int(words[2])
        if not count <= min(LARGEST_RECORD, size - self._in.tell()):
            return None
        payload = self._in.read(count)
        if self._in.read(1) != b"\n" or _digest(key, payload) != digest:
            return None
        return key.decode("ascii", "replace"), payload

    def _write(self, key: str, payload: bytes) -> tuple[int, int]:
        """Append a record; returns (place, bytes) of its payload."""
        line = b"%s %s %d\n" % (_digest(key.encode(), payload), key.encode(), len(payload))
        place = self._size() + len(line), len(payload)
        try:
            rest = memoryview(line + payload + b"\n")
            while rest:
                rest = rest[self._out.write(rest) :]
            os.fsync(self._out.fileno())
        except OSError as fault:
            raise Halted(f"{self.path}: cannot be written ({fault.strerror}); make room.") from None
        return place


def _digest(key: bytes, payload: bytes) -> bytes:
    return hashlib.sha256(key + b" " + payload).hexdigest()[:24].encode()


def _same(path: Path, payload: bytes, request: str, code: dict[str, str]) -> None:
    """Refuse the journal of another request, or of code that might give other bits."""
    try:
        head = json.loads(payload)
        before, begun_with = head["request"], dict(head["computed_by"])
    except (ValueError, KeyError, TypeError, RecursionError):
        raise BladeError(f"resume: {path} is no journal of this program; start anew.") from None
    for name, here in code.items():
        if begun_with.get(name) != here:
            then = shown(begun_with.get(name))
            raise BladeError(
                f"resume: {path.parent} was computed with {another(name)} ({then}, here {here}); start anew, or go on "
                "with what it was begun with."
            )
    if before != request:
        raise BladeError(
            f"resume: {path.parent} belongs to another request; leave out the words that differ, or start anew."
        )


def pack(answer: Any) -> bytes:
    """Lists, mappings (texts as keys), numbers, texts and arrays as bytes: a JSON text, then the arrays."""
    arrays, size = [], 0

    def plain(node):
        nonlocal size
        if isinstance(node, np.ndarray):
            arrays.append(node.tobytes())
            size += node.nbytes
            return {_MARK: [node.dtype.str, list(node.shape), size - node.nbytes]}
        if isinstance(node, dict):
            return {key: plain(value) for key, value in node.items()}
        if isinstance(node, list | tuple):
            return [plain(value) for value in node]
        return node

    text = json.dumps(plain(answer), separators=(",", ":")).encode()
    return b"%d\n" % len(text) + text + b"".join(arrays)


def unpack(data: bytes) -> Any:
    """What `pack` was given, tuples as lists. Raises ValueError for bytes that no `pack` made."""
    line, _, rest = data.partition(b"\n")
    count = int(line)
    if not 0 < count <= LARGEST_TEXT:
        raise ValueError(f"a text of {count} bytes")
    tree, raw = json.loads(rest[:count]), rest[count:]

    def whole(node):
        if isinstance(node, dict):
            if set(node) == {_MARK}:
                kind, shape, place = node[_MARK]
                if np.dtype(kind).kind not in "fiub":
                    raise ValueError(f"an array of {kind}")
                values = np.frombuffer(raw, kind, int(np.prod(shape, dtype=np.int64)), place)
                return values.reshape(shape).copy()
            return {key: whole(value) for key, value in node.items()}
        return [whole(value) for value in node] if isinstance(node, list) else node

    return whole(tree)
