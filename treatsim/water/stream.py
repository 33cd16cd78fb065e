"""The state of the water at a port, for one operating point or a million."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from treatsim.constants import ATMOSPHERE

# What is carried besides dissolved salt, per volume, mixing by volume: name -> quantity.
CONTENTS = {
    "suspended_solids": "concentration",
    "turbidity": "turbidity",
    "absorption": "absorption",
    "free_chlorine": "concentration",
    "chlorine_demand": "concentration",  # what would be used up at once and is not met yet
}

PROPERTIES = ("density", "viscosity", "osmotic_pressure")  # of water, salinity and temperature


class Water(Protocol):
    """Properties of one water over salinity (mass fraction) and temperature."""

    @property
    def kind(self) -> str: ...

    def density(self, salinity, temperature): ...

    def viscosity(self, salinity, temperature): ...

    def osmotic_pressure(self, salinity, temperature): ...

    def excursions(self, salinity, temperature): ...


@dataclass(frozen=True)
class Stream:
    """Water at a port.

    Every number is a float or an array over operating points; shapes broadcast.
    """

    water: Water
    mass_flow: np.ndarray | float  # kg/s
    pressure: np.ndarray | float  # Pa, gauge
    temperature: np.ndarray | float  # K
    salinity: np.ndarray | float  # kg of dissolved salt per kg
    contents: Mapping[str, np.ndarray | float] = field(default_factory=dict)  # see CONTENTS
    atmosphere: np.ndarray | float = ATMOSPHERE  # Pa, absolute, at the site

    @cached_property
    def density(self):
        """Density. [kg/m3]"""
        return self.water.density(self.salinity, self.temperature)

    @cached_property
    def viscosity(self):
        """Dynamic viscosity. [Pa s]"""
        return self.water.viscosity(self.salinity, self.temperature)

    @cached_property
    def osmotic_pressure(self):
        """Osmotic pressure. [Pa]"""
        return self.water.osmotic_pressure(self.salinity, self.temperature)

    @cached_property
    def flow(self):
        """Volume flow. [m3/s]"""
        return self.mass_flow / self.density

    @property
    def concentration(self):
        """Dissolved salt per volume. [kg/m3]"""
        return self.salinity * self.density

    def changed(self, **changes) -> Stream:
        """Return a copy with some fields changed; `contents` is merged, not replaced."""
        if "contents" in changes:
            changes["contents"] = {**self.contents, **changes["contents"]}
        twin = object.__new__(Stream)  # a fifth of the time of `replace`, at every unit
        twin.__dict__.update({name: self.__dict__[name] for name in FIELDS} | changes)
        if len(twin.__dict__) > len(FIELDS):
            raise TypeError(f"no such field of a stream: {', '.join(changes)}")
        if not changes.keys() & {"water", "temperature", "salinity"}:
            known = {name: self.__dict__[name] for name in PROPERTIES if name in self.__dict__}
            twin.__dict__.update(known)  # the same water: what was worked out holds
        return twin

    def with_flow(self, flow) -> Stream:
        """Return a copy with another volume flow. [m3/s]"""
        return self.changed(mass_flow=flow * self.density)

    def carried(self) -> dict[str, np.ndarray | float]:
        """Return what crosses the port per second, for the balances.

        mass [kg/s], salt [kg/s], heat [kg K/s], hydraulic_power [W], and each content times the
        volume flow.
        """
        return dict(self._carried)

    @cached_property
    def _carried(self) -> dict[str, np.ndarray | float]:
        flow = self.flow
        return {
            "mass": self.mass_flow,
            "salt": self.mass_flow * self.salinity,
            "heat": self.mass_flow * self.temperature,
            "hydraulic_power": self.pressure * flow,
        } | {name: value * flow for name, value in self.contents.items()}

    def take(self, index) -> Stream:
        """Return the operating points `index` only."""

        def pick(value):
            return value[index] if isinstance(value, np.ndarray) and value.ndim else value

        changes = {
            item.name: pick(getattr(self, item.name))
            for item in fields(self)
            if item.name not in ("water", "contents")
        }
        changes["contents"] = {name: pick(value) for name, value in self.contents.items()}
        part = replace(self, **changes)
        known = {name: pick(self.__dict__[name]) for name in PROPERTIES if name in self.__dict__}
        part.__dict__.update(known)
        return part


FIELDS = tuple(item.name for item in fields(Stream))


def mixed(streams: list[Stream], pressure) -> Stream:
    """Mix streams of one water at the given pressure; mass, salt, heat and contents add up.

    Parameters
    ----------
    streams : list of Stream
        What comes together; a content that one does not tell counts as none.
    pressure : array_like
        Pressure behind. [Pa]

    Returns
    -------
    Stream
        The mixture.

    Validity
    --------
    One water, of constant heat capacity; the sum of the flows is above 0.

    Source
    ------
    definition.
    """
    mass = sum(stream.mass_flow for stream in streams)
    salt = sum(stream.mass_flow * stream.salinity for stream in streams)
    heat = sum(stream.mass_flow * stream.temperature for stream in streams)
    result = replace(
        streams[0], mass_flow=mass, pressure=pressure, temperature=heat / mass, salinity=salt / mass
    )
    flow = result.flow
    names = dict.fromkeys(name for stream in streams for name in stream.contents)
    contents = {
        name: sum(s.contents.get(name, 0.0) * s.flow for s in streams) / flow for name in names
    }
    return replace(result, contents=contents)


def demand_met(stream: Stream) -> tuple[Stream, np.ndarray | float]:
    """Let free chlorine and the demand not met yet use each other up, as at a doser.

    Parameters
    ----------
    stream : Stream
        Water as it was dosed or mixed.

    Returns
    -------
    tuple
        The stream in which one of the two is zero, and what was used up of each. [kg/m3]

    Validity
    --------
    Fast demand only, taken at once. A stream that tells only one of the two comes back as it is:
    whether its demand is known is for the caller to ask.

    Source
    ------
    definition of chlorine demand
    """
    free, owed = (stream.contents.get(name) for name in ("free_chlorine", "chlorine_demand"))
    if free is None or owed is None:
        return stream, 0.0
    used = np.minimum(free, owed)
    left = {"free_chlorine": free - used, "chlorine_demand": owed - used}
    return stream.changed(contents=left), used
