"""Why points have no operating point, in words: what conflicts at the nearest state found."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TypeAlias

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.flowsheet.equations import PRESSURE_SCALE, Equations, Failure, residuals
from treatsim.flowsheet.flowsheet import Flowsheet, Unknown
from treatsim.flowsheet.recycle import Pass
from treatsim.operations.outcome import Value
from treatsim.water.stream import Stream

Told: TypeAlias = tuple[str, dict[str, Value]]  # a text, and the values for its {name}
Inlets: TypeAlias = dict[str, Stream]  # by port

AT_LIMIT = 1e-2  # of the range of an open value, from either end


def conflicts(
    equations: Equations, x: Array, failed: Flags, filled: Flowsheet, done: Pass
) -> Iterator[Failure]:
    """Yield the reasons of the `failed` points at the values `x`, the likeliest cause first.

    An open value that ended on a limit comes first; a point without is told by its worst equation,
    which gives way to what stops a unit there. Of several failures of a point the first counts.
    """
    points = equations.points
    missed = np.array(
        [np.broadcast_to(v, (points,)) for v in residuals(filled, done, equations.conditions)]
    )
    worst = np.argmax(np.where(np.isfinite(missed), np.abs(missed), np.inf), axis=0)
    words = [_words(equations, filled, done, n, missed[n]) for n in range(len(missed))]
    for unknown, value in zip(equations.unknowns, x, strict=True):
        margin = AT_LIMIT * (unknown.high - unknown.low)
        ends = {"high": value > unknown.high - margin, "low": value < unknown.low + margin}
        for end, there in ends.items():
            before, after, told = _at_limit(filled, unknown, end)
            for n, (text, values) in enumerate(words):
                where = failed & there & (worst == n)
                # a unit knows better what a flow too large does to it
                whole = f"{before}{text}{after}"
                yield Failure(where, whole, values | told, vague=not unknown.field)
    for n, (text, values) in enumerate(words):
        name = equations.conditions[n][0]
        after = f"; change what is given to {name} or ahead of it"
        whole = f"at the nearest state found, {text}{after}"
        yield Failure(failed & (worst == n), whole, values, vague=True)


def _at_limit(sheet: Flowsheet, unknown: Unknown, end: str) -> tuple[str, str, dict[str, Value]]:
    """Return what to say before and after a conflict when an open value is on its limit."""
    name, limit = unknown.unit, getattr(unknown, end)
    high = end == "high"
    if not unknown.field:
        much = "with {limit}, more than it can pass," if high else "with hardly any water"
        after = "" if high else "; raise the pressure ahead of it or lower the lift"
        return f"{much} into {name}, ", after, {"limit": Value(limit, "flow")}
    if unknown.field == "fraction":
        much = "all" if high else "none"
        return f"even with {much} of the water sent into the branch of {name}, ", "", {}
    item = sheet.units[name].parameters_field(unknown.field)
    kind = item.metadata["kind"] if item is not None else "pressure"
    what = unknown.field.replace("_", " ")
    before = f"{name}: at its {end}est {what} of {{limit}}, "
    given = sheet.units[name].source_flow() is not None
    after = f"; {'lower' if high else 'raise'} {name}.flow" if given else ""
    return before, after, {"limit": Value(limit, kind)}


def _words(equations: Equations, sheet: Flowsheet, done: Pass, number: int, missed: Array) -> Told:
    """Return the two numbers that conflict in one equation, in words."""
    name, condition = equations.conditions[number]
    if not condition:
        pressure = missed * PRESSURE_SCALE
        return f"the water would reach {name} at {{there}}, not at 0 bar", {
            "there": Value(pressure, "pressure")
        }
    unit = sheet.units[name]
    inlets = {port: done.streams[name, port] for port in unit.inlets}
    return EQUATIONS.get(condition, _plain)(name, condition, inlets, missed)


def _displacement(name: str, _: str, inlets: Inlets, missed: Array) -> Told:
    (inlet,) = inlets.values()
    values = {"arrives": inlet.flow, "moved": inlet.flow / (1 + missed)}
    text = f"{{arrives}} would arrive at {name}, which moves {{moved}}"
    return text, {key: Value(value, "flow") for key, value in values.items()}


def _balance(name: str, _: str, inlets: Inlets, missed: Array) -> Told:
    pushing = inlets["high_in"].flow
    text = f"{{pushing}} of concentrate would be left to push {{moved}} through {name}"
    moved = pushing / (1 + missed)
    return text, {"pushing": Value(pushing, "flow"), "moved": Value(moved, "flow")}


def _pressures(name: str, _: str, inlets: Inlets, missed: Array) -> Told:
    values = {port: Value(stream.pressure, "pressure") for port, stream in inlets.items()}
    if len(values) == 1:
        return f"the water would reach {name} at {{{next(iter(values))}}}, not at 0 bar", values
    there = " and ".join(f"{{{port}}} ({port})" for port in values)
    return f"the flows would meet at {name} at {there}", values


def _plain(name: str, condition: str, inlets: Inlets, missed: Array) -> Told:
    text = f"{name} would miss its {condition.replace('_', ' ')} by {{missed}}"
    return text, {"missed": Value(np.abs(missed), "fraction")}


EQUATIONS: dict[str, Callable[[str, str, Inlets, Array], Told]] = {
    "displacement": _displacement,
    "balance": _balance,
    "pressure": _pressures,
    "arrival": _pressures,
}
