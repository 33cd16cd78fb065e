"""Readings of the source in a file: read whole, every bad row named by its line.

    time, turbidity [NTU], uv_transmittance [%], suspended_solids [mg/L], temperature [degC]
    2026-03-01 08:00, 12.5, 78, 18, 21.5

All but the turbidity may be left out, or blank in a row. Times are those of one clock; with their
offset (+01:00) a changed clock does no harm. A transmittance is that of an unfiltered sample, per
cm at 254 nm.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.correlations.solids.turbidity import FEWEST_PAIRS, Rating, curve_from_pairs
from treatsim.errors import RequestError
from treatsim.running.timed_table import HOUR, Column, Timed, read_timed

SHADE = "uv_transmittance"
COLUMNS = {
    "turbidity": Column("turbidity"),
    SHADE: Column("uv_transmittance", blank=True, low=quantities.SIZES["uv_transmittance"][0]),
    "suspended_solids": Column("concentration", blank=True),
    "temperature": Column("temperature", blank=True),
}
MOST_NOTES = 20
SHORTEST = 24  # hours of readings
GAP = 1.5  # times the usual step between readings


class Readings(NamedTuple):
    """Readings of the source."""

    turbidity: Array  # mean of each hour, NTU
    rating: Rating | None  # solids by turbidity, where enough were measured
    absorption: Array | None  # mean of each hour, where transmittance was read, 1/m
    notes: tuple[str, ...]


def read_readings(path: Path) -> Readings:
    """Read a file of readings; RequestError names every bad row by its line."""
    log = read_timed(path, COLUMNS, ("turbidity",))
    if log.time.size < 2 or log.time[-1] - log.time[0] < SHORTEST * HOUR:
        raise RequestError(f"{path.name}: readings over a day or more belong here")
    blank = np.full(log.time.size, np.nan)
    columns = {key: log.values.get(key, blank) for key in COLUMNS}
    rating = _rating(columns)
    dark, lines = _absorption(log, columns[SHADE])
    return Readings(_hour_means(log.time, columns["turbidity"]), rating, dark,
                    (*_notes(log, columns, rating), *lines))  # fmt: skip


def _absorption(log: Timed, shade: Array) -> tuple[Array | None, list[str]]:
    """Return the absorption by the hour, or None, and what is to be said of it."""
    read = np.flatnonzero(np.isfinite(shade))
    if not read.size:
        return None, []
    ends = [quantities.text(end, SHADE) for end in (shade[read].min(), shade[read].max())]
    notes = [f"source: transmittance as read, {ends[0]} to {ends[1]}: the dose follows it by the "
             "hour"]  # fmt: skip
    blank = np.flatnonzero(~np.isfinite(shade))
    if blank.size:
        told = ", ".join(str(log.lines[n]) for n in blank[:MOST_NOTES])
        more = f" and {blank.size - MOST_NOTES} more" * (blank.size > MOST_NOTES)
        notes.append(f"{log.name}: no transmittance in {_lines(blank.size)} {told}{more}; a "
                     "straight line is drawn over, which may hide dark water")  # fmt: skip
    line = np.interp(log.time, log.time[read], -100.0 * np.log(shade[read]))
    return _hour_means(log.time, line), notes


def _lines(count: int) -> str:
    return "line" if count == 1 else "lines"


def _notes(log: Timed, columns: Mapping[str, Array], rating: Rating | None) -> tuple[str, ...]:
    """Return what stands in no row: gaps, a changed clock, and how the readings are used."""
    steps = np.diff(log.time)
    odd = [
        f"{log.place(int(n) + 1)}: no reading for {_hours(steps[n])}; a straight line is drawn "
        "over it, which may hide a storm"
        for n in np.flatnonzero(steps > GAP * np.median(steps))
    ] + list(log.notes)
    if len(odd) > MOST_NOTES:
        odd = [*odd[:MOST_NOTES], f"{log.name}: and {len(odd) - MOST_NOTES} more such lines"]
    days = (log.time[-1] - log.time[0]) / DAY
    notes = [
        f"source: turbidity replayed from {log.time.size} readings over {days:.3g} days in "
        f"{log.name}; a storm or a season that they have not seen does not come",
        *odd,
    ]
    count = int(np.sum(np.isfinite(columns["suspended_solids"])))
    if rating is not None:
        notes.append(f"source: solids by turbidity from {count} readings of both")
    elif count:
        notes.append(f"source: {count} readings of solids are not used: a curve needs "
                     f"{FEWEST_PAIRS} above 0, of more than one turbidity")  # fmt: skip
    warmth = columns["temperature"][np.isfinite(columns["temperature"])]
    if warmth.size:
        ends = [quantities.text(end, "temperature") for end in (warmth.min(), warmth.max())]
        notes.append(f"source: water was {ends[0]} to {ends[1]}; the case's own temperature is "
                     "reckoned with")  # fmt: skip
    return tuple(notes)


def _hours(seconds: float) -> str:
    return f"{seconds / HOUR:.3g} h"


def _rating(columns) -> Rating | None:
    turbidity, solids = columns["turbidity"], columns["suspended_solids"]
    both = (turbidity > 0) & (solids > 0)
    if np.sum(both) < FEWEST_PAIRS or np.ptp(turbidity[both]) == 0:
        return None
    return curve_from_pairs(turbidity[both], solids[both])


def _hour_means(time: Array, value: Array) -> Array:
    """Return the mean of every whole hour of straight lines between readings."""
    edges = time[0] + HOUR * np.arange(int((time[-1] - time[0]) / HOUR) + 1)
    every = np.union1d(time, edges)
    line = np.interp(every, time, value)
    area = np.concatenate([[0.0], np.cumsum(0.5 * (line[1:] + line[:-1]) * np.diff(every))])
    return np.diff(area[np.searchsorted(every, edges)]) / HOUR
