"""Flows that divide and meet again: closed forms."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.flowsheet.hold import operate

K1, K2 = 3e9, 2.4e10  # Pa s2/m6


def parts(**pump):
    return [
        plant.unit("feed_pump", "pump", suction_lift=0.0, linear_share=0.0, **pump),
        plant.unit("dividing_tee", "split", fraction=None),
        plant.resistance("wide", K1),
        plant.resistance("narrow", K2),
    ]


def test_two_branches_that_meet_again():
    """k1 q1^2 = k2 q2^2, so the share of the narrow branch is 1 / (1 + sqrt(k2 / k1))."""
    units = [*parts(), plant.unit("combining_tee", "join")]
    sheet = plant.sheet(
        units, "pump > split > wide > join > tank", "split.branch > narrow > join.branch"
    )
    result = operate(sheet)
    assert result.solved[0], result.reason()
    share = 1 / (1 + np.sqrt(K2 / K1))
    assert_allclose(result.value("split.branch_fraction").value, share, rtol=1e-8)
    together = (K1**-0.5 + K2**-0.5) ** -2
    one = operate(plant.sheet([parts()[0], plant.resistance("r", together)], "pump > r > tank"))
    assert_allclose(result.value("product.flow").value, one.value("product.flow").value, rtol=1e-8)
    assert max(result.balances.values()) <= 1e-12


def test_two_outlets():
    sheet = plant.sheet(
        parts(speed=np.linspace(0.3, 1.2, 5)),
        "pump > split > wide > tank",
        "split.branch > narrow > garden",
    )
    result = operate(sheet, 5)
    assert result.solved.all()
    ratio = result.value("narrow.inlet.flow").value / result.value("wide.inlet.flow").value
    assert_allclose(ratio, np.full(5, np.sqrt(K1 / K2)), rtol=1e-8)
    total = result.value("pump.inlet.flow").value
    apart = result.value("narrow.inlet.flow").value + result.value("wide.inlet.flow").value
    assert_allclose(apart, total, rtol=1e-12)


def test_outlets_at_different_heights():
    """A branch that rises too high runs backwards nowhere: it is told."""
    units = [
        *parts()[:2],
        plant.unit("hose", "low", rise=0.0),
        plant.unit("hose", "high", rise=90.0),
    ]
    sheet = plant.sheet(units, "pump > split > low > tank", "split.branch > high > garden")
    result = operate(sheet)
    assert not result.solved[0]
    (failure,) = result.failures
    assert "would reach garden at {there}, not at 0 bar; raise" in failure.reason
    # at rest: 90 m up, by a pump of 38 m at 74 % speed
    short = (90.0 - 0.74**2 * 38.0) * 9.80665 * 997.3
    assert_allclose(failure.values["there"].value, -short, rtol=1e-2)


@pytest.mark.parametrize("fraction", [0.1, 0.5, 0.9])
def test_a_given_split(fraction):
    """A branch whose share is given must let its pressure go somewhere."""
    units = [
        plant.unit("intake", "source"),
        plant.unit("dividing_tee", "split", fraction=fraction),
        plant.unit("throttle_valve", "a", flow_coefficient=None),
        plant.unit("throttle_valve", "b", flow_coefficient=None),
    ]
    result = operate(plant.sheet(units, "source > split > a > tank", "split.branch > b > drain"))
    assert_allclose(result.value("product.flow").value, (1 - fraction) * 6.8 / 3600, rtol=1e-12)
    assert max(result.balances.values()) <= 1e-12


def test_three_ways():
    units = [
        parts()[0],
        plant.unit("dividing_tee", "one", fraction=None),
        plant.unit("dividing_tee", "two", fraction=None),
        *(plant.resistance(name, k) for name, k in (("a", 1e10), ("b", 4e10), ("c", 9e10))),
    ]
    sheet = plant.sheet(
        units, "pump > one > a > tank", "one.branch > two > b > tap", "two.branch > c > drain"
    )
    result = operate(sheet)
    assert result.solved[0], result.reason()
    flows = [float(np.squeeze(result.value(f"{n}.inlet.flow").value)) for n in "abc"]
    assert_allclose(np.array(flows) / flows[0], [1, 1 / 2, 1 / 3], rtol=1e-8)
