"""Where the sun stands, and what it sends before the air takes its share.

Azimuth is counted from north, clockwise, everywhere. Hours are those of local standard time, from
the start of the year; summer time shifts the labels of a clock, never the sun.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.power.site import Place

SOLAR_CONSTANT = 1367.0  # W/m2, of the correlations used here; 1361 is the newer measurement
HOURS = 24
DAYS = 365
EPOCH = 8400.5  # days from noon of 1 January 2000 to the start of 2023, a year between leap years
MID_HOURS: Array = np.arange(DAYS * HOURS, dtype=np.float64) + 0.5  # of a year
MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
MONTH_STARTS = np.concatenate([[0], np.cumsum(MONTH_DAYS)[:-1]])
MONTH_OF_DAY = np.repeat(np.arange(12), MONTH_DAYS)


class Orbit(NamedTuple):
    """The sun as seen from the middle of the earth."""

    declination: Array  # [rad]
    right_ascension: Array  # [rad]
    normal: Array  # irradiance outside the air, across the rays [W/m2]


class Sun(NamedTuple):
    """The sun above a place at some hours."""

    cos_zenith: Array  # negative at night
    azimuth: Array  # [rad], north 0, east a quarter turn
    hour_angle: Array  # [rad], 0 at true noon, afternoon positive
    normal: Array  # irradiance outside the air, across the rays [W/m2]


def orbit(days: ArrayLike, solar_constant: float = SOLAR_CONSTANT) -> Orbit:
    """Return declination, right ascension and irradiance of the sun outside the air.

    Parameters
    ----------
    days : array_like
        Universal time since noon of 1 January 2000. [day]
    solar_constant : float
        Irradiance at the mean distance. [W/m2]

    Returns
    -------
    Orbit

    Validity
    --------
    1950 to 2050; direction within 0.01 deg. No refraction, no parallax.

    Source
    ------
    michalsky_1988 (low-precision formulas of the Astronomical Almanac).
    """
    days = np.asarray(days, float)
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = np.radians(
        280.460 + 0.9856474 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2 * anomaly)
    )
    tilt = np.radians(23.439 - 4e-7 * days)
    distance = 1.00014 - 0.01671 * np.cos(anomaly) - 0.00014 * np.cos(2 * anomaly)
    return Orbit(
        np.arcsin(np.sin(tilt) * np.sin(longitude)),
        np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude)),
        solar_constant / distance**2,
    )


def position(place: Place, hours: ArrayLike) -> Sun:
    """Return where the sun stands.

    Parameters
    ----------
    place : Place
        Latitude and longitude [rad], offset of its clock [h].
    hours : array_like
        Local standard time since the start of the year. [h]

    Returns
    -------
    Sun
        One value for each hour.

    Validity
    --------
    The year 2023, which stands for any: positions move by at most 0.2 deg between years.
    Without refraction, which lifts the sun by 0.5 deg at the horizon and 0.02 deg at 40 deg.

    Source
    ------
    michalsky_1988.
    """
    universal = np.asarray(hours, float) - place.zone
    days = EPOCH + universal / HOURS
    seen = orbit(days)
    sidereal = 6.697375 + 0.0657098242 * days + universal
    angle = np.radians(15 * sidereal) + place.longitude - seen.right_ascension
    angle = (angle + np.pi) % (2 * np.pi) - np.pi
    height, east, north = directions(place.latitude, seen.declination, angle)
    return Sun(height, np.arctan2(east, north) % (2 * np.pi), angle, seen.normal)


def directions(
    latitude: ArrayLike, declination: ArrayLike, hour_angle: ArrayLike
) -> tuple[Array, Array, Array]:
    """Return the direction of the sun: cosine of the zenith angle, and parts to east and north.

    Parameters
    ----------
    latitude : array_like
        North positive. [rad]
    declination : array_like
        Of the sun. [rad]
    hour_angle : array_like
        0 at true noon, afternoon positive. [rad]

    Returns
    -------
    tuple of ndarray
        Parts of a vector of length 1: up, east, north. [1]

    Validity
    --------
    Any place and time.

    Source
    ------
    duffie_beckman_2013, section 1.6.
    """
    lat_sin, lat_cos = np.sin(latitude), np.cos(latitude)
    dec_sin, dec_cos = np.sin(declination), np.cos(declination)
    turned = dec_cos * np.cos(hour_angle)
    return (
        lat_sin * dec_sin + lat_cos * turned,
        -dec_cos * np.sin(hour_angle),
        lat_cos * dec_sin - lat_sin * turned,
    )


def sunset_angle(latitude: ArrayLike, declination: ArrayLike) -> Array:
    """Return the hour angle at which the sun sets: 0 in the polar night, pi in the polar day.

    Parameters
    ----------
    latitude : array_like
        North positive. [rad]
    declination : array_like
        Of the sun. [rad]

    Returns
    -------
    ndarray
        Hour angle. [rad]

    Validity
    --------
    Flat horizon, middle of the disc, no refraction (which adds 6 min a day at mid latitudes).

    Source
    ------
    duffie_beckman_2013, equation 1.6.10.
    """
    return np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))


def daily_outside(latitude: ArrayLike, declination: ArrayLike, normal: ArrayLike) -> Array:
    """Return what a horizontal plane outside the air gets in a day, as a mean of 24 hours.

    Parameters
    ----------
    latitude : array_like
        North positive. [rad]
    declination : array_like
        Of the sun at noon. [rad]
    normal : array_like
        Irradiance across the rays. [W/m2]

    Returns
    -------
    ndarray
        Mean over the day; 41.67 W/m2 are 1 kWh/m2 a day. [W/m2]

    Validity
    --------
    Any place; 0 in the polar night.

    Source
    ------
    duffie_beckman_2013, equation 1.10.3.
    """
    return hourly_outside(latitude, declination, normal, -np.pi, np.pi)


def hourly_outside(
    latitude: ArrayLike,
    declination: ArrayLike,
    normal: ArrayLike,
    start: ArrayLike,
    end: ArrayLike,
) -> Array:
    """Return what a horizontal plane outside the air gets between two hour angles, over a day.

    Parameters
    ----------
    latitude : array_like
        North positive. [rad]
    declination : array_like
        Of the sun. [rad]
    normal : array_like
        Irradiance across the rays. [W/m2]
    start, end : array_like
        Hour angles. [rad]

    Returns
    -------
    ndarray
        Energy between them, shared over 24 h. [W/m2]

    Validity
    --------
    Hour angles of one day, the later one last.

    Source
    ------
    duffie_beckman_2013, equation 1.10.4.
    """
    sets = sunset_angle(latitude, declination)
    start, end = np.clip(start, -sets, sets), np.clip(end, -sets, sets)
    swept = np.cos(latitude) * np.cos(declination) * (np.sin(end) - np.sin(start))
    held = (end - start) * np.sin(latitude) * np.sin(declination)
    return np.maximum(np.asarray(normal) / (2 * np.pi) * (swept + held), 0.0)


class Days(NamedTuple):
    """The 365 days of a place."""

    declination: Array  # at true noon [rad]
    sunset: Array  # hour angle [rad]
    outside: Array  # on the horizontal outside the air, mean of the day [W/m2]


def days_of(place: Place, solar_constant: float = SOLAR_CONSTANT) -> Days:
    """Return declination, sunset and irradiation outside the air for every day of the year.

    Parameters
    ----------
    place : Place
        Latitude and longitude. [rad]
    solar_constant : float
        Irradiance at the mean distance. [W/m2]

    Returns
    -------
    Days

    Validity
    --------
    As `position`.

    Source
    ------
    michalsky_1988 for the sun, duffie_beckman_2013 for the day.
    """
    noon = EPOCH + np.arange(DAYS, dtype=np.float64) + 0.5 - place.longitude / (2 * np.pi)
    seen = orbit(noon, solar_constant)
    return Days(
        seen.declination,
        sunset_angle(place.latitude, seen.declination),
        daily_outside(place.latitude, seen.declination, seen.normal),
    )


def by_month(daily: Array) -> Array:
    """Return the means of the months of values by day.

    Parameters
    ----------
    daily : ndarray, shape (..., 365)
        Values by day. [their unit]

    Returns
    -------
    ndarray, shape (..., 12)
        Means. [their unit]

    Validity
    --------
    A year of 365 days.

    Source
    ------
    Definition.
    """
    return np.add.reduceat(daily, MONTH_STARTS, axis=-1) / MONTH_DAYS
