"""Cautions that go with every result, by the equipment they concern."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from functools import cache
from importlib import resources
from typing import NamedTuple

PRACTICE = "common practice"


class Caution(NamedTuple):
    """One caution."""

    text: str
    source: str  # key of sources.toml, or "common practice" for the trade's habit


EQUIPMENT = {  # unit kind -> groups of cautions
    "feed_pump": ("electricity",),
    "high_pressure_pump": ("electricity", "ro"),
    "strainer": ("filters",),
    "cartridge_filter": ("filters",),
    "settling_basin": ("site",),
    "intake": ("site",),
    "uv_reactor": ("uv", "electricity"),
    "ro_vessel": ("ro",),
    "pressure_exchanger": ("ro",),
    "chlorine_dosing": ("chlorine",),
}


@cache
def _groups() -> dict[str, tuple[Caution, ...]]:
    file = resources.files("treatsim.safety").joinpath("cautions.toml")
    return {
        group: tuple(Caution(row["text"], row.get("source", PRACTICE)) for row in rows)
        for group, rows in tomllib.loads(file.read_text("utf-8")).items()
    }


def cautions_for(kinds: Iterable[str]) -> tuple[Caution, ...]:
    """Cautions for a train of equipment, the general ones first.

    Parameters
    ----------
    kinds : iterable of str
        Unit kinds ("uv_reactor") or groups ("electricity").

    Returns
    -------
    tuple of Caution
        Each caution once, in the order of the table.

    Validity
    --------
    A kind without cautions of its own adds none; the general ones always stand.

    Source
    ------
    common practice if the caution names no other
    """
    groups = {"always"}.union(*(EQUIPMENT.get(kind, (kind,)) for kind in kinds))
    return tuple(item for group, items in _groups().items() if group in groups for item in items)
