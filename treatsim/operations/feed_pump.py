"""Feed pump: a centrifugal pump with a speed dial, its suction and its motor."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, ClassVar

import numpy as np

from treatsim import quantities
from treatsim.constants import GRAVITY
from treatsim.correlations.hydraulics import friction, pump_curve
from treatsim.correlations.hydraulics.motor import part_load_efficiency
from treatsim.errors import RequestError
from treatsim.operations.declarations import FASTER, SLOWER, Company, Earns, Move, Row, Ruled, Told
from treatsim.operations.outcome import Details, Finding, Limit, Outcome, Value, at
from treatsim.operations.parameters import Parameters, points, quantity, record
from treatsim.operations.sheets import Sheet
from treatsim.operations.unit import Unit
from treatsim.ranges import excursions
from treatsim.water.properties import vapour_pressure
from treatsim.water.stream import Stream

LARGEST_MISS = 0.1  # of the highest head: beyond, a point of the data sheet was misread
RUN_AWAY = 2.0  # flow over flow of best efficiency at which the efficiency parabola is used up
SUCTION_MARGIN = 0.6  # m above what the pump requires; common practice, no source


def curve_of(shutoff_head, rated_flow, rated_head, linear_share) -> pump_curve.PumpCurve:
    """Return the falling curve through shut-off and the rated point.

    Heads [m], flow [m3/s]; `linear_share` of the fall up to the rated flow is linear, the rest
    quadratic.
    """
    fall = np.asarray(shutoff_head, float) - rated_head
    return pump_curve.pump_curve(
        shutoff_head, linear_share * fall / rated_flow, (1 - linear_share) * fall / rated_flow**2
    )


def motor_power(shaft, motor_efficiency, drive_efficiency, electronics, rated_power=None):
    """Return the electrical power behind a shaft power; part load if `rated_power` is given. [W]"""
    if rated_power is not None:
        load = np.clip(shaft / rated_power, 0.0, 2.0)
        motor_efficiency = np.maximum(part_load_efficiency(load, motor_efficiency), 1e-6)
    return pump_curve.electrical_power(shaft, motor_efficiency, drive_efficiency, electronics)


def suction_criterion(available, required, pump: str) -> Limit:
    """Return the limit on the suction head of the unit `pump`. available, required [m]"""
    return Limit(
        "suction head available at the pump",
        "suction_head_available",
        available,
        ">=",
        required + SUCTION_MARGIN,
        "head",
        "common practice: 0.6 m above what the pump requires",
        f"{pump}.suction_lift",
        "bring the pump nearer to the water, or submerge it",
        "practice",
    )


def suction_findings(available) -> list[Finding]:
    """Say where the water boils at the suction. available [m]"""
    boiling = np.asarray(available) <= 0
    text = "the water boils at the suction: its head there is {available}; no pump lifts that far"
    values = {"available": Value(available, "head")}
    return [Finding(boiling, text, values, blocks=True)] if np.any(boiling) else []


def run_out_findings(beyond, ratio, head) -> list[Finding]:
    """Say where the water drives the pump. `beyond` points, ratio [1] to best flow, head [m]"""
    found = []
    if np.any(beyond):
        text = (
            "the pump runs out: its flow is {ratio} times the flow of best efficiency; throttle it "
            "(a valve, the hose and the rise it really has), or draw less behind it (a slower "
            "pump); one that feeds a faster pump must itself run faster"
        )
        found.append(Finding(beyond, text, {"ratio": Value(ratio, "factor")}, blocks=True))
    driven = ~beyond & (np.asarray(head) < 0)
    if np.any(driven):
        text = "the water falls through the pump and drives it: it takes {head}; throttle"
        found.append(Finding(driven, text, {"head": Value(-head, "head")}))
    return found


def electrical_losses(power, shaft, drive_efficiency):
    """Return what motor and drive lose of an electrical power. [W]"""
    return {"drive": power * (1 - drive_efficiency), "motor": power * drive_efficiency - shaft}


@record
class CurvePoints(Sheet):
    """Points of a pump's curve at full speed, as its data sheet shows it."""

    gives = ("shutoff_head", "rated_flow", "rated_head", "linear_share")
    needs = ("best_flow",)  # no point of a curve says where the pump runs best
    curve: tuple = points(
        "head",
        "flow",
        "two points of the curve at full speed, or more",
        example=["24 m at 0 m3/h", "18 m at 6 m3/h"],
    )

    def coefficients(self):
        """Return the curve through two points, and closest to more."""
        head, flow = np.array(self.curve).T
        if head.size < 2:
            raise RequestError("one point is no curve: give two or three, head at flow")
        if np.any(flow < 0) or np.any(head < 0):
            raise RequestError("a head and a flow below 0 belong to no pump's curve")
        if np.any(np.diff(head) >= 0):
            raise RequestError("the head must fall with the flow; a curve that rises is refused")
        fitted = pump_curve.fit_pump_curve(flow, head)
        miss = float(np.max(np.abs(pump_curve.pump_head(fitted, flow) - head)) / head.max())
        if miss > LARGEST_MISS:
            raise RequestError(f"no pump's curve: it misses a point by {miss:.0%}; read again")
        last = flow[-1]
        linear, square = fitted.linear * last, fitted.quadratic * last**2
        return {
            "shutoff_head": float(fitted.shutoff_head),
            "rated_flow": float(last),
            "rated_head": float(max(fitted.shutoff_head - linear - square, 0.0)),
            "linear_share": float(linear / (linear + square)),
        }

    def told(self, found):
        """Say how the points became a curve."""
        shut = quantities.text(found["shutoff_head"], "head")
        ends = [quantities.text(flow, "flow") for _, flow in (self.curve[0], self.curve[-1])]
        how = "falling with the square of the flow" if len(self.curve) == 2 else "by least squares"
        text = f"curve by {len(self.curve)} points from {ends[0]} to {ends[1]}, {how}"
        measured = "" if self.curve[0][1] == 0 else " by extrapolation"
        return f"{text}; {shut} at no flow{measured}"


@record
class FeedPumpParameters(Parameters):
    """A pump by its curve at full speed."""

    forms = (CurvePoints,)
    speed: float = quantity("speed", "speed dial, share of full speed", open_low=True)
    shutoff_head: float = quantity("head", "head at no flow and full speed", open_low=True, low=0)
    rated_flow: float = quantity("flow", "a flow on the curve at full speed", open_low=True)
    rated_head: float = quantity("head", "head at the rated flow and full speed", low=0)
    linear_share: float = quantity("fraction", "linear part of the curve's fall", default=0.0)
    pump_efficiency: float = quantity("efficiency", "best efficiency of the pump")
    best_flow: float | None = quantity(
        "flow",
        "flow of best efficiency at full speed; left out, the rated flow",
        open_low=True,
        default=None,
    )
    motor_efficiency: float = quantity("efficiency", "efficiency of the motor")
    drive_efficiency: float = quantity("efficiency", "efficiency of the drive")
    rated_power: float | None = quantity(
        "power",
        "rated shaft power; with it the motor loses efficiency at part load",
        low=1e-3,
        default=None,
    )
    electronics: float = quantity("power", "power of the controls, whatever the flow", low=0)
    suction_lift: float = quantity(
        "head", "height of the pump above the water; negative if submerged", low=-200, high=12
    )
    required_suction_head: float = quantity("head", "net positive suction head required", low=0)

    def conflicts(self):
        """Refuse a curve that rises: it could have two operating points."""
        if np.any(np.asarray(self.rated_head) >= np.asarray(self.shutoff_head)):
            return ["rated_head: must be below the shut-off head; a curve that rises is refused"]
        return []


@dataclass(frozen=True, kw_only=True, init=False, repr=False)
class FeedPump(Unit):
    """A pump that takes what the line lets it."""

    parameters: FeedPumpParameters
    called = ("centrifugal_pump", "submersible_pump", "well_pump", "lift_pump")
    hazards = ("electricity",)
    dials = ("speed",)
    headline = ("power",)
    compared = ()
    told = (
        Row("head", "head"),
        Row("efficiency", "efficiency"),
        Row("power", "electrical power"),
        Row("dead_speed", "dial below which nothing flows"),
    )
    results: ClassVar[Mapping[str, Told]] = {
        "head": Told("head"),
        "efficiency": Told("fraction"),
        "shaft_power": Told("power", "power on the shaft"),
        "power": Told("power"),
        "suction_head_available": Told("head", "suction head available at the pump"),
        "dead_speed": Told("speed"),
    }
    ruled: ClassVar[Mapping[str, Ruled]] = {
        "suction_head_available": Ruled("head", "practice", "suction head at the pump")
    }
    earns = Earns(reason="moves water, takes nothing out")
    ends_product = False
    moves_water = True
    sucks = True

    @cached_property
    def curve(self) -> pump_curve.PumpCurve:
        """The head curve at full speed."""
        p = self.parameters
        return curve_of(p.shutoff_head, p.rated_flow, p.rated_head, p.linear_share)

    def flow_ceiling(self):
        """Return the flow at which the head is used up. [m3/s]"""
        drop = np.maximum(-np.asarray(self.parameters.suction_lift), 0.0)
        return (
            1.5
            * pump_curve.run_out_flow(self.curve, self.parameters.speed)
            * (1 + drop / self.parameters.shutoff_head)
        )

    def static_rise(self):
        """Return the height of the pump above the water. [m]"""
        return self.parameters.suction_lift

    def rated_flow(self):
        """Return the flow of its rated point at full speed. [m3/s]"""
        return self.parameters.rated_flow

    def moves(self) -> Iterator[Move]:
        """Yield the dial, turned down and up."""
        now = float(at(self.parameters.speed, 0))
        yield Move(SLOWER, "speed", now, 0.2 * now)
        if now < 1:
            yield Move(FASTER, "speed", now, 1.0)

    def in_company(self, company: Company) -> Details:
        """Return the dial below which nothing flows, where one line and no other pump decides."""
        if company.line is None or [u for u in company.line if hasattr(u, "curve")] != [self]:
            return Details()
        rise: Any = 0.0
        for unit in company.line:
            rise = rise + np.asarray(unit.static_rise())
            if unit.outlets[:1] and unit.outlets[0] in unit.anchored:
                break
            if len(unit.outlets) > 1 or len(unit.inlets) > 1:
                return Details()
        speed = pump_curve.dead_speed(self.curve, np.maximum(rise, 0.0))
        return Details({"dead_speed": Value(speed, "speed")})

    def evaluate(self, inlet: Stream) -> Outcome:
        """Return the stream behind the pump."""
        p = self.parameters
        weight = inlet.density * GRAVITY
        head = pump_curve.pump_head(self.curve, inlet.flow, p.speed)
        gain = weight * (head - p.suction_lift)
        outlet = inlet.changed(pressure=inlet.pressure + gain)
        added = {"hydraulic_power": gain * inlet.flow}
        return Outcome({"outlet": outlet}, added, lambda: self._details(inlet, head))

    def _details(self, inlet: Stream, head) -> Details:
        p = self.parameters
        best = p.rated_flow if p.best_flow is None else p.best_flow
        ratio = pump_curve.flow_ratio(inlet.flow, p.speed, best)
        beyond = ratio >= RUN_AWAY  # the points are blocked below; their numbers mean nothing
        flow = np.where(beyond, p.speed * best, inlet.flow)
        efficiency = pump_curve.pump_efficiency(flow, p.speed, best, p.pump_efficiency)
        shaft = pump_curve.shaft_power(
            flow, np.maximum(head, 0.0), inlet.density, p.speed, best, p.pump_efficiency
        )
        power = motor_power(
            shaft, p.motor_efficiency, p.drive_efficiency, p.electronics, p.rated_power
        )
        hydraulic = inlet.density * GRAVITY * np.maximum(head, 0.0) * inlet.flow
        available = friction.suction_head_available(
            inlet.atmosphere + inlet.pressure,
            vapour_pressure(inlet.temperature),
            inlet.density,
            p.suction_lift,
            0.0,
        )
        return Details(
            {
                "head": Value(head, "head"),
                "efficiency": Value(efficiency, "fraction"),
                "shaft_power": Value(shaft, "power"),
                "power": Value(power, "power"),
                "suction_head_available": Value(available, "head"),
            },
            limits=[suction_criterion(available, p.required_suction_head, self.name)],
            findings=suction_findings(available) + run_out_findings(beyond, ratio, head),
            excursions=excursions(pump_curve.EFFICIENCY_RANGE, ratio),
            power=power,
            losses={
                "lift": inlet.density * GRAVITY * p.suction_lift * inlet.flow,
                "pump": shaft - hydraulic,
                **electrical_losses(power - p.electronics, shaft, p.drive_efficiency),
                "controls": p.electronics,
            },
        )
