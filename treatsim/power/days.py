"""Days out of monthly means: a sequence in which cloudy spells are as long as they really are.

A standard normal variable with memory of one day is drawn for every day and turned into a clearness
by the month's distribution. Two published pieces, no table of transitions.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.correlations.solids.size_distribution import normal_cdf
from treatsim.numerics import find_roots
from treatsim.power.sun import DAYS, MONTH_OF_DAY

MEMORY = 0.29  # correlation of a day with the one before, of the normal variable
LAGS = 20  # days after which the memory is below 1e-10
NODES = 400  # of a tabulated distribution
LEAST_FITTED = 0.2  # monthly clearness below which the largest daily one is held
STEEPEST = 400.0  # of a distribution, above any clearness that the air allows


def largest_daily_clearness(monthly: ArrayLike) -> Array:
    """Return the clearness that no day of a month exceeds.

    Parameters
    ----------
    monthly : array_like
        Clearness of the month. [1]

    Returns
    -------
    ndarray
        Upper end of the distribution of days. [1]

    Validity
    --------
    Monthly clearness 0.3 to 0.75; below 0.2 the value at 0.2 is held.

    Source
    ------
    hollands_huget_1983.
    """
    k = np.maximum(monthly, LEAST_FITTED)
    return 0.6313 + 0.267 * k - 11.9 * (k - 0.75) ** 8


def daily_quantiles(monthly: ArrayLike) -> tuple[Array, Array]:
    """Return the distribution of a month's daily clearness, as a table.

    Parameters
    ----------
    monthly : array_like, shape (M,)
        Clearness of the month. [1]

    Returns
    -------
    tuple of ndarray, shape (M, nodes)
        Clearness, and the share of days below it. [1]

    Validity
    --------
    The mean of the distribution is that of the month; a month above 95 % of its largest day has
    all days alike within a few per cent.

    Source
    ------
    hollands_huget_1983.
    """
    monthly = np.atleast_1d(np.asarray(monthly, float))
    top = largest_daily_clearness(monthly)
    share = np.clip(monthly / top, 0.01, 0.99)

    def missing(slope: Array, index: Array) -> Array:
        return _mean(slope) - share[index]

    slope = find_roots(missing, np.zeros_like(share), -STEEPEST, STEEPEST).x
    nodes = np.linspace(0.0, 1.0, NODES + 1)
    return top[:, None] * nodes, _cumulative(slope, nodes)


def _weights(slope: Array, nodes: Array) -> Array:
    """Density (1 - x) exp(slope x) on 0 to 1, scaled so that nothing overflows."""
    slope = np.asarray(slope)[:, None]
    return (1 - nodes) * np.exp(slope * nodes - np.maximum(slope, 0.0))


@cache
def _rule() -> tuple[Array, Array]:
    """Return nodes and weights of a quadrature over 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(200)
    return (nodes + 1) / 2, weights / 2


def _mean(slope: Array) -> Array:
    """Return the mean of the density by its slope; it grows with it."""
    nodes, weights = _rule()
    density = _weights(slope, nodes) * weights
    return np.asarray(density @ nodes / density.sum(axis=1))


def _cumulative(slope: Array, nodes: Array) -> Array:
    """Return the share below each node: sums of Simpson's rule between them."""
    middle = 0.5 * (nodes[1:] + nodes[:-1])
    ends = _weights(slope, nodes)
    parts = ends[:, 1:] + ends[:, :-1] + 4 * _weights(slope, middle)
    grown = np.concatenate([np.zeros((len(ends), 1)), np.cumsum(parts, axis=1)], axis=1)
    return np.asarray(grown / grown[:, -1:])


def normal_days(years: int, seed: int) -> Array:
    """Return a standard normal variable that remembers the day before, running through the years.

    Parameters
    ----------
    years : int
        Number of years.
    seed : int
        Of the draw; the first years are the same however many follow.

    Returns
    -------
    ndarray, shape (years, 365)
        Mean 0, deviation 1. [1]

    Validity
    --------
    Correlation between neighbours 0.29 at every place and season.

    Source
    ------
    graham_hollands_brunger_1988.
    """
    drawn = np.random.default_rng(seed).standard_normal(LAGS + years * DAYS)
    fading = np.sqrt(1 - MEMORY**2) * MEMORY ** np.arange(LAGS + 1)
    return np.convolve(drawn, fading, mode="valid").reshape(years, DAYS)


def drawn_clearness(monthly: ArrayLike, years: int, seed: int) -> Array:
    """Return the clearness of every day of some years.

    Parameters
    ----------
    monthly : array_like, shape (12,)
        Clearness of the months, January first. [1]
    years : int
        Number of years.
    seed : int
        Of the draw.

    Returns
    -------
    ndarray, shape (years, 365)
        Daily clearness; the mean of a month is near, not at, its value. [1]

    Validity
    --------
    As the distribution; the same monthly means every year.

    Source
    ------
    graham_hollands_brunger_1988, hollands_huget_1983.
    """
    share = normal_cdf(normal_days(years, seed))
    values, below = daily_quantiles(monthly)
    found = np.empty_like(share)
    for month, (value, cumulative) in enumerate(zip(values, below, strict=True)):
        days = month == MONTH_OF_DAY
        found[:, days] = np.interp(share[:, days], cumulative, value)
    return found


def with_exact_means(daily: Array, monthly: Array, most: Array) -> Array:
    """Return irradiation by day, scaled so that every month has its mean and no day is too bright.

    Parameters
    ----------
    daily : ndarray, shape (years, 365)
        Drawn irradiation of the days. [W/m2]
    monthly : ndarray, shape (12,)
        Means the months must have, not above those of `most`. [W/m2]
    most : ndarray, shape (365,)
        Largest irradiation of each day. [W/m2]

    Returns
    -------
    ndarray, shape (years, 365)
        One factor for each month of each year, days at `most` held there. [W/m2]

    Validity
    --------
    Months without sun stay dark.

    Source
    ------
    Definition.
    """
    found = np.empty_like(daily)
    for month, mean in enumerate(monthly):
        days = month == MONTH_OF_DAY
        top, raw = most[days], daily[:, days]
        if mean <= 0:
            found[:, days] = 0.0
            continue
        full = raw >= np.inf
        for _ in range(raw.shape[1] + 1):  # each round fills another day at least
            held = np.where(full, top, 0.0).sum(axis=1)
            free = np.where(full, 0.0, raw).sum(axis=1)
            left = np.maximum(mean * raw.shape[1] - held, 0.0)
            factor = np.divide(left, free, out=np.zeros_like(free), where=free > 0)
            scaled = factor[:, None] * raw
            over = (scaled > top) & ~full
            if not over.any():
                break
            full |= over
        found[:, days] = np.where(full, top, scaled)
    return found
