"""Finished chunks of an interrupted sweep, kept in a side file next to the output.

The file holds a line with a fingerprint of the request, then one record per chunk: its length, its
checksum, its arrays. A record cut short or damaged ends the file; nothing in it is executed.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from treatsim.errors import OutputError

MARK = b"treatsim sweep, finished chunks, format 1, "


def fingerprint(request: Mapping[str, Any]) -> str:
    """Return a key of everything that determines the rows."""
    text = json.dumps(request, sort_keys=True, default=_plain)
    return hashlib.sha256(text.encode()).hexdigest()


def _plain(value):
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, np.generic):
        return value.item()
    return str(value)


class SideFile:
    """The side file of one request; made at the first chunk, removed when all is done."""

    def __init__(self, out: str | Path, key: str) -> None:
        out = Path(out)
        self.path = out.with_name(f"{out.name}.partial")
        self.first = MARK + key.encode() + b"\n"
        self.stale = False  # another request's chunks lie there
        self._end = 0

    def read(self) -> Iterator[dict[str, np.ndarray]]:
        """Yield the chunks of this request that are whole."""
        try:
            file = self.path.open("rb")
        except FileNotFoundError:
            return
        except OSError as error:
            raise self._refused(error) from error
        with file:
            if file.readline(400) != self.first:
                self.stale = True
                return
            self._end = file.tell()
            while (raw := _record(file)) is not None:
                with np.load(io.BytesIO(raw), allow_pickle=False) as arrays:
                    yield dict(arrays)
                self._end = file.tell()

    def add(self, arrays: Mapping[str, np.ndarray]) -> None:
        """Append one chunk."""
        buffer = io.BytesIO()
        np.savez(buffer, **arrays)  # type: ignore[arg-type]
        raw = buffer.getvalue()
        record = len(raw).to_bytes(8, "big") + hashlib.sha256(raw).digest() + raw
        try:
            with self.path.open("r+b" if self._end else "wb") as file:
                if not self._end:
                    file.write(self.first)
                    self._end = len(self.first)
                file.seek(self._end)
                file.truncate()
                file.write(record)
            self._end += len(record)
        except OSError as error:
            raise self._refused(error) from error

    def remove(self) -> None:
        """Delete the file."""
        self.path.unlink(missing_ok=True)

    def _refused(self, error: OSError) -> OutputError:
        reason = (error.strerror or "error").lower()
        return OutputError(f"{self.path}: finished chunks cannot be kept here: {reason}")


def _record(file) -> bytes | None:
    head = file.read(40)
    if len(head) < 40:
        return None
    raw = file.read(int.from_bytes(head[:8], "big"))
    return raw if hashlib.sha256(raw).digest() == head[8:] else None
