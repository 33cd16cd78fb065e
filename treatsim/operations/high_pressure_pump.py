"""High-pressure pump: positive displacement, flow set by speed and pressure by the valve."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from treatsim.operations.declarations import Earns, Move, Row, Ruled, Told
from treatsim.operations.feed_pump import electrical_losses, motor_power
from treatsim.operations.outcome import Details, Finding, Limit, Outcome, Value, at
from treatsim.operations.parameters import Parameters, quantity, record
from treatsim.operations.unit import Unit
from treatsim.water.properties import vapour_pressure
from treatsim.water.stream import Stream

SHAFT = "shaft power handed on"  # in the energy ledger: what one unit gives, another takes
LEAST_GIVEN = 0.05  # share of the flow displaced; a pump that gives less is no pump any more
SLIP = (
    "slip back through its clearances grows with the pressure added and with wear (laminar "
    "leakage; common practice, no source); pump_efficiency counts what is displaced"
)
GIVES = "{address} = {value}, which gives {flow}"
PRESSURE_SPAN = (-9e4, 2e6, 1.2e7)  # Pa: low, guess, high of an outlet pressure left open


def displacement_shaft(flow, lift, pump_efficiency):
    """Return the shaft power of a displacement pump. flow [m3/s], lift [Pa] -> [W]"""
    return flow * lift / pump_efficiency


@record
class HighPressurePumpParameters(Parameters):
    """A displacement pump at its setting."""

    flow: float | None = quantity(
        "flow", "flow displaced; left out, it takes what arrives", open_low=True, default=None
    )
    outlet_pressure: float | None = quantity(
        "pressure",
        "pressure behind the pump; left out, the rest of the line decides",
        low=0.0,
        high=1.2e7,
        default=None,
    )
    pump_efficiency: float = quantity("efficiency", "hydraulic over shaft power")
    motor_efficiency: float = quantity("efficiency", "shaft over electrical power")
    drive_efficiency: float = quantity("efficiency", "efficiency of the drive")
    rated_power: float | None = quantity(
        "power",
        "rated shaft power; with it the motor loses efficiency at part load",
        low=1e-3,
        default=None,
    )
    volumetric_efficiency: float | None = quantity(
        "efficiency", "of the new pump, flow given over flow displaced, at slip_pressure",
        default=None,
    )  # fmt: skip
    slip_pressure: float | None = quantity(
        "pressure_difference", "pressure added at which it was measured",
        open_low=True, default=None,
    )  # fmt: skip
    wear: float = quantity("factor", "slip today over slip when new", low=1, high=100, default=1.0)
    largest_pressure: float | None = quantity(
        "pressure", "that the pump is rated for behind it", open_low=True, default=None
    )

    def conflicts(self):
        """Refuse half of a slip, and wear of none."""
        halves = (self.volumetric_efficiency is None, self.slip_pressure is None)
        if any(halves) and not all(halves):
            key = "volumetric_efficiency" if halves[0] else "slip_pressure"
            return [f"{key} is missing: a slip is known by both, or neither is given"]
        if all(halves) and np.any(np.asarray(self.wear) > 1):
            return ["wear: it multiplies a slip; give volumetric_efficiency and slip_pressure too"]
        return []

    def given(self, lift):
        """Return flow given over flow displaced at a pressure added. lift [Pa] -> [1]"""
        if self.volumetric_efficiency is None:
            return 1.0
        slip = (1 - np.asarray(self.volumetric_efficiency)) * self.wear
        return 1 - slip * np.maximum(lift, 0.0) / self.slip_pressure


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class HighPressurePump(Unit):
    """Moves a fixed flow against any pressure."""

    parameters: HighPressurePumpParameters
    called = ("hp_pump", "plunger_pump", "piston_pump")
    hazards = ("electricity", "ro")
    dials = ("flow", "outlet_pressure")
    headline = ("power",)
    compared = ()
    told = (Row("pressure_lift", "pressure added"), Row("power", "electrical power"))
    results: ClassVar[Mapping[str, Told]] = {
        "shaft_power": Told("power", "power on the shaft"),
        "power": Told("power"),
        "pressure_lift": Told("pressure_difference"),
        "volumetric_efficiency": Told("efficiency", "flow given over flow displaced"),
        "pressure_max": Told("pressure", "pressure held against the rating"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "pressure_max": Ruled("pressure", "rating", "largest pressure behind the pump"),
    }
    earns = Earns(reason="moves water, takes nothing out")
    ends_product = False
    moves_water = True
    has_shaft = True
    anchored = ("outlet",)

    def rated_flow(self):
        """Return the displaced flow, if it is stated. [m3/s]"""
        return self.parameters.flow

    def moves(self) -> Iterator[Move]:
        """Yield pressure and flow, less and more, as far as they are stated."""
        p = self.parameters
        if p.outlet_pressure is not None:
            now = float(at(p.outlet_pressure, 0))
            yield Move("less pressure: " + GIVES, "outlet_pressure", now, 0.5 * now)
            yield Move("more pressure: " + GIVES, "outlet_pressure", now, min(1.5 * now, 1.2e7))
        if p.flow is not None:
            now = float(at(p.flow, 0))
            yield Move("more flow along the membrane: " + GIVES, "flow", now, 2 * now)
            yield Move("less flow along the membrane: " + GIVES, "flow", now, 0.3 * now)

    def source_flow(self):
        """Return the displaced flow. [m3/s]"""
        return self.parameters.flow

    def flow_ceiling(self):
        """Return a flow above the displaced one. [m3/s]"""
        flow = self.parameters.flow
        return None if flow is None else 2.0 * np.asarray(flow)

    def free_parameters(self):
        """Leave the pressure to the solver if it was not given."""
        return {"outlet_pressure": PRESSURE_SPAN} if self.parameters.outlet_pressure is None else {}

    def condition_names(self):
        """Ask that what arrives is what the pump displaces."""
        return () if self.parameters.flow is None else ("displacement",)

    def conditions(self, inlets, outlets):
        """Return the surplus of the arriving flow, relative."""
        p, flow = self.parameters, inlets["inlet"].flow
        if p.volumetric_efficiency is None:
            return {"displacement": flow / p.flow - 1.0}
        lift = outlets["outlet"].pressure - inlets["inlet"].pressure
        return {"displacement": flow / p.flow - p.given(lift)}

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream at the pressure of the outlet."""
        pressure = self.parameters.outlet_pressure
        lift = np.asarray(pressure, float) - inlet.pressure
        outlet = inlet.changed(pressure=pressure)
        return Outcome(
            {"outlet": outlet},
            {"hydraulic_power": lift * inlet.flow},
            lambda: self._details(inlet, lift),
        )

    def relieved(self, details: Details, given) -> Details:
        """Return its details where a hydraulic motor gives some of its shaft power. given [W]"""
        p, shaft = self.parameters, details.values["shaft_power"].value
        left = shaft - np.asarray(given)
        power = motor_power(
            np.maximum(left, 0.0), p.motor_efficiency, p.drive_efficiency, 0.0, p.rated_power
        )
        values = {"given": Value(given, "power"), "shaft": Value(shaft, "power")}
        text = "the hydraulic motor gives {given}, more than the {shaft} the pump takes"
        return dataclasses.replace(
            details,
            values=details.values
            | {"shaft_power_given": Value(given, "power"), "power": Value(power, "power")},
            findings=details.findings
            + ([Finding(left < 0, text, values, blocks=True)] if np.any(left < 0) else []),
            power=power,
            losses=details.losses
            | electrical_losses(power, left, p.drive_efficiency)
            | {SHAFT: -np.asarray(given)},
        )

    def _details(self, inlet: Stream, lift) -> Details:
        p = self.parameters
        flow, share = inlet.flow, p.given(lift)
        shaft = displacement_shaft(flow / np.maximum(share, LEAST_GIVEN), lift, p.pump_efficiency)
        power = motor_power(shaft, p.motor_efficiency, p.drive_efficiency, 0.0, p.rated_power)
        absolute = inlet.pressure + inlet.atmosphere
        boiling = np.asarray(absolute <= vapour_pressure(inlet.temperature))
        backwards = np.asarray(lift) < 0
        spent = np.asarray(share) <= LEAST_GIVEN
        values = {"inlet": Value(inlet.pressure, "pressure")}
        findings = [
            Finding(where, text, values, blocks=True)
            for where, text in (
                (boiling, "the water boils at the suction, at {inlet}"),
                (spent, "all that the pump displaces slips back at this pressure"),
                (backwards, "the water arrives at {inlet}, above the pump's outlet pressure"),
            )
            if np.any(where)
        ]
        told = {
            "shaft_power": Value(shaft, "power"),
            "power": Value(power, "power"),
            "pressure_lift": Value(lift, "pressure_difference"),
        }
        if p.volumetric_efficiency is not None:
            told["volumetric_efficiency"] = Value(share, "efficiency")
        limits = self._rating(inlet.pressure + lift)
        told |= {limit.address: Value(limit.value, limit.quantity) for limit in limits}
        return Details(
            told,
            limits=limits,
            choices=(f"{self.name}: {SLIP}",) if p.volumetric_efficiency is not None else (),
            findings=findings,
            power=power,
            losses={
                "pump": shaft - flow * lift,
                **electrical_losses(power, shaft, p.drive_efficiency),
            },
        )

    def _rating(self, pressure) -> list[Limit]:
        """The pressure behind the pump, where the pump has a rating."""
        if self.parameters.largest_pressure is None:
            return []
        ruled = self.ruled["pressure_max"]
        return [
            Limit(ruled.words, "pressure_max", pressure, "<=", self.parameters.largest_pressure,
                  ruled.quantity, "data sheet of the pump", f"{self.name}.outlet_pressure",
                  "less pressure, or another pump", ruled.group)
        ]  # fmt: skip
