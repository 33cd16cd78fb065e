"""Cautions that go with every result, by the hazards that kinds of units declare."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

from treatsim.operations.outcome import Limit

PRACTICE = "common practice"
MOST_NAMED = 2  # substances in a short line
HIGH = 2000.0  # m, above which water boils too cool for one minute; cdc_household_chlorine


class Caution(NamedTuple):
    """One caution."""

    text: str
    source: str  # key of sources.toml, or "common practice" for the trade's habit


@cache
def _tables() -> dict[str, Any]:
    file = Path(__file__).with_name("cautions.toml")
    return tomllib.loads(file.read_text("utf-8"))


@cache
def _groups() -> dict[str, tuple[Caution, ...]]:
    return {
        group: tuple(Caution(row["text"], row.get("source", PRACTICE)) for row in rows)
        for group, rows in _tables().items()
        if group != "short"
    }


def short_cautions(
    hazards: Iterable[str], altitude: float | None = None, dissolved: Sequence[str] = ()
) -> list[str]:
    """Cautions for a train of equipment, one line for each hazard.

    Parameters
    ----------
    hazards : iterable of str
        Groups of the table, as the kinds of units declare them.
    altitude : float or None
        Height of the site above the sea; None if not known. [m]
    dissolved : sequence of str
        What is dissolved in the product above its limit of health, in words.

    Returns
    -------
    list of str
        The general line, the one or two on boiling, then one for each hazard.

    Validity
    --------
    Boiling takes 1 minute up to 2000 m and 3 above; where the height is not known, both are said.

    Source
    ------
    cdc_household_chlorine for boiling; else common practice
    """
    lines = _tables()["short"]
    boil = "boil_at_any_height" if altitude is None else "boil"
    vain = ["boil_in_vain"] * bool(dissolved)
    wanted = ["always", boil, *vain, *dict.fromkeys(hazards)]
    minutes = 3 if altitude is not None and altitude > HIGH else 1
    more = ["and more"] * (len(dissolved) > MOST_NAMED)
    what = ", ".join([*dissolved[:MOST_NAMED], *more])
    return [lines[name].format(minutes=minutes, what=what) for name in wanted]


def too_much_dissolved(limits: Iterable[Limit]) -> list[str]:
    """Substances dissolved in the product above their limit: boiling takes none of them out.

    Parameters
    ----------
    limits : iterable of Limit
        Limits that are not met.

    Returns
    -------
    list of str
        Their names in words. [-]

    Validity
    --------
    Limits of health on a concentration in the product; germs and turbidity are held otherwise.

    Source
    ------
    cdc_household_chlorine
    """
    return [
        limit.name.partition(" in the product")[0]
        for limit in limits
        if limit.group == "health"
        and limit.quantity == "concentration"
        and limit.address.startswith("product.")
    ]


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
