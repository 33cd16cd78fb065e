"""The whole train as a smooth function of a few inputs, with its own error measured.

A run over months asks for the operating point millions of times. The train is solved at Chebyshev
nodes of the inputs that move, and the tensor series through them is held against the train itself
at points between. It holds only inside the ranges it was built over; outside, it answers NaN.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import NoSolutionError
from treatsim.numerics import even_points
from treatsim.safety.verdict import judge
from treatsim.water import series

CHECKS = 97  # points at which the series is held against the train
FIRST, MOST = 4, 33  # nodes along an axis
BUDGET = 60_000  # nodes in all
PIECE = 16_384  # points summed at once
SMALL = 0.05  # of the largest magnitude: below, a miss is measured against this

Axes = Mapping[str, tuple[float, float]]  # address of an input -> its range, SI
Train = Callable[[Mapping[str, Array]], Mapping[str, Array]]


@dataclass(frozen=True)
class Response:
    """Results of a train over ranges of its inputs; `response` builds it."""

    axes: Axes
    coefficients: Mapping[str, Array]  # result -> one axis for each input
    error: Mapping[str, float]  # result -> largest miss seen, relative to the value
    solved: int  # operating points of the train behind it

    def __call__(self, points: Mapping[str, Any]) -> dict[str, Array]:
        """Return every result at points that broadcast; NaN outside the ranges."""
        given = np.broadcast_arrays(*(np.asarray(points[name], float) for name in self.axes))
        shape, flat = given[0].shape, [array.ravel() for array in given]
        found = {name: np.empty(flat[0].size) for name in self.coefficients}
        for start in range(0, flat[0].size, PIECE):
            piece = slice(start, start + PIECE)
            for name, values in _sums(self, [array[piece] for array in flat]).items():
                found[name][piece] = values
        outside = np.broadcast_to(self.outside(points), shape)
        return {
            name: np.where(outside, np.nan, values.reshape(shape)) for name, values in found.items()
        }

    def outside(self, points: Mapping[str, Any]) -> Array:
        """Tell which points lie outside the ranges. [bool]"""
        wrong = np.array(False)
        for name, (low, high) in self.axes.items():
            value = np.asarray(points[name], float)
            wrong = wrong | ~((value >= low) & (value <= high))
        return wrong


def train(case: Any, results: Sequence[str]) -> Train:
    """Return a case as a function from inputs (SI) to judged results (SI).

    Parameters
    ----------
    case : Case
        What is solved; its `solve` takes arrays over operating points.
    results : sequence of str
        Addresses of results, those of the verdict included.

    Returns
    -------
    callable
        From inputs by address, arrays of shape (n,), to results by address, of the same shape. It
        raises NoSolutionError where a point has no answer, naming point and reason.
    """

    def values(arrays: Mapping[str, Array]) -> dict[str, Array]:
        result = case.solve(arrays)
        if not np.all(result.solved):
            point = int(np.argmin(result.solved))
            place = ", ".join(f"{name} = {array[point]:.6g} (SI)" for name, array in arrays.items())
            raise NoSolutionError(f"at {place}: {result.reason(point)}")
        verdict = judge(result)
        told = (np.asarray(verdict.value(name).value, float) for name in results)
        return dict(zip(results, (np.broadcast_to(v, result.points) for v in told), strict=True))

    return values


def response(
    solve: Train, axes: Axes, *, tolerance: float = 1e-3, checks: int = CHECKS, first: int = FIRST
) -> Response:
    """Return the response of a train, as fine as the tolerance asks.

    Parameters
    ----------
    solve : callable
        From inputs by address, arrays of shape (n,), to results by address, of the same shape.
        [SI]
    axes : mapping
        Address of each input -> its range, low below high. [SI]
    tolerance : float
        Largest miss allowed at the points between the nodes, relative to the value there, or to
        5 % of the largest magnitude where the value is smaller. [1]
    checks : int
        Points between the nodes. [1]
    first : int
        Nodes along each axis to begin with. [1]

    Returns
    -------
    Response
        With the largest miss seen of every result.

    Validity
    --------
    Results that are smooth over the ranges: no change of what governs them on the way.

    Raises
    ------
    NoSolutionError
        A node has no answer, or the tolerance is not reached: the ranges are to be cut.

    Source
    ------
    tensor Chebyshev interpolation, definition.
    """
    found = finest(solve, axes, [first] * len(axes), tolerance=tolerance, checks=checks)
    if max(found.error.values()) > tolerance:
        worst = max(found.error, key=lambda name: found.error[name])
        ranges = ", ".join(f"{n} {low:.6g} to {high:.6g}" for n, (low, high) in axes.items())
        raise NoSolutionError(
            f"{worst} is not smooth over {ranges} (SI): missed by {found.error[worst]:.1%}"
        )
    return found


def finest(
    solve: Train,
    axes: Axes,
    counts: Sequence[int],
    *,
    tolerance: float,
    checks: int = CHECKS,
    sizes: Mapping[str, float] | None = None,
    budget: int = BUDGET,
) -> Response:
    """Return the response as fine as the tolerance asks, or as the budget allows.

    Parameters
    ----------
    solve, axes, tolerance, checks
        As of `response`.
    counts : sequence of int
        Nodes along each axis to begin with. [1]
    sizes : mapping, optional
        Result -> the size its miss is held against, in place of its value. [SI]
    budget : int
        Most nodes of the grid. [1]

    Returns
    -------
    Response
        Its error may be above the tolerance.

    Validity
    --------
    As of `response`.

    Raises
    ------
    NoSolutionError
        A node has no answer.

    Source
    ------
    tensor Chebyshev interpolation, definition.
    """
    between, grid = _between(axes, checks), _grid(axes, counts)
    # a solve costs much, a point in it little: checks and first nodes are solved together
    both = solve({name: np.concatenate([between[name], grid[name]]) for name in axes})
    truth = {name: values[:checks] for name, values in both.items()}
    nodes: Mapping[str, Array] = {name: values[checks:] for name, values in both.items()}
    while True:
        found, weights = _fitted(axes, counts, nodes)
        told = found(between)
        error = {name: _miss(told[name], truth[name], (sizes or {}).get(name)) for name in truth}
        finer = _finer(counts, weights)
        enough = max(error.values()) <= tolerance
        if enough or max(finer) > MOST or np.prod(finer) > budget:
            return Response(axes, found.coefficients, error, int(np.prod(counts)) + checks)
        counts, nodes = finer, solve(_grid(axes, finer))


def _between(axes: Axes, checks: int) -> dict[str, Array]:
    """Points that fill the ranges evenly."""
    share = even_points(len(axes), checks)
    return {
        name: low + (high - low) * share[:, axis]
        for axis, (name, (low, high)) in enumerate(axes.items())
    }


def _grid(axes: Axes, counts: Sequence[int]) -> dict[str, Array]:
    """Return the nodes of all axes against one another, each input (n,)."""
    lines = [series.nodes(*axes[name], count) for name, count in zip(axes, counts, strict=True)]
    grid = np.meshgrid(*lines, indexing="ij")
    return {name: part.ravel() for name, part in zip(axes, grid, strict=True)}


def _fitted(
    axes: Axes, counts: Sequence[int], values: Mapping[str, Array]
) -> tuple[Response, list[float]]:
    """Return the series through a grid, and how much its last terms along each axis weigh."""
    coefficients, weights = {}, [0.0] * len(counts)
    for name, told in values.items():
        block = np.asarray(told, float).reshape(counts)
        for axis, count in enumerate(counts):
            turned = np.tensordot(series.transform(count), block, axes=(1, axis))
            block = np.moveaxis(turned, 0, axis)
        coefficients[name] = block
        size = np.abs(block).max() or 1.0
        for axis, count in enumerate(counts):
            seen = [-2, -1] if count > 3 else [-1]  # a series may be even, but not two terms long
            last = np.take(np.abs(block), seen, axis=axis).max()
            weights[axis] = max(weights[axis], float(last / size))
    return Response(axes, coefficients, {}, 0), weights


def _finer(counts: Sequence[int], weights: Sequence[float]) -> list[int]:
    """Return more nodes along the axes whose last terms weigh most."""
    return [
        count + max(2, count // 2) if weight >= 0.2 * max(weights) else count
        for count, weight in zip(counts, weights, strict=True)
    ]


def _miss(told: Array, truth: Array, known: float | None = None) -> float:
    if known is not None:
        return float(np.max(np.abs(told - truth)) / known)
    size = np.abs(truth)
    against = np.maximum(size, SMALL * size.max())
    return float(np.max(np.abs(told - truth) / np.where(against > 0, against, 1.0)))


def _sums(found: Response, points: Sequence[Array]) -> dict[str, Array]:
    """Sum the tensor series at points, shape (n,), the last axis first."""
    shape = next(iter(found.coefficients.values())).shape
    bases = [
        series.basis(x, low, high, count)
        for x, (low, high), count in zip(points, found.axes.values(), shape, strict=True)
    ]
    told = {}
    for name, block in found.coefficients.items():
        total = np.tensordot(block, bases[-1], axes=1)
        for base in bases[-2::-1]:
            total = np.einsum("...kn,kn->...n", total, base)
        told[name] = total
    return told
