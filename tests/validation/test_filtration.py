"""Filtration and retention: reference values, second opinions, limits, refused inputs.

Not among the rows, and why: grams that elements hold are orders of magnitude of one maker's
overview; the ripening of beds is not modelled; how many particles a turbidity stands for has no
general answer, and none is offered.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp

from treatsim.correlations.solids import cake, collector, filtration, retention, sharing, turbidity
from treatsim.errors import DomainError

HOUR = 3600.0
LITRE_PER_MINUTE = 1e-3 / 60
MU = 1.0016e-3
FIRST_FLUX = 2e-4
LAWS = [(2.0, 1e-3), (1.5, 5e-2), (1.0, 5.0), (0.0, 5e4)]
N, K = np.transpose(LAWS)


def test_cake_values(agree):
    agree("P19_press", cake.constant_pressure_time(3.37, 1.0, 1.0, 1.0, 37.93, 1.0, 16.10))
    constant = 2 * 20 * 60 / 5**2
    t = cake.constant_pressure_time([5.0, 10.0], 1.0, 1.0, 1.0, constant, 1.0, 0.0)
    agree("P21_square", (t[1] - t[0]) / 60)
    time = cake.constant_flow_time(1e5, 1 / HOUR / np.array([0.5, 1.0]), MU, 1e12, 0.02, 2e9)
    agree("P24_time", time)
    agree("P24_ratio", time[1] / time[0])
    agree("P25_kozeny", cake.kozeny_resistance(np.array([5e-6, 1e-6]), 0.6, 2650.0))


def test_blocking_values(agree):
    flux = filtration.constant_pressure_flux(1800.0, FIRST_FLUX, K, N)
    agree("P22_flux", flux)
    agree("P22_filtrate", filtration.load_at_resistance(1 / flux, 1 / FIRST_FLUX, K, N))


def test_element_values(agree):
    flow = 25.0 * LITRE_PER_MINUTE
    resistance = 5.03e3 / (MU * flow)
    agree("P26_flow", filtration.element_loss(33.3 * LITRE_PER_MINUTE, resistance, MU) / 1e3)
    agree("P26_length", filtration.element_loss(flow, resistance / 2, MU) / 1e3)
    agree("P27_hours", filtration.life_by_mass(0.3, 1 / HOUR, 0.040, 0.8) / HOUR)


def test_parallel_values(agree):
    def shares(_, mass):
        return sharing.shared_flow(1.0, 0.3 + 0.02 * mass, 1.0)[0]

    run = solve_ivp(shares, (0, 400), [0.0, 100.0], rtol=1e-10, atol=1e-10)
    agree("P28_masses", run.y[:, -1])
    agree("P28_split", sharing.shared_flow(100.0, [0.5, 2.0], 1.0)[0])


def test_contact_with_grains(agree):
    bed = collector.Bed(0.5e-3, 5.0 / HOUR, 0.40, 288.15, 999.1, 1.1376e-3)
    size = np.array([0.1e-6, 1e-6, 5e-6, 10e-6])
    agree("P33_tufenkji", collector.contact_tufenkji(size, 1050.0, 1e-20, bed))
    agree("P33_yao", collector.contact_yao(size, 1050.0, bed))
    agree("P33_factor", collector.happel_factor(0.40))
    still = bed._replace(velocity=1.0 / HOUR)
    slow, fast = (collector.contact_yao(size, 1050.0, one) for one in (still, bed))
    assert np.all(slow > fast)


def test_retention_values(agree):
    beta = np.array([2, 10, 75, 200, 1000, 5000])
    agree("P17_efficiency", 100 * retention.beta_efficiency(beta))
    agree("P17_log", retention.beta_log_removal(beta))
    test = retention.silt_density_index([30.0, 26.0], [60.0, 40.0], 900.0)
    agree("P31_index", test.value)
    agree("P31_ceiling", test.ceiling)


def test_turbidity_values(agree):
    curves = turbidity.PUBLISHED_CURVES.values()
    for ntu in (20, 5):
        solids = [1e3 * turbidity.suspended_solids(ntu, c) for c in curves]
        agree(f"P32_{ntu}", solids)
    at = [[float(turbidity.suspended_solids(ntu, c)) for c in curves] for ntu in (20, 100)]
    agree("S1_solids_spread", [max(row) / min(row) for row in at])
    first, third = (turbidity.PUBLISHED_CURVES[name] for name in ("first", "third"))
    read = [(20, first), (100, first), (10, third)]
    agree("M246_M248_curves", [1e3 * turbidity.suspended_solids(*one) for one in read])


@pytest.mark.parametrize(("n", "k"), LAWS)
def test_blocking_against_direct_integration(n, k):
    """The law as published, in time, against the law in load."""

    def rates(_, state):
        return [-k * state[0] ** (3 - n), state[0]]

    run = solve_ivp(rates, (0, 1800), [FIRST_FLUX, 0.0], rtol=1e-11, atol=1e-16)
    flux, filtrate = run.y[:, -1]
    resistance = filtration.blocked_resistance(filtrate, 1 / FIRST_FLUX, k, n)
    assert_allclose(1 / resistance, flux, rtol=1e-7)
    assert_allclose(filtration.constant_pressure_flux(1800.0, FIRST_FLUX, k, n), flux, rtol=1e-7)


@pytest.mark.parametrize(("n", "k"), LAWS)
def test_resistance_does_not_know_how_the_pump_ran(n, k):
    """Half the load under one pressure, then half at falling flow: the same resistance."""
    clean, load = 1 / FIRST_FLUX, 0.15

    def slope(v, r):
        return k * r**n

    direct = solve_ivp(slope, (0, load), [clean], rtol=1e-11, atol=1e-9).y[0, -1]
    assert_allclose(filtration.blocked_resistance(load, clean, k, n), direct, rtol=1e-8)
    halfway = filtration.blocked_resistance(load / 2, clean, k, n)
    twice = filtration.blocked_resistance(load / 2, halfway, k, n)
    assert_allclose(twice, direct, rtol=1e-8)


def test_cake_is_blocking_with_n_zero():
    alpha, solids, medium = 1e12, 0.02, 2e9
    flux, time = 1 / HOUR / 0.5, 15000.0
    resistance = filtration.blocked_resistance(flux * time, medium, alpha * solids, 0.0)
    pressure = cake.constant_flow_pressure(time, flux, MU, alpha, solids, medium)
    assert_allclose(MU * flux * resistance, pressure, rtol=1e-12)
    back = cake.constant_flow_time(pressure, flux, MU, alpha, solids, medium)
    assert_allclose(back, time, rtol=1e-12)


def test_blocking_ends_at_a_finite_load():
    limit = filtration.blocking_limit(5000.0, K[:2], N[:2])
    assert np.all(np.isfinite(limit))
    assert np.all(np.isinf(filtration.blocking_limit(5000.0, K[2:], N[2:])))
    for i in range(2):
        near, far = filtration.blocked_resistance(
            limit[i] * np.array([0.999, 1.001]), 5e3, K[i], N[i]
        )
        assert np.isfinite(near)
        assert np.isinf(far)
    assert filtration.element_loss(0.0, np.inf, MU) == 0
    assert np.isinf(filtration.element_loss(1e-4, np.inf, MU))


@given(
    n=st.floats(0, 2),
    ratio=st.floats(1.01, 100),
    load=st.floats(1e-6, 1e3),
    clean=st.floats(1e-3, 1e12),
)
def test_constant_and_load_invert(n, ratio, load, clean):
    k = filtration.blocking_constant(clean, ratio * clean, load, n)
    assert_allclose(filtration.load_at_resistance(ratio * clean, clean, k, n), load, rtol=1e-12)
    loaded = filtration.blocked_resistance(load * (1 - 1e-9), clean, k, n)
    assert_allclose(loaded, ratio * clean, rtol=1e-5)


def test_exponents_near_one_are_continuous():
    n = 1 + np.array([-1e-12, 0.0, 1e-12])
    values = filtration.blocked_resistance(0.3, 7.0, 2.0, n)
    assert_allclose(values, 7 * np.exp(0.6), rtol=1e-10)


def test_element_fit():
    flow = np.array([1e-4, 4e-4])
    r, k = filtration.fit_element(flow, filtration.element_loss(flow, 3e10, MU, 2e9), MU)
    assert_allclose([r, k], [3e10, 2e9], rtol=1e-12)
    loss = filtration.element_loss(flow, r, MU, k)
    assert_allclose(filtration.element_loss(-flow, r, MU, k), -loss, rtol=0)
    assert filtration.fit_element([1e-4, 2e-4], [1e3, 2e3], MU)[1] < 1


def test_shared_flow_solves_both_terms():
    rng = np.random.default_rng(3)
    r = 10 ** rng.uniform(8, 13, (500, 3))
    k = 10 ** rng.uniform(0, 12, (500, 3))
    total = 10 ** rng.uniform(-6, -2, 500)
    flows, loss = sharing.shared_flow(total, r, MU, k)
    assert_allclose(flows.sum(axis=1), total, rtol=1e-13)
    each = filtration.element_loss(flows, r, MU, k)
    assert_allclose(each, np.broadcast_to(loss[:, None], each.shape), rtol=1e-12)
    one = sharing.shared_flow(total[7], r[7], MU, k[7])
    assert_allclose(flows[7], one[0], rtol=1e-13)


def test_shared_flow_limits():
    flows, loss = sharing.shared_flow([0.0, 1.0, 1.0], [[1, 2], [1, np.inf], [np.inf] * 2], 1.0)
    assert_allclose(flows, [[0, 0], [1, 0], [0, 0]], rtol=0)
    assert_allclose(loss, [0, 1, np.inf], rtol=0)


def test_half_the_flux_pays_more_than_twice():
    """Two cakes in parallel against one: four times the hours, the mass balance says two."""
    k = filtration.blocking_constant(2e9, 1.8e11, 1.0, 0.0)
    one = filtration.load_at_resistance(1.8e11, 2e9, k, 0.0) / 1.0
    two = filtration.load_at_resistance(3.6e11, 2e9, k, 0.0) / 0.5
    assert two / one > 4
    masses = filtration.life_by_mass(0.3, np.array([1, 0.5]) / HOUR, 0.04, 0.8)
    assert_allclose(masses[1] / masses[0], 2, rtol=1e-15)


def test_silt_density_saturates():
    test = retention.silt_density_index(30.0, [119.0, 121.0, 1e9], 900.0)
    assert list(test.repeat_shorter) == [False, True, True]
    assert_allclose(test.value[-1], test.ceiling, rtol=1e-6)
    assert_allclose(retention.silt_density_index(30.0, 60.0, 300.0).ceiling, 20.0, rtol=1e-12)


def test_beta_round_trip():
    share = np.array([0.0, 0.5, 0.9, 0.9998])
    beta = retention.beta_from_efficiency(share)
    assert_allclose(retention.beta_efficiency(beta), share, rtol=1e-12)


def test_published_sites_differ():
    def spread(ntu):
        solids = [turbidity.suspended_solids(ntu, c) for c in turbidity.PUBLISHED_CURVES.values()]
        return max(solids) / min(solids)

    assert_allclose(spread(20.0), 1.7, rtol=0.03)
    assert_allclose(spread(100.0), 2.7, rtol=0.03)
    own = turbidity.curve_from_sample(14.0, 0.020)
    assert_allclose(turbidity.suspended_solids([0.0, 14.0], own), [0.0, 0.020], rtol=1e-12)


def test_compressible_cake():
    rigid = cake.compressible_resistance(1e9, [1e4, 1e5], 0.0)
    assert_allclose(rigid, 1e9, rtol=0)
    soft = cake.compressible_resistance(1e9, [1e4, 1e5], 0.5)
    assert_allclose(soft[1] / soft[0], np.sqrt(10), rtol=1e-12)


@pytest.mark.parametrize(
    "call",
    [
        lambda: filtration.element_loss(1e-4, -1.0, MU),
        lambda: filtration.fit_element([1e-4, 2e-4], [1e3, 1.5e3], MU),
        lambda: filtration.fit_element([1e-4, 2e-4], [1e3, 5e3], MU),
        lambda: filtration.fit_element([1e-4, 1e-4], [1e3, 1e3], MU),
        lambda: filtration.blocked_resistance(-1.0, 1.0, 1.0, 0.0),
        lambda: filtration.blocked_resistance(1.0, 1.0, 1.0, 2.5),
        lambda: filtration.load_at_resistance(0.5, 1.0, 1.0, 0.0),
        lambda: filtration.blocking_constant(1.0, np.inf, 1.0, 2.0),
        lambda: sharing.shared_flow(-1.0, [1.0, 1.0], MU),
        lambda: filtration.life_by_mass(0.3, 1e-4, 0.04, 1.2),
        lambda: cake.constant_pressure_time(1.0, 0.0, 1e5, MU, 1e12, 0.02, 1e9),
        lambda: cake.constant_flow_time(1e5, 0.0, MU, 1e12, 0.02, 1e9),
        lambda: cake.kozeny_resistance(0.0, 0.6, 2650.0),
        lambda: retention.beta_efficiency(0.9),
        lambda: retention.beta_from_efficiency(1.0),
        lambda: retention.silt_density_index(30.0, 20.0, 900.0),
        lambda: turbidity.suspended_solids(-1.0, turbidity.PUBLISHED_CURVES["first"]),
        lambda: turbidity.curve_from_sample(0.0, 0.02),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
