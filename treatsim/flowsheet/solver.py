"""Find the operating points of a flowsheet, all at once.

Three nested questions, each skipped where it does not arise:
holds (adjust an input until a result equals a value), open flows and parameters (pump against
system), and recycles. A single unknown is bracketed per point; several are found by Newton steps
with backtracking. Inside a pass every balance of mass, salt, heat and contents is exact.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from treatsim.flowsheet.flowsheet import Flowsheet, Port, Unknown
from treatsim.numerics import find_roots
from treatsim.operations.base import Outcome
from treatsim.water.stream import Stream

RECYCLE_PASSES = 60
FURTHEST = 20.0  # steps that one extrapolation of a recycle may take at once
NEWTON_STEPS = 40
PRESSURE_SCALE = 1e5  # Pa; makes the residual at an open end of order one


class Pass(NamedTuple):
    """One evaluation of all units."""

    streams: dict[Port, Stream]  # by (unit, port), inlets and outlets
    outcomes: dict[str, Outcome]
    recycle_error: np.ndarray | float  # largest relative change at a cut


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


def run(sheet: Flowsheet, flows: dict[str, np.ndarray], start: dict[Port, Stream]) -> Pass:
    """Evaluate the units in order; `flows` are the open source flows, `start` the recycle guess."""
    streams: dict[Port, Stream] = {}
    outcomes: dict[str, Outcome] = {}
    for name in sheet.order:
        unit = sheet.units[name]
        inlets = {}
        for port in unit.inlets:
            here = (name, port)
            if here in sheet.tears:
                inlets[port] = start[here]
            elif here in sheet.wiring.feeds:
                inlets[port] = streams[sheet.wiring.feeds[here]]
            else:
                own = unit.source_flow()
                inlets[port] = sheet.source.with_flow(flows[name] if own is None else own)
            streams[here] = inlets[port]
        outcomes[name] = unit.evaluate(**inlets)
        streams.update({(name, port): s for port, s in outcomes[name].outlets.items()})
    return Pass(streams, outcomes, 0.0)


def evaluate(sheet: Flowsheet, flows, memory: dict[Port, Stream]) -> Pass:
    """Evaluate with every recycle converged. `memory` keeps the recycles for the next call.

    Each pass also follows, as a tracer, which share of a returning stream came from the cut
    itself. With that share frozen the balance of each component is linear and is solved exactly,
    so only the dependence of the units' splits on their feed is iterated.
    """
    if not sheet.tears:
        return run(sheet, flows, {})
    first = next(iter(flows.values()), None)
    for cut in sheet.tears:
        if cut not in memory:
            memory[cut] = _recycle_guess(sheet, first)
    error: np.ndarray | float = np.inf
    before: dict[Port, tuple[dict, dict]] = {}  # what left each cut, and what should have
    for _ in range(RECYCLE_PASSES):
        done = run(sheet, flows, memory)
        now, previous, last = {}, error, before
        error = 0.0
        for cut in sheet.tears:
            returned = done.streams[sheet.wiring.feeds[cut]]
            share = _share(sheet, done, cut, returned)
            now[cut], change = _close(memory[cut], returned, share)
            error = np.maximum(error, change)
        if np.all((error < 1e-13) | ((error < 1e-11) & (error >= previous))):
            break
        before = now
        theta = _extrapolation(last, now)
        for cut, (_, amounts) in now.items():
            returned = done.streams[sheet.wiring.feeds[cut]]
            memory[cut] = _stream_of(returned, _ahead(amounts, last.get(cut), theta))
    return done._replace(recycle_error=error)


def _extrapolation(last: dict, now: dict):
    """Share of the last pass to take away, by the secant through two passes of all cuts."""
    top, bottom = np.zeros(()), np.zeros(())
    for cut in last:
        for component, after in now[cut][1].items():
            scale = np.abs(after) + 1e-300
            miss = (after - now[cut][0][component]) / scale
            fell = miss - (last[cut][1][component] - last[cut][0][component]) / scale
            top, bottom = top + fell * miss, bottom + fell**2
    useful = bottom > 1e-24
    theta = np.divide(top, bottom, out=np.zeros(np.shape(bottom)), where=useful)
    return np.clip(theta, -FURTHEST, 0.9)


def _ahead(amounts: dict, last: tuple[dict, dict] | None, theta) -> dict:
    """Extrapolate the amounts at a cut; where one would turn negative, do not."""
    if last is None:
        return amounts
    far = {c: v - theta * (v - last[1][c]) for c, v in amounts.items()}
    sound = np.all([np.broadcast_to(v >= 0, np.shape(theta)) for v in far.values()], axis=0)
    return {c: np.where(sound & (v > 0), far[c], v) for c, v in amounts.items()}


def _recycle_guess(sheet: Flowsheet, flow) -> Stream:
    known = [unit.source_flow() for unit in sheet.units.values()]
    flow = next((f for f in known if f is not None), flow)
    return sheet.source.with_flow(0.5 * np.asarray(flow))


def _share(sheet: Flowsheet, done: Pass, cut: Port, returned: Stream) -> dict:
    """Share of each carried component of the returning stream that left the cut itself."""
    tracer: dict[Port, dict] = {cut: dict.fromkeys(done.streams[cut].carried(), 1.0)}
    for name in sheet.order:
        unit = sheet.units[name]
        total: dict = {}
        marked: dict = {}
        for port in unit.inlets:
            here = (name, port)
            share = tracer.get(here) or tracer.get(sheet.wiring.feeds.get(here, here), {})
            for component, rate in done.streams[here].carried().items():
                total[component] = total.get(component, 0.0) + rate
                marked[component] = marked.get(component, 0.0) + rate * share.get(component, 0.0)
        if unit.source_flow() is not None and name in sheet.wiring.sources:
            continue
        mix = {
            c: np.divide(
                marked[c],
                total[c],
                out=np.zeros(np.shape(total[c])),
                where=np.asarray(total[c]) != 0,
            )
            for c in total
        }
        tracer.update({(name, port): mix for port in unit.outlets})
    return tracer.get(sheet.wiring.feeds[cut], dict.fromkeys(returned.carried(), 0.0))


def _close(old: Stream, returned: Stream, share: dict) -> tuple[tuple[dict, dict], np.ndarray]:
    """Return the amounts at the cut, those that close the linear balances, and their change."""
    before, after = old.carried(), returned.carried()
    now, new, change = {}, {}, np.zeros(())
    for component in ("mass", "salt", "heat", *returned.contents):
        left, back = np.asarray(before.get(component, 0.0)), np.asarray(after[component])
        phi = np.asarray(share.get(component, 0.0))
        gain = np.divide(
            phi * back, left, out=np.zeros(np.broadcast(phi, back, left).shape), where=left != 0
        )
        gain = np.minimum(gain, 0.999)
        now[component], new[component] = left, (1 - phi) * back / (1 - gain)
        scale = np.maximum(np.abs(new[component]), np.abs(left))
        step = np.divide(
            np.abs(new[component] - left), scale, out=np.zeros(scale.shape), where=scale > 0
        )
        change = np.maximum(change, step)
    return (now, new), change


def _stream_of(returned: Stream, amounts: dict) -> Stream:
    """Return a stream like `returned` that carries the amounts."""
    mass = amounts["mass"]

    def per(total, amount, otherwise):  # a recycle that returns nothing keeps its composition
        amount = np.broadcast_to(amount, np.shape(total))
        return np.where(amount > 0, total / np.where(amount > 0, amount, 1.0), otherwise)

    stream = returned.changed(
        mass_flow=mass,
        salinity=per(amounts["salt"], mass, returned.salinity),
        temperature=per(amounts["heat"], mass, returned.temperature),
    )
    contents = {c: per(amounts[c], stream.flow, v) for c, v in returned.contents.items()}
    return stream.changed(contents=contents)


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
    if np.any(failed):
        idle = residual([np.full(points, unknown.low)], np.arange(points))[0]
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
    low = np.array([u.low for u in unknowns])[:, None]
    high = np.array([u.high for u in unknowns])[:, None]
    x = np.array([np.full(points, u.guess) for u in unknowns])
    everyone = np.arange(points)
    r = residual(list(x), everyone)
    for _ in range(NEWTON_STEPS):
        active = np.flatnonzero(np.max(np.abs(r), axis=0) > 1e-11)
        if active.size == 0:
            break
        x[:, active], r[:, active] = _newton_step(
            residual, x[:, active], r[:, active], active, low, high
        )
    failed = np.max(np.abs(r), axis=0) > 1e-8
    failures = []
    if np.any(failed):
        worst = sheet.conditions()[int(np.argmax(np.abs(r[:, np.argmax(failed)])))]
        where = f"{worst[0]} ({worst[1]})" if worst[1] else f"the end {worst[0]}"
        failures = [
            Failure(
                failed,
                f"no operating point: the pressures or flows at {where} "
                "cannot be brought to balance",
            )
        ]
    return list(x), failures


def _newton_step(residual, x, r, index, low, high):
    n = len(x)
    step = 1e-6 * (high - low)
    jacobian = np.empty((index.size, n, n))
    for j in range(n):
        up = x.copy()
        sign = np.where(x[j] + step[j] > high[j], -1.0, 1.0)
        up[j] += sign * step[j]
        jacobian[:, :, j] = ((residual(list(up), index) - r) / (sign * step[j])).T
    jacobian += 1e-30 * np.eye(n)
    try:
        move = np.linalg.solve(jacobian, -r.T[:, :, None])[:, :, 0].T
    except np.linalg.LinAlgError:
        move = (np.linalg.pinv(jacobian) @ -r.T[:, :, None])[:, :, 0].T
    size = np.max(np.abs(r), axis=0)
    best_x, best_r = x.copy(), r.copy()
    pending = np.ones(index.size, bool)
    share = 1.0
    for _ in range(12):
        trial = np.clip(x + share * move, low + 0.1 * (x - low), high - 0.1 * (high - x))
        trial_r = residual(list(trial), index)
        good = pending & (np.max(np.abs(trial_r), axis=0) < size)
        best_x[:, good], best_r[:, good] = trial[:, good], trial_r[:, good]
        pending &= ~good
        if not np.any(pending):
            break
        share /= 2
    return best_x, best_r
