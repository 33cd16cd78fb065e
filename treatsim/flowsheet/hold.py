"""Holds: adjust an input until a result equals a value, at every operating point."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from difflib import get_close_matches
from fnmatch import fnmatch
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array, Index
from treatsim.errors import DomainError, RequestError
from treatsim.flowsheet.equations import Failure, State, apart
from treatsim.flowsheet.flowsheet import Flowsheet
from treatsim.flowsheet.nearby import Nearby
from treatsim.flowsheet.nearest import look_around
from treatsim.flowsheet.result import Context, Result
from treatsim.flowsheet.solver import sketch, solve
from treatsim.numerics import MAX_STEPS, find_roots
from treatsim.operations.outcome import Value
from treatsim.operations.parameters import bounds_text

SOUGHT = 1e-10  # relative miss at which the search ends
MET = 1e-7  # relative miss beyond which a hold is not met
GAPS = 3  # trials that do not run, from which on all the range is looked over together
MISSPELT = 0.9  # likeness of an address to a known one
BESIDE = ("product", "health", "analytes")  # results of no unit that the judging tells
Look = Callable[[Result, str], Value]


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
    look: Look | None = None,
) -> Result:
    """Solve a flowsheet with its holds and return the result at every point.

    Every hold is bracketed per point; several are solved one inside the other, the first
    outermost. A point at which a hold is missed by more than MET has no answer. `look` finds what
    no unit tells, such as a pH or a saturation.
    """
    return _operate(sheet, points, holds, context, closely=True, look=look)


def _operate(
    sheet: Flowsheet,
    points: int,
    holds: tuple[Hold, ...],
    context: Context | None = None,
    closely: bool = False,
    look: Look | None = None,
    near: State | None = None,
) -> Result:
    """Solve; what a missed hold comes nearest to is only looked for `closely` if it is told."""
    if not holds:
        with np.errstate(all="ignore"):  # trial points may overflow; what stays so is reported
            return Result(solve(sheet, points, near), points, context)
    hold, rest = holds[0], holds[1:]
    search = _Search(sheet, points, hold, rest, context if look else None, look)
    x = search.run(closely)
    changed = sheet.with_parameters(search.unit, **{search.field: x})
    near = None if rest else search.nearby.state
    result = _operate(changed, points, rest, context, closely, look, near)
    return result.held({hold.adjust: x}, _misses(result, search, x))


def check_hold(sheet: Flowsheet, hold: Hold) -> None:
    """Raise RequestError for a hold of no result, or at a value its quantity cannot have.

    The result is looked up in one pass through the units at first guesses; nothing is solved. Where
    not even that can be computed, or the judging alone knows it, the solve tells.
    """
    try:
        with np.errstate(all="ignore"):
            drawn = Result(sketch(sheet), 1)
            found = drawn.value(hold.until)
    except DomainError:
        return
    except RequestError as error:
        owner, _, key = hold.until.partition(".")
        told = sheet.units[owner].results if owner in sheet.units else {}
        beside = owner in BESIDE and not get_close_matches(
            hold.until, drawn.values, cutoff=MISSPELT
        )
        if beside or any(fnmatch(key, pattern) for pattern in told):
            return
        raise RequestError(f"hold.until: {error}") from error
    _target(hold._replace(place=""), found.quantity)


class _Search:
    """The search for the setting that meets one hold, the holds inside met at each trial."""

    def __init__(
        self,
        sheet: Flowsheet,
        points: int,
        hold: Hold,
        rest: tuple[Hold, ...],
        context: Context | None,
        look: Look | None,
    ) -> None:
        self.sheet, self.points, self.hold, self.rest = sheet, points, hold, rest
        self.context, self.look = context, look
        self.nearby = Nearby(points)
        self.judged = False  # whether the judging alone knows the result
        self.unit, self.field = _input(sheet, hold.adjust)
        self.guess, self.low, self.high = _span(sheet, self.unit, self.field, points)
        found = self._first(_operate(sheet, points, rest, context, look=look))
        self.kind = found.quantity
        self.target = _target(hold, found.quantity)
        size = np.abs(np.broadcast_to(np.asarray(found.value, float), (points,)))
        usual = np.where(np.isfinite(size) & (size > 0), size, 1.0)  # of a value to become zero
        self.scale = np.full(points, abs(self.target)) if self.target else usual

    def _first(self, start: Result) -> Value:
        """Return the result at the first guess, and find out who knows it."""
        try:
            return start.value(self.hold.until)
        except RequestError as error:
            problem = error
        self.judged = self.look is not None and bool(start.solved.any())
        try:
            return self.value(start) if self.judged else start.value(self.hold.until)
        except RequestError as error:
            guess = "" if start.solved.any() else "; nothing runs at the first guess"
            raise RequestError(f"{self.hold.place}hold.until: {error}{guess}") from problem

    def value(self, result: Result) -> Value:
        """Return what is held, of a result."""
        if self.judged and self.look is not None:
            return self.look(result, self.hold.until)
        return result.value(self.hold.until)

    def run(self, closely: bool) -> Array:
        """Return the setting that meets the hold at every point, else the nearest."""
        patience = GAPS if closely else MAX_STEPS
        span = self.guess, self.low, self.high
        roots = find_roots(self.miss, *span, rtol=1e-12, ftol=SOUGHT, patience=patience)
        x, miss = roots.x, roots.residual
        missed = np.flatnonzero(~(np.abs(miss) <= MET))
        if missed.size:
            ends = np.array([x, miss, self.guess])[:, missed]
            x[missed] = look_around(self.miss, missed, ends, (self.low, self.high), SOUGHT, closely)
        return x

    def miss(self, x: Array, index: Index) -> Array:
        """Return by how much the hold is missed at the points `index`, NaN where nothing runs."""
        try:
            result = self._tried(x, index)
        except RequestError:  # some trial value does not fit the other parameters of the unit
            if index.size == 1:
                return np.full(1, np.nan)
            half = index.size // 2
            parts = slice(None, half), slice(half, None)
            return np.concatenate([self.miss(x[part], index[part]) for part in parts])
        whole = index if result.points == index.size else np.arange(self.points)
        miss = np.where(result.solved, self.miss_of(result, whole), np.nan)
        self.nearby.keep(result, whole, miss)
        return miss if whole is index else miss[index]

    def miss_of(self, result: Result, index: Index) -> Array:
        """Return by how much a result misses the hold, relative."""
        if self.judged and not result.solved.any():
            return np.full(index.shape, np.nan)
        value = np.broadcast_to(np.asarray(self.value(result).value, float), index.shape)
        return value / self.scale[index] - self.target / self.scale[index]

    def _tried(self, x: Array, index: Index) -> Result:
        if self.judged:  # the case's tables are judged with, and may differ from point to point
            whole = self.guess.copy()
            whole[index] = x
            changed = self.sheet.with_parameters(self.unit, **{self.field: whole})
            return self._operated(changed, np.arange(self.points))
        everyone = index.size == self.points and np.array_equal(index, np.arange(self.points))
        part = self.sheet if everyone else self.sheet.take(index)
        changed = part.with_parameters(self.unit, **{self.field: x})
        return self._operated(changed, index)

    def _operated(self, sheet: Flowsheet, index: Index) -> Result:
        near = None if self.rest else self.nearby.take(index)
        return _operate(sheet, index.size, self.rest, self.context, look=self.look, near=near)


def _misses(result: Result, search: _Search, x: Array) -> list[Failure] | None:
    """Return why points have no answer where the hold is missed; None where it is met at all."""
    hold, points = search.hold, search.points
    answered = result.solved
    miss = search.miss_of(result, np.arange(points))
    missed = ~answered | ~(np.abs(miss) <= MET)
    if not np.any(missed):
        return None
    kind = _declared(search.sheet, search.unit, search.field).metadata["kind"]
    told = {"wanted": Value(search.target, search.kind), "at": Value(x, kind)}
    reached = {"reached": Value(search.target + miss * search.scale, search.kind)}
    words = f"{hold.until} = {{wanted}} cannot be reached by {hold.adjust}: "
    nearest = words + "the nearest is {reached}, at {at}"
    nothing = words + "no setting of it tried has an operating point; at {at} "
    causes = [
        Failure(np.broadcast_to(b.where, (points,)), nothing + b.reason, {**b.values, **told})
        for b in result.blocks
    ]
    return apart([*causes, Failure(missed & answered, nearest, told | reached)])


def _target(hold: Hold, kind: str) -> float:
    """Return what is to be held, a value that its quantity may have. [SI]"""
    place = f'{hold.place}hold.equals = "{hold.equals}"'
    try:
        given = hold.equals
        value = quantities.read(given, kind) if isinstance(given, str) else float(given)
    except RequestError as error:
        raise RequestError(f"{place}: {error}") from error
    bounds = quantities.QUANTITIES[kind]
    if not np.isfinite(value):
        raise RequestError(f"{place}: no number that {hold.until} could have")
    if not bounds.low <= value <= bounds.high:
        meta = {"kind": kind, "low": bounds.low, "high": bounds.high, "open_low": False}
        raise RequestError(f"{place}: {hold.until} lies {bounds_text(meta)}")
    return value


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


def _span(sheet: Flowsheet, unit: str, field: str, points: int) -> tuple[Array, float, float]:
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
    if meta["low"] >= 0:  # a trial below what anything measures would fit no unit
        least, _ = quantities.SIZES.get(meta["kind"], quantities.ANY_SIZE)
        low = max(low, 1e-9 * high, least)
    return guess, low, high
