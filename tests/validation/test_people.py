"""Water for people: quantities, people served, water points, queue and tank."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from treatsim.errors import DomainError
from treatsim.safety import people

LITRE = 1e-3
HOUR = 3600.0


def test_quantities(agree):
    agree("P73_basic_needs", np.array(people.basic_needs()) / LITRE)
    asked = ("outpatient", "inpatient", "cholera_bed", "therapeutic_feeding", "school", "mosque")
    uses = [people.INSTITUTIONS[name] for name in (*asked, "cattle", "goat")]
    assert len(uses) == len(people.INSTITUTIONS)
    agree("P76_institutions_low", np.array([use.low for use in uses]) / LITRE)
    agree("P76_institutions_high", np.array([use.high for use in uses]) / LITRE)


def test_people_served(agree):
    agree("P74_people", people.people_served(4.0, np.array([15.0, 7.5, 3.0]) * LITRE))
    levels = people.people_at_levels(4.0)
    assert [levels[name] for name in ("full", "survival", "drink_only")] == [266, 533, 1333]
    assert people.people_served(3.0, 15 * LITRE) == 200  # exact division, despite round-off
    assert people.people_at_levels(4.0, 0.2)["full"] == 213


def test_water_points(agree):
    rows = [people.WATER_POINTS[name] for name in ("tap", "hand_pump", "open_well")]
    crowd, flow = np.array(rows).T
    agree("P75_points", people.volume_at_point(crowd, flow, 8 * HOUR) / LITRE)
    assert people.water_points(1000, 7.5 * LITRE, 7.5 * LITRE / 60, 8 * HOUR, 250) == 4
    assert people.water_points(1001, 7.5 * LITRE, 7.5 * LITRE / 60, 8 * HOUR, 250) == 5
    assert people.water_points(1000, 20 * LITRE, 7.5 * LITRE / 60, 8 * HOUR, 250) == 6


def test_queue():
    """Twenty litres at 7.5 L/min take 160 s; 44 people at 4 taps take eleven turns."""
    time = people.queue_time(44, 4, 20 * LITRE, 7.5 * LITRE / 60)
    assert_allclose(time, 11 * 160.0, rtol=1e-12, atol=0)
    assert time < people.LONGEST_QUEUE
    assert 20 * LITRE / (7.5 * LITRE / 60) < people.LONGEST_FILLING
    assert people.queue_time(0, 4, 20 * LITRE, 1e-4) == 0


def test_solar_noon_supply_needs_a_quarter_to_half_a_day():
    """Supply 9 to 15 h against demand 6 to 18 h, both even: by hand 3/12 of the day twice."""
    hour = np.arange(24)
    supply = np.where((hour >= 9) & (hour < 15), 12.0 / 6, 0.0) / HOUR
    demand = np.where((hour >= 6) & (hour < 18), 12.0 / 12, 0.0) / HOUR
    tank = people.tank_buffer(np.full(24, HOUR), supply, demand)
    assert_allclose(tank.volume, 6.0, rtol=1e-12, atol=0)  # of 12 m3 a day: half
    assert abs(tank.surplus) < 1e-12 * 12


@given(
    flows=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=2, max_size=24),
    level=st.floats(0.0, 1.0),
)
def test_tank_of_that_size_bridges_the_period(flows, level):
    supply, demand = np.array(flows).T
    demand = demand * (supply.sum() / max(demand.sum(), 1e-9))  # a closed day
    if demand.sum() <= 0:
        return
    hours = np.full(len(flows), HOUR)
    tank = people.tank_buffer(hours, supply, demand)
    path = np.cumsum((supply - demand) * hours)
    start = -min(path.min(), 0.0)
    held = start + path
    slack = 1e-9 * max(tank.volume, supply.sum() * HOUR)
    assert held.min() >= -slack
    assert held.max() <= tank.volume + slack
    assert level * tank.volume <= tank.volume


@given(
    volume=st.floats(0.0, 1e4), each=st.floats(1e-3, 0.1), losses=st.floats(0.0, 0.5),
)  # fmt: skip
def test_people_fit_the_water(volume, each, losses):
    served = people.people_served(volume, each, losses)
    assert people.daily_demand(served, each, losses) <= volume * (1 + 1e-6)
    assert people.daily_demand(served + 1, each, losses) > volume * (1 - 1e-6)
    assert people.people_served(volume, each, min(losses + 0.1, 0.9)) <= served


def test_arrays_equal_single_points():
    supply, demand = np.array([[1.0, 0.0], [2.0, 0.0], [0.0, 1.0]]), np.array([0.5, 0.5])
    together = people.tank_buffer(HOUR, supply, demand)
    for i in range(3):
        alone = people.tank_buffer(HOUR, supply[i], demand)
        assert together.volume[i] == alone.volume
        assert together.surplus[i] == alone.surplus


def test_institutions_carry_their_origin():
    for use in (*people.BASIC_NEEDS.values(), *people.INSTITUTIONS.values()):
        assert 0 < use.low <= use.high < 1
        assert use.known in ("read", "memory")


@pytest.mark.parametrize(
    "call",
    [
        lambda: people.people_served(-1.0, 0.015),
        lambda: people.people_served(1.0, 0.0),
        lambda: people.people_served(1.0, 0.015, 1.0),
        lambda: people.volume_at_point(0, 1e-4, HOUR),
        lambda: people.volume_at_point(100, 1e-4, 25 * HOUR),
        lambda: people.water_points(100, 0.015, 0.0, HOUR, 250),
        lambda: people.queue_time(10, 0, 0.02, 1e-4),
        lambda: people.tank_buffer(HOUR, 1.0, 1.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
