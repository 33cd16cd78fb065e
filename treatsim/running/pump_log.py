"""The log of a feed pump: its head at flow and speed against its curve."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import GRAVITY
from treatsim.correlations.hydraulics.pump_curve import pump_head
from treatsim.errors import RequestError
from treatsim.running.line_columns import LINE_FLOW, flow_columns, flow_of
from treatsim.running.log_file import Fault, Readings
from treatsim.running.logbook_table import HABIT, LogbookParameters
from treatsim.running.records import (
    Cause,
    Learnt,
    Series,
    UnitLog,
    moment,
    near_event,
    percent,
    trigger_of,
    with_interval,
)
from treatsim.running.timed_table import Column
from treatsim.running.trends import Trend, trend_of

LEAST_ROWS = 5
DENSITY = 998.0  # kg/m3; fresh water, within 0.5 % of head
WORDS = {"pump pressure": "outlet.pressure", "pump speed": "speed", "speed": "speed"}


def columns_of(name: str) -> dict[str, Column]:
    """Return the columns that a pump can use."""
    return {
        f"{name}.head": Column("head", low=0.0),
        f"{name}.inlet.pressure": Column("pressure"),
        f"{name}.outlet.pressure": Column("pressure", low=0.0),
        f"{name}.inlet.flow": Column("flow"),
        f"{name}.speed": Column("speed"),
    }


def lacks(unit: Any, log: Readings) -> list[str]:
    """Return what a log lacks to judge a pump."""
    name, found = unit.name, []
    if not any(map(log.has, (f"{name}.head", f"{name}.outlet.pressure"))):
        found.append(f"{name}.head or {name}.outlet.pressure")
    if not any(map(log.has, flow_columns(name))):
        found.append(f"{name}.inlet.flow or {LINE_FLOW}")
    return found


def study(unit: Any, case: Any, log: Readings, table: LogbookParameters) -> UnitLog:
    """Return what a log says of a pump."""
    table.needed("flow_error", "pressure_error")
    name, p = unit.name, unit.parameters
    flow = flow_of(unit, log)
    speed = log.columns.get(f"{name}.speed", np.full(flow.size, float(p.speed)))
    head, notes = _head(unit, log)
    if not log.has(f"{name}.speed"):
        notes = (*notes, f"{name}.speed not noted: taken from the case; a slower pump looks worn")
    with np.errstate(invalid="ignore", divide="ignore"):
        sane = np.isfinite(flow + speed + head) & (flow > 0) & (speed > 0)
        turning = np.where(sane, speed, 1.0)
        fall = turning**2 * p.shutoff_head - pump_head(
            unit.curve, np.where(sane, flow, 0.0), turning
        )
        ratio = (head + fall) / (turning**2 * p.shutoff_head)
        keep = sane & (ratio > 0)
    left_out = tuple(
        Fault(int(n), f"{name}: a reading is missing, or no head", True) for n in log.line[~keep]
    )
    if np.count_nonzero(keep) < LEAST_ROWS:
        raise RequestError(f"{log.path}: {name}: {np.count_nonzero(keep)} rows can be used")
    time, ratio, head, fall, turning = (v[keep] for v in (log.time, ratio, head, fall, turning))
    metres = float(table.pressure_error or 0) / (DENSITY * GRAVITY)
    error = np.hypot(metres, 2 * float(table.flow_error or 0) * fall) / (
        turning**2 * float(p.shutoff_head)
    )
    series = {
        "shutoff_head": Series("shut-off head over that of the case", "factor", ratio, error),
        "head": Series("head as read", "head", head, np.full(head.size, metres)),
    }
    trend = trend_of(time, np.log(ratio), table.baseline)
    trigger = trigger_of("shut-off head of the pump", trend, table.pump_trigger, -1, time, HABIT)
    causes = _causes(trend, time, log, log.has(f"{name}.speed"), table.pump_trigger)
    return UnitLog(
        name,
        "pump",
        time,
        log.line[keep],
        left_out,
        series,
        {"shutoff_head": trend},
        (trigger,),
        causes,
        _learnt(unit, trend),
        notes,
    )


def _head(unit: Any, log: Readings) -> tuple[Array, tuple[str, ...]]:
    """Return the head that the pump adds, and what was assumed. [m]"""
    name, weight = unit.name, DENSITY * GRAVITY
    if log.has(f"{name}.head"):
        return log.columns[f"{name}.head"], ()
    outlet = log.columns[f"{name}.outlet.pressure"]
    if log.has(f"{name}.inlet.pressure"):
        return (outlet - log.columns[f"{name}.inlet.pressure"]) / weight, ()
    lift = float(unit.parameters.suction_lift)
    return outlet / weight + lift, (
        f"{name}.inlet.pressure not noted: head by the outlet and the suction lift; a clogged "
        "suction looks like a worn pump",
    )


def _causes(
    trend: Trend, time: Array, log: Readings, paced: bool, share: float
) -> tuple[Cause, ...]:
    found, notice = [], 0.5 * share
    level = f"shut-off head {with_interval(trend)} since the start, at equal speed and flow"
    for step in trend.steps:
        if near_event(log.events, time, step.place) or abs(step.size) < notice:
            continue
        said = f"shut-off head {percent(np.expm1(step.size))} at once at "
        said += moment(log.start, time[step.place])
        found.append(
            Cause(
                "air, clogged suction, voltage, a valve, or the gauge",
                "cannot tell",
                (said,),
                "vent, look at the strainer, read amps and volts",
            )
        )
    rest, bound = trend.slow()[0], trend.bound(notice)
    if rest < -bound:
        wear = ("a slow loss",) if paced else ("a slow loss; the speed is not noted",)
        found.append(
            Cause(
                "wear of the pump",
                "suspected" if paced else "cannot tell",
                (level, *wear),
                "read the pressure against a closed valve at full speed; "
                "open the pump: impeller, rings, sand",
            )
        )
    elif rest > bound:
        found.append(
            Cause(
                "a flow meter or gauge that drifts",
                "cannot tell",
                (level,),
                "a pump does not gain head: calibrate",
            )
        )
    return tuple(found) or (
        Cause(
            "no change beyond what these instruments show",
            "nothing",
            (level,),
            "go on reading every day",
        ),
    )


def _learnt(unit: Any, trend: Trend) -> dict[str, Learnt]:
    """Return the curve lowered by the head that is lost; its fall with the flow is kept."""
    p = unit.parameters
    share = float(np.exp(trend.start + trend.now))
    lost = (1 - share) * float(p.shutoff_head)
    spread = trend.error / 1.96 * share * float(p.shutoff_head)
    if float(p.rated_head) <= lost:
        return {}
    return {
        f"{unit.name}.shutoff_head": Learnt(float(p.shutoff_head) - lost, spread, "head"),
        f"{unit.name}.rated_head": Learnt(float(p.rated_head) - lost, spread, "head"),
    }
