"""Holds: a setting found so that a result is met."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.errors import RequestError
from treatsim.flowsheet.hold import Hold, operate


def line(**pump):
    units = [
        plant.unit("feed_pump", "pump", **pump),
        plant.unit("hose"),
        plant.unit("throttle_valve", "valve"),
        plant.unit("uv_reactor", "uv"),
    ]
    return plant.sheet(units, "pump > hose > valve > uv > tank")


def test_the_speed_for_a_flow():
    hold = Hold("pump.speed", "product.flow", "6 m3/h")
    result = operate(line(), 1, (hold,))
    assert result.solved[0], result.reason()
    assert_allclose(result.value("product.flow").value, [6.0 / 3600], rtol=1e-9)
    speed = result.value("pump.speed").value
    back = operate(line(speed=speed))
    assert_allclose(back.value("product.flow").value, [6.0 / 3600], rtol=1e-9)


def test_a_hold_over_points():
    rise = np.array([0.0, 4.0, 12.0])
    units = [plant.unit("feed_pump", "pump"), plant.unit("hose", rise=rise)]
    sheet = plant.sheet(units, "pump > hose > tank")
    hold = Hold("pump.speed", "product.flow", 1.5e-3)
    result = operate(sheet, 3, (hold,))
    assert result.solved.all()
    assert_allclose(result.value("product.flow").value, np.full(3, 1.5e-3), rtol=1e-9)
    speed = result.value("pump.speed").value
    assert np.all(np.diff(speed) > 0)
    for point in range(3):
        units = [plant.unit("feed_pump", "pump"), plant.unit("hose", rise=rise[point])]
        alone = operate(plant.sheet(units, "pump > hose > tank"), 1, (hold,))
        assert_allclose(alone.value("pump.speed").value, [speed[point]], rtol=1e-8)


def test_a_dose_is_held():
    result = operate(line(), 1, (Hold("pump.speed", "uv.dose_credited", "12 mJ/cm2"),))
    assert result.solved[0], result.reason()
    assert_allclose(result.value("uv.dose_credited").value, [120.0], rtol=1e-8)


def test_out_of_reach_is_told_with_the_nearest():
    rise = np.array([4.0, 60.0, 4.0])
    units = [plant.unit("feed_pump", "pump"), plant.unit("hose", rise=rise)]
    sheet = plant.sheet(units, "pump > hose > tank")
    result = operate(sheet, 3, (Hold("pump.speed", "product.flow", "6 m3/h"),))
    assert_array_equal(result.solved, [True, False, True])
    far = operate(line(), 1, (Hold("pump.speed", "product.flow", "600 m3/h"),))
    assert not far.solved[0]
    for part in ("product.flow = 600 m3/h", "pump.speed", "the nearest is", "at 120 %"):
        assert part in far.reason(), far.reason()


def test_two_holds():
    holds = (
        Hold("pump.speed", "product.flow", "5 m3/h"),
        Hold("valve.flow_coefficient", "valve.pressure_drop", "0.3 bar"),
    )
    for order in (holds, holds[::-1]):
        result = operate(line(), 1, order)
        assert result.solved[0], result.reason()
        assert_allclose(result.value("product.flow").value, [5.0 / 3600], rtol=1e-8)
        assert_allclose(result.value("valve.pressure_drop").value, [3e4], rtol=1e-7)


@pytest.mark.parametrize(
    ("hold", "words"),
    [
        (Hold("punp.speed", "product.flow", 1e-3), 'no unit "punp"'),
        (Hold("pump.sped", "product.flow", 1e-3), 'no number "sped"'),
        (Hold("uv.emission", "product.flow", 1e-3), 'no number "emission"'),
        (Hold("uv.tanks_in_series", "product.flow", 1e-3), 'no number "tanks_in_series"'),
        (Hold("pump.speed", "product.flw", 1e-3), "near: product.flow"),
        (Hold("pump.speed", "product.flow", "3 bar"), "no unit of volume flow"),
        (Hold("pump.best_flow", "product.flow", 1e-3), "needs a value to start from"),
    ],
)
def test_what_is_refused(hold, words):
    with pytest.raises(RequestError, match=words):
        operate(line(), 1, (hold,))


def test_a_trial_that_does_not_fit_the_unit_is_passed_over():
    """On the way the rated head would rise above the shut-off head, which is refused."""
    rise = np.array([4.0, 30.0, 6.0])
    units = [plant.unit("feed_pump", "pump", rated_head=37.0), plant.unit("hose", rise=rise)]
    sheet = plant.sheet(units, "pump > hose > tank")
    result = operate(sheet, 3, (Hold("pump.rated_head", "product.flow", "7 m3/h"),))
    np.testing.assert_array_equal(result.solved, [True, False, True])
    assert "cannot be reached by pump.rated_head" in result.reason(1)
    assert_allclose(result.value("product.flow").value[[0, 2]], np.full(2, 7 / 3600), rtol=1e-8)


def test_a_setting_that_no_unit_may_have_is_not_tried_at_the_cost_of_the_run():
    """The captured mass has a bound of its own, beyond which the element is closed."""
    units = [
        plant.unit("feed_pump", "pump"),
        plant.unit("hose"),
        plant.unit("cartridge_filter", "bags", loading_exponent=2.0),
    ]
    sheet = plant.sheet(units, "pump > hose > bags > tank")
    result = operate(sheet, 1, (Hold("bags.captured_mass", "bags.pressure_drop", "0.5 bar"),))
    assert result.solved[0], result.reason()
    assert_allclose(result.value("bags.pressure_drop").value, [5e4], rtol=1e-7)
