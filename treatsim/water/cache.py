"""Tables that are costly to build, kept on disk between runs and in memory within one.

A file is trusted only if its own checksum holds, so a torn, foreign or altered file is rebuilt.
The code that fills the tables is part of every key, so that an edited formula finds no old table.
Nothing here may make a run fail: without a writable directory the tables live in memory only.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import tempfile
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path

import numpy as np

Tables = dict[str, np.ndarray]

FILLING = (
    "water/*.py",
    "arrays.py",
    "constants.py",
    "errors.py",
    "numerics.py",
    "ranges.py",
)  # held by test_table_code.py
CHECKSUM_LENGTH = 32  # bytes behind the archive

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
        path = _path(name, digest)
        tables = _read(path, digest)
        if tables is None or not _fits(tables, shapes):
            tables = {label: np.array(array) for label, array in build().items()}
            _write(path, digest, tables)
        for array in tables.values():
            array.flags.writeable = False
        _memory[digest] = tables
    return dict(_memory[digest])


def library_versions(*distributions: str) -> dict[str, str]:
    """Return installed versions without importing the libraries, for use inside a key.

    Parameters
    ----------
    *distributions : str
        Names as installed, such as "CoolProp". [1]

    Returns
    -------
    dict of str
        Version by name, "absent" for one that is not installed.

    Validity
    --------
    Always.

    Source
    ------
    definition.
    """
    from importlib.metadata import PackageNotFoundError, version

    found = {}
    for name in distributions:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "absent"
    return found


@cache
def code_fingerprint(package: Path = Path(__file__).parents[1]) -> str:
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
    digest = hashlib.sha256()
    for path in sorted(path for pattern in FILLING for path in package.glob(pattern)):
        name = path.relative_to(package).as_posix()
        digest.update(f"{name}:{path.stat().st_size}:".encode() + path.read_bytes())
    return digest.hexdigest()


def directory() -> Path | None:
    """Return the cache directory, which need not exist, or None if there is no home.

    Returns
    -------
    Path or None
        TREATSIM_CACHE if set, else "treatsim" in XDG_CACHE_HOME, else in ~/.cache. [1]

    Validity
    --------
    Read anew at each call, so the environment may change.

    Source
    ------
    definition.
    """
    if chosen := os.environ.get("TREATSIM_CACHE"):
        return Path(chosen)
    if base := os.environ.get("XDG_CACHE_HOME"):
        return Path(base) / "treatsim"
    try:
        return Path.home() / ".cache" / "treatsim"
    except RuntimeError:
        return None


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


def _path(name: str, digest: str) -> Path | None:
    folder = directory()
    return None if folder is None else folder / f"{name}-{digest[:16]}.npz"


def _checksum(digest: str, body: bytes) -> bytes:
    """Hash of key and content, so that neither a swapped nor an altered file passes."""
    return hashlib.sha256(digest.encode() + body).digest()


def _read(path: Path | None, digest: str) -> Tables | None:
    """Check before parsing: what a damaged archive would raise is beyond listing."""
    if path is None:
        return None
    try:
        if not path.is_file():  # reading a pipe would wait for ever
            return None
        content = path.read_bytes()
    except OSError:
        return None
    body, tail = content[:-CHECKSUM_LENGTH], content[-CHECKSUM_LENGTH:]
    if tail != _checksum(digest, body):
        return None
    try:
        with np.load(io.BytesIO(body), allow_pickle=False) as stored:
            return {label: stored[label] for label in stored.files}
    except Exception:  # a right checksum over no archive: built anew, whatever it is
        return None


def _fits(tables: Tables, shapes: Mapping[str, tuple[int, ...]]) -> bool:
    """Whether stored tables are those that were asked for."""
    return {label: array.shape for label, array in tables.items()} == dict(shapes) and all(
        array.dtype == np.float64 and bool(np.all(np.isfinite(array))) for array in tables.values()
    )


def _write(path: Path | None, digest: str, tables: Tables) -> None:
    """Store whole or not at all; a disk that refuses is no reason to fail."""
    if path is None:
        return
    archive = io.BytesIO()
    np.savez(archive, **tables)  # type: ignore[arg-type]
    body = archive.getvalue()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, draft = tempfile.mkstemp(dir=path.parent, prefix=path.stem, suffix=".tmp")
    except OSError:
        return
    try:
        with suppress(OSError):
            with os.fdopen(handle, "wb") as file:
                file.write(body + _checksum(digest, body))
            Path(draft).replace(path)
    finally:
        with suppress(OSError):
            Path(draft).unlink(missing_ok=True)
