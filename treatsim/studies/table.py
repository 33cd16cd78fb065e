"""A table of many points: columns in SI with their quantities, shown in any unit system."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from treatsim import quantities
from treatsim.amounts import Amounts
from treatsim.errors import RequestError
from treatsim.notebook import html_table
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
    """Rows of a sweep. `table["uv.dose_credited"]` is one column, in SI and with its unit."""

    def __init__(
        self,
        columns: Sequence[Column],
        inputs: int,
        title: str = "",
        shape: tuple[int, ...] = (),
    ) -> None:
        self.columns = list(columns)
        self.inputs = inputs  # how many of the columns are varied inputs
        self.title = title
        self.shape = shape  # of the grid that the inputs span, the last changing fastest

    def __len__(self) -> int:
        return len(self.columns[0].values)

    def __getitem__(self, address: str):
        column = self.column(address)
        if column.quantity in ("", "count"):
            return column.values
        return Amounts(column.values, column.quantity)

    def column(self, address: str) -> Column:
        """Return one column by its address."""
        for column in self.columns:
            if column.address == address:
                return column
        known = [c.address for c in self.columns]
        near = difflib.get_close_matches(address, known, n=3)
        hint = f"near: {', '.join(near)}" if near else f"columns: {', '.join(known)}"
        raise RequestError(f'no column has the address "{address}"; {hint}')

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

    def to_xarray(self, system: str = "si"):
        """Return an xarray Dataset: varied inputs span its dimensions, units are attributes.

        >>> import treatsim
        >>> case = treatsim.load("cases/river.toml")
        >>> vary = {"lift_pump.speed": "60 %,80 %", "water.temperature": "5 degC:25 degC:3"}
        >>> treatsim.sweep(case, vary).to_xarray()["product.flow"].shape
        (2, 3)
        """
        import xarray

        inputs, results = self.columns[: self.inputs], self.columns[self.inputs :]
        names = [column.address for column in inputs]

        def variable(column: Column, dims, values):
            unit = quantities.shown(column.quantity, system)[0] or "1" if column.quantity else ""
            return dims, values, {"units": unit} if unit else {}

        coordinates = {}
        for axis, column in enumerate(inputs):
            first = tuple(slice(None) if n == axis else 0 for n in range(len(inputs)))
            along = np.asarray(column.shown(system)).reshape(self.shape)[first]
            coordinates[column.address] = variable(column, (column.address,), along)
        data = {
            column.address: variable(
                column, names, np.asarray(column.shown(system)).reshape(self.shape)
            )
            for column in results
        }
        return xarray.Dataset(data, coordinates, {"title": self.title})

    def _repr_html_(self) -> str:
        return html_table(self.headings(), _rows(self, SHORT_VIEW), len(self), self.title)

    def __repr__(self) -> str:
        points = f"{len(self)} point{'' if len(self) == 1 else 's'}"
        return f"<Table of {points}: {', '.join(self.headings())}>"


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
