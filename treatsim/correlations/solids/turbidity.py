"""Suspended solids from turbidity. No universal relation exists: every curve belongs to a site."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import DomainError, require
from treatsim.ranges import Range

BORROWED_SPREAD = 0.3  # sd of log10 solids with another site's curve (common practice)
FEWEST_PAIRS = 6  # readings of both that make a curve (common practice, no source)
TURBIDITY_RANGE = Range("turbidity", 1.0, 1000.0, "FNU", "rating curves of suspended solids")


class RatingCurve(NamedTuple):
    """Straight line between logarithms, with the factor that undoes the bias of doing so."""

    factor: float  # mg/L at 1 FNU
    exponent: float
    smearing: float
    source: str


class Rating(NamedTuple):
    """A curve with what is not known of it; standard deviations are of natural logarithms."""

    curve: RatingCurve
    centre: float  # FNU, about which slope and level are independent
    scatter: float  # of a reading about the curve
    level_error: float  # of the curve at the centre
    slope_error: float


# Fitted at gauging stations in other waters than the user's: they show the spread.
PUBLISHED_CURVES = {
    "first": RatingCurve(10**0.3302, 0.9682, 1.015, "usgs_03374100"),
    "second": RatingCurve(1.456, 1.263, 1.048, "usgs_sir_2007_5164"),
    "third": RatingCurve(2.233, 1.012, 1.123, "usgs_sir_2007_5164"),
}


def suspended_solids(turbidity: ArrayLike, curve: RatingCurve) -> Array:
    """Return the mean suspended solids at a turbidity.

    Parameters
    ----------
    turbidity : array_like
        Turbidity. [FNU]
    curve : RatingCurve
        Of the site; PUBLISHED_CURVES or `curve_from_sample` when there is none. [as stated there]

    Returns
    -------
    ndarray, shape of turbidity
        Suspended solids. [kg/m3]

    Validity
    --------
    TURBIDITY_RANGE. Published sites differ 1.7-fold at 20 FNU and 2.7-fold at 100, so a borrowed
    curve carries BORROWED_SPREAD. DomainError for negative turbidity.

    Source
    ------
    The curve's own.
    """
    turbidity = require("turbidity", turbidity, 0.0, np.inf, "FNU")
    return 1e-3 * curve.smearing * curve.factor * turbidity**curve.exponent


def curve_from_sample(turbidity: float, solids: float, exponent: float = 1.0) -> RatingCurve:
    """Return the curve through one filtered and dried sample.

    Parameters
    ----------
    turbidity : float
        Turbidity of the sample. [FNU]
    solids : float
        Its suspended solids. [kg/m3]
    exponent : float
        Slope between logarithms, 0.95 to 1.3 at most sites. [1]

    Returns
    -------
    RatingCurve
        For `suspended_solids`.

    Validity
    --------
    Turbidity and solids above 0, DomainError otherwise. Good near the sample only.

    Source
    ------
    definition.
    """
    turbidity = float(require("turbidity", turbidity, 0.0, np.inf, "FNU", open_low=True))
    solids = float(require("solids", solids, 0.0, np.inf, "kg/m3", open_low=True))
    return RatingCurve(1e3 * solids / turbidity**exponent, exponent, 1.0, "site sample")


def curve_from_pairs(turbidity: ArrayLike, solids: ArrayLike) -> Rating:
    """Return the curve through readings of both, and how well they pin it down.

    Parameters
    ----------
    turbidity : array_like, shape (n,)
        Turbidity. [FNU]
    solids : array_like, shape (n,)
        Suspended solids of the same samples. [kg/m3]

    Returns
    -------
    Rating
        Least squares between logarithms, smearing as the mean of what the residuals undo.

    Validity
    --------
    FEWEST_PAIRS readings above 0, of more than one turbidity; DomainError otherwise. Good between
    the least and the largest turbidity read.

    Source
    ------
    duan_1983.
    """
    turbidity = require("turbidity", turbidity, 0.0, np.inf, "FNU", open_low=True)
    solids = require("solids", solids, 0.0, np.inf, "kg/m3", open_low=True)
    if turbidity.ndim != 1 or turbidity.shape != solids.shape or turbidity.size < FEWEST_PAIRS:
        raise DomainError(f"rating curve: {FEWEST_PAIRS} readings of both or more belong here")
    if np.ptp(turbidity) == 0:
        raise DomainError("rating curve: all readings are of one turbidity")
    x, y = np.log(turbidity), np.log(1e3 * solids)
    middle = float(np.mean(x))
    width = float(np.sum((x - middle) ** 2))
    slope = float(np.sum((x - middle) * y)) / width
    level = float(np.mean(y))
    residual = y - level - slope * (x - middle)
    scatter = float(np.sqrt(np.sum(residual**2) / (x.size - 2)))
    factor = float(np.exp(level - slope * middle))
    curve = RatingCurve(factor, slope, float(np.mean(np.exp(residual))), "readings at the site")
    return Rating(
        curve, float(np.exp(middle)), scatter, scatter / np.sqrt(x.size), scatter / np.sqrt(width)
    )
