"""What the year pays for a start: typed, or of the transient, or refused."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest

from treatsim import cases
from treatsim.errors import NoSolutionError, RequestError
from treatsim.running import start_cost as start_cost_module
from treatsim.running.ro_start import membrane_start
from treatsim.running.start_cost import cost_at_bus, start_cost
from treatsim.running.startup import startup
from treatsim.running.train_curve import curve_of

RIVER, SEA = "cases/river.toml", "cases/sea.toml"


def operated(path=RIVER, **entries):
    case = cases.load(path)
    return cases.interpret({**case.data, "operation": {**case.data["operation"], **entries}}, path)


@cache
def curve(path: str):
    case = cases.load(path)
    return curve_of(case, case.sections["operation"], 365)


def paid(case, inverter=0.9, path=RIVER):
    """Energy at the bus and time of a start: in the case's setting, and along its dial."""
    return cost_at_bus(case, case.sections["operation"], inverter, curve(path))


def at_dial(path: str, setting: float):
    """The start of a case in another setting, of its transient itself."""
    case = cases.load(path)
    unit, _, name = curve(path).dial.partition(".")
    own = case.parameters
    turned = dataclasses.replace(own[unit], **{name: setting})
    return start_cost(case.changed(parameters={**own, unit: turned}))


def test_a_start_that_is_not_typed_is_that_of_the_transient():
    case = cases.load(RIVER)
    told = startup(case)
    energy, time, _ = paid(case)
    assert time == pytest.approx(told.opens)
    assert energy == pytest.approx(told.energy / 0.9)


@pytest.mark.parametrize("path", [RIVER, SEA])
def test_a_start_is_paid_at_the_dial_of_its_hour(path):
    """Between the ends, where nothing was solved for it, as at the ends themselves."""
    case, own = cases.load(path), curve(path)
    energy, time, (places, more_energy, more_time) = paid(case, 0.9, path)
    for share, near in ((0.0, 1e-6), (0.1, 0.02), (0.5, 0.02), (1.0, 1e-6)):
        power = places[0] + share * (places[-1] - places[0])
        setting = float(np.interp(power * 0.9, own.power[0], own.setting[0]))
        truth, _, spent = at_dial(path, setting)
        assert time * np.interp(power, places, more_time) == pytest.approx(truth, rel=near)
        told = energy * np.interp(power, places, more_energy)
        assert told == pytest.approx(spent / 0.9, rel=near)
    assert more_time[0] > 1.0 > more_time[-1]


def test_a_start_that_comes_in_the_setting_of_the_case_alone_counts_a_day_elsewhere(monkeypatch):
    """And at the highest likewise: nothing is counted on that was not seen to come."""
    case, told = cases.load(SEA), start_cost(cases.load(SEA))

    def only_now(turned):
        if turned is not case:
            raise NoSolutionError("never")
        return told

    monkeypatch.setattr(start_cost_module, "start_cost", only_now)
    _, time, (_, _, along) = paid(case, 0.9, SEA)
    assert time * along[0] == pytest.approx(86400.0)
    assert time * along[-1] == pytest.approx(86400.0)


def test_the_dial_ends_where_the_interlock_shuts():
    """The river's flow alarm is at 7.5 m3/h: more than that never comes to the product."""
    own = curve(RIVER)
    most = float(np.interp(own.full[0], own.power[0], own.flow[0])) * 3600
    assert most <= 7.5 * (1 + 1e-6)
    assert most > 7.4
    shut = cases.load(RIVER, {"startup.flow_alarm": "6 m3/h"})  # the case makes 6.8
    with pytest.raises(NoSolutionError, match="the interlock shuts"):
        curve_of(shut, shut.sections["operation"], 365)
    free = cases.load(RIVER, {"startup.flow_alarm": "9 m3/h"})
    wide = curve_of(free, free.sections["operation"], 365)
    assert float(np.interp(wide.full[0], wide.power[0], wide.flow[0])) * 3600 > 7.5


def test_membranes_pay_the_permeate_that_flushed_them_too():
    case = cases.load(SEA)
    told = membrane_start(case)
    time, waste, energy = start_cost(case)
    assert waste == pytest.approx(told.wasted + 0.060)  # the case's water ahead of the membranes
    assert time == pytest.approx(told.opens + 0.060 / told.train.flows("flow", 1.0))
    assert energy > told.energy


def test_what_is_typed_goes_first():
    typed = operated(warm_up="4 min", warm_up_power="225 W", flush="40 L")
    energy, time, (places, more_energy, more_time) = paid(typed)
    own = curve(RIVER)
    for end, share in ((own.low[0], 0), (own.full[0], -1)):
        flushing = 0.040 / float(np.interp(end, own.power[0], own.flow[0]))
        assert time * more_time[share] == pytest.approx(240.0 + flushing)
        spent = (240.0 * 225.0 + flushing * end) / 0.9
        assert energy * more_energy[share] == pytest.approx(spent)
        assert places[share] == pytest.approx(end / 0.9)


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
