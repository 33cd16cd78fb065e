"""Particle sizes: lognormal by mass, and numbers from mass."""

from __future__ import annotations

import math

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require


def normal_cdf(z: ArrayLike) -> Array:
    """Return the standard normal distribution function.

    Parameters
    ----------
    z : array_like
        Argument. [1]

    Returns
    -------
    ndarray, shape of z
        Probability below z. [1]

    Validity
    --------
    All z, within 1e-12 relative down to z = -37, where it leaves the range of floats.

    Source
    ------
    definition, by SciPy's complementary error function.
    """
    from scipy.special import erfc

    return 0.5 * erfc(-np.asarray(z, dtype=float) / math.sqrt(2))


def lognormal_mass_below(
    diameter: ArrayLike, median: ArrayLike, geometric_deviation: ArrayLike
) -> Array:
    """Return the mass share of particles smaller than a diameter.

    Parameters
    ----------
    diameter : array_like
        Diameter. [m]
    median : array_like
        Mass-median diameter. [m]
    geometric_deviation : array_like
        Geometric standard deviation. [1]

    Returns
    -------
    ndarray, broadcast shape
        Mass share. [1]

    Validity
    --------
    Median above 0, deviation above 1, DomainError otherwise.

    Source
    ------
    definition.
    """
    diameter = require("diameter", diameter, 0.0, np.inf, "m")
    median = require("median", median, 0.0, np.inf, "m", open_low=True)
    spread = require("geometric_deviation", geometric_deviation, 1.0, 100.0, "1", open_low=True)
    with np.errstate(divide="ignore"):
        return normal_cdf(np.log(diameter / median) / np.log(spread))


def lognormal_classes(
    median: ArrayLike, geometric_deviation: ArrayLike, count: int
) -> tuple[Array, Array]:
    """Return diameters and mass shares that stand for a lognormal distribution.

    Parameters
    ----------
    median : array_like
        Mass-median diameter. [m]
    geometric_deviation : array_like
        Geometric standard deviation. [1]
    count : int
        Number of classes. [1]

    Returns
    -------
    diameter : ndarray, broadcast shape + (count,)
        Diameters, rising. [m]
    share : ndarray, shape (count,)
        Mass shares, sum 1. [1]

    Validity
    --------
    Removal of a real basin: 30 classes within 1e-8 at a deviation of 3, 1e-4 at 6. A kink, as in
    the ideal basin, leaves 1 to 2 % with 30.

    Source
    ------
    definition (equal steps in log size over 6.5 deviations to either side).
    """
    median = require("median", median, 0.0, np.inf, "m", open_low=True)
    spread = require("geometric_deviation", geometric_deviation, 1.0, 100.0, "1", open_low=True)
    z = np.linspace(-6.5, 6.5, count)
    share = np.exp(-0.5 * z * z)
    return median[..., None] * spread[..., None] ** z, share / share.sum()


def particle_number(
    concentration: ArrayLike, diameter: ArrayLike, particle_density: ArrayLike
) -> Array:
    """Return the number of equal spheres per volume of water.

    Parameters
    ----------
    concentration : array_like
        Mass of particles per volume of water. [kg/m3]
    diameter : array_like
        Diameter. [m]
    particle_density : array_like
        Density of the particle. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        Number per volume. [1/m3]

    Validity
    --------
    Spheres; DomainError for impossible sizes. No such relation exists for turbidity.

    Source
    ------
    definition.
    """
    concentration = require("concentration", concentration, 0.0, np.inf, "kg/m3")
    diameter = require("diameter", diameter, 0.0, np.inf, "m", open_low=True)
    solid = require("particle_density", particle_density, 0.0, np.inf, "kg/m3", open_low=True)
    return 6 * concentration / (np.pi * solid * diameter**3)
