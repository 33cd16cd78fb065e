"""A vessel with a reflection coefficient, from the case file to what is told."""

import dataclasses
from types import SimpleNamespace

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from ro_plant import number

from treatsim import cases, catalogue, errors
from treatsim.correlations.ro.solution_line import concentration_at, density_at, fraction_at
from treatsim.correlations.ro.vessel import Membrane, VesselFeed, solve_vessel
from treatsim.operations.ro_element import element_of
from treatsim.running.membrane_inverse import VesselReadings, invert
from treatsim.running.membrane_log import plant_of
from treatsim.safety.verdict import judge
from treatsim.studies.uncertainty import uncertainty

BAR, HOUR = 1e5, 3600.0
LOOSE = {"reflection_coefficient": 0.998}


def choices(result):
    return " ".join(result.details("ro").choices)


@pytest.mark.parametrize("name", catalogue.load("ro_elements"))
def test_the_standard_test_of_every_class_is_reproduced(name):
    element = element_of(name)
    result = ro_plant.simple(
        ro_plant.salt(element.test_feed), element.test_permeate_flow / element.test_recovery * HOUR,
        element.test_pressure / BAR, ro_plant.vessel(name, 1, **LOOSE),
    )  # fmt: skip
    assert_allclose(number(result, "ro.permeate.flow"), element.test_permeate_flow, rtol=1e-6)
    assert_allclose(number(result, "ro.salt_rejection"), element.test_rejection, rtol=1e-6)
    assert "Spiegler and Kedem's law, reflection coefficient 0.998" in choices(result)


def test_one_is_what_was_before():
    plain = ro_plant.simple(ro_plant.sea(35.0), 2.2, 50.0, ro_plant.vessel())
    one = ro_plant.simple(
        ro_plant.sea(35.0), 2.2, 50.0, ro_plant.vessel(reflection_coefficient=1.0)
    )
    for key in ("ro.permeate.flow", "ro.permeate.concentration", "ro.polarisation_max"):
        assert number(one, key) == number(plain, key)
    assert "solution-diffusion" in choices(one)


@pytest.mark.parametrize(
    ("given", "words"),
    [(0.99, "no membrane rejects more than that"), (0.9951, "about 0.9958"), (1.1, "not above 1"),
     (0.0, "above 0")],
)  # fmt: skip
def test_what_cannot_be_is_refused_before_anything_runs(given, words):
    with pytest.raises(errors.RequestError, match=words):
        ro_plant.simple(
            ro_plant.sea(35.0), 2.2, 50.0, ro_plant.vessel(reflection_coefficient=given)
        )


def test_it_can_be_uncertain_and_every_sample_has_its_own_fit():
    spread = {"value": 0.998, "spread": 0.0006}
    units = {"pump": ro_plant.pump(2.2, 50.0),
             "ro": ro_plant.vessel(reflection_coefficient=spread),
             "valve": ro_plant.VALVE}  # fmt: skip
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    case = ro_plant.case(ro_plant.sea(35.0), units, links)
    samples = np.array([0.997, 0.998, 0.9995])
    together = case.solve({"ro.reflection_coefficient": samples})
    for i, s in enumerate(samples):
        alone = case.solve({"ro.reflection_coefficient": np.array([s])})
        got = together.value("ro.permeate.concentration").value[i]
        assert_allclose(got, number(alone, "ro.permeate.concentration"), rtol=1e-8)
    assert uncertainty(case, samples=256).samples >= 256


def test_borate_leaks_no_less_than_the_salt_it_counts_as():
    """At pH 9.5 boron is mostly borate; it falls no further than the salt, though B is far less."""

    def passed(s):
        ro = ro_plant.vessel(reflection_coefficient=s)
        result = ro_plant.simple(ro_plant.sea(35.0, ph=9.5), 2.2, 60.0, ro)
        boron = judge(result).values["ro.permeate.boron"].value[0]
        return np.array([boron, number(result, "ro.permeate.concentration")])

    boron, salt = passed(0.997) / passed(1.0)
    assert salt < boron < 1


def test_the_logbook_inverts_with_the_same_coefficient():
    """Readings made with 0.997, worn to 0.85 and 1.4, give that back; as diffusion they do not."""
    case = cases.load("cases/worn_well.toml")
    unit, water = case.flowsheet().units["ro"], case.flowsheet().source.water

    def plant(s):
        p = dataclasses.replace(unit.parameters, reflection_coefficient=s)
        return plant_of(SimpleNamespace(parameters=p), water)

    true = plant(0.997)
    kelvin = np.linspace(288.0, 302.0, 12)
    line, new = true.line(kelvin), true.membrane(kelvin)
    salt, flow, pressure = np.full(12, 2.45), np.full(12, 2.4 / 3600), np.full(12, 12e5)
    fraction = fraction_at(line, salt)
    feed = VesselFeed(flow * density_at(line, fraction), fraction, pressure, 0.0)
    worn = Membrane(0.85 * new.water_permeability, 1.4 * new.salt_permeability, new.reflection)
    out = solve_vessel(feed, worn, true.channel, line, true.elements, true.law)
    rows = VesselReadings(
        flow, pressure, pressure - out.concentrate_pressure, np.zeros(12), salt, out.permeate_flow,
        concentration_at(line, out.permeate_fraction), kelvin,
    )  # fmt: skip
    found = invert(rows, true)
    assert np.all(found.found)
    assert_allclose(np.exp(found.water), 0.85, rtol=1e-5)
    assert_allclose(np.exp(found.salt), 1.4, rtol=1e-5)
    other = invert(rows, plant(1.0))
    assert np.all(np.abs(np.exp(other.salt) / 1.4 - 1) > 0.03)
