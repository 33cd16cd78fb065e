"""An accepted entry for every declared field: of the catalogue, the default, or from its range."""

from __future__ import annotations

import dataclasses
import math
from functools import cache
from typing import Any

from treatsim import catalogue, quantities


def entry_of(value: Any, kind: str) -> Any:
    """Return a text with its unit, or a bare number where there is none."""
    if kind not in quantities.QUANTITIES:
        return value
    if kind == "count":
        return int(value)
    text = quantities.text(float(value), kind)
    return text if quantities.QUANTITIES[kind].shown else float(text)


def example_of(item: dataclasses.Field, owner: str) -> Any:
    """Return an entry that is accepted: of the catalogue, the default, or from the range."""
    meta = item.metadata
    if (owner, item.name) in _started():
        return _started()[owner, item.name]
    if meta["kind"] == "text":
        return meta["example"]
    if item.default not in (None, dataclasses.MISSING):
        return entry_of(item.default, meta["kind"])
    if meta["kind"] == "choice":
        return meta["options"][0]
    return _inside(meta)


def _inside(meta) -> Any:
    """Return a round number of the unit shown from the range of a quantity."""
    kind = meta["kind"]
    low, high = (quantities.show(meta[end], kind)[0] for end in ("low", "high"))
    one = low < 1 <= high or (low == 1 and not meta["open_low"])
    middle = (low + high) / 2 if math.isfinite(low + high) else max(2 * low, 1.0)
    number = 1.0 if one else float(f"{middle:.2g}")
    if kind == "count":
        return int(number)
    unit = quantities.QUANTITIES[kind].shown
    return f"{number:g} {unit}" if unit else number


@cache
def _started() -> dict[tuple[str, str], Any]:
    """Return entries by kind or table, and key: of the examples, else of the first start."""
    found: dict[tuple[str, str], Any] = {}
    tables = list(catalogue.load("examples").items())
    for start in catalogue.load("starters").values():
        tables += [row for row in start.items() if isinstance(row[1], dict) and row[0] != "units"]
        units = start.get("units", {}).values()
        tables += [(table["kind"], without_kind(table)) for table in units]
    tables += [("element", table) for table in catalogue.load("ro_elements").values()]
    for owner, table in tables:
        for key, value in table.items():
            found.setdefault((owner, key), value)
    return found


def without_kind(table: dict[str, Any]) -> dict[str, Any]:
    """Return the entries of a unit beside its kind."""
    return {key: value for key, value in table.items() if key != "kind"}
