"""The start of membranes against closed forms, and what must be told as a no."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from treatsim import cases
from treatsim.errors import RequestError
from treatsim.flowsheet.wiring import connect
from treatsim.running.ro_held import held, state
from treatsim.running.ro_passes import Membranes, Pass, groups_of, joints, membranes_of
from treatsim.running.ro_start import membrane_start, solve_membranes
from treatsim.running.start_flow import Flows, flows
from treatsim.running.start_parameters import StartupParameters
from treatsim.running.suck_back import drawn_back, emptied_after

SEA, TWO = "cases/sea.toml", "cases/sea_two_pass.toml"
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


def steady(start: StartupParameters, made: float, between: float = 0.0, **one) -> Membranes:
    """Return membranes of 35 g/L whose flows are there at once, whatever the dial."""
    count = sum(name.startswith("feed ") for name in one)
    one = {"power": 0.0} | dict.fromkeys(joints(count), 0.0) | one
    curves = {name: lambda share, v=v: np.full(np.shape(share), v) for name, v in one.items()}
    singles = {name: lambda _, v=v: v for name, v in one.items()}
    table = Flows(0.0, 1.0, curves, 0.0, singles, None, 0, np.ones(1))
    passes = (Pass(("ro",), 1e-4, 0.0, 0.02), *[Pass(("more",), 1e-6, 0.02, 0.02)] * (count - 1))
    return Membranes(start, table, made, 35.0, (between,) * (count - 1), passes, 1e6)


def at_once(**entries) -> StartupParameters:
    """Return a start without a ramp or a flush, into 20 L of product."""
    given = {
        "feed_volume": 0.0, "membranes_at_start": "standing", "opens_when": "sensor",
        "salt_limit": 1.0, "flush_volume": 0.0, "alarm_delay": 0.0, "valve_time": 0.0,
    }  # fmt: skip
    return StartupParameters(pump_ramp=0.0, permeate_volume=0.02, **(given | entries))


def test_standing_water_is_washed_out_as_one_mixed_tank(agree):
    """Salt 35 g/L behind the membranes, 0.5 g/L made, in 20 L at 1 L/s: by the exponential."""
    one = {"flow": 1e-3, "feed 0": 3e-3, "load": 3e-3 * 35.0}
    one["salt 0 to 1"] = 1e-3 * 0.5 / 35.0
    found = solve_membranes(steady(at_once(), 0.5, **one))
    agree("SU05_salt_washed_out", [found.met, found.made(found.met) * 1e3])
    assert found.opens == pytest.approx(found.met, rel=1e-6)
    assert found.over_limit == pytest.approx(0.0, abs=1e-9)


def test_two_passes_are_washed_out_as_two_tanks_in_series(agree):
    """35 g/L between and behind; the first pass gives 0.5 g/L, which a second lets through."""
    one = {"flow": 1e-3, "feed 0": 3e-3, "load": 3e-3 * 35.0}
    second = {"feed 1": 1e-3, "salt 0 to 1": 1e-3 * 0.5 / 35.0, "salt 1 to 2": 1e-3}
    found = solve_membranes(steady(at_once(between_volume=0.02), 0.5, 0.5, **one, **second))
    agree("SU07_two_tanks", [found.met])
    assert found.over_limit == pytest.approx(0.0, abs=1e-9)


def test_tanks_in_series_are_washed_out(agree):
    """Membranes that let all through, 35 g/L ahead, between and behind, and pure water comes."""
    start = at_once(feed_volume=0.02, between_volume=0.02)
    one = {"flow": 1e-3, "load": 0.0}
    on = {"feed 0": 1e-3, "feed 1": 1e-3, "salt 0 to 1": 1e-3, "salt 1 to 2": 1e-3}
    found = solve_membranes(steady(start, 1e-3, **one, **on))
    agree("SU08_three_tanks", 1.0 - found.salinity([20.0, 40.0, 60.0]) / 35.0)
    more = on | {"feed 2": 1e-3, "salt 2 to 3": 1e-3}
    four = solve_membranes(steady(start, 1e-3, **one, **more))
    agree("SU10_four_tanks", 1.0 - four.salinity([20.0, 40.0, 60.0]) / 35.0)


@pytest.mark.parametrize("rest", ["flushed", "standing"])
def test_two_passes_come_to_what_the_solved_line_gives(rest):
    """With permeate led round the second pass, and its concentrate back ahead of the first."""
    case = cases.load(TWO, {"startup.membranes_at_start": rest})
    found, result = membrane_start(case), case.solve()
    assert found.salinity(found.end) == pytest.approx(found.salt, rel=1e-3)
    told = result.value("product.concentration").value.item()
    assert found.salt == pytest.approx(told, rel=1e-9)
    ahead, _, _, between = found.course(found.end)
    assert ahead == pytest.approx(result.streams["ro", "feed"].concentration.item(), rel=1e-3)
    assert between == pytest.approx(result.streams["second", "feed"].concentration.item(), rel=1e-3)
    assert found.met > 600 if rest == "standing" else found.met < 60


def test_a_second_pass_is_asked_for_the_water_between():
    case = cases.load(TWO)
    rows = {n: v for n, v in case.data["startup"].items() if n != "between_volume"}
    with pytest.raises(RequestError, match=r"startup\.between_volume is missing"):
        membrane_start(cases.interpret({**case.data, "startup": rows}, TWO))


def test_a_slow_second_pass_that_opens_by_a_clock_is_no():
    clock = {"startup.opens_when": "timer", "startup.opening_time": "300 s"}
    early = membrane_start(cases.load(TWO, {"startup.membranes_at_start": "standing"} | clock))
    assert states(early)["over_limit"] == "not_met"


def test_each_pass_is_held_against_the_water_behind_it():
    found = membrane_start(cases.load(TWO, {"startup.between_volume": "4 L"}))
    assert states(found)["drawn_back_ro"] == "not_met", "1.8 m3/h for 10 s are 5 L"
    assert states(found)["drawn_back_second"] == "met"


def passes_of(*links: str):
    """Return the passes that links of three vessels make."""
    units = cases.load(TWO).flowsheet().units
    kinds = dict.fromkeys(("first", "second", "third"), units["ro"])
    kinds |= {"tee": units["back"], "split": units["split"], "pump": units["high_pressure_pump"]}
    used = {
        name: type(unit)(name=name, parameters=unit.parameters)
        for name, unit in kinds.items()
        if any(name in link for link in links)
    }
    membranes = [name for name in used if name in ("first", "second", "third")]
    return groups_of(connect(used, links), membranes)


@pytest.mark.parametrize(
    ("links", "passes"),
    [
        (("pump > first", "first.concentrate > second", "first.permeate > tee.run",
          "second.permeate > tee.branch", "tee > tank", "second.concentrate > sea"),
         (("first", "second"),)),
        (("pump > split", "split.run > first", "split.branch > second", "first.permeate > tee.run",
          "second.permeate > tee.branch", "tee > tank", "first.concentrate > sea",
          "second.concentrate > shore"), (("first", "second"),)),
        (("pump > first", "first.permeate > second", "second.permeate > tank",
          "first.concentrate > sea", "second.concentrate > shore"), (("first",), ("second",))),
        (("pump > first", "first.permeate > second", "second.permeate > third",
          "third.permeate > tank", "first.concentrate > a", "second.concentrate > b",
          "third.concentrate > c"), (("first",), ("second",), ("third",))),
    ],
    ids=["one behind the other", "side by side", "two passes", "three passes"],
)  # fmt: skip
def test_what_is_a_pass(links, passes):
    assert passes_of(*links) == passes


@cache
def three(**changes):
    """Return a start of the two-pass case with a third pass behind the second, invented."""
    case = cases.load(TWO)
    units = case.data["units"]
    third = {
        "third_pump": {**units["second_pump"], "outlet_pressure": "6 bar"},
        "third": {**units["second"], "elements_in_series": 3},
        "third_valve": units["second_valve"],
        "collect": {"kind": "combining_tee"},
    }
    links = [link for link in case.data["flowsheet"]["links"] if "second.permeate" not in link]
    links[links.index("second.concentrate > second_valve > back.branch")] = (
        "second.concentrate > second_valve > collect.run"
    )
    links += [
        "second.permeate > third_pump > third", "third.permeate > blend.run",
        "third.concentrate > third_valve > collect.branch", "collect > back.branch",
    ]  # fmt: skip
    data = {
        **case.data, "units": {**units, **third},
        "flowsheet": {**case.data["flowsheet"], "links": links},
        "startup": {**case.data["startup"], **changes},
    }  # fmt: skip
    made = cases.interpret(data, TWO)
    return membrane_start(made), made


@pytest.mark.parametrize("rest", ["flushed", "standing"])
def test_three_passes_come_to_what_the_solved_line_gives(rest):
    """What second and third leave behind is led back together; some permeate goes round both."""
    found, case = three(membranes_at_start=rest)
    result = case.solve()
    told = result.value("product.concentration").value.item()
    assert [part.names for part in found.train.passes] == [("ro",), ("second",), ("third",)]
    assert found.salt == pytest.approx(told, rel=1e-9)
    assert found.salinity(found.end) == pytest.approx(told, rel=1e-3)
    last = found.course(found.end)
    for place, name in ((0, "ro"), (3, "second"), (4, "third")):
        salt = result.streams[name, "feed"].concentration.item()
        assert last[place] == pytest.approx(salt, rel=1e-3)
    assert not found.over_limit


def test_a_third_pass_makes_a_clock_that_did_for_two_too_early():
    """Opened as soon as two passes left standing had come under their limit."""
    standing = {"membranes_at_start": "standing", "flush_volume": "0 L"}
    two = membrane_start(cases.load(TWO, {f"startup.{k}": v for k, v in standing.items()}))
    clock = {"opens_when": "timer", "opening_time": f"{two.met} s"}
    early, _ = three(**standing, **clock)
    assert early.met > two.met
    assert states(early)["over_limit"] == "not_met"


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
    assert train.passes[0].back == pytest.approx(water * osmotic * area, rel=1e-9)
    assert train.passes[0].back > result.value("ro.permeate.flow").value.item()


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
