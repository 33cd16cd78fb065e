"""What another draw of as many years would tell: the scatter of a poor day.

A poor day lies among few, and where whole starts of the train make or miss it, the litres of such a
day jump. Twenty years of days do not settle it, so the answer says between what it lies.
"""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array

FEWEST = 10  # years, from which the scatter can be told
RESAMPLES, SEED = 200, 7
INSIDE = (2.5, 97.5)  # percentiles


def between_draws(daily: Array, percentile: float) -> tuple[float, float] | None:
    """Return between what a percentile of days lies in 95 % of other draws of as many years.

    Parameters
    ----------
    daily : ndarray, shape (days, years)
        Of drawn years, which know nothing of each other. [any]
    percentile : float
        Of the days. [%]

    Returns
    -------
    tuple of float or None
        Lower and upper end, of the unit of `daily`; None where there are too few years to tell.

    Validity
    --------
    Whole years are drawn again out of these, at least 10 of them. Among ten draws of 20 years the
    interval held the value of all 200 nine times (river) and ten times (sea).

    Source
    ------
    efron_1979
    """
    years = daily.shape[1]
    if years < FEWEST:
        return None
    again = np.random.default_rng(SEED).integers(0, years, (RESAMPLES, years))
    found = [np.percentile(daily[:, pick], percentile) for pick in again]
    low, high = np.percentile(found, INSIDE)
    return float(low), float(high)
