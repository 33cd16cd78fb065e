"""Words for what was written wrongly in a case: the nearest name, or the table it belongs to."""

from __future__ import annotations

import dataclasses
import difflib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from treatsim import operations, quantities
from treatsim.errors import RequestError
from treatsim.operations.parameters import read_value
from treatsim.operations.sheets import entries
from treatsim.water.substances import substance

Homes = Callable[[str], Sequence[str]]  # key -> the tables of the case that can hold it
WORD = re.compile("[a-z]{4,}")
LONGEST_WORD = 60  # letters of a name that is compared
ABSENT = " (left out)"
MOST_TABLES = 3
MOST_KEYS = 4  # more than these named would be no hint
TRADE = {  # words of the trade -> the keys that may be meant, the likeliest first
    "uvt": ("uv_transmittance",), "uv254": ("uv_absorbance",),
    "transmittance": ("uv_transmittance",),
    "tds": ("salinity",), "salt": ("salinity",), "ec": ("conductivity",),
    "tss": ("suspended_solids",), "ss": ("suspended_solids",), "ntu": ("turbidity",),
    "temp": ("temperature",), "hours": ("running_time",), "hours_per_day": ("running_time",),
    "per_day": ("per_person",), "litres": ("per_person",), "persons": ("number",),
    "population": ("number",), "people": ("number",),
    "area": ("plan_area", "screen_area"), "surface": ("plan_area",), "diameter": ("bore",),
    "npsh": ("required_suction_head",), "npshr": ("required_suction_head",),
    "pressure": ("outlet_pressure",), "pressure_drop": ("clean_drop",), "dp": ("clean_drop",),
    "elements": ("elements_in_series",), "vessels": ("vessels_in_parallel",),
    "membranes": ("elements_in_series",), "density": ("stock_density", "particle_density"),
    "max_pressure": ("largest_pressure",), "maximum_pressure": ("largest_pressure",),
    "ph": ("target_ph",), "suction": ("suction_lift",), "dose": ("target",),
}  # fmt: skip


def nearest(name: Any, known: Iterable[str]) -> str:
    """Return the nearest of some names, or ""; the only one of which it is a word comes first."""
    text = name[:LONGEST_WORD].lower() if isinstance(name, str) else ""  # a number may be too long
    names = {key.lower(): key for key in known}
    having = [text] if text in names else _having(text, names)
    near = having or difflib.get_close_matches(text, names, n=1)
    if not near or len(near) > 1 or _another_word(text, near[0], names):
        return ""
    return names[near[0]]


def _another_word(text: str, name: str, names: Iterable[str]) -> bool:
    """Whether a name only shares a word with this one, as others do: pump_ for slip_pressure."""
    ours, theirs = text.split("_"), name.split("_")
    odd = [word for word in ours if word not in theirs], [w for w in theirs if w not in ours]
    shared = [word for word in ours if word in theirs]
    if not shared or not all(odd) or difflib.get_close_matches("_".join(odd[0]), odd[1]):
        return False
    return any(len(_having(word, names)) > 1 for word in shared)


def _having(word: str, names: Iterable[str]) -> list[str]:
    """Return the names made of several words of which `word` is one, such as storage_tank."""
    return [name for name in names if word in name.split("_")]


def radii_of(key: str, known: Iterable[str]) -> list[str]:
    """Return the radii that a key which is a diameter may stand for, the likeliest alone."""
    words = [word for word in key.lower().split("_") if word not in ("inner", "outer")]
    if "diameter" not in words:
        return []
    sides = [side for side in ("inner", "outer") if side in key.lower()]
    radii = [name for name in known if "radius" in name.split("_")]
    other = [word for word in words if word != "diameter"]
    return [name for name in radii if all(w in name.split("_") for w in (*other, *sides))] or [
        name for name in radii if all(word in name.split("_") for word in other)
    ]


def did_you_mean(name: Any, known: Iterable[str]) -> str:
    """Return a hint at the nearest name, or at the few that have it as a word; else all of them."""
    known = list(known)
    near = nearest(name, known)
    words = str(name)[:LONGEST_WORD].lower().split("_")
    found = [near] if near else [key for key in known if any(_having(w, [key]) for w in words)]
    told = " or ".join(f'"{key}"' for key in found)
    return f"did you mean {told}?" if 0 < len(found) <= MOST_KEYS else f"known: {', '.join(known)}"


def homes(data: Mapping[str, Any], sections: Mapping[str, type]) -> Homes:
    """Return a function that tells which tables of the case can hold a key and do not yet.

    `sections` are the tables that are no units, with their records; one that the file leaves out
    ends in ABSENT. Nothing is looked up before a key is asked for.
    """
    found: dict[str, list[str]] = {}

    def tables(key: str) -> Sequence[str]:
        if not found:
            found.update(_tables_by_key(data, sections))
        return found.get(key, ())

    return tables


def _tables_by_key(
    data: Mapping[str, Any], sections: Mapping[str, type]
) -> Mapping[str, list[str]]:
    found: dict[str, list[str]] = {}
    tables: list[tuple[str, Any]] = [
        (name if name in data else name + ABSENT, record) for name, record in sections.items()
    ]
    units = data.get("units", {})
    for name, table in units.items() if isinstance(units, dict) else ():
        kind = table.get("kind") if isinstance(table, dict) else None
        if isinstance(kind, str) and kind in operations.kinds():
            tables.append((f"units.{name}", operations.parameters_class(kind)))
    for where, record in tables:
        held = units.get(where.removeprefix("units."), {}) if where.startswith("units.") else {}
        for item in dataclasses.fields(record):
            if item.name not in held or "_" in item.name:  # a volume is of many a thing
                found.setdefault(item.name, []).append(where)
    return found


def _elsewhere(key: str, where: str, home: Homes) -> list[str]:
    """Return the other tables that take a key; one left out is meant by no unit."""
    unit = where.startswith("units.")
    tables = [name for name in home(key) if not (unit and name.endswith(ABSENT))]
    return [name.removesuffix(ABSENT) for name in tables if name.removesuffix(ABSENT) != where]


def by_meaning(name: Any, meanings: Mapping[str, str]) -> str:
    """Return the one name whose meaning has every word, such as ions for "report", or ""."""
    words = set(WORD.findall(name[:LONGEST_WORD].lower())) if isinstance(name, str) else set()
    found = [
        key for key, text in meanings.items() if words and words <= {*WORD.findall(text.lower())}
    ]
    return found[0] if len(found) == 1 else ""


def meant(
    key: str,
    fields: Iterable[str],
    where: str,
    home: Homes,
    declared: Iterable[dataclasses.Field] = (),
) -> str:
    """Return the key of a table that is meant by one it does not know, or ""."""
    fields = list(fields)
    trade = [name for name in TRADE.get(key.lower(), ()) if name in fields]
    near = trade[0] if trade else nearest(key, fields)
    if not trade and _belongs(key, fields, where, home):
        return ""
    return near or by_meaning(key, {item.name: item.metadata["meaning"] for item in declared})


def _belongs(key: str, fields: list[str], where: str, home: Homes) -> list[str]:
    """Return the other tables that a key belongs to, if none of its own table is likelier."""
    tables = _elsewhere(key, where, home)
    if tables and _having(key, fields):
        return []
    return tables if len(tables) <= MOST_TABLES or not nearest(key, fields) else []


def meant_kind(kind: Any, table: Mapping[str, Any]) -> str:
    """Return the kind of unit meant by a word that is none, by the keys of its table; or ""."""
    kinds = operations.kinds()
    word = (
        re.sub(r"[\s-]+", "_", kind[:LONGEST_WORD].strip().lower()) if isinstance(kind, str) else ""
    )
    called = [name for name in kinds if word in operations.unit_class(name).called]
    likely = called or _having(word, kinds) if word else []
    if len(likely) == 1:
        return likely[0]
    if not likely and (near := nearest(kind, kinds)):
        return near
    if kind == "":
        return ""
    takes = {name: known_keys(operations.parameters_class(name)) for name in likely or kinds}
    if likely:  # words of the keys will do to tell a few apart
        shared = {name: sum(speaks_of(key, keys) for key in table) for name, keys in takes.items()}
    else:
        shared = {name: len(table.keys() & set(keys)) for name, keys in takes.items()}
    most = max(shared.values())
    found = [name for name, count in shared.items() if count == most]
    sure = most > 0 if likely else most > 1 and 2 * most >= len(table)  # the kind is in it
    return found[0] if sure and len(found) == 1 else ""


def speaks_of(key: str, known: Iterable[str]) -> bool:
    """Whether a key is one of those known, a word of one, or the trade's word for one."""
    known = list(known)
    return key in known or bool(_having(key, known)) or not {*TRADE.get(key, ())}.isdisjoint(known)


def known_keys(record: Any) -> list[str]:
    """Return the keys that a table may have: of its fields and of the forms that stand for some."""
    fields = [item.name for item in dataclasses.fields(record)]
    return fields + [key for sheet in record.forms for key in entries(sheet)]


def misplaced(
    key: str,
    fields: Iterable[str],
    where: str,
    home: Homes,
    declared: Iterable[dataclasses.Field] = (),
) -> str:
    """Return what to do with a key that a table does not know; `declared` are its fields."""
    fields = list(fields)
    found = meant(key, fields, where, home, declared)
    tables = [f"[{table}]" for table in _belongs(key, fields, where, home)]
    if not found and tables:
        return f'"{key}" belongs to {" or ".join(tables[:MOST_TABLES])}'
    if not found and where == "water" and substance(key):
        return f'"{key}" belongs to [analytes], or to [water.ions] of a kind of water "ions"'
    return f'did you mean "{found}"?' if found else did_you_mean(key, fields)


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
