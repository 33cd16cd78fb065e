"""Units and links: the structure, its faults and the order of calculation. No numbers here."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

from treatsim.arrays import ArrayLike, Index
from treatsim.errors import FlowsheetError
from treatsim.flowsheet.shafts import check_shafts
from treatsim.flowsheet.wiring import Port, Wiring, arrange, connect, reach
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream

YIELDING_RANGE = (-9e4, 5e5, 2e7)  # Pa: low, guess, high behind a valve that gives way


class Unknown(NamedTuple):
    """A number the solver has to find."""

    unit: str
    field: str  # a parameter left out, or "" for the flow the unit takes from the source
    low: float
    guess: float
    high: float


@dataclass(frozen=True)
class Flowsheet:
    """Units joined by links.

    `source` is the water at every source, at ambient pressure; its flow is ignored.
    `links` are texts such as "lift_pump > hose > uv > tank"; see `connect` for the rules.
    """

    units: Mapping[str, Unit]
    links: Sequence[str]
    source: Stream

    def __post_init__(self) -> None:
        check_shafts(self.units)
        self._arrange(connect(self.units, self.links))

    @classmethod
    def structure(cls, units: Mapping[str, Unit], wiring: Wiring) -> Flowsheet:
        """Return a flowsheet without water, for its structure alone."""
        sheet = object.__new__(cls)
        object.__setattr__(sheet, "units", units)
        sheet._arrange(wiring)
        return sheet

    def _arrange(self, wiring: Wiring) -> None:
        order, tears = arrange(self.units, wiring)
        object.__setattr__(self, "wiring", wiring)
        object.__setattr__(self, "order", order)
        object.__setattr__(self, "tears", tears)

    wiring: Wiring = dataclasses.field(init=False, repr=False)
    order: tuple[str, ...] = dataclasses.field(init=False, repr=False)
    tears: tuple[Port, ...] = dataclasses.field(init=False, repr=False)  # where loops are cut

    def take(self, index: Index) -> Flowsheet:
        """Return the flowsheet at the operating points `index` only."""
        units = {name: unit.take(index) for name, unit in self.units.items()}
        return self._like(units, self.source.take(index))

    def with_parameters(self, unit: str, **changes: Any) -> Flowsheet:
        """Return a copy in which some parameters of one unit are changed."""
        units = {**self.units, unit: self.units[unit].with_parameters(**changes)}
        return self._like(units, self.source)

    def with_trial(self, unit: str, **changes: ArrayLike) -> Flowsheet:
        """Return a copy with values of the solver, which may be out of range on trial."""
        units = {**self.units, unit: self.units[unit].with_trial(**changes)}
        return self._like(units, self.source)

    def _like(self, units: Mapping[str, Unit], source: Stream) -> Flowsheet:
        """Copy with the same structure, which is not worked out again."""
        twin = object.__new__(Flowsheet)
        kept = {name: self.__dict__[name] for name in ("links", "wiring", "order", "tears")}
        twin.__dict__.update(kept | {"units": units, "source": source})
        return twin

    def with_units(self, units: Mapping[str, Unit], source: Stream) -> Flowsheet:
        """Return a flowsheet of the same links, with other parameters and another water."""
        check_shafts(units)
        return self._like(units, source)

    def unknowns(self) -> list[Unknown]:
        """Return what the solver has to find: open source flows and open parameters."""
        return list(self._open)

    @cached_property
    def _open(self) -> list[Unknown]:
        if still := list(self.still()):
            raise FlowsheetError([f"flowsheet: {line}" for line in still])
        found = []
        for name in self.wiring.sources:
            unit = self.units[name]
            if unit.source_flow() is None:
                ceiling = max(self._ceilings_below(name))
                found.append(Unknown(name, "", 1e-9 * ceiling, 0.6 * ceiling, ceiling))
        for name in self.order:
            for field, (low, guess, high) in self.units[name].free_parameters().items():
                found.append(Unknown(name, field, low, guess, high))
            if self._yields(name):
                found.append(Unknown(name, "outlet_pressure", *YIELDING_RANGE))
        return found

    def still(self) -> Iterator[str]:
        """Tell the units at a source into which nothing moves the water."""
        for name in self.wiring.sources:
            moved = next(self._ceilings_below(name), None) is not None
            if moved or self.units[name].source_flow() is not None:
                continue
            below = reach(self.wiring, name)
            if pumps := [n for n in below if self.units[n].moves_water]:
                keys = " or ".join(f"{n}.flow [m3/h]" for n in pumps)
                yield f"the flow into {name} is open, and nothing decides it: give {keys}"
            else:
                yield (
                    f"nothing moves the water into {name}: put a feed_pump, a high_pressure_pump "
                    f"with its flow, or an intake into the line {' > '.join(below)}"
                )

    def _yields(self, name: str) -> bool:
        """Whether a valve takes whatever pressure is left and meets another flow further on."""
        if not self.units[name].gives_way:
            return False
        port = self.units[name].outlets[0]
        while len(to := self.wiring.goes[name, port]) == 2:
            unit = self.units[to[0]]
            if "pressure" in unit.condition_names():
                return True
            if unit.outlets[:1] == unit.anchored[:1] or len(unit.outlets) != 1:
                return False
            name, port = unit.name, unit.outlets[0]
        return False

    def _ceilings_below(self, name: str) -> Iterator[float]:
        """Yield the greatest flows of all units that water from `name` can reach."""
        import numpy as np

        for unit in reach(self.wiring, name):
            ceiling = self.units[unit].flow_ceiling()
            if ceiling is not None:
                yield float(np.max(ceiling))

    def conditions(self) -> list[tuple[str, str]]:
        """Return the equations to be met: (unit, condition) and, for an open end, (end, "")."""
        found = [(n, c) for n in self.order for c in self._conditions_of(self.units[n])]
        return found + [(end, "") for end, port in self.wiring.ends.items() if self.bound(port)]

    def _conditions_of(self, unit: Unit) -> list[str]:
        names = []
        for condition in unit.condition_names():
            if condition == "pressure":  # two flows meet: a question only if one can adapt
                feeding = [self.wiring.feeds.get((unit.name, port)) for port in unit.inlets]
                wanted = any(port is not None and self.bound(port) for port in feeding)
            elif condition == "displacement":  # met already by a unit that draws from a source
                wanted = unit.name not in self.wiring.sources
            elif condition == "arrival":  # nothing behind an open surface draws water from it
                above = self.wiring.feeds.get((unit.name, unit.inlets[0]))
                wanted = self._leaves(unit) and above is not None and self.bound(above)
            else:
                wanted = True
            if wanted:
                names.append(condition)
        return names

    def bound(self, port: Port) -> bool:
        """Whether the pressure at an outlet follows from something the solver can move."""
        unit = self.units[port[0]]
        moved = self._yields(unit.name) or "outlet_pressure" in unit.free_parameters()
        if moved and port[1] == unit.outlets[0]:
            return True
        if port[1] in unit.anchored and (not unit.open_surface or self._leaves(unit)):
            return False
        for inlet in unit.inlets:
            if (unit.name, inlet) in self.tears:
                continue
            feeding = self.wiring.feeds.get((unit.name, inlet))
            return unit.source_flow() is None if feeding is None else self.bound(feeding)
        return True

    def _leaves(self, unit: Unit) -> bool:
        """Whether what leaves the unit is at its end, with nothing behind."""
        to = self.wiring.goes[unit.name, unit.outlets[0]]
        return len(to) == 1 or not self.units[to[0]].outlets

    def ahead_of(self, conditions: list[tuple[str, str]], closed: bool = True) -> frozenset[str]:
        """Return the units on which conditions depend: those named and all upstream of them.

        With the recycles not `closed` what returns is known, and nothing ahead of a cut counts.
        """
        todo = [name if condition else self.wiring.ends[name][0] for name, condition in conditions]
        todo += [self.wiring.feeds[cut][0] for cut in self.tears if closed]
        found: set[str] = set()
        while todo:
            name = todo.pop()
            if name in found:
                continue
            found.add(name)
            inlets = [(name, port) for port in self.units[name].inlets]
            feeding = (self.wiring.feeds.get(i) for i in inlets if closed or i not in self.tears)
            todo += [port[0] for port in feeding if port is not None]
        return frozenset(found)
