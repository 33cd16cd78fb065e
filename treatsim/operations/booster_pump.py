"""Booster pump: makes up the pressure that an exchanger and a vessel have lost."""

from __future__ import annotations

from dataclasses import dataclass

from treatsim.operations.high_pressure_pump import HighPressurePump, HighPressurePumpParameters


@dataclass(frozen=True, kw_only=True)
class BoosterPumpParameters(HighPressurePumpParameters):
    """As a high-pressure pump; flow and pressure are usually left out."""


@dataclass(frozen=True, kw_only=True)
class BoosterPump(HighPressurePump):
    """Lifts what arrives; without a pressure of its own, to the flow it joins."""

    parameters: BoosterPumpParameters
