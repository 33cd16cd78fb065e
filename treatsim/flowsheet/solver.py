"""Find the operating points of a flowsheet, all at once.

Three nested questions, each skipped where it does not arise:
holds (adjust an input until a result equals a value), open flows and parameters (pump against
system), and recycles. A single unknown is bracketed per point; several are found by
quasi-Newton steps with backtracking. Inside a pass every balance of mass, salt, heat and contents
is exact.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from treatsim.flowsheet.flowsheet import Flowsheet, Port, Unknown
from treatsim.flowsheet.recycle import Pass, evaluate
from treatsim.numerics import find_roots
from treatsim.water.stream import Stream

NEWTON_STEPS = 40
DIFFERENCE = 1e-6  # of an unknown's range, for difference quotients
SLOW = 0.5  # a step that leaves more of the residual asks for a new Jacobian
HALVINGS = 12
OTHER_STARTS = (0.45, 0.15)  # shares of a pressure's range to start from where the guess failed
CLOSE, SOLVED = 1e-11, 1e-8  # residual to aim for, and the one that is still an answer
PRESSURE_SCALE = 1e5  # Pa; makes the residual at an open end of order one


class Solved(NamedTuple):
    """The flowsheet with every open value filled in, and what did not work out."""

    sheet: Flowsheet
    last: Pass
    found: dict[str, np.ndarray]  # "unit.field", or "unit" for a source flow -> value
    failures: list[Failure]


@dataclass(frozen=True)
class Failure:
    """Points without an operating point, and why."""

    where: np.ndarray  # bool over points
    reason: str
    values: dict = field(default_factory=dict)  # name -> Value, for the reason's {name}


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


def set_unknowns(sheet: Flowsheet, unknowns: list[Unknown], x) -> tuple[Flowsheet, dict]:
    """Put values for the unknowns into the flowsheet; returns it and the source flows."""
    flows = {}
    for unknown, value in zip(unknowns, x, strict=True):
        if unknown.field:
            sheet = sheet.with_parameters(unknown.unit, **{unknown.field: value})
        else:
            flows[unknown.unit] = value
    return sheet, flows


def solve(sheet: Flowsheet, points: int) -> Solved:
    """Find the open flows and parameters at every operating point."""
    sheet.check_count()
    unknowns = sheet.unknowns()
    memory: dict[Port, Stream] = {}
    failures: list[Failure] = []
    if not unknowns:
        done = evaluate(sheet, {}, memory)
        found: dict[str, np.ndarray] = {}
    else:
        finder = _one if len(unknowns) == 1 else _several
        x, failures = finder(sheet, unknowns, points)
        found = {
            f"{u.unit}.{u.field}" if u.field else u.unit: v
            for u, v in zip(unknowns, x, strict=True)
        }
        sheet, flows = set_unknowns(sheet, unknowns, x)
        done = evaluate(sheet, flows, memory)
    loose = np.broadcast_to(np.asarray(done.recycle_error) > 1e-9, (points,))
    if np.any(loose):
        failures.append(
            Failure(
                loose,
                "the recycle has no steady state: what returns keeps "
                "growing; return less of it or let more out",
            )
        )
    broken = _not_finite(done, points)
    if np.any(broken):
        failures.append(Failure(broken, "no finite answer here"))
    return Solved(sheet, done, found, failures)


def _not_finite(done: Pass, points: int) -> np.ndarray:
    """Points at which some stream is not a number."""
    broken = np.zeros(points, bool)
    for stream in done.streams.values():
        for rate in stream.carried().values():
            broken |= np.broadcast_to(~np.isfinite(rate), (points,))
    return broken


def _residual_of(sheet: Flowsheet, unknowns, points) -> Callable:
    """Return residuals(x, index) -> array (equations, points), re-using recycles between calls."""
    cache: dict[bytes, tuple[Flowsheet, dict]] = {}
    conditions = sheet.conditions()

    def function(x, index):
        key = index.tobytes()
        if key not in cache:
            cache.clear()
            cache[key] = (sheet if index.size == points else sheet.take(index)), {}
        part, memory = cache[key]
        filled, flows = set_unknowns(part, unknowns, x)
        values = residuals(filled, evaluate(filled, flows, memory), conditions)
        return np.array([np.broadcast_to(v, index.shape) for v in values])

    return function


def _one(sheet: Flowsheet, unknowns: list[Unknown], points: int):
    """One unknown: a bracket per point."""
    unknown = unknowns[0]
    residual = _residual_of(sheet, unknowns, points)
    everyone = np.arange(points)
    roots = find_roots(
        lambda x, index: residual([x], index)[0],
        np.full(points, unknown.guess),
        unknown.low,
        unknown.high,
        rtol=1e-13,
        ftol=1e-12,
    )
    failed = ~roots.converged
    failures = []
    if roots.steps == 1:  # met by the first guess: by any other, too?
        idle = residual([np.full(points, 0.1 * unknown.low + 0.9 * unknown.high)], everyone)[0]
        free = np.abs(idle) <= 1e-12
        if np.any(free):
            text = f"any flow into {unknown.unit} meets all equations: nothing loses pressure"
            failures = [Failure(free, text)]
    if np.any(failed):
        idle = residual([np.full(points, unknown.low)], everyone)[0]
        failures = list(_why(sheet, unknown, failed, idle))
    return [roots.x], failures


def _why(sheet: Flowsheet, unknown: Unknown, failed, idle):
    """Explain in words why there is no operating point."""
    from treatsim.operations.base import Value

    short = failed & (idle <= 0)
    if np.any(short) and not unknown.field:
        end = next((unit for unit, _ in sheet.conditions()), "the end")
        yield Failure(
            short,
            f"nothing flows: with the water at rest the pressure at {end} is "
            "{short} short; raise the pump's speed or lower the lift",
            {"short": Value(-idle * PRESSURE_SCALE, "pressure_difference")},
        )
    rest = failed & ~(short if not unknown.field else np.zeros_like(short))
    if np.any(rest):
        what = f"{unknown.unit}.{unknown.field}" if unknown.field else f"flow into {unknown.unit}"
        yield Failure(
            rest,
            f"no value of {what} meets all equations; "
            "even at its limit the pressures do not balance",
        )


def _several(sheet: Flowsheet, unknowns: list[Unknown], points: int):
    """Several unknowns: Newton with a difference Jacobian and backtracking, all points at once."""
    residual = _residual_of(sheet, unknowns, points)
    x, r = _newton(residual, unknowns, _start(unknowns, points), np.arange(points))
    for share in OTHER_STARTS:
        index = np.flatnonzero(_size(r) > SOLVED)
        if index.size == 0:
            break
        again, left = _newton(residual, unknowns, _start(unknowns, index.size, share), index)
        better = _size(left) < _size(r[:, index])
        x[:, index[better]], r[:, index[better]] = again[:, better], left[:, better]
    failed = _size(r) > SOLVED
    failures = []
    if np.any(failed):
        worst = sheet.conditions()[int(np.argmax(np.abs(r[:, np.argmax(failed)])))]
        where = f"{worst[0]} ({worst[1]})" if worst[1] else f"the end {worst[0]}"
        failures = [
            Failure(
                failed,
                f"the pressures or flows at {where} cannot be brought to balance",
            )
        ]
    return list(x), failures


def _start(unknowns: list[Unknown], points: int, share: float | None = None):
    """First guesses; `share` puts every open pressure at that share of its range."""
    values = [
        u.guess
        if share is None or u.field != "outlet_pressure"
        else u.low + share * (u.high - u.low)
        for u in unknowns
    ]
    return np.array([np.full(points, value) for value in values])


def _size(r):
    return np.max(np.where(np.isfinite(r), np.abs(r), np.inf), axis=0)


def _newton(residual, unknowns: list[Unknown], x, index):
    """Quasi-Newton steps at the points `index` until each is solved or stands still.

    The difference Jacobian is taken once and then updated by Broyden's rule; it is taken anew when
    a step gains less than SLOW. A point stands still if a new Jacobian does not help it.
    """
    low = np.array([u.low for u in unknowns])[:, None]
    high = np.array([u.high for u in unknowns])[:, None]
    r = residual(list(x), index)
    jacobian = np.empty((index.size, len(x), len(x)))  # per share of each unknown's range
    moving, anew = np.ones(index.size, bool), True
    for _ in range(NEWTON_STEPS):
        active = np.flatnonzero(moving & (_size(r) > CLOSE))
        if active.size == 0:
            break
        here, before = (x[:, active], r[:, active], index[active]), _size(r[:, active])
        if anew:
            jacobian[active] = _jacobian(residual, *here, low, high)
        x[:, active], r[:, active] = _step(residual, *here, jacobian[active], low, high)
        after = _size(r[:, active])
        if anew:
            moving[active] = after < before
        shift = ((x[:, active] - here[0]) / (high - low)).T
        jacobian[active] = _updated(jacobian[active], shift, (r[:, active] - here[1]).T)
        anew = bool(np.any(moving[active] & (after > np.maximum(SLOW * before, CLOSE))))
    return x, r


def _jacobian(residual, x, r, index, low, high):
    """Difference quotients of all residuals, shape (points, equations, unknowns)."""
    found = np.empty((index.size, len(x), len(x)))
    for j in range(len(x)):
        up = x.copy()
        sign = np.where(x[j] + DIFFERENCE * (high[j] - low[j]) > high[j], -1.0, 1.0)
        up[j] += sign * DIFFERENCE * (high[j] - low[j])
        found[:, :, j] = ((residual(list(up), index) - r) / (sign * DIFFERENCE)).T
    return found


def _updated(jacobian, shift, change):
    """Broyden's update: the least change of the Jacobian that explains the last step."""
    length = np.sum(shift**2, axis=1)[:, None, None]
    miss = change - np.einsum("pij,pj->pi", jacobian, shift)
    update = miss[:, :, None] * shift[:, None, :]
    return jacobian + np.divide(update, length, out=np.zeros_like(update), where=length > 0)


def _step(residual, x, r, index, jacobian, low, high):
    """The step of a Jacobian, halved until the residual falls; what does not fall stays."""
    steady = jacobian + 1e-30 * np.eye(len(x))
    try:
        move = np.linalg.solve(steady, -r.T[:, :, None])[:, :, 0].T * (high - low)
    except np.linalg.LinAlgError:
        move = (np.linalg.pinv(steady) @ -r.T[:, :, None])[:, :, 0].T * (high - low)
    size = _size(r)
    best_x, best_r = x.copy(), r.copy()
    pending = np.ones(index.size, bool)
    share = 1.0
    for _ in range(HALVINGS):
        trial = np.clip(x + share * move, low + 0.1 * (x - low), high - 0.1 * (high - x))
        trial_r = residual(list(trial), index)
        good = pending & (_size(trial_r) < size)
        best_x[:, good], best_r[:, good] = trial[:, good], trial_r[:, good]
        pending &= ~good
        if not np.any(pending):
            break
        share /= 2
    return best_x, best_r
