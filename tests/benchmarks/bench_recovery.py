"""Sea water with an exchanger, 400 random flows, against SciPy on the same equations.

    PYTHONPATH=tests python -m benchmarks.bench_recovery

Plain: for one point after another, `scipy.optimize.root` on the four open values with the recycle
closed at every trial, from three pressures in turn until one leads to an answer. 42 of the points
have none: the pump's flow does not pass the membranes at the highest pressure.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side
from numpy.testing import assert_allclose
from scipy.optimize import root

from treatsim import cases
from treatsim.errors import DomainError
from treatsim.flowsheet.equations import Equations

CASE = Path(__file__).parents[2] / "cases" / "sea_recovery.toml"
POINTS, ANSWERS = 400, 358
FEW = 2  # points that the plain way gets per round
STARTS = (20e5, 54e5, 18e5)  # Pa
GOAL = 100

pytestmark = pytest.mark.benchmark


def flows(count: int = POINTS) -> dict[str, np.ndarray]:
    """Flows of the pump, 0.2 to 3 m3/h, and of the booster, 0.2 to 6 m3/h."""
    pump, booster = np.random.default_rng(2).random((2, POINTS))[:, :count]
    return {
        "high_pressure_pump.flow": (0.2 + 2.8 * pump) / 3600,
        "booster.flow": (0.2 + 5.8 * booster) / 3600,
    }


def plain(case, point: dict[str, np.ndarray]) -> float:
    """Return the pump's pressure, NaN where no start leads to an answer."""
    sheet = case.flowsheet(point)
    unknowns = sheet.unknowns()
    low, high = (np.array([getattr(u, end) for u in unknowns]) for end in ("low", "high"))
    names = [(u.unit, u.field) for u in unknowns]
    here = np.zeros(1, int)
    for pressure in STARTS:
        equations = Equations(sheet, unknowns, 1)

        def missed(share, equations=equations):
            try:
                value = equations((low + np.clip(share, 1e-9, 1) * (high - low))[:, None], here)
            except DomainError:
                return np.full(len(unknowns), 1e3)
            return np.nan_to_num(value[:, 0], nan=1e3, posinf=1e3, neginf=-1e3)

        start = [pressure if u.field == "outlet_pressure" else u.guess for u in unknowns]
        with np.errstate(all="ignore"):
            found = root(missed, (np.array(start) - low) / (high - low), tol=1e-10)
        if np.all(np.abs(found.fun) < 1e-7):
            row = names.index(("high_pressure_pump", "outlet_pressure"))
            return float(low[row] + found.x[row] * (high[row] - low[row]))
    return np.nan


def measured(rounds: int = 2):
    """Return the ratio; the answers of both ways agree, and none is lost."""
    case, arrays = cases.load(CASE), flows()
    few = [{name: values[[n]] for name, values in arrays.items()} for n in range(FEW)]
    result = case.solve(arrays)
    assert result.unfailed().sum() >= ANSWERS
    theirs = np.array([plain(case, point) for point in few])
    ours = result.value("high_pressure_pump.outlet_pressure").value[:FEW]
    both = np.isfinite(theirs)
    assert np.all(result.unfailed()[:FEW][both])
    assert_allclose(ours[both], theirs[both], rtol=1e-6)
    return side_by_side(
        lambda: [plain(case, point) for point in few],
        lambda: case.solve(arrays),
        plain_items=FEW,
        fast_items=POINTS,
        rounds=rounds,
    )


def test_400_flows_with_42_unanswerable():
    ratio = measured()
    print(line("sea with an exchanger, 400 random flows", ratio))
    assert ratio.ratio >= GOAL


if __name__ == "__main__":
    print(line("sea with an exchanger, 400 random flows", measured()))
