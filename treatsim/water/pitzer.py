"""Osmotic coefficient of sodium chloride by the Pitzer equation, numpy alone."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.constants import (
    ATMOSPHERE,
    AVOGADRO,
    BAR,
    BOLTZMANN,
    CELSIUS_25,
    ELEMENTARY_CHARGE,
    VACUUM_PERMITTIVITY,
)
from treatsim.errors import require
from treatsim.ranges import Range
from treatsim.water.properties import density

PITZER_RANGE = Range("molality", 0.0, 6.0, "mol/kg", "Pitzer equation for sodium chloride")


class PitzerSalt(NamedTuple):
    """Parameters of the Pitzer equation for one 1:1 salt at one temperature."""

    beta0: float  # kg/mol
    beta1: float  # kg/mol
    c_phi: float  # kg2/mol2


SODIUM_CHLORIDE_1973 = PitzerSalt(0.0765, 0.2664, 0.00127)
# per parameter: value at 25 degC and factors of (1/T - 1/Tr), ln(T/Tr), T - Tr, T2 - Tr2,
# 1/T2 - 1/Tr2, as tabulated in PHREEQC's pitzer.dat
_SODIUM_CHLORIDE = np.array(
    [
        [7.534e-2, 9598.4, 35.48, -5.8731e-2, 1.798e-5, -5e5],
        [0.2769, 1.377e4, 46.8, -6.9512e-2, 2e-5, -7.4823e5],
        [1.48e-3, -120.5, -0.2081, 0.0, 1.166e-7, 11121.0],
    ]
)


def relative_permittivity(temperature):
    """Return the relative permittivity of water at 1 atm.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, shape of temperature
        Relative permittivity. [1]

    Validity
    --------
    0 to 350 degC, 0.1 %. Computed outside.

    Source
    ------
    bradley_pitzer_1979, coefficients from memory
    """
    T = np.asarray(temperature, dtype=float)
    at_1000_bar = 3.4279e2 * np.exp(-5.0866e-3 * T + 9.4690e-7 * T**2)
    c = -2.0525 + 3.1159e3 / (T - 1.8289e2)
    b = -8.0325e3 + 4.2142e6 / T + 2.1417 * T
    return at_1000_bar + c * np.log((b + ATMOSPHERE / BAR) / (b + 1000))


def debye_hueckel_slope(temperature):
    """Return the Debye-Hueckel slope of the osmotic coefficient, A_phi (natural logarithm).

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, shape of temperature
        Slope. [(kg/mol)**0.5]

    Validity
    --------
    0 to 100 degC, 0.2 %: authors differ between 0.391 and 0.392 at 25 degC.

    Source
    ------
    bradley_pitzer_1979
    """
    T = np.asarray(temperature, dtype=float)
    permittivity = VACUUM_PERMITTIVITY * relative_permittivity(T)
    bjerrum = ELEMENTARY_CHARGE**2 / (4 * np.pi * permittivity * BOLTZMANN * T)
    return np.sqrt(2 * np.pi * AVOGADRO * density(T)) * bjerrum**1.5 / 3


def pitzer_osmotic_coefficient(molality, salt: PitzerSalt, slope):
    """Return the osmotic coefficient of a 1:1 salt by the Pitzer equation.

    Parameters
    ----------
    molality : array_like
        Salt per kg of water. [mol/kg]
    salt : PitzerSalt
        Parameters at the temperature. [kg/mol]
    slope : array_like
        `debye_hueckel_slope`. [(kg/mol)**0.5]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic coefficient. [1]

    Validity
    --------
    `PITZER_RANGE` for sodium chloride, 0.1 % of the coefficient.

    Source
    ------
    pitzer_mayorga_1973
    """
    m = require("molality", molality, 0, 30, "mol/kg")
    root = np.sqrt(m)
    virial = salt.beta0 + salt.beta1 * np.exp(-2.0 * root)
    return 1 - slope * root / (1 + 1.2 * root) + m * virial + m**2 * salt.c_phi


def sodium_chloride_osmotic_coefficient(molality, temperature):
    """Return the osmotic coefficient of a sodium chloride solution.

    Parameters
    ----------
    molality : array_like
        Salt per kg of water. [mol/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic coefficient. [1]

    Validity
    --------
    `PITZER_RANGE`, 0 to 45 degC: 0.15 % against measurements at 25 degC. Computed outside.

    Source
    ------
    parkhurst_appelo_2013, parameters of pitzer.dat
    """
    T = np.asarray(temperature, dtype=float)
    Tr = CELSIUS_25
    terms = np.stack(
        [np.ones_like(T), 1 / T - 1 / Tr, np.log(T / Tr), T - Tr, T**2 - Tr**2, T**-2 - Tr**-2]
    )
    salt = PitzerSalt(*np.tensordot(_SODIUM_CHLORIDE, terms, axes=1))
    return pitzer_osmotic_coefficient(molality, salt, debye_hueckel_slope(T))
