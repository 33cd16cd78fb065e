"""What a case says and tells, address by address, and where an address may be used."""

from __future__ import annotations

import dataclasses
import fnmatch
import math
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any

from treatsim import cases, operations, quantities
from treatsim.errors import RequestError
from treatsim.examples import entry_of
from treatsim.flowsheet import energy, result
from treatsim.operations.declarations import Told
from treatsim.operations.outcome import Value, at
from treatsim.operations.parameters import Parameters
from treatsim.operations.sheets import Sheet, entries
from treatsim.report.as_text import toml_text
from treatsim.report.described import (
    LIMITS,
    Answer,
    Description,
    Key,
    held_by,
    key_of,
    of_table,
    unknown,
    words_of,
)
from treatsim.safety.parts import dissolved, germs, people, product
from treatsim.safety.verdict import Verdict, judge
from treatsim.studies.vary import declared

OVERALL: Mapping[str, Told] = (
    result.RESULTS
    | energy.RESULTS
    | people.RESULTS
    | germs.RESULTS
    | dissolved.RESULTS
    | product.RESULTS
)


def overall() -> list[Answer]:
    """Return what is told of a whole case; a * stands for several."""
    return [
        Answer(address, told.words, quantities.QUANTITIES[told.quantity].shown)
        for address, told in OVERALL.items()
    ]


def of_case(path: str) -> Description:
    """Return every input and every result of a case; its values if it has an answer."""
    case = cases.load(path)
    verdict = judge(case.solve())
    return Description(
        "case",
        case.path,
        case.title,
        keys=tuple(inputs(case)),
        results=tuple(answers(case, verdict)),
    )


def inputs(case: cases.Case) -> Iterable[Key]:
    """Yield every input by its address, with what is given, and overridden limits."""
    held = {hold.adjust for hold in case.holds}
    records = {**case.sections, **case.parameters}
    for owner, record in records.items():
        kind = case.kinds.get(owner, owner)
        written = (case.data if owner in case.sections else case.data["units"]).get(owner, {})
        if record is None:
            continue
        if hasattr(record, "entries"):
            yield from _read_by_table(owner, written)
            continue
        items, sheets = dataclasses.fields(record), _sheets(record, written)
        spare = {item.metadata.get("or_else") for item in items}
        for item in items:
            if item.name in spare:
                continue
            address = f"{owner}.{item.name}"
            found, value = case.field(address)
            state = "given" if {item.name, found.name} & set(written) else _left_out(value)
            if state == "default":
                state = _source(sheets, item.name) or state
            yield key_of(found, kind)._replace(
                key=address,
                value=_shown(value, found.metadata["kind"]),
                state="held" if address in held else state,
            )
        yield from _of_sheets(sheets, owner, kind, written)
        yield from _overridden(case, owner)


def _sheets(record: Parameters, written: Mapping[str, Any]) -> list[type[Sheet]]:
    """Return the data sheets and bench readings that a table is written by."""
    forms = getattr(record, "forms", ())
    return [sheet for sheet in forms if set(entries(sheet)) & set(written)]


def _source(sheets: list[type[Sheet]], name: str) -> str:
    """Return from which entries a field comes, empty if from none."""
    names = [n for sheet in sheets if name in sheet.gives for n in entries(sheet)]
    return f"from {' and '.join(names)}" if names else ""


def _of_sheets(
    sheets: list[type[Sheet]], owner: str, kind: str, written: Mapping[str, Any]
) -> Iterable[Key]:
    """Yield the entries of data sheets and bench readings, as they are written."""
    for item in (item for sheet in sheets for item in dataclasses.fields(sheet)):
        if (entry := written.get(item.name)) is not None:
            text = entry if isinstance(entry, str) else toml_text(entry)
            key = key_of(item, kind)
            yield key._replace(key=f"{owner}.{item.name}", value=text, state="given")


def _overridden(case: cases.Case, unit: str) -> Iterable[Key]:
    """Yield what the case puts in place of limits of a unit."""
    for key, override in case.overrides.get(unit, {}).items():
        rule = operations.unit_class(case.kinds[unit]).ruled[key]
        limit = override.limit
        shown = f"waived: {override.reason}" if limit is None else _shown(limit, rule.quantity)
        row = Key(f"{unit}.{LIMITS}.{key}", rule.words, "text", "", "", None, None, (), False, "",
                  toml_text(case.data["units"][unit][LIMITS][key]))  # fmt: skip
        yield row._replace(value=shown, state="given")


def _left_out(value) -> str:
    return "not given" if value in (None, "") else "default"


def _shown(value, kind: str) -> str:
    if value in (None, ""):
        return ""
    shown = entry_of(value, kind)
    return shown if isinstance(shown, str) else toml_text(shown)


def _read_by_table(owner: str, table: Mapping[str, Any]) -> Iterable[Key]:
    """Yield the entries of a table whose keys only its own reader knows."""
    known = {key.key: key for key in of_table(owner).keys}
    for name, value in table.items():
        if isinstance(value, Mapping):
            yield from _read_by_table_within(owner, name, value, known)
        else:
            yield known[name]._replace(key=f"{owner}.{name}", value=str(value), state="given")


def _read_by_table_within(owner, name, table, known) -> Iterable[Key]:
    for key, value in table.items():
        yield known[key]._replace(key=f"{owner}.{name}.{key}", value=str(value), state="given")


def answers(case: cases.Case, verdict: Verdict) -> Iterable[Answer]:
    """Yield every result, unit by unit in order of the water; values only of an answer."""
    answered = bool(verdict.result.solved[0])
    order = {name: number for number, name in enumerate(verdict.result.sheet.order)}
    place = len(order)
    rows = sorted(verdict.values.items(), key=lambda row: order.get(row[0].split(".")[0], place))
    for address, value in rows:
        yield answer(case, address, value, answered)


def answer(case: cases.Case, address: str, value: Value, answered: bool = True) -> Answer:
    """Return one result in words, with its number where there is one."""
    unit = quantities.QUANTITIES[value.quantity].shown
    words = meaning(case, address)
    row = Answer(address, words, unit, pattern=pattern_of(case, address))
    if not answered:
        return row
    number = float(at(value.value, 0))
    shown = quantities.show(number, value.quantity)[0]
    text = quantities.text(number, value.quantity)
    return row._replace(value=shown if math.isfinite(shown) else None, text=text)


def pattern_of(case: cases.Case, address: str) -> str:
    """Return the declared key an address falls under, such as "uv.red.*"; itself if none."""
    owner, _, key = address.partition(".")
    if owner in case.kinds:
        declared_keys = operations.unit_class(case.kinds[owner]).results
        return f"{owner}.{found}" if (found := _match(declared_keys, key)) else address
    return _match(OVERALL, address) or address


def meaning(case: cases.Case, address: str) -> str:
    """Return the words of a result by its address."""
    owner, _, key = address.partition(".")
    if owner not in case.kinds:
        pattern = _match(OVERALL, address)
        return OVERALL[pattern].words if pattern else ""
    unit = operations.unit_class(case.kinds[owner])
    if pattern := _match(unit.results, key):
        return words_of(case.kinds[owner], pattern)
    item = unit_field(case, owner, key)
    if item is not None:  # found by the solver
        return f"{item.metadata['meaning']}; found by the solver"
    return ""  # of a stream: the address says it


def unit_field(case: cases.Case, owner: str, name: str) -> dataclasses.Field | None:
    """Return the declaration of an input of a unit, or None."""
    fields = dataclasses.fields(case.parameters[owner])
    return next((item for item in fields if item.name == name), None)


def _match(patterns: Mapping[str, Told], key: str) -> str:
    """Return the key itself, else the first pattern it falls under, else nothing."""
    if key in patterns:
        return key
    near = (row for start, row in _open_ended(tuple(patterns)) if key.startswith(start))
    return next((pattern for pattern in near if fnmatch.fnmatchcase(key, pattern)), "")


@cache  # asked twice for each of some hundred addresses
def _open_ended(keys: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    """Return the patterns among keys, each behind what stands before its star."""
    return tuple((row.partition("*")[0], row) for row in keys if "*" in row)


def of_address(path: str, address: str) -> Description:
    """Return what an address of a case means and where it may be used."""
    case = cases.load(path)
    rows = {key.key: key for key in inputs(case)}
    about = f"an input of {case.path}"
    unit = address.removeprefix("units.").removesuffix(f".{LIMITS}")
    if address.endswith(f".{LIMITS}") and unit in case.kinds:
        return of_table(LIMITS)._replace(limits=held_by(case.kinds[unit]))
    if address in rows:
        key = rows[address]
        return Description("address", address, about, keys=(key,), uses=_uses(case, key))
    try:
        item, value, inner = declared(case, address)
    except RequestError:
        return _of_result(case, address, rows)
    kind = item.metadata["kind"]
    shown = toml_text(value) if inner else _shown(value, kind)
    key = key_of(item)._replace(key=address, value=shown, state="given")
    return Description("address", address, about, keys=(key,), uses=_uses(case, key))


def _of_result(case: cases.Case, address: str, rows) -> Description:
    verdict = judge(case.solve())
    values = verdict.values
    if address not in values:
        raise unknown(address, [*rows, *values])
    row = answer(case, address, values[address], bool(verdict.result.solved[0]))
    uses = [f"--show {address}", f'--until "{address} >= VALUE"']
    if address in verdict.result.values:
        uses.append(f'[[hold]] until = "{address}"')
    return Description(
        "address", address, f"a result of {case.path}", results=(row,), uses=tuple(uses)
    )


def _uses(case: cases.Case, key: Key) -> tuple[str, ...]:
    """Return where an input may be used."""
    address, owner = key.key, key.key.partition(".")[0]
    if key.state == "held":
        return ("set by a [[hold]] of this case: take that out to set it otherwise",)
    value = key.example.strip('"')
    uses = [f'--set "{address}={value}"']
    number = bool(key.range)
    if (key.kind == "text" and "." in address.partition(".")[2]) or owner == "analytes":
        return tuple(uses)  # read by their table alone
    uses.append(f'--vary "{address}={"FROM:TO:COUNT" if number else "A,B"}"')
    if number:
        uses.append(f"--adjust {address}")
        uses += [f'[[hold]] adjust = "{address}"'] * (owner in case.kinds)
    return tuple(uses)
