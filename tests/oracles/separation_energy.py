"""Energy of separation by formulas for a whole plant."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import require

GAUSS_NODES = 24


def least_work(
    osmotic_pressure: Callable, fraction: ArrayLike, recovery: ArrayLike, density: Callable
) -> Array:
    """Least work to draw pure water from a feed, per volume of water drawn.

    Parameters
    ----------
    osmotic_pressure : callable
        Of the mass fraction of salt; broadcasts. [Pa]
    fraction : array_like
        Of the feed. [kg/kg]
    recovery : array_like
        Pure water drawn over feed, by volume. [1]
    density : callable
        Of the mass fraction of salt; broadcasts. [kg/m3]

    Returns
    -------
    ndarray
        Mean of the osmotic pressure while the water is drawn, broadcast shape. [J/m3]

    Validity
    --------
    Recovery 0 (the limit, pi of the feed) to 0.97 and what the osmotic pressure covers;
    DomainError outside. 24 Gauss points: round-off below recovery 0.9.

    Source
    ------
    definition
    """
    w = require("feed salt fraction", fraction, 0.0, 0.5, "kg/kg")
    r = require("recovery", recovery, 0.0, 0.97, "")
    nodes, weights = np.polynomial.legendre.leggauss(GAUSS_NODES)
    w, r = np.broadcast_arrays(w, r)
    drawn = r[..., None] * (0.5 + 0.5 * nodes)  # volume of water per volume of feed
    left = 1 - drawn * (density(np.zeros_like(w)) / density(w))[..., None]  # mass per mass of feed
    return osmotic_pressure(w[..., None] / left) @ (0.5 * weights)


def _share(name: str, value):
    return require(name, value, 0.0, 1.0, "", open_low=True)


def hydraulic_energy(feed_pressure, recovery, efficiency=1.0):
    """Energy without recovery from the concentrate.

    Parameters
    ----------
    feed_pressure : array_like
        Lift of the high-pressure pump. [Pa]
    recovery : array_like
        Permeate over feed volume. [1]
    efficiency : array_like
        Pump, motor and drive together; 1 gives the hydraulic energy. [1]

    Returns
    -------
    ndarray
        P / (r eta), broadcast shape. [J/m3]

    Validity
    --------
    Recovery and efficiency above 0 to 1, DomainError outside.

    Source
    ------
    definition
    """
    pressure = require("feed pressure", feed_pressure, 0.0, np.inf, "Pa")
    return pressure / (_share("recovery", recovery) * _share("efficiency", efficiency))


def isobaric_energy(
    feed_pressure,
    concentrate_pressure,
    recovery,
    pump_efficiency,
    exchanger_efficiency,
    booster_efficiency,
):
    """Energy with an isobaric exchanger and a booster.

    Parameters
    ----------
    feed_pressure, concentrate_pressure : array_like
        At both ends of the vessel. [Pa]
    recovery : array_like
        Permeate over feed volume. [1]
    pump_efficiency, booster_efficiency : array_like
        From electricity to hydraulic power. [1]
    exchanger_efficiency : array_like
        Pressure handed over, as a share of the concentrate pressure. [1]

    Returns
    -------
    ndarray
        [P_f r / eta + (1 - r)(P_f - eta_x P_c) / eta_b] / r, broadcast shape. [J/m3]

    Validity
    --------
    No leakage and no mixing. Shares above 0 to 1, DomainError outside.

    Source
    ------
    definition
    """
    high = require("feed pressure", feed_pressure, 0.0, np.inf, "Pa")
    end = require("concentrate pressure", concentrate_pressure, 0.0, np.inf, "Pa")
    r = _share("recovery", recovery)
    boost = high - _share("exchanger efficiency", exchanger_efficiency) * end
    pump = high / _share("pump efficiency", pump_efficiency)
    return pump + (1 - r) / r * boost / _share("booster efficiency", booster_efficiency)


def shaft_motor_energy(
    feed_pressure,
    concentrate_pressure,
    recovery,
    pump_efficiency,
    recovery_motor_efficiency,
    electric_efficiency,
):
    """Energy with a hydraulic motor on the pump shaft, driven by the concentrate.

    Parameters
    ----------
    feed_pressure, concentrate_pressure : array_like
        At both ends of the vessel. [Pa]
    recovery : array_like
        Permeate over feed volume. [1]
    pump_efficiency, recovery_motor_efficiency : array_like
        Of the pump and of the hydraulic motor. [1]
    electric_efficiency : array_like
        Electric motor and drive together. [1]

    Returns
    -------
    ndarray
        [P_f / eta_p - eta_hm (1 - r) P_c] / (r eta_el), broadcast shape. [J/m3]

    Validity
    --------
    Shares above 0 to 1, DomainError outside.

    Source
    ------
    definition
    """
    high = require("feed pressure", feed_pressure, 0.0, np.inf, "Pa")
    end = require("concentrate pressure", concentrate_pressure, 0.0, np.inf, "Pa")
    r = _share("recovery", recovery)
    back = _share("recovery motor efficiency", recovery_motor_efficiency) * (1 - r) * end
    shaft = high / _share("pump efficiency", pump_efficiency) - back
    return shaft / (r * _share("electric efficiency", electric_efficiency))


def intensifier_pump_pressure(feed_pressure, concentrate_pressure, recovery, exhaust_pressure=0.0):
    """Pressure of the low-pressure pump that drives an ideal fixed-ratio intensifier.

    Parameters
    ----------
    feed_pressure, concentrate_pressure, exhaust_pressure : array_like
        At both ends of the vessel, and of the spent concentrate. [Pa]
    recovery : array_like
        Fixed by the areas of piston and rod. [1]

    Returns
    -------
    ndarray
        r P_f + (1 - r)(P_f - P_c + P_exhaust), broadcast shape. [Pa]

    Validity
    --------
    Ideal balance. Recovery above 0 to 1, DomainError outside.

    Source
    ------
    definition
    """
    high = require("feed pressure", feed_pressure, 0.0, np.inf, "Pa")
    end = require("concentrate pressure", concentrate_pressure, 0.0, np.inf, "Pa")
    exhaust = require("exhaust pressure", exhaust_pressure, 0.0, np.inf, "Pa")
    r = _share("recovery", recovery)
    return r * high + (1 - r) * (high - end + exhaust)


def intensifier_energy(pump_pressure, recovery, efficiency, intensifier_efficiency):
    """Energy with a fixed-ratio intensifier, whose pump moves the whole feed.

    Parameters
    ----------
    pump_pressure : array_like
        From `intensifier_pump_pressure`. [Pa]
    recovery : array_like
        Fixed by the areas of piston and rod. [1]
    efficiency, intensifier_efficiency : array_like
        Pump, motor and drive together; the intensifier. [1]

    Returns
    -------
    ndarray
        P_pump / (r eta eta_int), broadcast shape. [J/m3]

    Validity
    --------
    Shares above 0 to 1, DomainError outside.

    Source
    ------
    definition
    """
    inside = _share("intensifier efficiency", intensifier_efficiency)
    return hydraulic_energy(pump_pressure, recovery, efficiency) / inside


def gibbs_work(water_potential: Callable, fraction, recovery, density: Callable):
    """Least work at one pressure, from the chemical potential of the water.

    Parameters
    ----------
    water_potential : callable
        Specific chemical potential of the water at the mass fraction of salt; broadcasts. [J/kg]
    fraction : array_like
        Of the feed. [kg/kg]
    recovery : array_like
        Pure water drawn over feed, by volume. [1]
    density : callable
        Of the mass fraction of salt; broadcasts. [kg/m3]

    Returns
    -------
    ndarray
        Mean of rho_w (mu_pure - mu) while the water is drawn, broadcast shape. [J/m3]

    Validity
    --------
    As `least_work`; below it by 0.2 % for sea water, which is the compressibility of water.

    Source
    ------
    definition
    """
    pure = water_potential(np.zeros(1))
    mass = density(np.zeros(1))
    return least_work(lambda w: mass * (pure - water_potential(w)), fraction, recovery, density)
