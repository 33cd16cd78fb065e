"""Cautions that go with every result, by the hazards that kinds of units declare."""

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


@cache
def _groups() -> dict[str, tuple[Caution, ...]]:
    file = resources.files("treatsim.safety").joinpath("cautions.toml")
    return {
        group: tuple(Caution(row["text"], row.get("source", PRACTICE)) for row in rows)
        for group, rows in tomllib.loads(file.read_text("utf-8")).items()
    }


def cautions_for(hazards: Iterable[str]) -> tuple[Caution, ...]:
    """Cautions for a train of equipment, the general ones first.

    Parameters
    ----------
    hazards : iterable of str
        Groups of the table, as the kinds of units declare them.

    Returns
    -------
    tuple of Caution
        Each caution once, in the order of the table.

    Validity
    --------
    The general ones always stand; an unknown group raises KeyError.

    Source
    ------
    common practice if the caution names no other
    """
    wanted = {"always", *hazards}
    if unknown := wanted - set(_groups()):
        raise KeyError(f"no such group of cautions: {', '.join(sorted(unknown))}")
    return tuple(item for group, items in _groups().items() if group in wanted for item in items)
