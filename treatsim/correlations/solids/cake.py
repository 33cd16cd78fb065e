"""Cake filtration after Ruth, and the cake's own resistance."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require


def constant_pressure_time(
    volume: ArrayLike,
    area: ArrayLike,
    pressure: ArrayLike,
    viscosity: ArrayLike,
    cake: ArrayLike,
    solids: ArrayLike,
    medium: ArrayLike,
) -> Array:
    """Return the time to filter a volume under constant pressure.

    Parameters
    ----------
    volume : array_like
        Filtrate. [m3]
    area : array_like
        Filter area. [m2]
    pressure : array_like
        Pressure across cake and medium. [Pa]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    cake : array_like
        Specific cake resistance. [m/kg]
    solids : array_like
        Dry solids held back per volume of filtrate. [kg/m3]
    medium : array_like
        Resistance of the medium. [1/m]

    Returns
    -------
    ndarray, broadcast shape
        Time. [s]

    Validity
    --------
    Area and pressure above 0, DomainError otherwise. A cake that does not compress further.

    Source
    ------
    ruth_1933.
    """
    volume = require("volume", volume, 0.0, np.inf, "m3")
    load = volume / require("area", area, 0.0, np.inf, "m2", open_low=True)
    pressure = require("pressure", pressure, 0.0, np.inf, "Pa", open_low=True)
    return viscosity * load * (np.asarray(cake) * solids * load / 2 + medium) / pressure


def constant_flow_pressure(
    time: ArrayLike,
    flux: ArrayLike,
    viscosity: ArrayLike,
    cake: ArrayLike,
    solids: ArrayLike,
    medium: ArrayLike,
) -> Array:
    """Return the pressure across cake and medium at constant flow.

    Parameters
    ----------
    time : array_like
        Time. [s]
    flux : array_like
        Flow per area. [m/s]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    cake : array_like
        Specific cake resistance. [m/kg]
    solids : array_like
        Dry solids held back per volume of filtrate. [kg/m3]
    medium : array_like
        Resistance of the medium. [1/m]

    Returns
    -------
    ndarray, broadcast shape
        Pressure. [Pa]

    Validity
    --------
    Time and flux not negative, DomainError otherwise.

    Source
    ------
    ruth_1933.
    """
    time = require("time", time, 0.0, np.inf, "s")
    flux = require("flux", flux, 0.0, np.inf, "m/s")
    return viscosity * flux * (medium + np.asarray(cake) * solids * flux * time)


def constant_flow_time(
    pressure: ArrayLike,
    flux: ArrayLike,
    viscosity: ArrayLike,
    cake: ArrayLike,
    solids: ArrayLike,
    medium: ArrayLike,
) -> Array:
    """Return the time until a pressure is reached at constant flow.

    Parameters
    ----------
    pressure : array_like
        Pressure across cake and medium at the end. [Pa]
    flux : array_like
        Flow per area. [m/s]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    cake : array_like
        Specific cake resistance. [m/kg]
    solids : array_like
        Dry solids held back per volume of filtrate. [kg/m3]
    medium : array_like
        Resistance of the medium. [1/m]

    Returns
    -------
    ndarray, broadcast shape
        Time; 0 if the clean medium takes more than the pressure. [s]

    Validity
    --------
    Flux, cake resistance and solids above 0, DomainError otherwise. Half the flux gives four
    times the hours.

    Source
    ------
    ruth_1933.
    """
    flux = require("flux", flux, 0.0, np.inf, "m/s", open_low=True)
    cake = require("cake", cake, 0.0, np.inf, "m/kg", open_low=True)
    solids = require("solids", solids, 0.0, np.inf, "kg/m3", open_low=True)
    spare = np.asarray(pressure, dtype=float) / (viscosity * flux) - medium
    return np.maximum(spare, 0.0) / (cake * solids * flux)


def compressible_resistance(
    constant: ArrayLike, pressure: ArrayLike, compressibility: ArrayLike
) -> Array:
    """Return the specific resistance of a compressible cake.

    Parameters
    ----------
    constant : array_like
        Specific resistance at 1 Pa. [m/kg]
    pressure : array_like
        Pressure across the cake. [Pa]
    compressibility : array_like
        Exponent, 0 rigid to 1; clays 0.3 to 0.8. [1]

    Returns
    -------
    ndarray, broadcast shape
        Specific cake resistance. [m/kg]

    Validity
    --------
    Pressure above 0, exponent 0 to 1, DomainError otherwise. The exponents are from memory.

    Source
    ------
    common practice, no source.
    """
    pressure = require("pressure", pressure, 0.0, np.inf, "Pa", open_low=True)
    return constant * pressure ** require("compressibility", compressibility, 0.0, 1.0, "1")


def kozeny_resistance(
    diameter: ArrayLike, porosity: ArrayLike, particle_density: ArrayLike
) -> Array:
    """Return the specific resistance of a cake of equal grains.

    Parameters
    ----------
    diameter : array_like
        Grain diameter. [m]
    porosity : array_like
        Void share of the cake. [1]
    particle_density : array_like
        Density of the grain. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        Specific cake resistance. [m/kg]

    Validity
    --------
    Porosity between 0 and 1, DomainError outside. An order of magnitude for natural silt.

    Source
    ------
    carman_1937.
    """
    diameter = require("diameter", diameter, 0.0, np.inf, "m", open_low=True)
    solid = require("particle_density", particle_density, 0.0, np.inf, "kg/m3", open_low=True)
    void = require("porosity", porosity, 0.0, 1.0, "1", open_low=True)
    return 180 * (1 - void) / (solid * diameter**2 * void**3)
