"""Bench arithmetic of ultraviolet dose: exposure and uncertainty."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require


def exposure_time(dose: ArrayLike, fluence_rate: ArrayLike) -> Array:
    """Time in the beam for a dose.

    Parameters
    ----------
    dose : array_like
        Dose wanted. [J/m2]
    fluence_rate : array_like
        Mean fluence rate in the dish. [W/m2]

    Returns
    -------
    ndarray
        Time, broadcast shape. [s]

    Validity
    --------
    Steady lamp, stirred dish. A fluence rate not above zero raises DomainError.

    Source
    ------
    bolton_linden_2003
    """
    dose = require("dose", dose, 0.0, np.inf, "J/m2")
    return dose / require("fluence rate", fluence_rate, 0.0, np.inf, "W/m2", open_low=True)


def beam_uncertainty(
    radiometer: ArrayLike,
    petri: ArrayLike,
    reflection: ArrayLike,
    water: ArrayLike,
    divergence: ArrayLike,
    time: ArrayLike,
) -> Array:
    """Relative uncertainty of a collimated-beam dose from its independent parts.

    Parameters
    ----------
    radiometer : array_like
        Relative uncertainty of the irradiance reading. [1]
    petri : array_like
        Of the petri factor. [1]
    reflection : array_like
        Of the reflection factor. [1]
    water : array_like
        Of the water factor. [1]
    divergence : array_like
        Of the divergence factor. [1]
    time : array_like
        Of the exposure time. [1]

    Returns
    -------
    ndarray
        Root of the sum of squares, broadcast shape. [1]

    Validity
    --------
    Independent parts, all at the same level of confidence. Negative values raise DomainError.

    Source
    ------
    definition; the factors are those of bolton_linden_2003
    """
    parts = (radiometer, petri, reflection, water, divergence, time)
    return np.sqrt(sum(require("uncertainty", part, 0.0, np.inf, "") ** 2 for part in parts))
