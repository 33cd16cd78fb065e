"""Strainer: velocity heads, blinding."""

from __future__ import annotations

import math

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import RequestError


def drop(flow=2e-3, **changes):
    water = plant.stream(flow)
    outcome = plant.unit("strainer", **changes).evaluate(inlet=water)
    return -np.asarray(outcome.outlets["outlet"].pressure)


def test_a_clean_strainer_loses_its_velocity_heads():
    velocity = 2e-3 / (math.pi / 4 * 0.05**2)
    expected = 2.0 * plant.stream().density * velocity**2 / 2
    assert_allclose(drop(free_area=1.0), expected, rtol=1e-12)


def test_loss_grows_with_blinding_without_limit():
    losses = [float(drop(free_area=f)) for f in (1.0, 0.7, 0.4, 0.1, 0.01)]
    assert losses == sorted(losses)
    assert losses[-1] > 1e3 * losses[0]


def test_loss_grows_with_the_square_of_the_flow():
    assert_allclose(drop(4e-3), 4 * drop(2e-3), rtol=1e-12)


def test_no_loss_at_rest_or_without_a_coefficient():
    assert drop(0.0) == 0.0
    assert drop(loss_coefficient=0.0, free_area=1.0) == 0.0


def test_solids_pass():
    outcome = plant.unit("strainer").evaluate(inlet=plant.stream())
    assert outcome.outlets["outlet"].contents == plant.stream().contents


def test_fast_approach_is_told():
    unit = plant.unit("strainer", screen_area=0.01)
    findings = unit.evaluate(inlet=plant.stream(np.array([1e-3, 2e-3]))).details().findings
    np.testing.assert_array_equal(findings[0].where, [False, True])
    assert "0.2 m/s" in findings[0].message(1)
    assert not findings[0].blocks


@pytest.mark.parametrize(
    "changes",
    [
        {"bore": 0.0},
        {"free_area": 0.0},
        {"free_area": 1.1},
        {"screen_area": 0.0},
        {"loss_coefficient": -1.0},
    ],
    ids=str,
)
def test_what_is_refused(changes):
    with pytest.raises(RequestError, match=next(iter(changes)).replace("_", " ")):
        plant.unit("strainer", **changes)
