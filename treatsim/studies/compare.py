"""Cases side by side: the same rows for each, and where the energy of a litre goes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from treatsim.operations.outcome import Value, at
from treatsim.safety.verdict import Verdict


class Row(NamedTuple):
    """One line of the comparison; None where a case has no such value."""

    group: str
    words: str
    address: str
    values: tuple[Value | None, ...]


HEADLINES = (
    ("water", "product", "product.flow"),
    ("water", "salt in the product", "product.concentration"),
    ("water", "boron in the product", "product.boron"),
    ("water", "pH of the product", "product.ph"),
    ("energy", "per volume of product", "energy.specific"),
    ("energy", "least work of separation", "energy.least_work"),
    ("energy", "second-law efficiency", "energy.second_law_efficiency"),
)


def compare(verdicts: Sequence[Verdict]) -> list[Row]:
    """Return the rows of a comparison, at the first operating point of each case."""
    values = [_values(verdict) for verdict in verdicts]
    rows = [_row(group, words, address, address, values) for group, words, address in HEADLINES]
    rows += _unit_rows(verdicts, values)
    for group, prefix, suffix in (
        ("energy by consumer", "energy.", ".power"),
        ("where the energy goes", "energy.loss.", ""),
    ):
        names = dict.fromkeys(
            key.removeprefix(prefix).removesuffix(suffix)
            for found in values
            for key in found
            if key.startswith(prefix)
            and key.endswith(suffix)
            and key.count(".") == 2
            and (suffix or not key.endswith(".power"))
        )
        rows += [
            _row(
                group,
                name.replace("_", " "),
                f"{prefix}{name}{suffix}",
                f"{prefix}{name}{suffix}",
                values,
            )
            for name in names
        ]
    return [row for row in rows if any(value is not None for value in row.values)]


def _values(verdict: Verdict) -> dict[str, Value]:
    result = verdict.result
    if not result.solved[0]:
        return {}
    found = dict(verdict.values)
    if result.product is not None:
        for key in [k for k in found if k.startswith("energy.") and k.endswith(".power")]:
            share = np.asarray(found[key].value) / result.product.flow
            found[key] = Value(share, "energy_per_volume")
    return found


def _row(group, words, address, key, values) -> Row:
    return Row(
        group,
        words,
        address,
        tuple(
            Value(at(found[key].value, 0), found[key].quantity) if key in found else None
            for found in values
        ),
    )


def _unit_rows(verdicts, values) -> list[Row]:
    """Rows of units of the same kind, whatever their names."""
    rows = []
    kinds = dict.fromkeys(
        unit.kind for v in verdicts for unit in v.result.sheet.units.values() if unit.compared
    )
    for kind in kinds:
        units = [[u for u in v.result.sheet.units.values() if u.kind == kind] for v in verdicts]
        for number in range(max(map(len, units))):
            for key, words in next(own[0] for own in units if own).compared:
                cells = tuple(
                    Value(at(found[address].value, 0), found[address].quantity)
                    if len(mine) > number and (address := f"{mine[number].name}.{key}") in found
                    else None
                    for mine, found in zip(units, values, strict=True)
                )
                label = kind.replace("_", " ") + (f" {number + 1}" if number else "")
                rows.append(Row(label, words, f"{kind}.{key}", cells))
    return rows
