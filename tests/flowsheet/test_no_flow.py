"""A trickle is no operating point: what counts as flow is a share of what the pump is made for."""

import numpy as np
import pytest
import ro_plant
from plant import ROOT

from treatsim import cases
from treatsim.flowsheet.result import FLOW_SHARE


def test_a_membrane_that_hardly_gives_has_no_answer():
    """Vessel of one small element on a large pump: 1 % of the pump's flow is the least told."""
    units = {"pump": ro_plant.pump(1.4, 30), "ro": ro_plant.vessel("seawater-2.5in", 1),
             "valve": ro_plant.VALVE}  # fmt: skip
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    case = ro_plant.case(ro_plant.sea(35.0), units, links)
    pressures = np.array([26.0e5, 27.5e5, 40e5, 55e5])
    result = case.solve({"pump.outlet_pressure": pressures})
    least = FLOW_SHARE * 1.4 / 3600
    assert np.all(result.solved == (result.product.flow >= least))
    assert result.solved.tolist() == [False, False, True, True]
    assert "nothing flows to speak of" in result.reason(0)


@pytest.mark.parametrize("share", [1.0 + 1e-9, 1.0 + 1e-6])
def test_just_above_the_dead_speed_nothing_flows(share):
    """Where friction and lift just balance, energy per litre runs away: 603 800 kWh/m3 was told."""
    case = cases.load(ROOT / "cases/river.toml")
    low, high = 0.1, 0.74
    for _ in range(40):  # the dial at which the first drop flows
        middle = 0.5 * (low + high)
        result = case.solve({"lift_pump.speed": np.array([middle])})
        low, high = (low, middle) if result.unfailed()[0] else (middle, high)
    result = case.solve({"lift_pump.speed": np.array([high * share])})
    assert not result.solved[0]
