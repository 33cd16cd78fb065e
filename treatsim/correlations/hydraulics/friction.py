"""Friction and suction in pipes and hoses."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import GRAVITY
from treatsim.errors import require
from treatsim.ranges import Range

CHURCHILL_RANGE = Range("reynolds_number", 0.0, 1e8, "1", "Churchill friction factor")
ROUGHEST = 0.05  # of the bore; beyond, the formulas for pipes say nothing

# Constant and bore exponent, both in SI. The form printed for gallons and inches rounds the
# exponent (2.63 / 0.54 = 4.8704) to 4.8655 and is no mere change of units.


def velocity(flow: ArrayLike, diameter: ArrayLike) -> Array:
    """Return the mean velocity in a round bore.

    Parameters
    ----------
    flow : array_like
        Flow. [m3/s]
    diameter : array_like
        Inside diameter. [m]

    Returns
    -------
    ndarray, broadcast shape
        Velocity. [m/s]

    Validity
    --------
    Any flow of either sign; DomainError for a diameter that is not above 0.

    Source
    ------
    definition.
    """
    diameter = require("diameter", diameter, 0.0, np.inf, "m", open_low=True)
    return np.asarray(flow, dtype=float) / (0.25 * np.pi * diameter**2)


def reynolds_number(
    flow: ArrayLike, diameter: ArrayLike, density: ArrayLike, viscosity: ArrayLike
) -> Array:
    """Return the Reynolds number of flow in a round bore.

    Parameters
    ----------
    flow : array_like
        Flow. [m3/s]
    diameter : array_like
        Inside diameter. [m]
    density : array_like
        Density. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]

    Returns
    -------
    ndarray, broadcast shape
        Reynolds number, never negative. [1]

    Validity
    --------
    As `velocity`; DomainError for a viscosity that is not above 0.

    Source
    ------
    definition.
    """
    viscosity = require("viscosity", viscosity, 0.0, np.inf, "Pa s", open_low=True)
    return np.abs(velocity(flow, diameter)) * diameter * density / viscosity


def pressure_loss(
    flow: ArrayLike,
    length: ArrayLike,
    diameter: ArrayLike,
    roughness: ArrayLike,
    density: ArrayLike,
    viscosity: ArrayLike,
    fittings: ArrayLike = 0.0,
) -> Array:
    """Return the pressure lost in a straight round bore and its fittings.

    Parameters
    ----------
    flow : array_like
        Flow, signed. [m3/s]
    length : array_like
        Length. [m]
    diameter : array_like
        Inside diameter. [m]
    roughness : array_like
        Absolute roughness. [m]
    density : array_like
        Density. [kg/m3]
    viscosity : array_like
        Dynamic viscosity. [Pa s]
    fittings : array_like
        Sum of the loss coefficients K of all fittings. [1]

    Returns
    -------
    ndarray, broadcast shape
        Loss with the sign of the flow, smooth through nothing at no flow. [Pa]

    Validity
    --------
    CHURCHILL_RANGE, roughness up to ROUGHEST. A bore 5 % smaller loses 28 % more, so measure
    the bore. DomainError for impossible dimensions.

    Source
    ------
    Darcy-Weisbach equation (definition), with churchill_1977.
    """
    length = require("length", length, 0.0, np.inf, "m")
    fittings = require("fittings", fittings, 0.0, np.inf, "1")
    reynolds = reynolds_number(flow, diameter, density, viscosity)
    speed = velocity(flow, diameter)
    roughness = require("roughness", roughness, 0.0, np.inf, "m")
    # f Re stays finite where f does not, so the loss needs no special case at rest
    straight = _factor_times_reynolds(reynolds, roughness / diameter) * viscosity * length
    return speed * (straight / (2 * np.square(diameter)) + fittings * density * np.abs(speed) / 2)


def clogged_loss_coefficient(clean_coefficient: ArrayLike, free_area: ArrayLike) -> Array:
    """Return the loss coefficient of a strainer whose openings are partly covered.

    Parameters
    ----------
    clean_coefficient : array_like
        Loss coefficient when clean, 1 to 3 usual. [1]
    free_area : array_like
        Share of the openings that is still free. [1]

    Returns
    -------
    ndarray, broadcast shape
        Loss coefficient. [1]

    Validity
    --------
    Free area above 0 and not above 1, DomainError outside. Rough: blocking is seldom even.

    Source
    ------
    common practice, no source: loss with the square of the velocity through what is free.
    """
    free_area = require("free_area", free_area, 0.0, 1.0, "1", open_low=True)
    return np.asarray(clean_coefficient) / free_area**2


def surge_head(velocity_change: ArrayLike, wave_speed: ArrayLike) -> Array:
    """Return the head rise when the flow is stopped at once.

    Parameters
    ----------
    velocity_change : array_like
        Velocity lost. [m/s]
    wave_speed : array_like
        Speed of the pressure wave: 200 to 400 in soft hose, 1000 to 1300 in rigid pipe. [m/s]

    Returns
    -------
    ndarray, broadcast shape
        Head. [m]

    Validity
    --------
    Closing faster than the wave returns, in 2 length / wave speed; slower closing gives less.
    DomainError for a wave speed that is not above 0.

    Source
    ------
    joukowsky_1898.
    """
    wave_speed = require("wave_speed", wave_speed, 0.0, np.inf, "m/s", open_low=True)
    return wave_speed * np.asarray(velocity_change) / GRAVITY


def closing_surge(
    velocity_change: ArrayLike, wave_speed: ArrayLike, length: ArrayLike, closing_time: ArrayLike
) -> Array:
    """Return the head rise when a valve stops the flow in a stated time.

    Parameters
    ----------
    velocity_change : array_like
        Velocity lost. [m/s]
    wave_speed : array_like
        Speed of the pressure wave, as of `surge_head`. [m/s]
    length : array_like
        Length of the line ahead of the valve. [m]
    closing_time : array_like
        Time from open to shut. [s]

    Returns
    -------
    ndarray, broadcast shape
        Head; `surge_head` for a valve that is shut before the wave returns. [m]

    Validity
    --------
    One line of one bore and a flow that falls evenly: a valve whose flow falls late gives more, up
    to `surge_head`. A negative length or time raises DomainError.

    Source
    ------
    joukowsky_1898; slow closing 2 L dv / (g T), michaud_1878.
    """
    length = require("length", length, 0.0, np.inf, "m")
    time = require("closing_time", closing_time, 0.0, np.inf, "s")
    back = 2.0 * length / np.asarray(wave_speed, float)
    slow = np.where(time > back, back / np.where(time > 0, time, 1.0), 1.0)
    return surge_head(velocity_change, wave_speed) * slow


def suction_head_available(
    atmosphere: ArrayLike,
    vapour_pressure: ArrayLike,
    density: ArrayLike,
    lift: ArrayLike,
    loss: ArrayLike,
) -> Array:
    """Return the net positive suction head that the site offers a pump.

    Parameters
    ----------
    atmosphere : array_like
        Absolute pressure on the water surface. [Pa]
    vapour_pressure : array_like
        Vapour pressure of the water, absolute. [Pa]
    density : array_like
        Density. [kg/m3]
    lift : array_like
        Height of the pump above the water surface, negative if flooded. [m]
    loss : array_like
        Head lost in the suction line. [m]

    Returns
    -------
    ndarray, broadcast shape
        Net positive suction head available; negative means the column breaks. [m]

    Validity
    --------
    A pump in a suction line. A submersible needs submergence instead. Keep 0.6 m or 10 %, the
    larger, above what the pump requires (common practice).

    Source
    ------
    definition.
    """
    density = require("density", density, 0.0, np.inf, "kg/m3", open_low=True)
    pressure_head = (np.asarray(atmosphere) - vapour_pressure) / (density * GRAVITY)
    return pressure_head - lift - loss


def _factor_times_reynolds(reynolds: ArrayLike, relative_roughness: ArrayLike) -> Array:
    """Churchill's f Re with Re taken out of every denominator: 64 at rest, finite everywhere."""
    roughness = require("relative_roughness", relative_roughness, 0.0, 1.0, "1")
    reynolds = np.asarray(reynolds, dtype=float)
    power = np.maximum(reynolds, 1e-30) ** 0.9  # only a logarithm, which Re**16 then silences
    log_term = 2.457 * np.log(power / (7**0.9 + 0.27 * roughness * power))
    # (Re^8 / (A + B))^1.5 with A = log_term^16 and B = (37530 / Re)^16, both scaled by Re / 37530
    ratio = reynolds / 37530
    turbulent = ratio**24 / ((log_term * ratio) ** 16 + 1) * 37530.0**8
    return 8 * (8.0**12 + turbulent**1.5) ** (1 / 12)
