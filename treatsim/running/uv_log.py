"""The log of a UV reactor: sensor against the light of the case, reference sensor, tested box."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array, Flags
from treatsim.correlations.uv.optics import absorption_from_transmittance
from treatsim.correlations.uv.sensor import sensor_check
from treatsim.errors import RequestError
from treatsim.running.light_causes import Light, causes_of, drift_of
from treatsim.running.line_columns import flow_columns, flow_of
from treatsim.running.log_file import Fault, Readings
from treatsim.running.logbook_table import HABIT, LogbookParameters
from treatsim.running.records import (
    Cause,
    Learnt,
    Series,
    UnitLog,
    moment,
    percent,
    trigger_of,
    with_interval,
)
from treatsim.running.timed_table import Column
from treatsim.running.trends import Trend, trend_of
from treatsim.safety import uv_operation

LEAST_ROWS = 5
GRID = 24  # waters at which the light of the case is computed
STOP = "no water to the tank until the sensor reads at least what the case counts on: wipe the "
STOP += "sleeve, then transmittance, lamp hours, reference sensor, in that order"
WORDS = {"uv sensor": "sensor", "sensor": "sensor", "reference sensor": "reference_sensor"}


def columns_of(name: str) -> dict[str, Column]:
    """Return the columns that a reactor can use."""
    return {
        f"{name}.sensor": Column("fluence_rate"),
        f"{name}.reference_sensor": Column("fluence_rate"),
        f"{name}.intensity_ratio": Column("factor"),
        f"{name}.inlet.flow": Column("flow"),
    }


def _by_report(unit: Any) -> bool:
    return hasattr(unit.parameters, "equation")


def lacks(unit: Any, log: Readings) -> list[str]:
    """Return what a log lacks to judge a reactor."""
    if not _by_report(unit):
        return [] if log.has(f"{unit.name}.sensor") else [f"{unit.name}.sensor"]
    found = [
        c for c in (f"{unit.name}.intensity_ratio", "water.uv_transmittance") if not log.has(c)
    ]
    return found + (
        [] if any(map(log.has, flow_columns(unit.name))) else [f"{unit.name}.inlet.flow"]
    )


def study(unit: Any, case: Any, log: Readings, table: LogbookParameters) -> UnitLog:
    """Return what a log says of a reactor."""
    if _by_report(unit):
        light, spread = log.columns[f"{unit.name}.intensity_ratio"], 0.0
        expected: Any = float(unit.parameters.intensity_ratio)
    else:
        table.needed("sensor_error")
        light, spread = log.columns[f"{unit.name}.sensor"], float(table.sensor_error or 0)
        expected = _expected(unit, case, log)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = light / expected
    keep = np.isfinite(ratio) & (ratio > 0)
    left_out = tuple(
        Fault(int(n), f"{unit.name}: a reading is missing", True) for n in log.line[~keep]
    )
    if np.count_nonzero(keep) < LEAST_ROWS:
        raise RequestError(f"{log.path}: {unit.name}: {np.count_nonzero(keep)} rows can be used")
    time, ratio = log.time[keep], ratio[keep]
    trend = trend_of(time, np.log(ratio), table.baseline)
    seen = log.has("water.uv_transmittance")
    words = "light over what the case counts on" + (" in the water of the day" if seen else "")
    series = {"light": Series(words, "factor", ratio, spread * ratio)}
    checks, factor = _reference(unit, log)
    notes, outside = _off_specification(unit, case, log, keep, ratio / factor)
    duty, other = (log.columns.get(f"{unit.name}.{k}") for k in ("sensor", "reference_sensor"))
    drift = None if duty is None or other is None else drift_of(log.time, duty, other, spread)
    values = np.log(ratio)
    light_read = Light(time, values, trend, log.events, log.start, seen, drift)
    causes = (*outside, *_causes(light_read, factor), *checks)
    trigger = trigger_of(words, trend, table.sensor_trigger, -1, time, HABIT)
    learnt = _learnt(unit, trend, factor)
    if not learnt:
        notes = (*notes, "more light than the case counts on is not written back")
    return UnitLog(
        unit.name,
        "ultraviolet light",
        time,
        log.line[keep],
        left_out,
        series,
        {"light": trend},
        (trigger,),
        causes,
        learnt,
        notes,
    )


def _expected(unit: Any, case: Any, log: Readings) -> Array:
    """Return the irradiance that the case's lamp and sleeve give in the water of each row."""
    stated = np.asarray(case.sections["water"].uv_transmittance, float)
    clear = log.columns.get("water.uv_transmittance", np.full(log.time.size, stated))
    good = clear[np.isfinite(clear)]
    if not good.size:
        return np.full(log.time.size, np.nan)
    grid = np.unique(np.linspace(good.min(), good.max(), GRID))
    result = case.solve({"water.uv_transmittance": grid})
    light = np.broadcast_to(result.values[f"{unit.name}.wall_irradiance"].value, grid.shape)
    lit = np.isfinite(light) & result.solved
    if not np.any(lit):
        raise RequestError(f"{case.path}: the case has no operating point in the water of the log")
    return np.exp(np.interp(clear, grid[lit], np.log(light[lit]), left=np.nan, right=np.nan))


def _reference(unit: Any, log: Readings) -> tuple[list[Cause], float]:
    """Return what the reference sensor says, and what duty readings are divided by."""
    names = f"{unit.name}.sensor", f"{unit.name}.reference_sensor"
    if not log.has(*names):
        return [], 1.0
    duty, other = (log.columns[n] for n in names)
    with np.errstate(invalid="ignore"):
        both = np.isfinite(duty) & (other > 0)
    if not np.any(both):
        return [], 1.0
    checks = sensor_check(duty[both], other[both])
    last, when = float(checks.ratio[-1]), moment(log.start, log.time[both][-1])
    said = f"duty over reference sensor {last:.2f} at {when}"
    if checks.passes[-1]:
        return [], 1.0
    do = f"divide its readings by {last:.2f} until it is replaced"
    return [Cause("the duty sensor reads too high", "suspected", (said,), do, stop=True)], float(
        checks.divide_by[-1]
    )


def _inside(unit: Any, case: Any, log: Readings, ratio: Array) -> tuple[Flags, str] | None:
    """Return the rows inside the tested conditions and which those are; None if not known."""
    if not any(map(log.has, flow_columns(unit.name))) or not log.has("water.uv_transmittance"):
        return None
    flow, clear = flow_of(unit, log), log.columns["water.uv_transmittance"]
    known = np.isfinite(flow + clear + ratio) & (flow > 0)
    if _by_report(unit):
        dose = uv_operation.calculated_dose(
            unit.parameters.equation,
            absorption_from_transmittance(np.where(known, np.minimum(clear, 0.9999), 0.9)),
            np.where(known, log.columns[f"{unit.name}.intensity_ratio"], 1.0),
            np.where(known, flow, 1e-3),
        )
        return known & ~dose.refused, "the box of the validation report"
    proof = case.sections.get("health")
    most = getattr(proof, "uv_validated_flow", None)
    least = getattr(proof, "uv_validated_transmittance", None)
    if most is None or least is None:
        return None
    with np.errstate(invalid="ignore"):
        return known & (flow <= most) & (clear >= least) & (
            ratio >= 1
        ), "flow, transmittance and light"


def _off_specification(
    unit: Any, case: Any, log: Readings, keep: Flags, ratio: Array
) -> tuple[tuple[str, ...], list[Cause]]:
    """Return how much water went out outside the tested conditions."""
    every = np.full(log.time.size, np.nan)
    every[keep] = ratio
    found = _inside(unit, case, log, every)
    if found is None or log.time.size < 2:
        return (
            "water outside the validated conditions: not judged; flow, transmittance and what "
            "was validated are needed",
        ), []
    inside, words = found
    flow = np.nan_to_num(flow_of(unit, log))
    lasts = np.append(np.diff(log.time), np.median(np.diff(log.time)))
    out = uv_operation.off_specification(lasts, flow, inside)
    said = (
        f"outside {words}: {quantities.text(float(out.time), 'duration', digits=3)}, "
        f"{quantities.text(float(out.volume), 'volume', digits=3)}; {float(out.share_in):.1%} of "
        "the water of the log inside (the rule asks 95 % of each month)"
    )
    if out.meets:
        return (said,), []
    return (), [
        Cause(
            "water outside the validated conditions",
            "suspected",
            (said,),
            STOP,
            stop=not inside[-1],
        )
    ]


def _causes(light: Light, factor: float) -> tuple[Cause, ...]:
    """Return what the light speaks for, the most urgent first."""
    trend, found = light.trend, []
    level = trend.start + trend.now - float(np.log(factor))
    if level < 0:
        said = f"light {percent(np.expm1(level))} against lamp and sleeve of the case: the dose is "
        name = "less light than the case counts on"
        found.append(Cause(name, "suspected", (said + "below what solve tells",), STOP, stop=True))
    found += causes_of(light)
    name = "no change beyond what this sensor shows"
    level_said = f"light {with_interval(trend)} since the start"
    level_said += "" if light.seen else ", water not known"
    return tuple(found) or (Cause(name, "nothing", (level_said,), "go on reading every day"),)


def _learnt(unit: Any, trend: Trend, factor: float) -> dict[str, Learnt]:
    """Return the light as today's fouling, or as today's intensity ratio of a report.

    Never more light than the case counts on: a sensor that reads too high would earn a dose.
    """
    share = float(np.exp(trend.start + trend.now)) / factor
    if share >= 1:
        return {}
    field = "intensity_ratio" if _by_report(unit) else "fouling_factor"
    value = share * float(getattr(unit.parameters, field))
    return {f"{unit.name}.{field}": Learnt(value, value * trend.error / 1.96, "factor")}
