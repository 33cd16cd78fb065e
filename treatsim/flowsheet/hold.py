"""Holds: adjust an input until a result equals a value, at every operating point."""

from __future__ import annotations

import dataclasses
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.flowsheet.equations import Failure
from treatsim.flowsheet.flowsheet import Flowsheet
from treatsim.flowsheet.result import Context, Result
from treatsim.flowsheet.solver import solve
from treatsim.numerics import find_roots
from treatsim.operations.outcome import Value

HOLD_TOLERANCE = 1e-10


class Hold(NamedTuple):
    """Adjust the input `adjust` until the result `until` equals `equals`."""

    adjust: str
    until: str
    equals: float | str  # SI, or text with a unit
    place: str = ""  # where it was asked, such as "case.toml:31: "


def operate(
    sheet: Flowsheet,
    points: int = 1,
    holds: tuple[Hold, ...] = (),
    context: Context | None = None,
) -> Result:
    """Solve a flowsheet with its holds and return the result at every point.

    Every hold is bracketed per point; several are solved one inside the other, the first
    outermost.
    """
    if not holds:
        with np.errstate(all="ignore"):  # trial points may overflow; what stays so is reported
            return Result(solve(sheet, points), points, context)
    hold, rest = holds[0], holds[1:]
    unit, field = _input(sheet, hold.adjust)
    guess, low, high = _span(sheet, unit, field, points)
    start = operate(sheet, points, rest)
    try:
        kind = start.value(hold.until).quantity
    except RequestError as error:
        raise RequestError(f"{hold.place}hold.until: {error}") from error
    target = _target(hold, kind)
    scale = abs(target) or 1.0

    def residual(x, index):
        try:
            return missing(x, index)
        except RequestError:  # some trial value does not fit the other parameters of the unit
            if index.size == 1:
                return np.full(1, np.nan)
            half = index.size // 2
            return np.concatenate(
                [residual(x[:half], index[:half]), residual(x[half:], index[half:])]
            )

    def missing(x, index):
        part = sheet.take(index) if index.size != points else sheet
        result = operate(part.with_parameters(unit, **{field: x}), index.size, rest)
        value = np.broadcast_to(np.asarray(result.value(hold.until).value, float), index.shape)
        failed = np.zeros(index.size, bool)
        for failure in result.failures:
            failed |= np.broadcast_to(failure.where, index.shape)
        return np.where(failed, np.nan, value / scale - target / scale)

    roots = find_roots(residual, guess, low, high, rtol=1e-12, ftol=HOLD_TOLERANCE)
    result = operate(sheet.with_parameters(unit, **{field: roots.x}), points, rest, context)
    result.found[hold.adjust] = roots.x
    missed = ~roots.converged
    if np.any(missed):
        reached = np.where(np.isfinite(roots.residual), roots.residual * scale + target, 0.0)
        values = {
            "wanted": Value(target, kind),
            "reached": Value(reached, kind),
            "at": Value(roots.x, _declared(sheet, unit, field).metadata["kind"]),
        }
        result.failures.insert(0, _failure(hold, missed, values))
    return result


def _target(hold: Hold, kind: str) -> float:
    if not isinstance(hold.equals, str):
        return float(hold.equals)
    try:
        return quantities.read(hold.equals, kind)
    except RequestError as error:
        raise RequestError(f'{hold.place}hold.equals = "{hold.equals}": {error}') from error


def _failure(hold: Hold, missed, values) -> Failure:
    return Failure(
        missed,
        f"{hold.until} = {{wanted}} cannot be reached by {hold.adjust}: the "
        "nearest is {reached}, at {at}",
        values,
    )


def _input(sheet: Flowsheet, address: str) -> tuple[str, str]:
    unit, _, field = address.partition(".")
    if unit not in sheet.units:
        raise RequestError(f'hold.adjust = "{address}": no unit "{unit}"')
    item = sheet.units[unit].parameters_field(field)
    if item is None or item.metadata["kind"] in ("choice", "text", "count"):
        raise RequestError(f'hold.adjust = "{address}": no number "{field}" of {unit} to adjust')
    return unit, field


def _declared(sheet: Flowsheet, unit: str, field: str) -> dataclasses.Field:
    """Return the declaration of an input that `_input` has found."""
    return next(f for f in dataclasses.fields(sheet.units[unit].parameters) if f.name == field)


def _span(sheet: Flowsheet, unit: str, field: str, points: int):
    """First guess and hard bounds of an input."""
    parameters = sheet.units[unit].parameters
    meta = _declared(sheet, unit, field).metadata
    now = getattr(parameters, field)
    if now is None:
        raise RequestError(f"hold.adjust: {unit}.{field} needs a value to start from")
    guess = np.broadcast_to(np.asarray(now, float), (points,)).copy()
    low, high = max(meta["low"], -1e12), meta["high"]
    if not np.isfinite(high):
        high = 100 * np.max(np.abs(guess)) + 1e-12
    if meta["low"] >= 0:
        low = max(low, 1e-9 * high)
    return guess, low, high
