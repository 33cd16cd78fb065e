"""Spacer channel, local flux, closed forms and energy of reverse osmosis."""

import gsw
import numpy as np
import pytest
import ro_cases
import ro_waters
from oracles import membrane, spacer
from oracles import separation_energy as plant
from scipy.optimize import brentq

from treatsim import quantities
from treatsim.correlations.ro import membrane_transport as mt
from treatsim.correlations.ro import solution_line as sl
from treatsim.correlations.ro import spacer_channel as sc
from treatsim.correlations.ro.normalisation import feed_brine_concentration, flow_temperature_factor
from treatsim.correlations.ro.vessel_kernel import build_problem
from treatsim.errors import DomainError

LMH = 1 / 3.6e6
ROOM = 298.15


def same(got, expected, rtol):
    np.testing.assert_allclose(got, expected, rtol=rtol, atol=0)


def test_hydraulic_diameter(agree):
    agree("T3_hydraulic_diameter", sc.hydraulic_diameter(0.71e-3, 0.89))
    same(sc.hydraulic_diameter(1e-3, 1.0), 2e-3, 1e-15)  # open slit


def inlet():
    line, channel = ro_waters.salt_line(25.0), ro_cases.channel("B40")
    w = sl.fraction_at(line, 2.0)
    rho = sl.density_at(line, w)
    mu = np.exp(sl.polynomial(line.log_viscosity, w))
    D = np.exp(sl.polynomial(line.log_diffusivity, w))
    u = 1.6 / 3600 / sc.flow_section(channel)
    return line, w, rho, mu, D, u, sc.hydraulic_diameter(channel.height, channel.porosity)


def test_inlet_of_the_channel(agree):
    _, _, rho, mu, D, u, dh = inlet()
    re, schmidt = sc.reynolds_number(u, dh, rho, mu), spacer.schmidt_number(rho, mu, D)
    sh = spacer.sherwood_number(sc.SCHOCK_MIQUEL, re, schmidt)
    friction = spacer.friction_factor(sc.SCHOCK_MIQUEL, re)
    agree("T4_inlet_u", u)
    agree("T4_inlet_re", re)
    agree("T4_inlet_sc", schmidt)
    agree("T4_inlet_sh", sh)
    agree("T4_inlet_k", spacer.mass_transfer_coefficient(sh, D, dh))
    agree("T4_inlet_gradient", spacer.pressure_gradient(friction, rho, u, dh))


def test_spacer_correlations(agree):
    reynolds, schmidt = np.array([100.0, 1000.0, 100.0]), np.array([600.0, 600.0, 1200.0])
    for key, law in (
        ("T6_schock_miquel", sc.SCHOCK_MIQUEL),
        ("T6_koutsou_first", sc.KOUTSOU_FIRST),
        ("T6_koutsou_second", sc.KOUTSOU_SECOND),
    ):
        agree(key, spacer.sherwood_number(law, reynolds, schmidt))
    points = [(100, 600, 1.0), (800, 600, 1.0), (100, 4800, 1.0), (100, 600, 8.0)]
    agree(
        "T6_slit", [spacer.sherwood_number(sc.SLIT, r, s, 1e-3, length) for r, s, length in points]
    )
    ends = np.array([100.0, 1000.0])
    factors = [spacer.friction_factor(law, ends) for law in (sc.SCHOCK_MIQUEL, sc.SLIT)]
    agree("T6_friction", np.ravel(factors))
    for law in (sc.KOUTSOU_FIRST, sc.KOUTSOU_SECOND):
        assert np.array_equal(spacer.friction_factor(law, ends), factors[0])


def test_inlet_flux(agree):
    line, w, rho, mu, D, u, dh = inlet()
    re, schmidt = sc.reynolds_number(u, dh, rho, mu), spacer.schmidt_number(rho, mu, D)
    k = spacer.mass_transfer_coefficient(
        spacer.sherwood_number(sc.SCHOCK_MIQUEL, re, schmidt), D, dh
    )
    found = membrane.local_flux(8.5e5, w, k, *ro_cases.membrane("B40")[:2], line)
    agree("T5_inlet_flux", found.flux)
    agree("T5_inlet_polarisation", found.membrane_fraction / w)
    agree("T5_inlet_permeate", sl.concentration_at(line, found.permeate_fraction))
    A = ro_cases.ELEMENTS["B40"][1]
    pull = sl.osmotic_pressure(line, found.membrane_fraction) - sl.osmotic_pressure(
        line, found.permeate_fraction
    )
    same(found.flux, A * (8.5e5 - pull), 1e-12)


def test_correlations_differ_by_half_and_names_are_checked():
    values = [
        spacer.sherwood_number(law, 200.0, 600.0, 8.8e-4, 0.9) for law in sc.CORRELATIONS.values()
    ]
    assert 1.2 < max(values[:3]) / min(values[:3]) < 2.5
    assert min(values) == values[3]  # an open slit mixes least
    assert sc.correlation("schock_miquel") is sc.SCHOCK_MIQUEL
    with pytest.raises(DomainError, match="schock_miquel"):
        sc.correlation("shock")


def test_closed_forms(agree):
    agree("T7_ideal_recovery", membrane.ideal_recovery(0.864, 0.40))
    agree("T13_arrhenius", mt.arrhenius_factor(np.array([288.15, 308.15]), 22e3))
    agree("T13_three_percent", flow_temperature_factor(np.array([288.15, 308.15])))
    warm = np.array([10.0, 15.0, 20.0, 35.0, 40.0]) + 273.15
    agree("T13_trap", mt.arrhenius_factor(warm, 22e3))
    agree("T16_log_mean", feed_brine_concentration(1.0, np.array([0.5, 0.75])))
    for energy in (20e3, 21e3, mt.WATER_ACTIVATION):  # 23 kJ/mol is 0.05 high at 104 F
        fahrenheit = np.array([59.0, 95.0, 104.0])
        agree("T12_temperature_table", mt.arrhenius_factor((fahrenheit + 459.67) / 1.8, energy))


def test_ideal_recovery_inverts_its_equation():
    s, r = np.array([0.0, 0.1, 0.4, 0.8, 0.4]), np.array([0.5, 0.3, 0.2, 0.1, 0.599])
    a = r + s * np.log((1 - s) / (1 - s - r))
    same(membrane.ideal_recovery(a, s), r, 1e-9)


def test_units(agree):
    factors = [
        quantities.read("225 psi", "pressure") / 1e5,
        quantities.read("800 psi", "pressure") / 1e5,
        quantities.read("1 gfd", "flux") / LMH,
    ]
    agree("T18_units", factors)
    psi = 0.45359237 * 9.80665 / 0.0254**2
    for text, quantity, si in (  # definitions: hour, bar, litre, foot, pound, inch
        ("1 L/(m2 h bar)", "water_permeability", 1e-3 / 3600 / 1e5),
        (
            "1 gal/(ft2 d psi)",
            "water_permeability",
            3.785411784e-3 / 0.3048**2 / 86400 / psi,
        ),
        ("1 L/(m2 h)", "salt_permeability", LMH),
        ("1 lb/ft3", "density", 0.45359237 / 0.3048**3),
    ):
        same(quantities.read(text, quantity), si, 1e-9)


def test_local_flux_against_brentq():
    """Own root of the three equations, over cases far apart."""
    line, rng = ro_waters.salt_line(25.0), np.random.default_rng(1)
    for _ in range(40):
        push, w = 10 ** rng.uniform(4, 7), 10 ** rng.uniform(-5, -1.3)
        k, A, B = (
            10 ** rng.uniform(-6, -4),
            10 ** rng.uniform(-12, -10.7),
            10 ** rng.uniform(-9, -6),
        )
        found = membrane.local_flux(push, w, k, A, B, line)
        w_m, w_p, J = found.membrane_fraction, found.permeate_fraction, found.flux

        def flux(J, k=k, w=w, B=B, A=A, push=push):
            def salt(w_p):
                w_m = w_p + (w - w_p) * np.exp(J / k)
                c_m, c_p = (float(sl.concentration_at(line, v)) for v in (w_m, w_p))
                return J * c_p - B * (c_m - c_p)

            w_p = brentq(salt, 0.0, w, xtol=1e-18)
            w_m = w_p + (w - w_p) * np.exp(J / k)
            pull = sl.osmotic_pressure(line, w_m) - sl.osmotic_pressure(line, w_p)
            return J - A * (push - pull)

        if J / k < 5:
            own = brentq(flux, 1e-3 * J, min(A * push, 3 * J), xtol=1e-24, rtol=1e-13)
            same(J, own, 1e-9)
        same(w_m - w_p, (w - w_p) * np.exp(J / k), 1e-6)


def test_local_flux_is_monotone_and_has_limits():
    line = ro_waters.salt_line(25.0)
    args = (5e-5, 1e-11, 5e-8, line)
    pressures = np.geomspace(1e3, 1e7, 60)
    found = membrane.local_flux(pressures, 0.03, *args)
    assert np.all(np.diff(found.flux) > 0)
    assert np.all(np.diff(found.permeate_fraction)[:45] < 0)
    same(membrane.local_flux(1e6, 0.0, *args).flux, 1e-5, 1e-12)  # pure water: A times pressure
    single = [float(membrane.local_flux(p, 0.03, *args).flux) for p in pressures[::20]]
    same(found.flux[::20], single, 1e-12)


def test_kernel_has_the_film_and_the_friction_of_the_formulas():
    """Both power laws, which the march evaluates in logarithms, at the inlet of the channel."""
    line, w, rho, mu, D, u, dh = inlet()
    channel, (A, B) = ro_cases.channel("B40"), ro_cases.membrane("B40")[:2]
    mass = 1.6 / 3600 * rho
    for law in sc.CORRELATIONS.values():
        problem = build_problem(mass, w, 0.0, A, B, channel, law, line)
        re, schmidt = sc.reynolds_number(u, dh, rho, mu), spacer.schmidt_number(rho, mu, D)
        sh = spacer.sherwood_number(law, re, schmidt, dh, channel.length)
        k = spacer.mass_transfer_coefficient(sh, D, dh)
        same(np.exp(-sl.polynomial(problem.log_resistance, w)), k, 1e-4)
        loss = spacer.pressure_gradient(spacer.friction_factor(law, re), rho, u, dh)
        same(np.exp(sl.polynomial(problem.log_friction, w)), loss * channel.length, 1e-4)


def test_line_fits_its_water():
    for celsius in (5.0, 25.0, 40.0):
        salt, sea = ro_waters.salt_line(celsius, 0.12), ro_waters.sea_line(celsius)
        w, T = np.geomspace(1e-5, 0.12, 300), celsius + 273.15
        same(sl.osmotic_pressure(salt, w), ro_waters.salt_osmotic_pressure(w, T), 6e-5)
        same(sl.osmotic_pressure(sea, w), ro_waters.sea_osmotic_pressure(w, T), 2e-6)
        same(sl.density_at(salt, w), ro_waters.salt_density(w, T), 1e-6)
        same(sl.density_at(sea, w), ro_waters.sea_density(w, T), 4e-5)
        same(np.exp(sl.polynomial(salt.log_viscosity, w)), ro_waters.salt_viscosity(w, T), 6e-5)
        same(sl.fraction_at(salt, sl.concentration_at(salt, w)), w, 1e-12)


def test_line_goes_on_straight_beyond_its_end():
    line = ro_waters.salt_line(25.0)
    end = line.fraction_max
    pi = sl.osmotic_pressure(line, end * np.array([1 - 1e-6, 1.0, 1 + 1e-6, 2.0, 3.0]))
    same(pi[1] - pi[0], pi[2] - pi[1], 1e-4)
    same(pi[4] - pi[3], pi[3] - pi[1], 1e-12)


def test_many_temperatures_in_one_line():
    celsius = np.array([10.0, 25.0, 35.0])
    many = ro_waters.line(
        ro_waters.salt_osmotic_pressure,
        ro_waters.salt_density,
        ro_waters.salt_viscosity,
        celsius + 273.15,
        0.1,
    )
    for i, t in enumerate(celsius):
        one = ro_waters.salt_line(float(t), 0.1)
        same(sl.osmotic_pressure(many, np.full(3, 0.02))[i], sl.osmotic_pressure(one, 0.02), 1e-12)


def test_energy_formulas(agree):
    agree("E1_hydraulic", plant.hydraulic_energy(55e5, 0.40, np.array([1.0, 0.646])))
    agree("E2_isobaric", plant.isobaric_energy(55e5, 53.5e5, 0.40, 0.646, 0.90, 0.646))
    agree("E2_shaft_motor", plant.shaft_motor_energy(55e5, 53.5e5, 0.40, 0.80, 0.85, 0.85 * 0.95))
    pump = plant.intensifier_pump_pressure(55e5, 53.5e5, 0.2)
    agree("E2_intensifier", pump)
    same(plant.intensifier_energy(pump, 0.2, 0.646, 0.9), 12.2e5 / 0.2 / 0.646 / 0.9, 1e-12)
    power = quantities.read("250 L/h", "flow") * quantities.read("1.2 kWh/m3", "energy_per_volume")
    agree("E8_small_system", power)


def sea_work(salinity, recovery, celsius=25.0):
    T = celsius + 273.15
    return plant.least_work(
        lambda w: ro_waters.sea_osmotic_pressure(w, T),
        1e-3 * salinity,
        recovery,
        lambda w: ro_waters.sea_density(w, T),
    )


def salt_work(fraction, recovery):
    return plant.least_work(
        lambda w: ro_waters.salt_osmotic_pressure(w, ROOM),
        fraction,
        recovery,
        lambda w: ro_waters.salt_density(w, ROOM),
    )


def test_least_work(agree):
    steps = np.arange(7) / 10
    for salinity in (5, 10, 20, 35, 42):
        agree(f"E4_table_{salinity}", sea_work(salinity, steps))
    agree("E4_table_35_cold", sea_work(35, steps, 15.0))
    line = ro_waters.salt_line(25.0)
    fractions = sl.fraction_at(line, np.array([2.0, 2.0, 5.0, 5.0, 35.0, 35.0]))
    work = salt_work(fractions, np.array([0, 0.7, 0, 0.7, 0, 0.5]))
    agree("E4_sodium_chloride", work)
    agree("E6_zero_recovery", salt_work(0.035, 0.0))
    agree("E7_half_recovery", work[5])


def test_gibbs_work(agree):
    def potential(w):
        return 1e3 * gsw.chem_potential_water_t_exact(1e3 * w, 25.0, 0.0)

    def density(w):
        return ro_waters.sea_density(w, ROOM)

    recovery = np.array([0.0, 0.25, 0.40, 0.50])
    work = plant.gibbs_work(potential, 0.035, recovery, density)
    agree("E4_gibbs", work)
    # the same difference of Gibbs functions, without an integral
    g = gsw.gibbs(0, 0, 0, np.array([0.0, 35.0]), 25.0, 0.0)
    for r, w in zip(recovery[1:], work[1:], strict=True):
        left = 1 - r * density(0.0) / density(0.035)
        after = gsw.gibbs(0, 0, 0, 35.0 / left, 25.0, 0.0)
        total = left * after + (1 - left) * g[0] - g[1]  # J per kg of feed
        same(w, total * density(0.035) / r, 1e-5)
    ratio = sea_work(35, 0.5) / work[3]
    assert 1.001 < ratio < 1.003


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: sc.hydraulic_diameter(-1e-3, 0.9), "height"),
        (lambda: sc.hydraulic_diameter(1e-3, 0.0), "porosity"),
        (lambda: mt.arrhenius_factor(-5.0), "temperature"),
        (lambda: membrane.ideal_recovery(-1.0, 0.4), "driving"),
        (lambda: plant.hydraulic_energy(55e5, 0.0), "recovery"),
        (lambda: plant.isobaric_energy(55e5, 53e5, 0.4, 1.2, 0.9, 0.6), "efficiency"),
        (lambda: plant.least_work(None, 0.035, 0.99, None), "recovery"),
        (
            lambda: membrane.local_flux(0.0, 0.03, 1e-5, 1e-11, 1e-8, ro_waters.salt_line(25.0)),
            "pressure",
        ),
    ],
)
def test_impossible_values_are_refused(call, word):
    with pytest.raises(DomainError, match=word):
        call()
