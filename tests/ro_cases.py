"""Element classes and whole-path cases of the reverse-osmosis tests; all invented, round values."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import ro_waters

from treatsim.correlations.ro.element_fit import StandardTest
from treatsim.correlations.ro.membrane_transport import arrhenius_factor
from treatsim.correlations.ro.solution_line import density_at, fraction_at
from treatsim.correlations.ro.spacer_channel import SCHOCK_MIQUEL, SpacerChannel
from treatsim.correlations.ro.vessel import Membrane, VesselFeed, solve_vessel

SALT_ACTIVATION = 30e3  # J/mol; 25 to 35 kJ/mol is usual, from memory
# area m2, A m/(s Pa), B m/s at 25 C
ELEMENTS = {
    "B25": (2.6, 1.081944e-11, 7.497727e-8),
    "B40": (7.8, 1.035750e-11, 6.159686e-8),
    "S25": (2.7, 4.111773e-12, 5.294763e-8),
    "S40": (7.4, 4.262132e-12, 4.554485e-8),
}


class Case(NamedTuple):
    element: str
    elements: int
    salinity: float  # g/L of sodium chloride, or g/kg of sea salt
    celsius: float
    flow: float  # m3/h
    pressure: float  # bar


CASES = {
    "W1_bw1": Case("B40", 1, 2.0, 25, 1.6, 8.5),
    "W2_bw2": Case("B40", 3, 3.0, 20, 2.0, 10.0),
    "W3_bw3": Case("B25", 3, 1.5, 30, 0.7, 7.0),
    "W5_bw5": Case("B40", 4, 10.0, 15, 2.4, 19.0),
    "W7_sw1": Case("S40", 1, 35.0, 25, 1.6, 45.0),
    "W8_sw2": Case("S40", 4, 35.0, 25, 2.2, 48.0),
    "W12_sw6": Case("S25", 3, 38.0, 25, 0.8, 50.0),
    "W14_bw7": Case("B40", 3, 5.0, 15, 1.6, 13.7211),
}


def channel(element: str) -> SpacerChannel:
    return SpacerChannel(ELEMENTS[element][0], 0.90, 0.71e-3, 0.89)


def membrane(element: str, celsius: float = 25.0) -> Membrane:
    _, A, B = ELEMENTS[element]
    kelvin = celsius + 273.15
    return Membrane(A * arrhenius_factor(kelvin), B * arrhenius_factor(kelvin, SALT_ACTIVATION))


def line_of(case: Case):
    if case.element.startswith("S"):
        return ro_waters.sea_line(case.celsius)
    return ro_waters.salt_line(case.celsius)


def feed_of(case: Case, line) -> VesselFeed:
    sea = case.element.startswith("S")
    fraction = 1e-3 * case.salinity if sea else float(fraction_at(line, case.salinity))
    mass = case.flow / 3600 * float(density_at(line, fraction))
    return VesselFeed(mass, fraction, 1e5 * case.pressure)


def problem(name: str):
    """Arguments of solve_vessel for a case."""
    case = CASES[name]
    line = line_of(case)
    return (
        feed_of(case, line),
        membrane(case.element, case.celsius),
        channel(case.element),
        line,
        case.elements,
    )


def standard_tests(seawater_recovery=0.08):
    names = ("B25", "B40", "S25", "S40")
    test = StandardTest(
        np.array([3.2, 9.2, 2.4, 6.8]) / 86400,
        np.array([0.993, 0.994, 0.994, 0.995]),
        np.array([2.0, 2.0, 32.0, 32.0]),
        np.array([15.5e5, 15.5e5, 55e5, 55e5]),
        np.array([0.15, 0.15, seawater_recovery, seawater_recovery]),
    )
    areas = np.array([ELEMENTS[name][0] for name in names])
    return test, SpacerChannel(areas, 0.90, 0.71e-3, 0.89), ro_waters.salt_line(25.0)


def repeated(test, channel, line, membrane, law=SCHOCK_MIQUEL):
    fraction = np.array([fraction_at(line, c) for c in test.feed_concentration])
    mass = test.permeate_flow / test.recovery * density_at(line, fraction)
    feed = VesselFeed(mass, fraction, test.pressure)
    return solve_vessel(feed, membrane, channel, line, 1, law, 1e-11)


def random_points(count: int, seed: int):
    """Operating points much wider than any design: from below osmotic to nearly used up."""
    rng = np.random.default_rng(seed)

    def spread(low, high):
        return low * (high / low) ** rng.random(count)

    feed = VesselFeed(
        spread(1 / 3600, 3000 / 3600), spread(1e-6, 0.07), spread(1e4, 1e7), rng.random(count) * 1e4
    )
    return feed, Membrane(spread(2e-13, 2e-11), spread(1e-9, 1e-6))
