"""Whole vessels: reference cases, independent integration, order, balances, wide random points."""

import time

import numpy as np
import pytest
import ro_cases
import ro_compiled
import ro_waters
from oracles.membrane import ideal_recovery
from oracles.separation_energy import hydraulic_energy, isobaric_energy, least_work
from ro_cases import repeated, standard_tests
from ro_plain import PlainVessel, line_properties
from scipy.integrate._ivp.rk import RK45

from treatsim.correlations.ro import vessel_effort
from treatsim.correlations.ro import vessel_march as vm
from treatsim.correlations.ro import vessel_step as vs
from treatsim.correlations.ro.element_fit import (
    fit_element,
    hand_driving_pressure,
    hand_rule,
)
from treatsim.correlations.ro.solution_line import SolutionLine
from treatsim.correlations.ro.spacer_channel import (
    CORRELATIONS,
    SpacerCorrelation,
)
from treatsim.correlations.ro.vessel import (
    STATUS_WORDS,
    Membrane,
    VesselFeed,
    element_results,
    solve_vessel,
)
from treatsim.correlations.ro.vessel_inverse import pressure_for_permeate
from treatsim.errors import DomainError

LMH = 1 / 3.6e6
KWH = 3.6e6
SHARE = 0.80 * 0.85 * 0.95


@pytest.fixture(autouse=True, params=["arrays", "compiled"])
def way(request, monkeypatch):
    """Every test here runs on both ways of the march."""
    march = ro_compiled.march() if request.param == "compiled" else None
    monkeypatch.setattr(vessel_effort._Effort, "march", march)
    monkeypatch.setattr(vessel_effort._Effort, "next_look", np.inf)


def same(got, expected, rtol):
    np.testing.assert_allclose(got, expected, rtol=rtol, atol=0)


def work_of(case, feed, vessel):
    T = case.celsius + 273.15
    sea = case.element.startswith("S")
    pi = ro_waters.sea_osmotic_pressure if sea else ro_waters.salt_osmotic_pressure
    rho = ro_waters.sea_density if sea else ro_waters.salt_density
    return least_work(lambda w: pi(w, T), feed.fraction, vessel.recovery, lambda w: rho(w, T))


@pytest.mark.parametrize("name", ro_cases.CASES)
def test_whole_path(agree, name):
    feed, membrane, channel, line, elements = ro_cases.problem(name)
    if name == "W14_bw7":
        found = pressure_for_permeate(0.5 / 3600, feed, membrane, channel, line, elements)
        assert found.reached
        agree("W14_bw7_pressure", found.pressure / 1e5)
        feed = feed._replace(pressure=found.pressure)
    vessel = solve_vessel(feed, membrane, channel, line, elements)
    parts = element_results(vessel, line)
    assert vessel.status == vs.OK
    mean = vessel.permeate_flow / (channel.area * elements)
    end = vessel.concentrate_pressure
    agree(f"{name}_permeate_flow", vessel.permeate_flow * 3600)
    agree(f"{name}_permeate_concentration", vessel.permeate_concentration * 1e3)
    agree(f"{name}_recovery", vessel.recovery * 100)
    agree(f"{name}_drop", (feed.pressure - end) / 1e5)
    agree(f"{name}_polarisation_max", parts.polarisation_max.max())
    agree(f"{name}_driving_pressure_min", parts.net_driving_pressure_min.min() / 1e5)
    agree(f"{name}_fluxes", np.array([mean, parts.flux_in[0], parts.flux_out[-1]]) / LMH)
    agree(f"{name}_concentrate", vessel.concentrate_concentration)
    agree(f"{name}_energy", hydraulic_energy(feed.pressure, vessel.recovery, SHARE) / KWH)
    r = vessel.permeate_flow / (vessel.permeate_flow + vessel.concentrate_flow)
    agree(
        f"{name}_energy_exchanger",
        isobaric_energy(feed.pressure, end, r, SHARE, 0.90, SHARE) / KWH,
    )
    agree(f"{name}_least_work", work_of(ro_cases.CASES[name], feed, vessel) / KWH)


def test_element_from_its_standard_test(agree):
    test, channel, line = standard_tests()
    membrane = fit_element(test, channel, line)
    agree("T9_water_permeability", membrane.water_permeability)
    agree("T9_salt_permeability", membrane.salt_permeability)
    vessel = repeated(test, channel, line, membrane)
    same(vessel.permeate_flow, test.permeate_flow, 1e-9)
    rejection = 1 - vessel.permeate_concentration / test.feed_concentration
    same(rejection, test.rejection, 1e-9)
    agree("T9_test_drop", test.pressure - vessel.concentrate_pressure)
    agree("T9_test_polarisation", element_results(vessel, line).polarisation_max[0])
    other = fit_element(*standard_tests(0.10))
    A, B = other.water_permeability[3] * 1e5 / LMH, other.salt_permeability[3] / LMH
    agree("T9_seawater_at_ten_percent", [A, B])


def test_hand_rule(agree):
    test, channel, line = standard_tests()
    drop = np.array([0.383e5, 0.356e5, 0.702e5, 0.743e5])
    agree("T11_hand_driving_pressure", hand_driving_pressure(test, drop, line)[1])
    A, B, _ = hand_rule(test, channel, line, drop)
    agree("T11_hand_permeabilities", A * 1e5 / LMH)
    agree("T11_hand_salt", B[1] / LMH)


@pytest.mark.parametrize("name", CORRELATIONS)
def test_any_correlation_reproduces_the_test_it_was_fitted_with(name):
    test, channel, line = standard_tests()
    law = CORRELATIONS[name]
    vessel = repeated(test, channel, line, fit_element(test, channel, line, law), law)
    same(vessel.permeate_flow, test.permeate_flow, 1e-9)


def test_a_test_that_cannot_be_met_is_refused_in_words():
    test, channel, line = standard_tests()
    with pytest.raises(DomainError, match="osmotic pressure at the mean feed concentration"):
        fit_element(test._replace(pressure=np.array([15e5, 15e5, 20e5, 20e5])), channel, line)
    with pytest.raises(DomainError, match="rejection"):
        fit_element(test._replace(rejection=1.0), channel, line)
    with pytest.raises(DomainError, match="driving pressure"):
        hand_rule(test._replace(pressure=20e5), channel, line)


@pytest.mark.parametrize("name", ["W2_bw2", "W5_bw5", "W8_sw2", "W12_sw6"])
def test_against_solve_ivp_with_brentq(name):
    feed, membrane, channel, line, elements = ro_cases.problem(name)
    plain = PlainVessel(feed, membrane, channel, line_properties(line), rtol=1e-13)
    expected = plain.solve(elements, method="DOP853", rtol=1e-10, atol=1e-13)
    for tolerance, rtol in ((1e-5, 1e-6), (1e-11, 2e-8)):
        vessel = solve_vessel(feed, membrane, channel, line, elements, tolerance=tolerance)
        got = (
            vessel.permeate_flow,
            vessel.permeate_concentration,
            vessel.concentrate_fraction,
            vessel.concentrate_pressure,
        )
        same([float(v) for v in got], expected, rtol)


def test_coefficients_are_those_of_scipy():
    rows = [RK45.A[i, :i] for i in range(1, 6)]
    for row, (own, scipy_row) in enumerate(zip(vm.STAGES, rows, strict=False)):
        # the state itself has the weight 1
        np.testing.assert_allclose(own, [1, *scipy_row], rtol=1e-15, atol=0, err_msg=str(row))
    same(vm.STAGES[5], [1, *RK45.B], 1e-15)
    np.testing.assert_allclose(np.abs(vm.ERROR_ROW), np.abs(RK45.E), rtol=1e-13, atol=0)


def in_steps(name, count):
    """A case with `count` fixed steps per element: each element cut into shorter ones."""
    feed, membrane, channel, line, elements = ro_cases.problem(name)
    short = channel._replace(area=channel.area / count, length=channel.length / count)
    vessel = solve_vessel(feed, membrane, short, line, elements * count, tolerance=1e9)
    return np.array([float(vessel.permeate_flow), float(vessel.permeate_concentration)])


def test_error_falls_with_the_order_of_the_march(agree):
    ratios = []
    for name in ("W8_sw2", "W5_bw5", "W12_sw6"):
        exact = in_steps(name, 64)
        errors = [np.abs(in_steps(name, n) / exact - 1) for n in (1, 4, 8)]
        assert errors[0].max() < 2e-8  # one step per element
        ratios.append(errors[1] / errors[2])
    print("ratios of errors", np.round(ratios, 1))
    for ratio in np.ravel(ratios):
        agree("W17_order", ratio)


def test_without_polarisation_friction_and_leakage():
    """Closed form: pi in proportion to concentration, equal densities, a perfect film."""
    slope = 7.5e7
    line = SolutionLine(
        (slope, 0.0, 0.0),
        *((value, 0.0, 0.0) for value in (1000.0, *np.log([1000.0, 1e-3, 1e-9]))),
        0.9,
    )
    law = SpacerCorrelation("perfect film", 1e9, 0.0, 0.0, 1e-12, 0.0, 0.0, "definition")
    P, w, mass = 20e5, 0.005, 0.5
    A = np.array([2e-12, 5e-12, 1e-11, 1.5e-11])
    vessel = solve_vessel(
        VesselFeed(mass, w, P), Membrane(A, 1e-18), ro_cases.channel("B40"), line, 3, law, 1e-11
    )
    # along the channel the concentration is w / (1 - r)
    expected = ideal_recovery(A * P * 3 * 7.8 / (mass / 1000), slope * w / P)
    same(vessel.recovery, expected, 1e-7)


def check_balances(agree, feed, vessel):
    water = vessel.permeate_mass_flow + vessel.concentrate_mass_flow
    salt = (
        vessel.permeate_mass_flow * vessel.permeate_fraction
        + vessel.concentrate_mass_flow * vessel.concentrate_fraction
    )
    agree("W16_balances", np.max(np.abs(water / feed.mass_flow - 1)))
    agree("W16_balances", np.max(np.abs(salt / (feed.mass_flow * feed.fraction) - 1)))


@pytest.mark.parametrize("elements", [1, 3, 6])
def test_wide_random_points(agree, elements):
    count = 100_000 if elements == 6 else 20_000
    feed, membrane = ro_cases.random_points(count, 7 + elements)
    line, channel = ro_waters.salt_line(25.0, 0.2), ro_cases.channel("S40")
    start = time.perf_counter()
    vessel = solve_vessel(feed, membrane, channel, line, elements)
    took = time.perf_counter() - start
    for name, value in vessel._asdict().items():
        if isinstance(value, np.ndarray):
            assert np.all(np.isfinite(value)), name
    check_balances(agree, feed, vessel)
    parts = element_results(vessel, line)
    assert all(np.all(np.isfinite(value)) for value in parts)
    sample = slice(0, 1000)
    few = VesselFeed(*(v[sample] for v in feed))
    fine = solve_vessel(
        few, Membrane(*(v[sample] for v in membrane[:2])), channel, line, elements, tolerance=1e-11
    )
    blocking = vs.DRY_OUT | vs.CONCENTRATE_BELOW_PERMEATE | vs.NOT_CONVERGED
    silent = (vessel.status[sample] & (blocking | vs.NO_DRIVING_PRESSURE)) == 0
    worst = 0.0
    for name in ("permeate_flow", "permeate_fraction", "concentrate_fraction"):
        off = np.abs(getattr(vessel, name)[sample] / getattr(fine, name) - 1)[silent]
        worst = max(worst, off.max())
    print(f"{elements} elements: {1e6 * took / count:.1f} us a point, worst unsaid {worst:.1e}")
    assert worst < 1e-4
    assert np.mean(vessel.status & vs.NOT_CONVERGED > 0) < 1e-4
    assert np.mean(silent) > 0.3
    np.testing.assert_array_equal(vessel.status[sample], fine.status)


def test_array_equals_points_one_by_one():
    feed, membrane = ro_cases.random_points(60, 3)
    line, channel = ro_waters.salt_line(25.0, 0.2), ro_cases.channel("S40")
    many = solve_vessel(feed, membrane, channel, line, 4, tolerance=1e-7)
    for i in range(60):
        point, skin = VesselFeed(*(v[i] for v in feed)), Membrane(*(v[i] for v in membrane[:2]))
        one = solve_vessel(point, skin, channel, line, 4, tolerance=1e-7)
        assert one.status == many.status[i]
        assert one.permeate_flow.shape == ()
        same(one.permeate_flow, many.permeate_flow[i], 1e-9)
        same(one.concentrate_pressure, many.concentrate_pressure[i], 1e-9)


def test_element_counts_are_grouped_and_shapes_broadcast():
    feed, membrane, channel, line, _ = ro_cases.problem("W8_sw2")
    counts = np.array([1, 4, 2, 4])
    vessel = solve_vessel(feed, membrane, channel, line, counts)
    for i, n in enumerate(counts):
        one = solve_vessel(feed, membrane, channel, line, int(n))
        same(vessel.permeate_flow[i], one.permeate_flow, 1e-14)
    parts = element_results(vessel, line)
    assert parts.flux_mean.shape == (4, 4)
    assert np.all(parts.permeate_flow[1:, 0] == 0)
    grid = feed._replace(
        pressure=np.array([[40e5], [50e5]]), fraction=np.array([0.03, 0.035, 0.04])
    )
    assert solve_vessel(grid, membrane, channel, line, 2).permeate_flow.shape == (2, 3)


def test_parts_add_up_to_the_whole():
    feed, membrane, channel, line, elements = ro_cases.problem("W8_sw2")
    vessel = solve_vessel(feed, membrane, channel, line, elements)
    parts = element_results(vessel, line)
    same(parts.permeate_flow.sum(), vessel.permeate_flow, 1e-6)
    same(parts.pressure_drop.sum(), feed.pressure - vessel.concentrate_pressure, 1e-12)
    same(parts.concentrate_mass_flow[-1], vessel.concentrate_mass_flow, 1e-12)
    same(parts.feed_concentration[1:], parts.concentrate_concentration[:-1], 1e-12)
    assert np.all((parts.flux_mean < parts.flux_in) & (parts.flux_mean > parts.flux_out))
    fine = solve_vessel(
        feed, membrane, channel._replace(area=7.4 / 32, length=0.9 / 32), line, 32 * elements
    )
    top = element_results(fine, line).polarisation_max.reshape(elements, 32).max(axis=1)
    same(parts.polarisation_max, top, 1e-4)


def test_permeate_follows_the_settings():
    feed, membrane, channel, line, elements = ro_cases.problem("W5_bw5")
    pressures = np.linspace(8e5, 40e5, 40)
    vessel = solve_vessel(feed._replace(pressure=pressures), membrane, channel, line, elements)
    assert np.all(np.diff(vessel.permeate_flow) > 0)
    # quality has a best point: above it the concentrate becomes too salty
    turns = np.flatnonzero(np.diff(vessel.permeate_concentration) > 0)
    assert turns.size == 0 or np.all(np.diff(turns) == 1)
    back = feed._replace(permeate_pressure=np.array([0.0, 1e5, 2e5]))
    assert np.all(np.diff(solve_vessel(back, membrane, channel, line, 4).permeate_flow) < 0)


def test_every_status_is_met_and_put_in_words():
    _, membrane, channel, line, _ = ro_cases.problem("W5_bw5")

    def status(mass, fraction, pressure, back=0.0, elements=6):
        feed = VesselFeed(mass, fraction, pressure, back)
        vessel = solve_vessel(feed, membrane, channel, line, elements)
        assert all(np.all(np.isfinite(v)) for v in vessel[:13])
        return int(vessel.status)

    assert status(0.6, 0.01, 19e5) == vs.OK
    assert status(0.6, 0.03, 10e5) == vs.FEED_BELOW_OSMOTIC
    assert status(0.02, 1e-4, 60e5) & vs.DRY_OUT
    assert status(3.0, 1e-3, 2e5) & vs.CONCENTRATE_BELOW_PERMEATE
    assert status(0.6, 0.01, 1e5, 2e5) & vs.NO_DRIVING_PRESSURE
    assert status(0.06, 0.06, 150e5) & vs.BEYOND_LINE
    assert "osmotic" in STATUS_WORDS[vs.FEED_BELOW_OSMOTIC]
    assert "98 %" in STATUS_WORDS[vs.DRY_OUT]
    bits = (vs.CONCENTRATE_BELOW_PERMEATE, vs.NO_DRIVING_PRESSURE, vs.BEYOND_LINE)
    assert all(STATUS_WORDS[bit] for bit in bits)


def test_pressure_for_permeate_in_a_batch():
    rng = np.random.default_rng(5)
    _, membrane, channel, line, _ = ro_cases.problem("W8_sw2")
    n = 2000
    fraction, mass = rng.uniform(0.002, 0.045, n), rng.uniform(0.3, 0.9, n)
    pressure = 1e5 * (5 + 800 * fraction * rng.uniform(1.3, 2.0, n))
    feed = VesselFeed(mass, fraction, pressure)
    vessel = solve_vessel(feed, membrane, channel, line, 6)
    found = pressure_for_permeate(vessel.permeate_flow, feed, membrane, channel, line, 6)
    assert found.reached.all()
    same(found.pressure, pressure, 1e-5)
    assert found.solves <= 8
    far = pressure_for_permeate(0.99 * mass / 1000, feed, membrane, channel, line, 6)
    assert not far.reached.any()
    assert np.all(np.isfinite(far.pressure))
    one = pressure_for_permeate(0.5 / 3600, ro_cases.problem("W14_bw7")[0], membrane, channel, line)
    assert one.pressure.shape == one.vessel.status.shape == ()


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"mass_flow": 0.0}, "mass flow"),
        ({"fraction": -0.1}, "salt fraction"),
        ({"pressure": np.nan}, "pressure"),
        ({"mass_flow": np.array([0.5, -1.0])}, "mass flow"),
    ],
)
def test_impossible_feeds_are_refused(change, word):
    feed, membrane, channel, line, elements = ro_cases.problem("W8_sw2")
    with pytest.raises(DomainError, match=word):
        solve_vessel(feed._replace(**change), membrane, channel, line, elements)


def test_impossible_membranes_and_vessels_are_refused():
    feed, membrane, channel, line, elements = ro_cases.problem("W8_sw2")
    with pytest.raises(DomainError, match="water permeability"):
        solve_vessel(feed, membrane._replace(water_permeability=0.0), channel, line, elements)
    with pytest.raises(DomainError, match="elements"):
        solve_vessel(feed, membrane, channel, line, 0)
    with pytest.raises(DomainError, match="area"):
        solve_vessel(feed, membrane, channel._replace(area=-1.0), line, elements)
