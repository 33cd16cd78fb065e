"""The log of a reverse-osmosis vessel: normalised by the standard, and by inverting the model."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.correlations.ro import spacer_channel
from treatsim.correlations.ro.solution_line import density_at, fraction_at, line_of_water
from treatsim.correlations.ro.vessel import Membrane, VesselFeed
from treatsim.correlations.ro.vessel_inverse import pressure_for_permeate
from treatsim.errors import RequestError
from treatsim.operations.ro_element import element_of, membrane_at
from treatsim.running.flow_balance import Meters, hold_together
from treatsim.running.log_file import Fault, Readings
from treatsim.running.logbook_table import HABIT, LogbookParameters
from treatsim.running.membrane_causes import HALF, Conditions, Pattern, causes_of, pattern_of
from treatsim.running.membrane_inverse import (
    Errors,
    Implied,
    Plant,
    VesselReadings,
    invert,
    nobody,
)
from treatsim.running.membrane_normal import at_start, series_of
from treatsim.running.membrane_rows import Rows, rows_of
from treatsim.running.records import (
    Cause,
    Learnt,
    Series,
    Trigger,
    UnitLog,
    learnt_level,
    percent,
    told,
    trigger_of,
)
from treatsim.running.trends import Trend, trend_of

LEAST_ROWS = 5
LAST = 20  # rows that stand for today's conditions
INPUTS = {  # of the case, by trend
    "water": "water_permeability_ratio",
    "salt": "salt_permeability_ratio",
    "drop": "pressure_drop_ratio",
}


def study(
    unit: Any,
    case: Any,
    log: Readings,
    table: LogbookParameters,
    report: Callable[[int, int], None] = nobody,
) -> UnitLog:
    """Return what a log says of a vessel of a case."""
    table.needed("flow_error", "pressure_error", "conductivity_error", "temperature_error")
    plant = plant_of(unit, case.flowsheet().source.water)
    errors = _errors(unit, log, table)
    meters = hold_together(
        unit, log, table, _explained(unit, log, rows_of(unit, log, table), (plant, errors, report)),
        (plant, errors),
    )  # fmt: skip
    rows, implied = meters.rows, meters.implied
    first = rows.time <= rows.time[0] + table.baseline
    start = VesselReadings(*(float(np.median(v[first])) for v in rows.readings))
    series, outside = series_of(unit, plant, rows.readings, implied, start)
    trends = _trends(series, rows.time, table.baseline)
    notice = {
        "water": HALF * table.flow_trigger,
        "salt": HALF * table.passage_trigger,
        "drop": HALF * table.drop_trigger,
    }
    pattern = pattern_of(trends, notice, rows.time, log.events, log.start)
    causes = causes_of(pattern, _conditions(plant, rows.readings, implied, first))
    causes = _with_meters(causes, meters, pattern)
    notes = (
        *filter(None, (meters.note,)),
        *_notes(unit.name, log, table),
        *outside,
        *(f"noted beside a step: {text}" for text in pattern.explained),
        _pressures(plant, start, trends),
    )
    learnt = _learnt(unit.name, trends, pattern, causes, meters.doubt)
    return UnitLog(
        unit.name, "reverse osmosis", rows.time, rows.line, rows.left_out, series, trends,
        _triggers(trends, table, rows.time), causes, learnt, notes,
    )  # fmt: skip


def _with_meters(causes: tuple[Cause, ...], meters: Meters, pattern: Pattern) -> tuple[Cause, ...]:
    """Put what the flow meters say behind what stops, and beside what rests on flow."""
    found = [
        cause._replace(evidence=(*cause.evidence, meters.remark))
        if pattern.slow["water"] and not cause.stop and cause.verdict != "nothing"
        else cause
        for cause in causes
    ]
    if meters.cause is None:
        return tuple(found)
    rest = [cause for cause in found if not cause.stop and cause.verdict != "nothing"]
    return (*(cause for cause in found if cause.stop), meters.cause, *rest)


def _errors(unit: Any, log: Readings, table: LogbookParameters) -> Errors:
    """Return the standard errors of the instruments."""
    flow, pressure, conductivity, temperature = (
        float(getattr(table, f"{kind}_error"))
        for kind in ("flow", "pressure", "conductivity", "temperature")
    )
    two = not log.has(f"{unit.name}.pressure_drop")
    return Errors(flow, pressure, conductivity, temperature, two)


def _explained(
    unit: Any, log: Readings, rows: Rows, how: tuple[Plant, Errors, Callable[[int, int], None]]
) -> tuple[Rows, Implied]:
    """Return the rows that a membrane explains, and what each implies."""
    implied = invert(rows.readings, *how)
    sound = implied.found & np.isfinite(implied.drop)
    lost = [
        Fault(int(line), f"{unit.name}: no membrane explains this row", True)
        for line in rows.line[~sound]
    ]
    if np.count_nonzero(sound) < LEAST_ROWS:
        dropped = [fault for fault in log.faults if fault.dropped]
        also = f"; {len(dropped)} rows were left out, such as line {dropped[0].line}: "
        raise RequestError(
            f"{log.path}: {unit.name}: {np.count_nonzero(sound)} rows can be inverted, "
            f"{LEAST_ROWS} are needed; check units and meters"
            f"{also + dropped[0].what if dropped else ''}"
        )
    kept = Rows(
        rows.time[sound], rows.line[sound], VesselReadings(*(v[sound] for v in rows.readings)),
        (*rows.left_out, *lost),
    )  # fmt: skip
    return kept, Implied(*(v[..., sound] for v in implied))


def _triggers(
    trends: Mapping[str, Trend], table: LogbookParameters, time: Array
) -> tuple[Trigger, ...]:
    return tuple(
        trigger_of(words, trends[key], share, sign, time, HABIT)
        for words, key, share, sign in (
            ("normalised permeate flow", "flow_normalised", table.flow_trigger, -1),
            ("pressure drop of the feed channel", "drop", table.drop_trigger, 1),
            ("normalised salt passage", "passage_normalised", table.passage_trigger, 1),
        )
    )


def _learnt(
    name: str, trends: Mapping[str, Trend], pattern: Pattern, causes: Sequence[Cause], doubt: str
) -> dict[str, Learnt]:
    """Return the permeabilities and the drop of today as inputs of the case.

    What came at once through a seal is not the membrane's: it is left out, and said.
    """
    seal = [cause.name for cause in causes if cause.stop]
    found = {}
    for key in INPUTS:
        but = pattern.open_steps[key] if seal else ()
        shares = ", ".join(percent(np.expm1(step.size)) for step in but)
        said = [f"without {shares} at once, no membrane's: {'; '.join(seal)}"] if but else []
        said += [doubt] if doubt else []
        found[f"{name}.{INPUTS[key]}"] = learnt_level(trends[key], "factor", but, "; ".join(said))
    return found


def plant_of(unit: Any, water: Any) -> Plant:
    """Return geometry, new membrane and water of a vessel of a case."""
    p = unit.parameters
    element = element_of(p.element)
    return Plant(
        element.channel,
        int(p.elements_in_series),
        spacer_channel.correlation(p.correlation),
        lambda kelvin: membrane_at(
            element, p.correlation, kelvin, 1.0, 1.0, p.reflection_coefficient
        ),
        lambda kelvin: line_of_water(water, kelvin),
    )


def _trends(series: Mapping[str, Series], time: Array, baseline: float) -> dict[str, Trend]:
    found = {}
    for key, one in series.items():
        if key in ("flow", "temperature"):
            continue
        good = np.isfinite(one.values)
        if np.count_nonzero(good) >= LEAST_ROWS:
            found[key] = trend_of(time[good], np.log(one.values[good]), baseline)
    return found


def _conditions(
    plant: Plant, readings: VesselReadings, implied: Implied, first: Flags
) -> Conditions:
    """Compare the start with the last rows, as read and by the membrane of the start alone."""
    start = VesselReadings(*(float(np.median(v[first])) for v in readings))
    last = VesselReadings(*(float(np.median(v[-LAST:])) for v in readings))
    water, salt = (float(np.median(v[first])) for v in (implied.water, implied.salt))
    still = float(np.median(implied.drop[first]))
    both = [at_start(plant, at, water, salt, still) for at in (start, last)]

    def change(name: str) -> float:
        return float(np.log(getattr(last, name) / getattr(start, name)))

    def modelled(name: str) -> float:
        return float(np.log(getattr(both[1], name) / getattr(both[0], name)))

    return Conditions(
        change("permeate_flow"),
        change("permeate_concentration"),
        change("feed_pressure"),
        change("feed_concentration"),
        last.temperature - start.temperature,
        modelled("permeate_flow"),
        modelled("permeate_concentration"),
    )


def _pressures(plant: Plant, start: VesselReadings, trends: Mapping[str, Trend]) -> str:
    """Say what feed pressure the flow of the start takes with today's membrane."""
    line = plant.line(start.temperature)
    new = plant.membrane(start.temperature)
    fraction = fraction_at(line, start.feed_concentration)
    feed = VesselFeed(
        start.feed_flow * density_at(line, fraction), fraction, 0.0, start.permeate_pressure
    )
    ages = [np.array([t.start, t.start + t.now]) for t in (trends["water"], trends["salt"])]
    membrane = Membrane(
        new.water_permeability * np.exp(ages[0]),
        new.salt_permeability * np.exp(ages[1]),
        new.reflection,
    )
    found = pressure_for_permeate(
        start.permeate_flow, feed, membrane, plant.channel, line, plant.elements, plant.law
    )
    extra = 0.5 * start.pressure_drop * np.expm1(trends["drop"].now)
    if not np.all(found.reached):
        return "the flow of the start is not reached with today's membrane at any pressure"
    before, now = (told(float(p), "pressure") for p in found.pressure + np.array([0.0, extra]))
    return f"feed pressure for the flow of the start at its conditions: then {before}, now {now}"


def _notes(name: str, log: Readings, table: LogbookParameters) -> list[str]:
    factors = {"feed": table.feed_solids, "permeate": table.permeate_solids}
    found = [
        f"{name}.{port}.conductivity taken as compensated to 25 degC, salt "
        f"{told(factor, 'salt_per_conductivity')}"
        for port, factor in factors.items()
        if factor is not None and not log.has(f"{name}.{port}.concentration")
    ]
    if not log.has(f"{name}.permeate.pressure"):
        found.append("permeate pressure not noted: taken from the case")
    found.append(
        "errors are of single readings, each on its own; what a meter shows wrong always the same "
        "shifts the ratio to new, not the change since the start"
    )
    return found
