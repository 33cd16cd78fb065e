"""Settling basin: what sinks faster than the water rises."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.errors import RequestError


def unit(**changes):
    return plant.unit("settling_basin", "basin", **changes)


def capture(flow=2e-3, **changes):
    details = unit(**changes).evaluate(inlet=plant.stream(flow)).details()
    return np.asarray(details.values["solids_captured"].value)


def test_equal_grains_in_one_stirred_tank():
    """One size, one tank: the share is v / (v + Q/A), with Stokes' velocity."""
    size, water = 10e-6, plant.stream()
    velocity = (2650 - water.density) * 9.80665 * size**2 / (18 * water.viscosity)
    expected = velocity / (velocity + 2e-3 / 12.0)
    found = capture(median_size=size, size_deviation=1.0001, tanks_in_series=1)
    assert_allclose(found, expected, rtol=1e-3)  # drag slightly above Stokes


def test_limits():
    assert capture(1e-12) > 1 - 1e-6
    assert capture(1e3) < 1e-3
    assert capture(particle_density=1000.0, median_size=1e-7) < 1e-3


def test_more_area_more_tanks_and_coarser_grains_catch_more():
    assert capture(plan_area=24.0) > capture(plan_area=12.0)
    assert capture(tanks_in_series=8) > capture(tanks_in_series=1)
    assert capture(median_size=40e-6) > capture(median_size=20e-6)


def test_arriving_pressure_is_lost():
    outcome = unit().evaluate(inlet=plant.stream(2e-3, np.array([0.0, 1e5])))
    assert_array_equal(outcome.outlets["outlet"].pressure, [0.0, 0.0])
    assert_allclose(outcome.added["hydraulic_power"], [0.0, -200.0], rtol=1e-12)
    assert unit().anchored == ("outlet",)


def test_water_must_arrive():
    details = unit().evaluate(inlet=plant.stream(2e-3, np.array([0.0, -1e4]))).details()
    assert_array_equal(details.findings[0].where, [False, True])
    assert details.findings[0].blocks


def test_scour():
    rows = unit(depth=0.1, width=0.1).evaluate(inlet=plant.stream(2e-3)).details().limits
    assert not rows[0].meets
    assert rows[0].binding_input == "basin.width"
    assert unit().evaluate(inlet=plant.stream(2e-3)).details().limits[0].meets


def test_hold_up_time():
    details = unit().evaluate(inlet=plant.stream(2e-3)).details()
    assert_allclose(details.values["hold_up_time"].value, 12.0 / 2e-3, rtol=1e-12)


@pytest.mark.parametrize(
    "changes",
    [
        {"plan_area": 0.0},
        {"depth": -1.0},
        {"tanks_in_series": 0},
        {"size_deviation": 1.0},
        {"particle_density": 900.0},
        {"turbidity_removal": 1.5},
    ],
    ids=str,
)
def test_what_is_refused(changes):
    with pytest.raises(RequestError, match=next(iter(changes)).replace("_", " ")):
        unit(**changes)


def test_gravel_in_a_narrow_pit_is_beyond_the_drag_law():
    """Grains of 5 mm fall at a Reynolds number above 800, and at this loading their fall counts."""
    narrow = {"plan_area": 0.01, "median_size": 5e-3, "size_deviation": 1.1}
    (found,) = unit(**narrow).evaluate(inlet=plant.stream(2e-3)).details().excursions
    assert found.worst > found.range.high == 800.0
    for wide in (narrow | {"plan_area": 20.0}, narrow | {"median_size": 50e-6}):
        assert not unit(**wide).evaluate(inlet=plant.stream(2e-3)).details().excursions


@pytest.mark.parametrize(
    ("hours", "share"), [(4.0, 0.6959), (2.0, 0.5863), (1.0, 0.4705), (0.5, 0.3583)]
)
def test_tanks_in_turn_hold_what_an_ideal_basin_holds(hours, share):
    """1 m deep, at rest: as an ideal basin of depth over time. Lognormal mass of 10 um, GSD 3,
    2650 kg/m3, Stokes at 20 degC: closed form of Camp's integral, checked by quadrature (0.001);
    drag above Stokes' holds back a little less of the coarse, which all settles."""
    found = capture(depth=1.0, settling_time=hours * 3600, median_size=10e-6, size_deviation=3.0,
                    particle_density=2650.0)  # fmt: skip
    warm = plant.stream().viscosity / 1.0016e-3  # of the plant's water against 20 degC
    assert_allclose(found, share, atol=0.003 + 0.3 * abs(warm - 1))


def test_a_tank_that_lasts_no_longer_than_the_other_settles_is_told():
    """12 m2 of 1 m at 2 L/s last 1.67 h."""
    for time, meets in ((1.6, True), (1.8, False)):
        batch = unit(depth=1.0, plan_area=12.0, settling_time=time * 3600)
        (row,) = batch.evaluate(inlet=plant.stream(2e-3)).details().limits
        assert row.address == "hold_up_time"
        assert bool(np.all(row.meets)) is meets


def test_at_rest_more_settles_than_flowing_through_the_same_time():
    still = capture(depth=1.0, settling_time=12.0 / 2e-3 * 1.0)
    assert still > capture(depth=1.0, tanks_in_series=3)
