"""A reactor held to a set point: what its report guarantees, and where it guarantees nothing."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim import cases, catalogue
from treatsim.errors import RequestError
from treatsim.operations.outcome import at
from treatsim.running.start_events import read_events
from treatsim.running.startup import startup
from treatsim.safety.verdict import judge

# invented; the lower of both doses counts (uvdgm_2006, from memory): 420 over 2.2
STATED = {
    "set_point": 60.0, "sensor_reading": 75.0, "tested_flow_high": 8.0 / 3600,
    "tested_transmittance_low": 0.75, "dose_dull": 460.0, "dose_clear": 420.0,
    "validation_factor": 2.2, "sensor_over_reference": None,
}  # fmt: skip
CLEAR = -100 * np.log(0.90)  # 1/m


def unit(**changes):
    return plant.unit("set_point_uv_reactor", "uv", **(STATED | changes))


def credited(flow=6.8 / 3600, absorption=CLEAR, **changes):
    found = unit(**changes).evaluate(inlet=plant.stream(flow, absorption=absorption)).details()
    return np.asarray(found.values["dose_credited"].value)


def test_the_lower_of_the_two_doses_counts_while_the_set_point_is_held():
    assert_allclose(credited(), 420.0 / 2.2, rtol=1e-12)
    assert_allclose(credited(dose_dull=400.0), 400.0 / 2.2, rtol=1e-12)
    assert_allclose(credited(sensor_reading=60.0), 420.0 / 2.2, rtol=1e-12)
    assert_allclose(credited(sensor_reading=600.0), 420.0 / 2.2, rtol=1e-12)  # bright is no dose
    assert repr(unit()) == "<SetPointUvReactor, uv: sensor_reading = 75 W/m2>"


NO = {
    "sensor below its set point": {"sensor_reading": 59.99},
    "flow above the largest tested": {"flow": 8.01 / 3600},
    "water duller than any tested": {"absorption": -100 * np.log(0.749)},
    "a sensor that reads 1.3 times the reference": {"sensor_over_reference": 1.3},
}


@pytest.mark.parametrize("name", NO)
def test_no_credit(name):
    assert credited(**NO[name]) == 0


def test_a_sensor_within_its_check_counts_as_read():
    """Up to 1.2 it passes, and one that reads too little only costs water."""
    for ratio in (0.8, 1.2):
        assert credited(sensor_over_reference=ratio) > 0
    assert credited(sensor_over_reference=1.3, sensor_reading=78.1) > 0


def test_the_largest_flow_is_the_tested_one_or_none():
    inlet = plant.stream(np.full(2, 1e-3), absorption=CLEAR)
    asked = np.array([420.0 / 2.2, 421.0 / 2.2])
    assert_allclose(unit().largest_flow(inlet, asked, 2), [8.0 / 3600, 0.0])
    assert np.all(unit(sensor_reading=59.0).largest_flow(inlet, asked, 2) == 0)


def river(health=None, start=None, **changes):
    data = dict(cases.load("cases/river.toml").data)
    target = {"organism": "cryptosporidium", "log": 3.0}
    stated = catalogue.load("examples")["set_point_uv_reactor"] | {"target": target} | changes
    data["units"] = {**data["units"], "uv": {"kind": "set_point_uv_reactor", **stated}}
    data["health"] = {**data["health"], **(health or {})}
    data["startup"] = {**data["startup"], "chamber_volume": "25 L", **(start or {})}
    for table in ("uncertainty", "variation"):
        data.pop(table, None)
    return cases.interpret(data, "cases/river.toml")


def test_a_case_says_no_when_its_sensor_does():
    good = judge(river().solve())
    assert at(good.value("uv.dose_credited").value, 0) == pytest.approx(420.0 / 2.2)
    assert good.germs.barriers["uv"].earned("cryptosporidium") == 3.5  # from 15 mJ/cm2 on
    low = judge(river(sensor_reading="59 W/m2").solve())
    assert low.state(0) == "not_met"
    assert low.germs.barriers["uv"].earned("cryptosporidium") == 0.0


def test_its_start_waits_for_the_set_point():
    """75 W/m2 in steady run, 60 at the set point: 80 % of the light, from 20 % at first."""
    at_once = {"pump_ramp": "0 s", "pump_delay": "0 s", "line_at_start": "full"}
    found = startup(river(start=at_once), read_events(["lamp_failure@1200s"]))
    lit = next(time for time, good in found.clean.courses[0].signals["dose"] if good)
    assert lit == pytest.approx(-300.0 / np.log(0.05) * np.log(0.8 / 0.2), rel=1e-6)
    assert found.meets
    slow = {"valve_time": "30 s"}
    assert not startup(river(start=slow), read_events(["lamp_failure@1200s"])).meets


def test_light_that_repairs_bacteria_asks_for_more_dose():
    """4 log of bacteria by 40 mJ/cm2; 2.6 times that where light repairs them (one study)."""
    strong = {"dose_dull": "170 mJ/cm2", "dose_clear": "170 mJ/cm2", "validation_factor": 1.8}
    for kept, most, least in (("dark", 4.0, 4.0), ("daylight", 0.0, 4.0)):
        health = {"treated_water_kept": kept}
        barrier = judge(river(health, **strong).solve()).germs.barriers["uv"]
        assert barrier.earned("bacteria") == most
        bright = strong | {"validation_factor": 1.6}
        assert judge(river(health, **bright).solve()).germs.barriers["uv"].earned(
            "bacteria") == least  # fmt: skip
    assert any("daylight" in text for text in barrier.missing)


def test_what_is_refused():
    with pytest.raises(RequestError, match="nothing beyond 4 log"):
        unit(target={"organism": "virus", "log": 4.5})
