"""A CSV file of readings by time: read whole, every bad row named by its line.

    time, turbidity [NTU], suspended_solids [mg/L]
    2026-03-01 08:00, 12.5, 18

Columns stand in any order, each with its unit; lines that are empty or begin with # are passed
over. Times are those of one clock; with their offset (+01:00) a changed clock does no harm.
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.errors import RequestError

TIME = "time"
LARGEST_FILE = 20_000_000  # bytes
MOST_TOLD = 20  # faults of a file
HOUR = 3600.0
EPOCH = datetime(2000, 1, 1)


class Column(NamedTuple):
    """What a column of numbers holds."""

    kind: str  # quantity
    blank: bool = False  # whether a cell may be empty, read as NaN
    low: float | None = None  # SI; left out, that of the quantity
    open_low: bool = False


class Timed(NamedTuple):
    """Rows in order of time, SI."""

    name: str
    lines: tuple[int, ...]
    clock: tuple[datetime, ...]  # as written
    time: Array  # s since EPOCH, of one clock or of universal time
    values: Mapping[str, Array]
    texts: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...]

    def place(self, row: int) -> str:
        """Return file and line of a row."""
        return f"{self.name}:{self.lines[row]}"


def read_timed(
    path: Path,
    columns: Mapping[str, Column],
    needed: Sequence[str],
    texts: Sequence[str] = (),
    name: str = "",
) -> Timed:
    """Read a file of readings by time.

    Parameters
    ----------
    path : Path
        The file, text in UTF-8 of 20 MB or less.
    columns : mapping
        Column of numbers by its name in the head; those outside `needed` may be left out.
    needed : sequence of str
        Columns that must be there, beside `time`.
    texts : sequence of str
        Columns that are kept as text and have no unit.
    name : str
        How faults name the file; left out, by its name alone.

    Raises
    ------
    RequestError
        Every fault of the head, else every fault of the rows, by file and line.
    """
    name = name or path.name
    lines = cells_of(path, name)
    head, scales = _head(lines[0], name, columns, needed, texts)
    faults: list[str] = []
    clock: list[datetime] = []
    kept: list[int] = []
    numbers = {key: list[float]() for key in scales}
    words = {key: list[str]() for key in head if key in texts}
    for line, cells in lines[1:]:
        before = len(faults)
        entries = _entries(f"{name}:{line}", cells, head, faults)
        when = _time(f"{name}:{line}", entries[TIME], faults) if entries else None
        row = {key: _number(f"{name}:{line}: {key}", entries[key], columns[key], scale, faults)
               for key, scale in scales.items()} if entries else {}  # fmt: skip
        if when is None or len(faults) > before:
            continue
        kept.append(line)
        clock.append(when)
        for key, value in row.items():
            numbers[key].append(value)
        for key, column in words.items():
            column.append(entries[key])
    seconds = [seconds_of(when) for when in clock]
    notes = _order(name, kept, clock, seconds, faults)
    raise_faults(sorted(faults, key=lambda text: int(text.removeprefix(name).split(":")[1])))
    return Timed(name, tuple(kept), tuple(clock), np.array(seconds),
                 {key: np.array(values) for key, values in numbers.items()},
                 {key: tuple(column) for key, column in words.items()}, tuple(notes))  # fmt: skip


def raise_faults(faults: Sequence[str]) -> None:
    """Raise RequestError with the first faults, if there are any, and how many more there are."""
    if faults:
        more = len(faults) - MOST_TOLD
        raise RequestError([*faults[:MOST_TOLD], *[f"and {more} more such lines"] * (more > 0)])


def cells_of(path: Path, name: str, others: str = "") -> list[tuple[int, list[str]]]:
    """Return the cells of every line that is neither empty nor a remark, with its number.

    Cells are parted by commas, or by one of `others` where the first line has it.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)  # a device tells no size, and has no end
        if len(raw) > LARGEST_FILE:
            raise RequestError(f"{name}: larger than {LARGEST_FILE // 1_000_000} MB")
        text = raw.decode("utf-8-sig")
    except FileNotFoundError as error:
        raise RequestError(f'"{name}": no such file') from error
    except (OSError, UnicodeDecodeError) as error:
        raise RequestError(f'"{name}": not readable as a text in UTF-8') from error
    kept = [(number, line) for number, line in enumerate(text.splitlines(), 1)
            if line.strip(" ,\t") and not line.lstrip().startswith("#")]  # fmt: skip
    if not kept:
        raise RequestError(f"{name}: empty")
    number, first = kept[0]
    apart = next((sign for sign in others if sign in first), ",")
    if apart == "," and ";" in first:
        raise RequestError(f"{name}:{number}: columns are parted by commas here, not ;")
    if len(kept) < 2:
        raise RequestError(f"{name}: a heading and a row for each reading belong here")
    return [(n, _cells(f"{name}:{n}", line, apart)) for n, line in kept]


def _cells(place: str, line: str, apart: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=apart))]
    except csv.Error as error:
        raise RequestError(f"{place}: this is no line of cells: {error}") from error


def _head(
    line: tuple[int, list[str]],
    name: str,
    columns: Mapping[str, Column],
    needed: Sequence[str],
    texts: Sequence[str],
) -> tuple[list[str], dict[str, tuple[float, float]]]:
    """Return the columns in order, and factor and offset of each one's unit to SI."""
    number, cells = line
    head, scales, faults = list[str](), dict[str, tuple[float, float]](), list[str]()
    for cell in cells:
        key, _, unit = (part.strip() for part in cell.rstrip("] ").partition("["))
        head.append(key)
        if key == TIME or key in texts:
            continue
        try:
            scales[key] = _scale(key, unit, columns, (TIME, *texts))
        except RequestError as error:
            faults.append(str(error))
    faults += [f"column {key} stands twice" for key in dict.fromkeys(head) if head.count(key) > 1]
    if not faults:
        faults += [f"column {key} is missing" for key in (TIME, *needed) if key not in head]
    raise_faults([f"{name}:{number}: {one}" for one in faults])
    return head, scales


def _scale(
    key: str, unit: str, columns: Mapping[str, Column], others: Sequence[str]
) -> tuple[float, float]:
    if key not in columns:
        near = difflib.get_close_matches(key, [*columns, *others], n=1)
        known = f"known: {', '.join([*others, *columns])}"
        hint = f'did you mean "{near[0]}"?' if near else known
        raise RequestError(f'no such column "{key[:60]}"; {hint}')
    quantity = quantities.QUANTITIES[columns[key].kind]
    if not unit:
        raise RequestError(f'{key}: a unit is missing: write "{key} [{quantity.shown}]"')
    return scale_of(key, unit, columns[key].kind)


def scale_of(key: str, unit: str, kind: str) -> tuple[float, float]:
    """Return factor and offset of a column's unit to SI."""
    try:
        quantities.read(f"1 {unit}", kind)
    except RequestError as error:
        raise RequestError(f"{key}: {error}") from error
    return quantities.conversion(unit, quantities.QUANTITIES[kind].si)


def _entries(place: str, cells: list[str], head: list[str], faults: list[str]) -> dict[str, str]:
    """Return the cells of a row by column; those missing at its end are empty."""
    if len(cells) > len(head):
        faults.append(f"{place}: {len(cells)} cells where the head has {len(head)}; "
                      "a decimal comma?")  # fmt: skip
        return {}
    return dict(zip(head, cells + [""] * (len(head) - len(cells)), strict=True))


def _time(place: str, text: str, faults: list[str]) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        told = f'time = "{text[:40]}": write it as 2026-05-01T08:00'
        faults.append(f"{place}: {told}")
        return None


def _number(
    place: str, text: str, column: Column, scale: tuple[float, float], faults: list[str]
) -> float:
    if not text:
        if not column.blank:
            faults.append(f"{place} is missing")
        return float("nan")
    try:
        value = float(text) * scale[0] + scale[1]
    except ValueError:
        faults.append(f'{place} = "{text[:40]}": a number belongs here')
        return float("nan")
    quantity = quantities.QUANTITIES[column.kind]
    low = quantity.low if column.low is None else column.low
    if not (low <= value <= quantity.high and np.isfinite(value)) or (
        column.open_low and value == low
    ):
        if np.isfinite(quantity.high):
            ends = [quantities.text(end, column.kind) for end in (low, quantity.high)]
            told = f"from {ends[0]} to {ends[1]}"
        else:
            told = f"{'above' if column.open_low else 'not below'} {low:g}"
        faults.append(f"{place} = {text[:40]}: a number {told} belongs here")
    return value


def seconds_of(when: datetime) -> float:
    """Return seconds since EPOCH, of universal time where the offset to it is written."""
    plain = when.replace(tzinfo=None) - (when.utcoffset() or timedelta())
    return (plain - EPOCH).total_seconds()


def _order(
    name: str,
    lines: Sequence[int],
    clock: Sequence[datetime],
    seconds: Sequence[float],
    faults: list[str],
) -> list[str]:
    """Add what is wrong between one row and the next; return where the clock was changed."""
    notes = []
    rows = zip(lines, clock, seconds, strict=True)
    for (before, one, earlier), (line, two, later) in pairwise(rows):
        here, step = f"{name}:{line}", later - earlier
        offsets = one.utcoffset(), two.utcoffset()
        if (offsets[0] is None) != (offsets[1] is None):
            faults.append(f"{here}: times with and without their offset to universal time; "
                          "write one way")  # fmt: skip
        elif step == 0:
            faults.append(f"{here}: the time of line {before} again: a reading stands twice; "
                          "keep one")  # fmt: skip
        elif step < 0:
            faults.append(
                f"{here}: {-step / HOUR:.3g} h before line {before}: times run back; was the "
                "clock set back? mend the times, or write them with their offset, such as +01:00"
            )
        elif offsets[0] != offsets[1]:
            notes.append(f"{here}: the clock was changed from {offsets[0]} to {offsets[1]} ahead "
                         "of universal time; reckoned with")  # fmt: skip
    return notes
