"""Chemistry of many concentrates against a plain loop over PHREEQC; run as a program or
-m benchmark.

    PYTHONPATH=tests python -m benchmarks.bench_chemistry

Plain: one run of PHREEQC's databases for each point. Ours: the whole well solved and judged at
10 000 settings, saturations among the limits, once its tables stand.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side

from treatsim import cases
from treatsim.case_sections import analysis_of
from treatsim.safety.verdict import judge
from treatsim.water.scaling import saturation

WELL = Path(__file__).parents[2] / "cases" / "papers_well.toml"
POINTS, FEW = 10_000, 5
GOAL, LONGEST = 100, 2.0  # ratio; s of processor time

pytestmark = pytest.mark.benchmark


def judged(case, settings):
    """Solve and judge a well at many pressures; returns the saturations of calcite."""
    verdict = judge(case.solve({"high_pressure_pump.outlet_pressure": settings}))
    return verdict.values["ro.saturation_bulk.calcite"].value


def measured():
    """PHREEQC point by point, and all points at once; s of processor time for all."""
    case = cases.load(WELL)
    pressure = float(case.parameters["high_pressure_pump"].outlet_pressure)
    settings = pressure * np.linspace(0.8, 1.05, POINTS)
    analysis = analysis_of(case.sections["water"])
    warm = float(case.sections["water"].temperature)
    judged(case, settings)
    start = time.process_time()
    judged(case, settings)
    spent = time.process_time() - start
    factors = np.linspace(1.2, 2.0, FEW)
    return spent, side_by_side(
        lambda: [saturation(analysis, factor, warm) for factor in factors],
        lambda: judged(case, settings),
        plain_items=FEW,
        fast_items=POINTS,
        rounds=3,
    )


def test_ten_thousand_waters_are_judged_in_two_seconds():
    spent, found = measured()
    print(f"\n{line('PHREEQC point by point over 10 000 judged', found)}; {spent:.2f} s for all")
    assert spent < LONGEST
    assert found.ratio > GOAL


if __name__ == "__main__":
    total, ratio = measured()
    print(f"{line('PHREEQC point by point over 10 000 judged', ratio)}; {total:.2f} s for all")
