"""Monthly means and clear days of a place: what the sun can give, and what is said it gives."""

from __future__ import annotations

import math

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.operations.parameters import MONTH_NAMES
from treatsim.power import hours, sky
from treatsim.power.site import Place
from treatsim.power.sun import DAYS, HOURS, MID_HOURS, MONTH_OF_DAY, Days, Sun, by_month, position
from treatsim.power.tables import SunParameters
from treatsim.quantities import text

MOST_OF_CLEAR = 1.10  # largest day over a clear one: measured days exceed clear ones by that much
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
    Measured days exceed a clear one of mean turbidity by up to a tenth.

    Source
    ------
    Three years of hours (common practice elsewhere).
    """
    return np.minimum(MOST_OF_CLEAR * clear_days(place, sun), year.outside)


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
    found = _too_much(place, key, given, outside, most)
    if not found and given.sum() < LEAST_OF_YEAR * outside.sum():
        found = [
            f"sun.{key}: {given.sum() / outside.sum():.0%} of what comes outside the air at "
            f"{_latitude(place)}, less than any place has; are these MJ/m2/day written as "
            "kWh/m2/day, or the other way round?"
        ]
    if found:
        raise RequestError(found)
    return given


def _too_much(place: Place, key: str, given: Array, outside: Array, clear: Array) -> list[str]:
    """Say which months have more light than can be, and what may have been meant."""
    found = []
    for month, name in enumerate(MONTH_NAMES):
        if given[month] <= clear[month] * (1 + 1e-9):
            continue
        beyond = given[month] > outside[month]
        what = "comes outside the air" if beyond else "a clear sky gives, and 10 %"
        most = outside[month] if beyond else clear[month]
        shown = text(given[month], "irradiation")
        found.append(
            f"sun.{key}: {shown} in {name}, but {text(most, 'irradiation')} {what} there at "
            f"{_latitude(place)}"
        )
    if not found:
        return []
    mirrored = np.roll(given, 6)
    if np.all(given / 3.6 <= clear) and np.median(given / np.maximum(clear, 1e-9)) > 1:
        hint = "are these MJ/m2/day? 1 kWh is 3.6 MJ"
    elif np.all(mirrored <= clear):
        hint = "the seasons are those of the other hemisphere: is the latitude's sign right?"
    elif len(found) <= 3 and np.all(given <= outside):
        hint = "a very clear site: state linke_turbidity"
    else:
        hint = "are latitude and longitude exchanged, or is it another place?"
    more = f", and {len(found) - 3} months more" if len(found) > 3 else ""
    return [*found[: min(len(found), 3) - 1], f"{found[min(len(found), 3) - 1]}{more}; {hint}"]


def _latitude(place: Place) -> str:
    return f"latitude {math.degrees(place.latitude):.4g} deg"
