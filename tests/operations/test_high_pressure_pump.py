"""Displacement pump and booster: power, losses, and what they cannot do."""

import numpy as np
import plant
import pytest
import ro_plant
from numpy.testing import assert_allclose

from treatsim import operations
from treatsim.case_text import Problems, read_record


def unit(kind="high_pressure_pump", flow=2.2, pressure=55.0, **more):
    table = ro_plant.pump(flow, pressure, **more)
    problems = Problems(kind, {})
    rest = {k: v for k, v in table.items() if k != "kind"}
    record = read_record(operations.parameters_class(kind), rest, kind, problems)
    assert not problems.found, problems.found
    return operations.unit_class(kind)(name="pump", parameters=record)


@pytest.mark.parametrize("kind", ["high_pressure_pump", "booster_pump"])
def test_power_by_hand(kind):
    feed = plant.stream(2.2 / 3600, 2e5)
    outcome = unit(kind).evaluate(feed)
    details = outcome.details()
    hydraulic = (55e5 - 2e5) * 2.2 / 3600
    assert_allclose(details.power, hydraulic / (0.80 * 0.85 * 0.95), rtol=1e-12)
    gain = outcome.added["hydraulic_power"]
    assert_allclose(sum(details.losses.values()) + gain, details.power, rtol=1e-12)
    assert_allclose(outcome.outlets["outlet"].pressure, 55e5, rtol=1e-15)
    assert details.findings == []


def test_motor_at_part_load_draws_more():
    feed = plant.stream(2.2 / 3600, 2e5)
    plain, part = (unit(**more).evaluate(feed).details() for more in ({}, {"rated_power": "30 kW"}))
    hydraulic = (55e5 - 2e5) * 2.2 / 3600
    assert part.power > 1.02 * plain.power
    assert_allclose(sum(part.losses.values()) + hydraulic, part.power, rtol=1e-12)


def test_boiling_suction_and_water_that_drives_the_pump():
    for pressure, word in ((-1.0e5, "boils"), (60e5, "above the pump's outlet pressure")):
        findings = unit().evaluate(plant.stream(2.2 / 3600, pressure)).details().findings
        assert [f.blocks for f in findings] == [True]
        assert word in findings[0].message()


def test_given_flow_must_arrive():
    pump = unit()
    assert_allclose(pump.source_flow(), 2.2 / 3600, rtol=1e-15)
    inlet = {"inlet": plant.stream(1.1 / 3600, 2e5)}
    assert_allclose(pump.conditions(inlet, {})["displacement"], -0.5, rtol=1e-12)
    assert pump.free_parameters() == {}
    assert set(unit(pressure=None).free_parameters()) == {"outlet_pressure"}
    assert unit(flow=None).condition_names() == ()


def test_the_pressure_of_a_closed_line_is_found():
    """A valve by its opening behind a pump without a pressure: the pump finds it."""
    units = {"pump": ro_plant.pump(2.0), "valve": ro_plant.VALVE | {"flow_coefficient": "1 m3/h"}}
    result = ro_plant.case(ro_plant.salt(1.0), units, ["pump > valve > tank"]).solve()
    assert result.solved[0]
    density = float(np.asarray(result.streams["pump", "inlet"].density).ravel()[0])
    expected = 1e5 * 2.0**2 * density / 1000
    assert_allclose(ro_plant.number(result, "pump.outlet_pressure"), expected, rtol=1e-9)


def test_slip_by_hand():
    """1 - 0.08 * 1.5 * (55 - 2) / 50 of what is displaced arrives; the shaft drives all of it."""
    slips = {"volumetric_efficiency": "92 %", "slip_pressure": "50 bar", "wear": 1.5}
    share = 1 - 0.08 * 1.5 * 53 / 50
    feed = plant.stream(2.2 * share / 3600, 2e5)
    worn = unit(**slips)
    outcome = worn.evaluate(feed)
    assert_allclose(
        worn.conditions({"inlet": feed}, outcome.outlets)["displacement"], 0, atol=1e-12
    )
    details = outcome.details()
    assert_allclose(details.values["volumetric_efficiency"].value, share, rtol=1e-12)
    assert_allclose(details.values["shaft_power"].value, 53e5 * 2.2 / 3600 / 0.80, rtol=1e-12)
    gain = outcome.added["hydraulic_power"]
    assert_allclose(sum(details.losses.values()) + gain, details.power, rtol=1e-12)


def test_a_pump_worn_out_gives_no_answer():
    slips = {"volumetric_efficiency": "92 %", "slip_pressure": "50 bar", "wear": 13}
    (found,) = unit(**slips).evaluate(plant.stream(2.2 / 3600, 2e5)).details().findings
    assert found.blocks
    assert "slips back" in found.text


@pytest.mark.parametrize(("rated", "state"), [("55 bar", "met"), ("54.9 bar", "not_met")])
def test_a_pressure_above_the_rating_says_no(rated, state):
    details = unit(largest_pressure=rated).evaluate(plant.stream(2.2 / 3600, 2e5)).details()
    (limit,) = details.limits
    assert limit.state() == state
    assert limit.group == "rating"
