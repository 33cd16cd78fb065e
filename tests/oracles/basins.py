"""Settling basins without mixing."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.solids.size_distribution import normal_cdf
from treatsim.errors import require

NEGLIGIBLE_Z = -40.0  # normal deviate below which a share is 0 in float64


def ideal_basin_removal(velocity, surface_loading):
    """Return the share of one particle size that an ideal basin holds back.

    Parameters
    ----------
    velocity : array_like
        Settling velocity of the size. [m/s]
    surface_loading : array_like
        Flow over plan area; depth does not matter. [m/s]

    Returns
    -------
    ndarray, broadcast shape
        Share held back. [1]

    Validity
    --------
    Velocity and loading not negative, DomainError otherwise. An upper bound: use `basin_removal`.

    Source
    ------
    hazen_1904; camp_1946.
    """
    velocity = require("velocity", velocity, 0.0, np.inf, "m/s")
    loading = require("surface_loading", surface_loading, 0.0, np.inf, "m/s")
    with np.errstate(divide="ignore"):
        return np.minimum(velocity / loading, 1.0)


def lognormal_basin_removal(median_velocity, geometric_deviation, surface_loading):
    """Return the mass share that an ideal basin holds back of a lognormal suspension.

    Parameters
    ----------
    median_velocity : array_like
        Stokes velocity of the mass-median diameter. [m/s]
    geometric_deviation : array_like
        Geometric standard deviation of the diameter by mass. [1]
    surface_loading : array_like
        Flow over plan area. [m/s]

    Returns
    -------
    ndarray, broadcast shape
        Mass share held back. [1]

    Validity
    --------
    Every size by Stokes; coarse tails settle anyway. Median velocity above 0, deviation
    above 1, DomainError otherwise. What is left over is finer and makes a tighter cake.

    Source
    ------
    closed form of camp_1946's integral, derived here and checked by quadrature.
    """
    median = require("median_velocity", median_velocity, 0.0, np.inf, "m/s", open_low=True)
    spread = require("geometric_deviation", geometric_deviation, 1.0, 100.0, "1", open_low=True)
    loading = require("surface_loading", surface_loading, 0.0, np.inf, "m/s")
    s = np.log(spread)
    with np.errstate(divide="ignore"):
        z = np.maximum(0.5 * np.log(loading / median) / s, NEGLIGIBLE_Z)
    settled_in_part = np.exp(2 * s * (s - z)) * normal_cdf(z - 2 * s)
    return normal_cdf(-z) + settled_in_part
