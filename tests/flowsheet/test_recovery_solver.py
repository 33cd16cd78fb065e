"""Recycles and several open values at once: few passes, and no point disturbs another."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.correlations.ro import vessel
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


def test_no_answer_is_lost_and_none_is_made_up():
    """The pump's flow has to leave as permeate: at 120 bar, its highest, more must be able to.

    Only the closest tenths of a percent are open, since the feed of the vessel is a little
    saltier than the source.
    """
    case = cases.load(CASES / "sea_recovery.toml")
    pump, booster = np.random.default_rng(2).random((2, 400))[:, [0, 8, 12, 22, 25, 40, 71, 331]]
    pump, booster = (0.2 + 2.8 * pump) / 3600, (0.2 + 5.8 * booster) / 3600
    sheet = case.flowsheet()
    feed = sheet.source.with_flow(pump + booster).changed(pressure=np.full(pump.size, 120e5))
    ratio = sheet.units["ro"].evaluate(feed).outlets["permeate"].flow / pump
    assert np.all(np.abs(ratio - 1.003) > 0.001)
    result = case.solve({"high_pressure_pump.flow": pump, "booster.flow": booster})
    assert result.unfailed().tolist() == (ratio > 1.003).tolist()


def test_what_lies_behind_the_conditions_is_evaluated_once(monkeypatch):
    """The pressure behind the pump is given: no equation waits for the vessel."""
    calls = []
    solve_vessel = vessel.solve_vessel
    monkeypatch.setattr(
        vessel, "solve_vessel", lambda *args: [calls.append(1), solve_vessel(*args)][1]
    )
    assert cases.load(CASES / "sea.toml").solve().solved[0]
    assert len(calls) == 1
