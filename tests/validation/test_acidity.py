"""PH of concentrated, thin and dosed waters against PHREEQC, which computes it its own way."""

import numpy as np
import pytest
import salt_waters as waters
from numpy.testing import assert_allclose

from treatsim.constants import CELSIUS_25
from treatsim.water import acid_base, analysis
from treatsim.water.acidity import Place, source_acidity
from treatsim.water.phreeqc import ION_ASSOCIATION, PITZER, Recipe, run
from treatsim.water.speciation import feed
from treatsim.water.water_table import water_table

ACID, BASE = 0.02, 0.07  # of the pH, stated; two databases differ by 0.02


def sea():
    return analysis.of_salt("seawater", mass_fraction=0.0365, ph=8.1)


WATERS = {"sea": sea(), **{name: waters.well(name) for name in waters.WELLS}}


@pytest.mark.parametrize("name", WATERS)
@pytest.mark.parametrize("factor", [0.3, 1.0, 1.8])
def test_acid_and_base_dosed_into_a_concentrate(name, factor):
    """Charge balance in PHREEQC: chloride for acid, sodium for base, carbon kept."""
    water = feed(WATERS[name])
    source = source_acidity(water_table(WATERS[name]), CELSIUS_25)
    ground = source.ground(Place(factor, 298.15, 0.0, 0.0))
    for share in (-0.9, -0.5, 0.0, 0.5, 2.0):
        dose = share * water.alkalinity * factor
        held = {n: m * factor for n, m in water.molality.items()}
        held["C(4)"] = water.carbon * factor
        held["Cl" if dose < 0 else "Na"] += abs(dose)
        (exact,) = run(Recipe(held, 298.15, 8.0, ph_from_charge=True), ('-LA("H+")',))
        found = source.at(ground, water.alkalinity * factor + dose, source.carbon * factor)
        assert abs(float(found.ph) - exact) < (ACID if exact < 8.5 else BASE), (share, exact)
        back = source.alkalinity_at(ground, found.ph, source.carbon * factor)
        assert_allclose(back, water.alkalinity * factor + dose, rtol=1e-8)


@pytest.mark.parametrize("database", [ION_ASSOCIATION, PITZER])
@pytest.mark.parametrize("celsius", [5.0, 25.0, 40.0])
@pytest.mark.parametrize(
    ("chloride", "alkali", "carbon", "boron", "calcium"),
    [
        (5e-3, 1e-4, 1.5e-4, 3e-5, 2e-5),  # a permeate
        (5e-3, 6e-4, 1.5e-4, 9e-5, 2e-5),  # the same with caustic
        (2e-3, 2e-3, 2.2e-3, 0.0, 8e-4),  # behind calcite
        (5e-3, 2e-3, 4e-4, 9e-5, 1e-5),
    ],
)
def test_thin_water(chloride, alkali, carbon, boron, calcium, celsius, database):
    T = 273.15 + celsius
    held = {"Na": chloride + alkali - 2 * calcium, "Cl": chloride, "Ca": calcium,
            "C(4)": carbon, "B": boron}  # fmt: skip
    asked = ('-LA("H+")', "MU", 'SI("Calcite")')
    ph, strength, index = run(Recipe(held, T, 8.0, ph_from_charge=True), asked, database)
    constants = acid_base.thin_constants(strength, T)
    found = acid_base.ph_of(alkali, constants, carbon=carbon, boron=boron)
    assert abs(float(found) - ph) < ACID
    forms = acid_base.forms(found, constants, carbon=carbon, boron=boron)
    assert_allclose(forms.carbon, carbon, rtol=1e-12)
    assert_allclose(forms.alkalinity, alkali, rtol=1e-7)
    ours = float(acid_base.calcite_index(calcium, forms, strength, T))
    assert -0.1 < ours - index < 0.2  # the databases differ by 0.17 among themselves


def test_log_products_of_calcite_are_those_of_the_abstract():
    """Plummer & Busenberg 1982, GCA 46, 1011: -8.480 at 25 degC; by their fit -8.381, -8.410 ..."""
    celsius = np.array([0.0, 10.0, 25.0, 40.0, 60.0])
    expected = [-8.381, -8.410, -8.480, -8.580, -8.759]
    assert_allclose(acid_base.log_carbonate_constants(celsius + 273.15)[2], expected, atol=0.01)


def test_sea_water_thinned_meets_the_thin_formula_evenly():
    """Dilution by pure water in PHREEQC; where the line ends nothing jumps."""
    source, water = source_acidity(water_table(sea()), CELSIUS_25), feed(sea())
    strength = 0.745  # mol/kg at 36.5 g/kg, with its ion pairs
    for factor in (0.03, 0.05, 0.0999, 0.1001, 0.2):
        held = {n: m * factor for n, m in water.molality.items()}
        held["C(4)"] = water.carbon * factor
        (exact,) = run(Recipe(held, 298.15, 8.0, ph_from_charge=True), ('-LA("H+")',))
        ground = source.ground(Place(factor, 298.15, strength * factor, source.boron * factor))
        found = source.at(ground, source.alkalinity * factor, source.carbon * factor)
        assert abs(float(found.ph) - exact) < BASE, factor


def test_points_do_not_meet_and_extremes_stay_in_range():
    source = source_acidity(water_table(sea()), CELSIUS_25)
    factor = np.array([0.01, 0.5, 1.0, 1.9])
    ground = source.ground(Place(factor, 298.15, 0.72 * factor, source.boron * factor))
    found = source.at(ground, source.alkalinity * factor, source.carbon * factor)
    for i, one in enumerate(factor):
        alone = source.ground(Place(one, 298.15, 0.72 * one, source.boron * one))
        ph = source.at(alone, source.alkalinity * one, source.carbon * one).ph
        assert_allclose(found.ph[i], ph, atol=1e-8)
    acid = source.at(ground, -0.01, source.carbon * factor)
    assert np.all(acid.ph < 2.5)
    assert np.all(source.at(ground, 0.05, source.carbon * factor).ph > 11.5)


def test_a_water_that_states_no_ph_tells_none():
    for kind, salt in (("seawater", 0.035), ("fresh", 1e-4)):
        table = water_table(analysis.of_salt(kind, mass_fraction=salt))
        assert source_acidity(table, CELSIUS_25) is None
