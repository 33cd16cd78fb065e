"""Lines of a start: what, how much, and a remark; as text and as plain data."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any, NamedTuple

from treatsim import quantities
from treatsim.running.startup import NOTHING

DIGITS = 3


class Row(NamedTuple):
    """One line: what, how much, and a remark."""

    key: str
    words: str
    value: float | None  # SI; None for never, or for what there is none of
    quantity: str
    remark: str = ""


def finite(value: float | None) -> float | None:
    """Return a value; None if it never comes."""
    return None if value is None or not math.isfinite(value) else value


def litres(value: float | None) -> float | None:
    """Return a volume; what is rounding is none. [m3]"""
    return None if value is None else 0.0 if value <= NOTHING else value


def watt_hours(energy: float | None) -> str:
    """Return an energy in words. [J]"""
    return "never" if energy is None else f"{energy / 3600.0:.3g} Wh"


def cells_of(rows: Iterable[Row], system: str) -> list[tuple[str, str, str]]:
    """Return rows as text."""
    cells = []
    for row in rows:
        if row.quantity:
            told = (
                "none"
                if row.value is None
                else quantities.text(row.value, row.quantity, system, DIGITS)
            )
            if row.value is None and row.quantity == "time":
                told = "never"
            cells.append((row.words, told, row.remark))
        else:
            cells.append((row.words, row.remark, ""))
    return cells


def plain(rows: Iterable[Row], system: str) -> dict[str, Any]:
    """Return rows as plain data, by key."""
    return {row.key: shown(row.value, row.quantity, system) for row in rows}


def shown(value: float | None, quantity: str, system: str) -> dict[str, Any]:
    """Return a value with its unit; null for never, or for what there is none of."""
    if not quantity:  # an energy
        return {"value": None if value is None else value / 3.6e6, "unit": "kWh"}
    told, unit = quantities.show(0.0 if value is None else float(value), quantity, system)
    return {"value": None if value is None else told, "unit": unit}
