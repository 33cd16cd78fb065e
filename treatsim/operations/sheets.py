"""What the trade holds in its hand in place of coefficients: data sheets, bench readings.

A parameter record lists in `forms` the sheets that may stand for some of its fields. A sheet
declares its own entries, like any record, and gives the fields; from there on nothing knows which
form was typed in, but for the line that the result carries.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any, ClassVar, NamedTuple

import numpy as np

from treatsim.operations.parameters import Parameters, record


@record
class Sheet(Parameters):
    """Entries that stand for fields of a record."""

    gives: ClassVar[tuple[str, ...]]  # fields that follow from the entries
    needs: ClassVar[tuple[str, ...]] = ()  # fields that must then be given, defaults or not

    def coefficients(self) -> dict[str, Any]:
        """Return the fields given; RequestError where the entries do not make them."""
        raise NotImplementedError

    def told(self, found: dict[str, Any]) -> str:
        """Return in words what the fields come from, and what is assumed."""
        raise NotImplementedError


class Given(NamedTuple):
    """Fields of a record that came from a sheet, and what the result says of it."""

    values: dict[str, Any]
    words: str

    def holds(self, record: Parameters) -> bool:
        """Whether the record still has these values; a sweep or a remedy may have others."""
        return all(
            np.array_equal(np.asarray(getattr(record, name)), np.asarray(value))
            for name, value in self.values.items()
        )


def still_told(
    given: Mapping[str, Sequence[Given]], records: Mapping[str, Parameters]
) -> list[str]:
    """Return what came from data sheets and bench readings, where it still holds."""
    return [
        form.words for owner, forms in given.items() for form in forms if form.holds(records[owner])
    ]


def entries(sheet: type[Sheet]) -> tuple[str, ...]:
    """Return the keys of a sheet."""
    return tuple(item.name for item in fields(sheet))


def sheet_of(record: type[Parameters], name: str) -> type[Sheet] | None:
    """Return the sheet of a record that has an entry of this name, or gives a field of it."""
    for sheet in record.forms:
        if name in entries(sheet) or name in sheet.gives:
            return sheet
    return None
