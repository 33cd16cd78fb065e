"""Bibliography: where the numbers come from."""

from __future__ import annotations

import difflib
import tomllib
from functools import cache
from pathlib import Path

from treatsim.errors import RequestError


@cache
def load() -> dict[str, dict]:
    """Return every source by its key."""
    return tomllib.loads(Path(__file__).with_name("sources.toml").read_text("utf-8"))


def cite(key: str) -> str:
    """Return one line on a source and how well it is known; RequestError names the nearest key."""
    if key not in load():
        near = difflib.get_close_matches(key, load(), n=3)
        raise RequestError(f'no source "{key}"' + (f"; near: {', '.join(near)}" if near else ""))
    row = load()[key]
    parts = (row["authors"], row["title"], row["identifier"], str(row["year"]))
    line = ". ".join(part.rstrip(".") for part in parts if part and part != "0")
    return f"{line} ({row['note']})" if "note" in row else line
