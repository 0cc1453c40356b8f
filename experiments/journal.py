"""Every evaluation kept as it is made: an append-only file of lines, each with its own checksum, whole after a kill.

A search that is run again with the journal of an earlier one asks the same questions in the same order and finds the
answers there; it goes on where that one stopped, and ends in the same bits.
"""

import hashlib
import json
import os
from pathlib import Path

from sim.errors import BladeError


def key_of(point) -> str:
    """Content address of a point: digest of the bytes of its numbers."""
    return hashlib.sha256(b"".join(float(v).hex().encode() + b" " for v in point)).hexdigest()[:20]


class Journal:
    """Answers by key. The first line names what was asked (`request`), so that other answers are never mixed in."""

    def __init__(self, path: Path, request: str):
        self.path, self.answers = path, {}
        good = self._read(request) if path.exists() else 0
        self._handle = open(path, "ab")
        self._handle.truncate(good)  # a line torn by a kill
        if not good:
            self._write([{"request": request}])

    def _read(self, request: str) -> int:
        """Read whole lines up to the first broken one; returns the bytes they take."""
        good = 0
        with open(self.path, "rb") as handle:
            for number, line in enumerate(handle):
                entry = _checked(line)
                if entry is None:
                    break
                if number == 0:
                    if entry.get("request") != request:
                        raise BladeError(
                            f"resume: {self.path} belongs to another request or another version of the physics; start "
                            "anew, or ask exactly what it was made for."
                        )
                elif isinstance(entry.get("key"), str):
                    self.answers[entry["key"]] = entry["answer"]
                good += len(line)
        return good

    def add(self, answers: dict[str, list]) -> None:
        """Append answers and have them on disk before returning. Raises BladeError when the disk does not take them."""
        self._write([{"key": key, "answer": answer} for key, answer in answers.items()])
        self.answers.update(answers)

    def _write(self, entries) -> None:
        text = b"".join(_line(entry) for entry in entries)
        try:
            self._handle.write(text)
            self._handle.flush()
            os.fsync(self._handle.fileno())
        except OSError as fault:
            raise BladeError(
                f"{self.path}: cannot be written ({fault.strerror}); what it holds is whole, make room and resume."
            ) from None

    def close(self) -> None:
        """Close the file."""
        self._handle.close()


def _line(entry: dict) -> bytes:
    body = json.dumps(entry, separators=(",", ":"))
    return f"{hashlib.sha256(body.encode()).hexdigest()[:12]} {body}\n".encode()


def _checked(line: bytes) -> dict | None:
    """The entry of a line; None where it is torn or was changed."""
    digest, _, body = line.partition(b" ")
    if not line.endswith(b"\n") or hashlib.sha256(body[:-1]).hexdigest()[:12].encode() != digest:
        return None
    try:
        entry = json.loads(body)
    except ValueError:
        return None
    return entry if isinstance(entry, dict) else None
