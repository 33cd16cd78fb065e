"""The ways of the water from source to product valve: one line, or lights side by side.

Water that has parted comes together again at different times. What is bad counts from the first
moment at which any of it can have come, what is good from the last at which all of it has.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from treatsim.errors import RequestError
from treatsim.flowsheet.wiring import Wiring, reach

ALIKE = 1e-6  # of a flow: the same water
SOURCE = ""  # stands for the source among what feeds a unit
WHOLE = "flow"  # name of the product's flow among the tables

Moved = Callable[[float, float, str], float]  # time, volume and name of a flow -> time


class Ways(NamedTuple):
    """Units between source and product, upstream first, with what stands in them."""

    fed: Mapping[str, tuple[str, ...]]  # unit -> units whose water comes to it
    pipes: Mapping[str, float]  # water in hoses, but for those that the hold-up counts, m3
    flows: Mapping[str, str]  # hose or light -> name of its flow
    last: str  # unit that the product leaves


def arrivals(
    ways: Ways, begin: Mapping[str, float], held: Mapping[str, float], moved: Moved,
    pick: Callable[[Sequence[float]], float],
) -> dict[str, float]:  # fmt: skip
    """Return when water comes out of every unit that it comes to. [s]

    begin: unit -> time at which it leaves there; held: unit -> water it has to push out [m3]; pick:
    `min` for the first of it, `max` for the last.
    """
    times = dict(begin)
    for unit, feeding in ways.fed.items():
        came = [times[name] for name in feeding if name in times]
        if unit not in begin and came:
            times[unit] = moved(pick(came), held.get(unit, 0.0), ways.flows.get(unit, WHOLE))
    return times


def comes_to(ways: Ways, unit: str, times: Mapping[str, float], pick: Callable) -> float:
    """Return when water of `arrivals` comes to a unit. [s]"""
    return pick([times[name] for name in ways.fed[unit] if name in times])


def ends_of(wiring: Wiring, lights: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the lights that have none ahead of them, and those that have none behind."""
    later = {name: set(reach(wiring, name)) & set(lights) - {name} for name in lights}
    behind = set().union(*later.values())
    return (
        tuple(name for name in lights if name not in behind),
        tuple(name for name in lights if not later[name]),
    )


def check_ways(result: Any, lights: Sequence[str]) -> None:
    """Refuse water that reaches the product round the lights, or is added or led off between."""
    wiring, end = result.sheet.wiring, result.product_end
    ends = ends_of(wiring, lights)
    for group in ends:
        if end is not None and end[0] in reach(wiring, *wiring.sources, round_=group):
            raise RequestError(
                f"water reaches the product round {' and '.join(group)}, which no start makes fit "
                "to drink: the start is told for a product of which all has passed a light"
            )
    first, last = (sum(result.streams[name, "inlet"].flow for name in group) for group in ends)
    if not np.allclose(first, last, rtol=ALIKE, atol=0.0):
        raise RequestError(
            f"between {' and '.join(ends[0])} and {' and '.join(ends[1])} water is added or led "
            "off: the start is told for reactors that pass the same water"
        )


def ways_of(result: Any, lights: Sequence[str]) -> Ways:
    """Return the ways of a solved case whose lights `check_ways` has let pass."""
    sheet, end = result.sheet, result.product_end
    wiring, last = sheet.wiring, lights[-1] if end is None else end[0]
    between = set(reach(wiring, *wiring.sources)) & _towards(wiring, last)
    order = [name for name in sheet.order if name in between]
    lit = {name for name in order if set(reach(wiring, name)) & set(lights)}
    fed: dict[str, tuple[str, ...]] = {}
    for name in order:
        ports = [(name, port) for port in sheet.units[name].inlets]
        sources = (SOURCE,) if name in wiring.sources else ()
        feeding = (wiring.feeds[port][0] for port in ports if port in wiring.feeds)
        fed[name] = (*sources, *(unit for unit in feeding if unit in fed))
    pipes = {
        name: float(np.pi / 4 * np.ravel(pipe[1])[0] ** 2 * np.ravel(pipe[0])[0])
        for name in order
        if (pipe := sheet.units[name].pipe())
        and (name in lit or last in reach(wiring, *wiring.sources, round_=(name,)))
    }
    whole = sum(result.streams[name, "inlet"].flow for name in ends_of(wiring, lights)[1])
    flows = {
        name: WHOLE
        if np.allclose(result.streams[name, "inlet"].flow, whole, rtol=ALIKE, atol=0.0)
        else flow_of(name)
        for name in (*pipes, *lights)
    }
    return Ways(fed, pipes, flows, last)


def flow_of(unit: str) -> str:
    """Return the name of a unit's flow among the tables."""
    return f"{unit}.inlet.flow"


def _towards(wiring: Wiring, last: str) -> set[str]:
    """Return the units whose water can come to `last`, itself included."""
    seen, todo = set(), [last]
    while todo:
        name = todo.pop()
        if name not in seen:
            seen.add(name)
            todo += [unit for (to, _), (unit, _) in wiring.feeds.items() if to == name]
    return seen
