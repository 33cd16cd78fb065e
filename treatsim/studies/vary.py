"""What is varied: addresses with their values, and the grid they span. Nothing is solved here."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.amounts import Amount, Amounts
from treatsim.errors import RequestError
from treatsim.given import CASE, belongs, check_none_masked, si_array
from treatsim.operations.parameters import field_problem, percent_problem
from treatsim.safety.verdict import judge

LARGEST_GRID = 10_000_000  # points
# inputs from which the water itself is made up, one water at a time
OF_THE_ANALYSIS = ("water.ph", "water.conductivity")


@dataclass(frozen=True)
class Axis:
    """One varied input and its values."""

    address: str
    quantity: str  # of the numbers; "" where the values are words or texts
    values: tuple | np.ndarray  # SI numbers, whole numbers, or texts
    grouped: bool  # solved value by value instead of as an array

    @property
    def size(self) -> int:
        """Number of values."""
        return len(self.values)


def declared(case, address: str) -> tuple[dataclasses.Field, Any, str]:
    """Return declaration, present value and nested key ("" as a rule) of an input.

    An address such as "uv.target.log" names a key of a table that is an input.
    """
    owner, _, rest = address.partition(".")
    name, _, key = rest.partition(".")
    if key:
        item, value = case.field(f"{owner}.{name}")
        if item.metadata["kind"] == "text" and isinstance(value, Mapping) and key in value:
            return item, value[key], key
    item, value = case.field(address)
    return item, value, ""


def axis(case, address: str, values) -> Axis:
    """Return the axis of one input.

    Parameters
    ----------
    case : Case
        The case.
    address : str
        Address of an input.
    values : str, sequence, ndarray or (ndarray, unit)
        "FROM:TO:COUNT" or "a,b,c", each with its unit; a sequence of texts or plain numbers; or an
        array and its unit.
    """
    address = address.strip()
    check_input(case, address)
    item, _, key = declared(case, address)
    kind = item.metadata["kind"]
    texts = _texts(address, values, kind)
    if kind in ("choice", "text"):
        return Axis(address, "", tuple(_word(item, key, address, t) for t in texts), True)
    ends = values.split(":")[:2] if isinstance(values, str) and ":" in values else texts
    for raw in ends if not isinstance(ends, np.ndarray) else ():
        if doubt := percent_problem(item, raw, _number(address, raw, kind)):
            raise RequestError(f"{address} = {raw}: {doubt}")
    if isinstance(texts, np.ndarray):
        numbers = texts
    else:
        numbers = np.array([_number(address, t, kind) for t in texts])
    if not np.all(np.isfinite(numbers)):
        raise RequestError(f"{address}: every value is a finite number")
    if problem := field_problem(item, numbers):
        raise RequestError(f"{address} = {_shown(values)}: {problem}")
    if kind == "count":
        return Axis(address, kind, tuple(int(n) for n in numbers), True)
    return Axis(address, kind, numbers, address in OF_THE_ANALYSIS)


def check_input(case, address: str) -> None:
    """Name a result or a held input for what it is, where an input belongs."""
    for hold in case.holds:
        if hold.adjust == address:
            raise RequestError(
                f'"{address}" is set by the hold on {hold.until}; vary that case without its hold'
            )
    try:
        declared(case, address)
    except RequestError as error:
        if address in judge(case.solve()).values:
            raise RequestError(f'"{address}" is a result; only inputs can be set') from error
        raise
    case.moves_a_point(address)


def _shown(values) -> str:
    return f'"{values}"' if isinstance(values, str) else "the values given"


def _texts(address: str, values, kind: str):
    """Return the single values as texts, or as an SI array."""
    if isinstance(values, str):
        return _range(address, values, kind) if ":" in values else _list(address, values)
    try:
        if kind in ("choice", "text"):
            return _listed(values)
        if isinstance(values, tuple) and len(values) == 2 and _rows(values[0]):
            return _convert(*values, kind)
        if isinstance(values, Amount | Amounts):
            return np.atleast_1d(si_array(values, kind))
        listed = _listed(values)
        if plain := [value for value in listed if not isinstance(value, str)]:
            si_array(plain, kind)
    except RequestError as error:
        raise RequestError(f"{address}: {error}") from error
    return listed


def _listed(values) -> list:
    """Return the values of a list, a row of an array or a column; one value stands alone."""
    try:
        dimensions = np.ndim(values)
    except ValueError:  # rows of unequal lengths
        dimensions = 2
    if dimensions > 1 or isinstance(values, Mapping):
        raise RequestError("a range, a list of values, or (array, unit)")
    found = np.atleast_1d(np.asarray(values)) if dimensions == 0 else values
    if not len(found):
        raise RequestError("no values")
    check_none_masked(found)
    return [value.item() if isinstance(value, np.generic) else value for value in found]


def _rows(values) -> bool:
    """Whether these are numbers to which a unit belongs."""
    return not isinstance(values, str) and np.ndim(values) > 0


def _convert(numbers, unit, kind: str) -> np.ndarray:
    if not isinstance(unit, str):
        raise RequestError("a range, a list of values, or (array, unit)")
    factor, offset = quantities.conversion(unit, quantities.QUANTITIES[kind].si)
    return np.atleast_1d(si_array(numbers, kind)) * factor + offset


def _list(address: str, text: str) -> list[str]:
    parts = [part.strip() for part in text.split(",")]
    if not all(parts):
        raise RequestError(f'{address} = "{text}": write FROM:TO:COUNT or a list such as "1,2,3"')
    return parts


def _range(address: str, text: str, kind: str):
    """Return COUNT values from FROM to TO, ends included."""
    parts = [part.strip() for part in text.split(":")]
    if len(parts) != 3 or not all(parts):
        raise RequestError(f'{address} = "{text}": a range reads FROM:TO:COUNT')
    count = _count(address, text, parts[2])
    if kind == "choice":
        raise RequestError(f'{address} is one of a few words: list them, such as "a,b"')
    if kind == "text":
        return _range_of_texts(address, text, parts, count)
    first, last = (_number(address, part, kind) for part in parts[:2])
    if not (math.isfinite(first) and math.isfinite(last)):
        raise RequestError(f'{address} = "{text}": both ends are finite numbers')
    _check_ends(address, text, first, last, count)
    if kind == "count":
        numbers = np.unique(np.round(np.linspace(first, last, count)))
        return numbers if first < last else numbers[::-1]
    return np.linspace(first, last, count)


def _count(address: str, text: str, part: str) -> int:
    try:
        count = int(part)
    except ValueError as error:
        raise RequestError(f'{address} = "{text}": COUNT is a whole number') from error
    if not 1 <= count <= LARGEST_GRID:
        raise RequestError(f'{address} = "{text}": COUNT lies between 1 and {LARGEST_GRID:,}')
    return count


def _check_ends(address: str, text: str, first: float, last: float, count: int) -> None:
    if first == last and count > 1:
        raise RequestError(f'{address} = "{text}": both ends are equal; COUNT is 1 then')
    if first != last and count == 1:
        raise RequestError(
            f'{address} = "{text}": one value cannot have two ends; COUNT is at least 2'
        )


def _range_of_texts(address: str, text: str, parts: Sequence[str], count: int) -> list[str]:
    """Return a range of texts that are numbers with one unit, such as a salinity."""
    (first, unit, basis), (last, other, other_basis) = (quantities.split(p) for p in parts[:2])
    if (unit, basis) != (other, other_basis):
        raise RequestError(f'{address} = "{text}": both ends need the same unit')
    _check_ends(address, text, first, last, count)
    tail = f" {unit}" * bool(unit) + f" as {basis}" * bool(basis)
    return [f"{number:.12g}{tail}" for number in np.linspace(first, last, count)]


def _number(address: str, raw, kind: str) -> float:
    """Read one number; a bare one only where the quantity has no unit."""
    if isinstance(raw, str):
        try:
            return quantities.read(raw, kind)
        except RequestError as error:
            raise RequestError(f'{address} = "{raw}": {error}') from error
    if isinstance(raw, Amount):
        return float(si_array(raw, kind))
    unit = quantities.QUANTITIES[kind].shown
    if quantities.QUANTITIES[kind].si != "1" or kind in quantities.BASED:
        raise RequestError(
            f'{address} = {raw}: a bare number; write "{raw} {unit}", or give an array and its unit'
        )
    return float(raw)


def _word(item: dataclasses.Field, key: str, address: str, raw):
    """Return one word of a choice, or one entry of a text or of a table."""
    if item.metadata["kind"] == "choice":
        if problem := field_problem(item, raw):
            raise RequestError(f'{address} = "{raw}": {problem}')
        return raw
    if key and isinstance(raw, str):
        try:
            return float(raw)
        except ValueError:
            return raw
    return raw if isinstance(raw, str) else float(raw)


def with_words(case, words: Mapping[str, Any]):
    """Return the case with choices, texts or whole numbers replaced."""
    changed: dict[str, dict[str, Any]] = {}
    for address, value in words.items():
        owner, _, rest = address.partition(".")
        name, _, key = rest.partition(".")
        if key:
            before = changed.get(owner, {}).get(name, case.field(f"{owner}.{name}")[1])
            value = {**before, key: value}
        changed.setdefault(owner, {})[name] = value
    sections = _replaced(case.sections, changed)
    return case.changed(sections=sections, parameters=_replaced(case.parameters, changed))


def _replaced(records, changed):
    return {
        owner: dataclasses.replace(record, **changed[owner]) if owner in changed else record
        for owner, record in records.items()
    }


@dataclass(frozen=True)
class Grid:
    """Every combination of the axes; the last axis changes fastest."""

    axes: tuple[Axis, ...]

    def __post_init__(self) -> None:
        names = [a.address for a in self.axes]
        if not names:
            raise RequestError("nothing is varied: give at least one address")
        if twice := {name for name in names if names.count(name) > 1}:
            raise RequestError(f"varied twice: {', '.join(sorted(twice))}")
        if self.points > LARGEST_GRID:
            raise RequestError(
                f"the grid has {self.points:,} points; at most {LARGEST_GRID:,} are run"
            )

    @property
    def shape(self) -> tuple[int, ...]:
        """Values per axis."""
        return tuple(a.size for a in self.axes)

    @property
    def points(self) -> int:
        """Number of points."""
        return math.prod(self.shape)

    def blocks(self, chunk: int):
        """Yield (words, positions): points that share their grouped values, `chunk` at a time."""
        grouped = [n for n, a in enumerate(self.axes) if a.grouped]
        free = [n for n, a in enumerate(self.axes) if not a.grouped]
        free_shape = tuple(self.shape[n] for n in free)
        inner = math.prod(free_shape)
        for place in np.ndindex(*(self.shape[n] for n in grouped)):
            words = {
                self.axes[n].address: self.axes[n].values[i]
                for n, i in zip(grouped, place, strict=True)
            }
            for start in range(0, inner, chunk):
                index = (
                    np.unravel_index(np.arange(start, min(start + chunk, inner)), free_shape)
                    if free
                    else ()
                )
                where: list[Any] = [0] * len(self.axes)
                for n, i in zip(grouped, place, strict=True):
                    where[n] = i
                for n, one in zip(free, index, strict=True):
                    where[n] = one
                positions = np.ravel_multi_index(tuple(np.broadcast_arrays(*where)), self.shape)
                yield words, np.atleast_1d(positions)

    def column(self, number: int, positions) -> np.ndarray:
        """Return the index into one axis's values at the positions."""
        return np.unravel_index(positions, self.shape)[number]

    def arrays(self, positions) -> dict[str, np.ndarray]:
        """Return the values of the axes that are solved as arrays."""
        return {
            a.address: np.asarray(a.values)[self.column(n, positions)]
            for n, a in enumerate(self.axes)
            if not a.grouped
        }


def axes_of(texts: Sequence[str], option: str = "--vary") -> dict[str, str]:
    """Return texts such as "uv.ageing_factor=0.7:1:4" by their addresses."""
    found: dict[str, str] = {}
    for text in texts:
        address, equals, values = (part.strip() for part in text.partition("="))
        if not (address and equals and values):
            raise RequestError(
                f'{option} "{text}": write ADDRESS=FROM:TO:COUNT, such as '
                '"lift_pump.speed=50 %:100 %:41", or a list ADDRESS=a,b,c'
            )
        if address in found:
            raise RequestError(f"varied twice: {address}")
        found[address] = values
    return found


def grid_of(case, vary: Mapping[str, Any]) -> Grid:
    """Return the grid of what is varied."""
    belongs(case, "flowsheet", CASE)
    belongs(vary, "items", "a mapping of addresses to their values")
    return Grid(tuple(axis(case, address, values) for address, values in vary.items()))
