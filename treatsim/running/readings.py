"""Logged pressure drops of filters: read from a CSV file, every fault named by its line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.solids.filtration import element_loss
from treatsim.errors import RequestError
from treatsim.running.filter_line import Filters
from treatsim.running.timed_table import Column, Timed, raise_faults, read_timed
from treatsim.water.properties import viscosity

HOURS, FLOW, CHANGED = "hours", "product.flow", "changed"
TURBIDITY, SOLIDS, WARM = "water.turbidity", "water.suspended_solids", "water.temperature"
KINDS = {
    HOURS: Column("duration"),
    FLOW: Column("flow", open_low=True),  # a reading while nothing flows says nothing
    TURBIDITY: Column("turbidity"),
    SOLIDS: Column("concentration"),
    WARM: Column("temperature"),
}
SLACK = 0.05, 180.0  # by which a meter may outrun the clock: share, and s
LONG_GAP = 24 * 3600.0  # s of running without a reading
ODD = 2.0  # times beyond what clean to full elements lose: a wrong unit or a wrong gauge
FALL = 0.6  # of the resistance before: less without a change is a burst, a bypass or not noted


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
    drops = [f"{name}.pressure_drop" for name in filters.names]
    columns = KINDS | dict.fromkeys(drops, Column("pressure_difference", blank=True, low=0.0))
    log = read_timed(Path(path), columns, (HOURS, FLOW), (CHANGED,), name=path)
    if not set(drops) & set(log.values):
        raise RequestError(f"{path}:1: no column of a pressure drop, such as {drops[0]} [bar]")
    faults, notes = list[str](), list(log.notes)
    changed = _changed(log, filters.names, faults)
    for name in drops:
        notes += [f"{log.place(int(n))}: {name} was not read; the row is used without it"
                  for n in np.flatnonzero(np.isnan(log.values.get(name, np.empty(0))))]  # fmt: skip
    _meter(log, faults, notes)
    raise_faults(faults)
    found = _made(log, changed, water, notes)
    _plausible(path, found, filters, faults)
    raise_faults(faults)
    return found


def _changed(log: Timed, names: Sequence[str], faults: list[str]) -> list[frozenset[str]]:
    """Return the filters that were changed before each reading."""
    texts = log.texts.get(CHANGED, ("",) * len(log.lines))
    found = [frozenset(text.replace(";", " ").split()) for text in texts]
    faults.extend(
        f"{log.place(n)}: changed: {name} is no filter; known: {', '.join(names)}"
        for n, row in enumerate(found)
        for name in sorted(row - set(names))
    )
    return found


def _meter(log: Timed, faults: list[str], notes: list[str]) -> None:
    """Hold the meter of running hours against the clock, row by row."""
    running = log.values[HOURS]
    for n, (step, ran) in enumerate(zip(np.diff(log.time), np.diff(running), strict=True), 1):
        here, before = log.place(n), log.lines[n - 1]
        if ran < 0:
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


def _made(
    log: Timed, changed: Sequence[frozenset[str]], water: Water, notes: list[str]
) -> Readings:
    numbers, running = log.values, log.values[HOURS]
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
        log.lines, log.clock, running, numbers[FLOW], drop, solids,
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
                    f'the column "{CHANGED}"; else an element burst or is bypassed: stop, look, '
                    "and boil what is drunk until a test is clear"
                )
            last = resistance[n]
