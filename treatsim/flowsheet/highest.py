"""What no pressure balances at an exchanger is known before any search.

Pumps of stated flows feed vessels whose concentrate drives an exchanger; only the permeate can
leave. The most permeate there can be is that of source water at the highest pressure the pumps may
take, for what returns makes the feed saltier. Where even that leaves too much concentrate, no
pressure meets the equations, and one march has said so. Nor does any where all of the feed would
not be enough, because more leaks than the pumps bring.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, Flags, Index
from treatsim.errors import DomainError
from treatsim.flowsheet.equations import Equations, defined, residuals, set_unknowns
from treatsim.flowsheet.flowsheet import Flowsheet, Port
from treatsim.flowsheet.newton import quasi_newton, size
from treatsim.flowsheet.open_recycles import OpenRecycles
from treatsim.flowsheet.recycle import run
from treatsim.flowsheet.wiring import reach
from treatsim.numerics import find_roots
from treatsim.water.stream import Stream

SURPLUS = 1e-4  # of concentrate, relative; above what a march is exact to
GUESS = 0.45  # of the highest pressure
ROUGH = 1e-2  # of a first guess, relative
STEPS = 8  # to the state at an end of the pressures


class Driven(NamedTuple):
    """An exchanger, and what stands between it and the pumps that decide its flows."""

    exchanger: str
    inside: tuple[str, ...]  # in order
    pumps: tuple[str, ...]  # of stated flow, at the head of these
    pushed: str  # pump behind the exchanger


def known_before(equations: Equations, x: Array) -> Flags:
    """Return the points that no pressure balances; puts what is known of the answer into `x`.

    Flows are those at which the pumps displace what they state. Where an answer may be, an open
    pressure is that at which source water alone would be balanced; elsewhere it is the state at the
    pressure that comes nearest, the highest or the lowest.
    """
    out = np.zeros(equations.points, bool)
    everyone = np.arange(out.size)
    x[:] = _flows(equations, x, everyone)
    for driven in _driven(equations.sheet):
        rows = _pressure_rows(equations, driven)
        if not rows:  # nothing to be moved
            continue
        own = [equations.unknowns[row] for row in rows]
        ends = min(u.low for u in own), max(u.high for u in own)
        least, most = (
            _surplus(equations, driven, np.full(out.shape, end), everyone) for end in ends
        )
        for end, beyond in zip(ends, (least < -SURPLUS, most > SURPLUS), strict=True):
            new = np.flatnonzero(~out & beyond)
            if new.size:
                x[:, new] = _state(equations, driven, x[:, new], new, end)
            out[new] = True
        within = np.flatnonzero(~out & (least > 0) & (most < 0))
        if within.size:
            pressure = _balancing(equations, driven, within, ends, (least - most)[within])
            for row in rows:
                x[row, within] = pressure
            _remember(equations, driven, pressure, within)
    return out


def _pressure_rows(equations: Equations, driven: Driven) -> list[int]:
    """Return the positions of the pressures of its pumps among the open values."""
    return [
        i
        for i, u in enumerate(equations.unknowns)
        if u.field == "outlet_pressure" and u.unit in driven.pumps
    ]


def _balancing(
    equations: Equations, driven: Driven, index: Index, ends: tuple[float, float], fall: Array
) -> Array:
    """Return the pressure at which feed of source water leaves what is to be pushed.

    `fall` is by how much the surplus falls from the lowest pressure to the highest.
    """
    return find_roots(
        lambda pressure, part: _surplus(equations, driven, pressure, index[part]),
        np.full(index.size, GUESS * ends[1]),
        *ends,
        rtol=ROUGH,
        ftol=ROUGH * fall,
    ).x


def _driven(sheet: Flowsheet) -> Iterator[Driven]:
    """Yield the exchangers whose flows stated pumps decide, fed by the source's water alone."""
    for name in sheet.order:
        if "balance" not in sheet.units[name].condition_names():
            continue
        behind = sheet.wiring.goes[name, "high_out"]
        found = _between(sheet, (name, "high_in"))
        if found is None or len(behind) != 2 or sheet.units[behind[0]].source_flow() is None:
            continue
        inside, pumps = found
        ahead = {unit for pump in pumps for unit in _upstream(sheet, pump)} - set(inside)
        if any("permeate" in sheet.units[unit].outlets for unit in ahead):
            continue  # the feed may be thinner than the source's water
        side = {to[0] for unit in inside for to in _goes(sheet, unit) if to[0] not in inside}
        if {*pumps, *inside} & {*reach(sheet.wiring, *side, round_={name})}:
            continue  # so it may with permeate that returns
        yield Driven(name, tuple(n for n in sheet.order if n in inside), tuple(pumps), behind[0])


def _between(sheet: Flowsheet, inlet: Port) -> tuple[set[str], list[str]] | None:
    """Return the units ahead of an inlet and the pumps of stated flow ahead of these."""
    inside: set[str] = set()
    pumps: list[str] = []
    todo = [inlet]
    while todo:
        feeding = sheet.wiring.feeds.get(todo.pop())
        if feeding is None or feeding[0] == inlet[0]:
            return None
        unit = sheet.units[feeding[0]]
        if unit.source_flow() is not None:
            slips = getattr(unit.parameters, "volumetric_efficiency", None) is not None
            if slips or not hasattr(unit.parameters, "outlet_pressure"):
                return None
            pumps += [unit.name] * (unit.name not in pumps)
        elif unit.name not in inside:
            inside.add(unit.name)
            todo += [(unit.name, port) for port in unit.inlets]
    return inside, pumps


def _goes(sheet: Flowsheet, unit: str) -> Iterator[tuple]:
    for port in sheet.units[unit].outlets:
        to = sheet.wiring.goes.get((unit, port), ())
        if len(to) == 2:
            yield to


def _upstream(sheet: Flowsheet, unit: str) -> set[str]:
    found: set[str] = set()
    todo = [unit]
    while todo:
        name = todo.pop()
        feeding = (sheet.wiring.feeds.get((name, port)) for port in sheet.units[name].inlets)
        new = {port[0] for port in feeding if port is not None} - found
        found |= new
        todo += new
    return found


def _surplus(equations: Equations, driven: Driven, pressure: Array, index: Index) -> Array:
    """Return the concentrate left over where source water is fed, relative to what it pushes."""
    sheet = equations.part(index)
    unit = sheet.units[driven.exchanger]
    try:
        inlets = {
            "high_in": _pushing(sheet, driven, pressure),
            "low_in": _fed(sheet, driven.pushed, index.size),
        }
        missed = unit.conditions(inlets, unit.evaluate(**inlets).outlets)["balance"]
    except DomainError:  # the search tells
        return np.full(index.shape, np.nan)
    return np.broadcast_to(missed, index.shape)


def _pushing(sheet: Flowsheet, driven: Driven, pressure: Array) -> Stream:
    """Return the concentrate that reaches the exchanger where source water is fed."""
    streams: dict[Port, Stream] = {
        (pump, sheet.units[pump].outlets[0]): _fed(sheet, pump, pressure.size).changed(
            pressure=pressure
        )
        for pump in driven.pumps
    }
    for name in driven.inside:
        unit = sheet.units[name]
        inlets = {p: streams[sheet.wiring.feeds[name, p]] for p in unit.inlets}
        found = unit.evaluate(**inlets).outlets
        streams.update({(name, p): stream for p, stream in found.items()})
    return streams[sheet.wiring.feeds[driven.exchanger, "high_in"]]


def _fed(sheet: Flowsheet, pump: str, points: int) -> Stream:
    """Return source water at the flow that a pump states."""
    return sheet.source.with_flow(np.broadcast_to(sheet.units[pump].source_flow(), (points,)))


def _remember(equations: Equations, driven: Driven, pressure: Array, index: Index) -> None:
    """Let the recycle into the exchanger start from the concentrate at these pressures."""
    cut = (driven.exchanger, "high_in")
    if cut in equations.sheet.tears:
        with contextlib.suppress(DomainError):
            returned = _pushing(equations.part(index), driven, pressure)
            equations.remember({cut: returned}, index)


def _flows(equations: Equations, x: Array, index: Index) -> Array:
    """Return the open values with flows and shares at which the pumps displace what they state.

    That asks for no vessel: what returns is held as it is known.
    """
    unknowns = equations.unknowns
    asked = [c for c in equations.conditions if c[1] == "displacement"]
    rows = [i for i, u in enumerate(unknowns) if u.field != "outlet_pressure"]
    if not rows or len(asked) != len(rows):
        return x
    sheet = equations.part(index)
    needed = sheet.ahead_of(asked, closed=False)
    returned = {cut: stream.take(index) for cut, stream in equations.memory.items()}

    def missed(values: Array, part: Index) -> Array:
        whole = x[:, part].copy()
        whole[rows] = values
        some = equations.part(index[part])
        filled, flows = set_unknowns(some, unknowns, whole)
        back = {cut: stream.take(part) for cut, stream in returned.items()}
        met = residuals(filled, run(filled, flows, back, needed), asked)
        return np.array([np.broadcast_to(row, part.shape) for row in met])

    low, high = (
        np.tile(np.array([[getattr(unknowns[i], end)] for i in rows]), index.size)
        for end in ("low", "high")
    )
    found, left = quasi_newton(defined(missed), low, high, x[rows], np.arange(index.size), STEPS)
    x[rows] = np.where(size(left) < ROUGH, found, x[rows])
    return x


def _state(equations: Equations, driven: Driven, x: Array, index: Index, pressure: float) -> Array:
    """Return the open values at a pressure, all equations but the balance met."""
    unknowns = equations.unknowns
    rows = _pressure_rows(equations, driven)
    fixed = rows[0]
    x[rows] = pressure
    opened = OpenRecycles(equations, x, index)
    left_out = equations.conditions.index((driven.exchanger, "balance"))
    least, most = opened.limits()

    def whole(values: Array) -> Array:
        return np.insert(values, fixed, pressure, axis=0)

    def rest(values: Array, part: Index) -> Array:
        return np.delete(opened(whole(values), part), left_out, axis=0)

    bounds = [np.array([getattr(u, end) for u in unknowns]) for end in ("low", "high")]
    low, high = (
        np.delete(np.concatenate([np.tile(own[:, None], index.size), ends]), fixed, axis=0)
        for own, ends in zip(bounds, (least, most), strict=True)
    )
    start = np.delete(np.concatenate([x, opened.first]), fixed, axis=0)
    found, _ = quasi_newton(defined(rest), low, high, start, np.arange(index.size), STEPS)
    opened.keep(whole(found), np.arange(index.size))
    return whole(found)[: len(x)]
