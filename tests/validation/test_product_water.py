"""What people drink: every substance at the product, after blends and passes, by hand."""

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from plant import ROOT
from ro_plant import number

from treatsim import cases, catalogue, errors
from treatsim.safety.product_water import SEA_BORON, product_water
from treatsim.water.ion_passage import ions_of, permeate_ions, relative_passage
from treatsim.water.ions import IONS

LMH = 1 / 3.6e6
LIMIT = 2.4e-3  # kg/m3 of boron, WHO 2011
SIMPLE = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
WELL = {"Na": 850, "K": 20, "Mg": 110, "Ca": 210, "Cl": 1500, "SO4": 520, "HCO3": 330,
        "NO3": 95, "F": 3.0, "B": 0.6}  # fmt: skip


BASIS = {"NO3": " as NO3"}  # a laboratory may mean nitrogen: a plain mg/L is asked for its basis


def well(**more):
    ions = WELL | more
    return {"kind": "ions", "temperature": "25 degC", "ph": 7.3,
            "ions": {n: f"{v} mg/L{BASIS.get(n, '')}" for n, v in ions.items()}}  # fmt: skip


def solved(water, units=None, links=None, **tables):
    units = units or {"pump": ro_plant.pump(2.2, 52.0), "ro": ro_plant.vessel(elements=5),
                      "valve": ro_plant.VALVE}  # fmt: skip
    data = {"title": "a train, invented", "site": ro_plant.SITE, "water": water, "units": units,
            "flowsheet": {"links": links or SIMPLE}, **tables}  # fmt: skip
    result = cases.interpret(data, "train.toml").solve()
    assert result.solved[0], result.reason()
    return result


def brackish():
    return {"pump": ro_plant.pump(2.4, 12.0), "ro": ro_plant.vessel("brackish-4in", 4),
            "valve": ro_plant.VALVE}  # fmt: skip


def bypass(share):
    units = {
        "intake": {"kind": "intake", "flow": "3 m3/h", "pressure": "2 bar"},
        "split": {"kind": "dividing_tee", "fraction": f"{100 * share!r} %"},
        "pump": ro_plant.pump(None, 52.0),
        "ro": ro_plant.vessel(elements=5),
        "let": ro_plant.VALVE,
        "valve": ro_plant.VALVE,
        "mix": {"kind": "combining_tee"},
    }
    return units, ["intake > split", "split.run > pump > ro", "ro.permeate > mix.run",
                   "split.branch > valve > mix.branch", "mix > tank",
                   "ro.concentrate > let > outfall"]  # fmt: skip


def held(result, name):
    return float(np.ravel(product_water(result).product[name])[0])


def test_boron_of_a_blend_is_that_of_the_blend():
    """45 % of raw water past the vessel: the permeate is within the value, the product is not."""
    water = ro_plant.sea(36.5, 26.0, ph=8.1, boron="6.0 mg/L")
    result = solved(water, *bypass(0.45))
    flows = {p: number(result, f"{p}.flow") for p in ("ro.permeate", "valve.outlet", "mix.outlet")}
    ports = product_water(result).ports
    permeate = ports["ro", "permeate"]["B"][0]
    expected = (flows["ro.permeate"] * permeate + flows["valve.outlet"] * 6e-3) / flows[
        "mix.outlet"
    ]
    assert permeate < LIMIT < expected
    assert_allclose(held(result, "boron"), expected, rtol=1e-9)


SYMBOL = {i.name.partition(",")[0].replace(" ", "_"): symbol for symbol, i in IONS.items()}


BESIDE = ("boron", "hardness", "alkalinity", "carbon_dioxide")  # told beside the ions


@pytest.mark.parametrize(
    ("water", "train"),
    [(ro_plant.sea(36.5, 26.0), ()), (ro_plant.sea(36.5, 26.0), bypass(0.2)),
     (well(), (brackish(),))],
)  # fmt: skip
def test_ions_of_the_product_make_up_its_salt(water, train):
    """Charges balanced, the sum is what the vessel and the blend were solved for."""
    result = solved(water, *train)
    found = product_water(result).product
    ions = {SYMBOL[n]: v for n, v in found.items() if n not in BESIDE}
    assert_allclose(sum(ions.values()), result.product.concentration, rtol=1e-8)
    signed = [v / IONS[n].molar_mass * IONS[n].charge for n, v in ions.items()]
    assert_allclose(np.sum(signed), 0.0, atol=2e-3 * np.sum(np.abs(signed)))


@pytest.mark.parametrize(("ratio", "celsius"), [(1.0, 25.0), (1.6, 25.0), (1.25, 35.0)])
def test_boron_by_hand_of_an_aged_warm_membrane(ratio, celsius):
    """One element, no pH given: all boric acid, solution-diffusion with film, by hand."""
    units = {"pump": ro_plant.pump(2.2, 52.0), "valve": ro_plant.VALVE,
             "ro": ro_plant.vessel(elements=1, salt_permeability_ratio=ratio)}  # fmt: skip
    result = solved(ro_plant.sea(35.0, celsius, boron="4.5 mg/L"), units)
    flux, recovery, film = (
        number(result, f"ro.element_1.{k}") for k in ("flux", "recovery", "polarisation_max")
    )
    warm = np.exp(30e3 / 8.314462618 * (1 / 298.15 - 1 / (celsius + 273.15)))
    acid = 2.5 * LMH * ratio * warm
    film = film ** ((1.5 / 1.10) ** 0.75)  # salt and boric acid, 1e-9 m2/s; Sherwood with Sc^0.25
    rejection = 1 / (1 + acid / flux * film)
    expected = 4.5e-3 * (1 - (1 - recovery) ** (1 - rejection)) / recovery
    assert_allclose(held(result, "boron"), expected, rtol=1e-6)


def test_boron_falls_with_ph_and_is_most_where_the_ph_is_not_known():
    values = [held(solved(ro_plant.sea(36.5, 26.0, boron="4.7 mg/L", **more)), "boron")
              for more in ({}, {"ph": 6.0}, {"ph": 8.1}, {"ph": 9.5})]  # fmt: skip
    assert np.all(np.diff(values) < 0)
    assert_allclose(values[0], values[1], rtol=0.01)  # at pH 6 all of it is acid


def test_two_passes_keep_the_criterion():
    units = {
        "pump": ro_plant.pump(2.2, 52),
        "first": ro_plant.vessel("seawater-4in", 5),
        "valve": ro_plant.VALVE,
        "again": ro_plant.pump(None, 8),
        "second": ro_plant.vessel("brackish-4in", 2),
        "drain_valve": ro_plant.VALVE,
    }
    links = ["pump > first", "first.concentrate > valve > outfall",
             "first.permeate > again > second",
             "second.permeate > tank", "second.concentrate > drain_valve > drain"]  # fmt: skip
    result = solved(ro_plant.sea(36.5, ph=8.1, boron="4.7 mg/L"), units, links)
    water = product_water(result)
    one, two = (water.ports[name, "permeate"]["B"][0] for name in ("first", "second"))
    assert 0.3 * one < two < 0.9 * one  # brackish elements hold boric acid badly
    assert_allclose(water.product["boron"], two)


def test_sea_water_brings_the_boron_of_sea_salt():
    """Reference composition: 4.5 mg/kg at 35.165 g/kg (Millero et al. 2008, from memory)."""
    assert_allclose(SEA_BORON * 35.16504e-3, 4.5e-6, rtol=0.02)
    water = product_water(solved(ro_plant.sea(36.5, 26.0, ph=8.1)))
    assert 0.4e-3 < water.product["boron"][0] < 1.5e-3
    assert "water.boron is not given" in water.notes[0]


def test_an_element_that_does_not_say_lets_all_boron_pass():
    sheet = dict(catalogue.load("ro_elements")["seawater-4in"])
    del sheet["boric_acid_permeability"]
    units = {"pump": ro_plant.pump(2.2, 52.0), "ro": ro_plant.vessel(sheet, 5),
             "valve": ro_plant.VALVE}  # fmt: skip
    water = product_water(solved(ro_plant.sea(36.5, boron="4.7 mg/L"), units))
    assert water.at_most == {"boron": "ro.element.boric_acid_permeability"}
    assert_allclose(water.product["boron"], 4.7e-3, rtol=1e-3)


def test_an_analyte_nobody_knows_the_passage_of_is_at_most_that_of_the_source():
    table = {"arsenic": "0.05 mg/L", "nitrate": "90 mg/L as NO3", "manganese": "0.02 mg/L"}
    result = solved(ro_plant.salt(3.0), brackish(), analytes=table)
    water = product_water(result)
    assert set(water.at_most) == {"arsenic", "manganese"}
    assert_allclose(water.product["arsenic"], 5e-5, rtol=1e-3)
    passage = 1 - number(result, "ro.salt_rejection")
    assert_allclose(water.product["nitrate"], 0.09 * 3 * passage, rtol=1e-6)
    after = product_water(
        solved(ro_plant.salt(3.0), brackish(), analytes=table | {"after": {"arsenic": "5 ug/L"}})
    )
    assert_allclose(after.product["arsenic"], 5e-6)
    assert "arsenic" not in after.at_most


def test_nitrate_passes_more_readily_than_chloride():
    """97 % held where chloride is held to 99 % (published lists, from memory)."""
    feed = ions_of(ro_analysis(), 3.5)
    found = permeate_ions(feed, 0.05)
    ratio = (found["NO3"] / feed["NO3"]) / (found["Cl"] / feed["Cl"])
    assert_allclose(ratio, 3.0, rtol=1e-12)
    assert relative_passage("SO4") == pytest.approx(1 / 3)
    many = permeate_ions({n: np.array([v, v]) for n, v in feed.items()}, np.array([0.05, 0.1]))
    assert_allclose(many["NO3"], found["NO3"] * np.array([1.0, 2.0]), rtol=1e-12)


def ro_analysis():
    from treatsim.water import analysis

    return analysis.of_ions({n: v * 1e-3 for n, v in WELL.items()}, ph=7.3)


def test_points_are_worked_out_as_if_alone():
    case = cases.load(ROOT / "cases/brackish_well.toml")
    pressures = np.array([10e5, 13.4e5, 1e5])  # the last has no answer
    many = case.solve({"high_pressure_pump.outlet_pressure": pressures})
    together = product_water(many).product
    for point in (0, 1):
        one = case.solve({"high_pressure_pump.outlet_pressure": pressures[[point]]})
        alone = product_water(one).product
        for name in ("boron", "sodium", "hardness"):
            assert_allclose(together[name][point], alone[name][0], rtol=1e-8)


@pytest.mark.parametrize(
    ("water", "tables", "word"),
    [
        (ro_plant.sea(35.0, conductivity="50 mS/cm"), {}, "water.conductivity: salinity is given"),
        (ro_plant.salt(3.0) | {"conductivity": "5 mS/cm"}, {}, "keep one"),
        (well() | {"boron": "0.7 mg/L"}, {}, "water.boron: it is given among the ions"),
        (well(), {"analytes": {"nitrate": "50 mg/L as NO3"}},
         "analytes.nitrate: 50 mg/L, and water.ions says 95"),
        (ro_plant.sea(35.0, boron="4 mg/L"), {"analytes": {"boron": "5 mg/L"}},
         "water.boron states it too"),
    ],
)  # fmt: skip
def test_one_thing_is_said_once(water, tables, word):
    with pytest.raises(errors.CaseError, match=word):
        solved(water, **tables)
