"""Sun, sky, plane and modules against a general library of the trade: every piece it has."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pvlib
import pytest
from numpy.testing import assert_allclose

from treatsim.power import module, plane, sky
from treatsim.power.site import Place
from treatsim.power.sun import MID_HOURS, SOLAR_CONSTANT, Sun, orbit, position

PLACES = {  # latitude, longitude, altitude, clock; from pole to pole, both sides of the date line
    "north": (69.0, 25.0, 100.0, 1.0),
    "middle": (36.1, -79.95, 270.0, -5.0),
    "half-hour clock": (19.0, 73.0, 10.0, 5.5),
    "equator": (0.4, 9.4, 10.0, 1.0),
    "south, far east": (-40.0, 175.0, 10.0, 12.0),
    "date line": (-17.0, -179.0, 5.0, 12.0),
}
EXACT = 1e-6  # relative: the same formulas


def place(name: str) -> Place:
    latitude, longitude, altitude, zone = PLACES[name]
    return Place(np.radians(latitude), np.radians(longitude), altitude, zone)


def theirs(name: str, method: str = "nrel_numpy") -> pd.DataFrame:
    latitude, longitude, altitude, zone = PLACES[name]
    start = pd.Timestamp("2023-01-01") - pd.Timedelta(hours=zone)
    times = (start + pd.to_timedelta(MID_HOURS, unit="h")).tz_localize("UTC")
    return pvlib.solarposition.get_solarposition(
        times, latitude, longitude, altitude, method=method
    )


@pytest.mark.parametrize("name", PLACES)
def test_the_sun_stands_where_the_long_algorithm_has_it(name):
    """Direction within 0.02 deg all year: refraction left out on both sides."""
    found, known = position(place(name), MID_HOURS), theirs(name)
    zenith, azimuth = np.radians(known["zenith"].to_numpy()), np.radians(known["azimuth"])
    apart = found.cos_zenith * np.cos(zenith) + np.sqrt(1 - found.cos_zenith**2) * np.sin(
        zenith
    ) * np.cos(found.azimuth - azimuth)
    assert np.degrees(np.arccos(np.clip(apart, -1, 1))).max() < 0.02
    assert np.abs(np.degrees(np.arccos(found.cos_zenith)) - known["zenith"]).max() < 0.02


def test_distance_of_the_sun():
    days = np.arange(365.0)
    times = pd.DatetimeIndex(pd.Timestamp("2000-01-01 12:00") + pd.to_timedelta(days, unit="D"))
    known = pvlib.irradiance.get_extra_radiation(times, SOLAR_CONSTANT, method="nrel")
    assert_allclose(orbit(days).normal, known, rtol=2e-4)


def test_clear_skies():
    zenith = np.linspace(0.0, 89.0, 90)
    cosine = np.cos(np.radians(zenith))
    known = pvlib.clearsky.haurwitz(pd.Series(zenith))["ghi"]
    assert_allclose(sky.haurwitz(cosine), known, rtol=EXACT)
    for altitude in (0.0, 500.0, 2500.0):
        relative = pvlib.atmosphere.get_relative_airmass(zenith, "kastenyoung1989")
        mass = pvlib.atmosphere.get_absolute_airmass(relative, pvlib.atmosphere.alt2pres(altitude))
        assert_allclose(sky.air_mass(cosine, altitude), mass, rtol=2e-4)
        for turbidity in (2.0, 3.0, 5.0):
            # the same air mass for both, so that only the sky is compared
            ours = sky.ineichen(cosine, 1361.0, turbidity, altitude)
            known = pvlib.clearsky.ineichen(
                zenith, sky.air_mass(cosine, altitude), turbidity, altitude, 1361.0
            )
            assert_allclose(ours[0], known["ghi"], rtol=EXACT)
            assert_allclose(ours[1], known["dni"], rtol=EXACT)


def test_diffuse_share():
    clearness = np.linspace(0.01, 0.99, 99)
    day = 172  # as a number: of dates the library makes a warning
    ghi = clearness * pvlib.irradiance.get_extra_radiation(day) * np.cos(np.radians(30.0))
    known = pvlib.irradiance.erbs(ghi, np.full(99, 30.0), day)
    assert_allclose(sky.diffuse_of_hour(clearness), np.asarray(known["dhi"]) / ghi, rtol=EXACT)


@pytest.fixture(scope="module")
def light():
    """Light of any kind on planes of any kind, above the horizon."""
    draw = np.random.default_rng(7)
    n = 500
    sun = Sun(
        draw.uniform(0.03, 1, n), draw.uniform(0, 2 * np.pi, n), np.zeros(n), np.full(n, 1361.0)
    )
    return sun, draw.uniform(0, 900, n), draw.uniform(0, 500, n)


@pytest.mark.parametrize(("tilt", "azimuth"), [(0, 180), (25, 180), (40, 90), (40, 270), (90, 10)])
def test_light_on_a_plane(light, tilt, azimuth):
    sun, dni, dhi = light
    ghi = dni * sun.cos_zenith + dhi
    zenith, around = np.degrees(np.arccos(sun.cos_zenith)), np.degrees(sun.azimuth)
    known = pvlib.irradiance.get_total_irradiance(
        tilt, azimuth, zenith, around, dni, ghi, dhi, dni_extra=sun.normal, albedo=0.3,
        model="haydavies",
    )  # fmt: skip
    normal = plane.normal_of(np.radians(tilt), np.radians(azimuth))
    ours = plane.on_plane((ghi, dhi, dni), sun, normal, albedo=0.3)
    assert_allclose(ours, known["poa_global"], rtol=EXACT)
    angle = pvlib.irradiance.aoi(tilt, azimuth, zenith, around)
    assert_allclose(np.degrees(np.arccos(np.clip(plane.incidence(normal, sun), -1, 1))), angle,
                    atol=1e-5)  # fmt: skip


def test_cover():
    angle = np.linspace(0, 89, 90)
    known = pvlib.iam.ashrae(angle, 0.05)
    assert_allclose(plane.let_in(np.cos(np.radians(angle)), 0.05), known, rtol=EXACT, atol=1e-9)


def test_modules():
    sun = np.linspace(0, 1200, 61)
    air, wind = np.linspace(-10, 45, 61), np.linspace(0, 12, 61)
    cells = pvlib.temperature.faiman(sun, air, wind)
    ours = module.cell_temperature(sun, air + 273.15, wind, 25.0, 6.84)
    assert_allclose(ours - 273.15, cells, rtol=EXACT)
    for k in (0.0, 0.01):
        known = pvlib.pvsystem.pvwatts_dc(
            sun, cells, 4000, -0.004, k=k or None, cap_adjustment=True
        )
        assert_allclose(
            module.module_power(sun, ours, 4000.0, -0.004, k), np.maximum(known, 0), rtol=EXACT,
            atol=1e-6,
        )  # fmt: skip
