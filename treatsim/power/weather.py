"""Weather by the hour: drawn from monthly means, read from a file, or under a clear sky."""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.errors import RequestError
from treatsim.power import days, hours, sky, weather_files
from treatsim.power.air import air_of
from treatsim.power.monthly import clear_hours, largest_days, monthly_means
from treatsim.power.site import Place, SiteParameters, place_of
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

MOST_YEARS = 1000
EARTH_RADIUS = 6.371e6  # m
FARTHEST_FILE = 2e5  # m from the site; the sky of a station further off is another one
LATEST_LIGHT = 0.75  # h between the light of a year and the sun; morning fog makes 0.3


class Weather(NamedTuple):
    """Hours of one or more years of 365 days, or of a day; the middle of an hour stands for it."""

    place: Place
    hour: Array  # (hours,) local standard time since the start of the year, mid-interval [h]
    sun: Sun  # (hours,)
    ghi: Array  # (years, hours) global on the horizontal [W/m2]
    dhi: Array  # (years, hours) diffuse on the horizontal [W/m2]
    dni: Array  # (years, hours) direct across the rays [W/m2]
    air_temperature: Array  # (years, hours) [K]
    wind: Array  # (years, hours) at the array [m/s]
    albedo: float  # of the ground [1]
    notes: tuple[str, ...] = ()  # what was assumed, in words


def sampled_years(site: SiteParameters, sun: SunParameters, years: int, seed: int) -> Weather:
    """Return drawn years whose months have the means given, with cloudy spells as long as real.

    Parameters
    ----------
    site : SiteParameters
        Table [site] of a case.
    sun : SunParameters
        Table [sun] of a case, with monthly means.
    years : int
        Number of years, 1 to 1000; 20 for a poor week.
    seed : int
        Of the draw; the first years are the same however many follow.

    Returns
    -------
    Weather
        Shape (years, 8760).

    Raises
    ------
    RequestError
        No coordinates; monthly means that cannot be those of the place.

    Validity
    --------
    Every year has the same monthly means; how these change between years is not drawn.

    Source
    ------
    graham_hollands_brunger_1988 for the days, erbs_1982 for their diffuse share,
    collares_pereira_rabl_1979 for the hours.
    """
    if not 1 <= years <= MOST_YEARS:
        raise RequestError(f"years = {years}: allowed is 1 to {MOST_YEARS}")
    place = place_of(site)
    year = days_of(place)
    monthly = monthly_means(place, sun, year)
    clearness = monthly / np.maximum(by_month(year.outside), 1e-9)
    most = largest_days(place, sun, year)
    drawn = days.drawn_clearness(clearness, years, seed) * year.outside
    daily = days.with_exact_means(drawn, monthly, most)
    index = np.divide(daily, year.outside, out=np.zeros_like(daily), where=year.outside > 0)
    share = sky.diffuse_of_day(index, year.sunset)
    notes = [
        f"{years} years of days drawn from twelve means, as any year may be",
        *_assumed(site, sun),
    ]
    return _weather(place, sun, daily, share, year)._replace(notes=tuple(notes))


def _assumed(site: SiteParameters, sun: SunParameters) -> list[str]:
    """Return what was taken for granted where a case says nothing."""
    zone = place_of(site).zone
    notes = [] if site.time_zone is not None else [f"clock taken as {zone:+g} h by the longitude"]
    if sun.linke_turbidity is None:
        notes.append("clear days by a mean sky of mid latitudes: no linke_turbidity is stated")
    return notes


def mean_days(site: SiteParameters, sun: SunParameters) -> Weather:
    """Return a year of mean days: every day of a month alike. It knows no cloudy week.

    Parameters
    ----------
    site : SiteParameters
        Table [site] of a case.
    sun : SunParameters
        Table [sun] of a case, with monthly means.

    Returns
    -------
    Weather
        Shape (1, 8760).

    Raises
    ------
    RequestError
        As `sampled_years`.

    Validity
    --------
    For energy on the plane, within 2 % of a year; never for days without water.

    Source
    ------
    erbs_1982 for the diffuse share of a month, collares_pereira_rabl_1979 for the hours.
    """
    place = place_of(site)
    year = days_of(place)
    monthly = monthly_means(place, sun, year)
    clearness = (monthly / np.maximum(by_month(year.outside), 1e-9))[MONTH_OF_DAY]
    share = sky.diffuse_of_month(clearness, year.sunset)
    return _weather(place, sun, (clearness * year.outside)[None, :], share[None, :], year)


def _weather(place: Place, sun: SunParameters, daily: Array, share: Array, year: Days) -> Weather:
    """Return the hours of days whose irradiation and diffuse share are known."""
    hour = MID_HOURS
    seen = position(place, hour)
    whole, scattered = hours.spread(daily, share, year.sunset, seen.hour_angle)
    diffuse, direct = hours.parted(whole, scattered, seen)
    air, wind = air_of(place, sun, hour)
    shape = whole.shape
    return Weather(
        place,
        hour,
        seen,
        whole,
        diffuse,
        direct,
        np.broadcast_to(air, shape),
        np.broadcast_to(wind, shape),
        sun.albedo,
    )


def from_file(path: str | Path, site: SiteParameters, sun: SunParameters | None = None) -> Weather:
    """Return the hours of a file, on the clock of the site.

    Parameters
    ----------
    path : str or Path
        EPW, TMY2, TMY3, NSRDB, or an export of PVGIS.
    site : SiteParameters
        Table [site] of a case.
    sun : SunParameters, optional
        Table [sun] of a case, for what the file does not tell.

    Returns
    -------
    Weather
        Shape (years, 8760). An hour stands for its middle, or for the minute at which a satellite
        looked: hours need not begin at full ones of the clock. [h]

    Raises
    ------
    RequestError
        Not readable, hours missing, of another place, or on a clock that is not the one it names.

    Validity
    --------
    Global and diffuse are taken from the file, direct is what they leave.

    Source
    ------
    erbs_1982 where a file has no diffuse light; wind at 2 m by fao_56.
    """
    here = place_of(site)
    given = weather_files.read_hours(path)
    place = Place(
        math.radians(given.latitude), math.radians(given.longitude), given.altitude, here.zone
    )
    _demand_near(here, place, path)
    local = (given.hour + here.zone) % (DAYS * HOURS)
    order = np.argsort(local)
    hour = local[order]
    seen = position(place, hour)
    whole = np.maximum(given.ghi[:, order], 0.0)
    _demand_clock(whole, seen, path, given)
    diffuse, direct = hours.parted(whole, _diffuse(given, order, whole, seen), seen)
    air, wind = _air_of_file(given, order, sun, (place, hour), path)
    notes = [f"{Path(path).name}: {given.told}"]
    if abs(given.zone - here.zone) > 1e-9:
        notes.append(f"its clock, {given.zone:+g} h, put on that of the site, {here.zone:+g} h")
    albedo = SunParameters.albedo if sun is None else sun.albedo
    shape = whole.shape
    return Weather(
        place,
        hour,
        seen,
        whole,
        diffuse,
        direct,
        np.broadcast_to(air, shape),
        np.broadcast_to(wind, shape),
        albedo,
        tuple(notes),
    )


def _diffuse(given: weather_files.Hours, order: Index, whole: Array, seen: Sun) -> Array:
    """Return diffuse light: of the file, or what its direct light leaves, or by correlation."""
    cosine = np.maximum(seen.cos_zenith, 0.0)
    if given.dhi is not None:
        return np.minimum(np.maximum(given.dhi[:, order], 0.0), whole)
    if given.dni is not None:
        return np.clip(whole - given.dni[:, order] * cosine, 0.0, whole)
    outside = np.maximum(seen.normal * cosine, 1e-9)
    return np.asarray(whole * sky.diffuse_of_hour(np.minimum(whole / outside, 1.0)))


def _air_of_file(
    given: weather_files.Hours,
    order: Index,
    sun: SunParameters | None,
    at: tuple[Place, Array],
    path: str | Path,
) -> tuple[Array, Array]:
    """Return temperature and wind of the file, else those of the case."""
    if given.air_temperature is not None and given.wind is not None:
        return given.air_temperature[:, order], given.wind[:, order]
    if sun is None or sun.air_temperature is None:
        raise RequestError(f"{path}: without air temperature and wind; state sun.air_temperature")
    return air_of(at[0], sun, at[1])


def _demand_near(here: Place, there: Place, path: str | Path) -> None:
    """Raise RequestError if a file is of another place."""
    apart = (
        math.acos(
            min(
                1.0,
                math.sin(here.latitude) * math.sin(there.latitude)
                + math.cos(here.latitude)
                * math.cos(there.latitude)
                * math.cos(here.longitude - there.longitude),
            )
        )
        * EARTH_RADIUS
    )
    if apart <= FARTHEST_FILE:
        return
    places = [f"{text(p.latitude, 'angle')}, {text(p.longitude, 'angle')}" for p in (there, here)]
    raise RequestError(
        f"{path}: of {places[0]}, {apart / 1000:.0f} km from the site at {places[1]}; at most "
        f"{FARTHEST_FILE / 1000:.0f} km are taken"
    )


def _demand_clock(whole: Array, seen: Sun, path: str | Path, given: weather_files.Hours) -> None:
    """Raise RequestError if the light of a file is not where the sun is."""
    light = whole.sum(axis=0)
    east, noon = light @ np.sin(seen.hour_angle), light @ np.cos(seen.hour_angle)
    late = math.atan2(east, noon) * HOURS / (2 * math.pi)
    if light.sum() > 0 and abs(late) <= LATEST_LIGHT:
        return
    if not light.sum() > 0:
        raise RequestError(f"{path}: no light in any hour")
    raise RequestError(
        f"{path}: its light lies {abs(late):.1f} h {'after' if late > 0 else 'before'} the sun at "
        f"longitude {given.longitude:g} deg on the clock it names ({given.zone:+g} h); "
        f"{LATEST_LIGHT:g} h are allowed. The file is in another time zone than it says"
    )


def weather_of(
    site: SiteParameters, sun: SunParameters, years: int, seed: int, folder: Path
) -> Weather:
    """Return the hours of a case: of its file, else drawn from its monthly means.

    Parameters
    ----------
    site : SiteParameters
        Table [site] of a case.
    sun : SunParameters
        Table [sun] of a case.
    years : int
        Number of drawn years; a file has its own.
    seed : int
        Of the draw.
    folder : Path
        Where a file of hours lies.

    Returns
    -------
    Weather

    Raises
    ------
    RequestError
        As `sampled_years` and `from_file`.

    Validity
    --------
    As these.

    Source
    ------
    As these.
    """
    if sun.file is not None:
        return from_file(folder / sun.file, site, sun)
    return sampled_years(site, sun, years, seed)


def clear_sky(site: SiteParameters, sun: SunParameters, day: int) -> Weather:
    """Return the hours of one day under a clear sky.

    Parameters
    ----------
    site : SiteParameters
        Table [site] of a case.
    sun : SunParameters
        Table [sun] of a case; without a turbidity, that of a mean clear sky is inside the formula.
    day : int
        Day of the year, 0 is the first of January.

    Returns
    -------
    Weather
        Shape (1, 24); hours count from the start of the year. [h]

    Validity
    --------
    No cloud all day: what an array can give at best, not what it will.

    Source
    ------
    ineichen_perez_2002 with a turbidity, haurwitz_1945 and erbs_1982 without.
    """
    place = place_of(site)
    if not 0 <= day < DAYS:
        raise RequestError(f"day = {day}: allowed is 0 to {DAYS - 1}")
    hour = day * HOURS + MID_HOURS[:HOURS]
    seen = position(place, hour)
    whole, direct = clear_hours(place, sun, hour, seen)
    scattered = np.maximum(whole - direct * np.maximum(seen.cos_zenith, 0.0), 0.0)
    diffuse, direct = hours.parted(whole[None, :], scattered[None, :], seen)
    if sun.air_temperature is None:
        raise RequestError("sun.air_temperature is missing: modules lose power with heat")
    air, wind = air_of(place, sun, hour)
    return Weather(
        place, hour, seen, whole[None, :], diffuse, direct, air[None, :], wind[None, :], sun.albedo
    )
