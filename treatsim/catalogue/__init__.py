"""Generic equipment classes, every value with its provenance."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path


@cache
def load(name: str) -> dict[str, dict]:
    """Return a catalogue file, such as "ro_elements", by class name."""
    return tomllib.loads(Path(__file__).with_name(f"{name}.toml").read_text("utf-8"))
