"""Running a validated UV reactor, and the bench test behind it."""

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim.correlations.uv import collimated_beam, sensor, uv_bench
from treatsim.correlations.uv.inactivation import DoseEquation
from treatsim.errors import DomainError
from treatsim.safety import uv_operation

EQUATION = DoseEquation(
    a=3.30,
    b=-0.62,
    c=0.95,
    d=0.88,
    absorption_tested=(2.0, 40.0),
    intensity_tested=(0.5, 1.0),
    flow_tested=(20e-3 / 60, 700e-3 / 60),
    flow_unit=1e-3 / 60,
)


def test_calculated_dose_stays_in_its_box():
    flow = np.array([10, 20, 100, 701]) * 1e-3 / 60
    found = uv_operation.calculated_dose(EQUATION, 10.0, 0.8, flow)
    assert list(found.refused) == [False, False, False, True]
    assert list(found.held_at_edge) == [True, False, False, False]
    assert_allclose(found.dose[1:3], EQUATION.dose(10.0, 0.8, flow[1:3]).dose, rtol=1e-14, atol=0)
    assert found.dose[0] == found.dose[1]
    assert found.dose[3] == 0
    assert uv_operation.calculated_dose(EQUATION, 41.0, 0.8, 1e-3).dose == 0
    assert uv_operation.calculated_dose(EQUATION, 10.0, 0.49, 1e-3).dose == 0
    clear = [uv_operation.calculated_dose(EQUATION, a, 0.8, 1e-3).dose for a in (0.5, 2.0)]
    assert clear[0] == clear[1]
    rising = dataclasses.replace(EQUATION, b=0.1)
    with pytest.raises(DomainError, match="b below 0"):
        uv_operation.calculated_dose(rising, 10.0, 0.8, 1e-3)


def test_set_point_needs_sensor_and_flow():
    dose = sensor.set_point_dose([10, 9.9, 10], 10.0, [1.0, 1.0, 1.1], 1.0, 420.0, 400.0)
    assert_allclose(dose, [400.0, 0.0, 0.0], rtol=0, atol=0)


def test_off_specification_water():
    """Three hours of a month at double flow outside: 6 parts in 723 by volume."""
    hours = np.full(720, 3600.0)
    flow = np.where(np.arange(720) < 3, 2e-3, 1e-3)
    found = uv_operation.off_specification(hours, flow, np.arange(720) >= 3)
    assert_allclose(found.time, 3 * 3600, rtol=1e-15, atol=0)
    assert_allclose(found.volume, 3 * 3600 * 2e-3, rtol=1e-14, atol=0)
    assert_allclose(found.share_in, 1 - 6 / 723, rtol=1e-13, atol=0)
    assert found.meets
    two = uv_operation.off_specification(hours, flow, np.arange(720) >= np.array([[3], [72]]))
    assert list(two.meets) == [True, False]
    edge = uv_operation.off_specification(np.ones(20), np.ones(20), np.arange(20) >= 1)
    assert edge.meets
    dry = uv_operation.off_specification(np.ones(3), np.zeros(3), [False] * 3)
    assert dry.share_in == 1


def test_sensor_check():
    found = sensor.sensor_check([10.0, 12.0, 13.0, 8.0], 10.0)
    assert list(found.passes) == [True, True, False, True]
    assert_allclose(found.divide_by, [1, 1, 1.3, 1], rtol=1e-14, atol=0)


def test_bench(agree):
    rate = collimated_beam.collimated_beam_irradiance(
        2.14, 0.93, 0.090 * np.log(10) * 100, 0.0170, 0.300, 0.975
    )
    agree("A07_time", uv_bench.exposure_time(400.0, rate))
    whole = uv_bench.beam_uncertainty(0.08, 0.05, 0.01, 0.05, 0.01, 0.02)
    assert_allclose(whole**2, 0.0064 + 0.0025 + 0.0001 + 0.0025 + 0.0001 + 0.0004, rtol=1e-13)


def test_light_and_particles_cost():
    low, high = uv_operation.repaired_dose(400.0)
    assert 400 < low < high
    losses = uv_operation.particle_loss(np.array([0.1, 0.25, 20.0]), "cryptosporidium")
    assert_allclose(losses, [0, 0, 0.8], rtol=1e-14, atol=0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: uv_operation.particle_loss(1.0, "virus"),
        lambda: sensor.sensor_check(1.0, 0.0),
        lambda: uv_operation.calculated_dose(EQUATION, 10.0, 0.8, 0.0),
        lambda: uv_bench.exposure_time(400.0, 0.0),
        lambda: uv_bench.beam_uncertainty(-0.1, 0.0, 0.0, 0.0, 0.0, 0.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
