"""What a filter holds back: beta ratio, silt density index."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require
from treatsim.ranges import Range

PLUGGING_RANGE = Range("plugging", 0.0, 75.0, "%", "silt density index (ASTM D4189)")


class SiltDensity(NamedTuple):
    """Result of a silt density test."""

    value: np.ndarray  # % per minute
    plugging: np.ndarray  # %
    ceiling: np.ndarray  # highest index the test time can show
    repeat_shorter: np.ndarray  # bool: plugging above 75 %, repeat with 10 or 5 minutes


def beta_efficiency(beta: ArrayLike) -> Array:
    """Return the share of particles held back at a beta ratio.

    Parameters
    ----------
    beta : array_like
        Count upstream over count downstream, of a size and larger. [1]

    Returns
    -------
    ndarray, shape of beta
        Share held back. [1]

    Validity
    --------
    Beta from 1, DomainError below. Beta of an oil multipass test does not carry over to one pass
    of river water, and a nominal rating has no beta at all.

    Source
    ------
    iso_16889.
    """
    return 1 - 1 / require("beta", beta, 1.0, np.inf, "1")


def beta_log_removal(beta: ArrayLike) -> Array:
    """Return the log removal at a beta ratio.

    Parameters
    ----------
    beta : array_like
        Count upstream over count downstream. [1]

    Returns
    -------
    ndarray, shape of beta
        log10 of beta. [1]

    Validity
    --------
    As `beta_efficiency`. A measure of particles: credit for pathogens needs a challenge test.

    Source
    ------
    iso_16889.
    """
    return np.log10(require("beta", beta, 1.0, np.inf, "1"))


def beta_from_efficiency(efficiency: ArrayLike) -> Array:
    """Return the beta ratio of a share held back.

    Parameters
    ----------
    efficiency : array_like
        Share held back. [1]

    Returns
    -------
    ndarray, shape of efficiency
        Beta ratio. [1]

    Validity
    --------
    From 0 to just under 1, DomainError outside.

    Source
    ------
    iso_16889.
    """
    return 1 / (1 - require("efficiency", efficiency, 0.0, np.nextafter(1, 0), "1"))


def silt_density_index(
    first_time: ArrayLike, last_time: ArrayLike, test_time: ArrayLike
) -> SiltDensity:
    """Return the silt density index of a membrane feed.

    Parameters
    ----------
    first_time : array_like
        Time to fill the flask (500 mL) at the start. [s]
    last_time : array_like
        Time to fill it after the test time. [s]
    test_time : array_like
        15 minutes; 10 or 5 if the membrane plugs. [s]

    Returns
    -------
    SiltDensity
        Index in % per minute, with plugging and the ceiling of this test time.

    Validity
    --------
    0.45 um, 207 kPa. PLUGGING_RANGE: beyond it the index sticks at its ceiling, says nothing, and
    `repeat_shorter` is set. A gate for feed water, not a rate of fouling. DomainError if the last
    filling is faster than the first.

    Source
    ------
    astm_d4189.
    """
    first = require("first_time", first_time, 0.0, np.inf, "s", open_low=True)
    ratio = require("last over first time", np.asarray(last_time) / first, 1.0, np.inf, "1")
    minutes = require("test_time", test_time, 0.0, np.inf, "s", open_low=True) / 60
    plugging = 100 * (1 - 1 / ratio)
    return SiltDensity(plugging / minutes, plugging, 100 / minutes, plugging > PLUGGING_RANGE.high)
