"""Dividing and combining."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.errors import RequestError
from treatsim.flowsheet.result import unit_balance


@pytest.mark.parametrize("fraction", [0.0, 0.3, 1.0])
def test_a_dividing_tee_divides(fraction):
    water = plant.stream(2e-3, 1e5)
    outlets = plant.unit("dividing_tee", fraction=fraction).evaluate(inlet=water).outlets
    assert_allclose(outlets["branch"].mass_flow, fraction * water.mass_flow, rtol=1e-12)
    assert_allclose(
        outlets["branch"].mass_flow + outlets["run"].mass_flow, water.mass_flow, rtol=1e-14
    )
    for out in outlets.values():
        assert out.pressure == 1e5
        assert out.contents == water.contents


def test_an_open_fraction_is_for_the_solver():
    assert plant.unit("dividing_tee", fraction=None).free_parameters()
    assert not plant.unit("dividing_tee").free_parameters()


def test_a_combining_tee_mixes_at_the_pressure_of_the_run():
    run, branch = plant.stream(1e-3, 1e5, turbidity=1.0), plant.stream(3e-3, 2e5, turbidity=5.0)
    outcome = plant.unit("combining_tee").evaluate(run=run, branch=branch)
    out = outcome.outlets["outlet"]
    assert out.pressure == 1e5
    assert_allclose(out.contents["turbidity"], 4.0, rtol=1e-12)
    assert_allclose(outcome.added["hydraulic_power"], -1e5 * 3e-3, rtol=1e-9)
    residual = plant.unit("combining_tee").conditions({"run": run, "branch": branch}, {})
    assert residual == {"pressure": -1.0}


def test_a_branch_too_weak_cannot_enter():
    run = plant.stream(1e-3, 1e5)
    branch = plant.stream(1e-3, np.array([9e4, 1e5, 2e5]))
    findings = plant.unit("combining_tee").evaluate(run=run, branch=branch).details().findings
    assert findings[0].blocks
    assert_array_equal(findings[0].where, [True, False, False])
    assert "0.1 bar below" in findings[0].message(0)


def chlorinated(flow, free, demand):
    return plant.stream(flow).changed(
        contents={"free_chlorine": free * 1e-3, "chlorine_demand": demand * 1e-3}
    )


@pytest.mark.parametrize(("flow", "demand", "left", "unmet"), [
    (1e-3, 0.6, 0.7, 0.0),  # (2 - 0.6) / 2
    (1e-3, 2.0, 0.0, 0.0),
    (3e-3, 0.9, 0.0, 0.175),  # (2.7 - 2) / 4
])  # fmt: skip
def test_water_that_was_not_dosed_uses_up_chlorine(flow, demand, left, unmet):
    """1 L/s with 2 mg/L of free chlorine meets water that still wants some; balance by hand."""
    dosed, raw = chlorinated(1e-3, 2.0, 0.0), plant.stream(flow)
    raw = raw.changed(contents={"chlorine_demand": demand * 1e-3})
    tee = plant.unit("combining_tee")
    for run, branch in ((dosed, raw), (raw, dosed)):
        outcome = tee.evaluate(run=run, branch=branch)
        contents = outcome.outlets["outlet"].contents
        assert_allclose(contents["free_chlorine"], left * 1e-3, rtol=1e-9, atol=1e-18)
        assert_allclose(contents["chlorine_demand"], unmet * 1e-3, rtol=1e-9, atol=1e-18)
        assert not outcome.details().findings
        ports = {(tee.name, "run"): run, (tee.name, "branch"): branch}
        shares = unit_balance(tee, ports, outcome)
        assert max(shares["free_chlorine"], shares["chlorine_demand"]) < 1e-12


def test_an_untold_demand_is_asked_for_not_taken_as_none():
    tee, dosed = plant.unit("combining_tee"), chlorinated(1e-3, 2.0, 0.0)
    raw = plant.stream(np.array([1e-3, 0.0]))
    (finding,) = tee.evaluate(run=dosed, branch=raw).details().findings
    assert finding.blocks
    assert "state water.chlorine_demand" in finding.message(0)
    assert_array_equal(finding.where, [True, False])  # no water, no demand
    plain = plant.stream(1e-3)
    assert not tee.evaluate(run=plain, branch=plain).details().findings


def test_an_empty_branch_changes_nothing():
    run = plant.stream(1e-3, 1e5)
    out = plant.unit("combining_tee").evaluate(run=run, branch=run.with_flow(0.0)).outlets["outlet"]
    for name, rate in out.carried().items():
        assert_allclose(rate, run.carried()[name], rtol=1e-14)


def test_what_is_refused():
    with pytest.raises(RequestError, match="a fraction"):
        plant.unit("dividing_tee", fraction=1.2)
