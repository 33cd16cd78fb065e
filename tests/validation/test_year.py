"""Years of a plant: steps, mirrors, real hours, measured villages. Without a check, of all rows:

seven of the ten tables of transitions (SUN_R16), since the paper could not be read and what was
recalled of them does not settle. The energy ledger (T9) is held by the program at every run.
"""

from __future__ import annotations

import numpy as np
import power_plant as plant
import pytest
from numpy.testing import assert_allclose

from treatsim.power import weather
from treatsim.power.array import array_power
from treatsim.power.battery import Bank
from treatsim.power.site import SiteParameters
from treatsim.power.sun import by_month
from treatsim.power.tables import ArrayParameters, SunParameters
from treatsim.running.plant import Needs, Rules, Tank, Train

RAD, KWH, HOUR, DAY = np.pi / 180, plant.KWH, 3600.0, 24


def drawn_sun(latitude: float = 33.0, peak: float = 3000.0, years: int = 4, **more) -> np.ndarray:
    """Power at the bus of an array tilted to the equator, (8760, years). [W]"""
    site = SiteParameters(latitude=latitude * RAD, longitude=0.0, altitude=200.0, time_zone=0.0)
    given = {"monthly_clearness": (0.55,) * 12, "air_temperature": (295.0,) * 12}
    light = weather.sampled_years(site, SunParameters(**(given | more)), years, 5)
    array = ArrayParameters(peak_power=peak, tilt=30 * RAD)
    return array_power(array, site, light).T


def finer(hourly: np.ndarray, per_hour: int) -> np.ndarray:
    """Lay a line through each hour that keeps its mean, and is never below zero."""
    before, after = np.roll(hourly, 1, axis=0), np.roll(hourly, -1, axis=0)
    slope = 0.5 * (after - before)
    slope = np.clip(slope, -2 * hourly, 2 * hourly)
    place = (np.arange(per_hour) + 0.5) / per_hour - 0.5
    parts = hourly[:, None, :] + slope[:, None, :] * place[None, :, None]
    return parts.reshape(-1, hourly.shape[1])


def walked(sun: np.ndarray, name: str, per_hour: int = 1, tank: Tank | None = None):
    own = plant.train(name)
    return plant.dispatch(sun, plant.bank(HOUR / per_hour), own, plant.needs(len(sun), per_hour),
                          plant.rules(own.full), step=HOUR / per_hour, tank=tank)  # fmt: skip


@pytest.mark.parametrize("name", list(plant.TRAINS))
def test_hours_against_ten_minutes(name):
    """The same light in steps of an hour and of ten minutes.

    What a step can change: a start falls up to an hour later or earlier, and a stop likewise, each
    at least power; on the days with a start that is one hour of the least flow at most. The
    reference found 1.2 % in litres for the three trains, and no more is allowed.
    """
    hourly = drawn_sun()[: 120 * DAY]
    fine = finer(hourly, 6)
    assert_allclose(fine.reshape(-1, 6, 4).mean(axis=1), hourly, rtol=1e-12, atol=1e-9)
    coarse, exact = walked(hourly, name), walked(fine, name, 6)
    found, truth = coarse.water.sum(), exact.water.sum()
    own = plant.train(name)
    least = own.flow[0, -1] * own.low / own.full * HOUR
    assert abs(found - truth) <= least * exact.starts.sum()
    assert found == pytest.approx(truth, rel=0.012)


def test_the_southern_year_is_the_northern_one_half_a_year_on():
    """Sites mirrored at the equator, months turned by six: water alike but for the sun's distance.

    The earth is nearest in January: light outside the air differs by up to 7 % between summers, so
    the same clearness gives months that differ by as much, and a year by a few per cent less.
    """
    month = np.array([0.4, 0.42, 0.45, 0.5, 0.55, 0.58, 0.6, 0.58, 0.55, 0.5, 0.45, 0.42])
    north = drawn_sun(40.0, 4000.0, 8, monthly_clearness=tuple(month))
    south = drawn_sun(-40.0, 4000.0, 8, monthly_clearness=tuple(np.roll(month, 6)))
    water = [walked(sun, "brackish").water.sum() for sun in (north, south)]
    assert water[1] == pytest.approx(water[0], rel=0.07)
    halves = [sun.reshape(365, DAY, -1).sum(axis=(1, 2)) for sun in (north, south)]
    june, december = slice(151, 181), slice(334, 364)
    assert halves[0][june].sum() > 1.2 * halves[0][december].sum()
    assert halves[1][december].sum() > 1.2 * halves[1][june].sum()


def test_days_of_storage_of_the_handbooks(agree):
    """Four hours of full sun in the design month, an array as large as the load."""
    clear = (0.5, 0.54, 0.57, 0.58, 0.6, 0.62, 0.62, 0.62, 0.6, 0.57, 0.52, 0.5)
    sun = drawn_sun(28.0, 1000.0, 20, monthly_clearness=clear)
    load = by_month(sun.mean(axis=1).reshape(365, DAY).mean(axis=1)).min()

    def short(days):
        trace = plant.dispatch(
            sun, Bank(days * load * 86400, 1.0, 1.0, 1e6, 1e6, 1.0),
            Train(np.array([[0.0, 1e9]]), np.zeros((1, 2)), 1e9, 1e9),
            Needs(np.full((len(sun), 1), load)), Rules(0.0, np.inf, np.inf, 1e9), step=HOUR,
            first=1.0,
        )  # fmt: skip
        return np.mean(trace.unserved.reshape(365, DAY, -1).sum(axis=1) > 1e-6)

    agree("SUN_L05", [short(3.59), short(9.88)])
    assert short(0.5) > 0.2, "half a day is not enough for any such claim"


def test_a_unit_without_a_battery_on_a_spring_day():
    """1.1 m3 on a spring day in the outback from 5.3 g/L, at 2.3 kWh/m3 (X1).

    That its array had 600 W and followed the sun is from memory, so it is held to a factor of 1.5
    against one that stands still, on the brighter half of October's days at 23 deg S.
    """
    sun = drawn_sun(-23.0, 600.0, 4, monthly_clearness=(0.6,) * 12)
    full = 450.0
    train = Train(np.array([[0.0, full]]), np.array([[0.0, full / (2.3 * KWH)]]), 0.3 * full, full)
    trace = plant.dispatch(sun, Bank(1.0, 1.0, 1.0, 1.0, 1.0, 1.0), train,
                           Needs(np.zeros((len(sun), 1))), Rules(0.0, 0.0, 1.0, 0.3 * full),
                           step=HOUR)  # fmt: skip
    october = trace.water.reshape(365, DAY, -1).sum(axis=1)[273:304]
    bright = october[october > np.median(october)].mean()
    assert 1.1 / 1.5 < bright < 1.1 * 1.5


def test_a_village_that_asks_less_than_its_array_gives():
    """A measured plant at 33 N, 10.5 kWp, 2.1 m3/h when it runs: 20 000 m3 in ten years.

    From memory of its record, as is its tank of 25 m3. The years were limited by what people drew:
    at that demand the tank must stand full, nobody may go short, and most of the array's energy
    must find no use. Brackish water at 2 kWh/m3 and a bank of 10 kWh are assumed.
    """
    asked = 20_000 / 3652.5 / 86400
    sun = drawn_sun(33.0, 10_500.0, 4)
    full = 2.1 * 2.0 * 1000.0
    train = Train(np.array([[0.0, full]]), np.array([[0.0, 2.1 / HOUR]]), 0.5 * full, full,
                  0.1 * full * HOUR, 360.0)  # fmt: skip
    tank = Tank(25.0, asked, 0.8, 12.0)
    trace = plant.dispatch(
        sun, Bank(10 * KWH, 0.9, 0.9, 5e3, 5e3, 1.0), train, Needs(np.full((len(sun), 1), 100.0)),
        Rules(1 * KWH, 3.5 * KWH, 6 * KWH, full), step=HOUR, tank=tank,
    )  # fmt: skip
    assert trace.short.sum() == pytest.approx(0.0, abs=1e-9)
    assert np.median(trace.level[30 * DAY :]) >= 0.8 * 25.0, "it starts again at 80 %"
    assert trace.curtailed.sum() > 0.5 * sun.sum()
    made = trace.water.sum() / 4 / 365
    assert made == pytest.approx(asked * 86400, rel=0.02)


def test_a_village_of_which_only_array_and_litres_are_known():
    """432 W, 1.7 g/L, 0.5 m3 a day by design, at 32 N: 1160 L a day for each kW of array.

    From memory; neither its energy for a litre nor its loads are told, so it holds the order of
    magnitude only: within a factor of three, with 1.5 kWh/m3 assumed.
    """
    water = walked(drawn_sun(32.0), "brackish").water.sum() * 1000 / (4 * 365)
    assert 1160 / 3 < water / 3.0 < 1160 * 3


@pytest.mark.parametrize(("efficiency", "holds"), [(0.85, True), (0.60, False)])
def test_a_house_on_lead_acid_of_which_the_yield_at_its_loads_is_known(efficiency, holds):
    """Measured over 2.5 years: 62 % of what 8 x 130 W gave came to the loads, through lead-acid.

    Its loads by the hour are not told, nor what it had no use for, which is among the 38 %. So with
    loads that take everything, evenly day and night, at least as much must arrive; and of a chain
    with an inverter of 90 % behind a battery that half of the energy passes, not more than 80 %.
    85 % each way is usual for lead-acid (common practice); of 60 % each way it must say no.
    """
    sun = drawn_sun(40.0, 1040.0)
    most = 1e9  # W, of a train that never runs
    none = Train(np.array([[0.0, most]]), np.zeros((1, 2)), most, most)
    needs = Needs(np.full((len(sun), 1), 1.2 * sun.mean()))
    bank = Bank(10 * KWH, efficiency, efficiency, 1e3, 1e3, 0.96 ** (1 / 730))
    trace = plant.dispatch(sun, bank, none, needs, Rules(5 * KWH, 5 * KWH, 10 * KWH, most),
                           step=HOUR, tank=None)  # fmt: skip
    arrived = 0.9 * trace.served.sum() / sun.sum()
    assert bool(0.62 <= arrived <= 0.80) is holds, arrived


def test_no_train_shows_more_than_has_been_seen():
    """Product energy a day for each kW: measured plants without tracking have 1.9 to 4.6 kWh."""
    for name, (energy, *_) in plant.TRAINS.items():
        water = walked(drawn_sun(), name).water.sum() / (4 * 365)
        assert water * energy / 3.0 < 5.0, name
