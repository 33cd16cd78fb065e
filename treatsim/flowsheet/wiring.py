"""Links of a flowsheet: what they say, their faults, and the order of calculation."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from treatsim.errors import FlowsheetError
from treatsim.operations.unit import Unit

Port = tuple[str, str]  # unit name, port name
PRODUCT_END = "tank"  # the end of a line that is the product


class Wiring(NamedTuple):
    """What the links say, checked."""

    feeds: dict[Port, Port]  # inlet -> the outlet that feeds it
    goes: dict[Port, tuple]  # outlet -> inlet port, or (end name,)
    sources: tuple[str, ...]  # units whose inlet takes the source water
    ends: dict[str, Port]  # end name -> the outlet that leaves there


def reach(wiring: Wiring, *starts: str, round_: Collection[str] = ()) -> list[str]:
    """Return the units that water from `starts` reaches, these first, led round some units."""
    seen: list[str] = []
    todo = [name for name in starts if name not in round_]
    while todo:
        name = todo.pop()
        if name in seen:
            continue
        seen.append(name)
        onward = [to[0] for (unit, _), to in wiring.goes.items() if unit == name and len(to) == 2]
        todo += [unit for unit in onward if unit not in round_]
    return seen


def connect(units: Mapping[str, Unit], links: Sequence[str]) -> Wiring:
    """Turn links into wiring, or raise FlowsheetError with every fault found.

    A link joins names with ">". A name is a unit, or unit.port where it has several. A bare name
    that is no unit may stand at the end of a line: water leaves there. The first unit of a line
    takes the source water, unless something feeds it.
    """
    wiring, faults = trace(units, links)
    if faults:
        raise FlowsheetError(faults)
    return wiring


def trace(units: Mapping[str, Unit], links: Sequence[str]) -> tuple[Wiring, list[str]]:
    """Return the wiring that links mean, and every fault; a name is read on as what it is near.

    Where faults leave something unconnected, the wiring lacks it: see `complete`.
    """
    faults: list[str] = []
    feeds: dict[Port, Port] = {}
    goes: dict[Port, tuple] = {}
    ends: dict[str, Port] = {}
    heads: list[str] = []
    named = _ports_named(links)
    for link in links:
        names = [name.strip() for name in link.split(">")]
        if len(names) < 2 or not all(names):
            faults.append(f'flowsheet.links: "{link}": a link reads "a > b > c"')
            continue
        for left, right in pairwise(names):
            out = _outlet(units, left, link, named, faults)
            if left is names[0]:
                heads.append(out[0] if out else right)
            to = _inlet(units, right, right is names[-1], link, named, faults)
            if out is not None and to is not None:
                _join(units, out, to, feeds, goes, ends, link, faults)
    wiring = Wiring(feeds, goes, _sources(units, heads, feeds), ends)
    blamed = " ".join(link for link in links if any(f'"{link}"' in fault for fault in faults))
    faults += [
        f
        for f in _unconnected(units, wiring)
        if f.split(":")[1].split(".")[0].strip() not in blamed
    ]
    faults += _products(units, ends)
    if not links:
        faults.append("flowsheet.links is empty: nothing is connected")
    elif not ends and not faults and all(unit.outlets for unit in units.values()):
        faults.append('flowsheet.links: no end: let a line end in a bare name such as "tank"')
    return wiring, list(dict.fromkeys(faults))


def complete(units: Mapping[str, Unit], wiring: Wiring) -> bool:
    """Whether every port is joined, so that the flowsheet can be gone through."""
    return not _unconnected(units, wiring)


def _ports_named(links: Sequence[str]) -> set[str]:
    """Return the ports that some link names, as "unit.port"."""
    return {name.strip() for link in links for name in link.split(">") if "." in name}


def _products(units: Mapping[str, Unit], ends: Mapping[str, Port]) -> list[str]:
    """Refuse a product in several places: what is drunk is one water, judged once."""
    names = [name for name, unit in units.items() if unit.ends_product]
    lines = [".".join(out) for name, out in ends.items() if name.split(" ")[0] == PRODUCT_END]
    if len(names) + len(lines) < 2:
        return []
    told = [*lines, *names]
    return [
        f"flowsheet.links: the product ends {len(told)} times, at {' and '.join(told)}: join the "
        f"flows by a combining_tee ahead of one tank, or let the others end elsewhere"
    ]


def _named(
    units: Mapping[str, Unit], name: str, link: str, faults: list[str]
) -> tuple[Unit, str] | None:
    unit, _, port = name.partition(".")
    if unit in units:
        return units[unit], port
    near = difflib.get_close_matches(unit, units, n=1)
    hint = f'; did you mean "{near[0]}"?' if near else f"; the units are: {', '.join(units)}"
    faults.append(f'flowsheet.links: "{link}": no unit "{unit}"{hint}')
    return (units[near[0]], port) if near else None


class _Side(NamedTuple):
    """The ports of one side of a unit, and those of the other."""

    what: str  # outlet or inlet
    legal: tuple[str, ...]
    other: tuple[str, ...]


def _pick(
    unit: Unit, port: str, side: _Side, link: str, named: set[str], faults: list[str]
) -> Port | None:
    """Choose a port of one side; a port named for the other side leaves the usual one here."""
    what, legal, other = side
    if port in legal:
        return unit.name, port
    usual = legal if len(legal) == 1 else tuple(p for p in unit.through if p in legal)
    if usual and (not port or port in other):
        return unit.name, usual[0]
    unknown = port and port not in other
    meant = _meant(unit, port if unknown else "", legal, named)
    text = f'no {what} "{port}"' if unknown else f"several {what}s: name one"
    text = text if legal or unknown else f"no {what}"
    faults.append(
        f'flowsheet.links: "{link}": {unit.name} has {text}; '
        f"its {what}s: {', '.join(legal) or 'none'}"
        + (f' (read on as "{unit.name}.{meant}")' if meant else "")
    )
    return (unit.name, meant) if meant else None


def _meant(unit: Unit, port: str, legal: Sequence[str], named: set[str]) -> str:
    """Return the port meant by a number, by a like name, as what is treated or left; else ""."""
    left = [p for p in legal if f"{unit.name}.{p}" not in named]
    near = difflib.get_close_matches(port, legal, n=1)
    if port.isdecimal() and 0 < int(port[:9]) <= len(legal):
        meant = legal[int(port[:9]) - 1]
    elif near or len(left) == 1:
        meant = [*near, *left][0]
    else:
        meant = unit.treated if not port and unit.treated in left else ""
    named.add(f"{unit.name}.{meant}")
    return meant


def _outlet(
    units: Mapping[str, Unit], name: str, link: str, named: set[str], faults: list[str]
) -> Port | None:
    first, second = (step.strip() for step in link.split(">")[:2])
    stem = name.partition(".")[0]
    unknown = name == first and not difflib.get_close_matches(stem, units, cutoff=0.8)
    heads = units.get(second.partition(".")[0])
    if unknown and stem not in units and heads is not None:
        leave = "leave it out: the first unit of a line takes the source water"
        lead = "put a unit there, such as a feed_pump"
        way = leave if len(heads.inlets) == 1 else lead
        faults.append(f'flowsheet.links: "{link}": no unit "{name}"; if it is the source, {way}')
        return None
    found = _named(units, name, link, faults)
    if found is None:
        return None
    unit, port = found
    side = _Side("outlet", unit.outlets, unit.inlets)
    return _pick(unit, port, side, link, named, faults)


def _inlet(
    units: Mapping[str, Unit], name: str, last: bool, link: str, named: set[str], faults: list[str]
) -> Port | tuple[str] | None:
    if last and "." not in name and name not in units:
        near = difflib.get_close_matches(name, units, n=1, cutoff=0.85)
        if near:
            faults.append(
                f'flowsheet.links: "{link}": "{name}" is no unit; did you mean '
                f'"{near[0]}"? (an end of the line needs a name unlike any unit)'
            )
            return None
        return (name,)
    found = _named(units, name, link, faults)
    if found is None:
        return None
    unit, port = found
    side = _Side("inlet", unit.inlets, unit.outlets)
    return _pick(unit, port, side, link, named, faults)


def _join(
    units: Mapping[str, Unit],
    out: Port,
    to: Port | tuple[str],
    feeds: dict[Port, Port],
    goes: dict[Port, Port | tuple[str]],
    ends: dict[str, Port],
    link: str,
    faults: list[str],
) -> None:
    if out in goes:
        faults.append(
            f'flowsheet.links: "{link}": {".".join(out)} already goes to '
            f"{'.'.join(goes[out])}; a dividing_tee splits a flow"
        )
        return
    if len(to) == 1:
        name = to[0] if to[0] not in ends else f"{to[0]} {len(ends) + 1}"
        ends[name] = out
        goes[out] = (name,)
        return
    if to in feeds:
        free = [port for port in units[to[0]].inlets if (to[0], port) not in feeds]
        way = (
            f'write "{to[0]}.{free[0]}" (read on as that)'
            if free
            else f"a combining_tee ahead of {to[0]} joins two flows, one by its run, one by its "
            "branch"
        )
        faults.append(
            f'flowsheet.links: "{link}": {".".join(to)} is already fed by '
            f"{'.'.join(feeds[to])}; {way}"
        )
        if not free:
            return
        to = to[0], free[0]
    feeds[to] = out
    goes[out] = to


def _sources(
    units: Mapping[str, Unit], heads: Sequence[str], feeds: Mapping[Port, Port]
) -> tuple[str, ...]:
    """Units at the head of a line, with one inlet that nothing feeds."""
    return tuple(
        dict.fromkeys(
            name
            for name in heads
            if name in units
            and len(units[name].inlets) == 1
            and (name, units[name].inlets[0]) not in feeds
        )
    )


def _unconnected(units: Mapping[str, Unit], wiring: Wiring) -> list[str]:
    faults = []
    for unit in units.values():
        faults += [
            f"flowsheet: {unit.name}.{port} is not fed by any link{_from_source(unit)}"
            for port in unit.inlets
            if (unit.name, port) not in wiring.feeds and unit.name not in wiring.sources
        ]
        faults += [
            f"flowsheet: {unit.name}.{port} goes nowhere: link it to a unit, or to an end "
            "such as tank or outfall"
            for port in unit.outlets
            if (unit.name, port) not in wiring.goes
        ]
    return faults


def _from_source(unit: Unit) -> str:
    """Return how source water comes to a unit of several inlets, which cannot start a line."""
    if len(unit.inlets) == 1:
        return ""
    return "; source water is led there from a unit ahead, such as a pump and a dividing_tee"


def arrange(units: Mapping[str, Unit], wiring: Wiring) -> tuple[tuple[str, ...], tuple[Port, ...]]:
    """Return the order of calculation and the inlets at which loops are cut.

    A loop is legal if it passes an inlet made for it (the branch of a combining tee, the
    high-pressure side of an exchanger); FlowsheetError names every other loop.
    """
    order: list[str] = []
    tears: list[Port] = []
    waiting = dict(units)
    while waiting:
        ready = [
            n
            for n, unit in waiting.items()
            if all(
                (n, p) in tears or wiring.feeds.get((n, p), (None,))[0] not in waiting
                for p in unit.inlets
            )
        ]
        if ready:
            order += ready
            for name in ready:
                del waiting[name]
            continue
        cut = _cut(waiting, wiring, tears)
        if cut is None:
            loop = " > ".join(_loop(waiting, wiring))
            raise FlowsheetError(
                f"flowsheet: the water goes round in the loop {loop}, and no fresh water can join "
                "it: let fresh water come by the run of a combining_tee, and what returns by its "
                "branch"
            )
        tears.append(cut)
    return tuple(order), tuple(tears)


def _cut(waiting: Mapping[str, Unit], wiring: Wiring, tears: Sequence[Port]) -> Port | None:
    """Return an inlet made for recycles that lies on a loop of the waiting units."""
    for name, unit in waiting.items():
        for port in unit.recycles:
            feeding = wiring.feeds.get((name, port))
            if (
                feeding
                and (name, port) not in tears
                and feeding[0] in waiting
                and feeding[0] in reach(wiring, name)
            ):
                return name, port
    return None


def _loop(waiting: Mapping[str, Unit], wiring: Wiring) -> list[str]:
    """Return one loop among the waiting units, first name repeated at the end."""
    path = [next(iter(waiting))]
    while True:
        name = path[-1]
        back = next(
            wiring.feeds[name, port][0]
            for port in waiting[name].inlets
            if wiring.feeds.get((name, port), (None,))[0] in waiting
        )
        if back in path:
            return [back, *reversed(path[path.index(back) :])]
        path.append(back)
