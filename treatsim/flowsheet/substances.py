"""Dissolved substances along the links: what of each reaches which port.

A substance too thin to change flows or pressures is carried by the solved streams. Units mix and
share it out; a membrane lets a stated share pass. With those shares frozen the balance is linear,
so what comes back in a recycle is solved for, not iterated.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import Port
from treatsim.numerics import extrapolated

ROUNDS = 30  # in which passages that depend on the composition of the feed settle
DEPTH = 2  # past rounds that a next one is extrapolated from
SETTLED = 1e-10  # relative change of a concentration

# of one membrane unit: its name and what its feed holds -> what passes, over the feed;
# of one that doses: what it adds, per volume of water; what is left out is nothing
Asked = Callable[[str, Mapping[str, Any]], Mapping[str, Any]]


class Followed(NamedTuple):
    """Concentrations at every port, and how far they are from settled at every point."""

    ports: dict[Port, dict[str, Any]]  # kg/m3
    change: Array  # largest relative change of the last round; up to SETTLED where all is settled


def _nothing(name: str, feed: Mapping[str, Any]) -> Mapping[str, Any]:
    return {}


def follow(
    result: Result, source: Mapping[str, Any], passing: Asked, adding: Asked = _nothing
) -> Followed:
    """Return the concentration of every substance at every port of a solved flowsheet.

    `source` holds the concentrations at every source [kg/m3]; `passing` is asked for each unit
    that divides by a membrane, `adding` for each that doses. The balance of each unit closes by
    volume flow.
    """
    names, units = tuple(source), result.sheet.units
    start = _stacked(source, names, result.points)
    asked = {n: passing for n, unit in units.items() if unit.semipermeable}
    asked |= {n: adding for n, unit in units.items() if unit.adds_dissolved}
    feeds = dict.fromkeys(asked, start)
    content: dict[Port, np.ndarray] = {}
    told: dict[str, np.ndarray] = {}
    stale = set(asked)
    change = np.zeros(result.points)
    history: list[tuple[Array, Array]] = []  # what units were asked about, and what came of it
    for _ in range(ROUNDS):
        told |= {
            name: _stacked(asked[name](name, dict(zip(names, feeds[name], strict=True))), names,
                           result.points)
            for name in stale
        }  # fmt: skip
        shares = {name: rows for name, rows in told.items() if units[name].semipermeable}
        gains = {name: rows for name, rows in told.items() if units[name].adds_dissolved}
        content = _balanced(result, start, shares, gains)
        now = {name: content[name, units[name].inlets[0]] for name in asked}
        change = _change(now, feeds, result.points)
        if not np.any(change > SETTLED):
            break
        before, after = (np.concatenate([*held.values()]) for held in (feeds, now))
        history = [(before, after), *history[:DEPTH]]
        ahead = np.split(extrapolated(history), len(asked))
        stale = {n for n, rows in zip(asked, ahead, strict=True) if _moved(rows, feeds[n])}
        feeds = dict(zip(asked, ahead, strict=True))
    ports = {port: dict(zip(names, rows, strict=True)) for port, rows in content.items()}
    return Followed(ports, change)


def _change(now: Mapping[str, Array], before: Mapping[str, Array], points: int) -> Array:
    """Return the largest relative change of any feed; what is no number does not count."""
    found = np.zeros(points)
    for name, rows in now.items():
        moved = np.abs(rows - before[name]) / (np.abs(rows) + 1e-300)
        found = np.fmax(found, np.fmax.reduce(moved, axis=0, initial=0.0))
    return found


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
    echo = np.where(result.solved, echo, 0.0)  # where nothing is solved all may come back
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
