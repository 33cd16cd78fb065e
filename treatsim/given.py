"""What Python gives for an input: text with a unit, or numbers in SI of any common container."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.amounts import Amount, Amounts
from treatsim.errors import RequestError
from treatsim.operations.parameters import field_problem, read_value

CASE = "a case, from treatsim.load(...) or a treatsim.Flowsheet,"
NUMBERS = "iuf"  # kinds of dtype that are numbers


def read_given(item: dataclasses.Field, raw) -> Any:
    """Read one entry as in a case file, but a bare number is in SI; RequestError says why not."""
    kind = item.metadata["kind"]
    if kind in ("text", "choice") or isinstance(raw, str | Mapping | bool | np.bool_):
        return read_value(item, raw)
    if np.ndim(raw):
        raise RequestError("one value belongs here; give several to solve() or sweep()")
    value = float(si_array(raw, kind))
    if problem := field_problem(item, value):
        raise RequestError(problem)
    return int(value) if kind == "count" else value


def belongs(thing: Any, has: str, words: str) -> None:
    """Refuse what is no case, result or mapping: such a thing has an attribute `has`."""
    if not hasattr(thing, has):
        raise RequestError(f"{words} belongs here, not {named(thing)}")


def named(thing: Any) -> str:
    """Return what a thing of the wrong kind is."""
    if thing is None:
        return "None"
    return f'the text "{thing[:60]}"' if isinstance(thing, str) else f"a {type(thing).__name__}"


def check_none_masked(raw: Any) -> None:
    """Refuse an array in which some values are marked as none: what stands there is anything."""
    if isinstance(raw, np.ndarray) and np.any(getattr(raw, "mask", False)):
        raise RequestError("every value is a finite number, and some are masked")


def si_array(raw, kind: str) -> np.ndarray:
    """Return numbers, or texts with units, as an SI array of at most one dimension."""
    if isinstance(raw, Amount | Amounts):
        own, asked = (quantities.QUANTITIES[name] for name in (raw.quantity, kind))
        if own.si != asked.si:
            raise RequestError(f"{own.meaning} ({own.si}) given for {asked.meaning} ({asked.si})")
    check_none_masked(raw)
    try:
        array = np.asarray(raw)
    except ValueError as error:  # rows of unequal lengths
        raise RequestError("numbers or texts, one for each point, belong here") from error
    if array.ndim > 1:
        shape = " x ".join(str(size) for size in array.shape)
        raise RequestError(f"an array of {shape} values; a single row belongs here")
    if not array.size:
        raise RequestError("no values")
    if array.dtype.kind not in NUMBERS:
        array = _each(array, kind)
    array = array.astype(float, copy=False)
    if not np.all(np.isfinite(array)):
        raise RequestError("every value is a finite number")
    return array


def _each(array: np.ndarray, kind: str) -> np.ndarray:
    """Read texts, or objects such as a data frame's column may hold, one by one."""
    entries = np.atleast_1d(array).tolist()
    if not all(isinstance(e, str | int | float) and not isinstance(e, bool) for e in entries):
        raise RequestError("numbers in SI, or texts with a unit, belong here")
    numbers = [quantities.read(e, kind) if isinstance(e, str) else float(e) for e in entries]
    return np.array(numbers).reshape(array.shape)


def over_points(given: Mapping[str, tuple[dataclasses.Field, Any]]) -> dict[str, np.ndarray]:
    """Return inputs over points as SI arrays, by address; one length, or one value for all."""
    found = {}
    for address, (item, raw) in given.items():
        kind = item.metadata["kind"]
        try:
            found[address] = si_array(raw, kind)
            if problem := field_problem(item, found[address]):
                raise RequestError(problem)
        except RequestError as error:
            raise RequestError(f"{address}: {error}") from error
    sizes = {address: array.size for address, array in found.items() if array.size > 1}
    if len(set(sizes.values())) > 1:
        told = ", ".join(f"{address} has {size}" for address, size in sizes.items())
        raise RequestError(f"unequal numbers of points: {told}")
    return found
