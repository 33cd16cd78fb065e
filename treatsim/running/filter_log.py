"""The log of a filter: pressure drop corrected for flow and viscosity, load, bypass."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.constants import CELSIUS_20
from treatsim.correlations.solids.filtration import blocking_constant, load_at_resistance
from treatsim.errors import RequestError
from treatsim.running.line_columns import LINE_FLOW, flow_columns, flow_of, temperature_of
from treatsim.running.log_file import Fault, Readings
from treatsim.running.logbook_table import LogbookParameters
from treatsim.running.records import (
    Cause,
    Learnt,
    Series,
    Trigger,
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
LAST = 20  # rows that stand for today
NOTICE = 0.10  # less is not called a change, as a logarithm
FALLEN = 0.85  # of a clean element's resistance: below, water goes round it
PER_KELVIN = 0.024  # fall of viscosity near 20 degC, for the error alone
SOURCE = "the element's stated end of life"
STOP = "stop giving out water and boil it; open the housing: element burst, seal bypassed, bag not "
STOP += "seated, housing empty? read turbidity behind it"
WORDS = {"filter pressure drop": "pressure_drop", "filter dp": "pressure_drop"}


def columns_of(name: str) -> dict[str, Column]:
    """Return the columns that a filter can use."""
    return {
        f"{name}.pressure_drop": Column("pressure_difference", low=0.0),
        f"{name}.inlet.pressure": Column("pressure"),
        f"{name}.outlet.pressure": Column("pressure"),
        f"{name}.inlet.flow": Column("flow"),
    }


def lacks(unit: Any, log: Readings) -> list[str]:
    """Return what a log lacks to judge a filter."""
    drop = f"{unit.name}.pressure_drop"
    ends = f"{unit.name}.inlet.pressure", f"{unit.name}.outlet.pressure"
    found = [] if log.has(drop) or log.has(*ends) else [f"{drop}, or {' and '.join(ends)}"]
    if not any(map(log.has, flow_columns(unit.name))):
        found.append(f"{unit.name}.inlet.flow or {LINE_FLOW}")
    return found


class _Rows(NamedTuple):
    """Rows that can be used, SI; flow of one element."""

    time: Array
    line: Array
    flow: Array
    drop: Array
    viscosity: Array
    resistance: Array
    gauges: float  # that make the drop
    left_out: tuple[Fault, ...]


def study(unit: Any, case: Any, log: Readings, table: LogbookParameters) -> UnitLog:
    """Return what a log says of a filter."""
    table.needed("flow_error", "pressure_error")
    p, name = unit.parameters, unit.name
    rows, notes = _rows(unit, case, log)
    pressure, flow = float(table.pressure_error or 0), float(table.flow_error or 0)
    error = np.sqrt(
        rows.gauges * (pressure / (rows.resistance * rows.viscosity * rows.flow)) ** 2
        + (flow * (1 + p.quadratic_loss * rows.flow**2 / rows.drop)) ** 2
        + (PER_KELVIN * float(table.temperature_error or 0)) ** 2
    )
    ratio = rows.resistance / float(p.resistance)
    gauge = np.full(ratio.size, pressure * rows.gauges**0.5)
    series = {
        "resistance": Series("resistance over a clean element's", "factor", ratio, ratio * error),
        "pressure_drop": Series("pressure drop as read", "pressure_difference", rows.drop, gauge),
    }
    trend = trend_of(rows.time, np.log(ratio), table.baseline)
    first = rows.time <= rows.time[0] + table.baseline
    raw = float(np.log(np.median(rows.drop[-LAST:]) / np.median(rows.drop[first])))
    causes = _causes(trend, raw, rows.time, log)
    learnt, told = _learnt(unit, trend)
    if any(cause.stop for cause in causes):
        learnt, told = {}, ("water may run past the elements: no mass is written back",)
    return UnitLog(
        name, "filter", rows.time, rows.line, rows.left_out, series, {"resistance": trend},
        _triggers(unit, rows, trend, first), causes, learnt, (*notes, *told),
    )  # fmt: skip


def _rows(unit: Any, case: Any, log: Readings) -> tuple[_Rows, tuple[str, ...]]:
    """Return the rows with a resistance, and what was assumed."""
    p, name = unit.parameters, unit.name
    kelvin, notes = temperature_of(case, log)
    share = flow_of(unit, log) / float(p.elements)
    drop = log.columns.get(f"{name}.pressure_drop")
    gauges = 1.0 if drop is not None else 2.0
    if drop is None:
        drop = log.columns[f"{name}.inlet.pressure"] - log.columns[f"{name}.outlet.pressure"]
    with np.errstate(invalid="ignore", divide="ignore"):
        warmth = np.where(np.isfinite(kelvin), kelvin, CELSIUS_20)
        sticky = case.flowsheet().source.changed(temperature=warmth).viscosity
        resistance = (drop - p.quadratic_loss * share**2) / (sticky * share)
        keep = np.isfinite(resistance + kelvin) & (resistance > 0) & (share > 0)
    left_out = tuple(
        Fault(int(n), f"{name}: a reading is missing, or no drop beyond the housing's", True)
        for n in log.line[~keep]
    )
    if np.count_nonzero(keep) < LEAST_ROWS:
        raise RequestError(f"{log.path}: {name}: {np.count_nonzero(keep)} rows can be used")
    time, line, share, drop, sticky, resistance = (
        v[keep] for v in (log.time, log.line, share, drop, sticky, resistance)
    )
    return _Rows(time, line, share, drop, sticky, resistance, gauges, left_out), notes


def _triggers(unit: Any, rows: _Rows, trend: Trend, first: Flags) -> tuple[Trigger, ...]:
    """Return when the drop reaches the element's largest at the flow of the start."""
    p = unit.parameters
    usual, viscous = float(np.median(rows.flow[first])), float(np.median(rows.viscosity[first]))
    most = (p.largest_drop - p.quadratic_loss * usual**2) / (viscous * usual)
    allowed = most / (float(p.resistance) * float(np.exp(trend.start))) - 1
    words = "resistance at which the drop reaches its largest at the flow of the start"
    return (trigger_of(words, trend, allowed, 1, rows.time, SOURCE),) if allowed > -1 else ()


def _causes(trend: Trend, raw: float, time: Array, log: Readings) -> tuple[Cause, ...]:
    """Return what the corrected drop speaks for, the most urgent first."""
    level = f"corrected for flow and viscosity, resistance {with_interval(trend)} since the start"
    found = _sudden(trend, time, log)
    if trend.start + trend.now + trend.error < np.log(FALLEN) and not any(c.stop for c in found):
        share = percent(np.exp(trend.start + trend.now) - 1)
        said = f"resistance {share} against the clean element of the case"
        name = "bypass, or another element than in the case"
        found.append(Cause(name, "suspected", (said,), STOP, stop=True))
    if any(cause.stop for cause in found):
        return tuple(found)  # what loads and what runs past cannot be told apart any more
    rest, bound = trend.slow()[0], trend.bound(NOTICE)
    if rest > bound:
        found.append(Cause("loading, as filters do", "nothing", (level,), "change them in time"))
    elif rest < -bound:
        do = "read both sides with one gauge; open the housing and look"
        name = "a slow bypass, or a gauge that drifts"
        found.append(Cause(name, "cannot tell", (level,), do))
    elif not found and abs(raw) > NOTICE:
        said = f"the drop as read changed by {percent(np.expm1(raw))}"
        found.append(Cause("flow or temperature only", "nothing", (said, level), "nothing"))
    name = "no change beyond what these instruments show"
    return tuple(found) or (Cause(name, "nothing", (level,), "go on reading every day"),)


def _sudden(trend: Trend, time: Array, log: Readings) -> list[Cause]:
    """Return what steps speak for that nobody noted an event beside."""
    found = []
    for step in trend.steps:
        if near_event(log.events, time, step.place) or abs(step.size) < NOTICE:
            continue
        when = moment(log.start, time[step.place])
        said = f"resistance {percent(np.expm1(step.size))} at once at {when}"
        if step.size < 0:
            evidence = (said, "nothing was noted that explains it")
            found.append(Cause("bypass", "suspected", evidence, STOP, stop=True))
        else:
            name = "sudden load: storm, algae, a stirred basin, iron floc"
            do = "compare raw turbidity, colour and temperature"
            found.append(Cause(name, "cannot tell", (said,), do))
    return found


def _learnt(unit: Any, trend: Trend) -> tuple[dict[str, Learnt], tuple[str, ...]]:
    """Return the captured mass that today's resistance implies, by the case's blocking law."""
    p = unit.parameters
    if p.capacity is None:
        return {}, (f"{unit.name}.capacity is not given: no mass follows from the drop",)
    clean = float(p.resistance)
    law = blocking_constant(clean, clean * p.terminal_ratio, p.capacity, p.loading_exponent)
    ends = np.exp(trend.start + trend.now + trend.error * np.array([-1.0, 0.0, 1.0]))
    if ends[1] < 1:
        return {}, ("the resistance is below that of a clean element: no mass is written back",)
    mass = load_at_resistance(clean * np.maximum(ends, 1.0), clean, law, p.loading_exponent)
    spread = float(mass[2] - mass[0]) / 3.92
    return {f"{unit.name}.captured_mass": Learnt(float(mass[1]), spread, "mass")}, ()
