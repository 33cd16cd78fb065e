"""A solved flowsheet as one of its units sees it: what is before it and behind it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import reach
from treatsim.operations.outcome import Value
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream


class Neighbours(NamedTuple):
    """The company of the unit `name` in a solved flowsheet."""

    result: Result
    name: str

    @property
    def inlet(self) -> Stream:
        """What enters the unit."""
        return self.result.streams[self.name, self.result.sheet.units[self.name].inlets[0]]

    @property
    def values(self) -> Mapping[str, Value]:
        """What the unit itself tells."""
        return self.values_of(self.name)

    @property
    def source_ph(self) -> Any:
        """Acidity of the source; None if not known."""
        return getattr(self.result.sections.get("water"), "ph", None)

    @property
    def behind(self) -> list[Unit]:
        """Units that the water reaches from here, nearest first."""
        units = self.result.sheet.units
        return [units[name] for name in reach(self.result.sheet.wiring, self.name)[1:]]

    @property
    def line(self) -> list[Unit] | None:
        """Units of the one line from its source through this unit; None where lines meet."""
        wiring = self.result.sheet.wiring
        lines = [reach(wiring, source) for source in wiring.sources]
        through = [line for line in lines if self.name in line]
        return [self.result.sheet.units[n] for n in through[0]] if len(through) == 1 else None

    def values_of(self, unit: str) -> Mapping[str, Value]:
        """What another unit tells."""
        return self.result.details(unit).values
