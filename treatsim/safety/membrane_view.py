"""One solved reverse-osmosis vessel in plain numbers, one for each operating point."""

from __future__ import annotations

from functools import cached_property
from typing import Any, cast

import numpy as np

from treatsim.constants import CELSIUS_25
from treatsim.flowsheet.result import Result
from treatsim.operations.unit import Unit
from treatsim.water.water_table import WaterTable

TINY = 1e-12  # recovery and flux of an element that is not there, or of a point without an answer


class MembraneView:
    """What the chemistry around a vessel asks of the solved case. Arrays over the points."""

    def __init__(self, result: Result, unit: Unit) -> None:
        self.result, self.unit, self.name = result, unit, unit.name
        self.table = cast(WaterTable, result.sheet.source.water)
        self.analysis = self.table.analysis
        self.feed, self.permeate, self.concentrate = (
            result.streams[unit.name, port] for port in ("feed", "permeate", "concentrate")
        )
        self.elements = int(np.max(unit.parameters.elements_in_series))

    def sound(self, value, otherwise: float) -> np.ndarray:
        """A value at every point, those without an answer replaced by one that can be computed."""
        points = (self.result.points,)
        good = self.result.solved & np.isfinite(np.broadcast_to(np.asarray(value, float), points))
        return np.where(good, value, otherwise)

    def number(self, key: str, otherwise: float = 1.0) -> np.ndarray:
        """A value of the vessel, SI."""
        return self.sound(self.result.details(self.name).values[key].value, otherwise)

    def by_element(self, key: str, otherwise: float = TINY) -> np.ndarray:
        """A value of every element, shape (elements, points)."""
        rows = [self.number(f"element_{i + 1}.{key}", otherwise) for i in range(self.elements)]
        return np.maximum(np.array(rows), otherwise)

    def factor(self, salinity) -> np.ndarray:
        """Concentration factor over the source's analysis, per kg of water."""
        return self.sound(self.table.concentration_factor(self.sound(salinity, 0.01)), 1.0)

    @cached_property
    def temperature(self) -> np.ndarray:
        """Of the feed. [K]"""
        return self.sound(self.feed.temperature, CELSIUS_25)

    @cached_property
    def fed(self) -> np.ndarray:
        """Concentration factor of the feed."""
        return self.factor(self.feed.salinity)

    @cached_property
    def bulk(self) -> np.ndarray:
        """Concentration factor of the concentrate."""
        return self.factor(self.concentrate.salinity)

    @cached_property
    def wall(self) -> np.ndarray:
        """Highest concentration factor at any membrane."""
        return np.maximum(self.factor(self.number("membrane_salinity_max", 0.01)), self.bulk)

    @cached_property
    def passage(self) -> np.ndarray:
        """Salt of the permeate over that of the source's analysis, per kg of water."""
        return self.factor(self.permeate.salinity)

    @cached_property
    def between(self) -> np.ndarray:
        """Concentration factor in the middle of each element, shape (elements, points)."""
        count = np.asarray(self.unit.parameters.elements_in_series)
        ratio = np.maximum(self.bulk / self.fed, 1.0) ** (1 / count)
        steps = np.minimum(np.arange(self.elements)[:, None] + 0.5, count)
        return self.fed * ratio**steps

    def of_parameter(self, name: str) -> Any:
        """An input of the vessel."""
        return getattr(self.unit.parameters, name)
