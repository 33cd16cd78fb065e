"""Hours of sun and array against a plain loop over them, after the same watts.

    PYTHONPATH=tests python -m benchmarks.bench_sun

The loop takes the same light on the horizontal, and does for one hour after the other what a plain
program does: place of the sun, direct and diffuse, plane, cells, power.
"""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side
from numpy.testing import assert_allclose

from treatsim.power.array import array_power
from treatsim.power.hours import parted
from treatsim.power.site import SiteParameters
from treatsim.power.sun import EPOCH, SOLAR_CONSTANT, position
from treatsim.power.tables import ArrayParameters, SunParameters
from treatsim.power.weather import sampled_years

RAD = math.pi / 180
SITE = SiteParameters(latitude=30 * RAD, longitude=5 * RAD, altitude=200.0, time_zone=0.0)
SUN = SunParameters(monthly_clearness=(0.55,) * 12, air_temperature=(298.15,) * 12)
ARRAY = ArrayParameters(peak_power=4000.0, tilt=25 * RAD, azimuth=math.pi, cover_loss=0.0)
YEARS, MOST = 20, 2.0  # s for these years, start-up left out
LEAST_RATIO = 50.0

pytestmark = pytest.mark.benchmark


def plain(year) -> list[float]:
    """One year, hour by hour."""
    found, lat = [], SITE.latitude
    east, up = math.sin(ARRAY.azimuth) * math.sin(ARRAY.tilt), math.cos(ARRAY.tilt)
    north = math.cos(ARRAY.azimuth) * math.sin(ARRAY.tilt)
    hours = zip(
        year.hour.tolist(), year.ghi[0].tolist(), year.dhi[0].tolist(),
        year.air_temperature[0].tolist(), strict=True,
    )  # fmt: skip
    for hour, ghi, dhi, air in hours:
        n = EPOCH + hour / 24
        g = (357.528 + 0.9856003 * n) * RAD
        lam = (280.460 + 0.9856474 * n + 1.915 * math.sin(g) + 0.020 * math.sin(2 * g)) * RAD
        eps = (23.439 - 4e-7 * n) * RAD
        dec = math.asin(math.sin(eps) * math.sin(lam))
        right = math.atan2(math.cos(eps) * math.sin(lam), math.cos(lam))
        w = 15 * RAD * (6.697375 + 0.0657098242 * n + hour) + SITE.longitude - right
        normal = SOLAR_CONSTANT / (1.00014 - 0.01671 * math.cos(g) - 0.00014 * math.cos(2 * g)) ** 2
        height = math.sin(lat) * math.sin(dec) + math.cos(lat) * math.cos(dec) * math.cos(w)
        to_east = -math.cos(dec) * math.sin(w)
        to_north = math.cos(lat) * math.sin(dec) - math.sin(lat) * math.cos(dec) * math.cos(w)
        direct = 0.0
        if height > 0.02:
            direct = min(max((ghi - dhi) / height, 0.0), 0.9 * normal)
        dhi = max(ghi - direct * max(height, 0.02), 0.0)
        cosine = max(to_east * east + to_north * north + height * up, 0.0)
        seen = direct / normal
        ratio = cosine / max(height, math.cos(89 * RAD))
        light = direct * cosine + dhi * seen * ratio if height >= 0 else 0.0
        light += dhi * (1 - seen) * (1 + up) / 2 + ghi * year.albedo * (1 - up) / 2
        light *= 1 - ARRAY.soiling
        cells = air + light / (ARRAY.heat_loss + ARRAY.wind_heat_loss * SUN.wind)
        low = 1 - (1 - light / 200) ** 4 if light < 200 else max((1000 - light) / 800, 0.0)
        warm = 1 + ARRAY.temperature_coefficient * (cells - 298.15)
        power = ARRAY.peak_power * (light / 1000 * warm - ARRAY.low_light_loss * low)
        found.append(max(power, 0.0) * ARRAY.passed_on())
    return found


def ours(year):
    """The same for drawn years, from the light on the horizontal on."""
    sun = position(year.place, year.hour)
    dhi, dni = parted(year.ghi, year.dhi, sun)
    return array_power(ARRAY, SITE, year._replace(sun=sun, dhi=dhi, dni=dni))


def test_hours_against_a_loop():
    year = sampled_years(SITE, SUN, YEARS, 1)
    one = year._replace(
        ghi=year.ghi[:1], dhi=year.dhi[:1], dni=year.dni[:1],
        air_temperature=year.air_temperature[:1], wind=year.wind[:1],
    )  # fmt: skip
    assert_allclose(ours(one)[0], plain(one), rtol=1e-9, atol=1e-6)
    for name, what, hours in (("one year", one, 8760), ("20 years", year, 8760 * YEARS)):
        found = side_by_side(
            lambda: plain(one), lambda what=what: ours(what), plain_items=8760, fast_items=hours
        )
        print(line(f"an hour of sun and array, {name}", found))
    assert found.ratio > LEAST_RATIO


def test_twenty_years_are_drawn_and_turned_into_power_in_time():
    sampled_years(SITE, SUN, 1, 1)  # loads what is loaded once
    start = time.perf_counter()
    power = array_power(ARRAY, SITE, sampled_years(SITE, SUN, YEARS, 1))
    spent = time.perf_counter() - start
    print(f"{YEARS} years drawn, sun and array: {spent:.2f} s")
    assert np.all(np.isfinite(power))
    assert spent < MOST


if __name__ == "__main__":
    test_hours_against_a_loop()
    test_twenty_years_are_drawn_and_turned_into_power_in_time()
