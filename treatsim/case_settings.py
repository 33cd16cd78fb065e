"""What `--set` changes in a case, before anything of it is read."""

from __future__ import annotations

import tomllib
from typing import Any

from treatsim import case_sections
from treatsim.case_hints import addresses, nearest
from treatsim.case_text import Problems
from treatsim.errors import plain


def apply_setting(data: dict, address: str, value: str, problems: Problems) -> None:
    """Put one setting into the tables of a case; it is read like any other entry of the file."""
    *path, key = address.removeprefix("units.").split(".")
    table: Any = data
    if path and path[0] in case_sections.SECTIONS:
        data.setdefault(path[0], {})
    if path and path[0] not in case_sections.SECTIONS:
        path = ["units", *path]
    for step in path:
        table = table.get(step) if isinstance(table, dict) else None
    if not path or not isinstance(table, dict):
        near = nearest(address, addresses(data, case_sections.SECTIONS)) if path else ""
        hint = f'; did you mean "{near}"?' if near else ""
        hint = hint if path else '; write it as in "lift_pump.speed": table and key'
        problems.found.append(plain(f'--set {address}: no input has the address "{address}"{hint}'))
        return
    old = table.get(key)
    if isinstance(old, dict) and "value" in old:
        table[key] = {**old, "value": value}
    elif isinstance(old, bool | int | float) or (old is None and len(path) > 2):
        table[key] = _literal(value)
    else:
        table[key] = value


def _literal(value: str):
    """Read a number where the file has a number; text with a unit stays text."""
    try:
        return tomllib.loads(f"v = {value}")["v"]
    except ValueError:  # no number, or one of thousands of digits
        return value
