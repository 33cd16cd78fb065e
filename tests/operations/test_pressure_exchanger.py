"""Exchanger, intensifier and hydraulic motor by themselves: balances, limits, losses."""

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.flowsheet.result import unit_balance
from treatsim.operations.hydraulic_motor import (
    HydraulicMotor,
    HydraulicMotorParameters,
    recovered_shaft,
)
from treatsim.operations.pressure_exchanger import PressureExchanger, PressureExchangerParameters
from treatsim.operations.pressure_intensifier import (
    PressureIntensifier,
    PressureIntensifierParameters,
    feed_pressure_needed,
)

HIGH = {"flow": 1.6 / 3600, "pressure": 53.5e5, "salinity": 0.058}
LOW = {"flow": 1.55 / 3600, "pressure": 2e5, "salinity": 0.035}


def exchanger(mixing=0.05, leakage=0.02):
    record = PressureExchangerParameters(efficiency=0.90, mixing=mixing, leakage=leakage)
    return PressureExchanger(name="exchanger", parameters=record)


def intensifier(recovery=0.2):
    record = PressureIntensifierParameters(
        recovery=recovery, efficiency=0.92, exhaust_pressure=0.0, outlet_pressure=50e5
    )
    return PressureIntensifier(name="intensifier", parameters=record)


def motor(outlet_pressure=0.0):
    record = HydraulicMotorParameters(
        pump="pump", efficiency=0.85, outlet_pressure=outlet_pressure
    )  # fmt: skip
    return HydraulicMotor(name="motor", parameters=record)


def both():
    return {"high_in": plant.stream(**HIGH), "low_in": plant.stream(**LOW)}


@pytest.mark.parametrize("unit", [exchanger(), exchanger(0.0, 0.0), intensifier()])
def test_every_balance_closes(unit):
    streams = both()
    outcome = unit.evaluate(**streams)
    shares = unit_balance(unit, {(unit.name, k): s for k, s in streams.items()}, outcome)
    assert {"mass", "salt", "heat", "hydraulic_power"} <= set(shares)
    assert max(float(np.max(v)) for v in shares.values()) < 1e-12


def test_exchanger_by_hand():
    streams = both()
    out = exchanger().evaluate(**streams).outlets
    assert_allclose(out["high_out"].pressure, 0.90 * 53.5e5, rtol=1e-15)
    assert_allclose(out["high_out"].flow, LOW["flow"], rtol=1e-12)
    assert_allclose(out["high_out"].salinity, 0.035 + 0.05 * (0.058 - 0.035), rtol=1e-12)
    assert_allclose(out["low_out"].pressure, 0.0, atol=1e-12)
    surplus = exchanger().conditions(streams, out)["balance"]
    assert_allclose(surplus, 1.6 * 0.98 / 1.55 - 1, rtol=1e-9)


def test_exchanger_without_mixing_hands_the_feed_on_unchanged():
    out = exchanger(0.0, 0.0).evaluate(**both()).outlets
    assert_allclose(out["high_out"].salinity, 0.035, rtol=1e-15)


def test_intensifier_by_hand():
    streams = both()
    unit = intensifier()
    out = unit.evaluate(**streams).outlets
    assert_allclose(out["high_out"].pressure, 50e5, rtol=1e-15)
    found = unit.conditions(streams, out)
    assert_allclose(found["recovery"], 1.6 / 1.55 / 0.8 - 1, rtol=1e-9)
    ideal = 0.2 * 50e5 + 0.8 * (50e5 - 53.5e5)
    assert_allclose(feed_pressure_needed(0.2, 50e5, 53.5e5, 0.0, 0.92), ideal / 0.92, rtol=1e-12)
    assert_allclose(found["force"], (2e5 - ideal / 0.92) / 1e6, rtol=1e-12)


def test_motor_gives_back_what_it_takes_less_its_losses():
    stream = plant.stream(**HIGH)
    outcome = motor().evaluate(stream)
    details = outcome.details()
    shaft = 0.85 * 53.5e5 * 1.6 / 3600
    assert_allclose(recovered_shaft(1.6 / 3600, 53.5e5, 0.85), shaft, rtol=1e-12)
    assert_allclose(details.values["shaft_power"].value, shaft, rtol=1e-12)
    assert np.all(details.power == 0)  # what it gives is taken off its pump
    gain = outcome.added["hydraulic_power"]
    assert_allclose(sum(details.losses.values()), -gain, rtol=1e-12)


def test_motor_below_its_outlet_pressure_has_no_answer():
    finding = motor(60e5).evaluate(plant.stream(**HIGH)).details().findings[0]
    assert finding.blocks
    assert "below the pressure behind the motor" in finding.message()
