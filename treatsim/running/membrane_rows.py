"""Rows of a log that can be inverted: what a vessel needs, and which rows contradict themselves."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.running.log_file import Fault, Readings
from treatsim.running.logbook_table import LogbookParameters
from treatsim.running.membrane_inverse import VesselReadings
from treatsim.running.timed_table import Column

WORDS = {  # as logs have them -> end of the address
    "feed flow": "feed.flow",
    "permeate flow": "permeate.flow",
    "product flow": "permeate.flow",
    "concentrate flow": "concentrate.flow",
    "reject flow": "concentrate.flow",
    "brine flow": "concentrate.flow",
    "feed pressure": "feed.pressure",
    "concentrate pressure": "concentrate.pressure",
    "reject pressure": "concentrate.pressure",
    "brine pressure": "concentrate.pressure",
    "permeate pressure": "permeate.pressure",
    "product pressure": "permeate.pressure",
    "pressure drop": "pressure_drop",
    "dp": "pressure_drop",
    "feed conductivity": "feed.conductivity",
    "feed ec": "feed.conductivity",
    "permeate conductivity": "permeate.conductivity",
    "permeate ec": "permeate.conductivity",
    "product conductivity": "permeate.conductivity",
}


def columns_of(name: str) -> dict[str, Column]:
    """Return the columns that a vessel can use."""
    ports = ("feed", "permeate", "concentrate")
    found = {f"{name}.{port}.flow": Column("flow") for port in ports}
    found |= {f"{name}.{port}.pressure": Column("pressure", low=0.0) for port in ports}
    found |= {f"{name}.{port}.conductivity": Column("conductivity") for port in ports[:2]}
    found |= {f"{name}.{port}.concentration": Column("concentration") for port in ports[:2]}
    found[f"{name}.pressure_drop"] = Column("pressure_difference", low=0.0)
    return found


def lacks(unit: Any, log: Readings) -> list[str]:
    """Return what a log lacks to judge a vessel."""
    name = unit.name
    choices = (
        (f"{name}.feed.pressure",),
        (f"{name}.concentrate.pressure", f"{name}.pressure_drop"),
        (f"{name}.permeate.flow",),
        (f"{name}.feed.flow", f"{name}.concentrate.flow"),
        (f"{name}.feed.conductivity", f"{name}.feed.concentration"),
        (f"{name}.permeate.conductivity", f"{name}.permeate.concentration"),
        ("water.temperature",),
    )
    return [" or ".join(names) for names in choices if not any(map(log.has, names))]


class Rows(NamedTuple):
    """Rows that can be inverted."""

    time: Array  # s
    line: Array  # of the file
    readings: VesselReadings
    left_out: tuple[Fault, ...]


def salt_of(log: Readings, port: str, factor: float | None, key: str) -> Array:
    """Return the salt of a port, by its own column or by a conductivity. [kg/m3]"""
    if log.has(f"{port}.concentration"):
        return log.columns[f"{port}.concentration"]
    if factor is None:
        raise RequestError(
            f"logbook.{key} is missing: dissolved salt over conductivity at 25 degC, for example "
            f'{key} = "0.6 mg/L per uS/cm"; {port}.conductivity needs it'
        )
    return factor * log.columns[f"{port}.conductivity"]


def rows_of(unit: Any, log: Readings, table: LogbookParameters) -> Rows:
    """Return the rows in which everything was noted and nothing contradicts itself."""
    name, c = unit.name, log.columns
    parallel = float(unit.parameters.vessels_in_parallel)
    permeate = c[f"{name}.permeate.flow"]
    feed = c.get(f"{name}.feed.flow")
    feed = permeate + c[f"{name}.concentrate.flow"] if feed is None else feed
    pressure = c[f"{name}.feed.pressure"]
    drop = c.get(f"{name}.pressure_drop")
    drop = pressure - c[f"{name}.concentrate.pressure"] if drop is None else drop
    back = c.get(
        f"{name}.permeate.pressure", np.full(log.time.size, unit.parameters.permeate_pressure)
    )
    salt = salt_of(log, f"{name}.feed", table.feed_solids, "feed_solids")
    product = salt_of(log, f"{name}.permeate", table.permeate_solids, "permeate_solids")
    readings = VesselReadings(
        feed / parallel,
        pressure,
        drop,
        back,
        salt,
        permeate / parallel,
        product,
        c["water.temperature"],
    )
    checks = (
        (~np.all(np.isfinite(readings), axis=0), "a reading is missing"),
        (permeate >= 0.98 * feed, "the permeate is as much as the feed"),
        (permeate <= 0, "no permeate"),
        (product >= salt, "the permeate is as salty as the feed: meters swapped, or no membrane"),
        (drop <= 0, "the concentrate's pressure is not below the feed's"),
        (pressure - drop <= back, "no pressure is left to drive water through the membrane"),
    )
    keep = np.ones(log.time.size, bool)
    left_out: list[Fault] = []
    for bad, words in checks:
        with np.errstate(invalid="ignore"):
            now = keep & bad
        left_out += [Fault(int(line), f"{name}: {words}", True) for line in log.line[now]]
        keep &= ~now
    if not np.any(keep):
        raise RequestError(f"{log.path}: {name}: no row can be used: {left_out[0].what}")
    kept = VesselReadings(*(v[keep] for v in readings))
    return Rows(log.time[keep], log.line[keep], kept, tuple(sorted(left_out)))
