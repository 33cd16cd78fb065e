"""The whole river train against plain SciPy, point by point; run as a program or -m benchmark.

    PYTHONPATH=tests python -m benchmarks.bench_train

Plain: `brentq` for the flow at which pump and line agree; `quad` along the arc for the straight-ray
field at a place, `dblquad` of that over the annulus for the mean fluence rate. The train gives the
same two numbers, and every dose, criterion and balance beside them.
Shrewd: the same mean by one double integral, since only the distance along the axis counts; what
somebody gets who thinks first. Told beside, without a goal.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side
from numpy.testing import assert_allclose
from scipy.integrate import dblquad, quad
from scipy.optimize import brentq

from treatsim import cases
from treatsim.safety.verdict import judge

RIVER = Path(__file__).parents[2] / "cases" / "river.toml"
ADDRESSES = ("product.flow", "uv.fluence_rate_mean", "uv.dose_mean", "uv.dose_credited")
GOAL_MANY, GOAL_ONE = 1000, 5
GRAVITY = 9.80665
HOUR2 = 3600.0**2

pytestmark = pytest.mark.benchmark


def combinations(count: int) -> dict[str, np.ndarray]:
    """Return pump speeds, transmittances and lamp ages."""
    u = np.random.default_rng(7).random((3, count))
    return {
        "lift_pump.speed": 0.55 + 0.45 * u[0],
        "water.uv_transmittance": 0.70 + 0.27 * u[1],
        "uv.ageing_factor": 0.75 + 0.25 * u[2],
    }


def friction_factor(reynolds: float, relative: float) -> float:
    """Churchill's factor (Darcy)."""
    a = (-2.457 * math.log((7 / reynolds) ** 0.9 + 0.27 * relative)) ** 16
    b = (37530 / reynolds) ** 16
    return 8 * ((8 / reynolds) ** 12 + (a + b) ** -1.5) ** (1 / 12)


def surplus(flow: float, speed: float, density: float, viscosity: float) -> float:
    """Pressure left at the end of the river train. [Pa]"""
    area = math.pi / 4 * 0.05**2
    kinetic = density * (flow / area) ** 2 / 2
    rated = 9.0 / 3600
    head = speed**2 * 38.0 - (38.0 - 29.0) * (flow / rated) ** 2
    factor = friction_factor(density * flow / area * 0.05 / viscosity, 0.02 / 50)
    lost = kinetic * (2.0 / 0.7**2 + factor * 15.0 / 0.05 + 5.0)
    for resistance, quadratic, load, ratio in (
        (4.0e9, 800.0, 200 / 700, 15.0),
        (1.6e10, 1200.0, 60 / 250, 12.0),
    ):
        share = flow / 2
        lost += viscosity * resistance * ratio**load * share + quadratic * HOUR2 * share**2
    lost += 700.0 * HOUR2 * flow**2
    return density * GRAVITY * (head - 6.0) - lost


INNER, OUTER, LENGTH = 0.012, 0.075, 1.5  # m; the arc is as long as the chamber
VOLUME = math.pi * (OUTER**2 - INNER**2) * LENGTH


def plain_mean(power: float, absorption: float) -> float:
    """Mean fluence rate over the annulus: the field at a place, then over all places."""

    def field(z: float, r: float) -> float:
        def ray(x: float) -> float:
            distance = math.hypot(r, z - x)
            return math.exp(-absorption * distance * (1 - INNER / r)) / distance**2

        return 2 * math.pi * r * quad(ray, 0.0, LENGTH, points=(z,), epsrel=1e-6, epsabs=0.0)[0]

    total, _ = dblquad(field, INNER, OUTER, 0.0, LENGTH, epsrel=1e-6, epsabs=0.0)
    return power / (4 * math.pi * LENGTH) * total / VOLUME


def shrewd_mean(power: float, absorption: float) -> float:
    """Mean over the annulus by the density of distances along the axis.

    Only the distance u along the axis between arc and place counts, and it occurs (L - u) times.
    """

    def field(u: float, r: float) -> float:
        ray = math.hypot(r, u)
        return 2 * (LENGTH - u) * r * math.exp(-absorption * ray * (1 - INNER / r)) / ray**2

    total, _ = dblquad(field, INNER, OUTER, 0.0, LENGTH, epsrel=1e-6, epsabs=0.0)
    return power / (4 * math.pi * LENGTH) * 2 * math.pi * total / VOLUME


def point(mean, row, density: float, viscosity: float) -> tuple[float, float]:
    """Flow and mean fluence rate of one setting."""
    speed, transmittance, age = row
    flow = brentq(surplus, 1e-6, 1e-2, args=(speed, density, viscosity), rtol=1e-10)
    return flow, mean(70.0 * age * 0.9, -100 * math.log(transmittance))


def river():
    return cases.load(RIVER, {"uv.interfaces": "straight"})


def solved(case, arrays):
    result = judge(case.solve(arrays)).result
    return [result.value(address).value for address in ADDRESSES]


def water(case) -> tuple[float, float]:
    source = case.flowsheet().source
    return float(np.asarray(source.density)), float(np.asarray(source.viscosity))


def measured(count: int, mean=plain_mean, rounds: int = 5):
    """Compare `count` points at once with a few of them by SciPy."""
    case, arrays = river(), combinations(count)
    few = min(count, 2)
    properties = water(case)
    rows = [tuple(float(value[n]) for value in arrays.values()) for n in range(few)]
    ours = solved(case, arrays)
    theirs = np.array([point(mean, row, *properties) for row in rows]).T
    assert_allclose(ours[0][:few], theirs[0], rtol=1e-6)  # the same question, the same answer
    assert_allclose(ours[1][:few], theirs[1], rtol=1e-4)
    return side_by_side(
        lambda: [point(mean, row, *properties) for row in rows],
        lambda: solved(case, arrays),
        plain_items=few,
        fast_items=count,
        rounds=rounds,
    )


def test_ten_thousand_combinations():
    ratio = measured(10_000)
    print(line("river train, 10 000 settings at once", ratio))
    assert ratio.ratio >= GOAL_MANY


def test_one_solve():
    ratio = measured(1)
    print(line("river train, one setting", ratio))
    assert ratio.ratio >= GOAL_ONE


if __name__ == "__main__":
    print(line("river train, 10 000 settings at once", measured(10_000)))
    print(line("river train, one setting", measured(1)))
    print(line("10 000 at once, against the shrewd way", measured(10_000, shrewd_mean)))
    print(line("one setting, against the shrewd way", measured(1, shrewd_mean)))
