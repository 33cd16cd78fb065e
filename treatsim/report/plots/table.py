"""The numbers behind a plot: equally long columns, each headed `name [unit]`."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError

Table = dict[str, np.ndarray]
DIGITS = 9  # significant, in the file
SAME = 1e-6  # relative; what solving leaves open, by far
ROUND_OFF = 1e-9  # of the largest of a column, around zero


def column(name: str, value, quantity: str) -> Table:
    """Return one column: `value` (SI) in the unit shown, headed with it."""
    number, unit = quantities.show(np.asarray(value, dtype=float), quantity)
    return {f"{name} [{unit}]" if unit else name: number}


def table(*columns: Mapping[str, np.ndarray]) -> Table:
    """Join columns; scalars are repeated, arrays of several axes laid out flat."""
    joined = {header: np.asarray(v) for part in columns for header, v in part.items()}
    arrays = np.broadcast_arrays(*joined.values())
    return {header: array.ravel() for header, array in zip(joined, arrays, strict=True)}


def stacked(*tables: Table) -> Table:
    """Put tables of the same columns below one another."""
    return {header: np.concatenate([t[header] for t in tables]) for header in tables[0]}


def pick(data: Table, name: str) -> np.ndarray:
    """Return the column of that name, whatever its unit."""
    for header, values in data.items():
        if header.partition(" [")[0] == name:
            return values
    raise RequestError(f'the table has no column "{name}": {", ".join(data)}')


def has(data: Table, name: str) -> bool:
    """Whether a column of that name exists."""
    return any(header.partition(" [")[0] == name for header in data)


def select(data: Table, name: str, value) -> Table:
    """Return the rows in which a column has that value."""
    rows = pick(data, name) == value
    return {header: values[rows] for header, values in data.items()}


def kinds(data: Table, name: str) -> list:
    """Return the different values of a column, in the order of their first row."""
    return list(dict.fromkeys(pick(data, name).tolist()))


def as_csv(data: Table) -> str:
    """Return the text of a table."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(data)
    columns = [
        [f"{v:.{DIGITS}g}" if isinstance(v, float) else str(v) for v in values.tolist()]
        for values in data.values()
    ]
    writer.writerows(zip(*columns, strict=True))
    return buffer.getvalue()


def alike(first: str, second: str) -> bool:
    """Whether two texts of tables tell the same numbers but for what solving leaves open."""
    a, b = from_csv(first), from_csv(second)
    if list(a) != list(b):
        return False
    return all(_alike(a[name], b[name]) for name in a)


def _alike(a: np.ndarray, b: np.ndarray) -> bool:
    if a.shape != b.shape or a.dtype.kind != b.dtype.kind:
        return False
    if a.dtype.kind != "f":
        return bool(np.all(a == b))
    slack = ROUND_OFF * np.nanmax(np.abs(a), initial=0.0)
    return bool(np.allclose(a, b, rtol=SAME, atol=slack, equal_nan=True))


def from_csv(text: str) -> Table:
    """Read a table written by `as_csv`; a column of numbers becomes floats."""
    header, *rows = csv.reader(io.StringIO(text))
    return {
        name: _typed(list(cells))
        for name, cells in zip(header, zip(*rows, strict=True), strict=True)
    }


def _typed(cells: list[str]) -> np.ndarray:
    try:
        return np.array([float(cell) for cell in cells])
    except ValueError:
        return np.array(cells)
