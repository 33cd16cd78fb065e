"""Monthly means and clear days of a place: what the sun can give, and what is said it gives."""

from __future__ import annotations

import math

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.operations.parameters import MONTH_NAMES
from treatsim.power import hours, sky
from treatsim.power.site import Place
from treatsim.power.sun import (
    DAYS,
    HOURS,
    MID_HOURS,
    MONTH_OF_DAY,
    Days,
    Sun,
    by_month,
    days_of,
    position,
)
from treatsim.power.tables import SunParameters
from treatsim.quantities import text

MOST_OF_CLEAR = 1.10  # largest day over a clear one: measured days exceed clear ones by that much
LOW_SUN = math.sin(math.radians(10.0))  # at noon; formulas of clear skies are too dark below
MOST_AT_LOW_SUN = 0.7  # of what comes outside the air
LEAST_OF_YEAR = 0.2  # clearness of a year; the cloudiest places have 0.28 and more


def clear_hours(place: Place, sun: SunParameters, hour: Array, seen: Sun) -> tuple[Array, Array]:
    """Return global and direct irradiance under a clear sky.

    Parameters
    ----------
    place : Place
        Where.
    sun : SunParameters
        Table [sun] of a case.
    hour : ndarray
        Local standard time since the start of the year. [h]
    seen : Sun
        Where the sun stands then.

    Returns
    -------
    tuple of ndarray
        Global on the horizontal, and direct across the rays. [W/m2]

    Validity
    --------
    Without a turbidity, that of a mean clear sky at mid latitudes is inside the formula.

    Source
    ------
    ineichen_perez_2002 with a turbidity, haurwitz_1945 and erbs_1982 without.
    """
    if sun.linke_turbidity is not None:
        day = (hour // HOURS).astype(int) % DAYS
        turbidity = np.array(sun.linke_turbidity)[MONTH_OF_DAY[day]]
        return sky.ineichen(seen.cos_zenith, seen.normal, turbidity, place.altitude)
    whole = sky.haurwitz(seen.cos_zenith)
    outside = np.maximum(seen.normal * seen.cos_zenith, 1e-9)
    beam = whole * (1 - sky.diffuse_of_hour(np.minimum(whole / outside, 1.0)))
    return whole, beam / np.maximum(seen.cos_zenith, hours.LEAST_COSINE)


def clear_days(place: Place, sun: SunParameters) -> Array:
    """Return the global irradiation of every day of the year under a clear sky.

    Parameters
    ----------
    place : Place
        Where.
    sun : SunParameters
        Table [sun] of a case.

    Returns
    -------
    ndarray, shape (365,)
        Mean of 24 h. [W/m2]

    Validity
    --------
    As `clear_hours`.

    Source
    ------
    As `clear_hours`.
    """
    hour = MID_HOURS
    whole, _ = clear_hours(place, sun, hour, position(place, hour))
    return whole.reshape(DAYS, HOURS).mean(axis=1)


def largest_days(place: Place, sun: SunParameters, year: Days) -> Array:
    """Return the most that any day of the year may bring.

    Parameters
    ----------
    place : Place
        Where.
    sun : SunParameters
        Table [sun] of a case.
    year : Days
        The days of the place.

    Returns
    -------
    ndarray, shape (365,)
        Mean of 24 h. [W/m2]

    Validity
    --------
    Measured days exceed a clear one of mean turbidity by up to a tenth. Where the sun stays
    below 10 deg at noon, at least 70 % of what comes outside the air is allowed.

    Source
    ------
    Three measured years for the tenth; common practice, no source, for the low sun.
    """
    noon = np.cos(place.latitude - year.declination)
    least = np.where(noon < LOW_SUN, MOST_AT_LOW_SUN * year.outside, 0.0)
    most = np.maximum(MOST_OF_CLEAR * clear_days(place, sun), least)
    return np.minimum(most, year.outside)


def monthly_means(place: Place, sun: SunParameters, year: Days) -> Array:
    """Return the monthly means of global irradiation, held against what can be.

    Parameters
    ----------
    place : Place
        Where.
    sun : SunParameters
        Table [sun] of a case, with monthly means.
    year : Days
        The days of the place.

    Returns
    -------
    ndarray, shape (12,)
        Means of 24 h. [W/m2]

    Raises
    ------
    RequestError
        More than a clear sky gives, or less than any place has.

    Validity
    --------
    A mean below 20 % of what comes outside the air, over the year, is taken for a fault.

    Source
    ------
    Definition; the least clearness is common practice, no source.
    """
    outside = by_month(year.outside)
    if sun.monthly_clearness is not None:
        given, key = np.array(sun.monthly_clearness) * outside, "monthly_clearness"
    elif sun.monthly_irradiation is not None:
        given, key = np.array(sun.monthly_irradiation), "monthly_irradiation"
    else:
        raise RequestError("sun.monthly_irradiation is missing: days are drawn from monthly means")
    most = by_month(largest_days(place, sun, year))
    over = given > most * (1 + 1e-9)
    if over.any():
        raise RequestError(f"sun.{key}: {_too_much(place, given, outside, most, sun)}")
    if given.sum() < LEAST_OF_YEAR * outside.sum():
        raise RequestError(
            f"sun.{key}: {given.sum() / outside.sum():.0%} of what comes outside the air at "
            f"{_latitude(place)} in a year, less than any place has; were kWh/m2/day written as "
            "MJ/m2/day? 1 kWh is 3.6 MJ"
        )
    return given


def _too_much(place: Place, given: Array, outside: Array, most: Array, sun: SunParameters) -> str:
    """Say which month has the most light above what can be, and what may have been meant."""
    month = int(np.argmax(given / np.maximum(most, 1e-9)))
    more = int(np.sum(given > most * (1 + 1e-9))) - 1
    shown, limit = (text(v[month], "irradiation") for v in (given, np.minimum(most, outside)))
    if given[month] > outside[month]:
        limit = f"{text(outside[month], 'irradiation')} come from outside the air"
    else:
        limit = f"{limit} are a clear sky's and a tenth more"
    others = f", and too much in {more} months more" if more else ""
    return (
        f"{shown} in {MONTH_NAMES[month]}, where {limit} at {_latitude(place)}{others}; "
        f"{_meant(place, given, outside, sun)}"
    )


def _meant(place: Place, given: Array, outside: Array, sun: SunParameters) -> str:
    """Return the mistakes that would explain the light: those after whose repair it fits."""
    exchanged = place._replace(latitude=place.longitude, longitude=place.latitude)
    guesses = [
        ("are latitude and longitude exchanged?", exchanged, 1.0),
        (
            "is it a southern latitude, or a northern one? south is negative",
            place._replace(latitude=-place.latitude),
            1.0,
        ),
    ]
    if np.median(given / np.maximum(outside, 1e-9)) > 1:
        guesses.insert(0, ("were MJ/m2/day written as kWh/m2/day? 1 kWh is 3.6 MJ", place, 3.6))
    fitting = [
        words
        for words, there, factor in guesses
        if abs(there.latitude) <= math.pi / 2
        and np.all(given / factor <= by_month(largest_days(there, sun, days_of(there))))
    ]
    if fitting:
        return "; or ".join(fitting)
    return "a very clear site? state linke_turbidity; or it is another place"


def _latitude(place: Place) -> str:
    return f"latitude {math.degrees(place.latitude):.4g} deg"
