"""Throttle valve: lets pressure go, either all that is left or by its flow coefficient."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Outcome, Value, loss
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream

REFERENCE_DROP = 1e5  # Pa; a flow coefficient Kv is the flow of cold water at a drop of 1 bar
REFERENCE_DENSITY = 1000.0


def valve_drop(flow, density, flow_coefficient):
    """Return the pressure drop of a valve by its flow coefficient Kv (IEC 60534).

    flow [m3/s], density [kg/m3], flow_coefficient [m3/s at 1 bar] -> [Pa]; turbulent flow, below
    choking.
    """
    return REFERENCE_DROP * (flow / flow_coefficient) ** 2 * density / REFERENCE_DENSITY


@record
class ThrottleValveParameters(Parameters):
    """How far the valve is open."""

    flow_coefficient: float | None = quantity(
        "flow",
        "Kv: flow at a drop of 1 bar; left out, the valve takes all the pressure left",
        open_low=True,
        source="iec_60534",
        default=None,
    )
    outlet_pressure: float | None = quantity(
        "pressure",
        "pressure behind a valve that takes all the rest; left out, that of the air at an end, "
        "and where it meets another flow, that flow's",
        default=None,
    )

    def conflicts(self):
        """Refuse a set outlet pressure on a valve whose drop follows from its opening."""
        if self.flow_coefficient is not None and self.outlet_pressure is not None:
            return ["outlet_pressure: goes only with a valve without a flow coefficient"]
        return []


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class ThrottleValve(Unit):
    """Lets pressure go without doing work."""

    parameters: ThrottleValveParameters
    hazards = ()
    dials = ("flow_coefficient", "outlet_pressure")
    headline = ()
    compared = ()
    told = (Row("pressure_drop", "pressure let go"),)
    results: ClassVar[Mapping[str, Told]] = {
        "pressure_drop": Told("pressure_difference"),
        "lost_power": Told("power", "power lost"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="a valve takes nothing out")
    ends_product = False

    @property
    def gives_way(self) -> bool:  # type: ignore[override]
        """Whether the valve takes whatever pressure is left."""
        return self.parameters.flow_coefficient is None and self.parameters.outlet_pressure is None

    @property
    def anchored(self):  # type: ignore[override]
        """The valve sets the pressure behind it unless its opening is given."""
        return () if self.parameters.flow_coefficient is not None else ("outlet",)

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream at the lower pressure."""
        p = self.parameters
        if p.flow_coefficient is None:
            drop = inlet.pressure - (0.0 if p.outlet_pressure is None else p.outlet_pressure)
        else:
            drop = valve_drop(inlet.flow, inlet.density, p.flow_coefficient)
        outlet = inlet.changed(pressure=inlet.pressure - drop)
        low = np.asarray(drop) < 0

        def details() -> Details:
            values = {
                "here": Value(inlet.pressure, "pressure"),
                "behind": Value(outlet.pressure, "pressure"),
            }
            text = "the water arrives at {here}, below the {behind} behind the valve"
            return Details(
                {
                    "pressure_drop": Value(drop, "pressure_difference"),
                    "lost_power": Value(drop * inlet.flow, "power"),
                },
                findings=[Finding(low, text, values, blocks=True)] if np.any(low) else [],
                losses={"throttled": drop * inlet.flow},
            )

        return Outcome({"outlet": outlet}, loss(inlet, drop), details)
