"""The start of membranes against closed forms, and what must be told as a no."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from treatsim import cases
from treatsim.errors import RequestError
from treatsim.running.ro_held import held, state
from treatsim.running.ro_start import Membranes, membrane_start, membranes_of, solve_membranes
from treatsim.running.start_flow import Flows, flows
from treatsim.running.start_parameters import StartupParameters
from treatsim.running.suck_back import drawn_back, emptied_after

SEA = "cases/sea.toml"
STANDING = {"membranes_at_start": "standing"}


@cache
def tables() -> Membranes:
    """Solve the sea case once."""
    return membranes_of(cases.load(SEA))


def sea(**changes):
    """Run the sea case; changes are entries of [startup]."""
    case = cases.load(SEA, {f"startup.{key}": value for key, value in changes.items()})
    return solve_membranes(tables()._replace(start=case.sections["startup"]))


def states(found) -> dict[str, str]:
    return {row.key: row.state for row in held(found)}


def steady(flow: float, salt: float, source: float, start: StartupParameters) -> Membranes:
    """Return membranes whose flow and salt are there at once, whatever the dial."""
    one = {"flow": flow, "salt": flow * salt, "feed": 3 * flow, "power": 0.0}
    curves = {name: lambda share, v=v: np.full(np.shape(share), v) for name, v in one.items()}
    singles = {name: lambda _, v=v: v for name, v in one.items()}
    table = Flows(0.0, 1.0, curves, 0.0, singles, None, 0, np.ones(1))
    return Membranes(start, table, salt, source, 1e-4, 1e6)


def test_standing_water_is_washed_out_as_one_mixed_tank(agree):
    """Salt 35 g/L behind the membranes, 0.5 g/L made, in 20 L at 1 L/s: by the exponential."""
    start = StartupParameters(
        pump_ramp=0.0, permeate_volume=0.02, feed_volume=0.0, membranes_at_start="standing",
        opens_when="sensor", salt_limit=1.0, flush_volume=0.0, alarm_delay=0.0, valve_time=0.0,
    )  # fmt: skip
    found = solve_membranes(steady(1e-3, 0.5, 35.0, start))
    agree("SU05_salt_washed_out", [found.met, found.made(found.met) * 1e3])
    assert found.opens == pytest.approx(found.met, rel=1e-6)
    assert found.over_limit == pytest.approx(0.0, abs=1e-9)


def test_what_osmosis_draws_back(agree):
    agree("SU06_drawn_back", [drawn_back(30.0, 5e-4, 0.06) * 1e3, emptied_after(0.015, 5e-4, 0.06)])

    def fall(_, now):  # the water ahead mixed, what comes through pushes salt out
        return [5e-4 * now[1], -5e-4 * now[1] ** 2 / 0.06]

    told = solve_ivp(fall, (0.0, 30.0), [0.0, 1.0], rtol=1e-10, atol=1e-14).y[0, -1]
    assert_allclose(drawn_back(30.0, 5e-4, 0.06), told, rtol=1e-8)
    assert_allclose(drawn_back(30.0, 5e-4, 0.0), 30.0 * 5e-4)
    assert_allclose(drawn_back(emptied_after(0.02, 1e-4, 0.05), 1e-4, 0.05), 0.02, rtol=1e-12)


def test_first_flow_back_is_permeability_area_and_osmotic_pressure():
    """Five elements of 7.4 m2 or so, one litre a square metre, hour and bar, some 40 bar."""
    train, result = tables(), cases.load(SEA).solve()
    water = result.value("ro.water_permeability").value.item()
    osmotic = result.streams["ro", "concentrate"].osmotic_pressure.item()
    area = result.value("ro.permeate.flow").value.item() / result.value("ro.flux_mean").value.item()
    assert train.back == pytest.approx(water * osmotic * area, rel=1e-9)
    assert train.back > result.value("ro.permeate.flow").value.item()


def test_few_dials_tell_the_ramp_as_many_do():
    case = cases.load(SEA)
    many = flows(case, {"flow": lambda result: result.value("product.flow").value}, nodes=9)
    few, shares = tables().flows, np.linspace(0.6, 1.0, 9)
    assert_allclose(few("flow", shares), many("flow", shares), atol=0.03 * many("flow", 1.0))
    assert few.dead == pytest.approx(many.dead, abs=0.05)


def test_product_and_waste_are_what_was_made():
    found = sea(**STANDING)
    through = found.through(0.0, found.end)
    assert sum(through) == pytest.approx(found.made(found.end), rel=1e-5)


def test_the_demo_holds_all_its_limits():
    assert state(sea()) == "met"


def test_a_limit_below_the_steady_salt_is_never_met():
    found = sea(salt_limit="400 mg/L", **STANDING)
    assert not np.isfinite(found.met)
    assert states(found)["over_limit"] == "not_met"
    flushed = sea(salt_limit="550 mg/L")  # begins under, and does not stay so
    assert states(flushed)["over_limit"] == "not_met"


def test_a_clock_that_opens_on_salt_water_is_no():
    early = sea(opens_when="timer", opening_time="60 s", **STANDING)
    assert states(early)["over_limit"] == "not_met"
    assert early.over_limit > 1e-3
    late = sea(opens_when="timer", opening_time="500 s", **STANDING)
    assert states(late)["over_limit"] == "met"


def test_a_ramp_of_no_time_is_no():
    found = sea(pump_ramp="0 s")
    assert states(found)["pressure_rate"] == "not_met"
    assert states(sea(pump_ramp="60 s"))["pressure_rate"] == "not_met"  # 52 bar in a minute


def test_gain_of_pressure_of_a_pump_set_to_52_bar():
    assert sea(pump_ramp="100 s").pressure_rate == pytest.approx(52e5 / 100, rel=1e-9)


def test_a_late_flush_draws_the_line_dry():
    assert states(sea(flush_wait="60 s"))["drawn_back"] == "not_met"


@pytest.mark.parametrize("entry", ["salt_limit", "flush_wait"])
def test_what_is_not_stated_is_not_judged(entry):
    case = cases.load(SEA)
    rows = {name: value for name, value in case.data["startup"].items() if name != entry}
    if entry == "salt_limit":
        rows |= {"opens_when": "timer", "opening_time": "500 s"}
    start = cases.interpret({**case.data, "startup": rows}, SEA).sections["startup"]
    found = solve_membranes(tables()._replace(start=start))
    assert state(found) == "not_judged"
    assert f"startup.{entry}" in {need for row in held(found) for need in row.needs}


def test_source_led_round_the_membranes_is_refused():
    case = cases.load(SEA)
    units = {
        **case.data["units"],
        "split": {"kind": "dividing_tee", "fraction": "5 %"},
        "valve": {"kind": "throttle_valve"},
        "join": {"kind": "combining_tee"},
    }
    links = [
        "feed_pump > hose > cartridge > split",
        "split.run > high_pressure_pump > ro",
        "ro.permeate > join.run",
        "split.branch > valve > join.branch",
        "join > tank",
        "ro.concentrate > concentrate_valve > outfall",
    ]
    data = {**case.data, "units": units, "flowsheet": {"links": links}}
    with pytest.raises(RequestError, match="round ro"):
        membrane_start(cases.interpret(data, SEA))
