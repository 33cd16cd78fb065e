"""Chebyshev series in one and two variables: fitting, value, exact derivative, error."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np


class Series(NamedTuple):
    """Series in one variable over [low, high]."""

    coefficients: np.ndarray  # shape (n,)
    low: float
    high: float


class Surface(NamedTuple):
    """Series in two variables over a rectangle."""

    coefficients: np.ndarray  # shape (n, m): first variable, second variable
    low: tuple[float, float]
    high: tuple[float, float]


def nodes(low: float, high: float, count: int) -> np.ndarray:
    """Return the points at which a function must be known to be fitted.

    Parameters
    ----------
    low, high : float
        Ends of the range; both lie outside the nodes. [any]
    count : int
        Number of nodes, one more than the degree. [1]

    Returns
    -------
    ndarray, shape (count,)
        Roots of the Chebyshev polynomial of degree `count`, falling, in the unit of `low`.

    Validity
    --------
    low < high, count at least 1.

    Source
    ------
    definition.
    """
    angle = np.pi * (np.arange(count) + 0.5) / count
    return 0.5 * (low + high) + 0.5 * (high - low) * np.cos(angle)


def fit_series(function: Callable, low: float, high: float, count: int) -> Series:
    """Return the series that meets `function` at `count` nodes.

    Parameters
    ----------
    function : callable
        Called once with the array of nodes, returns an array of the same length. [any]
    low, high : float
        Range. [any]
    count : int
        Number of coefficients. [1]

    Returns
    -------
    Series
        In the units of `function`.

    Validity
    --------
    A smooth function; the error falls geometrically with `count`. Measure it: `largest_error`.

    Source
    ------
    definition.
    """
    values = np.asarray(function(nodes(low, high, count)), dtype=float)
    return Series(transform(count) @ values, low, high)


def evaluate(series: Series, x):
    """Return the value of a series.

    Parameters
    ----------
    series : Series
        The series. [any]
    x : array_like
        Argument. [as fitted]

    Returns
    -------
    ndarray, shape of x
        Value, in the unit fitted.

    Validity
    --------
    Inside the fitted range. Outside, the polynomial is continued and soon leaves the function.

    Source
    ------
    definition, summed by the Clenshaw recurrence.
    """
    return _clenshaw(series.coefficients, _scaled(x, series.low, series.high))


def evaluate_with_slope(series: Series, x):
    """Return the value of a series and its exact derivative.

    Parameters
    ----------
    series : Series
        The series. [any]
    x : array_like
        Argument. [as fitted]

    Returns
    -------
    value, slope : ndarray, shape of x
        Value in the unit fitted, derivative per unit of x.

    Validity
    --------
    As `evaluate`.

    Source
    ------
    definition, summed by the Clenshaw recurrence.
    """
    value, slope = _clenshaw_slope(series.coefficients, _scaled(x, series.low, series.high))
    return value, slope * 2 / (series.high - series.low)


def largest_error(series: Series, function: Callable, count: int = 400) -> float:
    """Return the largest relative error of a series, seen between its nodes.

    Parameters
    ----------
    series : Series
        The series. [any]
    function : callable
        What was fitted; called once with an array. [any]
    count : int
        Number of equally spaced points, ends left out. [1]

    Returns
    -------
    float
        max |series / function - 1|. [1]

    Validity
    --------
    The function has no zero in the range.

    Source
    ------
    definition.
    """
    x = np.linspace(series.low, series.high, count + 2)[1:-1]
    return float(np.max(np.abs(evaluate(series, x) / np.asarray(function(x)) - 1)))


def transform(count: int) -> np.ndarray:
    """Return the matrix from values at the nodes to coefficients: a cosine transform.

    Parameters
    ----------
    count : int
        Number of nodes and of coefficients. [1]

    Returns
    -------
    ndarray, shape (count, count)
        To be multiplied by the values at `nodes`. [1]

    Validity
    --------
    Values at the nodes of `nodes`, in their order.

    Source
    ------
    definition.
    """
    index = np.arange(count)
    matrix = np.cos(np.pi * index[:, None] * (index[None, :] + 0.5) / count) * 2 / count
    matrix[0] *= 0.5
    return matrix


def _scaled(x, low, high):
    return (2 * np.asarray(x, dtype=float) - (low + high)) / (high - low)


def _clenshaw(coefficients, t):
    """Sum of c[k] T_k(t); each c[k] is a number or an array that broadcasts with t."""
    t = np.asarray(t, dtype=float)
    shape = np.broadcast_shapes(t.shape, np.shape(coefficients)[1:])
    twice, first, second, last = 2 * t, np.zeros(shape), np.zeros(shape), np.empty(shape)
    for c in coefficients[:0:-1]:
        np.multiply(twice, first, out=last)
        last += c
        last -= second
        first, second, last = last, first, second
    first *= t
    first += coefficients[0]
    first -= second
    return first


def _clenshaw_slope(coefficients, t):
    """Sum and derivative in one pass: the recurrence, differentiated term by term."""
    first = second = d_first = d_second = np.zeros_like(t)
    for c in coefficients[:0:-1]:
        d_first, d_second = 2 * (first + t * d_first) - d_second, d_first
        first, second = c + 2 * t * first - second, first
    return coefficients[0] + t * first - second, first + t * d_first - d_second


def surface_through(x, y, values, low, high) -> Surface:
    """Return the tensor series that meets values known at nodes of one's own choice.

    Parameters
    ----------
    x, y : array_like, shapes (n,), (m,)
        Distinct nodes, best near Chebyshev's: `nodes`. [any]
    values : array_like, shape (n, m)
        The function at the nodes. [any]
    low, high : pair of float
        Ranges of the two variables. [any]

    Returns
    -------
    Surface
        In the units of `values`.

    Validity
    --------
    As `fit_series`; up to about 20 nodes each way.

    Source
    ------
    definition.
    """
    left = _basis(_scaled(x, low[0], high[0]), len(x)).T
    right = _basis(_scaled(y, low[1], high[1]), len(y)).T
    half = np.linalg.solve(left, np.asarray(values, dtype=float))
    return Surface(np.linalg.solve(right, half.T).T, tuple(low), tuple(high))


def section(surface: Surface, y) -> Series:
    """Return the series in the first variable that a surface is at given second arguments.

    Parameters
    ----------
    surface : Surface
        The series. [any]
    y : array_like
        Second argument. [as fitted]

    Returns
    -------
    Series
        Its coefficients have the shape (n, *shape of y), so it may be evaluated at arguments that
        broadcast with y.

    Validity
    --------
    As `evaluate`.

    Source
    ------
    definition.
    """
    u = _scaled(y, surface.low[1], surface.high[1])
    basis = _basis(u, surface.coefficients.shape[1])
    # einsum, not BLAS: its threads would wait for each other on a busy machine
    coefficients = np.einsum("ij,j...->i...", surface.coefficients, basis)
    return Series(coefficients, surface.low[0], surface.high[0])


def basis(x, low: float, high: float, count: int) -> np.ndarray:
    """Return the polynomials whose sum, weighted by the coefficients, is a series.

    Parameters
    ----------
    x : array_like
        Argument. [as fitted]
    low, high : float
        Range of the series. [as fitted]
    count : int
        Number of coefficients. [1]

    Returns
    -------
    ndarray, shape (count, *shape of x)
        Chebyshev polynomials 0 to count - 1. [1]

    Validity
    --------
    As `evaluate`.

    Source
    ------
    definition.
    """
    return _basis(_scaled(x, low, high), count)


def _basis(t, count: int) -> np.ndarray:
    """Chebyshev polynomials 0 to count - 1 at t, shape (count, *shape of t)."""
    rows = [np.ones_like(t), t]
    for _ in range(count - 2):
        rows.append(2 * t * rows[-1] - rows[-2])
    return np.stack(rows[:count])
