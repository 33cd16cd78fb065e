"""Names of units as they are written in a case, and as the rest of the program can take them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from treatsim import case_sections
from treatsim.case_text import Problems

UNIT_NAME = re.compile(r"[a-z][a-z0-9_]*$")
LONGEST = 60  # letters of a name that is mended


def name_problem(name: str) -> str:
    """Return what is wrong with the name of a unit, or ""."""
    if name in case_sections.RESERVED:
        return f'"{name}" is the name of a table or of an end of a line; choose another'
    if UNIT_NAME.match(name):
        return ""
    found = plain_name(name)
    hint = f'; write "{found}", in the links too' if found else ""
    return f"a unit's name is made of small letters a-z, 0-9 and _{hint}"


def plain_name(name: str) -> str:
    """Return the name that is meant by one with capitals, blanks or hyphens, or ""."""
    found = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
    usable = len(name) <= LONGEST and UNIT_NAME.match(found) and found not in case_sections.RESERVED
    return found if usable else ""


def mend_names(data: dict[str, Any], problems: Problems) -> None:
    """Tell names of units that are none, and read the case on with those that were meant."""
    units = data.get("units")
    units = units if isinstance(units, dict) else {}
    for name in list(units):
        found = plain_name(name)
        if UNIT_NAME.match(name) or not found or found in units:
            continue
        problems.add(f"units.{name}", f"units.{name}: {name_problem(name)}")
        data["units"] = units = {found if key == name else key: row for key, row in units.items()}
        problems.rename(f"units.{name}", f"units.{found}")
        word = re.compile(rf"(?<![\w-]){re.escape(name)}(?![\w-])")
        for table, key in _naming(data):
            table[key] = _renamed(table[key], word, found)


def _naming(data: Mapping[str, Any]):
    """Yield the places that name units: links, and what holds turn and reach."""
    if isinstance(sheet := data.get("flowsheet"), dict) and "links" in sheet:
        yield sheet, "links"
    rows = data.get("hold")
    for row in rows if isinstance(rows, list) else ():
        if isinstance(row, dict):
            yield from ((row, key) for key in ("adjust", "until") if key in row)


def _renamed(value: Any, word: re.Pattern[str], name: str) -> Any:
    if isinstance(value, list):
        return [_renamed(one, word, name) for one in value]
    return word.sub(name, value) if isinstance(value, str) else value
