"""Water chemistry around solved vessels: hand checks, reference rows, limits, and what is said."""

import copy

import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from plant import ROOT
from ro_plant import number

from treatsim import cases
from treatsim.correlations.ro.trace_solute import film_of, trace_solute
from treatsim.errors import DomainError, NoSolutionError, RequestError
from treatsim.report.tables import full_text
from treatsim.safety.parts.membranes import ASSUMED
from treatsim.safety.recovery_limits import recovery_of
from treatsim.safety.scale import SEA_WITHOUT
from treatsim.safety.verdict import judge
from treatsim.water import analysis, boron, chemistry, phreeqc, scaling, speciation
from treatsim.water.ion_passage import DIVALENT_SHARE, ions_of, permeate_ions
from treatsim.water.ions import IONS
from treatsim.water.water_table import water_table

LMH = 1 / 3.6e6
WELL = {"Na": 850, "K": 20, "Mg": 110, "Ca": 210, "Sr": 4, "Ba": 0.03, "Cl": 1500, "SO4": 520,
        "HCO3": 330, "F": 1.0, "SiO2": 24, "B": 0.6}  # fmt: skip
HEAVY = {"Na": 300, "K": 10, "Mg": 150, "Ca": 395, "Sr": 7, "Ba": 0.02, "Cl": 330, "SO4": 1530,
         "HCO3": 250, "SiO2": 25}  # fmt: skip


def well(ions, celsius=25.0, ph=7.3):
    return {"kind": "ions", "temperature": f"{celsius} degC", "ph": ph,
            "ions": {name: f"{value} mg/L" for name, value in ions.items()}}  # fmt: skip


def judged(water, flow=2.4, pressure=12.0, ro=None):
    ro = ro or ro_plant.vessel("brackish-4in", 4)
    units = {"pump": ro_plant.pump(flow, pressure), "ro": ro, "valve": ro_plant.VALVE}
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    case = ro_plant.case(water, units, links)
    return judge(case.solve())


def sea(ph=8.1, **more):
    water = ro_plant.sea(36.5, 26.0, ph=ph, boron="4.7 mg/L", **more)
    return judged(water, 2.2, 52.0, ro_plant.vessel("seawater-4in", 5))


def messages(verdict):
    return " | ".join(verdict.told())


def balanced(own, factor, T):
    """PH of a concentrate by PHREEQC, its carbon by the balance: the gas goes with the water."""
    water = speciation.feed(own)
    gas, ph = [], 0.0
    carbon = water.carbon * factor
    for grown in (1.0, factor, factor, factor, factor):
        if gas:
            carbon = water.carbon * grown - 0.5 * (gas[0] + gas[-1]) * (grown - 1)
        held = {name: m * grown for name, m in water.molality.items()}
        held["C(4)"] = carbon if gas else water.carbon
        recipe = phreeqc.Recipe(held, T, water.ph, ph_from_charge=True)
        ph, free = phreeqc.run(recipe, ('-LA("H+")', 'MOL("CO2")'))
        gas.append(free)
    return ph


def test_saturation_is_that_of_the_chemistry_at_the_membrane():
    verdict = judged(well(WELL))
    result = verdict
    bulk = number(result, "ro.concentrate.concentration_factor")
    membrane = number(result, "ro.membrane.concentration_factor")
    table = result.result.sheet.source.water
    top = number(result, "ro.membrane_salinity_max")
    assert_allclose(membrane, float(table.concentration_factor(top)), rtol=1e-12)
    assert 1.05 < membrane / bulk < 1.25
    own = analysis.of_ions({k: v * 1e-3 for k, v in WELL.items()}, ph=7.3)
    ph = [balanced(own, factor, 298.15) for factor in (bulk, membrane)]
    at_bulk = scaling.saturation(own, bulk, 298.15, ph=ph[0])
    at_membrane = scaling.saturation(own, membrane, 298.15, ph=ph[1])
    assert set(at_membrane.indices) == set(scaling.SCALES)
    for scale in scaling.SCALES:
        # the series between PHREEQC's answers: 0.001 in the index; of calcite, whose ion pairs go
        # with the pH, 0.01
        close = 2.5e-2 if scale == "calcite" else 4e-3
        assert_allclose(
            number(result, f"ro.saturation.{scale}"), at_membrane.ratio(scale), rtol=close
        )
        assert_allclose(
            number(result, f"ro.saturation_bulk.{scale}"), at_bulk.ratio(scale), rtol=close
        )
    assert_allclose(number(result, "ro.concentrate.ph"), ph[0], atol=0.005)
    assert_allclose(number(result, "ro.membrane.ph"), ph[1], atol=0.005)


def test_the_brine_of_sea_water_is_no_more_alkaline_than_its_feed():
    """Carbonate takes up what leaves as gas; were the gas held, its pH would be 0.2 higher."""
    verdict = sea()
    own = analysis.of_salt("seawater", mass_fraction=0.0365, ph=8.1, temperature=299.15)
    factor = number(verdict, "ro.concentrate.concentration_factor")
    found = number(verdict, "ro.concentrate.ph")
    assert_allclose(found, balanced(own, factor, 299.15), atol=0.005)
    assert 7.9 < found < 8.1 < scaling.saturation(own, factor, 299.15).ph


def test_recovery_limits_are_where_the_limit_is_met():
    """At the recovery limit of gypsum its saturation at the membrane is the limit itself."""
    verdict = judged(well(HEAVY, 22.0))
    result = verdict
    factor = number(result, "ro.membrane.concentration_factor")
    polarisation = factor / number(result, "ro.concentrate.concentration_factor")
    passage = number(result, "ro.permeate.salinity") / float(result.result.sheet.source.salinity)
    own = analysis.of_ions({k: v * 1e-3 for k, v in HEAVY.items()}, ph=7.3, temperature=295.15)
    for key, limit in (("recovery_limit", "without"), ("recovery_limit_antiscalant",
                                                       "with_antiscalant")):  # fmt: skip
        recovery = number(result, f"ro.{key}.celestite")
        concentrated = (1 - recovery * passage) / (1 - recovery)
        state = scaling.saturation(own, concentrated, 295.15, polarisation=polarisation)
        want = getattr(scaling.SCALES["celestite"], limit)
        assert_allclose(state.ratio("celestite"), want, rtol=2e-3)
        assert recovery <= number(result, "ro.recovery_limit_antiscalant.celestite")


def sea_index(recovery, passage):
    """Stiff and Davis of a sea-water concentrate by PHREEQC itself, 36.5 g/kg, pH 8.1, 26 degC."""
    T = 299.15
    own = analysis.of_salt("seawater", mass_fraction=0.0365, ph=8.1, temperature=T)
    factor = (1 - recovery * passage) / (1 - recovery)
    state = scaling.saturation(own, factor, T)
    ratio = factor * 0.0365 / (1 - 0.0365)
    salt = float(water_table(own).mass_concentration(ratio / (1 + ratio), T))
    held = ions_of(own, salt)
    alkali = held["HCO3"] / 61.0168e-3 + 2 * held["CO3"] / 60.0089e-3
    strength = state.ionic_strength * salt / ratio / 1e3  # mol/L
    return scaling.stiff_davis_index(state.ph, held["Ca"] / 40.078e-3, alkali, strength, T)


@pytest.mark.parametrize(
    ("ro", "key", "allowed"),
    [({}, "recovery_limit", 0.25), ({"antiscalant": "dosed"}, "recovery_limit_antiscalant", 1.0)],
)
def test_at_the_highest_recovery_the_index_crosses_its_limit(ro, key, allowed):
    vessel = ro_plant.vessel("seawater-4in", 5, **ro)
    verdict = judged(ro_plant.sea(36.5, 26.0, ph=8.1), 2.2, 52.0, vessel)
    passage = number(verdict, "ro.permeate.salinity") / 0.0365
    recovery = number(verdict, f"ro.{key}.calcite")
    assert sea_index(0.99 * recovery, passage) < allowed < sea_index(1.01 * recovery, passage)


def test_the_highest_recovery_is_none_where_the_feed_scales_and_grows_with_antiscalant():
    verdict = judged(well(HEAVY, 22.0))
    bare, held = (
        {m: number(verdict, f"ro.{key}.{m}") for m in scaling.SCALES if m not in ("fluorite",)}
        for key in ("recovery_limit", "recovery_limit_antiscalant")
    )
    assert bare["calcite"] == bare["barite"] == 0.0
    assert all(held[name] >= bare[name] for name in bare)
    assert held["gypsum"] > bare["gypsum"] + 0.3
    assert max(held.values()) <= number(verdict, "ro.recovery_searched") < 0.96


@pytest.mark.parametrize(
    ("factor", "passage", "expected"), [(2.0, 0.0, 0.5), (4.0, 0.0, 0.75), (0.7, 0.01, 0.0)]
)
def test_recovery_of_a_concentration_factor(factor, passage, expected):
    assert_allclose(recovery_of(factor, passage), expected, rtol=1e-4, atol=1e-15)


def test_recovery_by_what_is_left(agree):
    agree("T15_recovery", recovery_of(3.940, 0.02))
    agree("T17_recovery", recovery_of(3643 / 400, 0.1))


def scale_rows(verdict):
    """Limits of scale by key."""
    keys = ("carbonate_index", "scale", *scaling.SCALES)
    return {c.key: c for c in verdict.limits if c.address.startswith("ro.") and c.key in keys}


def missed(verdict):
    return {key for key, row in scale_rows(verdict).items() if row.state() == "not_met"}


def dosed(**more):
    return ro_plant.vessel("brackish-4in", 4, antiscalant="dosed", **more)


def test_scale_is_judged_by_what_is_dosed():
    """A gypsum well: raw it scales, an antiscalant holds it, and pushed further nothing does."""
    bare, held = judged(well(HEAVY, 22.0)), judged(well(HEAVY, 22.0), ro=dosed())
    assert missed(bare) == {"carbonate_index", "gypsum", "barite", "celestite"}
    assert not missed(held)
    assert "gypsum" in missed(judged(well(HEAVY, 22.0), 1.1, 17.0, dosed()))
    assert {row.group for row in scale_rows(bare).values()} == {"practice"}
    assert scale_rows(bare)["gypsum"].limit == 0.8  # of the solubility product
    assert scale_rows(held)["gypsum"].limit == 2.3
    assert "antiscalant" in scale_rows(bare)["gypsum"].advice


def at_recovery(share, ph=8.1, salinity=35.16504):
    """Average sea water at a recovery, set by the pressure."""
    hold = {"adjust": "pump.outlet_pressure", "until": "ro.permeate.flow",
            "equals": f"{2.2 * share!r} m3/h"}  # fmt: skip
    units = {"pump": ro_plant.pump(2.2, 60), "ro": ro_plant.vessel("seawater-4in", 7),
             "valve": ro_plant.VALVE}  # fmt: skip
    links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
    return judge(ro_plant.case(ro_plant.sea(salinity, ph=ph), units, links, [hold]).solve())


def test_sea_water_runs_without_antiscalant_as_the_trade_runs_it():
    """Up to about 35 % recovery (common practice, no source), though calcite is supersaturated."""
    for share, met in ((0.15, True), (0.30, True), (0.35, True), (0.40, False), (0.45, False)):
        verdict = at_recovery(share)
        row = scale_rows(verdict)["carbonate_index"]
        assert (row.state() == "met") is met, share
        assert number(verdict, "ro.saturation_bulk.calcite") > 5
        assert row.limit == SEA_WITHOUT
    # the habit the limit was made from: its index, to the two digits that are stated
    assert_allclose(number(at_recovery(0.35), "ro.carbonate_index"), 0.21, atol=0.01)
    assert scale_rows(at_recovery(0.30, ph=8.4))["carbonate_index"].state() == "not_met"


def test_salty_water_that_is_no_sea_water_gets_no_grace():
    salty = {k: v * 6.0 for k, v in WELL.items() if k in ("Na", "Cl", "Ca", "Mg", "SO4", "HCO3")}
    units = ro_plant.vessel("seawater-4in", 4)
    row = scale_rows(judged(well(salty, ph=7.0), 2.2, 40.0, units))["carbonate_index"]
    assert "Stiff and Davis" in row.name
    assert row.limit == 0.0
    assert row.state() == "not_met"
    fresh = scale_rows(judged(well(WELL)))["carbonate_index"]
    assert "at the membrane" in fresh.name
    assert_allclose(fresh.value, np.log10(number(judged(well(WELL)), "ro.saturation.calcite")))


def test_scale_that_cannot_be_told_is_not_judged():
    for water, needs in ((ro_plant.sea(35.0), "water.ph"), (ro_plant.salt(3.0), "water.ions")):
        pressure = 52.0 if needs == "water.ph" else 12.0
        rows = scale_rows(judged(water, 2.2, pressure))
        assert set(rows) == {"scale"}
        assert rows["scale"].state() == "not_judged"
        assert rows["scale"].needs == needs


def test_a_case_may_state_its_own_limit_of_scale_or_waive_it():
    stated = {"limits": {"gypsum": "2.0", "barite": {"waived": "flushed with permeate daily"}}}
    rows = scale_rows(judged(well(HEAVY, 22.0), ro=ro_plant.vessel("brackish-4in", 4) | stated))
    assert rows["gypsum"].state() == "met"
    assert rows["barite"].state() == "waived"
    assert rows["celestite"].state() == "not_met"


def test_acidity():
    result = judged(well(WELL))
    feed, concentrate, permeate = (
        number(result, f"ro.{p}.ph") for p in ("feed", "concentrate", "permeate")
    )
    assert_allclose(feed, 7.3, rtol=1e-4)
    rule = feed + np.log10(number(result, "ro.concentrate.concentration_factor"))
    assert rule - 0.1 < concentrate < rule  # the rule leaves out activity coefficients
    assert permeate < feed - 1  # carbon dioxide passes, alkalinity does not
    assert 7.5 < number(result, "ro.calcite_contact.ph") < 8.5  # without its gas it would be 9.7
    assert 0 < number(result, "ro.concentrate.langelier_index") < 2


def test_a_permeate_that_calcite_chemistry_cannot_solve_is_not_judged(monkeypatch):
    def refuse(product, temperature):
        raise NoSolutionError("no equilibrium")

    monkeypatch.setattr(chemistry, "remineralised", refuse)
    verdict = judged(well(WELL))
    (limit,) = [row for row in verdict.limits if row.address == "ro.calcite_contact"]
    assert limit.state() == "not_judged"
    assert "permeate of ro after calcite: not judged: no equilibrium" in verdict.choices
    assert not any("calcite_contact" in address for address in verdict.values)
    assert "nan" not in full_text(verdict)
    waived = {"limits": {"calcite_contact": {"waived": "no bed here"}}}
    row = ro_plant.vessel("brackish-4in", 4) | waived
    (limit,) = [x for x in judged(well(WELL), ro=row).limits if x.key == "calcite_contact"]
    assert limit.state() == "waived"


def test_boron_by_hand():
    """One thin element: solution-diffusion with film, as the reference states it."""
    J, k = 15 * LMH, 170 * LMH
    for ph, rejection in ((8.1, 0.878), (9.5, 0.979)):
        share = boron.borate_fraction(ph, 0.035, 298.15)
        B = boron.effective_permeability(share, 2.5 * LMH, 0.02 * LMH)
        passed = trace_solute(1.0, [1e-6], [J], [np.exp(J / k)], [B])
        assert_allclose(1 - passed.permeate, rejection, atol=0.002)


def test_trace_solute_closes_its_balance_and_knows_its_ends():
    recovery, flux = np.array([0.1, 0.09, 0.08]), np.array([20.0, 16.0, 12.0]) * LMH
    film = np.array([1.12, 1.10, 1.08])
    found = trace_solute(4.5, recovery, flux, film, 3 * LMH)
    left = np.prod(1 - recovery)
    assert_allclose((1 - left) * found.permeate + left * found.concentrate, 4.5, rtol=1e-12)
    tight = trace_solute(4.5, recovery, flux, film, 0.0)
    assert tight.permeate < 1e-14
    assert_allclose(tight.concentrate, 4.5 / left, rtol=1e-12)
    leaky = trace_solute(4.5, recovery, flux, film, 1.0)
    assert_allclose(leaky.permeate, 4.5, rtol=1e-4)
    with pytest.raises(DomainError):
        trace_solute(4.5, recovery, -flux, film, 1.0)


def test_film_of_a_slower_solute_is_thicker():
    same = film_of(1.15, 1.5e-9, 1.5e-9, 0.25)
    assert_allclose(same, 1.15, rtol=1e-15)
    assert film_of(1.15, 1.5e-9, 1.1e-9, 0.25) > 1.15
    assert_allclose(film_of(1.15, 1.5e-9, 1.1e-9, 1.0), 1.15, rtol=1e-15)


def of_product(verdict, name):
    """The limit on one substance at the product."""
    (limit,) = [c for c in verdict.limits if c.address.startswith("product.") and name in c.name]
    return limit


def test_boron_of_sea_water_falls_with_ph_and_is_held_to_the_guideline():
    values = []
    for ph in (7.0, 8.1, 9.5):
        verdict = sea(ph)
        values.append(number(verdict, "product.boron") * 1e3)
        limit = of_product(verdict, "boron")
        assert_allclose(limit.limit, 2.4e-3, rtol=1e-12)
        assert limit.source == "who_gdwq_2022"
        assert limit.group == "health"
    assert values[0] > values[1] > values[2] > 0.02
    assert 0.4 < values[1] < 1.5
    assert of_product(sea(), "boron").state() == "met"


def test_boron_is_judged_after_the_blend():
    """45 % of raw water goes past the vessel: the permeate would be met, the product is not."""
    units = {"intake": {"kind": "intake", "flow": "3 m3/h", "pressure": "2 bar"},
             "split": {"kind": "dividing_tee", "fraction": "45 %"}, "pump": ro_plant.pump(None, 52),
             "ro": ro_plant.vessel("seawater-4in", 5), "let": ro_plant.VALVE,
             "valve": ro_plant.VALVE, "mix": {"kind": "combining_tee"}}  # fmt: skip
    links = ["intake > split", "split.run > pump > ro", "ro.permeate > mix.run",
             "split.branch > valve > mix.branch", "mix > tank",
             "ro.concentrate > let > outfall"]  # fmt: skip
    water = ro_plant.sea(36.5, 26.0, ph=8.1, boron="5.0 mg/L")
    verdict = judge(ro_plant.case(water, units, links).solve())
    assert number(verdict, "ro.permeate.boron") < 2.4e-3 < number(verdict, "product.boron")
    assert of_product(verdict, "boron").state() == "not_met"
    assert verdict.broken[0]
    assert any("sodium of" in text for text in verdict.told())


def test_arsenic_behind_a_membrane_is_judged_only_where_it_is_sure():
    """Nobody here knows its passage: what is within the value raw is met, the rest unjudged."""
    found = {}
    for raw in ("0.05 mg/L", "0.008 mg/L"):
        units = {"pump": ro_plant.pump(2.4, 12.0), "ro": ro_plant.vessel("brackish-4in", 4),
                 "valve": ro_plant.VALVE}  # fmt: skip
        links = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
        data = {"title": "a train, invented", "site": ro_plant.SITE, "water": ro_plant.salt(3.0),
                "units": units, "flowsheet": {"links": links},
                "analytes": {"arsenic": raw, "nitrate": "2000 mg/L as NO3"}}  # fmt: skip
        verdict = judge(cases.interpret(data, "train.toml").solve())
        found[raw] = of_product(verdict, "arsenic")
        assert of_product(verdict, "nitrate").state() == "not_met"
    assert found["0.05 mg/L"].state() == "not_judged"
    assert found["0.05 mg/L"].needs == "analytes.after.arsenic"
    assert found["0.008 mg/L"].state() == "met"


def test_boron_passes_an_aged_membrane_as_salt_does():
    """Solution-diffusion: half as permeable again, the thin permeate holds half as much again.

    Of the permeability B and flux J the passage is B f / (J + B f), so that from a new passage q
    the aged is 1.5 q / (1 + 0.5 q); flux changes by less than 1 % as the permeate's salt rises.
    """
    water = ro_plant.sea(36.5, 26.0, ph=8.1, boron="4.7 mg/L")
    new, aged = (
        judged(water, 2.2, 52.0, ro_plant.vessel("seawater-4in", 1, salt_permeability_ratio=ratio))
        for ratio in (1.0, 1.5)
    )
    passage = [
        number(verdict, "ro.permeate.boron") / number(verdict, "ro.feed.boron")
        for verdict in (new, aged)
    ]
    assert 0.05 < passage[0] < 0.3
    assert_allclose(passage[1], 1.5 * passage[0] / (1 + 0.5 * passage[0]), rtol=0.015)


def test_boron_of_a_recirculated_feed_lies_between_source_and_salt():
    case = cases.load(ROOT / "cases/brackish_well.toml")
    result = judge(case.solve())
    feed, salt = (
        number(result, "ro.feed.boron") / 0.6e-3,
        number(result, "ro.feed.salinity") / float(result.result.sheet.source.salinity),
    )
    assert 1.0 < feed < salt


@pytest.mark.parametrize(
    "water", [analysis.of_salt("seawater", mass_fraction=0.0365, ph=8.1),
              analysis.of_ions({k: v * 1e-3 for k, v in WELL.items()}, ph=7.3),
              analysis.of_salt("sodium_chloride", mass_concentration=3.0)],
)  # fmt: skip
def test_permeate_ions(water):
    feed = ions_of(water, 3.5)
    assert_allclose(sum(feed.values()), 3.5, rtol=1e-12)
    found = permeate_ions(feed, 0.05)
    assert_allclose(sum(found.values()), 0.05, rtol=1e-12)
    charges = [v / IONS[n].molar_mass * IONS[n].charge for n, v in found.items()]
    assert_allclose(sum(charges), 0.0, atol=1e-12)
    if "SO4" in found:  # between the two anions only the charge differs
        share = (found["SO4"] / feed["SO4"]) / (found["Cl"] / feed["Cl"])
        assert_allclose(share, DIVALENT_SHARE, rtol=1e-12)


def test_permeate_ions_refused():
    with pytest.raises(RequestError, match="anion"):
        permeate_ions({"Na": 1.0}, 0.1)


def test_taste_of_sodium_and_salt():
    old = ro_plant.vessel("brackish-4in", 4, salt_permeability_ratio=20.0)
    text = messages(judged(ro_plant.salt(5.0), ro=old))
    assert "sodium of" in text
    assert "dissolved solids of" in text
    assert "may be noticed" not in messages(judged(well(WELL)))


def test_nothing_is_made_up_where_nothing_was_measured():
    dry = judged(ro_plant.sea(35.0), 2.2, 52.0, ro_plant.vessel())
    assert not any(".saturation." in a or ".ph" in a for a in dry.values)
    assert any("water.ph is not given" in c for c in dry.choices)
    plain = judged(ro_plant.salt(3.0))
    assert not any(".saturation." in a for a in plain.values)
    assert_allclose(
        number(plain, "ro.permeate.sodium") / number(plain.result,
                                                            "ro.permeate.concentration"),
        22.98977 / 58.44277, rtol=1e-5,
    )  # fmt: skip


def test_every_point_of_a_sweep_is_judged_as_if_alone():
    case = cases.load(ROOT / "cases/brackish_well.toml")
    pressures = np.array([10e5, 13.4e5, 16e5])
    many = judge(case.solve({"high_pressure_pump.outlet_pressure": pressures}))
    for point, pressure in enumerate(pressures):
        one = judge(case.solve({"high_pressure_pump.outlet_pressure": np.array([pressure])}))
        for address in ("ro.saturation.gypsum", "ro.carbonate_index", "product.boron",
                        "ro.concentrate.ph"):  # fmt: skip
            alone = np.ravel(one.value(address).value)[0]
            assert_allclose(many.value(address).value[point], alone, rtol=1e-8)


def test_second_pass_is_too_thin_for_scale_and_its_product_is_judged():
    units = {"pump": ro_plant.pump(2.2, 52), "first": ro_plant.vessel("seawater-4in", 5),
             "valve": ro_plant.VALVE, "again": ro_plant.pump(None, 8),
             "second": ro_plant.vessel("brackish-4in", 2),
             "drain_valve": ro_plant.VALVE}  # fmt: skip
    links = ["pump > first", "first.concentrate > valve > outfall",
             "first.permeate > again > second",
             "second.permeate > tank", "second.concentrate > drain_valve > drain"]  # fmt: skip
    case = ro_plant.case(ro_plant.sea(36.5, ph=8.1, boron="4.7 mg/L"), units, links)
    verdict = judge(case.solve())
    assert verdict.result.solved[0], verdict.result.reason()
    assert "first.saturation.gypsum" in verdict.values
    assert "second.saturation.gypsum" not in verdict.values
    assert of_product(verdict, "boron").address == "product.boron"
    assert number(verdict, "product.boron") < number(verdict, "first.permeate.boron")
    assert number(verdict, "second.carbonate_index") < -2
    assert number(verdict, "second.feed.ph") == pytest.approx(number(verdict, "first.permeate.ph"))
    assert any(c.startswith("second: fed with a permeate") for c in verdict.choices)


def test_the_page_has_the_section_and_its_assumptions():
    text = full_text(sea())
    assert "WATER CHEMISTRY, RO" in text
    for word in ("gypsum", "boron in the permeate", "pH of the concentrate", "antiscalant"):
        assert word in text
    assert ASSUMED[0].split()[0] in text


@pytest.mark.parametrize("name", ["brackish_well", "sea", "sea_recovery", "well_sulfate"])
def test_the_cases_solve_and_read_well(name):
    case = cases.load(ROOT / f"cases/{name}.toml")
    verdict = judge(case.solve())
    assert verdict.result.solved[0]
    assert not verdict.broken[0]
    product = verdict.result.product
    assert 0.01 < float(np.ravel(product.concentration)[0]) < 0.6
    litres = number(verdict, "product.flow") * 3.6e6 / 3.785411784 / 60
    assert (3.4 if name in ("brackish_well", "well_sulfate") else 2.8) < litres < 4.2
    assert max(verdict.result.balances.values()) < 1e-9


def test_the_same_case_file_with_other_ions():
    """The comparison that cases/well_sulfate.toml proposes in its head."""
    changes = {"water.kind": "sodium_chloride", "water.salinity": "3.0 g/L"}
    pressures = [
        number(cases.load(ROOT / "cases/well_sulfate.toml", change).solve(),
               "high_pressure_pump.outlet_pressure")
        for change in ({}, copy.copy(changes))
    ]  # fmt: skip
    assert 1.0e5 < pressures[1] - pressures[0] < 2.5e5
