"""The modules of the array: how warm they get, what they give, what keeps power from the bus."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import CELSIUS_20, CELSIUS_25

STANDARD_SUN = 1000.0  # W/m2, at which peak power is stated
NOMINAL_SUN = 800.0  # W/m2, at which the nominal cell temperature is stated
NOMINAL_WIND = 1.0  # m/s
WEEK = 7.0  # days


def cell_temperature(
    irradiance: ArrayLike, air: ArrayLike, wind: ArrayLike, heat_loss: float, wind_loss: float
) -> Array:
    """Return the temperature of the cells.

    Parameters
    ----------
    irradiance : array_like
        On the plane. [W/m2]
    air : array_like
        Temperature of the air. [K]
    wind : array_like
        Speed at the array. [m/s]
    heat_loss : float
        Without wind; 25 on open frames, 15 to 20 close to a roof. [W/(m2 K)]
    wind_loss : float
        More by wind. [J/(m3 K)]

    Returns
    -------
    ndarray
        Temperature. [K]

    Validity
    --------
    Hours; a passing cloud is followed at once.

    Source
    ------
    faiman_2008.
    """
    lost = heat_loss + wind_loss * np.asarray(wind)
    return np.asarray(air) + np.asarray(irradiance) / lost


def heat_loss_of(nominal: float, wind_loss: float) -> float:
    """Return the heat loss without wind that a nominal cell temperature stands for.

    Parameters
    ----------
    nominal : float
        Temperature of the cells at 800 W/m2, 20 degC and 1 m/s. [K]
    wind_loss : float
        Heat loss by wind. [J/(m3 K)]

    Returns
    -------
    float
        Heat loss. [W/(m2 K)]

    Validity
    --------
    Exact at the conditions of the data sheet.

    Source
    ------
    ross_1976.
    """
    return NOMINAL_SUN / (nominal - CELSIUS_20) - wind_loss * NOMINAL_WIND


def module_power(
    irradiance: ArrayLike,
    cells: ArrayLike,
    peak_power: float,
    coefficient: float,
    low_light: float = 0.0,
) -> Array:
    """Return the power of modules at their best point.

    Parameters
    ----------
    irradiance : array_like
        That reaches the cells. [W/m2]
    cells : array_like
        Temperature of the cells. [K]
    peak_power : float
        At 1000 W/m2 and 25 degC. [W]
    coefficient : float
        Change of power with temperature, negative. [1/K]
    low_light : float
        Share of the peak power missing at 200 W/m2. [1]

    Returns
    -------
    ndarray
        Power, not below 0. [W]

    Validity
    --------
    Crystalline silicon. The term of low light ends at 1000 W/m2.

    Source
    ------
    dobos_2014; marion_2008 for low light.
    """
    sun = np.asarray(irradiance, float)
    warm = 1 + coefficient * (np.asarray(cells) - CELSIUS_25)
    dim = 1 - (1 - np.minimum(sun, 200.0) / 200.0) ** 4
    bright = np.clip((STANDARD_SUN - sun) / 800.0, 0.0, 1.0)
    missing = low_light * np.where(sun < 200.0, dim, bright)
    return np.maximum(peak_power * (sun / STANDARD_SUN * warm - missing), 0.0)


def combined_loss(losses: Iterable[float]) -> float:
    """Return what losses in a row take together.

    Parameters
    ----------
    losses : sequence of float
        Shares, each of what the one before left. [1]

    Returns
    -------
    float
        Share lost. [1]

    Validity
    --------
    Losses that do not hang on one another.

    Source
    ------
    dobos_2014.
    """
    return float(1 - np.prod([1 - loss for loss in losses]))


def soiling(
    days: ArrayLike, clean: float, per_week: float, cleaned: float, interval: float
) -> Array:
    """Return the share of light that dirt holds back, growing from one cleaning to the next.

    Parameters
    ----------
    days : array_like
        Since the start of the year. [day]
    clean : float
        Share just after a cleaning. [1]
    per_week : float
        Growth of it in a week. [1]
    cleaned : float
        Day of the year of one cleaning. [day]
    interval : float
        Between cleanings, before and after that one. [day]

    Returns
    -------
    ndarray
        Share, at most 1. [1]

    Validity
    --------
    Dry weather; rain that washes is not followed.

    Source
    ------
    Common practice, no source: growth straight in time.
    """
    since = (np.asarray(days, float) - cleaned) % interval
    return np.minimum(clean + per_week / WEEK * since, 1.0)
