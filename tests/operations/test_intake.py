"""Intake: a fixed flow at a fixed pressure."""

from __future__ import annotations

import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.errors import RequestError


def test_it_sets_flow_and_pressure():
    unit = plant.unit("intake")
    assert_allclose(unit.source_flow(), 6.8 / 3600, rtol=1e-12)
    water = plant.stream(unit.source_flow())
    outcome = unit.evaluate(inlet=water)
    assert outcome.outlets["outlet"].pressure == 2.5e5
    assert_allclose(outcome.added["hydraulic_power"], 2.5e5 * 6.8 / 3600, rtol=1e-12)
    assert outcome.outlets["outlet"].contents == water.contents


def test_it_uses_no_electricity():
    assert plant.unit("intake").evaluate(inlet=plant.stream()).details().power == 0.0


def test_it_stands_alone():
    result = __import__("treatsim.flowsheet.hold", fromlist=["operate"]).operate(
        plant.sheet(
            [plant.unit("intake"), plant.unit("throttle_valve", "valve", flow_coefficient=None)],
            "intake > valve > tank",
        )
    )
    assert result.solved[0]
    assert_allclose(result.value("product.flow").value, 6.8 / 3600, rtol=1e-12)


@pytest.mark.parametrize("changes", [{"flow": 0.0}, {"flow": -1.0}, {"pressure": -2e5}], ids=str)
def test_what_is_refused(changes):
    with pytest.raises(RequestError, match=next(iter(changes))):
        plant.unit("intake", **changes)
