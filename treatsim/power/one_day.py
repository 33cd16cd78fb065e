"""One day in short steps: clear or dull, between days as they usually are at that time."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.errors import RequestError
from treatsim.power import hours, sky
from treatsim.power.monthly import clear_hours
from treatsim.power.sun import DAYS, HOURS, days_of, position
from treatsim.power.tables import SunParameters, number_of_day
from treatsim.power.weather import Weather

AROUND = 15  # days before and after that tell what is usual, and what is dull
DULL = 10.0  # percentile of these days


class OneDay(NamedTuple):
    """Weather of days in a row, all on one date, of which one is clear or dull."""

    weather: Weather  # (1, steps)
    chosen: slice  # steps of the day itself
    irradiation: float  # of that day on the horizontal, mean of 24 h [W/m2]
    usual: float  # of the others


def day_of_year(text: str) -> int:
    """Read a date without a year.

    Parameters
    ----------
    text : str
        Month and day, such as "04-15".

    Returns
    -------
    int
        Day of the year, 0 is the first of January. [day]

    Raises
    ------
    RequestError
        No such day.

    Validity
    --------
    A year of 365 days.

    Source
    ------
    definition
    """
    try:
        return number_of_day(text)
    except ValueError:
        raise RequestError(
            f'--date {text[:20]}: month and day belong here, such as "04-15"'
        ) from None


def one_day(
    year: Weather, sun: SunParameters, day: int, dull: bool, shape: tuple[int, int, int]
) -> OneDay:
    """Return a day between usual ones.

    Parameters
    ----------
    year : Weather
        Years of hours at the site, drawn or from a file: what is usual, and what is dull.
    sun : SunParameters
        Table [sun], for the clear sky.
    day : int
        Day of the year, 0 is the first of January.
    dull : bool
        Whether it is as dull as one day in ten at that time of the year, else without a cloud.
    shape : tuple of int
        Usual days before, usual days after, steps of an hour.

    Returns
    -------
    OneDay

    Validity
    --------
    The light of a dull day is spread evenly behind its cloud: passing clouds are not in it.

    Source
    ------
    erbs_1982 and collares_pereira_rabl_1979, as for drawn days; `clear_hours`.
    """
    before, after, per_hour = shape
    near = (np.arange(day - AROUND, day + AROUND + 1)) % DAYS
    daily = year.ghi.reshape(len(year.ghi), DAYS, HOURS).mean(axis=2)[:, near]
    usual = float(daily.mean())
    count, of_day = before + 1 + after, HOURS * per_hour
    hour = day * HOURS + (np.arange(of_day) + 0.5) / per_hour
    seen = position(year.place, hour)
    calendar = days_of(year.place)
    outside, sets = float(calendar.outside[day]), calendar.sunset[[day]]

    def spread(mean: float) -> tuple[Array, Array]:
        share = sky.diffuse_of_day(np.array([[min(mean / max(outside, 1e-9), 1.0)]]), sets)
        whole, scattered = hours.spread(np.array([[mean]]), share, sets, seen.hour_angle)
        return whole[0], scattered[0]

    lights = [spread(usual)] * count
    if dull:
        lights[before] = spread(float(np.percentile(daily, DULL)))
    else:
        whole, direct = clear_hours(year.place, sun, hour, seen)
        lights[before] = whole, np.maximum(whole - direct * np.maximum(seen.cos_zenith, 0.0), 0.0)
    parts = [hours.parted(whole, scattered, seen) for whole, scattered in lights]
    weather = Weather(
        year.place, np.tile(hour, count), type(seen)(*(np.tile(part, count) for part in seen)),
        np.concatenate([whole for whole, _ in lights])[None, :],
        np.concatenate([diffuse for diffuse, _ in parts])[None, :],
        np.concatenate([direct for _, direct in parts])[None, :],
        np.tile(_by_the_clock(year.air_temperature, near, hour), count)[None, :],
        np.tile(_by_the_clock(year.wind, near, hour), count)[None, :], year.albedo, year.notes,
    )  # fmt: skip
    return OneDay(weather, slice(before * of_day, (before + 1) * of_day),
                  float(lights[before][0].mean()), usual)  # fmt: skip


def _by_the_clock(values: Array, near: Index, hour: Array) -> Array:
    """Return the mean of days around at each hour of the clock, (steps of a day,)."""
    mean = values.reshape(len(values), DAYS, HOURS)[:, near].mean(axis=(0, 1))
    return at_clock(mean, hour)


def at_clock(of_hours: Array, hour: Array) -> Array:
    """Return means of the 24 hours at other times of the day.

    Parameters
    ----------
    of_hours : ndarray, shape (24,)
        For the middle of each hour. [any]
    hour : ndarray
        Of the clock, of any day. [h]

    Returns
    -------
    ndarray
        The shape of `hour`. [any]

    Validity
    --------
    Straight lines from one middle to the next; midnight joins the ends.

    Source
    ------
    definition
    """
    return np.interp(hour % HOURS, np.arange(HOURS) + 0.5, of_hours, period=float(HOURS))
