"""Readings of the source in a file: read whole, every bad row named by its line.

    time, turbidity [NTU], suspended_solids [mg/L], temperature [degC]
    2026-03-01 08:00, 12.5, 18, 21.5

Suspended solids and temperature may be left out, or blank in a row. Times are those of one clock;
with their offset (+01:00) a changed clock does no harm.
"""

from __future__ import annotations

import csv
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.correlations.solids.turbidity import FEWEST_PAIRS, Rating, curve_from_pairs
from treatsim.errors import RequestError

COLUMNS = {
    "turbidity": "turbidity",
    "suspended_solids": "concentration",
    "temperature": "temperature",
}
LARGEST_FILE = 20_000_000  # bytes
MOST_TOLD = 20  # faults of a file, or notes of it
SHORTEST = 24  # hours of readings
GAP = 1.5  # times the usual step between readings
HOUR = 3600.0
EPOCH = datetime(2000, 1, 1)


class Readings(NamedTuple):
    """Readings of the source."""

    turbidity: Array  # mean of each hour, NTU
    rating: Rating | None  # solids by turbidity, where enough were measured
    notes: tuple[str, ...]


class Row(NamedTuple):
    """One row of the file in SI; a blank is NaN."""

    line: int
    time: float  # s
    offset: object  # of the clock to UTC, None where the file says nothing
    values: dict[str, float]


def read_readings(path: Path) -> Readings:
    """Read a file of readings; RequestError names every bad row by its line."""
    name = path.name
    lines = _lines(path)
    head, scales = _header(lines, name)
    faults: list[str] = []
    rows = [
        row for number, cells in lines[1:] if (row := _row(number, cells, head, scales, faults))
    ]
    faults += _order_faults(rows)
    if faults:
        faults = sorted(set(faults), key=lambda text: int(text.split(":")[0].split()[1]))
        more = [f"and {len(faults) - MOST_TOLD} more"] * (len(faults) > MOST_TOLD)
        raise RequestError([f"{name}, {one}" for one in faults[:MOST_TOLD]] + [
            f"{name}: {one}" for one in more])  # fmt: skip
    if len(rows) < 2 or rows[-1].time - rows[0].time < SHORTEST * HOUR:
        raise RequestError(f"{name}: readings over a day or more belong here")
    time = np.array([row.time for row in rows])
    columns = {key: np.array([row.values.get(key, np.nan) for row in rows]) for key in COLUMNS}
    rating = _rating(columns)
    return Readings(
        _hour_means(time, columns["turbidity"]), rating, _notes(rows, columns, rating, name)
    )


def _lines(path: Path) -> list[tuple[int, list[str]]]:
    """Return the cells of every line that is neither empty nor a remark, with its number."""
    name = path.name
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise RequestError(f"{name}: larger than {LARGEST_FILE // 1_000_000} MB")
        text = path.read_text("utf-8-sig")
    except FileNotFoundError as error:
        raise RequestError(f'"{name}": no such file beside the case') from error
    except (OSError, UnicodeDecodeError) as error:
        raise RequestError(f'"{name}": not readable as a text in UTF-8') from error
    kept = [(number, line) for number, line in enumerate(text.splitlines(), 1)
            if line.strip() and not line.lstrip().startswith("#")]  # fmt: skip
    if not kept:
        raise RequestError(f"{name}: empty")
    if ";" in kept[0][1]:
        raise RequestError(f"{name}, line {kept[0][0]}: columns are parted by commas here, not ;")
    return [(number, [cell.strip() for cell in next(csv.reader([line]))]) for number, line in kept]


def _header(lines, name: str) -> tuple[list[str], dict[str, tuple[float, float]]]:
    """Return the columns in order, and start and step of each one's unit in SI."""
    number, cells = lines[0]
    head, scales, faults = list[str](), dict[str, tuple[float, float]](), list[str]()
    for cell in cells:
        key, _, unit = cell.rstrip("]").partition("[")
        key, unit = key.strip(), unit.strip()
        head.append(key)
        if key == "time" and not unit:
            continue
        if key not in COLUMNS:
            known = ", ".join(f"{k} [{quantities.QUANTITIES[v].shown}]" for k, v in COLUMNS.items())
            faults.append(f'"{cell}" is no column; known: time, {known}')
            continue
        try:
            start, end = (quantities.read(f"{n} {unit}", COLUMNS[key]) for n in (0, 1))
            scales[key] = (start, end - start)
        except RequestError as error:
            faults.append(f'"{cell}": {error}')
    faults += [f"{key} stands twice" for key in dict.fromkeys(head) if head.count(key) > 1]
    faults += [f"no column {key}" for key in ("time", "turbidity") if key not in head]
    if faults:
        raise RequestError([f"{name}, line {number}: {one}" for one in faults])
    return head, scales


def _row(number: int, cells, head, scales, faults: list[str]) -> Row | None:
    """Return one row, or None after adding what is wrong with it."""
    if len(cells) != len(head):
        told = f"{len(cells)} cells where the head has {len(head)}"
        faults.append(f"line {number}: {told}; a decimal comma?")
        return None
    entries = dict(zip(head, cells, strict=True))
    try:
        when = datetime.fromisoformat(entries["time"])
    except ValueError:
        told = f'"{entries["time"]}" is no time; write 2026-03-01 08:00'
        faults.append(f"line {number}: {told}")
        return None
    values, before = dict[str, float](), len(faults)
    for key, (start, step) in scales.items():
        if not entries[key] and key != "turbidity":
            continue
        bounds = quantities.QUANTITIES[COLUMNS[key]]
        try:
            value = start + step * float(entries[key])
        except ValueError:
            faults.append(f'line {number}: {key} = "{entries[key]}" is no number')
            continue
        if not bounds.low <= value <= bounds.high:
            ends = [quantities.text(end, COLUMNS[key]) for end in (bounds.low, bounds.high)]
            faults.append(f"line {number}: {key} = {entries[key]} lies outside "
                          f"{ends[0]} to {ends[1]}")  # fmt: skip
            continue
        values[key] = value
    if len(faults) > before:
        return None
    clock = when.replace(tzinfo=None) - (when.utcoffset() or timedelta())
    return Row(number, (clock - EPOCH).total_seconds(), when.utcoffset(), values)


def _order_faults(rows: list[Row]) -> list[str]:
    """Return what is wrong between one row and the next."""
    faults = []
    for one, two in pairwise(rows):
        step, place = two.time - one.time, f"line {two.line}"
        if (one.offset is None) != (two.offset is None):
            faults.append(f"{place}: times with and without their offset to UTC; write one way")
        elif step == 0:
            faults.append(f"{place}: the time of line {one.line} again; keep one of the two")
        elif step < 0:
            faults.append(
                f"{place}: {_hours(-step)} before line {one.line}; was the clock set back? mend "
                "the times, or write them with their offset, such as +01:00"
            )
    return faults


def _notes(rows: list[Row], columns, rating: Rating | None, name: str) -> tuple[str, ...]:
    """Return what stands in no row: gaps, a changed clock, and how the readings are used."""
    steps = np.diff([row.time for row in rows])
    usual = float(np.median(steps))
    odd = []
    for one, two, step in zip(rows[:-1], rows[1:], steps, strict=True):
        if step > GAP * usual:
            odd.append(f"{name}, line {two.line}: no reading for {_hours(step)}; a straight line "
                       "is drawn over it, which may hide a storm")  # fmt: skip
        if one.offset != two.offset:
            odd.append(f"{name}, line {two.line}: the clock was changed from {one.offset} to "
                       f"{two.offset} ahead of UTC; reckoned with")  # fmt: skip
    if len(odd) > MOST_TOLD:
        odd = [*odd[:MOST_TOLD], f"{name}: and {len(odd) - MOST_TOLD} more such lines"]
    days = (rows[-1].time - rows[0].time) / DAY
    notes = [
        f"source: turbidity replayed from {len(rows)} readings over {days:.3g} days in {name}; a "
        "storm or a season that they have not seen does not come",
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
