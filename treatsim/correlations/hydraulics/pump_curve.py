"""Centrifugal pump: head, efficiency and power at any speed.

H = s^2 H0 - a1 s Q - a2 Q^2 with s = speed / reference speed: the affinity laws are built in, and
with neither a1 nor a2 negative the curve falls at every speed, so that its crossing with a rising
system curve is the only one.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import GRAVITY
from treatsim.errors import DomainError, require
from treatsim.ranges import Range

EFFICIENCY_RANGE = Range("flow_ratio", 0.1, 1.6, "1", "parabola of pump efficiency")
ALIKE = 1e-18  # of the sum of squares: round-off alone


class PumpCurve(NamedTuple):
    """Head curve at reference speed."""

    shutoff_head: ArrayLike  # H0, m
    linear: ArrayLike  # a1, m per m3/s
    quadratic: ArrayLike  # a2, m per (m3/s)^2


def pump_curve(shutoff_head: ArrayLike, linear: ArrayLike, quadratic: ArrayLike) -> PumpCurve:
    """Return a checked head curve.

    Parameters
    ----------
    shutoff_head : array_like
        Head at no flow and reference speed, H0. [m]
    linear : array_like
        Fall with the flow, a1. [s/m2]
    quadratic : array_like
        Fall with the square of the flow, a2. [s2/m5]

    Returns
    -------
    PumpCurve
        Same units.

    Validity
    --------
    Falling curves: DomainError if a coefficient is negative or both are 0, since a curve with a
    rising branch can meet a system twice.

    Source
    ------
    definition.
    """
    shutoff_head = require("shutoff_head", shutoff_head, 0.0, np.inf, "m", open_low=True)
    linear = require("linear fall of head", linear, 0.0, np.inf, "s/m2")
    quadratic = require("quadratic fall of head", quadratic, 0.0, np.inf, "s2/m5")
    if np.any((linear == 0) & (quadratic == 0)):
        raise DomainError("pump curve: head does not fall with flow; give a falling curve")
    return PumpCurve(shutoff_head, linear, quadratic)


def fit_pump_curve(flow: ArrayLike, head: ArrayLike) -> PumpCurve:
    """Return the falling curve closest to catalogue points, by least squares.

    Parameters
    ----------
    flow : array_like, shape (n,)
        Flows at reference speed. [m3/s]
    head : array_like, shape (n,)
        Heads. [m]

    Returns
    -------
    PumpCurve
        Through the points if there are three on a falling parabola; through two, the parabola
        that falls from no flow on.

    Validity
    --------
    At least two points of different flow for one fall coefficient, three for both. A best fit
    that would rise loses its negative coefficient; DomainError if nothing falling is left.

    Source
    ------
    definition.
    """
    flow = require("flow", flow, 0.0, np.inf, "m3/s").ravel()
    head = require("head", head, 0.0, np.inf, "m").ravel()
    distinct = len(set(flow.tolist()))  # numpy's own takes 5 ms, the first time
    if distinct < 2 or flow.size != head.size:
        raise DomainError("pump curve: give at least two points of different flow, each with head")
    scale = flow.max()
    candidates = []
    for powers in ((1, 2), (2,), (1,)):
        if distinct <= len(powers):
            continue
        matrix = np.column_stack([np.ones_like(flow), *(-((flow / scale) ** p) for p in powers)])
        fitted = np.linalg.lstsq(matrix, head, rcond=None)[0]
        if np.all(fitted > 0):
            falls = dict(zip(powers, fitted[1:], strict=True))
            error = float(np.sum((matrix @ fitted - head) ** 2))
            candidates.append((error, fitted[0], falls.get(1, 0.0), falls.get(2, 0.0)))
    if not candidates:
        raise DomainError("pump curve: the points do not fall with flow")
    least = min(error for error, *_ in candidates)
    alike = [row for row in candidates if row[0] <= least + ALIKE * float(np.sum(head**2))]
    _, shutoff, linear, quadratic = alike[0]  # through two points: falling with the square
    return pump_curve(shutoff, linear / scale, quadratic / scale**2)


def pump_head(curve: PumpCurve, flow: ArrayLike, speed: ArrayLike = 1.0) -> Array:
    """Return the head a pump adds.

    Parameters
    ----------
    curve : PumpCurve
        Head curve at reference speed. [as stated there]
    flow : array_like
        Flow. [m3/s]
    speed : array_like
        Speed over reference speed. [1]

    Returns
    -------
    ndarray, broadcast shape
        Head; negative beyond the run-out flow, where the pump resists. [m]

    Validity
    --------
    Speed 0 to 2, DomainError outside. Affinity holds within a few per cent of head between 0.5
    and 1.2; it is a law of the pump, not of the system.

    Source
    ------
    definition (affinity laws).
    """
    speed = require("speed", speed, 0.0, 2.0, "1")
    flow = np.asarray(flow, dtype=float)
    return speed**2 * curve.shutoff_head - flow * (curve.linear * speed + curve.quadratic * flow)


def run_out_flow(curve: PumpCurve, speed: ArrayLike = 1.0, head: ArrayLike = 0.0) -> Array:
    """Return the flow at which the pump still makes a given head; by default none.

    Parameters
    ----------
    curve : PumpCurve
        Head curve at reference speed. [as stated there]
    speed : array_like
        Speed over reference speed. [1]
    head : array_like
        Head. [m]

    Returns
    -------
    ndarray, broadcast shape
        Flow, 0 if the pump cannot reach the head at all. [m3/s]

    Validity
    --------
    As `pump_head`; the upper bound of every operating point.

    Source
    ------
    definition.
    """
    speed = require("speed", speed, 0.0, 2.0, "1")
    spare = np.maximum(speed**2 * curve.shutoff_head - head, 0.0)
    slope = curve.linear * speed
    root = slope + np.sqrt(slope**2 + 4 * curve.quadratic * spare)
    return np.where(spare > 0, 2 * spare / np.where(root > 0, root, np.inf), 0.0)


def dead_speed(curve: PumpCurve, static_head: ArrayLike) -> Array:
    """Return the speed below which the pump turns but moves no water.

    Parameters
    ----------
    curve : PumpCurve
        Head curve at reference speed. [as stated there]
    static_head : array_like
        Height and back pressure to be overcome at no flow. [m]

    Returns
    -------
    ndarray, broadcast shape
        Speed over reference speed. [1]

    Validity
    --------
    Static head not negative, DomainError otherwise. A ramp must cross this speed quickly.

    Source
    ------
    definition.
    """
    static_head = require("static_head", static_head, 0.0, np.inf, "m")
    return np.sqrt(static_head / curve.shutoff_head)


def pump_efficiency(
    flow: ArrayLike, speed: ArrayLike, best_flow: ArrayLike, best_efficiency: ArrayLike
) -> Array:
    """Return the pump's own efficiency: a parabola through nothing and the best point.

    Parameters
    ----------
    flow : array_like
        Flow. [m3/s]
    speed : array_like
        Speed over reference speed. [1]
    best_flow : array_like
        Flow of best efficiency at reference speed. [m3/s]
    best_efficiency : array_like
        Efficiency there. [1]

    Returns
    -------
    ndarray, broadcast shape
        Shaft to water efficiency; negative beyond twice the best flow, where the parabola has
        nothing more to say. [1]

    Validity
    --------
    EFFICIENCY_RANGE of flow / (speed * best flow). DomainError for speed or best flow not above
    0, or an efficiency above 1.

    Source
    ------
    common practice, no source.
    """
    ratio = flow_ratio(flow, speed, best_flow)
    best = require("best_efficiency", best_efficiency, 0.0, 1.0, "1", open_low=True)
    return best * ratio * (2 - ratio)


def flow_ratio(flow: ArrayLike, speed: ArrayLike, best_flow: ArrayLike) -> Array:
    """Return the flow over the flow of best efficiency at the same speed.

    Parameters
    ----------
    flow : array_like
        Flow. [m3/s]
    speed : array_like
        Speed over reference speed. [1]
    best_flow : array_like
        Flow of best efficiency at reference speed. [m3/s]

    Returns
    -------
    ndarray, broadcast shape
        Ratio, to hold against EFFICIENCY_RANGE. [1]

    Validity
    --------
    DomainError for speed or best flow not above 0.

    Source
    ------
    definition (affinity laws).
    """
    speed = require("speed", speed, 0.0, 2.0, "1", open_low=True)
    best_flow = require("best_flow", best_flow, 0.0, np.inf, "m3/s", open_low=True)
    return np.asarray(flow, dtype=float) / (speed * best_flow)


def shaft_power(
    flow: ArrayLike,
    head: ArrayLike,
    density: ArrayLike,
    speed: ArrayLike,
    best_flow: ArrayLike,
    best_efficiency: ArrayLike,
) -> Array:
    """Return the shaft power with the parabolic efficiency, finite also at a closed valve.

    Parameters
    ----------
    flow : array_like
        Flow. [m3/s]
    head : array_like
        Head added. [m]
    density : array_like
        Density. [kg/m3]
    speed : array_like
        Speed over reference speed. [1]
    best_flow : array_like
        Flow of best efficiency at reference speed. [m3/s]
    best_efficiency : array_like
        Efficiency there. [1]

    Returns
    -------
    ndarray, broadcast shape
        Power. [W]

    Validity
    --------
    EFFICIENCY_RANGE; DomainError at twice the best flow and beyond. At no flow the parabola's
    own limit, a rough figure for churning.

    Source
    ------
    common practice, no source.
    """
    ratio = require("flow_ratio", flow_ratio(flow, speed, best_flow), 0.0, np.nextafter(2, 0), "1")
    best = require("best_efficiency", best_efficiency, 0.0, 1.0, "1", open_low=True)
    # flow / efficiency with the flow cancelled
    return density * GRAVITY * head * speed * best_flow / (best * (2 - ratio))


def electrical_power(
    shaft: ArrayLike,
    motor_efficiency: ArrayLike,
    drive_efficiency: ArrayLike = 1.0,
    electronics: ArrayLike = 0.0,
) -> Array:
    """Return the electrical power behind a shaft.

    Parameters
    ----------
    shaft : array_like
        Shaft power. [W]
    motor_efficiency : array_like
        Motor efficiency; falls below half speed. [1]
    drive_efficiency : array_like
        Inverter efficiency. [1]
    electronics : array_like
        Fixed draw of controls, 5 to 20 W usual. [W]

    Returns
    -------
    ndarray, broadcast shape
        Electrical power. [W]

    Validity
    --------
    Efficiencies above 0 and not above 1, DomainError outside.

    Source
    ------
    definition.
    """
    motor = require("motor_efficiency", motor_efficiency, 0.0, 1.0, "1", open_low=True)
    drive = require("drive_efficiency", drive_efficiency, 0.0, 1.0, "1", open_low=True)
    return np.asarray(shaft) / (motor * drive) + electronics
