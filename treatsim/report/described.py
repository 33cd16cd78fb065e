"""What can be written and what is told: of kinds and tables, from their declarations only."""

from __future__ import annotations

import dataclasses
import difflib
import math
from collections.abc import Iterable
from pathlib import Path
from typing import Any, NamedTuple

import treatsim
from treatsim import catalogue, operations, quantities
from treatsim.case_text import OPEN_GROUPS
from treatsim.errors import RequestError
from treatsim.examples import entry_of, example_of
from treatsim.flowsheet.at_ports import STREAM_VALUES, carried_values
from treatsim.operations.parameters import Parameters
from treatsim.operations.sheets import entries
from treatsim.report.as_text import toml_text

LIMITS = "limits"  # below a unit, what a case puts in place of the kind's own limits


class Named(NamedTuple):
    """Something, in one line."""

    name: str
    about: str


class Key(NamedTuple):
    """An entry that can be written."""

    key: str  # in its table; of a case, its address
    meaning: str
    kind: str  # choice, text, or the name of a quantity
    unit: str  # as shown
    range: str  # in words
    low: float | None  # in the unit shown
    high: float | None
    options: tuple[str, ...]
    required: bool
    default: str  # as it would stand in a file
    example: str  # as it would stand in a file
    value: str = ""  # of a case, as shown
    state: str = ""  # of a case: given, default, not given, held
    one_of: tuple[str, ...] = ()  # where it is asked for or others are: those, by sets
    instead: tuple[str, ...] = ()  # entries of a data sheet or a bench that stand for it
    stands_for: tuple[str, ...] = ()  # of such an entry: the keys it gives with its neighbours
    form: str = ""  # of such an entry: what it is read from


class Held(NamedTuple):
    """A limit that a kind may state."""

    key: str
    kind: str
    group: str
    words: str
    unit: str
    open: bool  # whether a case may put its own in its place, or waive it


class Answer(NamedTuple):
    """A result that is told."""

    address: str  # below the unit; of a case, in full
    words: str
    unit: str
    page: bool = False  # whether the page of the unit has it
    pattern: str = ""  # of a case, the declared key it falls under
    value: float | None = None
    text: str = ""


class Description(NamedTuple):
    """Everything there is to say of one subject; what does not apply is empty."""

    of: str  # all, kind, table, case, address
    name: str
    about: str
    inlets: tuple[str, ...] = ()
    outlets: tuple[str, ...] = ()
    kinds: tuple[Named, ...] = ()
    tables: tuple[Named, ...] = ()
    starts: tuple[Named, ...] = ()
    classes: tuple[Named, ...] = ()
    keys: tuple[Key, ...] = ()
    limits: tuple[Held, ...] = ()
    results: tuple[Answer, ...] = ()
    uses: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        """Return it as plain data; every key is there, whatever the subject."""
        lists = {
            name: [row if isinstance(row, str) else row._asdict() for row in value]
            for name, value in self._asdict().items()
            if isinstance(value, tuple)
        }
        return {"treatsim": treatsim.__version__, **self._asdict(), **lists}


def records() -> dict[str, type[Parameters]]:
    """Return what declares the tables of a case that are no units."""
    from treatsim import case_sections  # not needed for a kind, and not light

    return case_sections.SECTIONS | case_sections.JOINING


def tables() -> dict[str, str]:
    """Return the tables of a case that are no units, each in one line."""
    found = {name: first_line(record.__doc__) for name, record in records().items()}
    return found | {LIMITS: "A rating or a habit of a unit replaced, or waived with a reason."}


def first_line(text: str | None) -> str:
    """Return the first line of a docstring."""
    return (text or "").strip().partition("\n")[0]


def about_kind(kind: str) -> str:
    """Return what a kind is, in one line; its module is read, not loaded."""
    source = Path(operations.__path__[0], f"{kind}.py").read_text("utf-8")
    return first_line(source.split('"""')[1])


def overview() -> Description:
    """Return every kind and every table in one line."""
    return Description(
        "all",
        "",
        "what can be written in a case file",
        kinds=tuple(Named(kind, about_kind(kind)) for kind in operations.kinds()),
        tables=tuple(Named(name, about) for name, about in tables().items()),
        starts=tuple(Named(name, row["about"]) for name, row in catalogue.load("starters").items()),
    )


def of_kind(kind: str) -> Description:
    """Return ports, keys, limits and results of a kind."""
    unit, record = operations.unit_class(kind), operations.parameters_class(kind)
    return Description(
        "kind",
        kind,
        about_kind(kind),
        unit.inlets,
        unit.outlets,
        classes=_classes(record),
        keys=keys_of(record, kind),
        limits=held_by(kind),
        results=results_of(kind),
    )


def of_table(name: str) -> Description:
    """Return the keys of a table that is no unit."""
    about = tables()[name]
    if name == LIMITS:
        rows = tuple(row for kind in operations.kinds() for row in held_by(kind) if row.open)
        return Description("table", name, about, limits=rows)
    record = records()[name]
    if entries := getattr(record, "entries", None):
        keys = tuple(_named_key(*row) for row in entries())
        return Description("table", name, about, keys=keys)
    return Description("table", name, about, keys=keys_of(record, name))


def _named_key(key: str, meaning: str, unit: str, example: str) -> Key:
    """Return a key that its table reads by itself."""
    return Key(key, meaning, "text", unit, "", None, None, (), False, "", toml_text(example))


def keys_of(record: type[Parameters], owner: str) -> tuple[Key, ...]:
    """Return the keys of a record; those of a table within one follow it, after a dot.

    Last stand the entries of data sheets and bench readings that may take the place of some.
    """
    found = []
    items = dataclasses.fields(record)
    spare = {item.metadata.get("or_else") for item in items}
    for item in items:
        if item.name in spare:  # written under the name of the other one
            continue
        found.append(_with_forms(key_of(item, owner), record))
        if inner := item.metadata.get("record"):
            found += [
                row._replace(key=f"{item.name}.{row.key}") for row in keys_of(inner(), item.name)
            ]
    for sheet in record.forms:
        form = first_line(sheet.__doc__)
        if sheet.needs:
            form = f"{form} {' and '.join(sheet.needs)} must then be given."
        found += [
            key_of(item, owner)._replace(stands_for=tuple(sheet.gives), form=form)
            for item in dataclasses.fields(sheet)
        ]
    return tuple(found)


def _with_forms(key: Key, record: type[Parameters]) -> Key:
    """Return the key with what may be given in its place."""
    others = tuple(
        " and ".join(names)
        for sets in record.either
        if any(key.key in names for names in sets)
        for names in sets
        if key.key not in names
    )
    sheets = [sheet for sheet in record.forms if key.key in sheet.gives]
    return key._replace(
        one_of=others, instead=tuple(name for sheet in sheets for name in entries(sheet))
    )


def key_of(item: dataclasses.Field, owner: str = "") -> Key:
    """Return what is declared of one key."""
    meta = item.metadata
    required = item.default is dataclasses.MISSING and item.default_factory is dataclasses.MISSING
    low = high = None
    unit = bounds = ""
    options = tuple(meta.get("options", ())) or tuple(meta["names"]() if "names" in meta else ())
    if meta["kind"] in quantities.QUANTITIES:
        unit = quantities.QUANTITIES[meta["kind"]].shown
        bounds = range_text(meta)
        low, high = (_finite(meta[end], meta["kind"]) for end in ("low", "high"))
    return Key(
        item.name,
        meta["meaning"],
        meta["kind"],
        unit,
        bounds,
        low,
        high,
        options,
        required,
        "" if required or item.default in (None, "") else written(item.default, meta["kind"]),
        toml_text(example_of(item, owner)),
    )


def range_text(meta) -> str:
    """Return the range of a declared number in words, in the unit shown."""

    def show(value):
        return quantities.text(value, meta["kind"], digits=7)

    low, high = meta["low"], meta["high"]
    unit = quantities.QUANTITIES[meta["kind"]].shown
    from_ = f"above {show(low)}" if meta["open_low"] else show(low)
    if math.isfinite(low) and math.isfinite(high):
        return f"{from_.removesuffix(unit).rstrip()} to {show(high)}"
    if math.isfinite(low):
        return from_ if meta["open_low"] else f"{from_} or more"
    return f"up to {show(high)}" if math.isfinite(high) else f"any number of {unit}".strip()


def _finite(value: float, kind: str) -> float | None:
    return round(quantities.show(value, kind)[0], 9) if math.isfinite(value) else None


def written(value: Any, kind: str) -> str:
    """Return an SI value of a declared field as it would stand in a file."""
    return toml_text(entry_of(value, kind))


def _classes(record: type[Parameters]) -> tuple[Named, ...]:
    """Return the catalogue's classes that may stand for a table of the record."""
    return tuple(
        Named(name, _class_text(item.metadata["record"](), name))
        for item in dataclasses.fields(record)
        if item.metadata.get("record")
        for name in item.metadata["names"]()
    )


def _class_text(record: type[Parameters], name: str) -> str:
    """Return the first few entries of a class in words."""
    table = catalogue.load("ro_elements")[name]
    asked = [item for item in dataclasses.fields(record) if item.default is dataclasses.MISSING]
    return ", ".join(
        f"{item.name.replace('_', ' ')} {table[item.name]}"
        for item in asked
        if item.name == "area" or item.name.startswith("test_")
    )


def held_by(kind: str) -> tuple[Held, ...]:
    """Return the limits that a kind may state."""
    return tuple(
        Held(
            key,
            kind,
            rule.group,
            rule.words,
            quantities.QUANTITIES[rule.quantity].shown,
            rule.group in OPEN_GROUPS,
        )
        for key, rule in operations.unit_class(kind).ruled.items()
    )


def results_of(kind: str) -> tuple[Answer, ...]:
    """Return what a kind tells, and what is told at its ports; a * stands for several."""
    unit = operations.unit_class(kind)
    page = {row.key for row in unit.told} | set(unit.headline)
    own = [
        Answer(key, words_of(kind, key), _units(told.quantity, told.or_else), key in page)
        for key, told in unit.results.items()
    ]
    ports = [
        Answer(f"{port}.{key}", f"{key.replace('_', ' ')} at {port}", _units(quantity))
        for port in (*unit.inlets, *unit.outlets)
        for key, quantity in (STREAM_VALUES | carried_values()).items()
        if f"{port}.{key}" not in unit.results
    ]
    return (*own, *ports)


def _units(*kinds: str) -> str:
    return " or ".join(quantities.QUANTITIES[kind].shown for kind in kinds if kind)


def words_of(kind: str, key: str) -> str:
    """Return the words of a result: its own, else those of a row that shows it."""
    unit = operations.unit_class(kind)
    if own := unit.results[key].words:
        return own
    return {row.key: row.words for row in (*unit.compared, *unit.told)}[key]


def unknown(name: str, known: Iterable[str]) -> RequestError:
    """Return the error that names what is nearest."""
    near = difflib.get_close_matches(name, list(dict.fromkeys(known)), n=3)
    hint = f"did you mean {', '.join(near)}?" if near else "treatsim describe lists all there is"
    return RequestError(f"describe {name}: no kind, table, case or address; {hint}")
