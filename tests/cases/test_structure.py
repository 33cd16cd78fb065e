"""What a flowsheet leaves open or fixes twice, in a line that names the keys; and a lake's line."""

from __future__ import annotations

import json
import tomllib

import numpy as np
import plant
import pytest
import ro_plant
from command import ROOT, treatsim

from treatsim import cases
from treatsim.errors import CaseError
from treatsim.safety.verdict import judge

WATER = {"kind": "fresh", "temperature": "24 degC", "salinity": "0.3 g/L", "ph": 7.4}
CONTENTS = {"turbidity": "14 NTU", "suspended_solids": "20 mg/L", "uv_transmittance": "86 %"}
FEED = ("feed_pump", {})
HOSE = ("hose", {})
BASIN = ("settling_basin", {})
TANK = ("storage_tank", {})
TEE = ("dividing_tee", {"fraction": "30 %"})
OPEN_TEE = ("dividing_tee", {})
INTAKE = ("intake", {"flow": "2 m3/h", "pressure": "2.5 bar"})
VALVE = ("throttle_valve", {})
OPENED = ("throttle_valve", {"flow_coefficient": "2 m3/h"})
SHARES = ro_plant.SHARES
OPEN = {"high_pressure_pump", "throttle_valve", "dividing_tee"}  # what is left out decides


def displacement(**given):
    return "high_pressure_pump", SHARES | given


def usual(kind: str) -> dict:
    return {} if kind in OPEN else plant.STATES[kind]["parameters"]


def text(value) -> str:
    """Return a value as TOML."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {text(v)}" for key, v in value.items()) + " }"
    return json.dumps(value)


def case_file(folder, links, **units):
    """Write a case of these units, each a kind and what is given beyond its usual state."""
    lines = ['title = "a line, invented"', 'site = { altitude = "210 m" }']
    lines += [f"water = {text(WATER | CONTENTS)}"]
    for name, (kind, given) in units.items():
        lines += [f"[units.{name}]", f'kind = "{kind}"']
        lines += [f"{key} = {text(value)}" for key, value in (usual(kind) | given).items()]
    lines += ["[flowsheet]", f"links = {text(links)}"]
    path = folder / "line.toml"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


BOTH = {"flow": "2 m3/h", "outlet_pressure": "5 bar"}
AIR = "is open to the air, not under pressure"
FAULTS = {
    "displacement pump whose flow is left out behind a feed pump": (
        ["a > b > valve > tank"],
        {"a": FEED, "b": displacement(outlet_pressure="20 bar"), "valve": VALVE},
        ["the flow into a is open, and nothing decides it: give b.flow [m3/h] or valve.flow_coef"],
    ),
    "nothing given to it at all: both told at once": (
        ["a > b > valve > tank"],
        {"a": FEED, "b": displacement(), "valve": VALVE},
        [
            "the flow into a is open, and nothing decides it: give b.flow [m3/h]",
            "b.outlet_pressure is open, and nothing decides it: give b.outlet_pressure [bar]",
        ],
    ),
    "two displacement pumps, both with a flow": (
        ["a > b > valve > tank"],
        {"a": displacement(**BOTH), "b": displacement(**BOTH), "valve": VALVE},
        ["the flow through b is fixed twice, by a.flow and b.flow: leave out a.flow or b.flow"],
    ),
    "displacement pump, basin, feed pump": (
        ["a > basin > b > hose > tank"],
        {"a": displacement(**BOTH), "basin": BASIN, "b": FEED, "hose": HOSE},
        [f"tank {AIR}, but a.flow fixes the flow that b would find", ": leave a.flow out, or put"],
    ),
    "a valve that gives way ahead of a basin": (
        ["a > valve > basin > b > hose > tank"],
        {"a": FEED, "valve": VALVE, "basin": BASIN, "b": FEED, "hose": HOSE},
        ["the flow into a is open, and nothing decides it: give valve.flow_coefficient [m3/h]"],
    ),
    "intake ahead of a feed pump": (
        ["a > b > hose > tank"],
        {"a": INTAKE, "b": FEED, "hose": HOSE},
        [f"tank {AIR}, but a.flow fixes the flow that b would find", "leave a out of the links"],
    ),
    "intake ahead of a pump with a flow": (
        ["a > b > hose > tank"],
        {"a": INTAKE, "b": displacement(flow="2 m3/h"), "hose": HOSE},
        ["the flow through b is fixed twice, by a.flow and b.flow: leave out b.flow"],
    ),
    "intake behind a pump": (
        ["a > b > hose > tank"],
        {"a": FEED, "b": INTAKE, "hose": HOSE},
        ["b (intake) stands for the pump and takes its water from the source: nothing comes befo"],
    ),
    "no pump": (
        ["hose > valve > tank"],
        {"hose": HOSE, "valve": OPENED},
        ["nothing moves the water into hose: put a feed_pump, a high_pressure_pump with its flow"],
    ),
    "a pump without a flow": (
        ["a > hose > tank"],
        {"a": displacement(), "hose": HOSE},
        ["the flow into a is open, and nothing decides it: give a.flow [m3/h]"],
    ),
    "recycle without a combining tee": (
        ["a > hose > tee > tank", "tee.branch > a"],
        {"a": FEED, "hose": HOSE, "tee": TEE},
        ["the water goes round in the loop a > hose > tee > a, and no fresh water can join it"],
    ),
    "recycle into a unit that is fed": (
        ["a > hose > tee > tank", "tee.branch > hose"],
        {"a": FEED, "hose": HOSE, "tee": TEE},
        ["hose.inlet is already fed by a.outlet; a combining_tee ahead of hose joins two flows"],
    ),
    "an end under pressure": (
        ["a > hose > tank"],
        {"a": displacement(**BOTH), "hose": HOSE},
        [f"tank {AIR}, but a.outlet_pressure is given: leave it out, and the line decides it"],
    ),
    "a tank under pressure": (
        ["a > hose > vat"],
        {"a": displacement(**BOTH), "hose": HOSE, "vat": TANK},
        [f"vat {AIR}, but a.outlet_pressure is given: leave it out, and the line decides it"],
    ),
    "flow left out, pressure given: both told": (
        ["a > hose > tank"],
        {"a": displacement(outlet_pressure="5 bar"), "hose": HOSE},
        ["the flow into a is open", f"tank {AIR}, but a.outlet_pressure is given"],
    ),
    "a share that nothing decides": (
        ["a > tee > hose > tank", "tee.branch > outfall"],
        {"a": INTAKE, "tee": OPEN_TEE, "hose": HOSE},
        ["tee.fraction is open, and nothing decides it: give tee.fraction [%]"],
    ),
    "a share given where the pressures decide it": (
        ["a > tee > hose > tank", "tee.branch > outfall"],
        {"a": FEED, "tee": TEE, "hose": HOSE},
        [
            "more is given than can be met: tank and outfall are open to the air, and only the "
            "flow into a is open for that; leave out tee.fraction, or put a throttle_valve ahead "
            "of tank or outfall"
        ],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_is_told_with_its_keys(name, tmp_path):
    links, units, words = FAULTS[name]
    path = case_file(tmp_path, links, **units)
    run = treatsim("solve", path)
    assert (run.status, run.out) == (2, ""), run.err
    for part in words:
        assert part in run.err, run.err
    assert all(line.startswith(f"{path}:") for line in run.lines[:-1])
    told = {tuple(word for word in words if word in line) for line in run.lines[:-1]}
    assert () not in told, run.err  # nothing but what is wrong
    assert run.lines[-1].endswith("nothing was run")


def test_a_fault_hidden_by_one_of_the_other_kind():
    """One value too many here, one too few there: as many equations as open values."""
    units = {"a": FEED, "b": displacement(outlet_pressure="20 bar"), "valve": VALVE,
             "c": displacement(**BOTH), "d": displacement(**BOTH), "end": VALVE}  # fmt: skip
    data = {
        "title": "two lines, invented",
        "site": {"altitude": "0 m"},
        "water": WATER,
        "units": {
            name: {"kind": kind} | usual(kind) | given for name, (kind, given) in units.items()
        },
        "flowsheet": {"links": ["a > b > valve > tank", "c > d > end > outfall"]},
    }  # fmt: skip
    with pytest.raises(CaseError) as caught:
        cases.interpret(data, "two.toml")
    first, second = caught.value.problems
    assert "fixed twice, by c.flow and d.flow" in first
    assert "the flow into a is open" in second


def concentrate(head: dict):
    units = {"pump": head, "ro": ro_plant.vessel("brackish-4in", 2)}
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > outfall"]
    return ro_plant.case(ro_plant.salt(1.0), units, links)


@pytest.mark.parametrize(
    "head",
    [ro_plant.pump(2, 10), {"kind": "intake", "flow": "2 m3/h", "pressure": "9 bar"}],
)
def test_a_concentrate_without_a_valve(head):
    with pytest.raises(CaseError, match="put a throttle_valve ahead of outfall"):
        concentrate(head)


SOUND = {
    "two feed pumps": (["a > hose > b > tank"], {"a": FEED, "hose": HOSE, "b": FEED}),
    "a basin between them": (
        ["a > hose > basin > b > end > tank"],
        {"a": FEED, "hose": HOSE, "basin": BASIN, "b": FEED, "end": HOSE},
    ),
    "a feed pump ahead of a displacement pump": (
        ["a > b > valve > tank"],
        {"a": FEED, "b": displacement(flow="2 m3/h", outlet_pressure="20 bar"), "valve": VALVE},
    ),
    "a basin ahead of it": (
        ["a > hose > basin > b > end > tank"],
        {"a": FEED, "hose": HOSE, "basin": BASIN, "b": displacement(flow="2 m3/h"), "end": HOSE},
    ),
    "an intake, a feed pump and a valve for the rest": (
        ["a > b > valve > tank"],
        {"a": INTAKE, "b": FEED, "valve": VALVE},
    ),
    "a share between two ends": (
        ["a > tee > hose > tank", "tee.branch > end > outfall"],
        {"a": FEED, "tee": OPEN_TEE, "hose": HOSE, "end": HOSE},
    ),
}


@pytest.mark.parametrize("name", SOUND)
def test_what_is_sound_is_solved(name, tmp_path):
    links, units = SOUND[name]
    result = cases.load(case_file(tmp_path, links, **units)).solve()
    assert result.solved[0], result.reason()
    end = result.sheet.wiring.ends["tank"]
    np.testing.assert_allclose(result.streams[end].pressure, 0.0, atol=1.0)


def lake() -> dict:
    """A lake at 2400 m: a pump to a basin, a pump from it, then the river's line with chlorine."""
    data = tomllib.loads((ROOT / "cases/river_chlorine.toml").read_text("utf-8"))
    data["site"]["altitude"] = "2400 m"
    data["water"]["temperature"] = "12 degC"
    units = data["units"]
    units["raw_hose"] = units["hose"] | {"length": "30 m", "rise": "3 m"}
    units["basin"] = {"kind": "settling_basin", **plant.STATES["settling_basin"]["parameters"]}
    units["second_pump"] = units["lift_pump"] | {"speed": "70 %", "suction_lift": "0.5 m"}
    line = "strainer > lift_pump > raw_hose > basin > second_pump > hose > bags > cartridges"
    data["flowsheet"]["links"] = [f"{line} > uv > chlorine > tank"]
    return data


def test_a_lake_with_two_pumps_is_solved():
    result = cases.interpret(lake(), "lake.toml").solve()
    assert result.solved[0], result.reason()
    flow = result.value("second_pump.inlet.flow").value
    np.testing.assert_allclose(result.value("product.flow").value, flow, rtol=1e-9)
    assert (
        result.value("basin.inlet.pressure").value
        > 0
        == result.value("basin.outlet.pressure").value
    )
    assert not [limit.name for limit in judge(result).of_state("not_judged")]
    # thinner air: 101325 (1 - 2.25577e-5 h)^5.25588 Pa at 2400 m is 75.6 kPa (standard atmosphere)
    atmosphere = float(np.asarray(result.streams["strainer", "inlet"].atmosphere))
    np.testing.assert_allclose(atmosphere, 75.63e3, rtol=1e-3)


def test_a_lake_whose_first_pump_is_too_weak_has_no_answer():
    data = lake()
    data["units"]["lift_pump"]["speed"] = "38 %"
    result = cases.interpret(data, "lake.toml").solve()
    assert not result.solved[0]
    assert "does not reach the basin; raise the pump ahead of it" in result.reason()


def test_a_value_given_badly_is_no_value_left_open():
    """Its own fault is told, not that nothing decides the flow."""
    run = treatsim("solve", ROOT / "cases/sea.toml", "--set", "high_pressure_pump.flow=1e9 m3/s")
    assert run.status == 2
    assert "no number of this size" in run.err
    assert "open" not in run.err
