"""Ultraviolet reactor as a unit: doses by flow, light and water; the field has its own tests."""

from __future__ import annotations

import math

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.correlations.uv.dose_response import FirstOrder
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.errors import RequestError
from treatsim.operations.uv_reactor import MIXINGS, credited_organism, light_output

FLOWS = np.array([1.0, 3.0, 6.8, 11.0]) / 3600


def unit(**changes):
    return plant.unit("uv_reactor", "uv", **changes)


def values(flow=6.8 / 3600, water=None, **changes):
    inlet = plant.stream(flow, **(water or {}))
    details = unit(**changes).evaluate(inlet=inlet).details()
    return {key: np.asarray(item.value) for key, item in details.values.items()}


def test_the_light_is_a_product_of_factors():
    assert_allclose(light_output(80.0, 0.8, 0.9, 0.7, 0.5), 80 * 0.8 * 0.9 * 0.7 * 0.5, rtol=1e-15)


def test_mean_dose_is_fluence_rate_times_residence_time():
    found = values(FLOWS)
    assert_allclose(
        found["dose_mean"], found["fluence_rate_mean"] * found["residence_time"], rtol=1e-9
    )
    volume = math.pi * (0.075**2 - 0.012**2) * 1.5
    assert_allclose(found["residence_time"], volume / FLOWS, rtol=1e-9)


def test_dose_is_proportional_to_light():
    whole, half = values(), values(fouling_factor=0.45)
    for name in ("dose_mean", "dose_min", "fluence_rate_mean", "wall_irradiance"):
        assert_allclose(half[name], whole[name] / 2, rtol=1e-12)


def test_the_new_lamp_stands_beside_the_old():
    found = values()
    new = values(ageing_factor=1.0, fouling_factor=1.0)
    assert_allclose(found["dose_mean_new"], new["dose_mean"], rtol=1e-12)
    assert_allclose(found["dose_credited_new"], new["dose_credited"], rtol=1e-12)


def test_every_dose_falls_with_flow_and_with_absorption():
    by_flow = values(FLOWS)
    by_water = values(water={"absorption": np.array([1.0, 10.0, 40.0, 150.0])})
    for found in (by_flow, by_water):
        for name, value in found.items():
            if name.startswith(("red.", "dose_")):
                assert np.all(np.diff(value) <= 0), name
            if name.startswith("dose_") or "cryptosporidium" in name:
                assert np.all(np.diff(value) < 0), name


def test_equivalent_doses_lie_between_the_smallest_and_the_mean():
    found = values(FLOWS)
    for organism in ORGANISMS:
        for mixing in MIXINGS:
            dose = found[f"red.{organism}.{mixing}"]
            assert np.all(dose < found["dose_mean"])
            if mixing == "unmixed" and isinstance(ORGANISMS[organism].response, FirstOrder):
                assert np.all(dose >= found["dose_min"])  # others are held at their last dose


def test_the_credited_dose_is_the_lowest_edge():
    for organism in ("ms2", "cryptosporidium"):
        found = values(FLOWS, target={"organism": organism, "dose": "40 mJ/cm2"})
        lowest = np.min([found[f"red.{organism}.{m}"] for m in MIXINGS], axis=0)
        assert_allclose(found["dose_credited"], lowest / 2.6, rtol=1e-12)


def test_many_tanks_come_near_the_mean():
    found = values(tanks_in_series=1000)
    assert_allclose(found["red.ms2.tanks"], found["dose_mean"], rtol=0.05)


def test_classes_stand_for_an_organism():
    assert credited_organism({"organism": "giardia"}) == "cryptosporidium"
    assert credited_organism({"organism": "virus"}) == "adenovirus_40"
    assert credited_organism({"organism": "ms2"}) == "ms2"
    assert credited_organism(None) == "cryptosporidium"


def test_the_water_only_loses_pressure():
    water = plant.stream(2e-3, 1e5)
    outcome = unit().evaluate(inlet=water)
    assert_allclose(1e5 - outcome.outlets["outlet"].pressure, 700 * 3600.0**2 * 2e-3**2, rtol=1e-9)
    assert outcome.outlets["outlet"].contents == water.contents
    assert unit(quadratic_loss=0.0).evaluate(inlet=water).outlets["outlet"].pressure == 1e5
    assert outcome.details().power == 240.0


def test_cold_water_is_told_unless_a_factor_is_given():
    temperature = np.array([275.15, 290.15, 306.15])
    water = plant.stream(temperature=temperature)
    findings = unit().evaluate(inlet=water).details().findings
    assert_array_equal(findings[0].where, [True, False, True])
    assert not unit(temperature_factor=0.9).evaluate(inlet=water).details().findings


def test_choices_are_told():
    words = " ".join(unit(emission="cosine").evaluate(inlet=plant.stream()).details().choices)
    for part in ("emission cosine", "interfaces refracting", "10 tanks", "numerical error"):
        assert part in words


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"ageing_factor": 1.6}, "an ageing factor lies above 0 and not above 1"),
        ({"fouling_factor": 0.0}, "a fouling factor"),
        ({"sleeve_inner_radius": 0.013}, "sleeve_inner_radius"),
        ({"sleeve_outer_radius": 0.08}, "sleeve_outer_radius"),
        ({"arc_length": 1.6}, "arc_length"),
        ({"lamp_uvc_output": 240.0}, "electrical power"),
        ({"emission": "flat"}, "emission is one of isotropic, cosine"),
        ({"validation_factor": 0.9}, "a validation factor"),
        ({"tanks_in_series": 0}, "tanks in series lie"),
        ({"target": {"organism": "cryptosporidum", "log": 3.0}}, "target.organism"),
        ({"target": {"organism": "ms2"}}, "one of log and dose"),
        ({"target": {"organism": "ms2", "log": 3.0, "dose": "40 mJ/cm2"}}, "one of log and dose"),
        ({"target": {"organism": "ms2", "log": 9.0}}, "not above 8"),
        ({"target": {"organism": "e_coli", "log": 4.5}}, "nothing beyond 4 log is known"),
        ({"target": {"organism": "adenovirus_40", "log": 4.0}}, "nothing beyond 3 log is known"),
        ({"target": {"organism": "virus", "log": 5.0}}, "nothing beyond 4 log is known"),
        ({"target": {"organism": "ms2", "dose": 40}}, "text with a unit"),
        ({"target": {"organism": "ms2", "log": 3.0, "x": 1}}, "target.x: no such key"),
        ({"target": "ms2"}, "a table such as"),
    ],
)
def test_what_is_refused(changes, words):
    with pytest.raises(RequestError, match=words):
        unit(**changes)
