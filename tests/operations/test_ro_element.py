"""Elements: catalogue classes, tables of the user's own, and permeabilities over temperature."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import catalogue, errors
from treatsim.operations.ro_element import element_of, element_problems, fitted, membrane_at

TABLE = dict(catalogue.load("ro_elements")["brackish-4in"])


@pytest.mark.parametrize("name", catalogue.load("ro_elements"))
def test_a_class_and_its_own_table_are_the_same(name):
    assert element_of(name) == element_of(dict(catalogue.load("ro_elements")[name]))
    assert element_problems(name) == []


def test_what_is_missing_or_wrong_is_all_listed():
    table = {k: v for k, v in TABLE.items() if k != "area"}
    table |= {"test_rejection": "140 %", "colour": "blue", "length": "90 L"}
    found = element_problems(table)
    assert len(found) == 4
    for word in ("area is missing", "test_rejection", "colour: no such key", "length"):
        assert any(word in line for line in found), word


def test_no_table_and_no_class():
    assert "belongs here" in element_problems(7)[0]
    assert "known: brackish-4in" in element_problems("seawater")[0]


def test_warm_membranes_pass_more_water_and_more_salt_still():
    element = element_of("seawater-4in")
    new = fitted(element, "schock_miquel")
    same = membrane_at(element, "schock_miquel", 298.15, 1.0, 1.0)
    assert_allclose(same, new, rtol=1e-15)
    warm = membrane_at(element, "schock_miquel", np.array([288.15, 308.15]), 1.0, 1.0)
    water = warm.water_permeability / new.water_permeability
    salt = warm.salt_permeability / new.salt_permeability
    assert_allclose(water, [0.73492, 1.33376], rtol=1e-5)
    assert np.all(np.abs(np.log(salt)) > np.abs(np.log(water)))


def test_age_multiplies():
    element = element_of("seawater-4in")
    new = membrane_at(element, "schock_miquel", 290.0, 1.0, 1.0)
    old = membrane_at(element, "schock_miquel", 290.0, 0.8, 1.3)
    assert_allclose(np.divide(old, new), [0.8, 1.3, 1.0], rtol=1e-15)  # no other reflection


def test_a_correlation_changes_the_fit():
    element = element_of("seawater-4in")
    assert fitted(element, "schock_miquel") != fitted(element, "koutsou_karabelas_first")


def test_a_standard_test_that_cannot_be_met():
    element = element_of(TABLE | {"test_pressure": "1.5 bar"})
    with pytest.raises(errors.RequestError, match="osmotic pressure"):
        fitted(element, "schock_miquel")
