"""A reactor by its validation report: its equation, its box, the flow it may carry."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose

from treatsim.correlations.uv.optics import absorption_from_transmittance
from treatsim.errors import RequestError

# A39: coefficients invented, value worked out by hand with the equation of iuva_2009, page 520
PRINTED = {
    "coefficient_a": 3.30, "coefficient_b": -0.62, "coefficient_c": 0.95, "coefficient_d": 0.88,
    "flow_unit": 1e-3 / 60, "intensity_ratio": 0.80, "tested_flow_low": 50e-3 / 60,
    "tested_flow_high": 600e-3 / 60, "tested_transmittance_low": 0.75,
    "tested_transmittance_high": 0.98, "tested_intensity_low": 0.5, "tested_intensity_high": 1.0,
    "validation_factor": 2.0,
}  # fmt: skip
A39 = 4.58 * np.log(10.0)  # 1/m


def unit(**changes):
    return plant.unit("validated_uv_reactor", "uv", **(PRINTED | changes))


def details(flow, absorption=A39, **changes):
    return unit(**changes).evaluate(inlet=plant.stream(flow, absorption=absorption)).details()


def credited(flow, absorption=A39, **changes):
    return np.asarray(details(flow, absorption, **changes).values["dose_credited"].value)


def test_the_dose_of_the_report_over_its_factor():
    found = details(100e-3 / 60)
    assert_allclose(found.values["dose_reported"].value, 1897.57, rtol=1e-5)
    assert_allclose(found.values["dose_credited"].value, 1897.57 / 2.0, rtol=1e-5)
    assert not found.findings


EDGES = {
    "flow": (50e-3 / 60, 600e-3 / 60),
    "absorption": tuple(absorption_from_transmittance(np.array([0.98, 0.75]))),
}


@pytest.mark.parametrize("name", EDGES)
def test_outside_the_box_there_is_no_credit_however_large_the_dose(name):
    low, high = EDGES[name]
    ends = np.array([low * (1 - 1e-6), low, high, high * (1 + 1e-6)])
    point = {"flow": np.full(4, 100e-3 / 60), "absorption": np.full(4, A39)} | {name: ends}
    found = details(**point)
    assert (found.values["dose_credited"].value > 0).tolist() == [False, True, True, False]
    assert np.all(found.values["dose_reported"].value > 0)
    assert found.findings[0].where.tolist() == [True, False, False, True]


@pytest.mark.parametrize("ratio", [0.49, 1.01])
def test_a_sensor_outside_the_box_earns_nothing(ratio):
    assert credited(100e-3 / 60, intensity_ratio=ratio) == 0
    assert unit(intensity_ratio=ratio).largest_flow(plant.stream(absorption=A39), 120.0, 1) == 0


def test_the_largest_flow_gives_the_dose_or_is_the_largest_tested():
    """Little is asked: the box ends it. Much: the dose. Too much: even the slowest gives less."""
    required = np.array([1.0, 400.0, 5000.0])
    found = unit().largest_flow(plant.stream(np.full(3, 1e-3), absorption=A39), required, 3)
    assert_allclose(found[0], 600e-3 / 60, rtol=1e-12)
    assert 50e-3 / 60 < found[1] < 600e-3 / 60
    assert found[2] == 0
    assert_allclose(credited(found[1]), 400.0, rtol=1e-9)
    assert credited(found[0]) >= 1.0
    assert credited(found[1] * (1 + 1e-6)) < 400.0


def test_the_smallest_flow_tested_may_be_the_largest_allowed():
    at_low = float(credited(50e-3 / 60))
    inlet = plant.stream(absorption=A39)
    found = [float(unit().largest_flow(inlet, at_low * f, 1)[0]) for f in (1 - 1e-9, 1 + 1e-6)]
    assert_allclose(found[0], 50e-3 / 60, rtol=1e-8)
    assert found[1] == 0


def test_no_flow_is_allowed_in_water_that_was_not_tested():
    low, high = EDGES["absorption"]
    inlet = plant.stream(
        np.full(4, 1e-3), absorption=np.array([low / 1.01, low, high, high * 1.01])
    )
    assert (unit().largest_flow(inlet, 120.0, 4) > 0).tolist() == [False, True, True, False]


def test_each_class_has_its_factor_inside_the_box_only():
    """uvdgm_2006, chapter 5 (from memory): one dose by the report, a factor for each target."""
    flow = np.array([100e-3 / 60, 601e-3 / 60])
    values = details(flow).values
    found = unit().class_doses(values, 1.25)
    assert_allclose(found["cryptosporidium"], [1897.57 / 2.0, 0.0], rtol=1e-5)
    assert_allclose(found["virus"], [1897.57 / 1.25, 0.0], rtol=1e-5)
    assert_allclose(unit().class_doses(values)["virus"], found["giardia"], rtol=0)


@pytest.mark.parametrize(("changes", "words"), [
    ({"tested_flow_low": 601e-3 / 60}, "tested_flow_low"),
    ({"tested_transmittance_low": 0.98}, "tested_transmittance_low"),
    ({"tested_intensity_low": 1.0}, "tested_intensity_low"),
    ({"target": {"organism": "virus", "log": 4.5}}, "nothing beyond 4 log"),
])  # fmt: skip
def test_what_is_refused(changes, words):
    with pytest.raises(RequestError, match=words):
        unit(**changes)
