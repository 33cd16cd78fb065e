"""Whether a flowsheet asks for as much as it leaves open, and if not, which keys to change.

Each equation is given an open value it depends on (a matching). An open value that is left over is
decided by nothing; an equation that is left over is fixed twice. What is linked to either by such
pairs is where it can be mended, so that one line can name the keys of that part alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from treatsim import quantities
from treatsim.errors import FlowsheetError, RequestError
from treatsim.flowsheet.flowsheet import Flowsheet, Unknown
from treatsim.flowsheet.wiring import Port, reach
from treatsim.operations.unit import Unit

Condition = tuple[str, str]  # as in Flowsheet.conditions
Names = frozenset[int]  # open values, by number


def check_count(sheet: Flowsheet) -> None:
    """Raise FlowsheetError with a line for everything that is open, or fixed twice."""
    found = [*_misplaced(sheet)]
    still = [*sheet.still()]
    if not found and not still:  # else what follows from them would be told beside them
        found += _mismatches(sheet, sheet.unknowns(), sheet.conditions())
    found += [*still, *_under_pressure(sheet)]
    if found:
        raise FlowsheetError([f"flowsheet: {line}" for line in dict.fromkeys(found)])


def _misplaced(sheet: Flowsheet) -> Iterable[str]:
    """Tell units that take their own flow from a source, but are fed by another unit."""
    for name, unit in sheet.units.items():
        own = unit.source_flow() is not None and "displacement" not in unit.condition_names()
        if own and name not in sheet.wiring.sources:
            before = sheet.wiring.feeds[name, unit.inlets[0]][0]
            yield (
                f"{name} ({unit.kind}) stands for the pump and takes its water from the source: "
                f"nothing comes before it, but {before} does; leave {name} or {before} out"
            )


def _under_pressure(sheet: Flowsheet) -> Iterable[str]:
    """Tell ends open to the air that the water would reach with a pressure fixed ahead."""
    ends = dict(sheet.wiring.ends)
    for name, unit in sheet.units.items():
        if not unit.outlets and unit.condition_names():
            ends[name] = sheet.wiring.feeds[name, unit.inlets[0]]
    for end, port in ends.items():
        if not sheet.bound(port) and (told := _pressed(sheet, end, port)):
            yield told


def _pressed(sheet: Flowsheet, end: str, port: Port) -> str:
    """Return what fixes the pressure at an end, with what to change; "" if nothing does."""
    lifting: list[str] = []
    while True:
        unit = sheet.units[port[0]]
        optional = "outlet_pressure" if _given(unit, "outlet_pressure") else ""
        if port[1] in unit.anchored:
            break
        if unit.treated:
            return (
                f"{'.'.join(port)} reaches {end} under the pressure of {unit.name}, and {end} is "
                f"open to the air: put a throttle_valve ahead of {end}"
            )
        if unit.moves_water:
            lifting.append(unit.name)
        before = sheet.wiring.feeds.get((unit.name, unit.inlets[0]))
        if before is None:
            return ""
        port = before
    pressure = f"{unit.name}.{optional}" if unit.moves_water and optional else ""
    if pressure and not lifting:
        return (
            f"{end} is open to the air, not under pressure, but {pressure} is given: leave it out, "
            f"and the line decides it, or put a throttle_valve ahead of {end}"
        )
    flows = _flows_ahead(sheet, lifting[0]) if lifting else []
    if not flows:  # that it is open is told elsewhere
        return ""
    cures = [] if unit.treated else [_freed(sheet, key, lifting[-1]) for key in flows]
    cures.append(f"put a throttle_valve ahead of {end}")
    return (
        f"{end} is open to the air, not under pressure, but {_listed(flows)} fixes the flow that "
        f"{_listed(lifting[::-1])} would find from the line: {', or '.join(cures)}"
    )


def _freed(sheet: Flowsheet, key: str, pump: str) -> str:
    """Return how a flow can be left for a pump to find."""
    name = key.partition(".")[0]
    if _optional(sheet.units[name], "flow"):
        return f"leave {key} out"
    return f"leave {name} out of the links ({pump} takes water by itself)"


def _mismatches(
    sheet: Flowsheet, unknowns: list[Unknown], conditions: list[Condition]
) -> Iterable[str]:
    """Tell each part of the flowsheet in which open values and equations do not pair up."""
    depends = _dependences(sheet, unknowns, conditions)
    pairs = _matched(depends)  # open value -> equation
    for number in range(len(conditions)):
        if number not in pairs.values():
            yield _too_much(sheet, unknowns, *_around(number, depends, pairs, conditions))
    asked = [frozenset(n for n, d in enumerate(depends) if u in d) for u in range(len(unknowns))]
    back = {equation: value for value, equation in pairs.items()}
    for number in range(len(unknowns)):
        if number not in pairs:
            part, _ = _linked(number, asked, back)
            yield _too_little(sheet, [unknowns[n] for n in sorted(part)])


def _around(
    number: int, depends: list[Names], pairs: dict[int, int], conditions: Sequence[Condition]
) -> Any:
    """Return the equations and the open values that one equation too many is linked to."""
    equations, values = _linked(number, depends, pairs)
    return [conditions[n] for n in sorted(equations)], sorted(values)


def _linked(start: int, asks: Sequence[Names], owner: dict[int, int]) -> tuple[set, set]:
    """Follow what `start` asks for to its owners and on; returns both sides of what is met."""
    near, far, todo = {start}, set[int](), [start]
    while todo:
        for other in asks[todo.pop()]:
            far.add(other)
            if other in owner and owner[other] not in near:
                near.add(owner[other])
                todo.append(owner[other])
    return near, far


def _matched(depends: list[Names]) -> dict[int, int]:
    """Give as many equations as possible an open value of their own: value -> equation."""
    owner: dict[int, int] = {}

    def placed(equation: int, seen: set[int]) -> bool:
        for value in sorted(depends[equation] - seen):
            seen.add(value)
            if value not in owner or placed(owner[value], seen):
                owner[value] = equation
                return True
        return False

    for equation in range(len(depends)):
        placed(equation, set())
    return owner


def _dependences(
    sheet: Flowsheet, unknowns: list[Unknown], conditions: Sequence[Condition]
) -> list[Names]:
    """Return the open values on which each equation depends."""
    flows, pressures, own = _influences(sheet, unknowns)
    feeds = sheet.wiring.feeds
    found = []
    for name, condition in conditions:
        if not condition:
            found.append(pressures[sheet.wiring.ends[name]])
            continue
        ports = [feeds[name, p] for p in sheet.units[name].inlets if (name, p) in feeds]
        at_flow = frozenset[int]().union(*(flows[port] for port in ports))
        at_pressure = frozenset[int]().union(*(pressures[port] for port in ports))
        by_kind = {"displacement": at_flow, "pressure": at_pressure, "arrival": at_pressure}
        found.append(by_kind.get(condition, at_flow | at_pressure | own.get(name, frozenset())))
    return found


def _influences(sheet: Flowsheet, unknowns: list[Unknown]) -> Any:
    """Return by outlet the open values that its flow and its pressure depend on, and by unit.

    Rather too many than too few: who is called dependent and is not is left to the solver.
    """
    none: Names = frozenset()
    own: dict[str, Names] = {}
    for number, unknown in enumerate(unknowns):
        own[unknown.unit] = own.get(unknown.unit, none) | {number}
    flows: dict[Port, Names] = {(n, p): none for n, u in sheet.units.items() for p in u.outlets}
    pressures = dict(flows)
    for _ in range(2 + len(sheet.tears)):  # what returns is known a round later
        for name in sheet.order:
            unit, mine = sheet.units[name], own.get(name, none)
            ahead = [sheet.wiring.feeds.get((name, port)) for port in unit.inlets]
            flow = none.union(*(flows[port] for port in ahead if port))
            pressure = none.union(*(pressures[port] for port in ahead if port))
            if name in sheet.wiring.sources:
                flow |= frozenset(n for n in mine if not unknowns[n].field)
            alone = len(unit.inlets) == 1
            for port in unit.outlets:
                flows[name, port] = flow | pressure | mine if len(unit.outlets) > 1 else flow
                held = alone and port in unit.anchored
                first = mine if port == unit.outlets[0] else none
                at_port = frozenset(n for n in first if unknowns[n].field)
                pressures[name, port] = at_port if held else flow | pressure | mine
    return flows, pressures, own


def _too_much(sheet: Flowsheet, unknowns: Any, conditions: list[Condition], values: Any) -> str:
    """Say where more is given than is open."""
    moved = [name for name, condition in conditions if condition == "displacement"]
    if moved and len(moved) == len(conditions) and not values:
        flows = [*dict.fromkeys(key for name in moved for key in _flows_ahead(sheet, name))]
        free = [key for key in flows if _optional(sheet.units[key.partition(".")[0]], "flow")]
        return (
            f"the flow through {' and '.join(moved)} is fixed twice, by {_listed(flows)}: "
            f"leave out {_listed(free, 'or')}"
        )
    air = [n for n, c in conditions if _in_air(sheet, n, c)]
    named = [_condition_words(n, c) for n, c in conditions if n not in air]
    if air:
        named.insert(0, f"{_listed(air)} {'is' if len(air) == 1 else 'are'} open to the air")
    is_open = f"only {_listed([_open_words(unknowns[n]) for n in values])}" if values else "nothing"
    keys = _given_keys(sheet, conditions)
    keys = [key for key in keys if _mends(sheet, key)] or keys
    cures = [f"leave out {_listed(keys, 'or')}"] if keys else []
    if free := [n for n, c in conditions if c in ("", "pressure", "arrival")]:
        cures.append(f"put a throttle_valve ahead of {_listed(free, 'or')}")
    verb = "are" if len(values) > 1 else "is"
    return (
        f"more is given than can be met: {_listed(named)}, and {is_open} {verb} open for that; "
        f"{', or '.join(cures) or 'leave out one of them'}"
    )


def _in_air(sheet: Flowsheet, name: str, condition: str) -> bool:
    """Whether an equation asks that water arrives without pressure."""
    return condition in ("", "arrival") or (
        condition == "pressure" and len(sheet.units[name].inlets) == 1
    )


def _condition_words(name: str, condition: str) -> str:
    if condition == "displacement":
        return f"{name}.flow is given"
    if condition == "pressure":
        return f"two flows meet at {name} with one pressure"
    return f"the {condition} of {name} is built in"


def _given_keys(sheet: Flowsheet, conditions: list[Condition]) -> list[str]:
    """Return the keys given ahead of equations that may as well be left out."""
    ahead = sheet.ahead_of([c for c in conditions if c[1] or c[0] in sheet.wiring.ends])
    return [
        f"{name}.{field}"
        for name in sheet.order
        if name in ahead
        for field in ("flow", "outlet_pressure", "fraction")
        if _given(sheet.units[name], field)
    ]


def _mends(sheet: Flowsheet, key: str) -> bool:
    """Whether less is left over once a key is left out: it may bring an equation of its own."""
    name, _, field = key.partition(".")
    unit = sheet.units[name]
    try:
        freed = replace(unit, parameters=replace(unit.parameters, **{field: None}))
        other = Flowsheet.structure({**sheet.units, name: freed}, sheet.wiring)
        return not [*other.still()] and _left_over(other) < _left_over(sheet)
    except RequestError:  # it is asked for
        return False


def _left_over(sheet: Flowsheet) -> int:
    """Return how many open values and equations have no partner."""
    unknowns, conditions = sheet.unknowns(), sheet.conditions()
    pairs = _matched(_dependences(sheet, unknowns, conditions))
    return len(unknowns) + len(conditions) - 2 * len(pairs)


def _too_little(sheet: Flowsheet, unknowns: list[Unknown]) -> str:
    """Say what nothing decides, and which keys would."""
    keys = [key for unknown in unknowns for key in _deciding(sheet, unknown)]
    cure = f"give {_listed(list(dict.fromkeys(keys)), 'or')}" if keys else "give one of them"
    is_open = _listed([_open_words(u) for u in unknowns], "or")
    return f"{is_open} is open, and nothing decides it: {cure}"


def _open_words(unknown: Unknown) -> str:
    return f"{unknown.unit}.{unknown.field}" if unknown.field else f"the flow into {unknown.unit}"


def _deciding(sheet: Flowsheet, unknown: Unknown) -> list[str]:
    """Return the keys, with a unit, that would decide an open value."""
    if unknown.field:
        return [_key(sheet, unknown.unit, unknown.field)]
    below = [sheet.units[name] for name in reach(sheet.wiring, unknown.unit)]
    found = []
    for unit in below:
        if unit.moves_water and _left_out(unit, "flow"):
            found.append(_key(sheet, unit.name, "flow"))
        if unit.gives_way:
            found.append(_key(sheet, unit.name, "flow_coefficient"))
    return found


def _key(sheet: Flowsheet, name: str, field: str) -> str:
    """Return an address with the unit it is shown in, such as "pump.flow [m3/h]"."""
    item = sheet.units[name].parameters_field(field)
    assert item is not None
    unit = quantities.QUANTITIES[item.metadata["kind"]].shown
    return f"{name}.{field} [{unit}]" if unit else f"{name}.{field}"


def _flows_ahead(sheet: Flowsheet, name: str) -> list[str]:
    """Return the keys that fix a flow at a unit or ahead of it, in order."""
    ahead = sheet.ahead_of([(name, "displacement")])
    return [
        f"{n}.flow" for n in sheet.order if n in ahead and sheet.units[n].source_flow() is not None
    ]


def _optional(unit: Unit, field: str) -> bool:
    """Whether a parameter may be left out."""
    item = unit.parameters_field(field)
    return item is not None and item.default is None


def _given(unit: Unit, field: str) -> bool:
    """Whether a parameter that may be left out is given."""
    return _optional(unit, field) and getattr(unit.parameters, field) is not None


def _left_out(unit: Unit, field: str) -> bool:
    return _optional(unit, field) and getattr(unit.parameters, field) is None


def _listed(words: Sequence[str], last: str = "and") -> str:
    """Return "a, b and c"."""
    return f" {last} ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
