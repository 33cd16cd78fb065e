"""Boron: boric acid and borate by pH, and what a membrane lets through."""

from __future__ import annotations

import numpy as np

from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import require
from treatsim.ranges import Range
from treatsim.water.analysis import PRACTICAL_TO_ABSOLUTE

DICKSON_SALINITY = Range("salinity", 0.005, 0.045, "kg/kg", "boric acid constant in sea water")
DICKSON_TEMPERATURE = Range(
    "temperature", ZERO_CELSIUS, 318.15, "K", "boric acid constant in sea water"
)


def log_boric_acid_constant(salinity, temperature):
    """Return ln K of boric acid in sea water, total scale.

    Parameters
    ----------
    salinity : array_like
        Mass fraction of sea salt. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        ln K, K in mol/kg of solution. [1]

    Validity
    --------
    `DICKSON_SALINITY`, `DICKSON_TEMPERATURE`: 0.004 in ln K. At zero salinity it runs into the
    fresh water value (pK 9.24); in a concentrate of 0.07 kg/kg it is an extrapolation.

    Source
    ------
    dickson_1990
    """
    S = require("salinity", salinity, 0, 0.3, "kg/kg") / PRACTICAL_TO_ABSOLUTE
    T = require("temperature", temperature, 263.15, 373.15, "K")
    root = np.sqrt(S)
    a = -8966.90 - 2890.53 * root - 77.942 * S + 1.728 * S**1.5 - 0.0996 * S**2
    b = 148.0248 + 137.1942 * root + 1.62142 * S
    c = -24.4344 - 25.085 * root - 0.2474 * S
    return a / T + b + c * np.log(T) + 0.053105 * root * T


def borate_fraction(ph, salinity, temperature):
    """Return the share of dissolved boron that is borate ion.

    Parameters
    ----------
    ph : array_like
        pH. [1]
    salinity : array_like
        Mass fraction of sea salt. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Share. [1]

    Validity
    --------
    As `log_boric_acid_constant`.

    Source
    ------
    dickson_1990
    """
    acidity = require("ph", ph, 0, 14, "")
    pk = -log_boric_acid_constant(salinity, temperature) / np.log(10)
    return 1 / (1 + 10 ** (pk - acidity))


def effective_permeability(borate, acid_permeability, borate_permeability):
    """Return the permeability of a membrane to boron as a whole.

    Parameters
    ----------
    borate : array_like
        Share of borate, `borate_fraction`. [1]
    acid_permeability, borate_permeability : array_like
        Of boric acid and of borate; the latter is about that of salt. [m/s]

    Returns
    -------
    ndarray, broadcast shape
        Permeability of boron. [m/s]

    Validity
    --------
    The two forms cross independently; pH that of the bulk.

    Source
    ------
    definition
    """
    share = require("borate", borate, 0, 1, "")
    return (1 - share) * acid_permeability + share * borate_permeability
