"""A case read on as it was meant: what is wrong behind a misspelt name is told in the same round.

Nothing is solved of such a case, for each name that was mended is told as a problem.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping, Sequence
from typing import Any

from treatsim import operations, quantities
from treatsim.case_hints import (
    did_you_mean,
    homes,
    known_keys,
    meant,
    meant_kind,
    misplaced,
    radii_of,
    speaks_of,
)
from treatsim.case_text import Problems, entry, lacking, read_record
from treatsim.errors import RequestError
from treatsim.examples import example_of
from treatsim.operations.parameters import Parameters, read_value
from treatsim.operations.unit import Unit

BESIDE = ("kind", "limits")  # keys of a unit that are no parameters


def as_meant(
    data: dict[str, Any],
    sections: Mapping[str, type[Parameters]],
    tables: Sequence[str],
    problems: Problems,
) -> dict[str, Any]:
    """Return the tables of a case with tables, kinds and keys by the names they were meant to have.

    `sections` are the tables that are no units, with their records; `tables` all there may be.
    What is mended, and every table or kind that is not known at all, is added to `problems`.
    """
    problems.homes = homes(data, sections)
    for key in [key for key in data if key not in tables]:
        hint = misplaced(key, tables, "", problems.homes)
        problems.add(key, f"{key}: no such table; {hint}")
        _rename(data, key, meant(key, tables, "", problems.homes), "", problems)
    units = data.get("units")
    units = units if isinstance(units, dict) else {}
    rows = {name: row for name, row in units.items() if isinstance(row, dict)}
    for name, row in rows.items():
        _mend_kind(row, f"units.{name}", problems)
    problems.homes = homes(data, sections)
    for name, record in sections.items():
        if isinstance(data.get(name), dict) and not hasattr(record, "from_table"):
            _mend_keys(data[name], record, name, problems)
    for name, row in rows.items():
        if row.get("kind") in operations.kinds():
            _results_asked(row, name, problems)
            _mend_keys(row, operations.parameters_class(row["kind"]), f"units.{name}", problems)
    return data


def _mend_kind(row: dict[str, Any], where: str, problems: Problems) -> None:
    """Tell a kind that is none, and put the nearest in its place."""
    kind, known = row.get("kind"), operations.kinds()
    if isinstance(kind, str) and kind in known:
        return
    told = f" = {entry(kind)}: no such kind" if "kind" in row else " is missing"
    row["kind"] = meant_kind(kind, row)
    hint = f'did you mean "{row["kind"]}"?' if row["kind"] else did_you_mean(kind, known)
    problems.add(f"{where}.kind", f"{where}.kind{told}; {hint}")


def _results_asked(row: dict[str, Any], name: str, problems: Problems) -> None:
    """Tell keys that are results of a unit, and take them out: no parameter is meant by them."""
    unit = operations.unit_class(row["kind"])
    known = known_keys(operations.parameters_class(row["kind"]))
    for key in [key for key in row if key in unit.results and key not in (*known, *BESIDE)]:
        if speaks_of(key, known):
            continue
        value = entry(row.pop(key)).strip('"')
        told = f'adjust = ..., until = "{name}.{key}", equals = "{value}"'
        text = f"a result, no input: leave it out, or reach it by a [[hold]] with {told}"
        problems.add(f"units.{name}.{key}", f"units.{name}.{key}: {text}")


def _mend_keys(
    table: dict[str, Any], record: type[Parameters], where: str, problems: Problems
) -> None:
    """Tell keys that are near a known one not given, and read them as that."""
    fields = dataclasses.fields(record)
    known = known_keys(record)
    beside = BESIDE if where.startswith("units.") else ()
    for key in [key for key in table if key in record.declined]:
        del table[key]
        problems.add(f"{where}.{key}", f"{where}.{key}: no such key; {record.declined[key]}")
    for key in [key for key in table if key not in (*known, *beside)]:
        if radii := radii_of(key, known):
            _halve(table, key, radii, where, problems)
            continue
        name = meant(key, known, where, problems.homes, fields)
        if name and name not in table:
            problems.add(f"{where}.{key}", f'{where}.{key}: no such key; did you mean "{name}"?')
            _rename(table, key, name, where, problems)


def _halve(
    table: dict[str, Any], key: str, radii: Sequence[str], where: str, problems: Problems
) -> None:
    """Tell a diameter where a radius is asked for, and read it as half of it if one can be meant.

    Renamed alone it would be read, and the reactor were twice as wide as it is.
    """
    raw = table.pop(key)
    try:
        half = f'"{quantities.read(raw, "length") * 500:g} mm"'
    except (RequestError, TypeError, AttributeError):
        half = "half of it"
    told = " or ".join(f"{name} = {half}" for name in radii)
    problems.add(f"{where}.{key}", f"{where}.{key}: no such key; the radius is asked for: {told}")
    if len(radii) == 1 and radii[0] not in table and half.startswith('"'):
        table[radii[0]] = half.strip('"')


def _rename(table: dict[str, Any], key: str, name: str, where: str, problems: Problems) -> None:
    """Move an entry to the name it was meant to have, with the lines of all below it."""
    if not name or name in table:
        return
    table[name] = table.pop(key)
    old, new = (f"{where}.{word}" if where else word for word in (key, name))
    problems.rename(old, new)


def stand_in(name: str, kind: str, table: Mapping[str, Any], problems: Problems) -> Unit | None:
    """Return a unit whose structure is that of a table with faults, or None.

    What may be left out is there if the table gives it, well or badly, for this alone makes a
    value open or fixed. All that is asked for has the value of an example: no number of such a
    unit is used. A word of the table that its kind does not take is told, for the reader of a
    record stops before.
    """
    record, where = operations.parameters_class(kind), f"units.{name}"
    fields = {item.name: item for item in dataclasses.fields(record)}
    chosen: dict[str, Any] = {}
    for key, item in fields.items():
        asked = item.default is dataclasses.MISSING
        given = key in table and not _one_of(record, key)
        reads = given and _reads(item, table[key])
        if reads and (not asked or item.metadata["kind"] == "text"):
            chosen[key] = table[key]
        elif asked or (given and item.metadata["kind"] in quantities.QUANTITIES):
            chosen[key] = example_of(item, kind)
    for key, _ in lacking(record, chosen):
        chosen[key] = example_of(fields[key], kind)
    aside = Problems("", {})
    found = read_record(record, chosen, where, aside)
    for line in aside.found:
        key = re.match(r"\w*", line.removeprefix(f"{where}."))[0]  # type: ignore[index]
        if key in table and fields[key].metadata["kind"] == "text":
            problems.add(f"{where}.{key}", line)
    return None if found is None else operations.unit_class(kind)(name=name, parameters=found)


def _reads(item: dataclasses.Field, raw: Any) -> bool:
    try:
        read_value(item, raw)
    except RequestError:
        return False
    return True


def _one_of(record: type[Parameters], key: str) -> bool:
    """Whether a field is in a set of which one is asked for."""
    return any(key in names for sets in record.either for names in sets)
