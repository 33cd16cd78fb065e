"""What is costly to make, kept on disk between runs: whole, checked, and never a reason to fail.

A file is trusted only if its own checksum holds, so a torn, foreign or altered one is made anew.
Loads no arrays, so that what was kept can be told without them.
"""

from __future__ import annotations

import hashlib
import os
import re
import sys
import time
from collections.abc import Mapping, Sequence
from contextlib import suppress
from functools import cache
from pathlib import Path

BINARY = getattr(os, "O_BINARY", 0)  # where line ends would be written anew
CHECKSUM_LENGTH = 32  # bytes behind what is kept
PACKAGE = Path(__file__).parent
INSTALLED = re.compile(r"([^-]+)-([^-]+)(?:-.*)?\.(?:dist|egg)-info")


def directory() -> Path | None:
    """Return the folder of what is kept, which need not exist, or None if there is no home.

    TREATSIM_CACHE if set, else "treatsim" in XDG_CACHE_HOME, else in ~/.cache; read anew at each
    call, so the environment may change.
    """
    if chosen := os.environ.get("TREATSIM_CACHE"):
        return Path(chosen)
    if base := os.environ.get("XDG_CACHE_HOME"):
        return Path(base) / "treatsim"
    try:
        return Path.home() / ".cache" / "treatsim"
    except RuntimeError:
        return None


def read(name: str, digest: str) -> bytes | None:
    """Return what was kept under a name for this digest of all it depends on; None if nothing is.

    Checked before it is handed out: what a damaged archive would raise is beyond listing.
    """
    path = _path(name)
    try:
        if path is None or not path.is_file():  # reading a pipe would wait for ever
            return None
        content = path.read_bytes()
    except OSError:
        return None
    body, tail = content[:-CHECKSUM_LENGTH], content[-CHECKSUM_LENGTH:]
    return body if tail == checksum(digest, body) else None


def write(name: str, digest: str, body: bytes) -> None:
    """Keep whole or not at all; a disk that refuses is no reason to fail."""
    path = _path(name)
    if path is None:
        return
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        draft = path.with_name(f"{path.stem}-{os.getpid()}-{time.time_ns()}.tmp")
        handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL | BINARY, 0o600)
    except OSError:
        return
    try:
        with suppress(OSError):
            with os.fdopen(handle, "wb") as file:
                file.write(body + checksum(digest, body))
            draft.replace(path)
    finally:
        with suppress(OSError):
            draft.unlink(missing_ok=True)


def _path(name: str) -> Path | None:
    folder = directory()
    return None if folder is None else folder / name


def checksum(digest: str, body: bytes) -> bytes:
    """Return a hash of key and content, so that neither a swapped nor an altered file passes."""
    return hashlib.sha256(digest.encode() + body).digest()


@cache
def fingerprint(patterns: Sequence[str], package: Path = PACKAGE) -> str:
    """Return a hash of every name and every byte of the files of the package that match."""
    digest = hashlib.sha256()
    for path in sorted(path for pattern in patterns for path in package.glob(pattern)):
        content = path.read_bytes()
        name = path.relative_to(package).as_posix()
        digest.update(f"{name}:{len(content)}:".encode() + content)
    return digest.hexdigest()


@cache
def stamps(suffixes: tuple[str, ...], package: Path = PACKAGE) -> tuple[tuple[str, int, int], ...]:
    """Return name, size and time of the last change of all files of the package with a suffix.

    As good as their content for telling that something changed, and read eight times as fast.
    """
    found, folders = [], [str(package)]
    while folders:
        with os.scandir(folders.pop()) as entries:
            for entry in entries:
                if entry.is_dir():
                    folders.append(entry.path)
                elif entry.name.endswith(suffixes):
                    told = entry.stat()
                    found.append(
                        (entry.path, told.st_size, max(told.st_mtime_ns, told.st_ctime_ns))
                    )
    return tuple(sorted(found))


@cache
def installed() -> Mapping[str, str]:
    """Return the version of every library by its name in small letters, as their folders say.

    They are looked up in the order in which Python does, without loading what reads metadata.
    """
    found: dict[str, str] = {}
    for place in sys.path:
        with suppress(OSError):
            for path in sorted(Path(place or ".").iterdir()):
                if match := INSTALLED.fullmatch(path.name):
                    found.setdefault(_plain(match[1]), match[2])
    return found


def library_versions(*distributions: str) -> dict[str, str]:
    """Return installed versions of some libraries, "absent" for one that is not installed."""
    return {name: installed().get(_plain(name), "absent") for name in distributions}


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()
