"""Recycles and several open values at once: few passes, and no point disturbs another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.flowsheet import open_recycles, recycle

CASES = Path(__file__).parents[2] / "cases"
MOST_PASSES = {"sea_recovery": 45, "brackish_well": 30}


@pytest.mark.parametrize("name", MOST_PASSES)
def test_passes_of_the_flowsheet(name, monkeypatch):
    """A budget: with nested recycles it takes four times as many."""
    calls = []

    def counted(*args):
        calls.append(1)
        return recycle_run(*args)

    recycle_run = recycle.run
    monkeypatch.setattr(recycle, "run", counted)
    monkeypatch.setattr(open_recycles, "run", counted)
    result = cases.load(CASES / f"{name}.toml").solve({})
    assert result.solved[0]
    assert max(result.balances.values()) <= 1e-12
    assert 0 < len(calls) <= MOST_PASSES[name]


def test_hopeless_points_leave_the_others_alone():
    """Flows that cannot balance, whose trial values leave every range, and one that can."""
    case = cases.load(CASES / "sea_recovery.toml")
    flows = {
        "high_pressure_pump.flow": np.array([0.71, 2.4, 0.75]) / 3600,
        "booster.flow": np.array([1.49, 0.35, 1.4]) / 3600,
    }
    batch = case.solve(flows)
    assert batch.solved.tolist() == [True, False, True]
    assert batch.reason(1)
    for point in (0, 2):
        alone = case.solve({key: value[[point]] for key, value in flows.items()})
        for address in ("ro.permeate.flow", "ro.feed.pressure", "ro.concentrate.salinity"):
            assert_allclose(
                batch.value(address).value[point], alone.value(address).value[0], rtol=1e-9, atol=0
            )
