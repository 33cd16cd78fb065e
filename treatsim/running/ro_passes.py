"""What the start of membranes needs of a case, solved once: its passes, and the salt through them.

A pass is all membranes that water comes to before it has gone through one, or through one only:
side by side, or fed with the concentrate of others, they are one. What the second pass leaves
behind may be led back ahead of the first, and some of the first permeate round the second.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from treatsim.errors import RequestError
from treatsim.flowsheet.wiring import Wiring, reach
from treatsim.running.start_flow import Flows, few_flows
from treatsim.running.start_parameters import StartupParameters, check, needed_of_membranes

NODES = 4  # of the ramp, which is short beside the washing out
THROUGH = "permeate"
ALIKE = 1e-6  # of a flow

Group = tuple[str, ...]  # membranes of one pass


class Pass(NamedTuple):
    """Membranes of one pass, and what a stop does to them."""

    names: Group
    back: float  # flow drawn back when the pressure is gone, m3/s
    ahead: float  # water ahead of them, m3
    behind: float  # water behind them, m3


class Membranes(NamedTuple):
    """What the transient needs of a case, solved once.

    `flows` holds over the share of the dial the product's "flow" and the "feed" of the first pass
    [m3/s], the salt that this brings but for what the second pass returns, "load" [kg/s], and
    "power". Then, as flows of water whose salt comes on [m3/s]: from ahead of the first pass past
    the second into the product, "salt"; and with a second pass its feed "on", from ahead of the
    first into that, "into", of that into the product, "through", and ahead of the first, "return".
    """

    start: StartupParameters
    flows: Flows
    salt: float  # of the product in steady run, kg/m3
    source: float  # ahead of the first pass, kg/m3
    between: float  # ahead of the second pass, kg/m3; 0 if there is none
    passes: tuple[Pass, ...]
    steepest: float  # gain of pressure at the membranes over that of the share of the dial, Pa


def membranes_of(case: Any) -> Membranes:
    """Solve what the transient needs of a case; raises as `membrane_start` does."""
    sheet = case.flowsheet()
    groups = groups_of(sheet.wiring, [n for n, unit in sheet.units.items() if unit.semipermeable])
    start: StartupParameters | None = case.sections.get("startup")
    start = check(start, (), "the start")
    check(start, needed_of_membranes(start, len(groups)), "the start of membranes")
    table = few_flows(case, _wanted(sheet.wiring, groups), NODES)
    _in_line(table, groups)

    def ahead(group: Group) -> float:
        return _at(table, _salt_flow(table.result, _heads(sheet.wiring, group), "feed")
                   / _flow(table.result, _heads(sheet.wiring, group), "feed"))  # fmt: skip

    names = [name for group in groups for name in group]
    return Membranes(
        start,
        table,
        _at(table, table.result.value("product.concentration").value),
        ahead(groups[0]),
        ahead(groups[1]) if len(groups) > 1 else 0.0,
        _passes(table, groups, start),
        max(_steepest(table, name) for name in names),
    )


def groups_of(wiring: Wiring, names: Sequence[str]) -> tuple[Group, ...]:
    """Return the membranes by passes; RequestError if there is none, or more than two."""
    first = set(reach(_without(wiring, names), *wiring.sources))
    groups = [tuple(name for name in names if name in first)]
    later = [name for name in names if name not in first]
    second = set(reach(_without(wiring, later), *wiring.sources))
    groups.append(tuple(name for name in later if name in second))
    rest = [name for name in later if name not in second]
    if not names or rest:
        raise RequestError(
            f"membranes behind two passes ({', '.join(rest)}): the start is told for one pass or "
            "two; by hand lead the product to waste until the conductivity behind each is steady"
        )
    return tuple(group for group in groups if group)


def _without(wiring: Wiring, names: Sequence[str]) -> Wiring:
    """Return a wiring whose membranes let nothing through."""
    cut = {(name, THROUGH) for name in names}
    return wiring._replace(goes={port: to for port, to in wiring.goes.items() if port not in cut})


def _heads(wiring: Wiring, group: Group) -> Group:
    """Return the membranes of a pass that are not fed with the concentrate of others in it."""
    shut = _without(wiring, group)
    fed = {
        name for other in group for name in group if name != other and name in reach(shut, other)
    }
    return tuple(name for name in group if name not in fed) or group


def _in_line(table: Flows, groups: Sequence[Group]) -> None:
    """Refuse water that reaches the product round a pass, or leaves it behind the last."""
    result = table.result
    wiring, end = result.sheet.wiring, result.product_end
    first = groups[0]
    if end is not None and end[0] in reach(wiring, *wiring.sources, round_=first):
        raise RequestError(
            f"water reaches the product round {' and '.join(first)}: the start is told for a "
            "product of which all has passed the membranes"
        )
    if len(groups) > 1:
        flow, made = _at(table, result.value("product.flow").value), _flow(result, groups[1])
        if flow < _at(table, made) * (1 - ALIKE):
            raise RequestError(
                f"permeate of {' and '.join(groups[1])} is led off before the product: the start "
                "is told for a second pass of which all is product"
            )


def _flow(result: Any, names: Group, port: str = THROUGH) -> Any:
    return sum(result.streams[name, port].flow for name in names)


def _salt_flow(result: Any, names: Group, port: str = THROUGH) -> Any:
    streams = [result.streams[name, port] for name in names]
    return sum(stream.flow * stream.concentration for stream in streams)


def _wanted(wiring: Wiring, groups: Sequence[Group]) -> dict[str, Callable[[Any], Any]]:
    """Return how every table of `Membranes` is read of a solved result."""
    first, last = _heads(wiring, groups[0]), groups[1] if len(groups) > 1 else ()
    behind = _heads(wiring, last) if last else ()
    leaves = last[-1] if last and set(first) & set(reach(wiring, last[-1])) else ""

    def drunk(result: Any) -> Any:
        return result.value("product.flow").value * result.value("product.concentration").value

    def ahead(result: Any) -> Any:
        return _salt_flow(result, first, "feed") / _flow(result, first, "feed")

    def between(result: Any) -> Any:
        return _salt_flow(result, behind, "feed") / _flow(result, behind, "feed")

    def returned(result: Any) -> Any:
        return _salt_flow(result, (leaves,), "concentrate") if leaves else 0.0

    found: dict[str, Callable[[Any], Any]] = {
        "flow": lambda result: result.value("product.flow").value,
        "feed": lambda result: _flow(result, first, "feed"),
        "load": lambda result: _salt_flow(result, first, "feed") - returned(result),
        "power": lambda result: sum(d.power for d in result.all_details.values()),
        "salt": lambda result: (drunk(result) - _salt_flow(result, last)) / ahead(result),
    }
    if last:
        found |= {
            "on": lambda result: _flow(result, behind, "feed"),
            "into": lambda result: _salt_flow(result, behind, "feed") / ahead(result),
            "through": lambda result: _salt_flow(result, last) / between(result),
            "return": lambda result: returned(result) / between(result),
        }
    return found


def _at(table: Flows, value: Any) -> float:
    """Return a solved result at the case's own dial."""
    points = (table.result.points,)
    return float(np.broadcast_to(np.asarray(value, float), points)[table.here])


def _passes(table: Flows, groups: Sequence[Group], start: StartupParameters) -> tuple[Pass, ...]:
    fed, made = start.feed_volume or 0.0, start.permeate_volume or 0.0
    volumes = [fed, made] if len(groups) == 1 else [fed, start.between_volume or 0.0, made]
    return tuple(
        Pass(group, sum(_drawn(table, name) for name in group), *volumes[number : number + 2])
        for number, group in enumerate(groups)
    )


def _drawn(table: Flows, name: str) -> float:
    """Return the flow that osmosis draws back through membranes without pressure. [m3/s]"""
    result, details = table.result, table.result.details(name).values
    area = _at(table, result.streams[name, THROUGH].flow) / _at(table, details["flux_mean"].value)
    draws = _at(table, result.streams[name, "concentrate"].osmotic_pressure)
    return _at(table, details["water_permeability"].value) * area * draws


def _steepest(table: Flows, name: str) -> float:
    """Return the largest gain of pressure over that of the share of the dial. [Pa]"""
    pressures = np.asarray(table.result.streams[name, "feed"].pressure)[-table.shares.size :]
    return float(np.max(np.diff(pressures, prepend=0.0) / np.diff(table.shares, prepend=0.0)))
