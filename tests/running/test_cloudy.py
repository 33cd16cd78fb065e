"""Clouds that pass: the hour keeps its light, a battery rides through, a bare train does not."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import power_plant as plant
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.power import clouds
from treatsim.power.site import SiteParameters
from treatsim.power.tables import SunParameters
from treatsim.power.weather import sampled_years
from treatsim.running.cloudy import Clouds, OneYear, clouds_of
from treatsim.running.plan import plan_of, scenario
from treatsim.running.plant import Needs, Rules, Train
from treatsim.running.prepared import prepared
from treatsim.running.together import year_together
from treatsim.running.walk import SPREAD
from treatsim.studies.year_sizes import sized

SITE = SiteParameters(latitude=0.6, longitude=0.1, altitude=100.0)
SUN = SunParameters(monthly_clearness=(0.5,) * 12, air_temperature=(295.0,) * 12)
PER_HOUR, DRAWS = 20, 3


@cache
def light():
    year = sampled_years(SITE, SUN, 1, 2)
    short = clouds.in_short_steps(year, PER_HOUR)
    return year, short, clouds.passing(short, SUN, PER_HOUR, DRAWS, 4)


def test_every_hour_keeps_its_light():
    year, short, cloudy = light()
    for weather in (short, cloudy):
        hours = weather.ghi.reshape(len(weather.ghi), -1, PER_HOUR).mean(axis=2)
        assert_allclose(hours, np.broadcast_to(year.ghi, hours.shape), rtol=1e-9, atol=1e-9)
        beam = weather.dni * np.maximum(weather.sun.cos_zenith, 0.0)
        assert_allclose(weather.ghi, weather.dhi + beam, rtol=1e-9, atol=1e-9)
    assert np.all(short.dhi >= 0)
    assert np.all(cloudy.dni <= 0.95 * 1412), "no more than comes from outside the air"


def test_the_disc_is_free_or_covered_and_clouds_come_as_often_as_stated():
    """Rice (1944): a smooth line rises through its mean so often; here once in 15 minutes."""
    _, short, cloudy = light()
    half = (short.sun.cos_zenith > 0.3) & (short.dni[0] > 250) & (short.dni[0] < 450)
    bright = np.quantile(cloudy.dni[:, half], 0.97)
    between = (cloudy.dni[:, half] > 0.1 * bright) & (cloudy.dni[:, half] < 0.6 * bright)
    assert between.mean() < 0.15, "one step of an hour may be shared"
    line = clouds._smooth(60_000, PER_HOUR, 1, 8)[0]
    rises = np.sum((line[:-1] < 0) & (line[1:] >= 0))
    # in steps a little seldomer than of a line: it is seen every 3 minutes only
    assert 60_000 / PER_HOUR * 60 / rises == pytest.approx(clouds.CYCLE, rel=0.2)
    again = clouds._smooth(500, PER_HOUR, 2, 8), clouds._smooth(500, PER_HOUR, 5, 8)
    assert np.array_equal(again[0], again[1][:2]), "the first draws are the same"


def pulses(capacity: float):
    """Sun of 2 kW six minutes on, six off; a train of 500 to 1000 W; steps of a minute."""
    sun = np.where(np.arange(600) % 12 < 6, 2000.0, 0.0)[:, None]
    train = Train(np.array([[0.0, 1000.0]]), np.array([[0.0, 1 / 3600]]), 500.0, 1000.0)
    store = plant.Bank(capacity, 1.0, 1.0, 5e3, 5e3, 1.0)
    return plant.dispatch(sun, store, train, Needs(np.zeros((600, 1))),
                          Rules(0.0, 0.0, 0.5 * capacity, 500.0), step=60.0, first=0.5)  # fmt: skip


def test_a_battery_of_an_hour_rides_through_clouds_and_none_does_not():
    bare, carried = pulses(1.0), pulses(2 * plant.KWH)
    assert bare.starts.sum() == 50, "every cloud stops it"
    assert carried.starts.sum() == 1
    assert bare.water.sum() == pytest.approx(0.5 * 10, rel=1e-6)
    assert carried.water.sum() > 0.95 * 10


def test_a_train_eases_before_it_stops_and_short_steps_make_no_more_starts():
    """No sun, a battery of three hours at the highest dial: down to the lowest, then one stop."""
    train = Train(np.array([[0.0, 1000.0]]), np.array([[0.0, 1 / 3600]]), 500.0, 1000.0)
    rules = Rules(0.0, 0.0, 1.0 * plant.KWH, 1e9)
    store = plant.Bank(3 * plant.KWH, 1.0, 1.0, 5e3, 5e3, 1.0)

    def run(step):
        steps = round(8 * 3600 / step)
        return plant.dispatch(np.zeros((steps, 1)), store, train, Needs(np.zeros((steps, 1))),
                              rules, step=step, first=1.0)  # fmt: skip

    short = run(180.0)
    power = short.train[:, 0]
    assert short.starts.sum() == 1
    assert np.all(np.diff(power) <= 1e-9)
    assert power[power > 0].min() == pytest.approx(500.0)
    assert power.sum() * 180 == pytest.approx(3 * plant.KWH, rel=0.02)
    assert run(SPREAD).water.sum() == pytest.approx(short.water.sum(), rel=0.02)


def test_what_clouds_take_of_a_unit_with_a_battery_and_of_one_almost_without():
    """A pump on the sun alone must be told to lose much; one with hours of storage little."""
    case = cases.load("cases/sea.toml")
    ready = prepared(case, Path("cases"), 1)
    left = {}
    for capacity in (20.0, 5.0):
        own = sized(case, {"battery.capacity": capacity * plant.KWH})
        plan = plan_of(own, own.sections, ready.weather, ready.curve)
        trace, _ = year_together([scenario(plan)], plan.step)
        found = clouds_of(own, ready, plan, trace)
        left[capacity] = found.clouds.mean / found.hours.mean
        assert found.hours.mean == pytest.approx(trace.water.sum() / 365, rel=1e-12)
    assert 0.9 < left[20.0] < 1.1
    assert left[5.0] < 0.8


def test_the_share_that_clouds_leave_is_never_more_than_all():
    hours, more, less = OneYear(5.0, 2.0, 1.0), OneYear(6.0, 3.0, 1.0), OneYear(4.0, 1.0, 9.0)
    assert Clouds(hours, more).left == 1.0
    assert Clouds(hours, less).left == 0.5
    assert Clouds(OneYear(1.0, 0.0, 1.0), more).left == 1.0
