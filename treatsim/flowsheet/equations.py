"""What the open values of a flowsheet have to meet, with every recycle closed inside."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple, TypeAlias

import numpy as np

from treatsim.arrays import Array, Flags, Index
from treatsim.errors import DomainError
from treatsim.flowsheet.flowsheet import Flowsheet, Port, Unknown
from treatsim.flowsheet.recycle import Pass, evaluate, first_guess, merged
from treatsim.operations.outcome import Finding, Value
from treatsim.water.stream import Stream

SHOWN = {"Pa": "pressure", "m3/s": "flow", "K": "temperature", "J/m2": "dose"}
Open: TypeAlias = Array | Sequence[Array]  # open values: one row for each unknown

PRESSURE_SCALE = 1e5  # Pa; makes the residual at an open end of order one


@dataclass(frozen=True)
class Failure:
    """Points without an operating point, and why."""

    where: Flags
    reason: str
    values: dict = field(default_factory=dict)  # name -> Value, for the reason's {name}
    vague: bool = False  # gives way to what a unit says of the same point


class State(NamedTuple):
    """Where a search may begin: open values by address, NaN where none is known, and the cuts."""

    values: dict[str, Array]
    cuts: dict[Port, Stream]

    def take(self, index: Index) -> State:
        """Return the points `index` only."""
        values = {name: value[index] for name, value in self.values.items()}
        return State(values, {cut: stream.take(index) for cut, stream in self.cuts.items()})


def apart(failures: list[Failure]) -> list[Failure]:
    """Return failures that share no point: each point keeps the first reason given for it."""
    found: list[Failure] = []
    for failure in failures:
        where = failure.where
        for earlier in found:
            where = where & ~earlier.where
        if np.any(where):
            found.append(replace(failure, where=where))
    return found


def impossible(error: DomainError) -> tuple[str, dict[str, Value]]:
    """Return what a formula was given, led by the unit it was given to, and the numbers in it."""
    place = f"{error.place}: " if error.place else ""
    given = error.given
    kind = SHOWN.get(given.unit) if given else None
    if given is None or kind is None:
        return place + str(error).replace("{", "(").replace("}", ")"), {}
    names = iter(("{value}", "{low}", "{high}"))
    numbers = {"value": given.value, "low": given.low, "high": given.high}
    text = place + given.words(lambda _: next(names))
    return text, {name: Value(number, kind) for name, number in numbers.items()}


def residuals(sheet: Flowsheet, done: Pass, conditions: list[tuple[str, str]]) -> list:
    """Return the residual of every condition, in order.

    `conditions` are those of the sheet before its unknowns were filled in: which equations hold
    depends on what was left open.
    """
    values = []
    for name, condition in conditions:
        if condition:
            unit = sheet.units[name]
            inlets = {port: done.streams[name, port] for port in unit.inlets}
            values.append(unit.conditions(inlets, done.outcomes[name].outlets)[condition])
        else:
            values.append(done.streams[sheet.wiring.ends[name]].pressure / PRESSURE_SCALE)
    return values


def set_unknowns(sheet: Flowsheet, unknowns: list[Unknown], x: Open) -> tuple[Flowsheet, dict]:
    """Put values for the unknowns into the flowsheet; returns it and the source flows."""
    flows = {}
    for unknown, value in zip(unknowns, x, strict=True):
        if unknown.field:
            sheet = sheet.with_trial(unknown.unit, **{unknown.field: value})
        else:
            flows[unknown.unit] = value
    return sheet, flows


class Equations:
    """The residuals over the unknowns; what returned last is where the next recycle starts."""

    def __init__(
        self, sheet: Flowsheet, unknowns: list[Unknown], points: int, near: State | None = None
    ) -> None:
        self.sheet, self.unknowns, self.points = sheet, unknowns, points
        self.conditions = sheet.conditions()
        flows = {u.unit: np.asarray(u.guess) for u in unknowns if not u.field}
        self.memory = first_guess(sheet, flows)  # at every cut, for all points
        self._part: tuple[bytes, Flowsheet] = b"", sheet  # the points asked for last
        self.needed = sheet.ahead_of(self.conditions)  # what lies behind does not matter to them
        self.names = [f"{u.unit}.{u.field}" if u.field else u.unit for u in unknowns]
        self.start = np.full(
            (len(unknowns), points), np.nan
        )  # open values that are known of before
        if near:
            self._begin(near)
        with contextlib.suppress(DomainError):  # told where the water is first asked for
            _ = sheet.source.viscosity  # worked out once, for every trial

    def _begin(self, near: State) -> None:
        """Start from a state of before where there is one."""
        self.start = np.array([near.values[name] for name in self.names]).reshape(self.start.shape)
        known = np.flatnonzero(np.all(np.isfinite(self.start), axis=0))
        self.remember({cut: stream.take(known) for cut, stream in near.cuts.items()}, known)

    def __call__(self, x: Open, index: Index) -> Array:
        """Return the residuals at the points `index`, shape (equations, points)."""
        if self.points == 1:
            x = [row[0] for row in x]  # a number is quicker than an array of one
        filled, flows = set_unknowns(self.part(index), self.unknowns, x)
        memory = {cut: stream.take(index) for cut, stream in self.memory.items()}
        done = evaluate(filled, flows, memory, only=self.needed)
        self.remember(memory, index)
        values = residuals(filled, done, self.conditions)
        return np.array([np.broadcast_to(v, index.shape) for v in values])

    def part(self, index: Index) -> Flowsheet:
        """Return the flowsheet at the points `index`."""
        if index.size == self.points:
            return self.sheet
        if self._part[0] != index.tobytes():
            self._part = index.tobytes(), self.sheet.take(index)
        return self._part[1]

    def remember(self, streams: dict[Port, Stream], index: Index) -> None:
        """Let the recycles at the points `index` start from these streams the next time."""
        for cut, stream in streams.items():
            self.memory[cut] = merged(self.memory[cut], stream, index, self.points)

    def settled(self, x: Array) -> tuple[Flowsheet, Pass, list[Failure]]:
        """Return the flowsheet with the values `x` filled in, its streams, and failures.

        A point that cannot even be computed fails and shows another point's streams. Where no
        point can be computed, the error is raised.
        """
        everyone = np.arange(self.points)
        try:
            return *self._whole(x, everyone), []
        except DomainError:
            faults = dict(self._faults(x, everyone))
            if len(faults) == self.points:
                text, values = impossible(faults[0])
                raise DomainError(Finding(True, text, values).message()) from faults[0]
        bad = np.isin(everyone, list(faults))
        return *self._whole(x, np.where(bad, np.argmin(bad), everyone)), self._failures(faults)

    def _failures(self, faults: dict[int, DomainError]) -> list[Failure]:
        """Return what cannot be computed, points with the same words and bounds together."""
        groups: dict[tuple, list] = {}
        for point, fault in faults.items():
            text, values = impossible(fault)
            bounds = tuple(values[n].value for n in ("low", "high") if values)
            groups.setdefault((text, bounds), []).append((point, values))
        found = []
        for (text, _), told in groups.items():
            where, numbers = np.zeros(self.points, bool), np.zeros(self.points)
            where[[point for point, _ in told]] = True
            values = dict(told[0][1])
            for point, own in told if values else ():
                numbers[point] = own["value"].value
            if values:
                values["value"] = values["value"]._replace(value=numbers)
            found.append(Failure(where, text, values))
        return found

    def _faults(self, x: Array, index: Index) -> Iterator[tuple[int, DomainError]]:
        """Yield the points that cannot be computed, each with the reason."""
        try:
            self._whole(x, index)
        except DomainError as error:
            if index.size == 1:
                yield int(index[0]), error
                return
            half = index.size // 2
            yield from self._faults(x, index[:half])
            yield from self._faults(x, index[half:])

    def _whole(self, x: Array, shown: Index) -> tuple[Flowsheet, Pass]:
        """Return the flowsheet at the points `shown`, and the streams of all its units."""
        same = np.array_equal(shown, np.arange(self.points))
        sheet = self.sheet if same else self.sheet.take(shown)
        memory = {cut: stream.take(shown) for cut, stream in self.memory.items()}
        filled, flows = set_unknowns(sheet, self.unknowns, x[:, shown])
        return filled, evaluate(filled, flows, memory)


def defined(function: Callable[[Array, Index], Array]) -> Callable[[Array, Index], Array]:
    """Return a function of (x, index) that is NaN at the points where it raises DomainError."""

    def guarded(x: Array, index: Index) -> Array:
        try:
            return function(x, index)
        except DomainError:
            if index.size == 1:
                return np.full((len(x), 1), np.nan)
            half = index.size // 2
            parts = (slice(None, half), slice(half, None))
            return np.concatenate([guarded(x[:, p], index[p]) for p in parts], axis=1)

    return guarded
