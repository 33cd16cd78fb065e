"""Hose or pipe: friction in every regime, fittings, and height."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.constants import GRAVITY
from treatsim.correlations.hydraulics import friction
from treatsim.operations.declarations import Earns, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Outcome, Value, loss
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.ranges import excursions
from treatsim.water.stream import Stream

VACUUM = -1e4  # Pa; below, a lay-flat hose closes (common practice)


def hose_drop(flow, density, viscosity, length, bore, roughness, fittings, rise):
    """Return (friction, static) pressure drop of a hose. SI; rise [m] may be negative -> [Pa]"""
    friction_drop = friction.pressure_loss(
        flow, length, bore, roughness, density, viscosity, fittings
    )
    return friction_drop, density * GRAVITY * rise


@record
class HoseParameters(Parameters):
    """A hose as laid."""

    length: float = quantity("length", "length as laid", high=1e5)
    bore: float = quantity("small_length", "inner diameter", open_low=True, high=2.0)
    roughness: float = quantity(
        "small_length", "absolute roughness of the wall", high=0.01, source="pretreatment practice"
    )
    rise: float = quantity("length", "height of the outlet above the inlet", low=-500, high=500)
    fittings: float = quantity("factor", "sum of the loss coefficients K of fittings and ends")

    def conflicts(self):
        """Refuse a wall rougher than a twentieth of the bore."""
        if np.any(np.asarray(self.roughness) > friction.ROUGHEST * np.asarray(self.bore)):
            return ["roughness: more than a twentieth of the bore is no pipe"]
        return []


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class Hose(Unit):
    """A hose that runs full."""

    parameters: HoseParameters
    called = ("pipe", "pipeline", "tube")
    hazards = ()
    dials = ()
    headline = ()
    compared = ()
    told = (Row("velocity", "velocity"), Row("friction_loss", "friction loss"))
    results: ClassVar[Mapping[str, Told]] = {
        "velocity": Told("velocity"),
        "reynolds_number": Told("factor", "Reynolds number"),
        "friction_loss": Told("pressure_difference"),
        "static_loss": Told("pressure_difference", "pressure taken by the rise"),
        "lost_power": Told("power", "power lost to friction"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {}
    earns = Earns(reason="a pipe takes nothing out")
    ends_product = False

    def static_rise(self):
        """Return the height gained. [m]"""
        return self.parameters.rise

    def pipe(self):
        """Return length and bore. [m]"""
        return self.parameters.length, self.parameters.bore

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream at the far end."""
        p = self.parameters
        friction_drop, static_drop = hose_drop(
            inlet.flow,
            inlet.density,
            inlet.viscosity,
            p.length,
            p.bore,
            p.roughness,
            p.fittings,
            p.rise,
        )
        drop = friction_drop + static_drop
        outlet = inlet.changed(pressure=inlet.pressure - drop)

        def details() -> Details:
            reynolds = friction.reynolds_number(inlet.flow, p.bore, inlet.density, inlet.viscosity)
            lowest = np.minimum(inlet.pressure, outlet.pressure)
            sucked = np.asarray(lowest) < VACUUM
            text = "the pressure falls to {lowest}: a lay-flat hose closes; use a spiral hose"
            return Details(
                {
                    "velocity": Value(friction.velocity(inlet.flow, p.bore), "velocity"),
                    "reynolds_number": Value(reynolds, "factor"),
                    "friction_loss": Value(friction_drop, "pressure_difference"),
                    "static_loss": Value(static_drop, "pressure_difference"),
                    "lost_power": Value(friction_drop * inlet.flow, "power"),
                },
                findings=[Finding(sucked, text, {"lowest": Value(lowest, "pressure")})]
                if np.any(sucked)
                else [],
                excursions=excursions(friction.CHURCHILL_RANGE, reynolds),
                losses={"friction": friction_drop * inlet.flow, "lift": static_drop * inlet.flow},
                sources=("churchill_1977",),
            )

        return Outcome({"outlet": outlet}, loss(inlet, drop), details)
