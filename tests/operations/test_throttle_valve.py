"""Throttle valve: by its opening, or by what is left."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.errors import RequestError


def test_flow_coefficient_is_the_flow_at_one_bar():
    unit = plant.unit("throttle_valve", flow_coefficient=2e-3)
    water = plant.stream(2e-3, 3e5)
    drop = 3e5 - unit.evaluate(inlet=water).outlets["outlet"].pressure
    assert_allclose(drop, 1e5 * water.density / 1000.0, rtol=1e-12)


def test_loss_grows_with_the_square_of_the_flow():
    outlets = [
        plant.unit("throttle_valve").evaluate(inlet=plant.stream(flow)).outlets["outlet"].pressure
        for flow in (1e-3, 2e-3)
    ]
    assert_allclose(outlets[1], 4 * outlets[0], rtol=1e-12)


def test_without_a_coefficient_it_takes_what_is_left():
    unit = plant.unit("throttle_valve", flow_coefficient=None, outlet_pressure=4e4)
    outcome = unit.evaluate(inlet=plant.stream(2e-3, np.array([3e5, 1e5])))
    assert_array_equal(outcome.outlets["outlet"].pressure, [4e4, 4e4])
    assert_allclose(outcome.details().values["lost_power"].value, [520.0, 120.0], rtol=1e-12)
    assert unit.anchored == ("outlet",)
    assert plant.unit("throttle_valve").anchored == ()


def test_a_valve_does_not_pump():
    unit = plant.unit("throttle_valve", flow_coefficient=None, outlet_pressure=1e5)
    findings = unit.evaluate(inlet=plant.stream(2e-3, np.array([3e5, 5e4]))).details().findings
    assert_array_equal(findings[0].where, [False, True])
    assert findings[0].blocks
    assert "0.5 bar" in findings[0].message(1)


def test_what_is_refused():
    with pytest.raises(RequestError, match="without a flow coefficient"):
        plant.unit("throttle_valve", flow_coefficient=2e-3, outlet_pressure=1e5)
    with pytest.raises(RequestError, match="a flow coefficient lies above 0"):
        plant.unit("throttle_valve", flow_coefficient=0.0)
