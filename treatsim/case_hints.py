"""Words for what was written wrongly in a case: the nearest name, or the table it belongs to."""

from __future__ import annotations

import dataclasses
import difflib
import re
from collections.abc import Iterable, Mapping
from typing import Any

from treatsim import operations, quantities
from treatsim.errors import RequestError
from treatsim.operations.parameters import read_value

MOST_KEYS = 3  # more than these named would be no hint


def nearest(name: Any, known: Iterable[str]) -> str:
    """Return the nearest of some names, or ""."""
    text = name[:60] if isinstance(name, str) else ""  # a number may be too long to be text
    known = {key.lower(): key for key in known}
    near = difflib.get_close_matches(text.lower(), known, n=1)
    return known[near[0]] if near else ""


def did_you_mean(name: Any, known: Iterable[str]) -> str:
    """Return a hint at the nearest name, else all of them."""
    known = list(known)
    near = nearest(name, known)
    return f'did you mean "{near}"?' if near else f"known: {', '.join(known)}"


def homes(data: Mapping[str, Any], sections: Mapping[str, type]) -> dict[str, list[str]]:
    """Return, for every key that a table of the case can hold, those tables.

    `sections` are the tables that are no units, with their records.
    """
    found: dict[str, list[str]] = {}
    tables: list[tuple[str, Any]] = list(sections.items())
    units = data.get("units", {})
    for name, table in units.items() if isinstance(units, dict) else ():
        kind = table.get("kind") if isinstance(table, dict) else None
        if isinstance(kind, str) and kind in operations.kinds():
            tables.append((f"units.{name}", operations.parameters_class(kind)))
    for where, record in tables:
        for item in dataclasses.fields(record):
            found.setdefault(item.name, []).append(where)
    return found


def by_meaning(key: Any, fields: Iterable[dataclasses.Field]) -> str:
    """Return the one field whose meaning has the word, such as ions for "report", or ""."""
    word = key.lower() if isinstance(key, str) else ""
    found = [
        f.name for f in fields if word in re.findall(r"[a-z]{4,}", f.metadata["meaning"].lower())
    ]
    return found[0] if len(found) == 1 else ""


def misplaced(
    key: str,
    fields: Iterable[str],
    where: str,
    home: Mapping[str, list[str]],
    declared: Iterable[dataclasses.Field] = (),
) -> str:
    """Return what to do with a key that a table does not know; `declared` are its fields."""
    tables = [f"[{table}]" for table in home.get(key, ()) if table != where]
    if tables and (len(tables) <= MOST_KEYS or not nearest(key, fields)):
        return f'"{key}" belongs to {" or ".join(tables[:MOST_KEYS])}'
    if not nearest(key, fields) and (meant := by_meaning(key, declared)):
        return f'did you mean "{meant}"?'
    return did_you_mean(key, fields)


def takers(fields: Mapping[str, dataclasses.Field], key: str, raw: Any) -> str:
    """Return which keys of a table take an entry whose unit does not fit its own, or ""."""
    if not isinstance(raw, str) or "kind" not in fields[key].metadata:
        return ""
    kind = fields[key].metadata["kind"]
    if kind not in quantities.QUANTITIES or _reads(raw, kind):
        return ""
    found = []
    for name, item in fields.items():
        if item.metadata["kind"] not in quantities.QUANTITIES or item.metadata["kind"] == kind:
            continue
        try:
            read_value(item, raw)
        except RequestError:
            continue
        found.append(name)
    if not 0 < len(found) <= MOST_KEYS:
        return ""
    takes = "takes" if len(found) == 1 else "take"
    return f"; the key {' and '.join(found)} {takes} such a value"


def _reads(raw: str, kind: str) -> bool:
    try:
        quantities.read(raw, kind)
    except quantities.WrongDimensionError:
        return False
    except RequestError:
        return True
    return True


def addresses(data: Mapping[str, Any], sections: Iterable[str]) -> list[str]:
    """Return every address that the file itself gives a value, nested ones too."""
    found = []
    units = data.get("units", {})
    tables = {name: data.get(name) for name in sections}
    todo = list({**tables, **(units if isinstance(units, dict) else {})}.items())
    while todo:
        where, value = todo.pop()
        if isinstance(value, dict) and "value" not in value:
            todo += [(f"{where}.{key}", inner) for key, inner in value.items()]
        elif "." in where:
            found.append(where)
    return sorted(found)
