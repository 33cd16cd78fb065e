"""Readings of a log: CSV with a header `name [unit]` and a time on every row.

Nothing is dropped in silence: every row that is left out is a `Fault` with its line and the reason.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import RequestError

LARGEST_FILE = 100_000_000  # bytes
TIME, EVENT, METER = "time", "event", "hour_meter"
HEAD = re.compile(r"\s*(.*?)\s*(?:[\[(]([^\])]*)[\])])?\s*$")


class Column(NamedTuple):
    """What a column may hold."""

    quantity: str
    low: float | None = None  # SI; where tighter than the quantity itself


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


def read_table(path: str, known: Mapping[str, Column], words: Mapping[str, str]) -> Table:
    """Read a file; RequestError where its header makes no log.

    `known` names the columns that can be used, `words` the trade's words for some of them.
    """
    text = _text(path)
    head = next((line for line in text.splitlines() if line.strip() and line[0] != "#"), "")
    dialect = next((d for d in ";\t" if d in head), ",")
    reader = csv.reader(text.splitlines(), delimiter=dialect)
    header, rows, lines = _rows(reader, path)
    heads, notes = _heads(header, known, words, path)
    faults = [
        Fault(line, f"{len(row)} cells under {len(header)} heads", True)
        for row, line in zip(rows, lines, strict=True)
        if len(row) != len(header)
    ]
    whole = [i for i, row in enumerate(rows) if len(row) == len(header)]
    rows, lines = [rows[i] for i in whole], [lines[i] for i in whole]
    start, time = None, np.empty(0)
    columns: dict[str, Array] = {}
    events = [""] * len(rows)
    for place, (name, unit) in heads.items():
        cells = [row[place].strip() for row in rows]
        if name == EVENT:
            events = cells
        elif name == TIME:
            start, time = _times(cells, unit, lines, faults)
        else:
            columns[name] = _numbers(cells, name, unit, known[name], lines, faults)
    return Table(start, time, np.array(lines, int), columns, events, faults, notes)


def _text(path: str) -> str:
    file = Path(path)
    try:
        if file.stat().st_size > LARGEST_FILE:
            raise RequestError(f"{path}: more than 100 MB; no log of a unit is so long")
        return file.read_text("utf-8-sig")
    except (UnicodeDecodeError, ValueError) as error:
        raise RequestError(f"{path}: no text in UTF-8; a CSV file is read") from error
    except OSError as error:
        raise RequestError(
            f"{path}: cannot be read: {(error.strerror or 'error').lower()}"
        ) from error


def _rows(reader, path: str) -> tuple[list[str], list[list[str]], list[int]]:
    """Return the header, and every row that is no comment and not blank, with its line."""
    header: list[str] = []
    rows, lines = [], []
    try:
        for row in reader:
            if not any(cell.strip() for cell in row) or row[0].lstrip().startswith("#"):
                continue
            if not header:
                header = row
                continue
            rows.append(row)
            lines.append(reader.line_num)
    except csv.Error as error:
        raise RequestError(f"{path}:{reader.line_num}: not readable as CSV: {error}") from error
    if not header or not rows:
        raise RequestError(f"{path}: no readings: a header and rows are needed")
    return header, rows, lines


def _heads(
    header: Sequence[str], known: Mapping[str, Column], words: Mapping[str, str], path: str
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
            notes.append(f'column "{head.strip()[:60]}" is not used')
            continue
        if name in [one for one, _ in found.values()]:
            problems.append(f"{path}: two columns are {name}; keep one")
        if name in known:
            try:
                _scale(unit, known[name].quantity)
            except RequestError as error:
                problems.append(f"{path}: {name} [{unit}]: {error}")
        found[place] = (name, unit)
    if TIME not in [name for name, _ in found.values()]:
        problems.append(f'{path}: no column "time", as 2031-05-01 06:00, or "time [h]"')
    if problems:
        raise RequestError(problems)
    return found, notes


def _scale(unit: str, quantity: str) -> tuple[float, float] | None:
    """Return factor and offset of a head's unit; None where each cell must carry its own."""
    zero = quantities.read(f"0 {unit}", quantity) if unit else 0.0
    if not unit:
        return (1.0, 0.0) if quantities.QUANTITIES[quantity].si == "1" else None
    return quantities.read(f"1 {unit}", quantity) - zero, zero


def _numbers(cells, name: str, unit: str, column: Column, lines, faults: list[Fault]) -> Array:
    """Return the SI numbers of a column; what is none is NaN, with a fault unless it is blank."""
    scale = _scale(unit, column.quantity)
    values = np.full(len(cells), np.nan)
    for i, text in enumerate(cells):
        if not text:
            continue
        try:
            values[i] = _number(text, scale, column.quantity)
        except RequestError as error:
            faults.append(Fault(lines[i], f'{name} = "{text[:30]}": {error}', True))
            continue
        if not _bare(text):
            faults.append(
                Fault(lines[i], f"{name} read by its own unit, not [{unit}]: {text[:30]}", False)
            )
    bounds = quantities.QUANTITIES[column.quantity]
    low = bounds.low if column.low is None else column.low
    for i in np.flatnonzero((values < low) | (values > bounds.high)).tolist():
        why = "is negative" if values[i] < 0 else f"is no {bounds.meaning}"
        faults.append(Fault(lines[i], f"{name} {why}: {cells[i][:30]} {unit}".rstrip(), True))
    return values


def _bare(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _number(text: str, scale, quantity: str) -> float:
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
        moment = stamp.astimezone(UTC) if keep else stamp
        first = first or moment
        seconds[i] = (moment - first).total_seconds()
    return first, seconds
