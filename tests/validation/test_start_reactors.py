"""The start of reactors told by their report, and of several in line; what must be a no."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.errors import RequestError
from treatsim.running.start_events import read_events
from treatsim.running.start_train import changes
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
    assert second.line.ahead == pytest.approx(first.line.ahead + first.exposure.volume)
    assert first.line.washed == pytest.approx(changes(10) * second.exposure.volume)
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
    pumped = run.course.pumped(run.end)[0]
    assert through.product + through.waste + run.train.volume == pytest.approx(pumped, rel=1e-6)


def test_reactors_side_by_side_are_refused():
    units = cases.load(RIVER).data["units"]
    more = {
        "second": units["uv"], "split": {"kind": "dividing_tee"},
        "mix": {"kind": "combining_tee"},
    }  # fmt: skip
    links = [
        "strainer > lift_pump > hose > bags > cartridges > split",
        "split.run > uv > mix.run", "split.branch > second > mix.branch", "mix > tank",
    ]  # fmt: skip
    with pytest.raises(RequestError, match="water reaches the product round"):
        startup(river(more, links))
