"""Filters through six months against a plain loop; run as a program or -m benchmark.

    PYTHONPATH=tests python -m benchmarks.bench_spares

Plain: what a script with SciPy would do: scenario by scenario, hour by hour; in every hour that the
unit runs, `brentq` for the flow at which pump and line agree (this one train, written out by hand,
no limits, no lead time, water and elements known), then the loads. It is run over a small sample
and scaled by the hours run. Ours: 2 000 scenarios with their storms and elements, everything told
beside. Straight: the flowsheet itself once in every hour, which is what the plain loop replaces.
The goal of 300 is met against the flowsheet in a loop; against the loop by hand it is not.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from benchmarks.bench_train import HOUR2, friction_factor, water
from benchmarks.side_by_side import line, side_by_side
from scipy.optimize import brentq

from treatsim import cases
from treatsim.running.forecast import forecast
from treatsim.running.spares import plan_for, simulate

RIVER = Path(__file__).parents[2] / "cases" / "river.toml"
SCENARIOS, MONTHS, FEW = 2000, 6.0, 400
GOAL_STRAIGHT, LONGEST = 300, 10.0  # ratio; s

pytestmark = pytest.mark.benchmark


def surplus(flow, loads, density, viscosity) -> float:
    """Pressure left at the end of the river train with loaded filters. [Pa]"""
    area = np.pi / 4 * 0.05**2
    kinetic = density * (flow / area) ** 2 / 2
    head = 0.74**2 * 38.0 - 9.0 * (flow / (9.0 / 3600)) ** 2
    factor = friction_factor(density * flow / area * 0.05 / viscosity, 0.02 / 50)
    lost = kinetic * (2.0 / 0.7**2 + factor * 15.0 / 0.05 + 5.0) + 700.0 * HOUR2 * flow**2
    for (resistance, quadratic, capacity, ratio), load in zip(
        ((4.0e9, 800.0, 0.7, 15.0), (1.6e10, 1200.0, 0.25, 12.0)), loads, strict=True
    ):
        share = flow / 2
        lost += viscosity * resistance * ratio ** (load / capacity) * share
        lost += quadratic * HOUR2 * share**2
    return density * 9.80665 * (head - 6.0) - lost


def plain(hours: int, density: float, viscosity: float) -> int:
    """Follow one scenario through hours of running; return its changes."""
    loads, changes = [0.2, 0.06], 0
    for _ in range(hours):
        flow = brentq(surplus, 1e-6, 1e-2, args=(loads, density, viscosity), rtol=1e-10)
        for n, (share, capacity) in enumerate(((0.55, 0.7), (0.36, 0.25))):
            loads[n] += share * 0.007 * flow / 2 * 3600
            if loads[n] >= capacity:
                loads[n], changes = 0.0, changes + 1
    return changes


def straight(case, hours: int) -> None:
    """Solve the train itself hour by hour."""
    for _ in range(hours):
        case.solve({"bags.captured_mass": np.array([0.2])})


def ours(case) -> float:
    plan = plan_for(case, MONTHS)
    forecast(case, plan, simulate(plan, SCENARIOS), None)
    return float(plan.on.sum())


def measured(slow, items: int, rounds: int = 3):
    case = cases.load(RIVER)
    running = ours(case) * SCENARIOS
    return side_by_side(slow, lambda: ours(case), plain_items=items, fast_items=int(running),
                        rounds=rounds)  # fmt: skip


def test_six_months_of_the_river():
    case = cases.load(RIVER)
    properties = water(case)
    loop = measured(lambda: plain(FEW, *properties), FEW)
    print(line("an hour of running, against brentq in a loop", loop))
    by_train = measured(lambda: straight(case, 20), 20)
    print(line("an hour of running, against the train in a loop", by_train))
    start = time.perf_counter()
    ours(case)
    print(f"six months, {SCENARIOS} scenarios: {time.perf_counter() - start:.1f} s")
    assert by_train.ratio >= GOAL_STRAIGHT
    assert loop.ratio > 10


if __name__ == "__main__":
    test_six_months_of_the_river()
