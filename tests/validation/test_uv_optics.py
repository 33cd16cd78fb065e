"""Absorption, interfaces, collimated beam, lamp factors."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.correlations.uv import collimated_beam, lamp, optics
from treatsim.errors import DomainError
from treatsim.quantities import conversion

UVT = np.array([0.95, 0.90, 0.85, 0.70])


def test_absorption(agree):
    absorption = optics.absorption_from_transmittance(UVT)
    agree("A01_napierian", absorption)
    agree("A01_decadic", optics.decadic_absorption(absorption) / 100)
    a95 = optics.absorption_from_transmittance(0.95)
    agree("A02_paths", 100 * np.exp(-a95 * np.array([0.10, 0.05])))
    napierian = optics.napierian_absorption(0.05 * 100)
    agree("A03_napierian", napierian)
    agree("A03_transmittance", 100 * np.exp(-napierian * optics.CENTIMETRE))
    assert_allclose(optics.absorption_from_transmittance(0.95**10, 0.1), a95, rtol=1e-14, atol=0)


def test_units(agree):
    factor = [
        conversion("mJ/cm2", "J/m2")[0],
        conversion("mJ/cm2", "W*s/m2")[0],
        conversion("mJ/cm2", "uW*s/cm2")[0],
    ]
    agree("A04_dose", 40 * np.array(factor))
    agree("A04_irradiance", conversion("mW/cm2", "W/m2")[0])
    agree(
        "A43_energy", 240 / (100 * conversion("L/min", "m3/s")[0]) * conversion("J/m3", "kWh/m3")[0]
    )


def test_collimated_beam(agree):
    napierian = optics.napierian_absorption(np.array([10.0, 5.0]))
    factor = collimated_beam.depth_average(napierian, np.array([0.01, 0.02]))
    agree("A05_water_factor", factor)
    agree("A05_trap", collimated_beam.depth_average(10.0, 0.01))
    assert abs(factor[0] - 0.951626) > 0.05
    agree("A06_reflection", collimated_beam.reflection_factor(1.372))
    absorption = optics.napierian_absorption(9.0)
    agree("A07_water_factor", collimated_beam.depth_average(absorption, 0.017))
    agree("A07_divergence", collimated_beam.divergence_factor(0.30, 0.017))
    mean = collimated_beam.collimated_beam_irradiance(2.14, 0.93, absorption, 0.017, 0.30, 0.975)
    agree("A07_irradiance", mean / 10)
    agree("A07_time", 400 / mean)


def test_clear_water_has_no_depth_effect():
    thin = collimated_beam.depth_average(np.array([0.0, 1e-12, 1e-6]), 0.01)
    assert_allclose(thin, [1.0, 1.0, 1 - 5e-9], rtol=1e-14, atol=0)


def faces(angle):
    return optics.transmittance_unpolarised(np.sin(angle), np.cos(angle))


def test_interfaces(agree):
    agree("A08_transmittance", faces(0.0))
    grazing = optics.refracted_cosine(0.0, optics.INDEX_WATER)
    agree("A08_critical", np.degrees(np.arccos(grazing)))
    steep = np.radians(60.0)
    in_quartz = optics.refracted_cosine(np.cos(steep), optics.INDEX_QUARTZ)
    agree("A09_quartz", np.degrees(np.arccos(in_quartz)))
    in_water = optics.refracted_cosine(np.cos(steep), optics.INDEX_WATER)
    agree("A09_water", np.degrees(np.arccos(in_water)))
    agree("A09_transmittance", faces(steep))
    node, weight = np.polynomial.legendre.leggauss(48)
    angle = np.pi / 4 * (1 + node)
    for emission, emitted in (
        ("isotropic", np.cos(angle)),
        ("cosine", 4 / np.pi * np.cos(angle) ** 2),
    ):
        agree(f"U13e_{emission}", np.sum(np.pi / 4 * weight * emitted * faces(angle)))


def test_interfaces_limits():
    assert faces(np.pi / 2) < 1e-14
    # Brewster: p passes one interface whole when tan(angle) is the ratio of indices
    brewster = np.arctan(1.506)
    s, whole = optics._transmittances(np.sin(brewster), np.cos(brewster), (1.0, 1.506, 1.506))
    assert_allclose(whole, 1.0, rtol=1e-14, atol=0)
    assert s < 0.9


def test_lamp_power(agree):
    agree("A15_cosine", collimated_beam.lamp_power_from_irradiance(0.90, 2.0, 0.80))
    agree("A15_isotropic", collimated_beam.lamp_power_from_irradiance(0.90, 2.0, 0.80, "isotropic"))


def test_lamp_factors():
    assert_allclose(lamp.usable_output(80.0, ageing=0.8, fouling=0.9), 57.6, rtol=1e-14, atol=0)
    rise = lamp.warm_up_factor(np.array([0.0, 60.0, 180.0, 1e5]), 180.0, 0.2)
    assert_allclose(rise[[0, 2, 3]], [0.2, 0.96, 1.0], rtol=1e-14, atol=0)
    assert np.all(np.diff(rise) > 0)
    assert_allclose(lamp.warm_up_factor(0.0, 0.0), 1.0, rtol=0, atol=0)


def test_temperature_table():
    table = lamp.TemperatureTable((278.15, 295.15, 313.15), (0.6, 1.0, 0.7))
    assert_allclose(table.factor([278.15, 295.15, 304.15]), [0.6, 1.0, 0.85], rtol=1e-12, atol=0)
    slope = 0.4 / 17
    assert_allclose(table.factor(273.15), 0.6 - 5 * slope, rtol=1e-12, atol=0)
    assert_allclose(table.factor(400.0), 0.0, rtol=0, atol=0)
    assert (table.range.low, table.range.high) == (278.15, 313.15)
    with pytest.raises(DomainError):
        lamp.TemperatureTable((300.0, 290.0), (1.0, 0.9))


@pytest.mark.parametrize(
    "call",
    [
        lambda: optics.absorption_from_transmittance(0.0),
        lambda: optics.absorption_from_transmittance(95.0),
        lambda: optics.absorption_from_transmittance(np.nan),
        lambda: optics.napierian_absorption(-1.0),
        lambda: collimated_beam.divergence_factor(0.0, 0.01),
        lambda: collimated_beam.lamp_power_from_irradiance(1.0, 1.0, 1.0, "radial"),
        lambda: lamp.usable_output(80.0, ageing=1.2),
        lambda: lamp.warm_up_factor(-1.0, 60.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
