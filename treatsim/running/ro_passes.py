"""What the start of membranes needs of a case, solved once: its passes, and the salt through them.

A pass is all membranes that water comes to before it has gone through one, or through one only:
side by side, or fed with the concentrate of others, they are one. There may be any number of
passes: what one leaves behind may be led back ahead of any, and some permeate round the next.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.flowsheet.wiring import Wiring, reach
from treatsim.running.start_flow import Flows, few_flows
from treatsim.running.start_parameters import StartupParameters, check, needed_of_membranes

NODES = 4  # of the ramp, which is short beside the washing out
THROUGH = "permeate"
ALIKE = 1e-6  # of a flow
ROUNDS = 2  # along the line: once more for what is led back
LEAST = 1e-30  # kg/s of salt that has an origin

Group = tuple[str, ...]  # membranes of one pass


class Pass(NamedTuple):
    """Membranes of one pass, and what a stop does to them."""

    names: Group
    back: float  # flow drawn back when the pressure is gone, m3/s
    ahead: float  # water ahead of them, m3
    behind: float  # water behind them, m3


class Membranes(NamedTuple):
    """What the transient needs of a case, solved once.

    `flows` holds over the share of the dial the product's "flow" and the "feed 0" of the first
    pass, "feed 1" of the second and so on [m3/s], the salt that comes ahead of the first but for
    what later passes return, "load" [kg/s], and "power"; and by the names of `joints` the flows of
    water whose salt goes from ahead of one pass to ahead of another, or into the product [m3/s].
    """

    start: StartupParameters
    flows: Flows
    salt: float  # of the product in steady run, kg/m3
    source: float  # ahead of the first pass, kg/m3
    between: tuple[float, ...]  # ahead of every later pass, kg/m3
    passes: tuple[Pass, ...]
    steepest: float  # gain of pressure at the membranes over that of the share of the dial, Pa


def joints(passes: int) -> dict[str, tuple[int, int]]:
    """Return the flows between places, by name: from ahead of a pass to there, or to `passes`.

    Place `passes` is the product. What the first pass leaves behind and is led back to it is not
    among them: it counts as its load.
    """
    pairs = [(here, to) for to in range(passes + 1) for here in range(passes)]
    return {f"salt {here} to {to}": (here, to) for here, to in pairs if (here, to) != (0, 0)}


def membranes_of(case: Any) -> Membranes:
    """Solve what the transient needs of a case; raises as `membrane_start` does."""
    sheet = case.flowsheet()
    groups = groups_of(sheet.wiring, [n for n, unit in sheet.units.items() if unit.semipermeable])
    start: StartupParameters | None = case.sections.get("startup")
    start = check(start, (), "the start")
    check(start, needed_of_membranes(start, len(groups)), "the start of membranes")
    table = few_flows(case, _wanted(sheet.wiring, groups), NODES)
    _in_line(table, groups)

    ahead = tuple(_at(table, _ahead(table.result, _heads(sheet.wiring, group))) for group in groups)
    names = [name for group in groups for name in group]
    return Membranes(
        start,
        table,
        _at(table, table.result.value("product.concentration").value),
        ahead[0],
        ahead[1:],
        _passes(table, groups, start),
        max(_steepest(table, name) for name in names),
    )


def groups_of(wiring: Wiring, names: Sequence[str]) -> tuple[Group, ...]:
    """Return the membranes by passes; RequestError if there is none, or water comes to none."""
    groups: list[Group] = []
    later = list(names)
    while later:
        come = set(reach(_without(wiring, later), *wiring.sources))
        group = tuple(name for name in later if name in come)
        if not group:
            break
        groups.append(group)
        later = [name for name in later if name not in group]
    if not names or later:
        raise RequestError(f"no water comes to membranes ({', '.join(later)}): nothing starts")
    return tuple(groups)


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
        flow, made = _at(table, result.value("product.flow").value), _flow(result, groups[-1])
        if flow < _at(table, made) * (1 - ALIKE):
            raise RequestError(
                f"permeate of {' and '.join(groups[-1])} is led off before the product: the start "
                "is told for a last pass of which all is product"
            )


def _flow(result: Any, names: Group, port: str = THROUGH) -> Any:
    return sum(result.streams[name, port].flow for name in names)


def _salt_flow(result: Any, names: Group, port: str = THROUGH) -> Any:
    streams = [result.streams[name, port] for name in names]
    return sum(stream.flow * stream.concentration for stream in streams)


def _ahead(result: Any, heads: Group) -> Any:
    """Return the salinity ahead of a pass. [kg/m3]"""
    return _salt_flow(result, heads, "feed") / _flow(result, heads, "feed")


def _wanted(wiring: Wiring, groups: Sequence[Group]) -> dict[str, Callable[[Any], Any]]:
    """Return how every table of `Membranes` is read of a solved result."""
    heads, count = [_heads(wiring, group) for group in groups], len(groups)
    kept: dict[int, tuple[Any, list[Array]]] = {}

    def brought(result: Any) -> list[Array]:
        """Return the salt that comes to each place, by its last pass, (passes, points). [kg/s]"""
        if id(result) not in kept:
            kept[id(result)] = result, _brought(result, groups, heads)
        return kept[id(result)][1]

    def load(result: Any) -> Any:
        return _salt_flow(result, heads[0], "feed") - np.sum(brought(result)[0][1:], axis=0)

    def joint(here: int, to: int) -> Callable[[Any], Any]:
        return lambda result: brought(result)[to][here] / _ahead(result, heads[here])

    found: dict[str, Callable[[Any], Any]] = {
        "flow": lambda result: result.value("product.flow").value,
        "load": load,
        "power": lambda result: sum(d.power for d in result.all_details.values()),
    }
    found |= {f"feed {k}": partial(_flow, names=heads[k], port="feed") for k in range(count)}
    return found | {name: joint(*ends) for name, ends in joints(count).items()}


def _brought(result: Any, groups: Sequence[Group], heads: Sequence[Group]) -> list[Array]:
    """Return the salt that comes ahead of each pass and last to the product, by the last pass.

    Which pass it stood ahead of last; shape of each (passes, points). What of the product nothing
    tells is of the first pass. [kg/s]
    """
    wiring, end = result.sheet.wiring, result.product_end
    shares, none = origins(result, groups), np.zeros((len(groups), result.points))

    def salt(port: tuple[str, str]) -> Array:
        stream = result.streams[port]
        return np.broadcast_to(stream.flow * stream.concentration, (result.points,))

    found: list[Array] = []
    for group in heads:
        ports = [(name, "feed") for name in group]
        found.append(sum(
            (salt(port) * shares.get(wiring.feeds.get(port, port), none) for port in ports), none
        ))  # fmt: skip
    drunk = result.value("product.flow").value * result.value("product.concentration").value
    product = drunk * (none if end is None else shares.get(end, none))
    product[0] += drunk - np.sum(product, axis=0)
    return [*found, product]


def origins(result: Any, groups: Sequence[Group]) -> dict[tuple[str, str], Array]:
    """Return which share of the salt at every outlet has stood ahead of which pass last.

    (passes, points); where streams meet inside a unit they are taken as mixed. What has come
    through no membrane, or only past some, has no share.
    """
    sheet = result.sheet
    found: dict[tuple[str, str], Array] = {}
    for number, group in enumerate(groups):
        share = np.zeros((len(groups), result.points))
        share[number] = 1.0
        found |= {(name, port): share for name in group for port in sheet.units[name].outlets}
    passed = {name for group in groups for name in group}
    for name in [name for name in sheet.order if name not in passed] * ROUNDS:
        unit, loads, total = sheet.units[name], [], np.zeros(result.points)
        for port in unit.inlets:
            stream = result.streams[name, port]
            salt = np.broadcast_to(stream.flow * stream.concentration, total.shape)
            from_ = found.get(sheet.wiring.feeds.get((name, port), ("", "")))
            total = total + salt
            if from_ is not None:
                loads.append(salt * from_)
        share = sum(loads, np.zeros((len(groups), result.points))) / np.maximum(total, LEAST)
        found |= {(name, port): share for port in unit.outlets}
    return found


def _at(table: Flows, value: Any) -> float:
    """Return a solved result at the case's own dial."""
    points = (table.result.points,)
    return float(np.broadcast_to(np.asarray(value, float), points)[table.here])


def _passes(table: Flows, groups: Sequence[Group], start: StartupParameters) -> tuple[Pass, ...]:
    fed, made = start.feed_volume or 0.0, start.permeate_volume or 0.0
    volumes = [fed, *[start.between_volume or 0.0] * (len(groups) - 1), made]
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
