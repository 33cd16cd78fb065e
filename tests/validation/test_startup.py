"""The start against closed forms, its own steady state, and what must be told as a no."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.correlations.hydraulics.friction import closing_surge, surge_head
from treatsim.correlations.uv.lamp import warm_up_factor
from treatsim.errors import DomainError, RequestError
from treatsim.running.schedule import Schedule, Turning
from treatsim.running.start_cost import start_cost
from treatsim.running.start_events import read_events
from treatsim.running.startup import NOTHING, startup
from treatsim.running.washout import Arrivals, Light, Watched, wash_out

RIVER = "cases/river.toml"


def river(events=(), **changes):
    """Run the river case; changes are entries of [startup]."""
    case = cases.load(RIVER, {f"startup.{key}": value for key, value in changes.items()})
    return startup(case, read_events(events))


def test_a_lamp_warms_by_first_order(agree):
    agree("SU01_warm_up", warm_up_factor(np.array([0.0, 300.0, 600.0]), 300.0, 0.2))
    found = river()
    time = np.linspace(0.0, 900.0, 7)
    assert_allclose(found.clean.plan.light(time), 1 - 0.8 * 0.05 ** (time / 300), rtol=1e-12)


def test_the_reactor_is_washed_out_as_tanks_in_series(agree):
    """New water carries more absorption: the last tank tells how much of it has come."""
    exposure = replace(cases.load(RIVER).flowsheet().units["uv"].exposure(293.15), tanks=4)
    light = Light(lambda _: 0.0, lambda _: 1.0, lambda _: (0.0, 0.0), True, (1.0, 2.0))
    still = (Turning(0.0, 0.0, 1.0, 1.0),)
    plan = Schedule((Turning(0.0, 0.0, 0.0, 0.0),), still)
    flow = exposure.volume / 10.0
    watched = Watched(None, None, None)
    comes = Arrivals(0.0, ((0.0, "dull"),))
    course = wash_out(exposure, light, plan, lambda _: flow, comes, watched, 40.0, rtol=1e-9)
    new = course.states([5.0, 10.0, 20.0])[-1] - 1.0
    agree("SU02_erlang", new)


def test_surge(agree):
    agree("SU03_slow_valve", closing_surge(1.5, 300.0, 15.0, np.array([0.1, 3.0])))
    assert closing_surge(1.5, 300.0, 15.0, 0.0) == surge_head(1.5, 300.0)
    with pytest.raises(DomainError):
        closing_surge(1.5, 300.0, -1.0, 3.0)


def test_what_a_start_costs(agree):
    data = dict(cases.load(RIVER).data)
    data["hold"] = [{"adjust": "lift_pump.speed", "until": "uv.inlet.flow", "equals": "1.5 m3/h"}]
    changes = {
        "uv.lamp_power": "120 W",
        "startup.pump_ramp": "0 s",
        "startup.lamp_warm_up": "60 s",
        "startup.pump_delay": "180 s",
        "startup.line_at_start": "full",
        "startup.opens_when": "timer",
        "startup.opening_time": "240 s",
        "startup.valve_time": "0 s",
        "startup.hold_up": "0 L",
    }
    solved = cases.interpret(data, RIVER, None, changes).solve()
    power = solved.value("energy.lift_pump.power").value.item()
    changes["lift_pump.electronics"] = f"{500 - power + 12} W"
    seconds, volume, energy = start_cost(cases.interpret(data, RIVER, None, changes))
    agree("L02_start_cost", [energy / 3.6e6, volume * 1e3])
    assert seconds == pytest.approx(240.0)


@pytest.mark.parametrize("event", ["", "power_dip@600s", "dull_water@600s"])
def test_its_end_is_the_steady_state_of_solve(event):
    found = river([event] if event else [])
    steady = cases.load(RIVER).solve()
    run = found.run
    assert_allclose(run.flow(run.end), steady.value("uv.inlet.flow").value, rtol=1e-9)
    assert_allclose(run.dose(run.end), steady.value("uv.dose_credited").value, rtol=1e-6)


@pytest.mark.parametrize("kind", ["lamp_failure", "power_dip", "pump_step", "dull_water"])
def test_no_water_is_lost(kind):
    run = river([f"{kind}@600s"]).run
    pumped = run.courses[-1].states(run.end)[0].item()
    through = run.passage()
    held = run.train.volume
    assert through.product + through.waste + held == pytest.approx(pumped, rel=1e-6)
    assert run.clocks["flow"].pumped(run.end) == pytest.approx(pumped, rel=1e-6)


def test_steps_of_the_integrator_do_not_matter():
    case, events = cases.load(RIVER), read_events(["dull_water@600s"])
    coarse, fine = (startup(case, events, rtol=rtol) for rtol in (1e-6, 1e-10))
    assert coarse.clean.met == pytest.approx(fine.clean.met, rel=1e-5)
    assert coarse.under_dose == pytest.approx(fine.under_dose, rel=1e-3)


def test_a_valve_slower_than_the_hold_up_lets_water_under_dose_pass():
    event = ["lamp_failure@600s"]
    found = river(event)
    assert found.meets
    remedy = found.run.remedy(found.run.events[0])
    slow = river(event, valve_time=f"{remedy.valve_time * 1.5} s")
    assert not slow.meets
    assert slow.under_dose > 1e-4
    just = river(event, valve_time=f"{remedy.valve_time * 0.9999} s")
    assert just.under_dose <= NOTHING
    over = river(event, valve_time=f"{remedy.valve_time * 1.01} s")
    assert over.under_dose > NOTHING
    assert river(event, hold_up=f"{remedy.hold_up * 1000 * 1.0001} L").under_dose <= NOTHING
    assert river(event, hold_up=f"{remedy.hold_up * 1000 * 0.99} L").under_dose > NOTHING


def test_a_step_of_the_pump_that_no_alarm_sees_has_no_end():
    case = cases.load(RIVER)
    data = {**case.data, "startup": {**case.data["startup"]}}
    del data["startup"]["flow_alarm"]
    found = startup(cases.interpret(data, RIVER), read_events(["pump_step@600s"]))
    assert not found.meets
    assert found.endless
    assert found.run.remedy(found.run.events[0]).valve_time is None


@pytest.mark.parametrize("line", ["full", "empty"])
def test_a_hold_up_that_stood_overnight_is_under_dose(line):
    """What stands behind the light at first was never lit: none of it may pass."""
    lit = {"line_at_start": line, "pump_delay": "600 s", "valve_time": "0 s"}
    clock = {"opens_when": "timer", "opening_time": "600 s"}
    found = river(**lit, **clock)
    if line == "full":
        assert found.before_met == pytest.approx(0.012, rel=1e-4)
        assert found.under_dose == pytest.approx(0.012, rel=1e-4)
    assert not found.meets or line == "empty"


def test_a_clock_that_opens_too_early_is_no():
    assert not river(opens_when="timer", opening_time="252 s").meets
    assert river(opens_when="timer", opening_time="340 s").meets


def test_a_lamp_that_never_reaches_the_set_point_never_opens():
    found = river(sensor_set_point="101 %")
    assert not np.isfinite(found.opens)
    assert not found.meets


def test_a_dose_out_of_reach_is_never_met():
    found = startup(cases.load(RIVER, {"uv.target": {"organism": "cryptosporidium", "log": 4.0}}))
    assert not np.isfinite(found.clean.met)
    assert not found.meets


def test_without_a_target_nothing_is_judged():
    case = cases.load(RIVER)
    units = {name: dict(table) for name, table in case.data["units"].items()}
    del units["uv"]["target"]
    found = startup(cases.interpret({**case.data, "units": units}, RIVER))
    assert not found.judged
    assert found.clean.passage().under_dose is None


def test_bad_events_are_one_line_each():
    with pytest.raises(RequestError) as caught:
        read_events(["dull@600s", "lamp_failure@600", "lamp_failure@-3s", "foo"])
    lines = caught.value.problems
    assert len(lines) == 4
    assert "known: lamp_failure, power_dip, pump_step, dull_water" in lines[0]
    assert "a unit is missing" in lines[1]
    assert "between 0 s and 24 h" in lines[2]
    assert "write KIND@TIME" in lines[3]


def test_what_an_event_needs_is_asked_for_by_name():
    case = cases.load(RIVER)
    data = {**case.data, "startup": {**case.data["startup"]}}
    del data["startup"]["dip_time"]
    with pytest.raises(RequestError, match=r"startup\.dip_time is missing"):
        startup(cases.interpret(data, RIVER), read_events(["power_dip@600s"]))
