"""The whole-path cases with the project's own property tables, not the tests' formulas."""

import numpy as np
import pytest
import ro_cases

from treatsim.correlations.ro.solution_line import fraction_at, line_of_water, osmotic_pressure
from treatsim.correlations.ro.vessel import solve_vessel
from treatsim.correlations.ro.vessel_inverse import pressure_for_permeate
from treatsim.water import analysis
from treatsim.water.water_table import water_table


def table(case):
    if case.element.startswith("S"):
        return water_table(analysis.of_salt("seawater", mass_fraction=1e-3 * case.salinity))
    return water_table(analysis.of_salt("sodium_chloride", mass_fraction=1e-3 * case.salinity))


@pytest.mark.parametrize("name", ro_cases.CASES)
def test_whole_path_with_the_table(name):
    case = ro_cases.CASES[name]
    line = line_of_water(table(case), case.celsius + 273.15)
    reference = ro_cases.problem(name)
    expected = solve_vessel(*reference)
    feed = ro_cases.feed_of(case, line)
    got = solve_vessel(feed, *reference[1:3], line, case.elements)
    off = {
        "flow": float(got.permeate_flow / expected.permeate_flow - 1),
        "permeate": float(got.permeate_concentration / expected.permeate_concentration - 1),
        "drop": float(
            (feed.pressure - got.concentrate_pressure)
            / (feed.pressure - expected.concentrate_pressure)
            - 1
        ),
    }
    print(name, {key: f"{value:+.1e}" for key, value in off.items()})
    assert abs(off["flow"]) < 2e-3
    assert abs(off["permeate"]) < 4e-3
    assert abs(off["drop"]) < 6e-3


def test_each_point_its_own_temperature():
    case = ro_cases.CASES["W5_bw5"]
    water, kelvin = table(case), np.array([283.15, 288.15, 298.15, 308.15])
    _, membrane, channel, _, elements = ro_cases.problem("W5_bw5")
    many = line_of_water(water, kelvin)
    feed = ro_cases.feed_of(case, line_of_water(water, 288.15))
    vessel = solve_vessel(feed, membrane, channel, many, elements)
    for i, T in enumerate(kelvin):
        line = line_of_water(water, T)
        one = solve_vessel(feed, membrane, channel, line, elements)
        np.testing.assert_allclose(vessel.permeate_flow[i], one.permeate_flow, rtol=1e-9, atol=0)
        np.testing.assert_allclose(
            osmotic_pressure(line, fraction_at(line, 10.0)),
            water.osmotic_pressure(fraction_at(line, 10.0), T),
            rtol=1e-4,
            atol=0,
        )
    kept = pressure_for_permeate(vessel.permeate_flow, feed, membrane, channel, many, elements)
    np.testing.assert_allclose(kept.pressure, feed.pressure, rtol=1e-6, atol=0)
