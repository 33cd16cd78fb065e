"""Energy recovery as flowsheets, held against the closed formulas of the trade."""

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from oracles.separation_energy import (
    hydraulic_energy,
    intensifier_energy,
    intensifier_pump_pressure,
    isobaric_energy,
    shaft_motor_energy,
)
from ro_plant import number

from treatsim import errors

ELECTRIC = 0.85 * 0.95
ETA = 0.80 * ELECTRIC
SEA = ro_plant.sea(35.0)
CLOSE = {"rtol": 1e-9, "atol": 0}
LOOP = [
    "intake > split",
    "split.run > pump > join.run",
    "split.branch > exchanger.low_in",
    "exchanger.high_out > booster > join.branch",
    "join > ro",
    "ro.permeate > tank",
    "ro.concentrate > exchanger.high_in",
    "exchanger.low_out > outfall",
]
FEED_PUMP = {
    "kind": "feed_pump", "speed": "86 %", "shutoff_head": "42 m", "rated_flow": "2.6 m3/h",
    "rated_head": "34 m", "pump_efficiency": 0.45, "motor_efficiency": 0.78,
    "drive_efficiency": 0.94, "electronics": "8 W", "suction_lift": "1.5 m",
    "required_suction_head": "2.5 m",
}  # fmt: skip


def exchanger(mixing=0.0, leakage=0.0, efficiency=0.90) -> dict:
    return {"kind": "pressure_exchanger", "efficiency": efficiency, "mixing": mixing,
            "leakage": leakage}  # fmt: skip


def with_exchanger(unit, pressure=50.0, intake=None, flows=(None, None)):
    units = {
        "intake": intake or {"kind": "intake", "flow": "2.2 m3/h", "pressure": "0 bar"},
        "split": {"kind": "dividing_tee"},
        "pump": ro_plant.pump(flows[0], pressure),
        "join": {"kind": "combining_tee"},
        "exchanger": unit,
        "booster": ro_plant.pump(flows[1], kind="booster_pump"),
        "ro": ro_plant.vessel(),
    }
    return ro_plant.case(SEA, units, LOOP)


def ends(result):
    """Feed and concentrate pressure, and permeate over permeate and concentrate."""
    flows = [number(result, f"ro.{port}.flow") for port in ("permeate", "concentrate")]
    pressures = [number(result, f"ro.{port}.pressure") for port in ("feed", "concentrate")]
    return (*pressures, flows[0] / sum(flows))


def test_without_recovery():
    result = ro_plant.simple(SEA, 2.2, 50.0, ro_plant.vessel())
    expected = hydraulic_energy(50e5, number(result, "ro.recovery"), ETA)
    assert_allclose(number(result, "energy.specific"), expected, **CLOSE)


def test_isobaric_exchanger():
    result = with_exchanger(exchanger()).solve()
    assert result.solved[0]
    feed, concentrate, _ = ends(result)
    flows = {k: number(result, f"{k}.flow") for k in ("pump.inlet", "booster.inlet", "ro.permeate")}
    work = feed * flows["pump.inlet"] + flows["booster.inlet"] * (feed - 0.90 * concentrate)
    specific = number(result, "energy.specific")
    assert_allclose(specific, work / ETA / flows["ro.permeate"], **CLOSE)
    # the formula has the pump move just the permeate; volumes shrink a little on mixing
    assert_allclose(specific, isobaric_energy(*ends(result), ETA, 0.90, ETA), rtol=1e-3, atol=0)
    assert_allclose(
        number(result, "pump.inlet.flow"), number(result, "ro.permeate.flow"), rtol=4e-3
    )
    assert_allclose(
        number(result, "booster.inlet.flow"), number(result, "ro.concentrate.flow"), rtol=1e-9
    )
    assert max(result.balances.values()) < 1e-9
    plain = ro_plant.simple(SEA, 2.2, 50.0, ro_plant.vessel())
    assert_allclose(number(result, "ro.recovery"), number(plain, "ro.recovery"), rtol=1e-9)
    assert number(result, "energy.specific") < 0.4 * number(plain, "energy.specific")


def test_mixing_and_leakage_cost_salt_and_flow():
    clean = with_exchanger(exchanger()).solve()
    mixed = with_exchanger(exchanger(0.05, 0.02)).solve()
    assert mixed.solved[0]
    rise = number(mixed, "ro.feed.salinity") / 0.035 - 1
    assert 0.005 < rise < 0.03
    assert number(mixed, "ro.permeate.concentration") > number(clean, "ro.permeate.concentration")
    assert number(mixed, "ro.permeate.flow") < number(clean, "ro.permeate.flow")
    surplus = number(mixed, "pump.inlet.flow") / number(mixed, "ro.permeate.flow")
    assert surplus > 1.02  # what leaks goes through the pump once more
    assert max(mixed.balances.values()) < 1e-9
    total = number(mixed, "exchanger.high_in.flow") * (1 - 0.02)
    assert_allclose(total, number(mixed, "exchanger.high_out.flow"), rtol=1e-9)


def test_two_displacement_pumps_find_the_pressure():
    """Flows of both pumps given, the pressure follows; the feed pump meets their sum."""
    result = with_exchanger(exchanger(0.05, 0.02), None, FEED_PUMP, (0.6, 1.6)).solve()
    assert result.solved[0], result.reason()
    assert_allclose(number(result, "intake.inlet.flow") * 3600, 2.2, rtol=1e-9)
    assert_allclose(number(result, "split.fraction"), 1.6 / 2.2, rtol=1e-9)
    assert 40e5 < number(result, "ro.feed.pressure") < 60e5
    assert_allclose(
        number(result, "pump.outlet_pressure"), number(result, "booster.outlet_pressure"),
        rtol=1e-9,
    )  # fmt: skip


def test_many_points_equal_one_by_one():
    case = with_exchanger(exchanger(0.05, 0.02))
    pressures = np.array([42e5, 56e5])
    many = case.solve({"pump.outlet_pressure": pressures})
    assert many.solved.all()
    for point, pressure in enumerate(pressures):
        one = case.solve({"pump.outlet_pressure": np.array([pressure])})
        for address in ("ro.permeate.flow", "energy.specific", "booster.outlet_pressure"):
            assert_allclose(
                many.value(address).value[point], number(one, address), rtol=1e-7, atol=0
            )


MOTOR = {"kind": "hydraulic_motor", "pump": "pump", "efficiency": 0.85}
TO_MOTOR = ["pump > ro", "ro.permeate > tank", "ro.concentrate > motor > outfall"]


def with_motor(units=None, links=TO_MOTOR):
    units = units or {}
    usual = {"pump": ro_plant.pump(2.2, 50.0), "ro": ro_plant.vessel(), "motor": MOTOR}
    return ro_plant.case(SEA, usual | units, links)


def test_motor_on_the_pump_shaft():
    result = with_motor().solve()
    feed, concentrate = (number(result, f"ro.{p}.pressure") for p in ("feed", "concentrate"))
    flows = {p: number(result, f"ro.{p}.flow") for p in ("feed", "permeate", "concentrate")}
    given = 0.85 * concentrate * flows["concentrate"]
    shaft = feed * flows["feed"] / 0.80 - given
    specific = number(result, "energy.specific")
    assert_allclose(specific, shaft / ELECTRIC / flows["permeate"], **CLOSE)
    assert_allclose(number(result, "pump.shaft_power_given"), given, **CLOSE)
    assert_allclose(number(result, "pump.power"), shaft / ELECTRIC, **CLOSE)
    formula = shaft_motor_energy(*ends(result), 0.80, 0.85, ELECTRIC)
    assert_allclose(specific, formula, rtol=4e-3, atol=0)  # which takes volumes as conserved
    plain = ro_plant.simple(SEA, 2.2, 50.0, ro_plant.vessel())
    assert specific < 0.6 * number(plain, "energy.specific")
    parts = [v.value for k, v in result.values.items() if k.startswith("energy.loss.")]
    assert_allclose(sum(parts), specific, rtol=1e-9)
    assert all(np.all(part >= -1e-9 * specific) for part in parts)


def test_a_motor_relieves_the_motor_of_its_pump_also_at_part_load():
    """The electric motor runs at the load that is left: its part-load loss is that of the rest."""
    rated = ro_plant.pump(2.2, 50.0, rated_power="6 kW")
    full = number(with_motor({"pump": rated}).solve(), "energy.specific")
    assert full > 1.01 * number(with_motor().solve(), "energy.specific")


@pytest.mark.parametrize(
    ("units", "word"),
    [
        ({"motor": MOTOR | {"pump": "ro"}}, 'units.motor.pump = "ro": no pump with a shaft'),
        ({"motor": MOTOR | {"pump": "pumpe"}}, "known: pump"),
        ({"motor": MOTOR | {"pump": ""}}, "the name of a pump belongs here"),
        ({"motor": {k: v for k, v in MOTOR.items() if k != "pump"}}, "pump is missing"),
    ],
)
def test_a_motor_tied_to_no_pump_is_refused(units, word):
    with pytest.raises(errors.CaseError, match=word):
        with_motor(units)


def test_a_motor_alone_makes_no_energy():
    """Water that arrives under pressure and passes a motor: nobody takes the shaft power."""
    units = {"intake": {"kind": "intake", "flow": "2 m3/h", "pressure": "50 bar"}, "ro":
             ro_plant.vessel(), "motor": MOTOR}  # fmt: skip
    links = ["intake > ro", *TO_MOTOR[1:]]
    with pytest.raises(errors.CaseError, match="known: none here"):
        ro_plant.case(SEA, units, links)


def test_a_motor_that_gives_more_than_its_pump_takes_has_no_answer():
    units = {"intake": {"kind": "intake", "flow": "2.2 m3/h", "pressure": "50 bar"},
             "pump": ro_plant.pump(None, 52.0)}  # fmt: skip
    result = with_motor(units, ["intake > pump > ro", *TO_MOTOR[1:]]).solve()
    assert not result.solved[0]
    assert "the hydraulic motor gives" in result.reason()


@pytest.mark.parametrize("recovery", [0.12, 0.20, 0.30])
def test_intensifier_keeps_its_recovery_and_finds_both_pressures(recovery):
    units = {
        "pump": ro_plant.pump(2.2),
        "intensifier": {"kind": "pressure_intensifier", "recovery": recovery, "efficiency": 0.92,
                        "exhaust_pressure": "0 bar"},
        "ro": ro_plant.vessel(),
    }  # fmt: skip
    links = ["pump > intensifier.low_in", "intensifier.high_out > ro", "ro.permeate > tank",
             "ro.concentrate > intensifier.high_in", "intensifier.low_out > outfall"]  # fmt: skip
    result = ro_plant.case(SEA, units, links).solve()
    assert result.solved[0], result.reason()
    feed, concentrate, _ = ends(result)
    kept = 1 - number(result, "ro.concentrate.flow") / number(result, "ro.feed.flow")
    assert_allclose(kept, recovery, rtol=1e-7, atol=0)
    ideal = intensifier_pump_pressure(feed, concentrate, recovery)
    assert_allclose(number(result, "pump.outlet_pressure"), ideal / 0.92, rtol=1e-7, atol=0)
    formula = intensifier_energy(ideal, number(result, "ro.recovery"), ETA, 0.92)
    assert_allclose(number(result, "energy.specific"), formula, rtol=1e-7, atol=0)


def test_order_of_the_devices():
    """Exchanger below intensifier and shaft motor, below nothing, at one state of the vessel."""
    feed, concentrate, r = 55e5, 53.5e5, 0.40
    plain = hydraulic_energy(feed, r, ETA)
    shaft = shaft_motor_energy(feed, concentrate, r, 0.80, 0.85, ELECTRIC)
    isobaric = isobaric_energy(feed, concentrate, r, ETA, 0.90, ETA)
    assert isobaric < shaft < plain
