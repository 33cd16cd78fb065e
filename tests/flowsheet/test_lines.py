"""A pump and its line: the operating point, alone and in batches."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.flowsheet.hold import operate
from treatsim.flowsheet.solver import solve

GRAVITY = 9.80665
RANDOM = np.random.default_rng(20240611)


def density():
    return float(np.asarray(plant.stream().density))


def pump(name="pump", **changes):
    return plant.unit("feed_pump", name, linear_share=0.0, suction_lift=0.0, **changes)


def flow_of(shutoff, fall, coefficient, speed):
    """Closed form: s^2 H0 - a Q^2 = k Q^2 / (rho g)."""
    return speed * np.sqrt(shutoff / (fall + coefficient / (density() * GRAVITY)))


def test_pump_against_a_quadratic_resistance():
    speed = np.linspace(0.2, 1.2, 7)
    sheet = plant.sheet([pump(speed=speed), plant.resistance("r", 2e10)], "pump > r > tank")
    result = operate(sheet, speed.size)
    fall = (38.0 - 29.0) / (9.0 / 3600) ** 2
    assert result.solved.all()
    assert_allclose(result.value("product.flow").value, flow_of(38.0, fall, 2e10, speed), rtol=1e-9)
    assert_allclose(result.value("r.outlet.pressure").value, np.zeros(7), atol=1e-4)


def test_random_pumps_and_lines_none_left_unflagged():
    """Every point either meets its equation or says that it has no answer."""
    n = 100_000
    lift = RANDOM.uniform(-5, 60, n)
    lift[::5] = RANDOM.uniform(-5, 10, lift[::5].size)
    shutoff = 10 ** RANDOM.uniform(0.3, 2.3, n)
    rated = shutoff * RANDOM.uniform(0.05, 0.95, n)
    speed = RANDOM.uniform(0.05, 1.2, n)
    flow = 10 ** RANDOM.uniform(-5, -1, n)
    units = [
        pump(
            speed=speed,
            shutoff_head=shutoff,
            rated_flow=flow,
            rated_head=rated,
            best_flow=np.minimum(10 * flow, 0.27),
        ),
        plant.unit(
            "hose",
            length=10 ** RANDOM.uniform(-1, 3, n),
            bore=10 ** RANDOM.uniform(-2, -0.5, n),
            roughness=1e-5,
            rise=lift,
            fittings=RANDOM.uniform(0, 20, n),
        ),
    ]
    solved = solve(plant.sheet(units, "pump > hose > tank"), n)
    end = np.asarray(solved.last.streams["hose", "outlet"].pressure)
    failed = np.zeros(n, bool)
    for failure in solved.failures:
        failed |= failure.where
    scale = density() * GRAVITY * shutoff * speed**2
    assert np.all(np.abs(end[~failed]) <= 1e-7 * np.maximum(scale[~failed], 1e5))
    dead = speed**2 * shutoff < lift * (1 - 1e-9)
    assert np.all(failed[dead]), "water cannot flow where the lift beats the pump"
    alive = speed**2 * shutoff > lift * (1 + 1e-6) + 1e-6
    downhill = lift < 0
    assert np.count_nonzero(failed & alive & ~downhill) == 0
    assert np.count_nonzero(~failed) > n / 4


def test_a_batch_equals_its_points():
    speed = np.array([0.3, 0.5, 0.74, 1.0, 1.2, 0.31])
    units = [
        plant.unit("feed_pump", "pump"),
        plant.unit("hose"),
        plant.unit("cartridge_filter", "bags"),
        plant.unit("uv_reactor", "uv"),
    ]
    sheet = plant.sheet(units, "pump > hose > bags > uv > tank")
    whole = operate(sheet.with_parameters("pump", speed=speed), speed.size)
    for point, each in enumerate(speed):
        alone = operate(sheet.with_parameters("pump", speed=each))
        assert alone.solved[0] == whole.solved[point]
        if not alone.solved[0]:
            assert alone.reason() == whole.reason(point)
            continue
        for address, item in alone.values.items():
            there = np.broadcast_to(whole.values[address].value, speed.shape)[point]
            assert_allclose(there, np.squeeze(item.value), rtol=1e-10, atol=1e-6, err_msg=address)


def test_points_without_an_answer_beside_solved_ones():
    speed = np.array([0.1, 0.74, 0.2, 1.0])
    units = [plant.unit("feed_pump", "pump", speed=speed), plant.unit("hose")]
    result = operate(plant.sheet(units, "pump > hose > tank"), 4)
    assert_array_equal(result.solved, [False, True, False, True])
    for point in (0, 2):
        assert "nothing flows" in result.reason(point)
        assert "tank" in result.reason(point)
    assert result.reason(1) == result.reason(3) == ""
    short = 6.0 - 0.2**2 * 38.0  # lift 2 m, rise 4 m
    expected = short * density() * GRAVITY / 1e5
    assert f"{expected:.4g}" in result.reason(2)


def test_a_running_out_point_spoils_no_neighbour():
    rise = np.array([4.0, -400.0, 2.0])
    units = [plant.unit("feed_pump", "pump"), plant.unit("hose", rise=rise)]
    result = operate(plant.sheet(units, "pump > hose > tank"), 3)
    assert_array_equal(result.solved, [True, False, True])
    assert "runs out" in result.reason(1)
    assert result.values["pump.power"].value[0] > 0


def test_freezing_water_is_refused_with_its_range():
    from treatsim.errors import RequestError

    with pytest.raises(RequestError, match=r"temperature"):
        np.asarray(plant.stream(temperature=268.0).density)


def test_balances_close_everywhere():
    speed = np.linspace(0.5, 1.2, 50)
    units = [
        plant.unit("feed_pump", "pump", speed=speed),
        plant.unit("hose"),
        plant.unit("settling_basin", "basin"),
        plant.unit("feed_pump", "second"),
        plant.unit("cartridge_filter", "bags"),
    ]
    links = ("pump > hose > basin > second > bags > tank",)
    result = operate(plant.sheet(units, *links), speed.size)
    assert result.solved.any()
    assert max(result.balances.values()) <= 1e-12


def basin_line(*names, **units):
    made = {
        "pump": plant.unit("feed_pump", "pump"),
        "hose": plant.unit("hose"),
        "basin": plant.unit("settling_basin", "basin"),
        "second": plant.unit("feed_pump", "second", suction_lift=0.0, speed=0.4),
        "fall": plant.unit("hose", "fall", rise=-2.0, length=50.0, bore=0.03),
    } | units
    return operate(plant.sheet([made[name] for name in names], " > ".join([*names, "tank"])))


def test_behind_a_basin_the_second_pump_decides():
    """What the first pump has to spare is lost at the float valve."""
    both = basin_line("pump", "hose", "basin", "second", "fall")
    alone = basin_line("second", "fall")
    assert both.solved[0], both.reason()
    assert_allclose(both.value("product.flow").value, alone.value("product.flow").value, rtol=1e-9)
    assert both.value("basin.inlet.pressure").value > 0


def test_a_first_pump_too_weak_for_the_second_is_told():
    weak = plant.unit("feed_pump", "pump", speed=0.41)
    result = basin_line("pump", "hose", "basin", "second", "fall", pump=weak)
    assert not result.solved[0]
    assert "does not reach the basin" in result.reason()


def test_water_falls_from_a_basin_by_itself():
    result = basin_line("pump", "hose", "basin", "fall")
    assert result.solved[0], result.reason()
    lost = result.value("fall.friction_loss").value  # all of the fall
    assert_allclose(lost, np.full(1, 2.0 * density() * GRAVITY), rtol=1e-8)


def test_a_basin_at_the_end_takes_what_the_pump_gives():
    result = basin_line("pump", "hose", "basin")
    plain = basin_line("pump", "hose")
    assert result.solved[0], result.reason()
    assert_allclose(
        result.value("product.flow").value, plain.value("product.flow").value, rtol=1e-9
    )


def test_a_flow_that_nothing_decides_is_told():
    wide = plant.unit("uv_reactor", "uv", quadratic_loss=0.0)
    result = basin_line("pump", "hose", "basin", "uv", uv=wide)
    assert not result.solved[0]
    assert "any flow" in result.reason()


def test_the_energy_ledger_adds_up():
    from treatsim.flowsheet.energy import ledger

    units = [plant.unit("feed_pump", "pump"), plant.unit("hose"), plant.unit("uv_reactor", "uv")]
    result = operate(plant.sheet(units, "pump > hose > uv > tank"))
    assert_allclose(sum(ledger(result).values()), result.power, rtol=1e-9)


def test_unknown_address_names_the_nearest():
    from treatsim.errors import RequestError

    units = [plant.unit("feed_pump", "pump"), plant.unit("hose")]
    result = operate(plant.sheet(units, "pump > hose > tank"))
    with pytest.raises(RequestError, match=r"near: .*pump\.inlet\.flow"):
        result.value("pump.inlet.flw")
