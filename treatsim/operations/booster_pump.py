"""Booster pump: makes up the pressure that an exchanger and a vessel have lost."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from treatsim.operations.declarations import Earns, Row, Ruled
from treatsim.operations.high_pressure_pump import HighPressurePump, HighPressurePumpParameters
from treatsim.operations.parameters import record


@record
class BoosterPumpParameters(HighPressurePumpParameters):
    """As a high-pressure pump; flow and pressure are usually left out."""


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class BoosterPump(HighPressurePump):
    """Lifts what arrives; without a pressure of its own, to the flow it joins."""

    parameters: BoosterPumpParameters
    hazards = ("electricity", "ro")
    dials = ("flow", "outlet_pressure")
    headline = ("power",)
    compared = ()
    told = (Row("pressure_lift", "pressure added"), Row("power", "electrical power"))
    results = HighPressurePump.results
    ruled: ClassVar[Mapping[str, Ruled]] = HighPressurePump.ruled
    earns = Earns(reason="moves water, takes nothing out")
    ends_product = False
