"""The start of reactors told by their report, of several in line or side by side; every no."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from treatsim import cases
from treatsim.correlations.hydraulics.friction import surge_head, velocity
from treatsim.errors import RequestError
from treatsim.report.startup_text import event_rows
from treatsim.running.start_events import read_events
from treatsim.running.start_run import filled
from treatsim.running.start_train import changes
from treatsim.running.start_ways import SOURCE, Ways, arrivals
from treatsim.running.startup import startup

RIVER = "cases/river.toml"
# invented report; per minute and litre
REPORT = {
    "kind": "validated_uv_reactor", "coefficient_a": 3.3, "coefficient_b": -0.62,
    "coefficient_c": 0.95, "coefficient_d": 0.88, "flow_unit": "0.06 m3/h",
    "tested_flow_low": "1 m3/h", "tested_flow_high": "8.5 m3/h",
    "tested_transmittance_low": "60 %", "tested_transmittance_high": "98 %",
    "tested_intensity_low": 0.5, "tested_intensity_high": 1.0, "intensity_ratio": 0.8,
    "validation_factor": 2.0, "lamp_power": "210 W",
    "target": {"organism": "cryptosporidium", "log": 3.0},
}  # fmt: skip
STEADY = {"pump_ramp": "0 s", "pump_delay": "0 s", "line_at_start": "full"}


def river(units=None, links=None, **changed):
    """Return the river case with other units of light, and entries of [startup]."""
    data = dict(cases.load(RIVER).data)
    data["units"] = {**data["units"], **(units or {})}
    data["startup"] = {**data["startup"], **changed}
    if links:
        data["flowsheet"] = {**data["flowsheet"], "links": links}
    for table in ("uncertainty", "variation"):
        data.pop(table, None)
    return cases.interpret(data, RIVER)


def reported(**changed):
    return river({"uv": REPORT}, **{"chamber_volume": "25 L", "flow_alarm": "9 m3/h", **changed})


def in_line(second=None, **changed):
    units = cases.load(RIVER).data["units"]
    links = ["strainer > lift_pump > hose > bags > cartridges > uv > second > tank"]
    return river({"second": {**units["uv"], **(second or {})}}, links, **changed)


def test_the_share_left_of_mixed_tanks_is_that_of_their_closed_form():
    """One tank: exp(-v); two: (1 + 2 v) exp(-2 v)."""
    assert_allclose(np.exp(-changes(1)), 1e-5, rtol=1e-9)
    twice = 2 * changes(2)
    assert_allclose((1 + twice) * np.exp(-twice), 1e-5, rtol=1e-9)
    assert changes(0) == changes(1)


def test_a_report_counts_from_the_light_it_tested_and_the_chamber_washed_out():
    case = reported(**STEADY)
    found = startup(case)
    reactor, flow = found.train.reactors[0], float(found.clean.flow(1.0))
    lit = -300.0 / np.log(0.05) * np.log(0.8 / (1 - 0.5 / 0.8))  # S/S0 of 0.5, from 20 %
    assert reactor.credited > reactor.required  # else the light would be late for another reason
    after = (changes(1) * 0.025 + 0.012) / flow
    dose = float(reactor.exposure.credited(flow, 0.5 / 0.8 * (1 + 1e-9)))
    assert dose > reactor.required
    assert found.clean.met == pytest.approx(lit + after, rel=1e-6)
    assert not found.run.passage().under_dose


def test_its_end_is_the_steady_state_of_solve():
    found = startup(reported(), read_events(["power_dip@900s"]))
    steady = reported().solve()
    assert_allclose(
        found.run.dose(found.run.end), steady.value("uv.dose_credited").value, rtol=1e-5
    )


def test_flow_below_or_beyond_the_tested_box_has_no_dose():
    credited = startup(reported()).train.reactors[0].exposure.credited
    flows = np.array([0.0, 0.9, 1.1, 8.4, 8.6]) / 3600
    assert (credited(flows, 1.0) > 0).tolist() == [False, False, True, True, False]
    assert (credited(3.0 / 3600, np.array([0.0, 0.6, 0.63])) > 0).tolist() == [False, False, True]


def test_a_pump_turned_beyond_the_box_is_no():
    """No alarm of flow: nothing shuts, and water without credit goes on to the product."""
    case = reported(flow_alarm="50 m3/h", pump_step=1.2)
    found = startup(case, read_events(["pump_step@1200s"]))
    assert float(found.run.flow(found.run.end)) > 8.5 / 3600
    assert not found.meets
    assert found.endless


def test_a_lamp_that_fails_is_dark_at_once():
    found = startup(reported(), read_events(["lamp_failure@1200s"]))
    bad = next(t for t, good in found.run.courses[0].signals["dose"] if not good and t > 1000)
    assert bad == pytest.approx(1200.0, abs=1e-6)
    slow = startup(reported(valve_time="30 s"), read_events(["lamp_failure@1200s"]))
    assert not slow.meets
    assert slow.under_dose > 1e-4


def test_dull_water_at_a_report_is_refused():
    with pytest.raises(RequestError, match="not in a validation report"):
        startup(reported(), read_events(["dull_water@900s"]))


def test_a_report_without_its_chamber_is_refused():
    with pytest.raises(RequestError, match=r"startup\.chamber_volume is missing"):
        startup(river({"uv": REPORT}))


def test_the_second_light_waits_for_the_first_and_for_its_own_chamber():
    one, two = startup(river()), startup(in_line())
    first, second = two.train.reactors
    flow = two.clean.clocks["flow"]
    full = [reactor_full(two.clean, name) for name in ("uv", "second")]
    assert flow.pumped(full[1]) - flow.pumped(full[0]) == pytest.approx(second.exposure.volume)
    good, bad = (two.clean.joins(first, 600.0, good=word) for word in (True, False))
    assert bad == 600.0
    washed = changes(10) * second.exposure.volume
    assert flow.pumped(good) - flow.pumped(600.0) == pytest.approx(washed)
    assert two.clean.met > one.clean.met
    assert two.clean.filled > one.clean.filled
    assert two.meets


def test_one_of_two_lights_short_of_its_dose_is_no():
    for second in ({"ageing_factor": 0.2}, {"target": {"organism": "adenovirus_40", "log": 3.0}}):
        found = startup(in_line(second))
        assert found.train.reactors[0].credited > found.train.reactors[0].required
        assert not found.meets


def test_a_light_without_a_target_leaves_the_start_unjudged():
    units = cases.load(RIVER).data["units"]
    free = {key: value for key, value in units["uv"].items() if key != "target"}
    links = ["strainer > lift_pump > hose > bags > cartridges > uv > second > tank"]
    assert not startup(river({"second": free}, links)).judged


def test_no_water_is_lost_between_two_lights():
    found = startup(in_line(), read_events(["power_dip@900s"]))
    run = found.run
    through = run.passage()
    pumped = run.courses[-1].states(run.end)[0].item()
    assert through.product + through.waste + run.train.volume == pytest.approx(pumped, rel=1e-6)


def beside(second=None, links=None, **changed):
    """Return the river case with a second, smaller branch beside the first, 6 m of thin hose."""
    units = cases.load(RIVER).data["units"]
    hose = {"length": "6 m", "bore": "25 mm", "rise": "0 m", "fittings": 1.0}
    more = {
        "split": {"kind": "dividing_tee"}, "mix": {"kind": "combining_tee"},
        "second": {**units["uv"], **(second or {})}, "side": {**units["hose"], **hose},
    }  # fmt: skip
    branches = links or [
        "split.run > uv > mix.run", "split.branch > second > side > mix.branch", "mix > tank",
    ]  # fmt: skip
    trunk = "strainer > lift_pump > hose > bags > cartridges > split"
    return river(more, [trunk, *branches], **{"flow_alarm": "12 m3/h", **changed})


def reactor_full(run, name: str) -> float:
    """Return when the line is full up to and with a reactor."""
    return filled(run.train, run.clocks, max)[name]


@cache
def one_of_two(*events: str, **changed):
    return startup(beside(**changed), read_events(events))


def test_what_has_flowed_is_the_integral_of_the_flow():
    run = one_of_two("power_dip@600s").run
    for name, clock in run.clocks.items():
        knots = [knot for knot in run.plan.knots if 0 < knot < 640.0]
        ends = [0.0, *knots, 640.0]
        told = sum(
            quad(lambda t, name=name: run.train.flows(name, run.plan.dial(t)), a, b)[0]
            for a, b in pairwise(ends)
        )  # fmt: skip
        assert clock.pumped(640.0) == pytest.approx(told, rel=1e-7)
        for time in (205.0, 300.0, 639.0):
            assert clock.when(clock.pumped(time)) == pytest.approx(time, abs=1e-7)


def test_branches_come_together_by_their_own_flows(agree):
    """60 L at 3 L/s, then 30 L at 1 L/s beside 10 L at 2 L/s: first and last of the water."""
    flows = {"flow": 3.0, "slow": 1.0, "fast": 2.0}
    ways = Ways(
        {"trunk": (SOURCE,), "a": ("trunk",), "b": ("trunk",), "mix": ("a", "b")},
        {"trunk": 60.0, "a": 30.0, "b": 10.0}, {"a": "slow", "b": "fast"}, "mix",
    )  # fmt: skip
    told = [
        arrivals(ways, {SOURCE: 0.0}, ways.pipes, lambda t, v, name: t + v / flows[name], pick)
        for pick in (min, max)
    ]
    agree("SU09_branches", [each["mix"] for each in told])


def test_side_by_side_each_reactor_ends_at_the_steady_state_of_solve():
    found, steady = one_of_two(), beside().solve()
    assert found.meets
    assert sum(reactor.share for reactor in found.train.reactors) == pytest.approx(1.0)
    assert found.train.reactors[1].share < 0.45
    for number, name in enumerate(("uv", "second")):
        told = steady.value(f"{name}.dose_credited").value
        assert_allclose(found.clean.dose(found.clean.end, number), told, rtol=1e-5)
    assert found.clean.met > max(reactor_full(found.clean, name) for name in ("uv", "second"))


def test_surge_is_that_of_the_fastest_hose_by_its_own_flow():
    """15 m of 50 mm for all, 6 m of 25 mm for the second branch alone, at 300 m/s."""
    found = one_of_two()
    flow = float(found.train.flows(found.train.reactors[1].flow, 1.0))
    sudden, _, back = found.surge
    assert sudden == pytest.approx(surge_head(velocity(flow, 0.025), 300.0).item(), rel=1e-9)
    assert back == pytest.approx(2 * 21.0 / 300.0)


def test_one_lamp_of_two_is_out_and_its_water_is_all_unlit():
    """The chamber of the failed lamp is washed out dark, the other stays as it was."""
    found = one_of_two("uv.lamp_failure@900s")
    run, (failed, other) = found.run, found.run.courses
    assert all(good for time, good in other.signals["dose"] if time > 600)
    assert other.signals["reading"][-1][1]
    assert failed.states(run.end)[-3].item() == pytest.approx(1.0, abs=1e-6)
    row = {row.key: row for row in event_rows(found, 0, "si")}["dark_share"]
    share = found.train.reactors[0].share
    assert row.value == share
    assert f"{-np.log10(share):.3g}" in row.remark


def test_the_lamp_that_is_not_named_is_the_one_that_lets_most_pass():
    named = [
        one_of_two(f"{name}.lamp_failure@900s", valve_time="20 s") for name in ("uv", "second")
    ]
    worst = one_of_two("lamp_failure@900s", valve_time="20 s")
    assert named[0].under_dose != pytest.approx(named[1].under_dose, rel=1e-3)
    assert worst.under_dose == max(each.under_dose for each in named)
    assert not worst.meets
    assert worst.run.events[0].unit == "uv"


def test_what_passes_a_slow_valve_is_all_the_water_not_that_of_the_dark_lamp_alone():
    found = one_of_two("second.lamp_failure@900s", valve_time="60 s")
    run, second = found.run, found.train.reactors[1]
    bad = next(t for t, good in run.courses[1].signals["dose"] if not good and t > 800)
    branch, whole = (float(run.train.flows(name, 1.0)) for name in (second.flow, "flow"))
    hose = np.pi / 4 * 0.025**2 * 6.0
    arrives, shut = bad + hose / branch + 0.012 / whole, 902.0 + 60.0
    assert found.under_dose == pytest.approx(whole * (shut - arrives) ** 2 / 120.0, rel=1e-4)


NO = {
    "no interlock": (["second.lamp_failure@900s"], {
        "opens_when": "timer", "opening_time": "400 s", "sensor_set_point": None,
        "flow_alarm": None, "alarm_delay": None, "flush_volume": None}, None),
    "an old lamp in one of two": ([], {}, {"ageing_factor": 0.2}),
    "one of two asked for more": (
        [], {}, {"target": {"organism": "adenovirus_40", "log": 3.0}}),
    "a pump turned up, both faster than the alarm sees": (
        ["pump_step@900s"], {"pump_step": 1.5, "flow_alarm": "50 m3/h"},
        {"fouling_factor": 0.62, "target": {"organism": "cryptosporidium", "dose": "19 mJ/cm2"}}),
    "a clock that opens when the faster branch alone is lit": ([], {
        "opens_when": "timer", "opening_time": "262 s", "valve_time": "0 s"}, None),
}  # fmt: skip


@pytest.mark.parametrize("name", NO)
def test_one_of_two_is_no(name):
    events, changed, second = NO[name]
    case = beside(second, **{k: v for k, v in changed.items() if v is not None})
    if None in changed.values():
        rows = {k: v for k, v in case.data["startup"].items() if k not in changed or changed[k]}
        case = cases.interpret({**case.data, "startup": rows}, RIVER)
    found = startup(case, read_events(events))
    assert not found.meets


def test_water_led_round_both_lights_is_refused():
    links = [
        "split.run > uv > mix.run", "split.branch > side > mix.branch", "mix > second > tank",
    ]  # fmt: skip
    with pytest.raises(RequestError, match="water reaches the product round uv"):
        startup(beside(None, links))


def test_a_lamp_that_nobody_has_and_failures_that_may_be_any_are_refused():
    for events, words in (
        (["third.lamp_failure@900s"], "no lamp named third; known: uv, second"),
        (["lamp_failure@900s", "lamp_failure@950s"], r"such as uv\.lamp_failure@900s"),
    ):
        with pytest.raises(RequestError, match=words):
            one_of_two(*events)
    with pytest.raises(RequestError, match=r'leave "uv\." out'):
        read_events(["uv.power_dip@900s"])
