"""Evaluate the units in order, with every recycle converged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike, Index
from treatsim.errors import DomainError
from treatsim.flowsheet.flowsheet import Flowsheet, Port
from treatsim.numerics import extrapolated
from treatsim.operations.outcome import Outcome
from treatsim.water.stream import Stream

RECYCLE_PASSES = 60
PRESSURE_SCALE = 1e5  # Pa; below it a change of pressure counts as absolute
DEPTH = 2  # past passes that an extrapolation looks at
LARGEST_RETURN = 0.999  # share of what leaves a cut that comes back to it


class Pass(NamedTuple):
    """One evaluation of all units."""

    streams: dict[Port, Stream]  # by (unit, port), inlets and outlets
    outcomes: dict[str, Outcome]
    recycle_error: np.ndarray | float  # largest relative change at a cut


def run(
    sheet: Flowsheet,
    flows: Mapping[str, ArrayLike],
    start: dict[Port, Stream],
    only: frozenset[str] | None = None,
) -> Pass:
    """Evaluate the units in order; `flows` are the open source flows, `start` the recycle guess.

    `only` are the units that matter, all of those upstream of them among them; None means all.
    """
    streams: dict[Port, Stream] = {}
    outcomes: dict[str, Outcome] = {}
    for name in sheet.order:
        if only is not None and name not in only:
            continue
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
        try:
            outcomes[name] = unit.evaluate(**inlets)
        except DomainError as error:
            error.place = name
            raise
        streams.update({(name, port): s for port, s in outcomes[name].outlets.items()})
    return Pass(streams, outcomes, 0.0)


def evaluate(
    sheet: Flowsheet,
    flows: Mapping[str, ArrayLike],
    memory: dict[Port, Stream],
    passes: int = RECYCLE_PASSES,
    only: frozenset[str] | None = None,
) -> Pass:
    """Evaluate with every recycle converged. `memory` keeps the recycles for the next call.

    `only` as for `run`; the units on a recycle must be among them.

    Each pass also follows, as a tracer, which share of a returning stream came from the cut
    itself. With that share frozen the balance of each component is linear and is solved exactly,
    so only the dependence of the units' splits on their feed is iterated.
    """
    if not sheet.tears:
        return run(sheet, flows, {}, only)
    memory.update(first_guess(sheet, flows) | memory)
    error: np.ndarray | float = np.inf
    endless: np.ndarray | bool = False
    settled: np.ndarray | bool = False
    history: list[tuple[Array, Array]] = []  # what left the cuts, and should have
    for _ in range(passes):
        done = run(sheet, flows, memory, only)
        now: dict[Port, tuple[dict, dict]] = {}
        previous, error, endless = error, 0.0, False
        for cut in sheet.tears:
            now[cut], change, kept = _close(sheet, done, cut)
            endless = endless | kept
            error = np.maximum(error, change)
        settled = settled | (error < 1e-13) | ((error < 1e-11) & (error >= previous))
        if np.all(settled):  # each at some pass: round-off moves them by turns
            break
        history = [_stacked(now), *history[:DEPTH]]
        ahead = iter(extrapolated(history))
        for cut, (_, new) in now.items():
            returned = done.streams[sheet.wiring.feeds[cut]]
            memory[cut] = _stream_of(returned, {component: next(ahead) for component in new})
    return done._replace(recycle_error=np.where(endless, np.inf, error))


def merged(whole: Stream, part: Stream, index: Index, points: int) -> Stream:
    """Put the points `index` into those of all; what is no number leaves the old state."""
    state = (part.mass_flow, part.pressure, part.temperature, part.salinity)
    sound = np.isfinite(sum(state) + sum(part.contents.values()))  # also false for inf - inf

    def put(old: ArrayLike, new: ArrayLike) -> Array:
        full = np.array(np.broadcast_to(old, (points,)), float)
        full[index] = np.where(sound, new, full[index])
        return full

    return whole.changed(
        mass_flow=put(whole.mass_flow, part.mass_flow),
        pressure=put(whole.pressure, part.pressure),
        temperature=put(whole.temperature, part.temperature),
        salinity=put(whole.salinity, part.salinity),
        contents={c: put(whole.contents.get(c, 0.0), v) for c, v in part.contents.items()},
    )


def _stacked(amounts: dict[Port, tuple[dict, dict]]) -> tuple[Array, Array]:
    """Return what left the cuts and what should have, one row for each component of each."""
    left, due = ([v for pair in amounts.values() for v in pair[side].values()] for side in (0, 1))
    both = np.array(np.broadcast_arrays(*left, *due))
    return both[: len(left)], both[len(left) :]


def less_returned(sheet: Flowsheet) -> str:
    """Return what to do about a recycle that returns too much, with the keys that share flows."""
    shares = [
        n for n, u in sheet.units.items() if getattr(u.parameters, "fraction", None) is not None
    ]
    keys = f" ({', '.join(f'{name}.fraction' for name in shares)})" if shares else ""
    return f"return less of it{keys} or let more out"


def first_guess(sheet: Flowsheet, flows: Mapping[str, ArrayLike]) -> dict[Port, Stream]:
    """Return a stream for every cut to start from: source water, half of what is taken in."""
    known = [unit.source_flow() for unit in sheet.units.values()]
    flow = next((f for f in (*known, *flows.values()) if f is not None), None)
    return {cut: sheet.source.with_flow(0.5 * np.asarray(flow)) for cut in sheet.tears}


def _share(sheet: Flowsheet, done: Pass, cut: Port, returned: Stream) -> dict:
    """Share of each carried component of the returning stream that left the cut itself."""
    tracer: dict[Port, dict] = {cut: dict.fromkeys(done.streams[cut].carried(), 1.0)}
    for name in done.outcomes:
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
                out=np.zeros(np.broadcast(marked[c], total[c]).shape),
                where=np.asarray(total[c]) != 0,
            )
            for c in total
        }
        tracer.update({(name, port): mix for port in unit.outlets})
    return tracer.get(sheet.wiring.feeds[cut], dict.fromkeys(returned.carried(), 0.0))


def balanced(sheet: Flowsheet, done: Pass, cut: Port) -> Stream:
    """Return what closes the balances of a cut as long as the units split as they did."""
    (_, new), _, _ = _close(sheet, done, cut)
    return _stream_of(done.streams[sheet.wiring.feeds[cut]], new)


def _close(sheet: Flowsheet, done: Pass, cut: Port) -> Any:
    """Return the amounts at the cut with those that close the linear balances, and their change.

    Last, where so much of a component comes back that what was found closes no balance.
    """
    old, returned = done.streams[cut], done.streams[sheet.wiring.feeds[cut]]
    share = _share(sheet, done, cut, returned)
    before, after = old.carried(), returned.carried()
    now, new, change, endless = {}, {}, np.zeros(()), np.zeros((), bool)
    for component in ("mass", "salt", "heat", *returned.contents):
        left, back = np.asarray(before.get(component, 0.0)), np.asarray(after[component])
        phi = np.asarray(share.get(component, 0.0))
        gain = np.divide(
            phi * back, left, out=np.zeros(np.broadcast(phi, back, left).shape), where=left != 0
        )
        endless = endless | (gain > LARGEST_RETURN)
        gain = np.minimum(gain, LARGEST_RETURN)
        now[component], new[component] = left, (1 - phi) * back / (1 - gain)
        scale = np.maximum(np.abs(new[component]), np.abs(left))
        step = np.divide(
            np.abs(new[component] - left), scale, out=np.zeros(scale.shape), where=scale > 0
        )
        change = np.maximum(change, step)
    step = np.abs(returned.pressure - np.asarray(old.pressure))
    change = np.maximum(change, step / (PRESSURE_SCALE + np.abs(returned.pressure)))
    return (now, new), change, endless


def _stream_of(returned: Stream, amounts: dict) -> Stream:
    """Return a stream like `returned` that carries the amounts."""
    mass = amounts["mass"]

    # a recycle that returns nothing keeps its composition
    def per(total: ArrayLike, amount: ArrayLike, otherwise: ArrayLike) -> Array:
        amount = np.broadcast_to(amount, np.shape(total))
        return np.where(amount > 0, total / np.where(amount > 0, amount, 1.0), otherwise)

    stream = returned.changed(
        mass_flow=mass,
        salinity=per(amounts["salt"], mass, returned.salinity),
        temperature=per(amounts["heat"], mass, returned.temperature),
    )
    contents = {c: per(amounts[c], stream.flow, v) for c, v in returned.contents.items()}
    return stream.changed(contents=contents)
