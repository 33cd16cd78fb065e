"""Files are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path

from treatsim.errors import OutputError, RequestError


def write_whole(path: str | Path, content: str | bytes) -> None:
    """Write `content` to `path` in one step; RequestError in one line if that cannot be done."""
    path = Path(path)
    raw = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
    temporary = None
    try:
        refuse_no_file(path)
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent or ".")
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        mask = os.umask(0)
        os.umask(mask)
        Path(temporary).chmod(0o666 & ~mask)
        Path(temporary).replace(path)
    except OSError as error:
        if temporary:
            Path(temporary).unlink(missing_ok=True)
        reason = (error.strerror or "error").lower()
        raise OutputError(f"--out {path}: cannot be written: {reason}") from error


def refuse_no_file(path: Path) -> None:
    """Raise RequestError for a directory or a device."""
    if path.is_dir():
        raise RequestError(f"--out {path}: this is a directory; name a file")
    if path.exists() and not path.is_file():  # replacing a device would destroy it
        raise RequestError(f"--out {path}: this is no plain file; redirect the output there")


def suffix_of(path: str | Path, legal: Sequence[str]) -> str:
    """Return the suffix of a file to be written, one of the `legal`; RequestError names them."""
    path = Path(path)
    suffix = path.suffix.lower()
    try:
        refuse_no_file(path)
    except OSError as error:  # a name too long, a folder that may not be looked into
        reason = (error.strerror or "error").lower()
        raise RequestError(f"--out {path}: cannot be written: {reason}") from error
    if suffix not in legal:
        known = " or ".join([", ".join(legal[:-1]), legal[-1]] if len(legal) > 1 else legal)
        raise RequestError(f"--out {path}: the name ends in {known}")
    return suffix
