"""Temperature of the air and wind where only months are known."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array
from treatsim.power.site import Place
from treatsim.power.sun import DAYS, HOURS, MONTH_OF_DAY
from treatsim.power.tables import SunParameters

WARMEST_HOUR = 15.0


def air_of(place: Place, sun: SunParameters, hour: Array) -> tuple[Array, Array]:
    """Return temperature of the air and wind at the hours of a year.

    Parameters
    ----------
    place : Place
        Where.
    sun : SunParameters
        Table [sun] of a case, with air temperatures.
    hour : ndarray
        Local standard time since the start of the year. [h]

    Returns
    -------
    tuple of ndarray
        Temperature [K] and wind [m/s].

    Validity
    --------
    A cosine over the day, warmest at 15 h of the mean sun; months change in a step.

    Source
    ------
    Common practice, no source.
    """
    monthly = np.array(sun.air_temperature)
    day = (hour // HOURS).astype(int) % DAYS
    by_the_sun = hour - place.zone + place.longitude * HOURS / (2 * np.pi)
    wave = sun.daily_swing * np.cos(2 * np.pi * (by_the_sun - WARMEST_HOUR) / HOURS)
    return monthly[MONTH_OF_DAY[day]] + wave, np.full(hour.shape, sun.wind)


def through_a_day(air: Array, per_day: int) -> Array:
    """Return what follows the air with a day's delay: its mean over the day before.

    Parameters
    ----------
    air : ndarray, shape (steps, years)
        Temperature. [K]
    per_day : int
        Steps of a day.

    Returns
    -------
    ndarray
        Temperature, the same shape; the year goes round. [K]

    Validity
    --------
    A heavy thing in a closed box: a bank of batteries takes many hours to follow the air.

    Source
    ------
    common practice, no source
    """
    reach = min(per_day, len(air))
    ring = np.concatenate([air[len(air) - reach :], air])
    total = np.cumsum(np.vstack([np.zeros((1, air.shape[1])), ring - air[:1]]), axis=0)
    return air[:1] + (total[reach + 1 :] - total[1 : len(total) - reach]) / reach
