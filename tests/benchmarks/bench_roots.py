"""The house's root finder against SciPy's elementwise one, on the house's own questions.

    PYTHONPATH=tests python -m benchmarks.bench_roots

Same bounds and tolerances. SciPy is given the bounds as bracket, as it takes no first guess; ours
is given the guess and need not know that the sign changes.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.flowsheet.equations import Equations
from treatsim.numerics import find_roots

CASES = Path(__file__).parents[2] / "cases"
RTOL, FTOL = 1e-12, 1e-12

pytestmark = pytest.mark.benchmark


def river(points: int):
    """Flow at which pump and line agree."""
    speed = np.linspace(0.6, 1.0, points)
    sheet = cases.load(CASES / "river.toml").flowsheet({"lift_pump.speed": speed})
    (unknown,) = sheet.unknowns()
    equations = Equations(sheet, [unknown], points)
    return lambda x, i: equations([x], i)[0], unknown.guess, unknown.low, unknown.high


def membrane(points: int):
    """Salt permeability of an element from its rejection."""
    rejection = np.linspace(0.98, 0.998, points)
    flux = 1.2e-5
    return lambda b, i: flux / (flux + b) - rejection[i], 1e-7, 1e-10, 1e-5


def largest_flow(points: int):
    """Factor on every dose of a lamp at which the reduction is what is asked, as a logarithm."""
    asked = np.linspace(0.5, 3.0, points)
    shares, doses = np.array([0.05, 0.2, 0.5, 0.25]), np.array([0.5, 0.8, 1.1, 1.4])

    def reduction(factor):
        return -np.log10(np.sum(shares * np.exp(-2 * doses * factor[:, None]), axis=1))

    guess = np.log(asked / reduction(np.ones(points)))
    return lambda x, i: reduction(np.exp(x)) / asked[i] - 1, guess, guess - 25.0, guess + 5.0


def hold(points: int):
    """Pressure for a recovery, the train solved at every trial."""
    case = cases.load(CASES / "sea.toml")
    wanted = np.linspace(0.20, 0.35, points)

    def missing(x, i):
        return (
            case.solve({"high_pressure_pump.outlet_pressure": x}).value("ro.recovery").value
            / (wanted[i])
            - 1
        )

    return missing, 55e5, 40e5, 90e5


QUESTIONS = {f.__name__: f for f in (river, membrane, largest_flow, hold)}


def measured(question: str, points: int):
    """Times, and evaluations per point, of SciPy's way and ours, after the same answers."""
    from scipy.optimize import elementwise

    f, guess, low, high = QUESTIONS[question](points)
    asked = [0]
    start = np.broadcast_to(guess, (points,))

    def counted(x, i):
        asked[0] += np.size(x)
        return f(x, i.astype(int))

    def ours():
        return find_roots(counted, start, low, high, rtol=RTOL, ftol=FTOL)

    def scipys():
        ends = tuple(np.broadcast_to(np.asarray(end, float), (points,)) for end in (low, high))
        tolerances = {"xatol": 0.0, "xrtol": RTOL, "fatol": FTOL, "frtol": 0.0}
        index = np.arange(points)
        return elementwise.find_root(counted, ends, args=(index,), tolerances=tolerances)

    counts = []
    found = []
    for way in (scipys, ours):
        asked[0] = 0
        found.append(way().x)
        counts.append(asked[0] / points)
    assert_allclose(*found, rtol=1e-9)
    rounds = 3 if points > 1000 else 7
    times = side_by_side(scipys, ours, plain_items=points, fast_items=points, rounds=rounds)
    return times, counts


@pytest.mark.parametrize("points", [1, 100, 10_000])
@pytest.mark.parametrize("question", QUESTIONS)
def test_ours_asks_no_more_often(question, points):
    """Evaluations are what costs where each is a train; they do not hang on the machine."""
    if question == "hold" and points > 100:
        points = 2000
    times, (theirs, own) = measured(question, points)
    print(line(f"{question}, {points}: {theirs:.1f} against {own:.1f} evaluations", times))
    assert own <= 1.05 * theirs


if __name__ == "__main__":
    for question in QUESTIONS:
        for points in (1, 100, 10_000):
            times, (theirs, own) = measured(question, points)
            print(line(f"{question}, {points}: {theirs:.1f} against {own:.1f} evaluations", times))
