"""A log of 10 000 rows against a plain loop; run as a program or -m benchmark.

    PYTHONPATH=tests python -m benchmarks.bench_logbook

Plain: for each row `brentq` for the salt permeability inside `brentq` for the water permeability,
over a vessel in plain SciPy. Ours: all rows at once, with the error of each by the instruments.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
from benchmarks.side_by_side import line, side_by_side
from ro_plain import PlainVessel, line_properties
from scipy.optimize import brentq

from treatsim import cases
from treatsim.correlations.ro.solution_line import concentration_at, density_at, take_line
from treatsim.correlations.ro.vessel import Membrane, VesselFeed, solve_vessel
from treatsim.running.membrane_inverse import Errors, VesselReadings, invert
from treatsim.running.membrane_log import plant_of

WELL = Path(__file__).parents[2] / "cases" / "worn_well.toml"
ROWS, FEW = 10_000, 2
LONGEST = 3.0  # s of processor time
GOAL = 1_000  # ratio
INSTRUMENTS = Errors(0.01, 4e3, 0.01, 0.2)

pytestmark = pytest.mark.benchmark


class Race:
    """Rows with known membranes, and both ways back to them."""

    def __init__(self, count: int = ROWS) -> None:
        sheet = cases.load(WELL).flowsheet()
        self.plant = plant_of(sheet.units["ro"], sheet.source.water)
        u = np.random.default_rng(1).standard_normal((4, count))
        kelvin = 297.15 + 2 * u[0]
        self.water, self.salt = -0.2 + 0.1 * u[1], 0.3 + 0.2 * u[2]
        self.line, self.new = self.plant.line(kelvin), self.plant.membrane(kelvin)
        self.fraction = 0.00245 * np.exp(0.05 * u[3])
        self.mass = np.full(count, 2.4 / 3.6)
        feed = VesselFeed(self.mass, self.fraction, np.full(count, 12e5), 0.0)
        membrane = Membrane(
            self.new.water_permeability * np.exp(self.water),
            self.new.salt_permeability * np.exp(self.salt),
        )
        plant = self.plant
        found = solve_vessel(feed, membrane, plant.channel, self.line, plant.elements, plant.law)
        self.rows = VesselReadings(
            self.mass / density_at(self.line, self.fraction), feed.pressure,
            feed.pressure - found.concentrate_pressure, np.zeros(count),
            concentration_at(self.line, self.fraction), found.permeate_flow,
            found.permeate_concentration, kelvin,
        )  # fmt: skip

    def fast(self):
        return invert(self.rows, self.plant, INSTRUMENTS)

    def plain(self, index: int) -> tuple[float, float]:
        """Return ln of both ratios of one row."""
        channel, rows = self.plant.channel, self.rows
        one = take_line(self.line, np.array([index]))
        properties = line_properties(
            one._replace(**{k: [float(np.ravel(c)[0]) for c in getattr(one, k)]
                            for k in ("osmotic", "density", "log_viscosity", "log_diffusivity")})
        )  # fmt: skip
        feed = (self.mass[index], self.fraction[index], float(rows.feed_pressure[index]), 0.0)
        shape = (channel.area, channel.length, channel.height, channel.porosity)
        new = [float(np.broadcast_to(v, self.mass.shape)[index]) for v in self.new]

        def solve(water: float, salt: float):
            membrane = (new[0] * np.exp(water), new[1] * np.exp(salt))
            vessel = PlainVessel(feed, membrane, shape, properties)
            return vessel.solve(self.plant.elements, rtol=1e-7)

        def salt_at(water: float) -> float:
            return brentq(
                lambda b: solve(water, b)[1] / rows.permeate_concentration[index] - 1, -3, 3,
                xtol=1e-7,
            )  # fmt: skip

        water = brentq(
            lambda a: solve(a, salt_at(a))[0] / rows.permeate_flow[index] - 1, -1.5, 1.5, xtol=1e-7
        )
        return water, salt_at(water)


def test_both_ways_find_the_membrane_that_was_put_in():
    race = Race(50)
    found = race.fast()
    assert found.found.all()
    np.testing.assert_allclose(found.water, race.water, atol=1e-5)
    np.testing.assert_allclose(found.salt, race.salt, atol=1e-5)
    np.testing.assert_allclose(race.plain(7), [race.water[7], race.salt[7]], atol=1e-4)


def timed() -> tuple[float, object]:
    """Return processor time and what was found of all rows."""
    race = Race()
    race.fast()
    start = time.process_time()
    found = race.fast()
    return time.process_time() - start, found


def test_ten_thousand_rows_within_the_time():
    spent, found = timed()
    assert found.found.all()
    assert spent < LONGEST


def both():
    race = Race()
    return side_by_side(
        lambda: [race.plain(index) for index in range(FEW)], race.fast,
        plain_items=FEW, fast_items=ROWS, rounds=3,
    )  # fmt: skip


def test_against_the_plain_loop():
    assert both().ratio > GOAL


def main():
    print(f"10 000 rows inverted with their errors: {timed()[0]:.2f} s of processor time")
    print(line("a row of a log inverted, plain SciPy against ours", both()))


if __name__ == "__main__":
    main()
