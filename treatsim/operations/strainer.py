"""Strainer: keeps leaves and stones from the pump; clogs by losing free area."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.correlations.hydraulics.friction import clogged_loss_coefficient, velocity
from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Outcome, Value, loss
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.stream import Stream

APPROACH_LIMIT = 0.15  # m/s towards the screen; common practice, no source


def strainer_drop(flow, density, bore, loss_coefficient, free_area):
    """Return the pressure drop of a strainer partly blinded. SI -> [Pa]"""
    coefficient = clogged_loss_coefficient(loss_coefficient, free_area)
    return coefficient * density * velocity(flow, bore) ** 2 / 2


@record
class StrainerParameters(Parameters):
    """A strainer and how much of it is open."""

    bore: float = quantity("small_length", "bore of the connection", open_low=True, high=2.0)
    loss_coefficient: float = quantity("factor", "K of the clean strainer, on the bore; 1 to 3")
    screen_area: float = quantity("area", "area of the whole screen", open_low=True)
    free_area: float = quantity("fraction", "share of the screen not blinded", open_low=True)


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class Strainer(Unit):
    """A screen in the line; holds back nothing that is measured as solids or turbidity."""

    parameters: StrainerParameters
    called = ("screen",)
    hazards = ("filters",)
    dials = ()
    headline = ()
    compared = ()
    told = (
        Row("pressure_drop", "pressure drop"),
        Row("approach_velocity", "velocity towards the screen"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "pressure_drop": Told("pressure_difference"),
        "approach_velocity": Told("velocity"),
        "lost_power": Told("power", "power lost"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="a screen lets germs through")
    ends_product = False

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream behind the screen."""
        p = self.parameters
        drop = strainer_drop(inlet.flow, inlet.density, p.bore, p.loss_coefficient, p.free_area)
        outlet = inlet.changed(pressure=inlet.pressure - drop)

        def details() -> Details:
            approach = inlet.flow / p.screen_area
            fast = np.asarray(approach) > APPROACH_LIMIT
            text = "water approaches the screen at {speed}; above 0.15 m/s it draws in debris"
            return Details(
                {
                    "pressure_drop": Value(drop, "pressure_difference"),
                    "approach_velocity": Value(approach, "velocity"),
                    "lost_power": Value(drop * inlet.flow, "power"),
                },
                findings=[Finding(fast, text, {"speed": Value(approach, "velocity")})]
                if np.any(fast)
                else [],
            )

        return Outcome({"outlet": outlet}, loss(inlet, drop), details)
