"""Chemicals into the line: amounts by hand, limits that say no, and what a case must tell."""

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from ro_plant import number

from treatsim import cases, errors
from treatsim.operations.chemical_dosing import CHEMICALS, PER_CHLORINE, chlorine_left
from treatsim.safety.product_water import product_water
from treatsim.safety.verdict import judge
from treatsim.water.acidity import ALKALINITY, CARBON
from treatsim.water.ions import IONS

STOCK = {"strength": "30 %", "stock_density": "1150 kg/m3"}
LINKS = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
HARD = {"Na": 300, "K": 10, "Mg": 150, "Ca": 395, "Sr": 7, "Ba": 0.02, "Cl": 330, "SO4": 1530,
        "HCO3": 250, "SiO2": 25}  # fmt: skip


def doser(chemical, **more):
    return {"kind": "chemical_dosing", "chemical": chemical, **STOCK, **more}


def chlorine(dose="2 mg/L"):
    return {"kind": "chlorine_dosing", "dose": dose, "demand": "0.5 mg/L", "form": "liquid",
            "strength": "5 %", "strength_known": "measured"}  # fmt: skip


def judged(water, ahead, behind=(), **ro):
    """A vessel with units ahead of its pump, and behind on its permeate."""
    units = {**dict(ahead), "pump": ro_plant.pump(2.2, ro.pop("pressure", 52.0)),
             "ro": ro_plant.vessel(**ro), "valve": ro_plant.VALVE, **dict(behind)}  # fmt: skip
    links = [" > ".join([*dict(ahead), "pump", "ro"]),
             " > ".join(["ro.permeate", *dict(behind), "tank"]), LINKS[2]]  # fmt: skip
    data = {"title": "a train, invented", "site": ro_plant.SITE, "water": water, "units": units,
            "flowsheet": {"links": links}}  # fmt: skip
    return judge(cases.interpret(data, "train.toml").solve())


def sea(**more):
    return ro_plant.sea(36.5, 26.0, ph=8.1, boron="4.7 mg/L", **more)


def hard(**more):
    return {"kind": "ions", "temperature": "22 degC", "ph": 7.3,
            "ions": {n: f"{v} mg/L" for n, v in HARD.items()}}  # fmt: skip


def limit(verdict, address):
    found = [row for row in verdict.limits if row.address == address]
    assert found, address
    return found[0]


def at_port(verdict, *port):
    return {k: float(np.ravel(v)[0]) for k, v in product_water(verdict.result).ports[port].items()}


@pytest.mark.parametrize("chemical", ["hydrochloric_acid", "sulfuric_acid", "caustic_soda"])
def test_a_dose_brings_its_ions_and_its_charge(chemical):
    """Equivalents by hand: HCl 36.46, H2SO4 49.04, NaOH 40.00 g each (atomic weights)."""
    per_mole = {"hydrochloric_acid": ("Cl", 36.461, -1), "sulfuric_acid": ("SO4", 98.079, -2),
                "caustic_soda": ("Na", 39.997, 1)}  # fmt: skip
    ion, mass, charge = per_mole[chemical]
    verdict = judged(sea(), {"dose": doser(chemical, dose="20 mg/L")}, elements=5)
    before, behind = at_port(verdict, "dose", "inlet"), at_port(verdict, "dose", "outlet")
    moles = 20e-3 / mass  # mol per L as 1e3 mol/m3
    assert_allclose(behind[ALKALINITY] - before[ALKALINITY], charge * moles * 1e3, rtol=1e-9)
    assert_allclose(behind[ion] - before[ion], moles * 1e3 * IONS[ion].molar_mass, rtol=1e-9)
    assert_allclose(behind[CARBON], before[CARBON], rtol=1e-12)
    rest = set(before) - {ALKALINITY, ion}
    assert all(abs(behind[k] - before[k]) <= 1e-12 * abs(before[k]) for k in rest)
    row = CHEMICALS[chemical]
    brought = sum(n * IONS[name].charge for name, n in row.ions.items())
    assert brought == row.charge  # alkalinity is what the other ions leave uncharged


@pytest.mark.parametrize("target", [5.5, 7.0, 9.0])
def test_a_target_is_reached_and_its_stock_is_told(target):
    chemical = "hydrochloric_acid" if target < 8 else "caustic_soda"
    verdict = judged(sea(), {"dose": doser(chemical, target_ph=target)}, elements=5)
    assert_allclose(number(verdict, "dose.ph_behind"), target, atol=1e-6)
    assert_allclose(number(verdict, "ro.feed.ph"), target, atol=1e-4)
    dose, flow = number(verdict, "dose.dose_given"), number(verdict, "dose.inlet.flow")
    litres = dose * flow / (0.30 * 1150) * 86400
    assert_allclose(number(verdict, "dose.stock_per_day"), litres, rtol=1e-9)
    assert limit(verdict, "dose.ph_behind").state() == "met"
    # the same dose stated as such gives the same pH
    again = judged(sea(), {"dose": doser(chemical, dose=f"{dose * 1e3!r} mg/L")}, elements=5)
    assert_allclose(number(again, "dose.ph_behind"), target, atol=1e-6)


def test_acid_to_where_the_water_is_already_doses_nothing_and_raises_nothing():
    verdict = judged(sea(), {"dose": doser("hydrochloric_acid", target_ph=8.5)}, elements=5)
    assert number(verdict, "dose.dose_given") == 0
    assert limit(verdict, "dose.ph_behind").state() == "met"
    base = judged(sea(), {"dose": doser("caustic_soda", target_ph=7.0)}, elements=5)
    assert number(base, "dose.dose_given") == 0
    assert number(base, "dose.ph_behind") > 8


def test_a_target_in_a_water_of_unknown_ph_is_not_judged():
    verdict = judged(ro_plant.sea(36.5), {"dose": doser("caustic_soda", target_ph=9)}, elements=5)
    row = limit(verdict, "dose.ph_behind")
    assert row.state() == "not_judged"
    assert row.needs == "water.ph"
    assert limit(verdict, "ro.ph_max").state() == "not_judged"


def test_a_ph_beyond_the_element_is_not_met():
    acid = judged(sea(), {"dose": doser("sulfuric_acid", dose="400 mg/L")}, elements=5)
    assert number(acid, "ro.ph_min") < 3
    far = judged(sea(), {"dose": doser("sulfuric_acid", dose="1500 mg/L")}, elements=5)
    assert limit(far, "ro.ph_min").state() == "not_met"
    base = judged(sea(), {"dose": doser("caustic_soda", dose="800 mg/L")}, elements=5)
    assert limit(base, "ro.ph_max").state() == "not_met"
    mild = judged(sea(), {"dose": doser("caustic_soda", dose="10 mg/L")}, elements=5)
    assert limit(mild, "ro.ph_max").state() == limit(mild, "ro.ph_min").state() == "met"


def test_caustic_in_excess_behind_the_vessel_is_not_given_out():
    verdict = judged(sea(), {}, {"dose": doser("caustic_soda", dose="40 mg/L")}, elements=5)
    assert number(verdict, "product.ph") > 10
    rows = [r for r in verdict.limits if r.address == "product.ph"]
    assert {r.relation: r.state() for r in rows} == {">=": "met", "<=": "not_met"}
    assert verdict.broken[0]


def test_acid_holds_carbonate_and_sulfuric_acid_brings_gypsum_nearer():
    bare = judged(hard(), {}, element="brackish-4in", pressure=12.0)
    acid = judged(hard(), {"dose": doser("sulfuric_acid", target_ph=6.0)},
                  element="brackish-4in", pressure=12.0)  # fmt: skip
    salt = judged(hard(), {"dose": doser("hydrochloric_acid", target_ph=6.0)},
                  element="brackish-4in", pressure=12.0)  # fmt: skip
    assert limit(bare, "ro.carbonate_index").state() == "not_met"
    assert limit(acid, "ro.carbonate_index").state() == "met"
    gypsum = [number(v, "ro.saturation.gypsum") for v in (bare, salt, acid)]
    assert_allclose(gypsum[1], gypsum[0], rtol=1e-3)
    sulfate = at_port(acid, "ro", "feed")["SO4"] / at_port(bare, "ro", "feed")["SO4"]
    assert sulfate > 1.05
    assert_allclose(gypsum[2] / gypsum[0], sulfate, rtol=1e-3)


def antiscalant(dose):
    return doser("antiscalant", dose=dose, least_dose="2 mg/L", largest_dose="5 mg/L")


def test_antiscalant_counts_from_its_least_dose_and_is_held_to_its_approval():
    states = {}
    for dose in ("1 mg/L", "3 mg/L", "6 mg/L"):
        verdict = judged(hard(), {"dose": antiscalant(dose)}, element="brackish-4in", pressure=12.0)
        rows = [r for r in verdict.limits if r.address == "dose.dose_given"]
        scale = limit(verdict, "ro.saturation.gypsum")
        states[dose] = (*(r.state() for r in rows), scale.state(), float(np.ravel(scale.limit)[0]))
    assert states == {"1 mg/L": ("not_met", "met", "not_met", 0.8),
                      "3 mg/L": ("met", "met", "met", 2.3),
                      "6 mg/L": ("met", "not_met", "met", 2.3)}  # fmt: skip
    further = judged(hard(), {"dose": antiscalant("3 mg/L")}, element="brackish-4in",
                     pressure=16.0, elements=6)  # fmt: skip
    assert limit(further, "ro.saturation.gypsum").state() == "not_met"


def test_none_of_the_antiscalant_reaches_the_permeate():
    verdict = judged(hard(), {"dose": antiscalant("3 mg/L")}, element="brackish-4in", pressure=12.0)
    assert at_port(verdict, "ro", "permeate")["antiscalant"] == 0
    assert at_port(verdict, "ro", "concentrate")["antiscalant"] > 1.5
    assert not [a for a in verdict.values if "antiscalant" in a and "limit" not in a]


def test_chlorine_reaches_the_membrane_unless_bisulfite_takes_it():
    """104.06 g of NaHSO3 takes 70.91 g of chlorine: 1.47 g for 1 g."""
    assert_allclose(PER_CHLORINE, 1.468, rtol=1e-3)
    assert_allclose(chlorine_left(1.5e-3, 1.468e-3)[0], 0.5e-3, rtol=1e-3)
    bare = judged(sea(), {"cl": chlorine()}, elements=5)
    short = judged(sea(), {"cl": chlorine(), "sbs": doser("sodium_bisulfite", dose="1.5 mg/L")},
                   elements=5)  # fmt: skip
    enough = judged(sea(), {"cl": chlorine(), "sbs": doser("sodium_bisulfite", dose="3 mg/L")},
                    elements=5)  # fmt: skip
    assert [limit(v, "ro.feed.free_chlorine").state() for v in (bare, short, enough)] == [
        "not_met", "not_met", "met"]  # fmt: skip
    assert limit(short, "sbs.bisulfite_ratio").state() == "not_met"
    assert limit(enough, "sbs.bisulfite_ratio").state() == "met"
    assert any("the bisulfite must be at least" in text for text in short.told())
    assert_allclose(number(enough, "sbs.bisulfite_ratio"), 2.0, rtol=1e-6)
    acid = (
        at_port(enough, "sbs", "inlet")[ALKALINITY] - at_port(enough, "sbs", "outlet")[ALKALINITY]
    )
    by_hand = 3 / 104.061 + 1.5 / 70.906  # eq/m3: sulfate of all of it, chloride of the chlorine
    assert_allclose(acid, by_hand, rtol=1e-4)


def test_each_chemical_brings_its_own_caution():
    for chemical, word in (("caustic_soda", "blinds"), ("sulfuric_acid", "acid into water"),
                           ("sodium_bisulfite", "sulfur dioxide")):  # fmt: skip
        verdict = judged(sea(), {"dose": doser(chemical, dose="2 mg/L")}, elements=5)
        text = " ".join(verdict.cautions)
        assert word in text
        assert ("blinds" in text) is (chemical == "caustic_soda")


@pytest.mark.parametrize(
    ("entry", "word"),
    [
        (doser("caustic_soda"), "dose is missing.*or give target_ph"),
        (doser("caustic_soda", dose="3 mg/L", target_ph=9), "one of the two"),
        (doser("antiscalant", dose="3 mg/L"), "least_dose: an antiscalant needs it"),
        (doser("sodium_bisulfite", target_ph=7), "sodium bisulfite sets no pH"),
        (doser("chlorine", dose="1 mg/L"), "chemical is one of"),
        (doser("caustic_soda", dose="3 mg/L") | {"strength": "0.001 %"}, "10 times as strong"),
        (doser("caustic_soda", target_ph=15), "not below 0 and not above 14"),
    ],
)
def test_what_cannot_be_is_refused_by_name(entry, word):
    with pytest.raises(errors.CaseError, match=word):
        judged(sea(), {"dose": entry}, elements=5)
