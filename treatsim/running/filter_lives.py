"""Whole lives of filter elements in one go, where their loads are straight lines in what passes.

Where every filter takes a fixed share of the product, loads rise evenly with the solids that pass,
and the places of all changes are known at once. Only the time they take asks for the train; it is
summed over all lives of all scenarios together.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, Flags, Index

COUNT = 8  # places of a stretch; exact for polynomials to degree 14


def _radau() -> tuple[Array, Array]:
    """Places in 0 to 1, its end among them, and weights of a sum over them."""
    last = np.zeros(COUNT + 1)
    last[-2:] = 1.0, -1.0
    places = np.sort(0.5 + 0.5 * np.polynomial.legendre.legroots(last).real)
    places[-1] = 1.0
    power = np.arange(COUNT)
    weights = np.linalg.solve(places ** power[:, None], 1.0 / (power + 1))
    return places, weights.astype(float)


PLACES, WEIGHTS = _radau()  # Radau's: limits are strictest at the end of a stretch


class Lives(NamedTuple):
    """Stretches from change to change, those of a row together and in order."""

    row: Index
    start: Array  # solids passed
    end: Array
    entry: Index  # that is full at its end
    before: Array  # changes of each entry before the stretch, (stretches, entries)

    def masses(self, mass: Array, slope: Array, capacity: Array) -> Array:
        """Return the loads at PLACES of every stretch, (places, stretches, entries)."""
        passed = self.start + (self.end - self.start) * PLACES[:, None]
        base = mass[self.row] - self.before * capacity[self.row]
        return np.maximum(base + slope[self.row] * passed[..., None], 0.0)

    def chosen(self, which: Flags) -> Lives:
        """Return some of the stretches."""
        return Lives(
            self.row[which], self.start[which], self.end[which], self.entry[which],
            self.before[which],
        )  # fmt: skip


def lives(mass: Array, slope: Array, capacity: Array, until: Array, most: Array) -> Lives:
    """Return the stretches that end with a change.

    mass and capacity [kg] and slope [kg per solids passed], shape (rows, entries); until: solids
    passed beyond which none is wanted, and most: number of stretches, shape (rows,).
    """
    rows, entries = mass.shape
    with np.errstate(divide="ignore", invalid="ignore"):
        first = np.where(slope > 0, (capacity - mass) / slope, np.inf)
        life = np.where(slope > 0, capacity / slope, np.inf)
        count = np.where(np.isfinite(life), np.floor((until[:, None] - first) / life) + 1, 0.0)
    count = np.clip(count, 0, most[:, None]).astype(int).ravel()
    place = np.repeat(np.arange(rows * entries), count)
    order = _rank(place)
    end = first.ravel()[place] + order * life.ravel()[place]
    row, entry = np.divmod(place, entries)
    sort = np.lexsort((entry, end, row))
    row, entry, end = row[sort], entry[sort], end[sort]
    kept = _rank(row) < most[row]
    row, entry, end = row[kept], entry[kept], end[kept]
    start = np.concatenate([[0.0], end[:-1]])[: row.size]
    here = entry[:, None] == np.arange(entries)
    start[_rank(row) == 0] = 0.0
    return Lives(row, start, end, entry, summed(here.astype(float), row) - here)


def summed(values: Array, row: Index) -> Array:
    """Return the running sums of values within each row; rows stand together."""
    total = np.cumsum(values, axis=0)
    first = np.arange(row.size) - _rank(row)
    return total - (total[first] - values[first])


def ahead_of_any(bad: Flags, row: Index) -> Flags:
    """Tell which stretches come before the first bad one of their row."""
    return summed(bad.astype(float), row) == 0


def before_it(values: Array, row: Index, first: Array) -> Array:
    """Return the value before each in its row; `first`, by row, before the first."""
    found = np.concatenate([[0.0], values[:-1]])[: row.size]
    begins = _rank(row) == 0
    found[begins] = first[row[begins]]
    return found


def _rank(group: Index) -> Index:
    """Return the place of each entry in its group; groups stand together."""
    if not group.size:
        return np.zeros(0, int)
    begins = np.flatnonzero(np.append(True, group[1:] != group[:-1]))
    return np.arange(group.size) - np.repeat(begins, np.diff(np.append(begins, group.size)))
