"""The text of a description, of an earlier run where nothing that it was made of has changed.

To describe a case is to solve it, and its words stand all over the package; who asks for one
address after the other need not wait for that again. Loads no arrays.
"""

from __future__ import annotations

import hashlib
import re
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path

from treatsim import kept

MADE_OF = (".py", ".toml")  # ends of the names of all files of the package that matter
LARGEST = 20_000_000  # bytes of a case or of a file of hours beside it; beyond, nothing is kept
TEXT = re.compile(r'"([^"\n]+)"|\'([^\'\n]+)\'')


def description_text(names: Sequence[str], json: bool, make: Callable[[], str]) -> str:
    """Return the text of what is named, or its JSON, kept from an earlier run or made now."""
    try:
        read = _read_by(names[0]) if names else {}
    except (OSError, ValueError):  # told by who reads the case
        read = None
    if read is None:
        return make()
    asked = [json, *names, str(Path().absolute())]
    libraries = sorted(kept.installed().items())
    made_of = [asked, read, kept.stamps(MADE_OF), sys.version, libraries]
    file, digest = f"described-{_hash(asked)[:16]}.txt", _hash(made_of)
    with suppress(UnicodeDecodeError):  # a right checksum over no text
        if (body := kept.read(file, digest)) is not None:
            return body.decode("utf-8", "surrogatepass")
    text = make()
    kept.write(file, digest, text.encode("utf-8", "surrogatepass"))
    return text


def _read_by(name: str) -> dict[str, str] | None:
    """Return a hash of every file that a name leads to; None where that cannot be told."""
    path = Path(name)
    if not path.exists():  # a kind, a table, an address; what standard input holds is not known
        return {} if all(part.isidentifier() for part in name.split(".")) else None
    content = _content(path)
    if content is None or b"\\" in content:  # a file's name may be written with escapes
        return None
    found: dict[str, str] = {"": hashlib.sha256(content).hexdigest()}
    for match in TEXT.finditer(content.decode("utf-8", "replace")):
        text = match[1] or match[2]
        beside = path.parent / text
        if beside.exists() and not beside.is_dir():
            if (content := _content(beside)) is None:
                return None
            found[text] = hashlib.sha256(content).hexdigest()
    return found


def _content(path: Path) -> bytes | None:
    """Return what a plain file holds; a pipe could be read but once."""
    plain = path.is_file() and path.stat().st_size <= LARGEST
    return path.read_bytes() if plain else None


def _hash(parts) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()
