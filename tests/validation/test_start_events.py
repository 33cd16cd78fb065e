"""What fails on the way: against closed forms, and every way to pass water under dose unseen."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.correlations.hydraulics.friction import closing_surge, surge_head, velocity
from treatsim.running.schedule import schedule
from treatsim.running.start_events import read_events
from treatsim.running.startup import NOTHING, startup

RIVER = "cases/river.toml"
CLOCK = {"opens_when": "timer", "opening_time": "400 s"}
WATCH = ("sensor_set_point", "flow_alarm", "alarm_delay", "flush_volume")


def river(*events, drop=(), **changes):
    """Run the river case with entries of [startup] changed, and others dropped."""
    case = cases.load(RIVER)
    rows = {name: v for name, v in case.data["startup"].items() if name not in drop} | changes
    return startup(cases.interpret({**case.data, "startup": rows}, RIVER), read_events(events))


@cache
def lamp_out():
    return river("lamp_failure@700s")


def test_behind_a_lamp_that_is_out_the_chamber_is_washed_out_dark():
    """Tanks in series from a geometric profile: Erlang's sum, each term less what survived."""
    run = lamp_out().run
    exposure, flow = run.train.reactors[0].exposure, float(run.flow(700.0))
    n, rate = exposure.tanks, exposure.tanks * flow / exposure.volume
    before = run.courses[-1].states(700.0 - 1e-6)[1:, 0].reshape(n, 3)
    ratio = before[0, 0]
    assert_allclose(before[:, 0], ratio ** np.arange(1, n + 1), rtol=3e-4)  # lamp 0.9999 warm
    time = np.array([1.0, 3.0, 10.0, 30.0])
    terms = [(rate * time) ** j / math.factorial(j) * (1 - before[n - 1 - j, 0]) for j in range(n)]
    told = run.courses[-1].states(700.0 + time)[-3]
    assert_allclose(told, 1 - np.exp(-rate * time) * sum(terms), rtol=1e-5)


def test_what_passes_a_slow_valve_is_the_area_of_a_triangle():
    """Flow times what the valve still lets through after the last good water has passed it."""
    found = river("lamp_failure@700s", valve_time="20 s")
    run = found.run
    bad = next(time for time, good in run.courses[-1].signals["dose"] if not good and time > 700)
    flow = float(run.flow(700.0))
    arrives, shut, travel = bad + 0.012 / flow, 702.0, 20.0
    left = shut + travel - arrives
    assert run.valve.shuts == pytest.approx((shut,))
    assert found.under_dose == pytest.approx(flow * left**2 / (2 * travel), rel=1e-4)
    remedy = run.remedy(run.events[0])
    assert remedy.valve_time == pytest.approx(arrives - shut, abs=1e-6)
    assert remedy.hold_up == pytest.approx(flow * (shut + travel - bad), rel=1e-5)


def test_without_an_interlock_all_passes_from_the_last_good_water_on():
    found = river("lamp_failure@700s", drop=WATCH, **CLOCK)
    run = found.run
    bad = next(time for time, good in run.courses[-1].signals["dose"] if not good and time > 700)
    flow = float(run.flow(700.0))
    assert found.endless
    assert found.under_dose == pytest.approx(flow * (run.end - bad - 0.012 / flow), rel=1e-5)


def test_a_pump_turned_up_ends_at_the_steady_state_of_solve():
    run = river("pump_step@700s").run
    speed = 0.74 * 1.2
    steady = cases.load(RIVER, {"lift_pump.speed": f"{speed * 100} %"}).solve()
    assert_allclose(run.flow(run.end), steady.value("uv.inlet.flow").value, rtol=1e-5)
    assert_allclose(run.dose(run.end), steady.value("uv.dose_credited").value, rtol=1e-4)


def test_surge_of_the_valve_is_that_of_the_hose_and_its_flow():
    sudden, slow, back = river().surge
    flow = cases.load(RIVER).solve().value("uv.inlet.flow").value.item()
    lost = velocity(flow, 0.05).item()
    assert back == pytest.approx(2 * 15.0 / 300.0)
    assert sudden == pytest.approx(surge_head(lost, 300.0), rel=1e-6)
    assert slow == pytest.approx(closing_surge(lost, 300.0, 15.0, 3.0), rel=1e-6)
    assert slow == pytest.approx(2 * 15.0 * lost / (9.80665 * 3.0), rel=1e-6)


NO = {
    "no interlock, lamp": (("lamp_failure@700s",), WATCH, CLOCK),
    "no interlock, pump": (("pump_step@700s",), WATCH, CLOCK),
    "no interlock, dull water": (("dull_water@700s",), WATCH, CLOCK),
    "no interlock, power": (("power_dip@300s",), WATCH, CLOCK),
    "no interlock, lamp out before it opens": (("lamp_failure@100s",), WATCH, CLOCK),
    "sensor slow": (("lamp_failure@700s",), (), {"alarm_delay": "30 s"}),
    "alarm longer than all that is looked at": (
        ("lamp_failure@700s",), (), {"alarm_delay": "6 h"},
    ),
    "valve slower than the hold-up": (("lamp_failure@700s",), (), {"valve_time": "60 s"}),
    "no hold-up": (("lamp_failure@700s",), (), {"hold_up": "0 L"}),
    "set point that sees nothing": (("dull_water@700s",), (), {"sensor_set_point": "10 %"}),
    "slug shorter than the alarm": (
        ("dull_water@700s",), (),
        {"dull_time": "1 s", "dull_transmittance": "30 %", "alarm_delay": "20 s"},
    ),
    "pump before the lamp is warm": (
        (), WATCH, {"pump_delay": "0 s", "opens_when": "timer", "opening_time": "130 s"},
    ),
    "water that stood behind the light": (
        (), WATCH, {**CLOCK, "line_at_start": "full", "opening_time": "151 s"},
    ),
    "hot lamp slower than the clock": (
        ("power_dip@900s",), WATCH, {**CLOCK, "restart_wait": "600 s"},
    ),
    "no flush": ((), (), {"flush_volume": "0 L", "lamp_warm_up": "0 s", "pump_delay": "0 s"}),
}  # fmt: skip


@pytest.mark.parametrize("name", NO)
def test_no_false_zero(name):
    events, drop, changes = NO[name]
    found = river(*events, drop=drop, **changes)
    assert not found.meets
    assert found.under_dose > NOTHING


def test_a_dose_that_full_light_never_gives_is_not_met_whatever_happens():
    case = cases.load(RIVER, {"uv.target": {"organism": "cryptosporidium", "log": 4.0}})
    for event in ("lamp_failure", "power_dip", "pump_step", "dull_water"):
        found = startup(case, read_events([f"{event}@700s"]))
        assert not found.meets
        assert found.under_dose > 0.1


def test_slugs_that_overlap_last_until_the_last_is_over():
    start = cases.load(RIVER).sections["startup"]
    plan = schedule(start, read_events(["dull_water@700s", "dull_water@710s", "dull_water@900s"]))
    assert plan.dull == ((700.0, 740.0), (900.0, 930.0))
