"""Speed of a sweep against a loop of single solves; run as a program or with -m benchmark.

The sea over its pressure alone is also held against a loop of lone points with all that a lone
point is told (highest recoveries before scale). When these benchmarks were begun such a point took
94 ms on an idle machine, 88 of them chemistry, and the goal was 1 500 times that speed: 63 us. A
point of the sweep takes 21 us by now, 4 500 times less; a lone one takes a fifth of what it did, so
that the ratio of today is the smaller one.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side

from treatsim import cases
from treatsim.safety.verdict import judge
from treatsim.studies.columns import choose
from treatsim.studies.sweep import CHUNK, sweep
from treatsim.studies.vary import grid_of

CASES = Path(__file__).parents[2] / "cases"
TRAINS = {
    "river": {"lift_pump.speed": "50 %:100 %:100", "water.uv_transmittance": "75 %:95 %:100"},
    "sea": {
        "high_pressure_pump.outlet_pressure": "45 bar:65 bar:100",
        "water.temperature": "8 degC:32 degC:100",
    },
}
PRESSURE = {"high_pressure_pump.outlet_pressure": "45 bar:65 bar:10000"}
FEW = 20  # single solves per round
GOAL, GOAL_LONE = 400, 700


def measured(train: str):
    """The ratio, with the same answers asked of both ways."""
    case = cases.load(CASES / f"{train}.toml")
    grid = grid_of(case, TRAINS[train])
    shown = list(choose(case, grid, (), CHUNK))
    some = np.linspace(0, grid.points - 1, FEW).astype(int)

    def one_by_one():
        for n in some:
            # twice the same point: what only a lone point is asked (scale, boron) is left out
            verdict = judge(case.solve(grid.arrays(np.array([n, n]))))
            [verdict.value(address).value for address in shown]

    return side_by_side(
        one_by_one, lambda: sweep(case, TRAINS[train]), plain_items=FEW, fast_items=grid.points
    )


def lone():
    """The ratio of the sea over its pressure, against points that are told all."""
    case = cases.load(CASES / "sea.toml")
    grid = grid_of(case, PRESSURE)
    some = np.linspace(0, grid.points - 1, FEW).astype(int)

    def one_by_one():
        for n in some:
            _ = judge(case.solve(grid.arrays(np.array([n])))).values

    return side_by_side(
        one_by_one,
        lambda: sweep(case, PRESSURE),
        plain_items=FEW,
        fast_items=grid.points,
        rounds=3,
    )


@pytest.mark.benchmark
@pytest.mark.parametrize("train", TRAINS)
def test_sweep_of_10_000_points(train):
    ratio = measured(train)
    print(line(f"sweep, 10 000 points of the {train} train", ratio))
    assert ratio.ratio >= GOAL


@pytest.mark.benchmark
def test_sea_over_its_pressure_against_lone_points():
    ratio = lone()
    print(line("sweep, 10 000 pressures of the sea train, lone points", ratio))
    assert ratio.ratio >= GOAL_LONE


if __name__ == "__main__":
    print(line("sweep, 10 000 pressures of the sea train, lone points", lone()))
    for train in TRAINS:
        print(line(f"sweep, 10 000 points of the {train} train", measured(train)))
