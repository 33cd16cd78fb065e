"""Storage tank: where the product ends."""

from __future__ import annotations

import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import RequestError


def test_filling_time():
    outcome = plant.unit("storage_tank").evaluate(inlet=plant.stream(1e-3))
    assert outcome.outlets == {}
    assert_allclose(outcome.details().values["filling_time"].value, 1000.0, rtol=1e-12)


def test_its_inlet_is_the_product():
    from treatsim.flowsheet.hold import operate

    units = [
        plant.unit("feed_pump", "pump"),
        plant.unit("hose"),
        plant.unit("storage_tank", "tank"),
    ]
    result = operate(plant.sheet(units, "pump > hose > tank"))
    assert result.solved[0]
    assert result.value("product.flow").value == result.value("tank.inlet.flow").value
    assert abs(result.value("tank.inlet.pressure").value) < 1e-3


def test_what_is_refused():
    with pytest.raises(RequestError, match="a volume"):
        plant.unit("storage_tank", volume=0.0)
