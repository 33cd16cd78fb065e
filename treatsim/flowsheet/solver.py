"""Find the operating points of a flowsheet, all at once.

Three nested questions, each skipped where it does not arise:
holds (adjust an input until a result equals a value), open flows and parameters (pump against
system), and recycles. A single unknown is bracketed per point; several are found by
quasi-Newton steps with backtracking. Inside a pass every balance of mass, salt, heat and contents
is exact.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.flowsheet.conflict import conflicts
from treatsim.flowsheet.counting import check_count
from treatsim.flowsheet.equations import (
    PRESSURE_SCALE,
    Equations,
    Failure,
    State,
    apart,
    set_unknowns,
)
from treatsim.flowsheet.flowsheet import Flowsheet, Unknown
from treatsim.flowsheet.recycle import Pass, first_guess, less_returned, run
from treatsim.flowsheet.several import find_several
from treatsim.numerics import find_roots

SETTLED = 1e-9  # relative change of what returns, per pass, that is a steady state


class Solved(NamedTuple):
    """The flowsheet with every open value filled in, and what did not work out."""

    sheet: Flowsheet
    last: Pass
    found: dict[str, np.ndarray]  # "unit.field", or "unit" for a source flow -> value
    failures: list[Failure]


def solve(sheet: Flowsheet, points: int, near: State | None = None) -> Solved:
    """Find the open flows and parameters at every operating point, if several with a start near."""
    check_count(sheet)
    equations = Equations(sheet, sheet.unknowns(), points, near)
    unknowns = equations.unknowns
    failures: list[Failure] = []
    x, failed = np.empty((0, points)), np.zeros(points, bool)
    if len(unknowns) == 1:
        x, failed, failures = _one(equations)
    elif unknowns:
        x, failed = find_several(equations)
    filled, done, faults = equations.settled(x)
    failures += faults
    if np.any(failed):
        with np.errstate(all="ignore"):  # the nearest state may be far from sense
            failures += conflicts(equations, x, failed, filled, done)
    failures += _out_of_range(equations, x, failures)
    loose = np.broadcast_to(~(np.asarray(done.recycle_error) <= SETTLED), (points,))
    text = f"the recycle has no steady state: what returns keeps growing; {less_returned(sheet)}"
    failures.append(Failure(loose, text))
    failures.append(Failure(_not_finite(done, points), "no finite answer here"))
    found = dict(zip(equations.names, x, strict=True))
    return Solved(filled, done, found, apart(failures))


def sketch(sheet: Flowsheet) -> Solved:
    """Return one pass through the units at the first guesses: which results there are, unsolved."""
    unknowns = sheet.unknowns()
    x = np.array([[unknown.guess] for unknown in unknowns])
    filled, flows = set_unknowns(sheet, unknowns, x)
    done = run(filled, flows, first_guess(filled, flows))
    found = {f"{u.unit}.{u.field}": v for u, v in zip(unknowns, x, strict=True) if u.field}
    return Solved(filled, done, found, [Failure(np.ones(1, bool), "not solved")])


def _answered(failures: list[Failure], points: int) -> np.ndarray:
    """Points for which no failure is known."""
    good = np.ones(points, bool)
    for failure in failures:
        good &= ~failure.where
    return good


def _out_of_range(equations: Equations, x: Array, failures: list[Failure]) -> list[Failure]:
    """Say where a value that meets all equations is none that its parameter may take."""
    from treatsim.operations.outcome import Value
    from treatsim.operations.parameters import bounds_text

    answered = _answered(failures, equations.points)
    found = []
    for unknown, value in zip(equations.unknowns, x, strict=True):
        item = equations.sheet.units[unknown.unit].parameters_field(unknown.field)
        if item is None:
            continue
        meta, name = item.metadata, f"{unknown.unit}.{unknown.field}"
        beyond = answered & ((value < meta["low"]) | (value > meta["high"]))
        if np.any(beyond):
            text = f"{name} would have to be {{value}}; it lies {bounds_text(meta)}"
            found.append(Failure(beyond, text, {"value": Value(value, meta["kind"])}))
    return found


def _not_finite(done: Pass, points: int) -> np.ndarray:
    """Points at which some stream is not a number."""
    broken = np.zeros(points, bool)
    for stream in done.streams.values():
        total = sum(stream.carried().values())  # finite if every one is: none is near the largest
        broken |= np.broadcast_to(~np.isfinite(total), (points,))
    return broken


def _one(equations: Equations) -> tuple[Array, Flags, list[Failure]]:
    """One unknown: a bracket per point; returns values, where it is missed, and known reasons."""
    (unknown,), points = equations.unknowns, equations.points
    everyone = np.arange(points)
    roots = find_roots(
        lambda x, index: equations([x], index)[0],
        np.full(points, unknown.guess),
        unknown.low,
        unknown.high,
        rtol=1e-13,
        ftol=1e-12,
    )
    failed = ~roots.converged
    failures = []
    if roots.steps == 1:  # met by the first guess: by any other, too?
        idle = equations([np.full(points, 0.1 * unknown.low + 0.9 * unknown.high)], everyone)[0]
        free = np.abs(idle) <= 1e-12
        if np.any(free):
            text = f"any flow into {unknown.unit} meets all equations: nothing loses pressure"
            failures = [Failure(free, text)]
    if np.any(failed):
        idle = equations([np.full(points, unknown.low)], everyone)[0]
        failures += _at_rest(equations.sheet, unknown, failed, idle)
    return np.array([roots.x]), failed, failures


def _at_rest(sheet: Flowsheet, unknown: Unknown, failed: Flags, idle: Array) -> Iterator[Failure]:
    """Tell where the pressure is short even with the water at rest."""
    from treatsim.operations.outcome import Value

    short = failed & (idle <= 0)
    if np.any(short) and not unknown.field:
        end = next((unit for unit, _ in sheet.conditions()), "the end")
        yield Failure(
            short,
            f"nothing flows: with the water at rest the pressure at {end} is "
            "{short} short; raise the pump's speed or lower the lift",
            {"short": Value(-idle * PRESSURE_SCALE, "pressure_difference")},
        )
