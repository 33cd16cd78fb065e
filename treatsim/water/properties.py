"""Pure liquid water at one atmosphere, and the atmosphere itself.

The values are CoolProp's (IAPWS-95 and its companions). CoolProp takes over a second to load, so
Chebyshev series are fitted to it once per installed version and kept on disk.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from treatsim.constants import ATMOSPHERE, GRAVITY, ZERO_CELSIUS
from treatsim.errors import TreatsimError, require
from treatsim.kept import library_versions
from treatsim.water.cache import load_or_build
from treatsim.water.series import Series, evaluate, fit_series

COLDEST = ZERO_CELSIUS  # K, freezing at one atmosphere
WARMEST = 368.15  # K, below boiling at one atmosphere with some room
ACCURACY = 1e-6  # relative to CoolProp; a table that misses it is refused when built

COEFFICIENTS = 16

# CoolProp's name of each quantity, the state it is asked at, and whether its logarithm is fitted.
QUANTITIES = {
    "density": ("DMASS", ("P", ATMOSPHERE), False),
    "viscosity": ("VISCOSITY", ("P", ATMOSPHERE), True),
    "vapour_pressure": ("P", ("Q", 0.0), True),
    "specific_heat": ("CPMASS", ("P", ATMOSPHERE), False),
}

EARTH_RADIUS = 6356766.0  # m, of the 1976 standard atmosphere
SEA_LEVEL_TEMPERATURE = 288.15  # K
LAPSE_RATE = 0.0065  # K/m
AIR_MOLAR_MASS = 0.0289644  # kg/mol
GAS_CONSTANT_1976 = 8.31432  # J/(mol K), as the 1976 standard has it


def density(temperature):
    """Return the density of pure water at one atmosphere.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, shape of temperature
        Density. [kg/m3]

    Validity
    --------
    273.15 to 368.15 K, within 1e-6 of CoolProp; DomainError outside. Rises by 4.6e-4 per 10 bar,
    which is left out.

    Source
    ------
    iapws_95 by coolprop_2014.
    """
    return _property("density", temperature)


def viscosity(temperature):
    """Return the dynamic viscosity of pure water at one atmosphere.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, shape of temperature
        Dynamic viscosity. [Pa s]

    Validity
    --------
    273.15 to 368.15 K, within 1e-6 of CoolProp; DomainError outside.

    Source
    ------
    iapws_viscosity_2008 by coolprop_2014.
    """
    return _property("viscosity", temperature)


def vapour_pressure(temperature):
    """Return the saturation pressure of pure water.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, shape of temperature
        Absolute pressure. [Pa]

    Validity
    --------
    273.15 to 368.15 K, within 1e-6 of CoolProp; DomainError outside.

    Source
    ------
    iapws_95 by coolprop_2014.
    """
    return _property("vapour_pressure", temperature)


def specific_heat(temperature):
    """Return the specific heat capacity of pure water at one atmosphere.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, shape of temperature
        Specific heat at constant pressure. [J/(kg K)]

    Validity
    --------
    273.15 to 368.15 K, within 1e-6 of CoolProp; DomainError outside.

    Source
    ------
    iapws_95 by coolprop_2014.
    """
    return _property("specific_heat", temperature)


def atmospheric_pressure(altitude):
    """Return the pressure of the standard atmosphere at an altitude.

    Parameters
    ----------
    altitude : array_like
        Height above mean sea level. [m]

    Returns
    -------
    ndarray, shape of altitude
        Absolute pressure. [Pa]

    Validity
    --------
    -1000 to 11000 m, DomainError outside. Weather moves the true pressure by about 3 %.

    Source
    ------
    us_standard_atmosphere_1976, lowest layer.
    """
    altitude = require("altitude", altitude, -1000.0, 11000.0, "m")
    geopotential = EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)
    exponent = GRAVITY * AIR_MOLAR_MASS / (GAS_CONSTANT_1976 * LAPSE_RATE)
    return ATMOSPHERE * (1 - LAPSE_RATE * geopotential / SEA_LEVEL_TEMPERATURE) ** exponent


def stated_error(name: str) -> float:
    """Return the error of a property's series that was measured when its table was built.

    Parameters
    ----------
    name : str
        "density", "viscosity", "vapour_pressure" or "specific_heat". [1]

    Returns
    -------
    float
        Largest relative deviation from CoolProp between the nodes. [1]

    Validity
    --------
    273.15 to 368.15 K.

    Source
    ------
    definition.
    """
    return float(_tables()[f"{name}_error"])


def _property(name, temperature):
    temperature = require("temperature", temperature, COLDEST, WARMEST, "K")
    value = evaluate(Series(_tables()[name], COLDEST, WARMEST), temperature)
    return np.exp(value) if QUANTITIES[name][2] else value


def _tables():
    key = {
        "range": (COLDEST, WARMEST),
        "coefficients": COEFFICIENTS,
        "versions": library_versions("CoolProp"),
    }
    shapes = dict.fromkeys(QUANTITIES, (COEFFICIENTS,)) | {f"{n}_error": () for n in QUANTITIES}
    return load_or_build("pure-water", key, _build, shapes)


def _build():
    grid = np.linspace(COLDEST, WARMEST, 402)[1:-1]  # CoolProp begins at the triple point
    tables = {}
    for name, (_, _, logarithmic) in QUANTITIES.items():
        exact = partial(_coolprop, name)
        fitted = (lambda t, f=exact: np.log(f(t))) if logarithmic else exact
        series = fit_series(fitted, COLDEST, WARMEST, COEFFICIENTS)
        value = evaluate(series, grid)
        error = np.max(np.abs((np.exp(value) if logarithmic else value) / exact(grid) - 1))
        if not error < ACCURACY:
            raise TreatsimError(f"{name} of water: series misses CoolProp by {error:.1e}")
        tables[name], tables[f"{name}_error"] = series.coefficients, np.array(error)
    return tables


def _coolprop(name, temperature):
    from CoolProp.CoolProp import PropsSI

    output, (second, value), _ = QUANTITIES[name]
    return PropsSI(output, "T", temperature, second, value, "Water")
