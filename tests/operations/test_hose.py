"""Hose: friction, fittings, height."""

from __future__ import annotations

import math

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import RequestError
from treatsim.operations.hose import GRAVITY


def drop(water, **changes):
    outcome = plant.unit("hose", **changes).evaluate(inlet=water)
    return water.pressure - outcome.outlets["outlet"].pressure


def test_laminar_flow_has_a_closed_form():
    water = plant.stream(2e-5)
    expected = 128 * water.viscosity * 15.0 * 2e-5 / (math.pi * 0.05**4)
    assert_allclose(drop(water, rise=0.0, fittings=0.0), expected, rtol=1e-6)


def test_fittings_and_height_add():
    water = plant.stream(2e-3)
    plain = drop(water, rise=0.0, fittings=0.0)
    velocity = 2e-3 / (math.pi / 4 * 0.05**2)
    kinetic = water.density * velocity**2 / 2
    assert_allclose(drop(water, rise=0.0, fittings=7.0) - plain, 7 * kinetic, rtol=1e-9)
    static = water.density * GRAVITY * 6.0
    assert_allclose(drop(water, rise=6.0, fittings=0.0) - plain, static, rtol=1e-9)


def test_no_length_no_loss():
    assert drop(plant.stream(2e-3), length=0.0, rise=0.0, fittings=0.0) == 0.0


def test_still_water_feels_height_only():
    water = plant.stream(0.0)
    assert_allclose(drop(water), water.density * GRAVITY * 4.0, rtol=1e-12)


def test_downhill_gains_pressure():
    assert drop(plant.stream(1e-4), rise=-4.0) < 0


def test_two_hoses_in_a_row_are_one():
    water = plant.stream(2e-3, 5e5)
    half = plant.unit("hose", length=7.5, rise=2.0, fittings=2.5)
    middle = half.evaluate(inlet=water).outlets["outlet"]
    end = half.evaluate(inlet=middle).outlets["outlet"]
    assert_allclose(water.pressure - end.pressure, drop(water), rtol=1e-12)


def test_details_agree_with_the_stream():
    water = plant.stream(2e-3, 2e5)
    outcome = plant.unit("hose").evaluate(inlet=water)
    values = outcome.details().values
    total = values["friction_loss"].value + values["static_loss"].value
    assert_allclose(water.pressure - outcome.outlets["outlet"].pressure, total, rtol=1e-12)
    assert_allclose(values["lost_power"].value, values["friction_loss"].value * 2e-3, rtol=1e-12)


def test_a_sucked_hose_closes():
    low = plant.unit("hose").evaluate(inlet=plant.stream(2e-3, 0.0)).details()
    assert [f.blocks for f in low.findings] == [False]
    assert "spiral hose" in low.findings[0].message()
    assert not plant.unit("hose").evaluate(inlet=plant.stream(2e-3, 3e5)).details().findings


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"bore": 0.0}, "a bore lies above 0 mm"),
        ({"length": -1.0}, "a length"),
        ({"roughness": 0.003}, "no pipe"),
        ({"rise": 501.0}, "a rise"),
        ({"fittings": -0.1}, "fittings lie"),
        ({"bore": np.array([0.05, np.nan])}, "a bore"),
    ],
)
def test_what_is_refused(changes, words):
    with pytest.raises(RequestError, match=words):
        plant.unit("hose", **changes)
