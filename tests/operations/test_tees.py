"""Dividing and combining."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.errors import RequestError


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


def test_an_empty_branch_changes_nothing():
    run = plant.stream(1e-3, 1e5)
    out = plant.unit("combining_tee").evaluate(run=run, branch=run.with_flow(0.0)).outlets["outlet"]
    for name, rate in out.carried().items():
        assert_allclose(rate, run.carried()[name], rtol=1e-14)


def test_what_is_refused():
    with pytest.raises(RequestError, match="a fraction"):
        plant.unit("dividing_tee", fraction=1.2)
