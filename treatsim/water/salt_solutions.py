"""Density and viscosity of salt solutions at 1 atm, and how fast salt diffuses in them.

Pure water comes from `properties`; these formulas say what the salt adds.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from treatsim.constants import CELSIUS_25, ZERO_CELSIUS
from treatsim.errors import require
from treatsim.ranges import Range
from treatsim.water import properties
from treatsim.water.ions import IONS

SODIUM_CHLORIDE_RANGE = Range("salinity", 0.0, 0.26, "kg/kg", "sodium chloride density, viscosity")
SEAWATER_VISCOSITY_RANGE = Range("salinity", 0.0, 0.150, "kg/kg", "sea water viscosity")
SALT_DIFFUSIVITY = 1.5e-9  # m2/s at 25 degC, near 0.1 to 1 mol/L; sodium chloride, sea salt
DILUTE_DIFFUSIVITY = 1.61e-9  # sodium chloride at infinite dilution


def sodium_chloride_density(salinity, temperature):
    """Return the density of a sodium chloride solution.

    Parameters
    ----------
    salinity : array_like
        Mass fraction of salt. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Density. [kg/m3]

    Validity
    --------
    `SODIUM_CHLORIDE_RANGE`, 0 to 100 degC: 0.1 %. Computed outside.

    Source
    ------
    laliberte_cooper_2004, coefficients from memory
    """
    w = require("salinity", salinity, 0, 0.5, "kg/kg")
    t = np.asarray(temperature, dtype=float) - ZERO_CELSIUS
    growth = (-0.00433 * w + 0.06471) * np.exp(1e-6 * (t + 3315.6) ** 2)
    apparent_volume = (w + 1.01660 + 0.014624 * t) / growth  # m3 per kg of salt
    return 1 / ((1 - w) / properties.density(temperature) + w * apparent_volume)


def sodium_chloride_viscosity(salinity, temperature):
    """Return the dynamic viscosity of a sodium chloride solution.

    Parameters
    ----------
    salinity : array_like
        Mass fraction of salt. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Dynamic viscosity. [Pa s]

    Validity
    --------
    `SODIUM_CHLORIDE_RANGE`, 5 to 100 degC: 1 %. Computed outside.

    Source
    ------
    laliberte_2007, coefficients from memory
    """
    w = require("salinity", salinity, 0, 0.5, "kg/kg")
    t = np.asarray(temperature, dtype=float) - ZERO_CELSIUS
    pure = 1e3 * properties.viscosity(temperature)
    solute = np.exp((16.222 * w**1.3229 + 1.4849) / (0.0074691 * t + 1))
    solute = solute / (30.78 * w**2.0583 + 1)
    return 1e-3 * pure ** (1 - w) * solute**w


def seawater_density(salinity, temperature):
    """Return the density of sea salt in water.

    Parameters
    ----------
    salinity : array_like
        Absolute Salinity as mass fraction. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Density. [kg/m3]

    Validity
    --------
    0 to 0.12 kg/kg, 0 to 45 degC: 0.01 % to 0.042 kg/kg, 0.1 % above.

    Source
    ------
    iapws_2008
    """
    import gsw

    s = 1e3 * require("salinity", salinity, 0, 0.25, "kg/kg")
    return gsw.rho_t_exact(s, np.asarray(temperature, dtype=float) - ZERO_CELSIUS, 0.0)


def seawater_viscosity(salinity, temperature):
    """Return the dynamic viscosity of sea salt in water; also used for brackish ion mixtures.

    Parameters
    ----------
    salinity : array_like
        Mass fraction of salt. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Dynamic viscosity. [Pa s]

    Validity
    --------
    `SEAWATER_VISCOSITY_RANGE`, 0 to 180 degC: 1.5 %. For an ion mixture of equal mass below
    0.02 kg/kg the same 1.5 % is an estimate (the salt adds 4 % there). Computed outside.

    Source
    ------
    sharqawy_2010, coefficients from memory
    """
    s = require("salinity", salinity, 0, 0.5, "kg/kg")
    t = np.asarray(temperature, dtype=float) - ZERO_CELSIUS
    linear = 1.541 + 1.998e-2 * t - 9.52e-5 * t**2
    square = 7.974 - 7.561e-2 * t + 4.724e-4 * t**2
    return properties.viscosity(temperature) * (1 + linear * s + square * s**2)


def diffusivity(temperature, at_reference: float = SALT_DIFFUSIVITY):
    """Return the diffusivity of dissolved salt, scaled by temperature over viscosity of water.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]
    at_reference : float
        Diffusivity at 25 degC. [m2/s]

    Returns
    -------
    ndarray, shape of temperature
        Diffusivity. [m2/s]

    Validity
    --------
    0 to 45 degC, 5 %; its slow change with concentration is left out.

    Source
    ------
    robinson_stokes_1959, values from memory
    """
    warmth = np.asarray(temperature, dtype=float) / CELSIUS_25
    thinning = properties.viscosity(CELSIUS_25) / properties.viscosity(temperature)
    return at_reference * warmth * thinning


def mixture_diffusivity(ions: Mapping[str, float]) -> float:
    """Return the diffusivity of an ion mixture moving as one salt, at 25 degC.

    Parameters
    ----------
    ions : mapping of str to float
        Mass per volume of each ion. [kg/m3]

    Returns
    -------
    float
        Diffusivity of the neutral salt. [m2/s]

    Validity
    --------
    An estimate, 15 %: the Nernst-Hartley equation on the charge-weighted mean cation and anion,
    lowered by the ratio that sodium chloride shows between infinite dilution and practice.

    Source
    ------
    robinson_stokes_1959
    """
    mean = {}
    for sign in (1, -1):
        side = {n: v / IONS[n].molar_mass for n, v in ions.items() if IONS[n].charge * sign > 0}
        charge = sum(c * abs(IONS[n].charge) for n, c in side.items())
        mean[sign] = (
            sum(c * abs(IONS[n].charge) * IONS[n].diffusivity for n, c in side.items()) / charge,
            charge / sum(side.values()),
        )
    (d_plus, z_plus), (d_minus, z_minus) = mean[1], mean[-1]
    dilute = (z_plus + z_minus) * d_plus * d_minus / (z_plus * d_plus + z_minus * d_minus)
    return dilute * SALT_DIFFUSIVITY / DILUTE_DIFFUSIVITY
