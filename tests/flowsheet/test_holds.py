"""Holds: a setting found so that a result is met."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim import cases, quantities
from treatsim.errors import RequestError
from treatsim.flowsheet.hold import MET, Hold, check_hold, operate
from treatsim.safety.verdict import judge

CASES = Path(__file__).parents[2] / "cases"
WELL = "high_pressure_pump.outlet_pressure", "ro.permeate.concentration"


GYPSUM = Path(__file__).parents[2] / "cases/well_sulfate.toml"


def held(name: str, *holds: Hold):
    case = cases.load(CASES / f"{name}.toml")
    return dataclasses.replace(case, holds=holds).solve()


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
    result = operate(line(), 1, (Hold("pump.speed", "uv.dose_credited", "20 mJ/cm2"),))
    assert result.solved[0], result.reason()
    assert_allclose(result.value("uv.dose_credited").value, [200.0], rtol=1e-8)


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
    (failure,) = far.failures
    most = operate(line(speed=1.2)).value("product.flow").value
    assert_allclose(failure.values["reached"].value, most, rtol=1e-6)


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
        (Hold("pump.speed", "product.flow", "-1 m3/h"), "-1 m3/h.*product.flow lies not below 0"),
        (Hold("pump.speed", "product.flow", -1e-3), "product.flow lies not below 0"),
        (Hold("pump.speed", "hose.outlet.salinity", "600 g/kg"), "not above 400 g/kg"),
        (Hold("pump.speed", "product.flow", np.inf), "no number"),
        (Hold("pump.speed", "product.flow", "1" + 400 * "0" + " m3/h"), "no number"),
        (Hold("pump.speed", "pump.outlet.pressure", np.nan), "no number"),
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


def test_a_value_below_the_least_one_is_not_met():
    """Permeate is cleanest near 16.6 bar: less pressure drives less water through the same salt,
    more pressure recovers more and leaves the feed saltier."""
    result = held("brackish_well", Hold(*WELL, "40 mg/L"))
    assert not result.solved[0]
    (failure,) = result.failures
    assert failure.reason.startswith("ro.permeate.concentration = {wanted} cannot be reached by")
    pressures = np.linspace(14e5, 20e5, 121)
    scan = cases.load(CASES / "brackish_well.toml").solve({WELL[0]: pressures})
    least = np.argmin(scan.value(WELL[1]).value)
    assert_allclose(failure.values["reached"].value, scan.value(WELL[1]).value[least], rtol=1e-5)
    assert_allclose(failure.values["at"].value, pressures[least], rtol=0.01)


@pytest.mark.parametrize("pressure", [4.2e5, 21e5])
def test_a_value_that_some_setting_has_is_met(pressure):
    case = cases.load(CASES / "brackish_well.toml")
    wanted = float(case.solve({WELL[0]: np.array([pressure])}).value(WELL[1]).value[0])
    result = held("brackish_well", Hold(*WELL, wanted))
    assert result.solved[0], result.reason()
    assert_allclose(result.value(WELL[1]).value, [wanted], rtol=MET)


def test_what_a_unit_stops_is_no_value_to_hold():
    """Below some 3.7 bar what returns cannot enter again, so that 500 mg/L is only a number."""
    result = held("brackish_well", Hold(*WELL, "500 mg/L"))
    assert not result.solved[0]
    (failure,) = result.failures
    at, reached = (failure.values[name].value for name in ("at", "reached"))
    there = cases.load(CASES / "brackish_well.toml").solve({WELL[0]: at})
    assert there.solved[0], there.reason()
    assert_allclose(there.value(WELL[1]).value, reached, rtol=1e-6)
    assert 0.3 < reached[0] < 0.4


def test_no_hold_is_missed_in_silence():
    """Settings and results as they come; whatever counts as solved is met."""
    asked = [
        ("river", "lift_pump.speed", "product.flow", ("1 m3/h", "5 m3/h", "50 m3/h")),
        ("river", "uv.ageing_factor", "uv.dose_credited", ("1 mJ/cm2", "30 mJ/cm2")),
        ("sea", WELL[0], "ro.recovery", ("5 %", "30 %", "90 %")),
        ("sea", WELL[0], "ro.polarisation_max", ("1.05", "3")),
        ("brackish_well", "concentrate_tee.fraction", WELL[1], ("40 mg/L", "70 mg/L")),
    ]
    solved = 0
    for name, adjust, until, values in asked:
        for wanted in values:
            result = held(name, Hold(adjust, until, wanted))
            if result.solved[0]:
                solved += 1
                target = quantities.read(wanted, result.value(until).quantity)
                assert_allclose(result.value(until).value, target, rtol=MET)
            else:
                (failure,) = result.failures
                assert f"{until} = {{wanted}} cannot be reached by {adjust}" in failure.reason
    assert solved >= 6


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"equals": "-1 m3/h"}, "product.flow lies not below 0 m3/h"),
        ({"equals": "3 bar"}, '"bar" is no unit of volume flow'),
        ({"until": "product.flw"}, 'no result has the address "product.flw"; near: product.flow'),
    ],
)
def test_a_hold_is_checked_when_the_case_is_read(changes, words):
    case = cases.load(CASES / "river.toml")
    row = {"adjust": "lift_pump.speed", "until": "product.flow", "equals": "6 m3/h"}
    data = {**case.data, "hold": [row]}
    assert cases.interpret(data, "river.toml").holds
    with pytest.raises(RequestError) as caught:
        cases.interpret({**data, "hold": [row | changes]}, "river.toml")
    (line,) = caught.value.problems
    assert line.startswith("river.toml: hold.")
    assert words in line


def test_what_the_judging_alone_tells_is_no_fault_when_the_case_is_read():
    for until, equals in (("product.ph", 7.0), ("health.log_credit.virus", 4.0)):
        check_hold(line(), Hold("pump.speed", until, equals))
    for equals in (0.0, "0 m3/h"):  # the least a flow may be; nothing flows then, so no answer
        check_hold(line(), Hold("pump.speed", "product.flow", equals))


@pytest.mark.parametrize(
    ("until", "equals"),
    [("ro.saturation.gypsum", 0.8), ("ro.concentrate.ph", 7.4), ("product.ph", 5.8)],
)
def test_what_the_chemistry_tells_is_held_at_every_point(until, equals):
    case = cases.load(GYPSUM)
    hold = Hold("high_pressure_pump.outlet_pressure", until, equals)
    result = case.changed(holds=(hold,)).solve({"water.temperature": np.array([291.15, 296.15])})
    assert result.solved.all()
    assert_allclose(judge(result).value(until).value, equals, rtol=MET)


def test_a_result_that_even_the_judging_does_not_know_is_refused():
    hold = Hold("high_pressure_pump.outlet_pressure", "ro.saturation.gypsm", 0.8, "here: ")
    with pytest.raises(RequestError, match=r"here: hold\.until: no result"):
        cases.load(GYPSUM).changed(holds=(hold,)).solve()
