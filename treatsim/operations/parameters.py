"""Parameters of a unit: declared with unit and range, read from text, checked."""

from __future__ import annotations

import dataclasses
import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, ClassVar, TypeVar, dataclass_transform

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.spreads import read_spread

UNCERTAIN = {"value", "spread", "distribution", "source"}  # keys of an entry that is a table
Record = TypeVar("Record", bound=type)
LARGEST_NUMBER = 1e300  # a bare number in a file
NO_WORDS: Mapping[str, str] = MappingProxyType({})
PERCENT = 0.01  # a percent below 1 is most often a fraction with a percent sign
ROUNDING = 1e-15  # of a number as it is typed


def quantity(
    kind: str,
    meaning: str,
    *,
    low: float | None = None,
    high: float | None = None,
    open_low: bool = False,
    source: str = "",
    or_else: str = "",
    small: bool = False,
    **default,
):
    """Declare a parameter field: its quantity, range and source. None stands for "not given".

    `or_else` names a second field that takes the entry if its unit is that field's; `small` tells
    of a share that may well be less than 1 %.
    """
    table = quantities.QUANTITIES[kind]
    meta = {
        "kind": kind,
        "meaning": meaning,
        "low": table.low if low is None else low,
        "high": table.high if high is None else high,
        "open_low": open_low,
        "source": source,
        "or_else": or_else,
        "small": small,
    }
    return field(metadata=meta, **default)


def choice(
    options: tuple[str, ...],
    meaning: str,
    *,
    source: str = "",
    called: Mapping[str, str] = NO_WORDS,
    **default,
):
    """Declare a parameter field that is one of a few words; `called` are others for them."""
    meta = {
        "kind": "choice", "meaning": meaning, "options": options, "source": source,
        "called": called,
    }  # fmt: skip
    return field(metadata=meta, **default)


def reference(
    meaning: str,
    *,
    source: str = "",
    example: Any = "",
    names: Callable[[], Iterable[str]] | None = None,
    record: Callable[[], type[Parameters]] | None = None,
    **default,
):
    """Declare a parameter field that is a free text or a table read by the unit itself.

    `example` is an entry that is accepted, `names` gives the words that may stand in it, `record`
    what declares the keys of a table.
    """
    meta = {
        "kind": "text",
        "meaning": meaning,
        "source": source,
        "example": example,
        "names": names or tuple,
        "record": record,
    }
    return field(metadata=meta, **default)


def points(
    value: str, position: str, meaning: str, *, place: str = "", example: Any = "", **default
):
    """Declare a field of readings such as "0.1 bar at 3 m3/h": a text, or a list of them.

    `value` and `position` are the quantities before and after "at"; `place` that after a second.
    """
    declared = reference(meaning, example=example, **default)
    kinds = (value, position, place) if place else (value, position)
    declared.metadata = MappingProxyType({**declared.metadata, "readings": kinds})
    return declared


MONTH_NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
MONTHS = len(MONTH_NAMES)


def monthly(kind: str, meaning: str, *, example: Any, alike: bool = True, **options):
    """Declare a field of twelve texts, January first; `alike` lets one stand for all months.

    `example` is the entry of one month; `low`, `high` and `source` are those of `quantity`.
    """
    number = quantity(kind, meaning).metadata
    bounds = {end: options.pop(end, number[end]) for end in ("low", "high")}
    declared = reference(meaning, example=[example] * MONTHS, **options)
    extra = {"each": field(metadata={**number, **bounds}), "alike": alike}
    declared.metadata = MappingProxyType({**declared.metadata, **extra})
    return declared


def read_monthly(raw: Any, item: dataclasses.Field) -> tuple[float, ...]:
    """Turn twelve texts, or one for all months where that may be, into SI numbers."""
    each, alike = item.metadata["each"], item.metadata["alike"]
    named = dataclasses.make_dataclass("Month", [(item.name, float, each)])
    (inner,) = dataclasses.fields(named)
    if alike and isinstance(raw, str | int | float) and not isinstance(raw, bool):
        return (read_value(inner, raw),) * MONTHS
    or_one = ", or one text for all of them" if alike else ""
    if not isinstance(raw, list | tuple):
        raise RequestError(f"a list of {MONTHS} texts, January first, belongs here{or_one}")
    if len(raw) != MONTHS:
        raise RequestError(f"{len(raw)} months; {MONTHS} belong here, January first{or_one}")
    found = []
    for name, entry in zip(MONTH_NAMES, raw, strict=True):
        try:
            found.append(read_value(inner, entry))
        except RequestError as error:
            raise RequestError(f"{name}: {error}") from error
    return tuple(found)


def read_points(raw: Any, *kinds: str) -> tuple[tuple[float, ...], ...]:
    """Turn readings, quantities parted by "at", into SI numbers, sorted by all but the first."""
    rows = [raw] if isinstance(raw, str) else raw
    usual = " at ".join(f"... {quantities.QUANTITIES[kind].shown}" for kind in kinds)
    if not isinstance(rows, list) or not rows or not all(isinstance(row, str) for row in rows):
        raise RequestError(f'a text such as "{usual}", or a list of them, belongs here')
    found = [_one_point(row, kinds, usual) for row in rows]
    found.sort(key=lambda numbers: numbers[:0:-1])
    if len({numbers[1:] for numbers in found}) < len(found):
        same = " and ".join(quantities.QUANTITIES[kind].meaning for kind in kinds[1:])
        raise RequestError(f"two readings at the same {same}")
    return tuple(found)


def _one_point(row: str, kinds: tuple[str, ...], usual: str) -> tuple[float, ...]:
    """Turn one reading into SI numbers; RequestError says all that is wrong with it."""
    texts = row.split(" at ")
    if len(texts) != len(kinds):
        several = f', several as a list: ["{usual}", "{usual}"]' if ";" in row else ""
        raise RequestError(f'"{row}" is no reading; write "{usual}"{several}')
    numbers, faults = [], []
    for text, kind in zip(texts, kinds, strict=True):
        try:
            number, bounds = quantities.read(text, kind), quantities.QUANTITIES[kind]
        except RequestError as error:
            faults.append(str(error))
            continue
        least, most = quantities.SIZES.get(kind, quantities.ANY_SIZE)
        if not bounds.low <= number <= min(bounds.high, most) or 0 < abs(number) < least:
            faults.append(f'"{text.strip()}" is no {bounds.meaning}')
        numbers.append(number)
    if faults:
        raise RequestError("; ".join(faults))
    return tuple(numbers)


def bounds_text(meta: Mapping[str, Any], system: str = "si") -> str:
    """Return the range of a field in words and in the unit shown."""
    low, high, kind = meta["low"], meta["high"], meta["kind"]

    def show(value):
        return quantities.text(value, kind, system)

    above = f"above {show(low)}" if meta["open_low"] else f"not below {show(low)}"
    if np.isinf(high):
        return above if np.isfinite(low) else "any number"
    below = f"not above {show(high)}"
    return below if np.isinf(low) else f"{above} and {below}"


def field_problem(item: dataclasses.Field, value) -> str | None:
    """Return what is wrong with `value` for a declared field, or None."""
    meta, name = item.metadata, item.name.replace("_", " ")
    if value is None:
        return None if item.default is None else f"{name} is missing ({meta['meaning']})"
    if meta["kind"] == "text":
        return None
    if meta["kind"] == "choice":
        if value in meta["options"]:
            return None
        word = value[:60] if isinstance(value, str) else ""  # a number may be too large to show
        called = meta["called"].get(word.lower().replace(" ", "_"))
        near = [called] if called else difflib.get_close_matches(word, meta["options"], n=1)
        hint = f'; did you mean "{near[0]}"?' if near else ""
        return f"{name} is one of {', '.join(meta['options'])}{hint}"
    array = np.asarray(value, dtype=float)
    size = np.abs(array)
    if np.any(size > quantities.ANY_SIZE[1]):  # also what is not finite
        return "no number of this size belongs here"
    # "95 %" is 95 times 0.01, a digit above 0.95: the end itself, as it is written, is inside
    inside = array * (1 - np.sign(array) * ROUNDING)
    above = array > meta["low"] if meta["open_low"] else array >= meta["low"]
    if not np.all(above & (inside <= meta["high"]) & np.isfinite(array)):
        return f"{_named(name, 'lies', 'lie')} {bounds_text(meta)}"
    least, most = quantities.SIZES.get(meta["kind"], quantities.ANY_SIZE)
    if np.any((size > most) | ((size < least) & (size > 0))):
        ends = [quantities.text(end, meta["kind"]) for end in (least, most)]
        return f"no number of this size belongs here; {name}: {ends[0]} to {ends[1]}"
    if meta["kind"] == "count" and np.any(array != np.round(array)):
        return f"{_named(name, 'is', 'are')} a whole number"
    return None


def _named(name: str, one: str, many: str) -> str:
    """Return the words of a field with its verb: "an arc length lies", "losses lie"."""
    head = name.partition(" in ")[0]
    if head.endswith("s") and not head.endswith(("ss", "us")):
        return f"{name} {many}"
    return f"{'an' if name[0] in 'aeio' else 'a'} {name} {one}"  # a UV transmittance


def read_value(item: dataclasses.Field, raw) -> Any:
    """Turn one entry into the value of a declared field; RequestError says what is wrong."""
    kind = item.metadata["kind"]
    if "readings" in item.metadata:
        return read_points(raw, *item.metadata["readings"])
    if "each" in item.metadata:
        return read_monthly(raw, item)
    if kind == "text":
        return raw
    if isinstance(raw, dict) and "value" in raw:
        if extra := set(raw) - UNCERTAIN:
            raise RequestError(
                f"unknown {', '.join(sorted(extra))}; a table here has value, spread, "
                "distribution and source"
            )
        if isinstance(raw["value"], dict):
            raise RequestError("a number or a text with a unit belongs here")
        value = read_value(item, raw["value"])
        read_spread(item, raw, value)
        return value
    if kind == "choice":
        value = raw
    elif isinstance(raw, bool) or not isinstance(raw, int | float | str):
        raise RequestError("a number or a text with a unit belongs here")
    elif isinstance(raw, str):
        value = quantities.read(raw, kind)
    elif abs(raw) > LARGEST_NUMBER:  # an int may be too large for a float, or to be shown
        raise RequestError("no number of this size belongs here")
    elif quantities.QUANTITIES[kind].si != "1" or kind in quantities.BASED:
        told = quantities.example(raw, kind)
        raise RequestError(f"a bare number; write a text with its unit, for example {told}")
    else:
        value = float(raw)
    if problem := percent_problem(item, raw, value) or field_problem(item, value):
        raise RequestError(problem)
    return int(value) if kind == "count" else value


def percent_problem(item: dataclasses.Field, raw, value: float) -> str:
    """Return what is doubtful where fraction and percent are taken for one another, or ""."""
    meta = item.metadata
    if (
        meta["kind"] == "choice"
        or meta["high"] > 2
        or quantities.QUANTITIES[meta["kind"]].si != "1"
    ):
        return ""
    if isinstance(raw, str) and "%" in raw and 0 < value < PERCENT and not meta["small"]:
        share = f"{100 * value:.6g}"
        other = f" or {share}" * (meta["kind"] not in quantities.BASED)
        least = max(meta["low"], quantities.SIZES.get(meta["kind"], quantities.ANY_SIZE)[0])
        low = f"; if so little is meant, write {value:.6g}" * (value >= least)
        return f'{share} % is {value:.6g}: write "{10000 * value:.6g} %"{other}{low}'
    bare = not isinstance(raw, str) or raw.strip().replace(".", "", 1).isdigit()
    if bare and meta["high"] < value <= 100 and value >= 2:
        return f'{value:g} is {100 * value:g} %: write "{value:g} %" or {value / 100:g}'
    return ""


def _told(value) -> str:
    """Return a value for a message; of many, the ends."""
    if isinstance(value, np.ndarray) and value.size:
        return " to ".join(f"{end:g}" for end in dict.fromkeys((np.min(value), np.max(value))))
    return repr(value)


@dataclass_transform(
    frozen_default=True,
    kw_only_default=True,
    field_specifiers=(quantity, choice, reference, points, monthly),
)
def record(cls: Record) -> Record:
    """Make a class a frozen record of its declared fields.

    What a record can do stands once in the base: five methods written and compiled for each of
    sixty classes would take a fifth of the start of numpy.
    """
    dataclass(frozen=True, init=False, repr=False, eq=False, kw_only=True)(cls)
    return cls


@record
class Parameters:
    """Base of all parameter records; quantity(), choice() or reference() declares each field."""

    forms: ClassVar[tuple[type[Any], ...]] = ()  # sheets that may stand for some fields
    either: ClassVar[tuple[tuple[tuple[str, ...], ...], ...]] = ()  # sets of fields, one asked for
    declined: ClassVar[Mapping[str, str]] = {}  # keys that people write, and why none is meant

    def __init__(self, **given: Any) -> None:
        """Take fields by keyword; TypeError names those that are missing or not known."""
        for item in dataclasses.fields(self):
            if item.name in given:
                value = given.pop(item.name)
            elif item.default_factory is not dataclasses.MISSING:
                value = item.default_factory()
            elif item.default is not dataclasses.MISSING:
                value = item.default
            else:
                raise TypeError(f"{type(self).__name__}: {item.name} is missing")
            object.__setattr__(self, item.name, value)
        if given:
            raise TypeError(f"{type(self).__name__} has no {', '.join(given)}")
        self.__post_init__()

    def _values(self) -> tuple[Any, ...]:
        return tuple(map(self.__dict__.get, self.__dataclass_fields__))

    def __repr__(self) -> str:
        told = [f"{item.name}={getattr(self, item.name)!r}" for item in dataclasses.fields(self)]
        return f"{type(self).__name__}({', '.join(told)})"

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Parameters) or type(other) is not type(self):
            return NotImplemented
        return self._values() == other._values()

    def __hash__(self) -> int:
        return hash(self._values())

    def __post_init__(self) -> None:
        for item in dataclasses.fields(self):  # whoever gave an array may use it again
            if isinstance(value := getattr(self, item.name), np.ndarray):
                object.__setattr__(self, item.name, value.copy())
        problems = [
            f"{item.name} = {_told(getattr(self, item.name))}: {problem}"
            for item in dataclasses.fields(self)
            if (problem := field_problem(item, getattr(self, item.name)))
        ]
        problems = problems or self.conflicts()  # which may compute with the fields
        if problems:
            raise RequestError(problems)

    def conflicts(self) -> list[str]:
        """Return what does not fit together between fields; nothing in the base."""
        return []

    def take(self, index):
        """Return the operating points `index` of every field that is an array."""
        changes = {
            item.name: value[index]
            for item in dataclasses.fields(self)
            if isinstance(value := getattr(self, item.name), np.ndarray) and value.ndim
        }
        return dataclasses.replace(self, **changes) if changes else self
