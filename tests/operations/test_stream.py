"""The water at a port."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.water.stream import mixed


def test_flow_and_mass_agree():
    water = plant.stream(2e-3)
    assert_allclose(water.flow, 2e-3, rtol=1e-15)
    assert_allclose(water.mass_flow, 2e-3 * water.density, rtol=1e-15)
    assert_allclose(water.concentration, 0.3, rtol=1e-6)  # as given to the table


def test_changes_merge_contents():
    water = plant.stream().changed(contents={"turbidity": 1.0})
    assert water.contents["turbidity"] == 1.0
    assert water.contents["suspended_solids"] == 0.02


def test_what_crosses_the_port():
    water = plant.stream(2e-3, 3e5)
    rates = water.carried()
    assert_allclose(rates["hydraulic_power"], 600.0, rtol=1e-12)
    assert_allclose(rates["suspended_solids"], 0.02 * 2e-3, rtol=1e-12)
    assert set(rates) == {"mass", "salt", "heat", "hydraulic_power", *water.contents}


def test_mixing_adds_up():
    a = plant.stream(1e-3, 2e5, temperature=280.0, turbidity=1.0)
    b = plant.stream(3e-3, 1e5, temperature=300.0, turbidity=5.0).changed(salinity=0.01)
    both = mixed([a, b], 5e4)
    assert both.pressure == 5e4
    for name, rate in both.carried().items():
        if name != "hydraulic_power":
            assert_allclose(rate, a.carried()[name] + b.carried()[name], rtol=1e-14)


def test_mixing_with_nothing_changes_nothing():
    a = plant.stream(1e-3, 2e5)
    both = mixed([a, a.with_flow(0.0)], 2e5)
    for name, rate in both.carried().items():
        assert_allclose(rate, a.carried()[name], rtol=1e-14)


def test_a_content_one_water_lacks_counts_as_none():
    a = plant.stream(1e-3)
    b = plant.stream(1e-3).changed(contents={"free_chlorine": 2e-3})
    assert_allclose(mixed([a, b], 0.0).contents["free_chlorine"], 1e-3, rtol=1e-12)


@pytest.mark.parametrize("index", [1, np.array([2, 0]), np.array([True, False, True])], ids=str)
def test_taking_points(index):
    water = plant.stream(np.array([1e-3, 2e-3, 3e-3]), turbidity=np.array([1.0, 2.0, 3.0]))
    part = water.take(index)
    assert_array_equal(part.mass_flow, water.mass_flow[index])
    assert_array_equal(part.contents["turbidity"], np.array([1.0, 2.0, 3.0])[index])
    assert part.pressure == water.pressure
