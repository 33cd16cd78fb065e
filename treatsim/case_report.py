"""A laboratory's report stands once: what [water.ions] and [analytes] hold serves both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from treatsim.errors import RequestError
from treatsim.safety.guideline_values import guidelines
from treatsim.water.laboratory import read_report
from treatsim.water.substances import Reading, read, substance

SAME = 1e-3  # relative; two entries of one substance, typed in two units
CHEMICAL = {"hardness", "alkalinity"}  # beside the ions themselves
Add = Callable[[str, str], None]


def one_report(data: Mapping[str, Any], add: Add) -> dict[str, Any]:
    """Return the tables of a case with every reported substance where it serves.

    The ion analysis takes from [analytes] what it lacks; [analytes] takes all that is reported, if
    it is there or the report holds a substance of health that the chemistry does not know. `add`
    takes the key path and the text of each fault.
    """
    water, analytes = data.get("water"), data.get("analytes", {})
    if not isinstance(water, dict) or not isinstance(analytes, dict):
        return dict(data)
    ions = water.get("ions", {})
    if not isinstance(ions, dict):
        return dict(data)
    try:
        reported = read_report(ions, "water.ions")
    except RequestError as error:
        for line in error.problems:
            add(line.partition(":")[0].split(" ")[0], line)
        return dict(data)
    listed = _listed(analytes)
    for name in reported.keys() & listed.keys():
        _compare(name, reported[name], listed[name], add)
    found = dict(data)
    if water.get("kind") == "ions":
        lacking = {
            key: text
            for key, text in analytes.items()
            if (row := substance(key))
            and (row.symbol or row.name in CHEMICAL)
            and row.name in listed
            and row.name not in reported
        }
        found["water"] = {**water, "ions": {**ions, **lacking}} if ions or lacking else water
    # the values are read where something is reported, not at every start
    healthy = {name for kind, name in guidelines() if kind == "health"} if ions else set()
    beyond = any(
        row.name in healthy and not (row.symbol and water.get("kind") == "ions")
        for key in ions
        if (row := substance(key))
    )
    if beyond or "analytes" in data:
        more = {key: text for key, text in ions.items() if _name(key) not in listed}
        found["analytes"] = {**analytes, **more}
    return found


def _name(key: str) -> str:
    row = substance(key)
    return row.name if row else key


def _listed(analytes: Mapping[str, Any]) -> dict[str, Reading]:
    """Read the substances of [analytes]; what cannot be read is told by the reader of the table."""
    found = {}
    for key, text in analytes.items():
        row = substance(key)
        if row is None or not isinstance(text, str):
            continue
        try:
            found[row.name] = read(row, text)
        except RequestError:
            continue
    return found


def _compare(name: str, first: Reading, second: Reading, add: Add) -> None:
    """Refuse one substance with two values."""
    apart = abs(first.value - second.value) > SAME * max(first.value, second.value)
    if apart or first.below != second.below:
        one, two = (f"{'below ' * r.below}{r.value * 1e3:.4g} mg/L" for r in (first, second))
        add(f"analytes.{name}", f"analytes.{name}: {two}, and water.ions says {one}; keep one")
