"""Why there is no operating point: one reason for each point, and the cause, not what follows."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import plant
import pytest
import ro_plant
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.errors import DomainError
from treatsim.flowsheet import equations
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


def test_a_value_out_of_range_is_no_answer():
    """Water that falls 8 m would have to be held back by the pump: below 0 bar behind it."""
    units = [
        plant.unit("high_pressure_pump", "pump", flow=6.8 / 3600, outlet_pressure=None),
        plant.unit("hose", rise=np.array([-8.0, 6.0])),
    ]
    result = operate(plant.sheet(units, "pump > hose > tank"), 2)
    assert result.unfailed().tolist() == [False, True]
    (failure,) = reasons(result, 0)
    assert failure.reason.startswith("pump.outlet_pressure would have to be {value}; it lies")
    assert failure.values["value"].value[0] < 0 < failure.values["value"].value[1]


def test_a_point_that_cannot_be_computed_spoils_no_neighbour():
    """150 m up from 9 bar the vessel would be fed at -5.7 bar, which no formula takes."""
    hose = {"kind": "hose", "length": "5 m", "bore": "50 mm", "roughness": "0.02 mm",
            "rise": "2 m", "fittings": 1.0}  # fmt: skip
    units = {
        "intake": {"kind": "intake", "flow": "2 m3/h", "pressure": "9 bar"},
        "hose": hose,
        "ro": ro_plant.vessel("brackish-4in", 1),
        "valve": ro_plant.VALVE,
    }
    links = ["intake > hose > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    case = ro_plant.case(ro_plant.salt(1.0), units, links)
    rise = np.array([2.0, 150.0, 3.0])
    result = case.solve({"hose.rise": rise})
    assert result.unfailed().tolist() == [True, False, True]
    (failure,) = reasons(result, 1)
    assert failure.reason.startswith("ro: feed pressure = {value}: allowed is from {low}")
    # by hand: 9 bar less 150 m of this water, and some friction
    assert_allclose(failure.values["value"].value[1], 9e5 - 150 * 9.80665 * 997.8, rtol=0.01)
    assert "ro: feed pressure = -5.678 bar: allowed is from -1 bar" in result.reason(1)
    assert "feed pressure = -82.36 psi" in result.reason(1, "us")
    for point in (0, 2):
        alone = case.solve({"hose.rise": rise[[point]]}).value("ro.permeate.flow").value
        assert_allclose(result.value("ro.permeate.flow").value[point], alone, rtol=1e-12)
    with pytest.raises(DomainError, match=r"ro: feed pressure = -5\.678 bar"):
        case.solve({"hose.rise": rise[[1]]})


def test_a_vessel_that_dries_out_spoils_no_neighbour():
    units = {
        "pump": ro_plant.pump(2.0, 30.0),
        "ro": ro_plant.vessel("brackish-4in", 4),
        "valve": ro_plant.VALVE,
    }
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    case = ro_plant.case(ro_plant.salt(1.0), units, links)
    flows = np.array([6.0, 0.6, 8.0, 0.5]) / 3600
    result = case.solve({"pump.flow": flows})
    assert result.solved.tolist() == [True, False, True, False]
    for point in (1, 3):
        assert result.reason(point).startswith("ro: the feed is used up: 98 % is recovered")
    alone = case.solve({"pump.flow": flows[[2]]}).value("ro.permeate.flow").value
    assert_allclose(result.value("ro.permeate.flow").value[2], alone, rtol=1e-5)


@pytest.mark.parametrize("loose", [[False, False], [True, False], [True, True]])
def test_a_recycle_that_does_not_settle_has_no_answer(loose, monkeypatch):
    """The guard alone: what returns has changed by more than round-off in the last pass."""
    units = [
        plant.unit("intake", "source", pressure=8e5),
        plant.unit("combining_tee", "mix"),
        plant.unit("dividing_tee", "split", fraction=np.array([0.3, 0.4])),
        plant.unit("throttle_valve", "valve", flow_coefficient=None),
    ]
    links = ("source > mix > split > valve > tank", "split.branch > mix.branch")
    evaluate = equations.evaluate
    error = np.where(loose, 1e-6, 1e-12)
    monkeypatch.setattr(
        equations, "evaluate", lambda *a, **k: evaluate(*a, **k)._replace(recycle_error=error)
    )
    result = operate(plant.sheet(units, *links), 2)
    assert result.unfailed().tolist() == [not each for each in loose]
    for point in np.flatnonzero(loose):
        (failure,) = reasons(result, point)
        assert "the recycle has no steady state" in failure.reason
