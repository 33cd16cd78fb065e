"""A sweep on the terminal: a plot in characters for one varied input, else a table."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Sequence
from itertools import zip_longest
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.report.page import GAP, terminal_width
from treatsim.studies.table import Column, Table, cell

LARGEST_TEXT = 100_000  # rows on a terminal
MARKS = {"met": "o", "not_met": "x", "not_judged": "?"}
WIDTH, HEIGHT = 72, 12  # most of the plotted field, in characters
DIGITS = 4
FEW = 30  # rows up to which a plot is followed by its table
FEWEST_PLOTTED = 5
LARGEST_PLOTS = 2


def check_rows(points: int) -> None:
    """Refuse what no terminal should have to print."""
    if points > LARGEST_TEXT:
        raise RequestError(
            f"{points:,} rows are too many for a terminal (at most "
            f"{LARGEST_TEXT:,}): use --out FILE.csv"
        )


def sweep_text(table: Table, system: str = "si") -> str:
    """Return the text of a sweep."""
    parts = []
    if table.title:
        parts.append(table.title)
    plotted = table.inputs == 1 and _can_be_plotted(table.columns[0])
    if plotted:
        parts += [plot(table, column, system) for column in table.results[:LARGEST_PLOTS]]
    if not plotted or len(table) <= FEW:
        parts.append(grid(table, system))
    else:
        parts.append("the whole table: --out FILE.csv")
    return "\n\n".join([*parts, summary(table)]) + "\n"


def _can_be_plotted(column: Column) -> bool:
    if not column.quantity:
        return False
    values = np.asarray(column.values, float)
    return bool(values.size >= FEWEST_PLOTTED and np.ptp(values) > 0)


def plot(table: Table, column: Column, system: str = "si") -> str:
    """Return one result over the varied input, and below it where every limit is met.

    "o" is a point that meets every limit, "x" one that does not, "?" one not judged in full.
    """
    x = np.asarray(table.columns[0].shown(system), float)
    y = np.asarray(column.shown(system), float)
    marks = np.array([MARKS.get(state, " ") for state in table["state"]])
    known = np.isfinite(y)
    heading = f"{column.heading(system)} over {table.columns[0].heading(system)}"
    if not np.any(known):
        return f"{heading}\n  no point has a number to show"
    low, high = float(np.min(y[known])), float(np.max(y[known]))
    labels = [f"{high:.4g}", *[""] * (HEIGHT - 2), f"{low:.4g}"]
    wide = max(map(len, labels))
    width = min(WIDTH, terminal_width() - wide - 2)
    across = _places(x, float(np.min(x)), float(np.max(x)), width)
    field = np.full((HEIGHT, width), " ")
    up = _places(np.where(known, y, low), low, high, HEIGHT)
    field[HEIGHT - 1 - up[known], across[known]] = marks[known]
    lines = [
        f"{label:>{wide}} |{''.join(row)}".rstrip()
        for label, row in zip(labels, field, strict=True)
    ]
    ends = f"{float(np.min(x)):.4g}", f"{float(np.max(x)):.4g}"
    axis = f"{'':>{wide}} +{'-' * width}"
    feet = f"{'':>{wide}}  {ends[0]}{ends[1]:>{width - len(ends[0])}}"
    return "\n".join(
        [
            heading,
            *lines,
            axis,
            feet,
            f"{'':>{wide}}  o meets every limit   x does not   ? not all judged",
        ]
    )


def _places(values, low: float, high: float, count: int) -> np.ndarray:
    if high <= low:
        return np.zeros(values.size, dtype=int)
    return np.round((values - low) / (high - low) * (count - 1)).astype(int)


class _Shown(NamedTuple):
    """One column as texts; a cell of words may stand in several lines."""

    head: list[str]
    cells: list[list[str]]
    width: int
    words: bool


def grid(table: Table, system: str = "si") -> str:
    """Return all rows; headings stand in as many lines as an address has parts.

    What is wider than the terminal stands in several tables, each with the settings and the state.
    """
    room = terminal_width()
    columns = [_shown(column, system) for column in table.columns]
    if _width(columns) <= room:
        return _lines(columns)
    state = next(n for n, column in enumerate(table.columns) if column.address == "state")
    fixed = [*columns[: table.inputs], columns[state]]
    blocks: list[list[_Shown]] = []
    for number, column in enumerate(columns[table.inputs :], table.inputs):
        if number == state or not any(map(any, column.cells)):
            continue
        column = _folded(column, room - _width(fixed) - GAP) if column.words else column
        if not blocks or _width([*fixed, *blocks[-1], column]) > room:
            blocks.append([])
        blocks[-1].append(column)
    return "\n\n".join(_lines([*fixed, *block]) for block in blocks)


def _shown(column: Column, system: str) -> _Shown:
    values = np.asarray(column.shown(system)).tolist()
    if column.address.endswith(".largest_flow"):  # kept by going no higher than is shown
        texts = [_downward(value) for value in values]
    else:
        texts = [cell(value, DIGITS) for value in values]
    head = _heading(column, system)
    width = max(map(len, [*head, *texts]))
    return _Shown(head, [[text] for text in texts], width, not column.quantity)


def _downward(value: float) -> str:
    """Return a number cut, not rounded, to the digits shown."""
    if not np.isfinite(value) or value == 0:
        return cell(value, DIGITS)
    step = 10.0 ** (DIGITS - 1 - np.floor(np.log10(abs(value))))
    return cell(float(np.floor(value * step * (1 + 1e-9)) / step), DIGITS)


def _folded(column: _Shown, room: int) -> _Shown:
    """Return a column of words in lines that fit, if not narrower than its heading."""
    width = max(room, *map(len, column.head))
    cells = [textwrap.wrap(" ".join(lines), width) or [""] for lines in column.cells]
    lines = [*column.head, *(line for lines in cells for line in lines)]
    return column._replace(cells=cells, width=max(map(len, lines)))


def _width(columns: Sequence[_Shown]) -> int:
    return sum(column.width + GAP for column in columns) - GAP


def _lines(columns: Sequence[_Shown]) -> str:
    def row(cells: Sequence[str]) -> str:
        return (" " * GAP).join(
            text.ljust(column.width) if column.words else text.rjust(column.width)
            for text, column in zip(cells, columns, strict=True)
        ).rstrip()  # fmt: skip

    tall = max(len(column.head) for column in columns)
    heads = [[""] * (tall - len(column.head)) + column.head for column in columns]
    rows = zip(*(column.cells for column in columns), strict=True)
    return "\n".join(
        [
            *(row(line) for line in zip(*heads, strict=True)),
            row(["-" * column.width for column in columns]),
            *(row(line) for cells in rows for line in zip_longest(*cells, fillvalue="")),
        ]
    )


def _heading(column: Column, system: str) -> list[str]:
    unit = quantities.shown(column.quantity, system)[0] if column.quantity else ""
    parts = column.address.split(".")
    return [*(f"{part}." for part in parts[:-1]), parts[-1]] + ([f"[{unit}]"] if unit else [])


def summary(table: Table) -> str:
    """Return how many points meet every limit, and how many have no answer."""
    count = Counter(table["state"])
    return (
        f"{len(table):,} point{'' if len(table) == 1 else 's'}: {count['met']:,} with every limit "
        f"met, {count['not_met']:,} not, {count['not_judged']:,} not all judged, "
        f"{count['no_answer']:,} without an answer"
    )
