"""A vessel whose membranes let salt through with the water: Spiegler and Kedem's law.

Who is hurt if it is wrong: who drinks what a worn or loose membrane passes. The law is held by
its closed form, by a SciPy march of the equations as they are written, and by its limits.
"""

import numpy as np
import pytest
import ro_cases
import ro_waters
from ro_cases import repeated, standard_tests
from ro_plain import PlainVessel, line_properties

from treatsim.correlations.ro import vessel_march
from treatsim.correlations.ro.element_fit import fit_element
from treatsim.correlations.ro.reflection import permeability_at
from treatsim.correlations.ro.vessel import (
    Membrane,
    VesselFeed,
    element_results,
    solve_vessel,
)
from treatsim.correlations.ro.vessel_inverse import pressure_for_permeate
from treatsim.correlations.ro.vessel_kernel import ARRAYS, FLOATS
from treatsim.errors import DomainError

LMH = 1 / 3.6e6


def same(got, expected, rtol):
    np.testing.assert_allclose(got, expected, rtol=rtol, atol=0)


def rejection(J, B, s):
    return J / (J + permeability_at(ARRAYS, B, s, J)[0])


def test_rejection_at_the_membrane(agree):
    agree("T14_rejection", rejection(20 * LMH, 0.20 * LMH, np.array([0.995, 1.0])))


def test_rejection_rises_with_the_flux_to_the_reflection_coefficient():
    J = np.geomspace(0.01, 3000, 60) * LMH
    for s in (0.9, 0.99, 0.9999):
        found = rejection(J, 0.2 * LMH, s)
        F = np.exp(-J * (1 - s) / (0.2 * LMH))
        same(found, s * (1 - F) / (1 - s * F), 1e-9)
        assert np.all(np.diff(found) >= -4e-16)  # the last digit
        assert np.all(found <= s * (1 + 4e-16))
    same(rejection(1.0, 0.2 * LMH, 0.9), 0.9, 1e-12)  # endless flux
    same(rejection(J, 0.2 * LMH, 1 - 1e-13), rejection(J, 0.2 * LMH, 1.0), 1e-9)


def test_floats_and_arrays_and_the_slope_agree():
    J = np.geomspace(1e-30, 1e-3, 80)
    value, slope = permeability_at(ARRAYS, 5e-8, 0.97, J)
    single = [permeability_at(FLOATS, 5e-8, 0.97, j) for j in J.tolist()]
    same(np.array(single).T, [value, slope], 1e-13)
    up, down = (permeability_at(ARRAYS, 5e-8, 0.97, J * f)[0] for f in (1.0001, 1 / 1.0001))
    quotient = (np.log(up) - np.log(down)) / (2 * np.log(1.0001))
    np.testing.assert_allclose(slope, quotient, rtol=0, atol=1e-8)


def four(vessel):
    parts = (vessel.permeate_flow, vessel.permeate_concentration, vessel.concentrate_fraction)
    return [float(v) for v in (*parts, vessel.concentrate_pressure)]


@pytest.mark.parametrize("s", [0.9999, 0.995, 0.95])
@pytest.mark.parametrize("name", ["W2_bw2", "W5_bw5", "W8_sw2", "W12_sw6"])
def test_against_solve_ivp_of_the_law_as_written(name, s):
    feed, membrane, channel, line, elements = ro_cases.problem(name)
    membrane = membrane._replace(reflection=s)
    plain = PlainVessel(feed, membrane, channel, line_properties(line), rtol=1e-13)
    expected = plain.solve(elements, method="DOP853", rtol=1e-10, atol=1e-13)
    for tolerance, rtol in ((1e-5, 1e-6), (1e-11, 2e-8)):
        vessel = solve_vessel(feed, membrane, channel, line, elements, tolerance=tolerance)
        assert vessel.status == vessel_march.OK
        same(four(vessel), expected, rtol)


@pytest.mark.parametrize("name", ["W5_bw5", "W8_sw2"])
def test_one_is_solution_diffusion_to_the_last_digit(name):
    feed, membrane, channel, line, elements = ro_cases.problem(name)
    diffusion = solve_vessel(feed, membrane, channel, line, elements)
    assert diffusion.problem.reflection is None
    ones = membrane._replace(reflection=np.ones(3))
    three = membrane._replace(water_permeability=np.full(3, membrane.water_permeability))
    assert np.array_equal(
        solve_vessel(feed, ones, channel, line, elements).permeate_flow,
        solve_vessel(feed, three, channel, line, elements).permeate_flow,
    )
    beside = membrane._replace(reflection=np.array([1.0, 0.97]))
    mixed = solve_vessel(feed, beside, channel, line, elements)
    same(mixed.permeate_flow[0], diffusion.permeate_flow, 1e-12)
    same(mixed.permeate_concentration[0], diffusion.permeate_concentration, 1e-12)
    # many points on arrays as few points on floats
    wide = membrane._replace(reflection=np.linspace(0.9, 1.0, 40))
    many = solve_vessel(feed, wide, channel, line, elements)
    few = solve_vessel(feed, membrane._replace(reflection=0.9), channel, line, elements)
    same(many.permeate_concentration[0], few.permeate_concentration, 1e-12)
    assert np.all(np.diff(many.permeate_concentration) < 0)  # the looser, the saltier
    assert np.all(np.diff(many.permeate_flow) < 0)  # and the less osmotic pressure is felt


def test_a_balance_and_the_pressure_asked_for():
    feed, membrane, channel, line, elements = ro_cases.problem("W8_sw2")
    membrane = membrane._replace(reflection=0.98)
    found = pressure_for_permeate(0.5 / 3600, feed, membrane, channel, line, elements)
    assert found.reached
    vessel = found.vessel
    salt = (vessel.permeate_mass_flow * vessel.permeate_fraction
            + vessel.concentrate_mass_flow * vessel.concentrate_fraction)  # fmt: skip
    same(salt, feed.mass_flow * feed.fraction, 1e-12)
    diffusion = pressure_for_permeate(
        0.5 / 3600, feed, membrane._replace(reflection=1.0), channel, line, elements
    )
    assert found.pressure < diffusion.pressure


def test_elements_fitted_with_it_pass_their_own_test():
    """With the same test less salt passes at low flux, as the leak carries part of the test's."""
    test, channel, line = standard_tests()
    for s in (0.9975, 0.999):
        fit = fit_element(test, channel, line, reflection=s)
        vessel = repeated(test, channel, line, fit)
        same(vessel.permeate_flow, test.permeate_flow, 1e-9)
        same(1 - vessel.permeate_concentration / test.feed_concentration, test.rejection, 1e-9)
    diffusion = fit_element(test, channel, line)
    assert np.all(fit.salt_permeability < diffusion.salt_permeability)
    slow = test._replace(pressure=0.6 * np.asarray(test.pressure))
    low, high = (repeated(slow, channel, line, m) for m in (fit, diffusion))
    assert np.all(low.permeate_concentration < high.permeate_concentration)
    assert np.all(element_results(low, line).polarisation_max > 1)


@pytest.mark.parametrize(("s", "words"), [(0.99, "rejects more"), (0.9955, "about 0.99")])
def test_a_coefficient_below_the_rejection_of_the_test_is_refused(s, words):
    test, channel, line = standard_tests()
    with pytest.raises(DomainError, match=words):
        fit_element(test._replace(rejection=0.995), channel, line, reflection=s)


def test_wide_random_points_stay_finite_and_balanced():
    """From far below osmotic to nearly used up, tight and loose, held by a finer march."""
    count = 4000
    feed, membrane = ro_cases.random_points(count, 11)
    s = 1 - np.random.default_rng(5).uniform(0, 0.5, count) ** 3
    membrane = membrane._replace(reflection=s)
    line, channel = ro_waters.salt_line(25.0, 0.2), ro_cases.channel("S40")
    vessel = solve_vessel(feed, membrane, channel, line, 4)
    for name, value in vessel._asdict().items():
        if isinstance(value, np.ndarray):
            assert np.all(np.isfinite(value)), name
    salt = vessel.permeate_mass_flow * vessel.permeate_fraction
    rest = vessel.concentrate_mass_flow * vessel.concentrate_fraction
    np.testing.assert_allclose((salt + rest) / (feed.mass_flow * feed.fraction), 1.0, rtol=1e-9)
    assert np.all(vessel.permeate_fraction >= 0)
    few = slice(0, 400)
    some = VesselFeed(*(v[few] for v in feed))
    skin = Membrane(*(v[few] for v in membrane))
    fine = solve_vessel(some, skin, channel, line, 4, tolerance=1e-9)
    sound = (fine.status == 0) & (vessel.status[few] == 0)
    assert np.count_nonzero(sound) > 100
    same(vessel.permeate_flow[few][sound], fine.permeate_flow[sound], 2e-5)
    same(vessel.permeate_concentration[few][sound], fine.permeate_concentration[sound], 2e-5)
