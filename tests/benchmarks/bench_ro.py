"""Reverse-osmosis vessel: plain SciPy against the march, at errors of 1e-5 on both sides.

    PYTHONPATH=tests python -m benchmarks.bench_ro

Plain: `solve_ivp` along the vessel with `brentq` for the flux at every place, on Python floats.
Then the sea train over pressures, against a loop of single solves: of those that this run times,
and of those at which the train was first measured.
The march is timed on arrays, and compiled (extra `fast`), as both go on once they have begun.
"""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import ro_compiled
import ro_waters
from benchmarks.side_by_side import line as report
from benchmarks.side_by_side import seconds, side_by_side
from ro_plain import PlainVessel, line_properties

from treatsim import cases
from treatsim.correlations.ro import vessel_effort
from treatsim.correlations.ro.spacer_channel import SpacerChannel
from treatsim.correlations.ro.vessel import Membrane, VesselFeed, solve_vessel
from treatsim.correlations.ro.vessel_inverse import pressure_for_permeate

CHANNEL = SpacerChannel(7.4, 0.90, 0.71e-3, 0.89)
ELEMENTS = 6
PLAIN = {"method": "DOP853", "rtol": 3e-6}  # the fastest of SciPy's methods at this error
SAMPLE = 24  # points the plain way gets per round
SEA = Path(__file__).parents[2] / "cases" / "sea.toml"
PRESSURE = "high_pressure_pump.outlet_pressure"
FIRST_MEASURED = (
    2.35  # plain vessels in the time of one sea solve, when all units were run each time
)
GOALS = {"arrays": 900, "compiled": 3000}
GOAL_ALONE, GOAL_SEA = 10, 1500

pytestmark = pytest.mark.benchmark


def points(count: int):
    """Half brackish, half sea water, over the range of sensible designs."""
    u = np.random.default_rng(1).random((6, count))
    sea = u[5] < 0.5
    fraction = np.where(sea, 0.030 + 0.012 * u[0], 0.001 + 0.007 * u[0])
    A = np.where(sea, 4e-12, 1e-11) * (0.6 + 0.7 * u[1])
    B = np.where(sea, 5e-8, 6e-8) * (0.6 + u[2])
    mass = 0.36 + 0.51 * u[3]
    pressure = np.where(sea, 45e5 + 20e5 * u[4], 7e5 + 9e5 * u[4])
    return VesselFeed(mass, fraction, pressure), Membrane(A, B)


def some(record, index):
    return type(record)(*(v[index] if np.ndim(v) else v for v in record))


@contextmanager
def march_by(way: str):
    """The march on arrays, or compiled, whatever would pay."""
    effort = vessel_effort._Effort
    before = effort.march, effort.next_look
    effort.march = ro_compiled.march() if way == "compiled" else None
    effort.next_look = np.inf
    try:
        yield
    finally:
        effort.march, effort.next_look = before


class Race:
    """Both ways over the same points."""

    def __init__(self, count: int):
        self.feed, self.membrane = points(count)
        self.count = count
        self.line = ro_waters.salt_line(25.0)
        self.properties = line_properties(self.line)

    def plain(self, indices):
        return [
            PlainVessel(
                tuple(float(v) for v in (*some(self.feed, i)[:3], 0.0)),
                tuple(float(v) for v in some(self.membrane, i)),
                CHANNEL,
                self.properties,
            ).solve(ELEMENTS, **PLAIN)
            for i in indices
        ]

    def fast(self, index=slice(None), tolerance=1e-5):
        return solve_vessel(
            some(self.feed, index), some(self.membrane, index), CHANNEL, self.line, ELEMENTS,
            tolerance=tolerance,
        )  # fmt: skip

    def errors(self, tolerance=1e-5):
        """Worst relative error of permeate flow, permeate and concentrate, of either way."""
        sample = np.arange(10 * SAMPLE)
        exact = self.fast(sample, 1e-11)
        names = ("permeate_flow", "permeate_concentration", "concentrate_fraction")
        target = np.array([getattr(exact, name) for name in names])
        plain = np.array(self.plain(sample))[:, :3].T
        fast = self.fast(sample, tolerance)
        quick = np.array([getattr(fast, name) for name in names])
        return [np.abs(way / target - 1).max() for way in (plain, quick)]

    def inverse(self):
        flow = self.fast().permeate_flow
        found = pressure_for_permeate(flow, self.feed, self.membrane, CHANNEL, self.line, ELEMENTS)
        off = np.abs(found.pressure / self.feed.pressure - 1).max()
        return found.solves, off, bool(found.reached.all())


def batch(count: int, tolerance: float = 1e-5, way: str = "arrays"):
    race = Race(count)
    with march_by(way):
        return race, side_by_side(
            lambda: race.plain(range(SAMPLE)),
            lambda: race.fast(tolerance=tolerance),
            plain_items=SAMPLE,
            fast_items=count,
            rounds=9,
        )


def single():
    race = Race(1)
    with march_by("arrays"):
        return side_by_side(
            lambda: race.plain([0]), lambda: race.fast(0), fast_repeats=3, rounds=15
        )


def sea(way: str):
    """Ratio of single solves of the sea train to a point of 10 000 at once."""
    case = cases.load(SEA)
    pressures = np.linspace(45e5, 65e5, 10_000)

    def one_by_one():
        for pressure in pressures[::1000]:
            case.solve({PRESSURE: np.array([pressure])})

    with march_by(way):
        return side_by_side(
            one_by_one,
            lambda: case.solve({PRESSURE: pressures}),
            plain_items=10,
            fast_items=10_000,
            rounds=9,
        )


@pytest.mark.parametrize("way", list(GOALS))
def test_many_vessels(way):
    _, result = batch(10_000, way=way)
    print(report(f"six elements, 10 000 points, {way}", result))
    assert result.ratio >= GOALS[way]


def test_one_vessel():
    result = single()
    print(report("six elements, one point alone", result))
    assert result.ratio >= GOAL_ALONE


def test_errors_of_both_ways_are_alike():
    plain, fast = Race(1000).errors()
    assert plain < 3e-5
    assert fast < 3e-5


def test_inverse_needs_few_solves():
    solves, off, reached = Race(4000).inverse()
    assert reached
    assert solves <= 8
    assert off < 1e-5


def main():
    race, result = batch(10_000)
    for tolerance in (1e-5, 1e-4):
        plain, fast = race.errors(tolerance)
        print(f"worst error, plain {plain:.1e}, march at tolerance {tolerance:.0e} {fast:.1e}")
    print(f"{'six elements':<58} {'plain':>14} {'march':>12} {'ratio':>8}")
    print(report(f"one point of 10 000, arrays (goal {GOALS['arrays']})", result))
    compiled = batch(10_000, way="compiled")[1]
    print(report(f"one point of 10 000, compiled (goal {GOALS['compiled']})", compiled))
    print(report("one point of 10 000, arrays at tolerance 1e-4", batch(10_000, 1e-4)[1]))
    print(report("one point of 1 000, arrays", batch(1000)[1]))
    print(report("one point of 1 000, compiled", batch(1000, way="compiled")[1]))
    print(report(f"one point alone (goal {GOAL_ALONE})", single()))
    solves, off, _ = race.inverse()
    forward = seconds(race.fast, 3)
    back = seconds(race.inverse, 1) - forward
    print(
        f"pressure for permeate: {solves:.2f} solves a point, {back / forward:.1f} times the time"
    )
    print(f"of one solve, {1e6 * back / race.count:.1f} us a point, worst error {off:.1e}")
    for way in GOALS:
        found = sea(way)
        print(report(f"sea train over 10 000 pressures, {way}", found))
        first = FIRST_MEASURED * result.plain / found.fast
        print(f"  against single solves as first measured {first:.0f} (goal {GOAL_SEA})")


if __name__ == "__main__":
    main()
