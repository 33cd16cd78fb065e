"""Why there is no operating point: one reason for each point, and the cause, not what follows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import plant
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.flowsheet.equations import Failure, apart
from treatsim.flowsheet.hold import operate
from treatsim.operations.outcome import Value

CASES = Path(__file__).parents[2] / "cases"


def reasons(result, point: int) -> list[Failure]:
    return [f for f in result.failures if np.broadcast_to(f.where, (result.points,))[point]]


def test_a_pump_whose_flow_the_vessel_cannot_pass():
    """Neighbours have answers; the two numbers that conflict stand in the reason."""
    flows = {
        "high_pressure_pump.flow": np.array([0.71, 2.4, 2.8, 0.75]) / 3600,
        "booster.flow": np.array([1.49, 0.35, 0.84, 1.4]) / 3600,
    }
    result = cases.load(CASES / "sea_recovery.toml").solve(flows)
    assert result.unfailed().tolist() == [True, False, False, True]
    for point in (1, 2):
        (failure,) = reasons(result, point)
        assert failure.reason.startswith("high_pressure_pump: at its highest outlet pressure of")
        assert failure.reason.endswith("through exchanger; lower high_pressure_pump.flow")
        assert failure.values["limit"].value == 120e5
        pushing, moved = (failure.values[name].value[point] for name in ("pushing", "moved"))
        assert pushing > 1.01 * moved


def test_every_failed_point_has_one_reason_of_its_own():
    pump, booster = np.random.default_rng(2).random((2, 400))[:, 8:28]
    flows = {
        "high_pressure_pump.flow": (0.2 + 2.8 * pump) / 3600,
        "booster.flow": (0.2 + 5.8 * booster) / 3600,
    }
    result = cases.load(CASES / "sea_recovery.toml").solve(flows)
    told = [len(reasons(result, point)) for point in range(result.points)]
    assert told == (~result.unfailed()).astype(int).tolist()
    assert 0 < sum(told) < result.points
    for failure in result.failures:
        assert "balance" not in failure.reason
        failure.reason.format(**dict.fromkeys(failure.values, "1 bar"))


def test_the_first_reason_of_a_point_stays():
    a, b = np.array([True, True, False, False]), np.array([False, True, True, False])
    kept = apart([Failure(a, "one"), Failure(b, "two"), Failure(a & b, "three")])
    assert [(f.reason, f.where.tolist()) for f in kept] == [
        ("one", a.tolist()),
        ("two", [False, False, True, False]),
    ]


def test_a_lift_too_high_spoils_no_neighbour():
    units = [
        plant.unit("feed_pump", "pump"),
        plant.unit("hose", rise=np.array([4.0, 60.0, 4.0])),
    ]
    result = operate(plant.sheet(units, "pump > hose > tank"), 3)
    assert result.unfailed().tolist() == [True, False, True]
    (failure,) = reasons(result, 1)
    assert "nothing flows" in failure.reason
    short = (60.0 + 2.0 - 0.74**2 * 38.0) * 9.80665 * 997.3
    assert isinstance(failure.values["short"], Value)
    assert_allclose(failure.values["short"].value[1], short, rtol=1e-3)
