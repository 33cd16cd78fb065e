"""Files are written whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from treatsim.errors import OutputError, RequestError


def write_whole(path: str | Path, content: str | bytes) -> None:
    """Write `content` to `path` in one step; RequestError in one line if that cannot be done."""
    path = Path(path)
    raw = content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content
    temporary = None
    try:
        if path.is_dir():
            raise RequestError(f"--out {path}: this is a directory; name a file")
        if path.exists() and not path.is_file():  # replacing a device would destroy it
            raise RequestError(f"--out {path}: this is no plain file; redirect the output there")
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
