"""Logged pressure drops of filters: read from a CSV file, every fault named by its line."""

from __future__ import annotations

import csv
import difflib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.case_text import read_text
from treatsim.correlations.solids.filtration import element_loss
from treatsim.errors import RequestError
from treatsim.running.filter_line import Filters
from treatsim.water.properties import viscosity

HOURS, FLOW, CHANGED, TIME = "hours", "product.flow", "changed", "time"
TURBIDITY, SOLIDS, WARM = "water.turbidity", "water.suspended_solids", "water.temperature"
KINDS = {HOURS: "duration", FLOW: "flow", TURBIDITY: "turbidity", SOLIDS: "concentration",
         WARM: "temperature"}  # fmt: skip
SLACK = 0.05, 180.0  # by which a meter may outrun the clock: share, and s
LONG_GAP = 24 * 3600.0  # s of running without a reading
ODD = 2.0  # times beyond what clean to full elements lose: a wrong unit or a wrong gauge
FALL = 0.6  # of the resistance before: less without a change is a burst, a bypass or not noted
MOST_TOLD = 20  # faults


class Water(NamedTuple):
    """What stands in for columns that the log does not have. SI"""

    temperature: float
    solids: float  # kg/m3
    per_turbidity: float  # kg/m3 per NTU


@dataclass(frozen=True)
class Readings:
    """A log in order of time, SI; nan where a drop was not read."""

    lines: tuple[int, ...]
    times: tuple[datetime, ...]
    running: Array  # s on the meter
    flow: Array  # m3/s
    drop: Mapping[str, Array]  # filter -> Pa
    solids: Array  # kg/m3 in the source
    sticky: Array  # Pa s
    changed: tuple[frozenset[str], ...]  # filters whose elements were changed before the reading
    notes: tuple[str, ...]


def read_log(path: str, filters: Filters, water: Water) -> Readings:
    """Read a log of filters; RequestError lists every fault by file and line.

    Columns, in any order: `time` (ISO 8601), `hours [h]` (the running meter), `product.flow
    [m3/h]`, `NAME.pressure_drop [bar]` for one filter or several; optional `water.turbidity`,
    `water.suspended_solids`, `water.temperature`, each with its unit, and `changed` (names).
    """
    rows = list(csv.reader(io.StringIO(read_text(Path(path)))))
    if len(rows) < 2:
        raise RequestError(f"{path}: a heading and a row for each reading belong here")
    faults: list[str] = []
    columns = _columns(path, rows[0], filters.names, faults)
    _raise(faults)
    body = [(n, row) for n, row in enumerate(rows[1:], 2) if any(cell.strip() for cell in row)]
    notes: list[str] = []
    numbers = {name: _numbers(path, name, body, columns, faults, notes)
               for name in columns if name not in (TIME, CHANGED)}  # fmt: skip
    times = [_time(path, n, _cell(row, columns[TIME][0]), faults) for n, row in body]
    changed = [_changed(path, n, row, columns, filters.names, faults) for n, row in body]
    _raise(faults)
    lines = tuple(n for n, _ in body)
    _clock(path, lines, times, numbers[HOURS], faults, notes)
    _raise(faults)
    found = _made(lines, times, numbers, changed, water, notes)
    _plausible(path, found, filters, faults)
    _raise(faults)
    return found


def _raise(faults: Sequence[str]) -> None:
    if faults:
        more = len(faults) - MOST_TOLD
        raise RequestError([*faults[:MOST_TOLD], *([f"and {more} more"] if more > 0 else [])])


def _columns(
    path: str, head: Sequence[str], names: Sequence[str], faults: list[str]
) -> dict[str, tuple[int, float, float]]:
    """Return name -> (place, factor, offset) of every column."""
    drops = [f"{name}.pressure_drop" for name in names]
    kinds = KINDS | dict.fromkeys(drops, "pressure_difference")
    found: dict[str, tuple[int, float, float]] = {}
    for place, text in enumerate(head):
        name, _, unit = text.strip().partition(" [")
        unit = unit.removesuffix("]").strip()
        if name in (TIME, CHANGED):
            found[name] = (place, 1.0, 0.0)
        elif name in kinds:
            try:
                if not unit:
                    shown = quantities.QUANTITIES[kinds[name]].shown
                    raise RequestError(f'a unit is missing: write "{name} [{shown}]"')
                quantities.read(f"1 {unit}", kinds[name])
                found[name] = (place, *quantities.conversion(
                    unit, quantities.QUANTITIES[kinds[name]].si))  # fmt: skip
            except RequestError as error:
                faults.append(f"{path}:1: {name}: {error}")
        else:
            near = difflib.get_close_matches(name, [*kinds, TIME, CHANGED], n=1)
            hint = f'did you mean "{near[0]}"?' if near else f"known: {', '.join(kinds)}"
            faults.append(f'{path}:1: no such column "{name[:60]}"; {hint}')
        if [t.strip().partition(" [")[0] for t in head].count(name) > 1:
            faults.append(f"{path}:1: column {name} stands twice")
    faults += [f"{path}:1: column {name} is missing" for name in (TIME, HOURS, FLOW)
               if name not in found and not faults]  # fmt: skip
    if not faults and not set(drops) & set(found):
        faults.append(f"{path}:1: no column of a pressure drop, such as {drops[0]} [bar]")
    return found


def _cell(row: Sequence[str], place: int) -> str:
    return row[place].strip() if place < len(row) else ""


def _numbers(path: str, name: str, body, columns, faults: list[str], notes: list[str]) -> Array:
    place, factor, offset = columns[name]
    values = np.full(len(body), np.nan)
    for at, (line, row) in enumerate(body):
        text = _cell(row, place)
        if not text:
            if name.endswith("pressure_drop"):
                notes.append(f"{path}:{line}: {name} was not read; the row is used without it")
            else:
                faults.append(f"{path}:{line}: {name} is missing")
            continue
        try:
            values[at] = float(text) * factor + offset
        except ValueError:
            faults.append(f'{path}:{line}: {name} = "{text[:40]}": a number belongs here')
            continue
        if not np.isfinite(values[at]) or values[at] < 0:
            faults.append(f"{path}:{line}: {name} = {text}: a number not below 0 belongs here")
        elif name == FLOW and values[at] == 0:
            faults.append(f"{path}:{line}: {name} = 0: a reading while nothing flows says nothing")
    return values


def _time(path: str, line: int, text: str, faults: list[str]) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        told = f'time = "{text[:40]}": write it as 2026-05-01T08:00'
        faults.append(f"{path}:{line}: {told}")
        return datetime(1, 1, 1)


def _changed(path: str, line: int, row, columns, names, faults: list[str]) -> frozenset[str]:
    if CHANGED not in columns:
        return frozenset()
    found = frozenset(_cell(row, columns[CHANGED][0]).replace(";", " ").split())
    faults.extend(
        f"{path}:{line}: changed: {name} is no filter; known: {', '.join(names)}"
        for name in sorted(found - set(names))
    )
    return found


def _clock(path: str, lines, times, running: Array, faults: list[str], notes: list[str]) -> None:
    """Hold clock and meter against one another, row by row."""
    offsets = {time.tzinfo is None for time in times}
    if len(offsets) > 1:
        faults.append(f"{path}: some times have an offset from universal time and some have none")
        return
    for n in range(1, len(times)):
        here, step = f"{path}:{lines[n]}", (times[n] - times[n - 1]).total_seconds()
        ran, before = running[n] - running[n - 1], lines[n - 1]
        if step == 0:
            faults.append(f"{here}: the time of line {before} again: a reading stands twice")
        elif step < 0:
            faults.append(
                f"{here}: {times[n].isoformat()} lies before line {before}: times run back; if "
                "the clock was changed, write times with their offset, such as 08:00+02:00"
            )
        elif ran < 0:
            faults.append(f"{here}: the meter runs back by {-ran / 3600:.3g} h since line {before}")
        elif ran > step * (1 + SLACK[0]) + SLACK[1]:
            faults.append(
                f"{here}: the meter ran {ran / 3600:.3g} h in {step / 3600:.3g} h of the clock "
                f"since line {before}: the clock was changed, or a meter exchanged"
            )
        elif ran > LONG_GAP:
            notes.append(
                f"{here}: {ran / 3600:.3g} h of running since line {before} without a reading: "
                "flow and solids between are taken as the mean of both"
            )


def _made(lines, times, numbers, changed, water: Water, notes: list[str]) -> Readings:
    running = numbers[HOURS]
    if SOLIDS in numbers:
        solids = numbers[SOLIDS]
    elif TURBIDITY in numbers:
        solids = numbers[TURBIDITY] * water.per_turbidity
    else:
        solids = np.full(running.size, water.solids)
        notes.append("readings: neither turbidity nor solids logged: those of the case count")
    warm = numbers.get(WARM, np.full(running.size, water.temperature))
    if WARM not in numbers:
        notes.append("readings: no temperature logged: water.temperature counts all along")
    drop = {name.partition(".")[0]: values for name, values in numbers.items()
            if name.endswith(".pressure_drop")}  # fmt: skip
    return Readings(
        tuple(lines), tuple(times), running, numbers[FLOW], drop, solids,
        np.asarray(viscosity(warm), float), tuple(changed), tuple(notes),
    )  # fmt: skip


def _plausible(path: str, log: Readings, filters: Filters, faults: list[str]) -> None:
    """Name drops that no load explains, and falls that no change explains."""
    for name, drop in log.drop.items():
        g = filters.names.index(name)
        each = log.flow / filters.elements[g]
        ends = [
            element_loss(each, filters.clean[g] * ratio, log.sticky, filters.quadratic[g])
            for ratio in (1.0, filters.ratio[g])
        ]
        resistance = (drop / each - filters.quadratic[g] * each) / log.sticky
        last = np.nan
        for n, line in enumerate(log.lines):
            if np.isnan(drop[n]):
                continue
            here = f"{path}:{line}: {name}.pressure_drop = {drop[n] / 1e5:.3g} bar"
            if drop[n] > ODD * ends[1][n] or drop[n] < ends[0][n] / ODD:
                faults.append(
                    f"{here}: clean to full elements lose {ends[0][n] / 1e5:.3g} to "
                    f"{ends[1][n] / 1e5:.3g} bar at this flow: is the unit right?"
                )
            elif resistance[n] < FALL * last and name not in log.changed[n]:
                faults.append(
                    f"{here}: far below the reading before, and no change is noted: note it in "
                    f'the column "{CHANGED}"; else an element burst or is bypassed: stop and look'
                )
            last = resistance[n]
