"""Tables that are costly to build, kept on disk between runs and in memory within one.

The code that fills the tables is part of every key, so that an edited formula finds no old table.
Nothing here may make a run fail: without a writable directory the tables live in memory only.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from treatsim import kept

Tables = dict[str, np.ndarray]
NUMBER, BYTES = "<f8", 8  # as kept

FILLING = (
    "water/*.py",
    "arrays.py",
    "constants.py",
    "errors.py",
    "kept.py",
    "lone_root.py",
    "numerics.py",
    "ranges.py",
)  # held by test_table_code.py

_memory: dict[str, Tables] = {}


def load_or_build(
    name: str,
    key: Mapping[str, object],
    build: Callable[[], Mapping[str, np.ndarray]],
    shapes: Mapping[str, tuple[int, ...]],
) -> Tables:
    """Return the tables of `key`, from memory, from disk, or built now and stored.

    Parameters
    ----------
    name : str
        What the tables hold; first part of the file name (letters, digits, "_" and "-"). [1]
    key : mapping
        Everything the tables depend on beside the code in `FILLING`: ranges, degrees,
        `library_versions(...)`. Values must be text, numbers, or lists, tuples and mappings of
        these. [1]
    build : callable
        Called without arguments when nothing valid is stored; returns named numeric arrays. [1]
    shapes : mapping
        Shape of every array; what is stored with other names, other shapes or numbers that are
        not finite is built anew. [1]

    Returns
    -------
    dict of ndarray
        Read-only arrays, in the units that `build` gave them.

    Validity
    --------
    Any processes and threads at once: a file appears whole or not at all, and the last writer
    wins with the same content. An error raised by `build` passes through and nothing is stored.
    `build` uses the code in `FILLING` and installed libraries only.

    Source
    ------
    definition.
    """
    digest = _digest(name, {"code": code_fingerprint(), **key})
    if digest not in _memory:
        file = f"{name}-{digest[:16]}.table"
        tables = _unpacked(kept.read(file, digest), shapes)
        if tables is None or not _fits(tables, shapes):
            tables = {label: np.array(array) for label, array in build().items()}
            kept.write(file, digest, _packed(tables))
        for array in tables.values():
            array.flags.writeable = False
        _memory[digest] = tables
    return dict(_memory[digest])


def code_fingerprint(package: Path = kept.PACKAGE) -> str:
    """Return a hash of the source code that fills the tables.

    Parameters
    ----------
    package : Path
        The package's folder. [1]

    Returns
    -------
    str
        Changes with every name and every byte of the modules in `FILLING`. [1]

    Validity
    --------
    Read once per process, about 1 ms.

    Source
    ------
    definition.
    """
    return kept.fingerprint(FILLING, package)


def forget() -> None:
    """Drop the tables held in memory; files stay.

    Returns
    -------
    None

    Validity
    --------
    Always. The next call reads the disk again.

    Source
    ------
    definition.
    """
    _memory.clear()


def _digest(name: str, key: Mapping[str, object]) -> str:
    text = json.dumps([name, dict(key)], sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _unpacked(body: bytes | None, shapes: Mapping[str, tuple[int, ...]]) -> Tables | None:
    """Return tables by label from their numbers, one after the other; None if these are others."""
    ends = np.cumsum([math.prod(shapes[label]) for label in sorted(shapes)])
    if body is None or len(body) != BYTES * (ends[-1] if len(ends) else 0):
        return None
    parts = np.split(np.frombuffer(body, NUMBER).astype(np.float64), ends[:-1])
    return {
        label: row.reshape(shapes[label]) for label, row in zip(sorted(shapes), parts, strict=True)
    }


def _packed(tables: Tables) -> bytes:
    """Return the numbers alone: an archive of arrays would take 7 ms to open at every start."""
    return b"".join(tables[label].astype(NUMBER).tobytes() for label in sorted(tables))


def _fits(tables: Tables, shapes: Mapping[str, tuple[int, ...]]) -> bool:
    """Whether stored tables are those that were asked for."""
    return {label: array.shape for label, array in tables.items()} == dict(shapes) and all(
        array.dtype == np.float64 and bool(np.all(np.isfinite(array))) for array in tables.values()
    )
