"""Readings of a log: CSV with a header `name [unit]` and a time on every row.

Nothing is dropped in silence: every row that is left out is a `Fault` with its line and the reason.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.running.timed_table import TIME, Column, cells_of, scale_of, seconds_of

EVENT, METER = "event", "hour_meter"
SEPARATORS = ";\t"  # beside the comma
HEAD = re.compile(r"\s*(.*?)\s*(?:[\[(]([^\])]*)[\])])?\s*$")


class Fault(NamedTuple):
    """What is wrong with a row."""

    line: int  # of the file
    what: str
    dropped: bool


class Readings(NamedTuple):
    """Rows in the order of time; a number that was not noted is NaN."""

    path: str
    start: datetime | None  # clock at time 0; None for a log in hours
    time: Array  # s since the first row
    line: Array  # of the file
    columns: Mapping[str, Array]  # SI
    events: tuple[tuple[float, str], ...]  # s, words
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    rows: int  # of the file, with those left out

    def has(self, *names: str) -> bool:
        """Whether every one of these columns is there."""
        return all(name in self.columns for name in names)


class Table(NamedTuple):
    """A file as read, before its rows are held against one another."""

    start: datetime | None
    time: Array  # s; NaN where unreadable
    line: Array
    columns: dict[str, Array]
    events: list[str]
    faults: list[Fault]
    notes: list[str]
    rows: int  # of the file, with those of too few cells


def read_table(path: str, known: Mapping[str, Column], words: Mapping[str, str]) -> Table:
    """Read a file; RequestError where its header makes no log.

    `known` names the columns that can be used, `words` the trade's words for some of them.
    """
    (first, header), *body = cells_of(Path(path), path, SEPARATORS)
    heads, notes = _heads(header, known, words, f"{path}:{first}")
    faults = [
        Fault(line, f"{len(row)} cells under {len(header)} heads", True)
        for line, row in body
        if len(row) != len(header)
    ]
    whole = [(line, row) for line, row in body if len(row) == len(header)]
    lines = [line for line, _ in whole]
    start, time = None, np.empty(0)
    columns: dict[str, Array] = {}
    events = [""] * len(whole)
    for place, (name, unit) in heads.items():
        cells = [row[place] for _, row in whole]
        if name == EVENT:
            events = cells
        elif name == TIME:
            start, time = _times(cells, unit, lines, faults)
        else:
            columns[name] = _numbers(cells, name, unit, known[name], lines, faults)
    return Table(start, time, np.array(lines, int), columns, events, faults, notes, len(body))


def _heads(
    header: Sequence[str], known: Mapping[str, Column], words: Mapping[str, str], where: str
) -> tuple[dict[int, tuple[str, str]], list[str]]:
    """Return name and unit of each column that can be used, by its place."""
    found: dict[int, tuple[str, str]] = {}
    notes, problems = [], []
    for place, head in enumerate(header):
        match = HEAD.match(head)
        word, unit = (match[1], match[2] or "") if match else (head, "")
        plain = " ".join(word.lower().replace("_", " ").split())
        name = word if word in known else words.get(plain, plain.replace(" ", "_"))
        if name not in (*known, TIME, EVENT):
            near = difflib.get_close_matches(name, [*known, TIME, EVENT], n=1, cutoff=0.8)
            hint = f'; "{near[0]}" would be' if near else ""
            notes.append(f'column "{head[:60]}" is not used{hint}')
            continue
        if name in [one for one, _ in found.values()]:
            problems.append(f"{where}: two columns are {name}; keep one")
        if name in known and unit:
            try:
                scale_of(name, unit, known[name].kind)
            except RequestError as error:
                problems.append(f"{where}: {error}")
        found[place] = (name, unit)
    if TIME not in [name for name, _ in found.values()]:
        problems.append(f'{where}: no column "time", as 2031-05-01 06:00, or "time [h]"')
    if problems:
        raise RequestError(problems)
    return found, notes


def _scale(name: str, unit: str, kind: str) -> tuple[float, float] | None:
    """Return factor and offset of a head's unit; None where each cell must carry its own."""
    if unit:
        return scale_of(name, unit, kind)
    return (1.0, 0.0) if quantities.QUANTITIES[kind].si == "1" else None


def _numbers(cells, name: str, unit: str, column: Column, lines, faults: list[Fault]) -> Array:
    """Return the SI numbers of a column; what is none is NaN, with a fault unless it is blank."""
    scale = _scale(name, unit, column.kind)
    values = np.full(len(cells), np.nan)
    for i, text in enumerate(cells):
        if not text:
            continue
        try:
            values[i] = _number(text, scale, column.kind)
        except RequestError as error:
            faults.append(Fault(lines[i], f'{name} = "{text[:30]}": {error}', True))
            continue
        if not _bare(text):
            faults.append(
                Fault(lines[i], f"{name} read by its own unit, not [{unit}]: {text[:30]}", False)
            )
    bounds = quantities.QUANTITIES[column.kind]
    low = bounds.low if column.low is None else column.low
    for i in np.flatnonzero((values < low) | (values > bounds.high)).tolist():
        why = "is negative" if values[i] < 0 else f"is no {bounds.meaning}"
        if column.kind == "temperature" and unit == "degC" and values[i] > bounds.high:
            why += " (degF under a head in degC?)"
        faults.append(Fault(lines[i], f"{name} {why}: {cells[i][:30]} {unit}".rstrip(), True))
    return values


def _bare(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _number(text: str, scale, quantity: str) -> float:
    if _bare(point := text.replace(",", ".")) and not _bare(text):  # the head has the unit
        raise RequestError(f'a decimal comma: write "{point}"')
    if not _bare(text):
        return quantities.read(text, quantity)
    if scale is None:
        raise RequestError("no unit, in the head or beside the number")
    value = float(text)
    if not np.isfinite(value):
        raise RequestError("no number")
    return scale[0] * value + scale[1]


def _times(cells, unit: str, lines, faults: list[Fault]) -> tuple[datetime | None, Array]:
    """Return the clock of the first row and the seconds since; NaN where unreadable."""
    if unit or all(_bare(cell) for cell in cells if cell):
        try:
            factor = quantities.read(f"1 {unit or 'h'}", "time")
        except RequestError as error:
            raise RequestError(f"time [{unit}]: {error}") from error
        seconds = np.full(len(cells), np.nan)
        for i, text in enumerate(cells):
            if _bare(text) and np.isfinite(float(text)):
                seconds[i] = factor * float(text)
            else:
                faults.append(Fault(lines[i], f'time = "{text[:30]}" is no number', True))
        return None, seconds
    return _clock(cells, lines, faults)


def _clock(cells, lines, faults: list[Fault]) -> tuple[datetime | None, Array]:
    stamps: list[datetime | None] = []
    for i, text in enumerate(cells):
        try:
            stamps.append(datetime.fromisoformat(text))
        except ValueError:
            stamps.append(None)
            told = f'time = "{text[:30]}" is no time such as 2031-05-01 06:00'
            faults.append(Fault(lines[i], told, True))
    zoned = [stamp is not None and stamp.tzinfo is not None for stamp in stamps]
    keep = 2 * sum(zoned) > sum(stamp is not None for stamp in stamps)
    seconds = np.full(len(cells), np.nan)
    first: datetime | None = None
    for i, stamp in enumerate(stamps):
        if stamp is None:
            continue
        if zoned[i] != keep:
            missing = "without" if keep else "with"
            faults.append(Fault(lines[i], f"time {missing} an offset, unlike the others", True))
            continue
        first = first or stamp
        seconds[i] = seconds_of(stamp) - seconds_of(first)
    return first, seconds
