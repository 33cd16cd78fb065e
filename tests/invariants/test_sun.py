"""What must hold of sun and array at any place, whatever the numbers."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import RequestError
from treatsim.power import hours, weather
from treatsim.power.array import array_power, plane_irradiance
from treatsim.power.months import MID_MONTH
from treatsim.power.site import Place, SiteParameters
from treatsim.power.sun import HOURS, MID_HOURS, days_of, position
from treatsim.power.tables import ArrayParameters, SunParameters

RAD = np.pi / 180
LATITUDES = (-90.0, -66.5, -40.0, 0.0, 0.4, 23.4, 40.0, 66.5, 75.0, 90.0)


def site(latitude=30.0, longitude=0.0, zone=0.0) -> SiteParameters:
    return SiteParameters(
        latitude=latitude * RAD, longitude=longitude * RAD, altitude=100.0, time_zone=zone * 3600
    )


def sun(clearness=0.5, **more) -> SunParameters:
    given = {"monthly_clearness": (clearness,) * 12, "air_temperature": (293.15,) * 12}
    return SunParameters(**(given | more))


def array(**more) -> ArrayParameters:
    return ArrayParameters(**({"peak_power": 1000.0, "tilt": 25 * RAD} | more))


def year_of(power):
    return power.sum(axis=1)


@pytest.mark.parametrize("latitude", LATITUDES)
@pytest.mark.parametrize("clearness", [0.25, 0.5, 0.6])
def test_every_place_has_a_year(latitude, clearness):
    """Polar days and nights, the poles themselves: numbers, no NaN, no light without sun."""
    here = site(latitude)
    for year in (weather.sampled_years(here, sun(clearness), 2, 1),
                 weather.mean_days(here, sun(clearness))):  # fmt: skip
        for values in (year.ghi, year.dhi, year.dni, array_power(array(), here, year)):
            assert np.all(np.isfinite(values))
            assert np.all(values >= 0)
        outside = days_of(year.place).outside
        daily = year.ghi.reshape(len(year.ghi), 365, HOURS).mean(axis=2)
        assert np.all(daily <= outside + 1e-9)
        assert np.all(daily[:, outside == 0] == 0)
        assert np.all(year.dni <= hours.MOST_DIRECT * year.sun.normal + 1e-9)
    for day in MID_MONTH:
        assert np.all(np.isfinite(array_power(array(), here, weather.clear_sky(here, sun(), day))))


def test_planes_mirror_about_noon():
    """Clear days about the solstice, clock at true noon: an east plane gives what a west one does,
    hour against hour turned round."""
    place = Place(35 * RAD, 0.0, 100.0, 0.0)
    day = 172
    noon = position(place, np.array([day * HOURS + 12.0])).hour_angle[0]
    here = dataclasses.replace(site(35.0), longitude=-noon)  # so that the clock is the sun's
    clear = weather.clear_sky(here, sun(daily_swing=0.0, linke_turbidity=(3.0,) * 12), day)
    east, west = (
        plane_irradiance(array(azimuth=a * RAD, tilt=40 * RAD), here, clear)[0] for a in (90, 270)
    )
    assert_allclose(east, west[::-1], rtol=2e-3, atol=0.5)
    assert east[:12].sum() > 1.5 * east[12:].sum(), "the east plane has the morning"


def test_the_wrong_pole_costs_and_the_seasons_turn():
    """South of the tropics the equator is north, and June is winter."""
    for latitude, toward in ((40.0, np.pi), (-40.0, 0.0)):
        here = site(latitude)
        year = weather.mean_days(here, sun())
        right, wrong, unsaid = (
            year_of(array_power(array(azimuth=a), here, year))[0]
            for a in (toward, np.pi - toward, None)
        )
        assert unsaid == right
        assert wrong < 0.75 * right
    north, south = (weather.mean_days(site(at), sun()).ghi[0] for at in (40.0, -40.0))
    june, december = slice(3624, 4344), slice(8016, 8760)
    assert north[june].sum() > 2 * north[december].sum()
    assert south[december].sum() > 2 * south[june].sum()


def test_half_an_hour_is_seen_by_east_and_west_planes_only():
    """The fault that a plane to the equator hides: light of one half hour, sun of the next."""
    here = site(36.0)
    year = weather.mean_days(here, sun())
    late = year._replace(sun=position(year.place, MID_HOURS + 0.5))
    late = late._replace(**dict(zip(
        ("dhi", "dni"), hours.parted(year.ghi, year.dhi, late.sun), strict=True)))  # fmt: skip
    shift = {}
    for name, azimuth in (("east", 90), ("west", 270), ("equator", 180)):
        plane = array(azimuth=azimuth * RAD)
        right, wrong = (plane_irradiance(plane, here, y).sum() for y in (year, late))
        shift[name] = wrong / right - 1
    assert shift["east"] < -0.03
    assert shift["west"] > 0.03
    assert abs(shift["equator"]) < 0.015


def test_the_same_seed_gives_the_same_years_however_many_follow():
    few, many = (weather.sampled_years(site(), sun(), n, 7) for n in (2, 5))
    assert np.array_equal(few.ghi, many.ghi[:2])
    other = weather.sampled_years(site(), sun(), 2, 8)
    assert not np.array_equal(few.ghi, other.ghi)
    assert not np.array_equal(few.ghi[0], few.ghi[1])


@pytest.mark.parametrize("years", [0, 1001])
def test_no_years_and_too_many(years):
    with pytest.raises(RequestError, match="allowed is 1 to 1000"):
        weather.sampled_years(site(), sun(), years, 1)


def test_the_array_in_parts():
    here = site()
    year = weather.sampled_years(here, sun(), 1, 1)
    whole = array_power(array(), here, year)
    assert_allclose(array_power(array(unfolded=2 / 3), here, year), whole * 2 / 3, rtol=1e-12)
    assert np.all(array_power(array(unfolded=0.0), here, year) == 0)
    assert array_power(array(controller_limit=300.0), here, year).max() == 300.0
    assert_allclose(
        array_power(array(controller_limit=300.0), here, year), np.minimum(whole, 300.0)
    )
    less = {
        "dirt": {"soiling": 0.2},
        "heat": {"heat_loss": 15.0},
        "wires": {"wiring_loss": 0.1},
        "cover": {"cover_loss": 0.1},
        "low light": {"low_light_loss": 0.03},
    }
    for name, change in less.items():
        assert array_power(array(**change), here, year).sum() < 0.999 * whole.sum(), name


def test_a_horizon_takes_the_low_sun():
    """Hills in the east take the morning, and leave the afternoon its direct light."""
    here = site(35.0)
    hills = tuple((20 * RAD if 60 <= at <= 120 else 0.0, at * RAD) for at in range(0, 360, 15))
    clear = weather.clear_sky(here, sun(), 172)
    free = plane_irradiance(array(), here, clear)[0]
    shut = plane_irradiance(array(horizon=hills), here, clear)[0]
    assert shut[6] < 0.6 * free[6]
    assert np.all(shut[13:19] > 0.95 * free[13:19])
    level = tuple((0.0, at * RAD) for at in range(0, 360, 45))
    assert_allclose(plane_irradiance(array(horizon=level), here, clear)[0], free, rtol=1e-12)


def test_dirt_grows_until_it_is_cleaned_off():
    here = site(0.4)
    year = weather.mean_days(here, sun())
    clean = plane_irradiance(array(soiling=0.0), here, year)[0]
    dirty = array(
        soiling=0.01, soiling_per_week=0.02, cleaned_on="03-01", cleaning_interval=28 * 86400.0
    )
    noon = np.arange(365) * HOURS + 12
    kept = plane_irradiance(dirty, here, year)[0][noon] / clean[noon]
    first = 59  # the first of March
    assert kept[first] == pytest.approx(0.99 - 0.02 / 7 * 12.5 / 24, rel=1e-9)
    assert kept[first + 28] == pytest.approx(kept[first], rel=1e-9)
    assert kept[first + 27] == pytest.approx(kept[first] - 0.02 / 7 * 27, rel=1e-9)
    assert kept[first - 1] < kept[first] - 0.07


@pytest.mark.parametrize("turbidity", [None, (3.0,) * 12])
def test_no_drawn_day_is_far_brighter_than_a_clear_one(turbidity):
    here = site(36.0)
    what = sun(0.5, linke_turbidity=turbidity)
    drawn = weather.sampled_years(here, what, 20, 2).ghi.reshape(20, 365, HOURS).sum(axis=2)
    clear = [weather.clear_sky(here, what, day).ghi.sum() for day in MID_MONTH]
    share = drawn[:, MID_MONTH] / clear
    assert share.max() <= 1.1 * (1 + 1e-9)
    assert np.mean(share < 0.4) > 0.05, "and some are dull"
