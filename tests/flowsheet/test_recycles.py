"""Water that returns: steady states, balances, limits."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.flowsheet.hold import operate

FLOW = 6.8 / 3600
RETURNED = np.array([0.0, 0.1, 0.5, 0.75, 0.9])
LINKS = ("source > mix > filter > split > valve > tank", "split.branch > mix.branch")


def loop(returned, capture=0.6, resistance=1e6):
    return [
        plant.unit("intake", "source", pressure=8e5),
        plant.unit("combining_tee", "mix"),
        plant.unit(
            "cartridge_filter",
            "filter",
            capture_fraction=capture,
            elements=100,
            captured_mass=0.0,
            quadratic_loss=0.0,
            resistance=resistance,
        ),
        plant.unit("dividing_tee", "split", fraction=returned),
        plant.unit("throttle_valve", "valve", flow_coefficient=None),
    ]


def test_flow_in_the_loop_and_composition():
    """Round flow F / (1 - r); solids c (1 - s) / (1 - r + r s ...) from the balance."""
    result = operate(plant.sheet(loop(RETURNED), *LINKS), RETURNED.size)
    assert_allclose(result.value("filter.inlet.flow").value, FLOW / (1 - RETURNED), rtol=1e-9)
    assert_allclose(result.value("product.flow").value, np.full(5, FLOW), rtol=1e-9)
    # mix: F c0 + r N c_out = N c_in, c_out = (1 - s) c_in, N = F / (1 - r)
    inside = 0.02 * (1 - RETURNED) / (1 - RETURNED * 0.4)
    found = result.value("filter.inlet.suspended_solids").value
    assert_allclose(found, inside, rtol=1e-8)
    assert_allclose(
        result.value("filter.inlet.turbidity").value,
        14.0 * (1 - RETURNED) / (1 - RETURNED * 0.35),
        rtol=1e-8,
    )
    assert max(result.balances.values()) <= 1e-9


def test_a_recycle_at_a_pressure_drop_needs_a_pump():
    """What returns has lost pressure and cannot enter again by itself."""
    result = operate(plant.sheet(loop(0.5, resistance=1e10), *LINKS))
    assert not result.solved[0]
    assert "cannot enter" in result.reason()


def test_no_recycle_is_the_open_line():
    result = operate(plant.sheet(loop(0.0), *LINKS))
    units = [u for u in loop(0.0) if u.name in ("source", "filter", "valve")]
    plain = operate(plant.sheet(units, "source > filter > valve > tank"))
    for address in ("filter.inlet.flow", "filter.outlet.suspended_solids", "product.flow"):
        assert_allclose(
            np.squeeze(result.value(address).value), plain.value(address).value, rtol=1e-12
        )


@pytest.mark.parametrize("returned", [0.3, 0.9])
def test_overall_balance(returned):
    """Over the whole plant: in less removed is out."""
    result = operate(plant.sheet(loop(returned), *LINKS))
    removed = -result.outcomes["filter"].added["suspended_solids"]
    out = result.value("product.flow").value * result.value("valve.outlet.suspended_solids").value
    assert_allclose(FLOW * 0.02, removed + out, rtol=1e-8)


def test_a_batch_equals_its_points():
    whole = operate(plant.sheet(loop(RETURNED), *LINKS), RETURNED.size)
    for point, each in enumerate(RETURNED):
        alone = operate(plant.sheet(loop(each), *LINKS))
        for address in ("filter.inlet.flow", "filter.inlet.suspended_solids", "valve.outlet.flow"):
            there = np.broadcast_to(whole.value(address).value, RETURNED.shape)[point]
            assert_allclose(there, np.squeeze(alone.value(address).value), rtol=1e-10)
