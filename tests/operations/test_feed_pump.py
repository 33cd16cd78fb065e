"""Feed pump: curve, speed, suction, motor."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.correlations.hydraulics.motor import part_load_efficiency
from treatsim.errors import RequestError
from treatsim.operations.feed_pump import GRAVITY, SUCTION_MARGIN, curve_of, motor_power

HOUR = 3600.0


def pump(**changes):
    return plant.unit("feed_pump", "pump", linear_share=0.0, **changes)


def test_the_curve_passes_its_two_points():
    for share in (0.0, 0.4, 1.0):
        unit = plant.unit("feed_pump", speed=1.0, linear_share=share, suction_lift=0.0)
        water = plant.stream(np.array([1e-12, 9.0 / HOUR]))
        rise = unit.evaluate(inlet=water).outlets["outlet"].pressure
        assert_allclose(rise / (water.density * GRAVITY), [38.0, 29.0], rtol=1e-9)


def test_affinity():
    """At half speed: half the flow, a quarter of the head, an eighth of the shaft power."""
    full, half = (
        pump(speed=s, suction_lift=0.0).evaluate(inlet=plant.stream(s * 2e-3)).details()
        for s in (1.0, 0.5)
    )
    assert_allclose(half.values["head"].value, full.values["head"].value / 4, rtol=1e-12)
    shaft = "shaft_power"
    assert_allclose(half.values[shaft].value, full.values[shaft].value / 8, rtol=1e-12)
    efficiency = "efficiency"
    assert_allclose(half.values[efficiency].value, full.values[efficiency].value, rtol=1e-12)


def test_lift_costs_pressure_but_no_head():
    flat, lifted = (pump(suction_lift=lift).evaluate(inlet=plant.stream()) for lift in (0.0, 3.0))
    weight = plant.stream().density * GRAVITY
    drop = flat.outlets["outlet"].pressure - lifted.outlets["outlet"].pressure
    assert_allclose(drop, 3.0 * weight, rtol=1e-12)
    assert flat.details().power == lifted.details().power


def test_power_and_where_it_goes():
    details = pump(electronics=12.0).evaluate(inlet=plant.stream()).details()
    shaft = details.values["shaft_power"].value
    assert_allclose(details.power, shaft / 0.8 / 0.94 + 12.0, rtol=1e-12)
    gained = pump(electronics=12.0).evaluate(inlet=plant.stream()).added["hydraulic_power"]
    assert_allclose(sum(details.losses.values()) + gained, details.power, rtol=1e-12)
    assert_allclose(details.losses["lift"], 2.0 * plant.stream().mass_flow * GRAVITY, rtol=1e-12)
    assert_allclose(details.losses["drive"], (details.power - 12.0) * 0.06, rtol=1e-12)
    assert all(value > 0 for value in details.losses.values())


def test_part_load():
    """A motor far too large wastes: from fixed and load-squared losses."""
    power = motor_power(np.array([100.0, 400.0]), 0.8, 1.0, 0.0, 400.0)
    efficiency = part_load_efficiency(np.array([0.25, 1.0]), 0.8)
    assert_allclose(power, np.array([100.0, 400.0]) / efficiency, rtol=1e-12)
    assert_allclose(power[1], 500.0, rtol=1e-12)
    assert power[0] > 100.0 / 0.8
    assert_allclose(motor_power(100.0, 0.8, 0.5, 7.0), 100.0 / 0.8 / 0.5 + 7.0, rtol=1e-12)


def test_part_load_at_no_load_stays_finite():
    assert np.all(np.isfinite(motor_power(np.array([0.0, 1e-9]), 0.8, 0.9, 0.0, 400.0)))


def test_suction_criterion():
    outcome = pump(suction_lift=4.0).evaluate(inlet=plant.stream())
    row, *others = outcome.details().limits
    assert not others
    assert row.binding_input == "pump.suction_lift"
    assert_allclose(row.limit, 2.5 + SUCTION_MARGIN, rtol=1e-12)
    water = plant.stream()
    vapour = 2985.0  # Pa at 24 degC, steam tables
    expected = (101325.0 - vapour) / (water.density * GRAVITY) - 4.0
    assert_allclose(row.value, expected, rtol=1e-3)
    assert row.meets


def test_boiling_at_the_suction_is_no_operating_point():
    outcome = pump(suction_lift=11.0).evaluate(inlet=plant.stream())
    finding = next(f for f in outcome.details().findings if f.blocks)
    assert "boils" in finding.message()


def test_the_atmosphere_of_a_mountain_counts():
    low, high = (
        pump().evaluate(inlet=plant.stream().changed(atmosphere=p)).details().limits[0].value
        for p in (101325.0, 70000.0)
    )
    assert_allclose(low - high, 31325.0 / (plant.stream().density * GRAVITY), rtol=1e-9)


def test_a_pump_that_runs_out_spoils_no_neighbour():
    flow = np.array([2e-3, 6e-3]) * 0.74
    details = pump().evaluate(inlet=plant.stream(flow)).details()
    blocked = [f for f in details.findings if f.blocks]
    assert len(blocked) == 1
    np.testing.assert_array_equal(blocked[0].where, [False, True])
    assert "runs out" in blocked[0].message(1)
    alone = pump().evaluate(inlet=plant.stream(flow[0])).details()
    assert details.power[0] == alone.power


def test_a_pump_driven_by_the_water_gives_no_power_back():
    details = (
        pump(rated_head=1.0, best_flow=9.0 / HOUR)
        .evaluate(inlet=plant.stream(0.74 * 1.3 * 9.0 / HOUR))
        .details()
    )
    assert details.values["head"].value < 0
    assert details.power == 12.0
    assert any("drives it" in finding.text for finding in details.findings)


def test_efficiency_outside_its_range_is_told():
    details = pump().evaluate(inlet=plant.stream(1e-5)).details()
    assert [e.range.name for e in details.excursions] == ["flow_ratio"]
    assert not pump().evaluate(inlet=plant.stream()).details().excursions


def test_the_ceiling_lies_above_every_operating_point():
    unit = pump(suction_lift=-5.0)
    rise = unit.evaluate(inlet=plant.stream(unit.flow_ceiling())).outlets["outlet"].pressure
    assert rise < 0


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"speed": 0.0}, "a speed lies above 0 %"),
        ({"speed": 1.3}, "not above 120 %"),
        ({"rated_head": 38.0}, "a curve that rises is refused"),
        ({"rated_head": np.array([29.0, 40.0])}, "a curve that rises is refused"),
        ({"pump_efficiency": 0.0}, "a pump efficiency"),
        ({"motor_efficiency": 1.01}, "a motor efficiency"),
        ({"electronics": -1.0}, "electronics lie"),
        ({"suction_lift": 13.0}, "a suction lift"),
    ],
)
def test_what_is_refused(changes, words):
    with pytest.raises(RequestError, match=words):
        plant.unit("feed_pump", **changes)


def test_curve_of_many_pumps():
    curve = curve_of(np.array([38.0, 20.0]), 2.5e-3, 15.0, 0.5)
    assert curve.shutoff_head.shape == (2,)
