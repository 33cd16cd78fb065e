"""Cartridge filter: clean loss, load, capture."""

from __future__ import annotations

import math

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.errors import RequestError
from treatsim.operations.cartridge_filter import loaded_resistance


def unit(**changes):
    return plant.unit("cartridge_filter", "bags", **changes)


def drop(flow=2e-3, **changes):
    outcome = unit(**changes).evaluate(inlet=plant.stream(flow))
    return -np.asarray(outcome.outlets["outlet"].pressure)


def test_a_clean_element_loses_by_viscosity_and_velocity():
    share = 1e-3
    quadratic = 1200.0 * 3600.0**2
    expected = plant.stream().viscosity * 1.6e10 * share + quadratic * share**2
    assert_allclose(drop(captured_mass=0.0), expected, rtol=1e-9)


def test_cold_water_loses_more():
    warm, cold = plant.stream(), plant.stream(temperature=275.15)
    clean = unit(captured_mass=0.0, quadratic_loss=0.0)
    ratio = (
        clean.evaluate(inlet=cold).outlets["outlet"].pressure
        / clean.evaluate(inlet=warm).outlets["outlet"].pressure
    )
    assert_allclose(ratio, cold.viscosity / warm.viscosity, rtol=1e-9)


@pytest.mark.parametrize("exponent", [0.0, 0.5, 1.0, 1.5, 2.0])
def test_the_blocking_law_meets_both_ends(exponent):
    ends = loaded_resistance(4e9, np.array([0.0, 0.25]), 0.25, 12.0, exponent)
    assert_allclose(ends, [4e9, 48e9], rtol=1e-9)


def test_cake_is_linear_and_a_depth_element_exponential():
    half = loaded_resistance(1.0, 0.5, 1.0, 9.0, np.array([0.0, 1.0]))
    assert_allclose(half, [5.0, 3.0], rtol=1e-12)


def test_twice_the_elements_share_the_flow():
    assert_allclose(drop(4e-3, elements=4), drop(2e-3, elements=2), rtol=1e-12)


@pytest.mark.parametrize("share", [0.0, 0.8, 1.0])
def test_capture(share):
    water = plant.stream()
    outcome = unit(capture_fraction=share, turbidity_removal=share).evaluate(inlet=water)
    out = outcome.outlets["outlet"]
    assert_allclose(out.contents["suspended_solids"], 0.02 * (1 - share), rtol=1e-12)
    assert_allclose(out.contents["turbidity"], 14.0 * (1 - share), rtol=1e-12)
    assert_allclose(outcome.added["suspended_solids"], -0.02 * share * water.flow, rtol=1e-12)
    assert out.contents["absorption"] == water.contents["absorption"]


def test_life_is_what_is_left_over_what_arrives():
    details = unit().evaluate(inlet=plant.stream()).details()
    expected = (0.25 - 0.06) / (0.8 * 0.02 * 6.8 / 3600 / 2)
    assert_allclose(details.values["hours_by_mass"].value, expected, rtol=1e-9)


def test_clear_water_never_fills_it():
    solids = np.array([0.0, 0.02])
    details = unit().evaluate(inlet=plant.stream(suspended_solids=solids)).details()
    assert_array_equal(np.isinf(details.values["hours_by_mass"].value), [True, False])


def test_criteria():
    water = plant.stream(np.array([6.8, 11.0, 20.0]) / 3600)
    details = unit(captured_mass=0.2).evaluate(inlet=water).details()
    pressure, flow, load = details.limits
    assert_array_equal(flow.meets, [True, True, False])
    assert_array_equal(pressure.meets, [True, False, False])
    assert pressure.binding_input == "bags.captured_mass"
    assert load.meets


def test_a_full_element_is_not_met():
    full = unit(captured_mass=0.71).evaluate(inlet=plant.stream(1e-5)).details().limits
    assert [limit.key for limit in full if not limit.meets] == ["captured_mass"]


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"elements": 0}, "elements lie"),
        ({"elements": 1.5}, "whole number"),
        ({"terminal_ratio": 1.0}, "a terminal ratio"),
        ({"capture_fraction": 1.2}, "a capture fraction"),
        ({"captured_mass": -0.1}, "a captured mass"),
        ({"loading_exponent": 2.5}, "a loading exponent"),
        ({"loading_exponent": 2.0, "captured_mass": 0.4}, "closed the element"),
    ],
)
def test_what_is_refused(changes, words):
    with pytest.raises(RequestError, match=words):
        unit(**changes)


def test_more_load_always_loses_more():
    losses = [float(drop(captured_mass=m)) for m in (0.0, 0.1, 0.2, 0.3)]
    assert losses == sorted(losses)
    assert math.isfinite(losses[-1])
