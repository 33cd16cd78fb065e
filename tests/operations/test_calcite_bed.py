"""A bed of calcite: its rate against PHREEQC's own kinetics, its end against PHREEQC's equilibrium.

Who is hurt: who drinks water that eats lead and copper from the pipe because the bed gave less
than it was said to.
"""

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from ro_plant import number

from treatsim.operations.calcite_bed import bed_drop
from treatsim.safety.verdict import judge
from treatsim.water import acid_base, phreeqc
from treatsim.water.calcite import Chemistry, film_coefficient, taken_up

WELL = {"kind": "ions", "temperature": "25 degC", "ph": 7.3,
        "ions": {"Na": "850 mg/L", "K": "20 mg/L", "Mg": "110 mg/L", "Ca": "210 mg/L",
                 "Cl": "1500 mg/L", "SO4": "520 mg/L", "HCO3": "330 mg/L"}}  # fmt: skip
LIME = 100.087e-3  # kg/mol


def pure(gas, kelvin):
    """Pure water with dissolved carbon dioxide [mol/kg], as `taken_up` asks for it."""

    def chemistry(x):
        moles = np.asarray(x) * 1e-3
        strength = 3 * moles
        constants = acid_base.thin_constants(strength, kelvin)
        carbon = gas + moles
        ph = acid_base.ph_of(2 * moles, constants, carbon=carbon)
        found = acid_base.forms(ph, constants, carbon=carbon)
        index = acid_base.calcite_index(np.maximum(moles, 1e-12), found, strength, kelvin)
        return Chemistry(ph, found.carbon_dioxide, index)

    return chemistry


def by_phreeqc(gas, celsius, area, seconds):
    """Calcium after a time by PHREEQC's rate of calcite. [mol/kg]; area in m2 per kg of water."""
    engine = phreeqc._engine("phreeqc.dat")
    engine.run_string(
        f"SOLUTION 1\n temp {celsius}\n units mol/kgw\n pH 5 charge\n C(4) {gas:.12g}\n"
        f"KINETICS 1\nCalcite\n -m0 1\n -m 1\n -parms {1e4 * area:.10g} 0\n -tol 1e-9\n"
        f" -steps {seconds}\nSELECTED_OUTPUT 1\n -reset false\n -high_precision true\n"
        'USER_PUNCH 1\n -headings ca\n -start\n10 PUNCH TOT("Ca")\n -end\nEND\n'
    )
    return float(engine.get_selected_output_array()[-1][0])


@pytest.mark.parametrize("celsius", [10.0, 25.0, 35.0])
@pytest.mark.parametrize("gas", [1e-4, 6e-4])
def test_on_the_way_it_is_as_far_as_phreeqc_says(celsius, gas):
    """Surface alone. The index leaves ion pairs out and reads up to 0.05 above PHREEQC's, as
    `calcite_index` says: then less dissolves, near the end up to 5 %, never more.
    """
    kelvin, area = celsius + 273.15, 4.0
    seconds = np.array([5.0, 30.0, 120.0, 600.0])
    got, _ = taken_up(pure(gas, kelvin), kelvin, np.inf, 1e3 * area * seconds)
    ratio = got / [1e3 * by_phreeqc(gas, celsius, area, s) for s in seconds]
    assert abs(ratio[0] - 1) < 0.005  # the law itself
    assert np.all((ratio > 0.95) & (ratio < 1.005))
    assert np.all(np.diff(got) >= 0)  # the last two stand at the end


def test_the_film_holds_acid_back_and_saturated_water_takes_up_nothing():
    kelvin, reach = 298.15, np.array([50.0, 500.0, 5000.0])
    fast, _ = taken_up(pure(3e-4, kelvin), kelvin, np.inf, reach)
    slow, end = taken_up(pure(3e-4, kelvin), kelvin, 1e-6, reach)
    assert np.all(slow < fast)
    far, _ = taken_up(pure(3e-4, kelvin), kelvin, 1e-6, 1e9 * reach)
    assert_allclose(far, end, rtol=1e-3)
    full = pure(3e-4, kelvin)
    held, _ = taken_up(lambda x: full(end[0] + x), kelvin, np.inf, reach)
    assert_allclose(held, 0.0, atol=1e-6)
    # Sh = 2 in still water, by the definition
    assert_allclose(film_coefficient(0.0, 2e-3, 1e3, 1e-3), 2 * 9.31e-9 / 2e-3, rtol=1e-12)


def test_pressure_drop_by_hand():
    """Ergun in numbers: 10 mm/s through 1 m of 2 mm grains, 40 % free: 2109.4 and 820.3 Pa."""
    assert_allclose(bed_drop(0.01, 1e3, 1e-3, 1.0, 1.0, 2e-3, 0.4), 2929.7, rtol=1e-4)


def train(bed, dose=0.0, water=WELL):
    units = {
        "pump": ro_plant.pump(2.4, 12.0),
        "ro": ro_plant.vessel("brackish-4in", 4, permeate_pressure="0.5 bar"),
        "gas": {"kind": "chemical_dosing", "chemical": "carbon_dioxide", "dose": f"{dose!r} mg/L",
                "strength": "100 %", "stock_density": "770 kg/m3"},
        "bed": {"kind": "calcite_bed", "bed_area": "0.12 m2", "grain_size": "2 mm",
                "porosity": "42 %", "bed_volume": bed},
        "valve": ro_plant.VALVE,
    }  # fmt: skip
    links = ["pump > ro", "ro.permeate > gas > bed > tank", "ro.concentrate > valve > outfall"]
    return judge(ro_plant.case(water, units, links).solve())


def value(verdict, address):
    return float(np.ravel(verdict.value(address).value)[0])


def test_a_permeate_behind_it_is_the_equilibrium_that_phreeqc_tells():
    verdict = train("400 L")
    assert value(verdict, "bed.equilibrium_share") > 0.99
    for key, close in (("calcium", {"rtol": 0.01}), ("ph", {"atol": 0.05})):
        found, far = value(verdict, f"product.{key}"), value(verdict, f"ro.calcite_contact.{key}")
        assert_allclose(found, far, **close)


def test_what_dissolves_is_in_the_product_and_lasts_as_told():
    verdict = train("200 L", 30.0)
    added = value(verdict, "bed.hardness_added")
    moles = added / LIME
    more = value(verdict, "product.calcium") - value(verdict, "ro.permeate.calcium")
    assert_allclose(more / 40.078e-3, moles, rtol=1e-3)
    flow = number(verdict.result, "product.flow")
    assert_allclose(value(verdict, "bed.calcite_per_day"), added * flow * 86400, rtol=1e-3)
    tenth = 0.1 * 0.58 * 0.2 * 2710 / (added * flow)
    assert_allclose(value(verdict, "bed.refill_after"), tenth, rtol=1e-3)
    bare = train("200 L")
    assert added > 1.8 * value(bare, "bed.hardness_added")  # carbon dioxide is what dissolves it
    assert value(verdict, "bed.ph_before") < value(bare, "bed.ph_before")


def state(verdict, key):
    return next(x.state() for x in verdict.limits if x.address == f"bed.{key}")


def test_a_bed_too_small_is_not_met_and_without_a_ph_nothing_is_promised():
    assert state(train("200 L", 30.0), "equilibrium_share") == "met"
    assert state(train("3 L", 30.0), "equilibrium_share") == "not_met"
    blind = train("200 L", 30.0, ro_plant.salt(2.5))  # whose acidity nobody knows
    assert state(blind, "equilibrium_share") == "not_judged"
