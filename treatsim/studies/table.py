"""A table of many points: columns in SI with their quantities, shown in any unit system."""

from __future__ import annotations

import html
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from treatsim import quantities
from treatsim.safety.verdict import NO_ANSWER

KEPT = ("met", "not_judged")  # states of a point at which no limit is missed
SHORT_VIEW = 20  # rows of the notebook view


@dataclass(frozen=True)
class Column:
    """One column: SI numbers with a quantity, or texts."""

    address: str
    quantity: str  # "" for texts and truth values
    values: Sequence | np.ndarray

    def heading(self, system: str = "si") -> str:
        """Return "address [unit]"; a plain number has the unit 1."""
        if not self.quantity:
            return self.address
        return f"{self.address} [{quantities.shown(self.quantity, system)[0] or '1'}]"

    def shown(self, system: str = "si") -> Sequence | np.ndarray:
        """Return the values in the unit shown."""
        if not self.quantity or self.quantity == "count":
            return self.values
        return quantities.show(np.asarray(self.values), self.quantity, system)[0]


class Table:
    """Rows of a sweep. `table["uv.dose_credited"]` is the SI array of one column."""

    def __init__(self, columns: Sequence[Column], inputs: int, title: str = "") -> None:
        self.columns = list(columns)
        self.inputs = inputs  # how many of the columns are varied inputs
        self.title = title

    def __len__(self) -> int:
        return len(self.columns[0].values)

    def __getitem__(self, address: str):
        return self.column(address).values

    def column(self, address: str) -> Column:
        """Return one column by its address."""
        for column in self.columns:
            if column.address == address:
                return column
        raise KeyError(f"{address}; columns: {', '.join(c.address for c in self.columns)}")

    @property
    def results(self) -> list[Column]:
        """The columns of results."""
        return [c for c in self.columns[self.inputs :] if c.quantity]

    @property
    def answered(self) -> int:
        """Number of points that have an answer."""
        return sum(state != NO_ANSWER for state in self["state"])

    @property
    def any_kept(self) -> bool:
        """Whether at some point no limit is missed; it may be that some are not judged there."""
        return any(state in KEPT for state in self["state"])

    def outside_note(self) -> str:
        """Say how many points used a formula outside its range, and which; "" if none."""
        texts = [text for text in self["outside"] if text]
        if not texts:
            return ""
        use = "point uses" if len(self) == 1 else "points use"
        return (
            f"{len(texts):,} of {len(self):,} {use} a formula outside its range: "
            f"{'; '.join(dict.fromkeys(texts))} (column outside)"
        )

    def headings(self, system: str = "si") -> list[str]:
        """Return the header row."""
        return [column.heading(system) for column in self.columns]

    def data(self, system: str = "si") -> Mapping[str, Sequence | np.ndarray]:
        """Return heading -> values in the unit shown."""
        return {column.heading(system): column.shown(system) for column in self.columns}

    def to_pandas(self, system: str = "si"):
        """Return a pandas DataFrame; headings carry the units."""
        import pandas

        return pandas.DataFrame(
            {
                name: list(values) if not isinstance(values, np.ndarray) else values
                for name, values in self.data(system).items()
            }
        )

    def _repr_html_(self) -> str:
        return html_table(self.headings(), _rows(self, SHORT_VIEW), len(self), self.title)

    def __repr__(self) -> str:
        return f"<{len(self)} point{'' if len(self) == 1 else 's'}: {', '.join(self.headings())}>"


def cell(value, digits: int = 10) -> str:
    """Return one cell as text; what has no answer is empty."""
    if value is None:
        return ""
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if isinstance(value, float):
        return "" if value != value else f"{value:.{digits}g}"
    return str(value)


def _rows(table: Table, count: int) -> list[list[str]]:
    columns = [list(column.shown()[:count]) for column in table.columns]
    return [[cell(value, 5) for value in row] for row in zip(*columns, strict=True)]


def html_table(headings, rows, total: int, title: str = "") -> str:
    """Return rows for a notebook; everything from the case is escaped."""
    head = "".join(f"<th>{html.escape(text)}</th>" for text in headings)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(text)}</td>" for text in row) + "</tr>" for row in rows
    )
    rest = total - len(rows)
    more = f"<p>{rest} more row{'' if rest == 1 else 's'}</p>" if rest > 0 else ""
    caption = f"<caption>{html.escape(title)}</caption>" if title else ""
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"
