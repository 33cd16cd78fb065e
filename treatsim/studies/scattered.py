"""Series through points scattered over all dials at once, for trains of which every solve is dear.

A grid for each number costs a solve for each grid. One scatter of points serves every number: each
takes the terms its own movement along lines asks for, and its weights by least squares.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.numerics import even_points
from treatsim.studies.dials import Dial
from treatsim.water import series

LEVELS = (1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0)  # how far terms of several dials together may reach
POINTS_A_TERM = 2.2  # at least, so that least squares are well posed
MOST_ORDERS = 20_000  # terms that are ever listed
SLACK = 1e-9  # of a level
RIDGE = 1e-12  # relative, against round-off
LEAST = 1e-6  # of the size: weights below are left out


@dataclass(frozen=True)
class Scattered:
    """A sum of products of Chebyshev polynomials."""

    axes: Mapping[str, tuple[float, float]]  # address of a dial -> its range, SI
    orders: Index  # of each term along each axis, shape (terms, axes)
    weights: Array  # shape (terms,)

    def __call__(self, points: Mapping[str, Array]) -> dict[str, Array]:
        """Return the number at points that broadcast; NaN outside the ranges."""
        given = np.broadcast_arrays(*(np.asarray(points[name], float) for name in self.axes))
        flat = [array.ravel() for array in given]
        outside = np.zeros(flat[0].shape, bool)
        for row, (low, high) in zip(flat, self.axes.values(), strict=True):
            outside |= ~((row >= low) & (row <= high))
        told = _products(flat, self.axes, self.orders).T @ self.weights
        return {"part": np.where(outside, np.nan, told).reshape(given[0].shape)}


def scatter(dials: Sequence[Dial], count: int) -> dict[str, Array]:
    """Return points that lie as dense over each dial as Chebyshev nodes do.

    Parameters
    ----------
    dials : sequence of Dial
        Ranges. [SI]
    count : int
        Points. [1]

    Returns
    -------
    dict
        Address -> settings, shape (count,). [SI]

    Validity
    --------
    The same points each time.

    Source
    ------
    additive recurrence (Weyl) mapped by a cosine, definition.
    """
    share = 0.5 - 0.5 * np.cos(np.pi * even_points(len(dials), count))
    return {
        dial.address: dial.low + (dial.high - dial.low) * share[:, axis]
        for axis, dial in enumerate(dials)
    }


def through(
    axes: Mapping[str, tuple[float, float]],
    terms: Sequence[int],
    points: Mapping[str, Array],
    values: Array,
    size: float,
) -> Scattered:
    """Return the series through values at scattered points.

    Parameters
    ----------
    axes : mapping
        Address of a dial -> its range. [SI]
    terms : sequence of int
        Terms of a series along each dial alone. [1]
    points : mapping
        Address -> settings, shape (n,). [SI]
    values : ndarray, shape (n,)
        The number. [SI]
    size : float
        What its error is held against. [SI]

    Returns
    -------
    Scattered
        With as many terms as the points bear, without those of no weight.

    Validity
    --------
    Smooth numbers; the error is to be measured at points of its own.

    Source
    ------
    least squares over Chebyshev products of bounded total order, definition.
    """
    flat = [np.asarray(points[name], float) for name in axes]
    known = [orders for level in LEVELS if (orders := _orders(terms, level)) is not None]
    few = [o for o in known if POINTS_A_TERM * o.shape[0] <= values.size]
    orders = few[-1] if few else np.zeros((1, len(axes)), int)
    weights = _weights(_products(flat, axes, orders), values)
    kept = ~(np.abs(weights) < LEAST * size)
    return Scattered(dict(axes), orders[kept], weights[kept])


def _weights(rows: Array, values: Array) -> Array:
    """Return the weights of least squares. rows: (terms, points)"""
    square = rows @ rows.T
    square.flat[:: square.shape[0] + 1] *= 1 + RIDGE
    return np.asarray(np.linalg.solve(square, rows @ values), float)


def _products(
    flat: Sequence[Array], axes: Mapping[str, tuple[float, float]], orders: Index
) -> Array:
    """Return the terms at points, shape (terms, points)."""
    told = np.ones((orders.shape[0], flat[0].size))
    for row, (low, high), order in zip(flat, axes.values(), orders.T, strict=True):
        told *= series.basis(row, low, high, int(np.max(order, initial=0)) + 1)[order]
    return told


def _orders(terms: Sequence[int], level: float) -> Index | None:
    """Return the orders of all terms up to a level; None if they are too many.

    An order counts as a share of the highest that its dial alone asks for.
    """
    found, used = np.zeros((1, 0), int), np.zeros(1)
    for count in terms:
        most = max(count - 1, 1)
        own = np.arange(int(level * most) + 1)
        sums = (used[:, None] + own / most).ravel()
        kept = sums <= level + SLACK
        wider = np.repeat(found, own.size, axis=0)[kept]
        found = np.column_stack([wider, np.tile(own, used.size)[kept]])
        used = sums[kept]
        if used.size > MOST_ORDERS:
            return None
    return found
