"""Bench arithmetic of ultraviolet dose: exposure, uncertainty, weighting by wavelength."""

from __future__ import annotations

import numpy as np

from treatsim.errors import DomainError, require


def exposure_time(dose, fluence_rate):
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


def beam_uncertainty(radiometer, petri, reflection, water, divergence, time):
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


def weighted_dose(wavelength, spectral_fluence_rate, weight, time):
    """Germicidal dose of a source that is not at 254 nm.

    Parameters
    ----------
    wavelength : array_like
        Wavelengths, rising. [m]
    spectral_fluence_rate : array_like
        Fluence rate per wavelength, last axis. [W/m3]
    weight : array_like
        Sensitivity of the organism relative to 254 nm at each wavelength. [1]
    time : array_like
        Exposure. [s]

    Returns
    -------
    ndarray
        Dose that acts like the same dose at 254 nm, shape without the last axis. [J/m2]

    Validity
    --------
    Trapezoidal rule between the wavelengths given. The absorption behind the fluence rate must
    be that at these wavelengths, not at 254 nm. Wavelengths that do not rise raise DomainError.

    Source
    ------
    definition of the germicidal fluence
    """
    x = require("wavelength", wavelength, 0.0, np.inf, "m", open_low=True)
    if x.ndim != 1 or x.size < 2 or np.any(np.diff(x) <= 0):
        raise DomainError("wavelengths must rise, at least two of them")
    rate = require("spectral fluence rate", spectral_fluence_rate, 0.0, np.inf, "W/m3")
    y = rate * require("weight", weight, 0.0, np.inf, "")
    dose_rate = np.sum(0.5 * (y[..., 1:] + y[..., :-1]) * np.diff(x), axis=-1)
    return dose_rate * require("time", time, 0.0, np.inf, "s")
