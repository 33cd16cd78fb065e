"""The array by month: what arrives, what it gives, and the poor days that a mean hides."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.power.array import array_power, plane_irradiance
from treatsim.power.site import SiteParameters
from treatsim.power.sun import HOURS, MONTH_OF_DAY, by_month
from treatsim.power.tables import ArrayParameters, SunParameters
from treatsim.power.weather import Weather, clear_sky, mean_days, weather_of

MID_MONTH = (16, 46, 74, 104, 134, 161, 197, 227, 257, 287, 317, 343)  # day 0 first: Klein's days
POOR = 0.1  # share of days that give less than a poor day
YEARS, SEED = 20, 1


class Months(NamedTuple):
    """Twelve months, January first; energy as a mean of 24 h."""

    horizontal: Array  # global irradiation [W/m2]
    plane: Array  # that reaches the cells [W/m2]
    power: Array  # at the bus [W]
    poor: Array  # of the day that one in ten falls short of [W]


def months_of(array: ArrayParameters, site: SiteParameters, weather: Weather) -> Months:
    """Return irradiation and power by month.

    Parameters
    ----------
    array : ArrayParameters
        Table [array] of a case.
    site : SiteParameters
        Table [site] of a case.
    weather : Weather
        Whole years at that site.

    Returns
    -------
    Months

    Validity
    --------
    Poor days need years of days that differ: drawn or measured, not mean days.

    Source
    ------
    Definition.
    """
    power = _daily(array_power(array, site, weather))
    poor = [np.quantile(power[:, month == MONTH_OF_DAY], POOR) for month in range(12)]
    plane = plane_irradiance(array, site, weather)
    horizontal, reached, given = (
        by_month(part).mean(axis=0) for part in (_daily(weather.ghi), _daily(plane), power)
    )
    return Months(horizontal, reached, given, np.array(poor))


def _daily(hourly: Array) -> Array:
    return np.asarray(hourly.reshape(len(hourly), -1, HOURS).mean(axis=2))


class Outlook(NamedTuple):
    """The array at its site: a typical spread of years beside two simpler pictures."""

    months: Months
    clear: Array  # power of a clear day in the middle of each month [W]
    mean_day: Array | None  # power of a mean day, where monthly means are given [W]


def outlook(
    array: ArrayParameters, site: SiteParameters, sun: SunParameters, folder: Path
) -> Outlook:
    """Return what the array gives by month: over years, on a clear day, on a mean day.

    Parameters
    ----------
    array : ArrayParameters
        Table [array] of a case.
    site : SiteParameters
        Table [site] of a case.
    sun : SunParameters
        Table [sun] of a case.
    folder : Path
        Where a file of hours lies.

    Returns
    -------
    Outlook

    Validity
    --------
    Twenty drawn years, or those of the file.

    Source
    ------
    Definition.
    """
    weather = weather_of(site, sun, YEARS, SEED, folder)
    clear = [array_power(array, site, clear_sky(site, sun, day)).mean() for day in MID_MONTH]
    alike = None
    if sun.file is None:
        alike = by_month(_daily(array_power(array, site, mean_days(site, sun))))[0]
    return Outlook(months_of(array, site, weather), np.array(clear), alike)
