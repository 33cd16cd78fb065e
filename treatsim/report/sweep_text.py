"""A sweep on the terminal: a plot in characters for one varied input, else a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.studies.table import Column, Table, cell

LARGEST_TEXT = 100_000  # rows on a terminal
MARKS = {"met": "o", "not_met": "x", "not_judged": "?"}
WIDTH, HEIGHT = 72, 12  # of the plotted field, in characters
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
    across = _places(x, float(np.min(x)), float(np.max(x)), WIDTH)
    field = np.full((HEIGHT, WIDTH), " ")
    up = _places(np.where(known, y, low), low, high, HEIGHT)
    field[HEIGHT - 1 - up[known], across[known]] = marks[known]
    labels = [""] * HEIGHT
    labels[0], labels[-1] = f"{high:.4g}", f"{low:.4g}"
    wide = max(map(len, labels))
    lines = [
        f"{label:>{wide}} |{''.join(row)}".rstrip()
        for label, row in zip(labels, field, strict=True)
    ]
    ends = f"{float(np.min(x)):.4g}", f"{float(np.max(x)):.4g}"
    axis = f"{'':>{wide}} +{'-' * WIDTH}"
    feet = f"{'':>{wide}}  {ends[0]}{ends[1]:>{WIDTH - len(ends[0])}}"
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


def grid(table: Table, system: str = "si") -> str:
    """Return all rows; headings stand in as many lines as an address has parts."""
    columns = [[cell(v, 4) for v in np.asarray(c.shown(system)).tolist()] for c in table.columns]
    heads = [_heading(c, system) for c in table.columns]
    tall = max(len(head) for head in heads)
    heads = [[""] * (tall - len(head)) + head for head in heads]
    widths = [max(map(len, [*head, *values])) for head, values in zip(heads, columns, strict=True)]
    left = [not c.quantity for c in table.columns]

    def row(cells: Sequence[str]) -> str:
        return "  ".join(
            text.ljust(w) if is_left else text.rjust(w)
            for text, w, is_left in zip(cells, widths, left, strict=True)
        ).rstrip()

    return "\n".join(
        [
            *(row(line) for line in zip(*heads, strict=True)),
            row(["-" * w for w in widths]),
            *(row(line) for line in zip(*columns, strict=True)),
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
