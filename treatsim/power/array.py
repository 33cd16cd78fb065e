"""The photovoltaic array under the weather: direct current at the bus."""

from __future__ import annotations

import math

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.power.module import cell_temperature, module_power, soiling
from treatsim.power.plane import normal_of, on_plane, on_slope
from treatsim.power.site import SiteParameters, place_of
from treatsim.power.sun import DAYS, HOURS
from treatsim.power.tables import ArrayParameters
from treatsim.power.weather import Weather


def array_power(array: ArrayParameters, site: SiteParameters, weather: Weather) -> Array:
    """Return the power that the array and its controller put on the bus.

    Parameters
    ----------
    array : ArrayParameters
        Table [array] of a case.
    site : SiteParameters
        Table [site] of a case.
    weather : Weather
        Hours at that site.

    Returns
    -------
    ndarray, shape (years, hours)
        Mean of each hour, direct current behind the controller. [W]

    Validity
    --------
    Modules alike and evenly lit: shade of masts and of part of a string is not in it.

    Source
    ------
    faiman_2008, dobos_2014, marion_2008.
    """
    reached = plane_irradiance(array, site, weather)
    cells = cell_temperature(
        reached, weather.air_temperature, weather.wind, array.heat_loss, array.wind_heat_loss
    )
    power = module_power(
        reached,
        cells,
        array.peak_power * array.unfolded,
        array.temperature_coefficient,
        array.low_light_loss,
    )
    limit = np.inf if array.controller_limit is None else array.controller_limit
    return np.minimum(array.passed_on() * power, limit)


def plane_irradiance(array: ArrayParameters, site: SiteParameters, weather: Weather) -> Array:
    """Return the irradiance that reaches the cells: behind horizon, dirt and cover.

    Parameters
    ----------
    array : ArrayParameters
        Table [array] of a case.
    site : SiteParameters
        Table [site] of a case.
    weather : Weather
        Hours at that site.

    Returns
    -------
    ndarray, shape (years, hours)
        Mean of each hour. [W/m2]

    Validity
    --------
    As `array_power`.

    Source
    ------
    hay_davies_1980.
    """
    light = (weather.ghi, weather.dhi, weather.dni)
    reached = on_plane(
        light,
        weather.sun,
        facing(array, site),
        albedo=weather.albedo,
        horizon=array.horizon,
        cover=array.cover_loss,
    )
    interval = DAYS if array.cleaning_interval is None else array.cleaning_interval / DAY
    dirt = soiling(
        weather.hour / HOURS,
        array.soiling,
        array.soiling_per_week,
        array.cleaned_day(),
        interval,
    )
    return reached * (1 - dirt)


def facing(array: ArrayParameters, site: SiteParameters) -> Array:
    """Return the direction that the array faces, as it stands on its ground.

    Parameters
    ----------
    array : ArrayParameters
        Table [array] of a case.
    site : SiteParameters
        Table [site] of a case.

    Returns
    -------
    ndarray, shape (3,)
        Parts to east, north, up. [1]

    Validity
    --------
    Without an azimuth it faces the equator, at the equator south.

    Source
    ------
    Definition.
    """
    equator = math.pi if place_of(site).latitude >= 0 else 0.0
    azimuth = equator if array.azimuth is None else array.azimuth
    level = normal_of(array.tilt, azimuth)
    return on_slope(level, array.ground_slope, array.ground_azimuth or 0.0)
