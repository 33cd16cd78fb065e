"""Hydraulic motor on the shaft of a high-pressure pump, driven by the concentrate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.high_pressure_pump import SHAFT
from treatsim.operations.outcome import Details, Finding, Outcome, Value, loss
from treatsim.operations.parameters import Parameters, quantity, record, reference
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream


def recovered_shaft(flow, drop, efficiency):
    """Return the shaft power a hydraulic motor gives. flow [m3/s], drop [Pa] -> [W]"""
    return efficiency * flow * drop


@record
class HydraulicMotorParameters(Parameters):
    """The motor, and the pump on its shaft."""

    pump: str = reference("name of the high-pressure pump on the same shaft")
    efficiency: float = quantity("efficiency", "shaft power given over hydraulic power taken")
    outlet_pressure: float = quantity("pressure", "pressure behind the motor", default=0.0)

    def conflicts(self):
        """Refuse a motor that is tied to nothing."""
        if not isinstance(self.pump, str) or not self.pump:
            return [f"pump = {self.pump!r}: the name of a pump belongs here"]
        return []


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class HydraulicMotor(Unit):
    """Takes the concentrate's pressure and helps to turn the pump it is tied to."""

    parameters: HydraulicMotorParameters
    hazards = ("ro",)
    dials = ()
    headline = ()
    compared = ()
    told = (Row("shaft_power", "shaft power given back"),)
    results: ClassVar[Mapping[str, Told]] = {
        "shaft_power": Told("power"),
        "lost_power": Told("power", "power lost"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="works on the concentrate, not on the product")
    ends_product = False
    anchored = ("outlet",)

    def tied_to(self) -> str:
        """Return the name of the pump."""
        return self.parameters.pump

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the spent concentrate."""
        p = self.parameters
        drop = inlet.pressure - p.outlet_pressure
        outlet = inlet.changed(pressure=p.outlet_pressure + 0.0 * inlet.pressure)
        low = np.asarray(drop) < 0

        def details() -> Details:
            shaft = recovered_shaft(inlet.flow, drop, p.efficiency)
            text = "the concentrate arrives at {here}, below the pressure behind the motor"
            return Details(
                {
                    "shaft_power": Value(shaft, "power"),
                    "lost_power": Value(drop * inlet.flow - shaft, "power"),
                },
                findings=[Finding(low, text, {"here": Value(inlet.pressure, "pressure")}, True)]
                if np.any(low)
                else [],
                losses={"hydraulic motor": drop * inlet.flow - shaft, SHAFT: shaft},
            )

        return Outcome({"outlet": outlet}, loss(inlet, drop), details)
