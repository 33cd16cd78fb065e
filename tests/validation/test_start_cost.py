"""What the year pays for a start: typed, or of the transient, or refused."""

from __future__ import annotations

import pytest

from treatsim import cases
from treatsim.errors import NoSolutionError, RequestError
from treatsim.running.ro_start import membrane_start
from treatsim.running.start_cost import cost_at_bus, start_cost
from treatsim.running.startup import startup

RIVER, SEA = "cases/river.toml", "cases/sea.toml"


def operated(path=RIVER, **entries):
    case = cases.load(path)
    return cases.interpret({**case.data, "operation": {**case.data["operation"], **entries}}, path)


def paid(case, inverter=0.9):
    return cost_at_bus(case, case.sections["operation"], inverter, 2e-3, 500.0)


def test_a_start_that_is_not_typed_is_that_of_the_transient():
    case = cases.load(RIVER)
    told = startup(case)
    energy, time = paid(case)
    assert time == pytest.approx(told.opens)
    assert energy == pytest.approx(told.energy / 0.9)


def test_membranes_pay_the_permeate_that_flushed_them_too():
    case = cases.load(SEA)
    told = membrane_start(case)
    time, waste, energy = start_cost(case)
    assert waste == pytest.approx(told.wasted + 0.060)  # the case's water ahead of the membranes
    assert time == pytest.approx(told.opens + 0.060 / told.train.flows("flow", 1.0))
    assert energy > told.energy


def test_what_is_typed_goes_first():
    energy, time = paid(operated(warm_up="4 min", warm_up_power="225 W", flush="40 L"))
    assert time == pytest.approx(240.0 + 20.0)
    assert energy == pytest.approx(240.0 * 225.0 / 0.9 + 20.0 * 500.0)


def test_a_start_that_never_comes_to_its_dose_costs_no_number():
    target = {"organism": "cryptosporidium", "log": 4.0}
    with pytest.raises(NoSolutionError, match="never comes"):
        start_cost(cases.load(RIVER, {"uv.target": target}))
    with pytest.raises(NoSolutionError, match="never stays open"):
        start_cost(cases.load(RIVER, {"startup.sensor_set_point": "101 %"}))
    with pytest.raises(NoSolutionError, match="limit of salt"):
        start_cost(cases.load(SEA, {"startup.salt_limit": "400 mg/L"}))


def test_neither_typed_nor_told_is_refused():
    case = cases.load(RIVER)
    rest = {name: table for name, table in case.data.items() if name != "startup"}
    with pytest.raises(RequestError, match=r"operation\.warm_up and operation\.flush"):
        paid(cases.interpret(rest, RIVER))


def test_half_a_cost_is_refused():
    with pytest.raises(RequestError, match="state both, or neither"):
        operated(warm_up="4 min")
