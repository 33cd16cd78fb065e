"""Dissolved substances along the links: what of each reaches which port.

A substance too thin to change flows or pressures is carried by the solved streams. Units mix and
share it out; a membrane lets a stated share pass. With those shares frozen the balance is linear,
so what comes back in a recycle is solved for, not iterated.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import Port

ROUNDS = 30  # in which passages that depend on the composition of the feed settle
SETTLED = 1e-10  # relative change of a concentration
NEAR = 0.1  # relative change below which steps tell where they lead
STEADY = 0.7  # most that a step is taken to be of the one before

# of one membrane unit: its name and what its feed holds -> what passes, over the feed;
# of one that doses: what it adds, per volume of water; what is left out is nothing
Asked = Callable[[str, Mapping[str, Any]], Mapping[str, Any]]


def _nothing(name: str, feed: Mapping[str, Any]) -> Mapping[str, Any]:
    return {}


def follow(
    result: Result, source: Mapping[str, Any], passing: Asked, adding: Asked = _nothing
) -> dict[Port, dict[str, Any]]:
    """Return the concentration of every substance at every port of a solved flowsheet.

    `source` holds the concentrations at every source [kg/m3]; `passing` is asked for each unit
    that divides by a membrane, `adding` for each that doses. The balance of each unit closes by
    volume flow.
    """
    names, units = tuple(source), result.sheet.units
    start = _stacked(source, names, result.points)
    asked = {n: passing for n, unit in units.items() if unit.semipermeable}
    asked |= {n: adding for n, unit in units.items() if unit.adds_dissolved}
    told: dict[str, np.ndarray] = {}

    def ask(name: str, feed: Array) -> None:
        held = dict(zip(names, feed, strict=True))
        told[name] = _stacked(asked[name](name, held), names, result.points)

    def carry() -> dict[Port, np.ndarray]:
        shares = {name: rows for name, rows in told.items() if units[name].semipermeable}
        gains = {name: rows for name, rows in told.items() if units[name].adds_dissolved}
        return _balanced(result, start, shares, gains)

    for name in asked:
        ask(name, start)
    content, used = carry(), dict.fromkeys(asked, start)
    before: dict[str, np.ndarray] = {}
    for _ in range(ROUNDS):
        now = {n: content[n, units[n].inlets[0]] for n in asked}
        stale = [n for n in result.sheet.order if n in asked and _moved(now[n], used[n])]
        if not stale:
            break
        first, step = stale[0], now[stale[0]] - used[stale[0]]
        leap = _ahead(now[first], step, before[first]) if first in before else None
        before = {first: step} if leap is None else {}  # a step after a leap is of another course
        for name in stale:  # each with what those before it have made of the water
            feed = content[name, units[name].inlets[0]]
            used[name] = feed + leap if name == first and leap is not None else feed
            ask(name, used[name])
            content = carry()
    return {port: dict(zip(names, rows, strict=True)) for port, rows in content.items()}


def _ahead(now: Array, step: Array, before: Array) -> Array:
    """Return how far a feed has still to go if its steps go on shrinking as they do (Aitken)."""
    small = (np.abs(step) < np.abs(before)) & (np.abs(step) < NEAR * np.abs(now))
    ratio = np.clip(step / np.where(small, before, 1.0), -STEADY, STEADY)
    return np.where(small, step * ratio / (1 - ratio), 0.0)


def _moved(now: Array, before: Array) -> bool:
    """Whether a feed is not yet settled; points without a number do not count."""
    return bool(np.any(np.abs(now - before) > SETTLED * np.abs(now)))


def _stacked(values: Mapping[str, Any], names: tuple[str, ...], points: int) -> np.ndarray:
    """One row for each substance, one column for each point."""
    rows = [np.broadcast_to(np.asarray(values.get(name, 0.0), float), (points,)) for name in names]
    return np.array(rows).reshape(len(names), points)


def _balanced(
    result: Result, source: Array, shares: Mapping[str, Array], gains: Mapping[str, Array]
) -> dict[Port, Array]:
    """Close the balance of what comes back at the cuts: each cut's own echo is linear in it."""
    tears = result.sheet.tears
    nothing = np.zeros_like(source)
    base = _carried(result, source, shares, dict.fromkeys(tears, nothing), gains)
    if not tears:
        return base
    back = [result.sheet.wiring.feeds[cut] for cut in tears]
    echoes = [
        _carried(result, nothing, shares,
                 dict.fromkeys(tears, nothing) | {cut: np.ones_like(source)}, {})
        for cut in tears
    ]  # fmt: skip
    echo = np.array([[e[port] for e in echoes] for port in back])  # (to, from, substance, point)
    matrix = np.eye(len(tears)) - np.moveaxis(echo, (0, 1), (2, 3))
    right = np.moveaxis(np.array([base[port] for port in back]), 0, -1)[..., None]
    at_cuts = np.moveaxis(np.linalg.solve(matrix, right)[..., 0], -1, 0)
    return _carried(result, source, shares, dict(zip(tears, at_cuts, strict=True)), gains)


def _carried(
    result: Result,
    source: Array,
    shares: Mapping[str, Array],
    cuts: Mapping[Port, Array],
    gains: Mapping[str, Array],
) -> dict[Port, Array]:
    """Carry the substances once through all units, in order of calculation."""
    sheet, streams = result.sheet, result.streams
    found: dict[Port, Array] = {}
    for name in sheet.order:
        unit = sheet.units[name]
        for port in unit.inlets:
            here = (name, port)
            feeding = sheet.wiring.feeds.get(here)
            if here in cuts:
                found[here] = cuts[here]
            else:
                found[here] = source if feeding is None else found[feeding]
        inlets, outlets = (
            {port: streams[name, port].flow for port in ports}
            for ports in (unit.inlets, unit.outlets)
        )
        holds = {port: found[name, port] for port in unit.inlets}
        leaving = unit.dissolved(inlets, outlets, holds, shares.get(name))
        gain = gains.get(name, 0.0)
        found.update({(name, port): rows + gain for port, rows in leaving.items()})
    return found
