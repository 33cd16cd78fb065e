"""Filters through six months against loops by hand; run as a program or -m benchmark.

    PYTHONPATH=tests python -m benchmarks.bench_spares

Ours: 2 000 scenarios with their storms and elements, lead time, limits, dose and packing list; its
time is divided by the hours run. Three loops over hours of running, a sample of each, in one run:

Plain: the same question put to plain SciPy, hour by hour: `brentq` for the flow at which pump,
hose and filters agree (this one train, written out by hand in bare floats), the loads of the
elements, and whether the dose is reached in the water of that hour, by `dblquad` over the annulus
(the shrewd way of bench_train). Water and elements known, no limits, no lead time. Goal 300.
Bare: the same loop without the dose, which is less than what ours tells. No goal: told beside.
Straight: the flowsheet itself solved in every hour, which is what a loop over the model would do.
"""

from __future__ import annotations

import statistics
import time
from pathlib import Path

import numpy as np
import pytest
from benchmarks.bench_train import HOUR2, VOLUME, friction_factor, shrewd_mean, water
from scipy.optimize import brentq

from treatsim import cases
from treatsim.running.forecast import forecast
from treatsim.running.spares import plan_for, simulate

RIVER = Path(__file__).parents[2] / "cases" / "river.toml"
SCENARIOS, MONTHS = 2000, 6.0
FEW, SHADED, SOLVED, ROUNDS = 2000, 40, 20, 3  # hours of each loop; rounds in turn
GOAL = 300

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


def bare(hours: int, density: float, viscosity: float) -> list[float]:
    """Follow one scenario through hours of running; return the flow of each."""
    loads, flows = [0.2, 0.06], []
    for _ in range(hours):
        flow = brentq(surplus, 1e-6, 1e-2, args=(loads, density, viscosity), rtol=1e-10)
        flows.append(flow)
        for n, (share, capacity) in enumerate(((0.55, 0.7), (0.36, 0.25))):
            loads[n] += share * 0.007 * flow / 2 * 3600
            if loads[n] >= capacity:
                loads[n] = 0.0
    return flows


def plain(turbidity: np.ndarray, density: float, viscosity: float) -> int:
    """Follow one scenario; return the hours in which the mean dose is below 40 mJ/cm2."""
    flows = bare(len(turbidity), density, viscosity)
    under = 0
    for flow, muddy in zip(flows, turbidity, strict=True):
        absorption = 15.08 + 0.247 * max(muddy - 4.5, 0.0)
        under += shrewd_mean(50.4, absorption) * VOLUME / flow < 400.0
    return under


def straight(case, hours: int) -> None:
    """Solve the train itself hour by hour."""
    for _ in range(hours):
        case.solve({"bags.captured_mass": np.array([0.2])})


def ours(case) -> float:
    plan = plan_for(case, MONTHS)
    forecast(case, plan, simulate(plan, SCENARIOS), None)
    return float(plan.on.sum())


def test_six_months_of_the_river():
    case = cases.load(RIVER)
    properties = water(case)
    muddy = 4.5 * np.exp(0.5 * np.random.default_rng(3).standard_normal(SHADED))
    loops = {
        "plain, with the dose": (SHADED, lambda: plain(muddy, *properties)),
        "bare, flow and loads alone": (FEW, lambda: bare(FEW, *properties)),
        "the train in a loop": (SOLVED, lambda: straight(case, SOLVED)),
    }
    told: dict[str, list[tuple[float, float]]] = {name: [] for name in loops}
    for _ in range(ROUNDS):
        start = time.perf_counter(), time.process_time()
        hours = ours(case) * SCENARIOS
        took = time.perf_counter() - start[0], time.process_time() - start[1]
        print(f"six months, {SCENARIOS} scenarios: {took[0]:.1f} s, of processor {took[1]:.1f} s")
        for name, (items, loop) in loops.items():
            begin = time.process_time()
            loop()
            told[name].append(((time.process_time() - begin) / items, took[1] / hours))
    ratios = {name: statistics.median(a / b for a, b in pairs) for name, pairs in told.items()}
    for name, pairs in told.items():
        one = [1e6 * statistics.median(column) for column in zip(*pairs, strict=True)]
        print(f"{name:<28} {one[0]:>10.1f} us {one[1]:>8.2f} us an hour {ratios[name]:>9.0f} times")
    assert ratios["plain, with the dose"] >= GOAL
    assert ratios["the train in a loop"] >= GOAL
    assert ratios["bare, flow and loads alone"] > 10


if __name__ == "__main__":
    test_six_months_of_the_river()
