"""Ultraviolet reactor as a unit: doses by flow, light and water; the field has its own tests."""

from __future__ import annotations

import math

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.correlations.uv.dose_response import FirstOrder
from treatsim.correlations.uv.dose_table import DOSE_TABLE, credited_log
from treatsim.correlations.uv.inactivation import ORGANISMS
from treatsim.errors import RequestError
from treatsim.operations.uv_reactor import MIXINGS, credited_organism, light_output
from treatsim.operations.uv_target import largest_dose

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


@pytest.mark.parametrize("test_organism", ["ms2", "bacillus_subtilis", "t1"])
@pytest.mark.parametrize("target", ["cryptosporidium", "virus", "ms2"])
def test_the_factor_divides_the_dose_of_its_test_organism(test_organism, target):
    """uvdgm_2006, chapter 5 (from memory): equivalent dose of the challenge over the factor."""
    found = values(
        FLOWS, test_organism=test_organism, target={"organism": target, "log": 3.0},
        validation_factor=4.0,
    )  # fmt: skip
    lowest = np.min([found[f"red.{test_organism}.{m}"] for m in MIXINGS], axis=0)
    assert_allclose(found["dose_credited"], lowest / 4.0, rtol=1e-12)


@pytest.mark.parametrize(("mixing", "changes", "flow"), [
    ("unmixed", {}, 6.8),
    ("laminar", {"tanks_in_series": 1000, "chamber_radius": 0.02}, 1.0),
    ("tanks", {"tanks_in_series": 2}, 6.8),
])  # fmt: skip
def test_each_mixing_may_be_the_lowest(mixing, changes, flow):
    """The lowest counts, whichever it is: no mixing may be left out."""
    found = values(flow / 3600, validation_factor=6.0, **changes)
    doses = {name: found[f"red.ms2.{name}"] for name in MIXINGS}
    assert min(doses, key=doses.get) == mixing, doses
    assert_allclose(found["dose_credited"], doses[mixing] / 6.0, rtol=1e-12)


def test_a_factor_below_the_bias_of_the_model_credits_no_more_than_the_target_gets():
    """A factor for virus, used for a protozoan, would credit the bias between them."""
    water = plant.stream(6.8 / 3600)
    for factor, told in ((1.0, True), (2.6, False)):
        details = unit(validation_factor=factor).evaluate(inlet=water).details()
        target = min(details.values[f"red.cryptosporidium.{m}"].value for m in MIXINGS)
        test = min(details.values[f"red.ms2.{m}"].value for m in MIXINGS)
        expected = target if told else test / factor
        assert_allclose(details.values["dose_credited"].value, expected, rtol=1e-12)
        assert any("below the bias" in f.message(0) for f in details.findings) is told


def strong(**changes):
    """A lamp that gives every drop at least 974 mJ/cm2, had it no mixing at all."""
    power = 80.0 * 9740.0 / values()["dose_min"]
    return unit(lamp_uvc_output=power, lamp_power=4 * power, **changes)


def class_credit(reactor, virus_factor=None):
    doses = reactor.class_doses(details_of(reactor).values, virus_factor)
    tabled = {name: float(credited_log(name, doses[name])) for name in DOSE_TABLE}
    return tabled | {"bacteria": float(doses["bacteria"])}


def details_of(reactor, flow=6.8 / 3600):
    return reactor.evaluate(inlet=plant.stream(flow)).details()


def test_what_was_measured_caps_the_log_and_not_the_dose():
    """cfr_141_720: 186 mJ/cm2 for 4 log of virus, 22 of protozoa; 40 is a class A dose."""
    values = details_of(strong()).values
    assert_allclose(values["dose_min"].value, 9740.0, rtol=1e-9)
    for organism in ORGANISMS:
        assert values[f"red.{organism}.unmixed"].value >= 9740.0 * (1 - 1e-9), organism
    found = class_credit(strong(), virus_factor=1.3)
    assert [found[name] for name in DOSE_TABLE] == [4.0, 4.0, 4.0]
    assert found["bacteria"] >= 400.0


def test_bacteria_need_every_log_that_was_measured_for_them():
    """In one stirred tank 40 mJ/cm2 of MS2 is 2 log of it, and 3 log of E. coli, not 4."""
    tank = {"tanks_in_series": 1, "validation_factor": 1.0}
    for power, enough in ((700.0, False), (20_000.0, True)):
        reactor = unit(lamp_uvc_output=power, lamp_power=4 * power, **tank)
        values = details_of(reactor).values
        assert values["red.ms2.tanks"].value > 400.0
        doses = reactor.class_doses(values)
        assert (doses["bacteria"] > 0) == enough, values["red.e_coli.tanks"].value


def test_the_virus_has_its_own_factor():
    values = details_of(reactor := unit()).values
    own, other = (reactor.class_doses(values, factor) for factor in (None, 1.3))
    assert_allclose(other["virus"], own["virus"] * 2.6 / 1.3, rtol=1e-12)
    assert other["cryptosporidium"] == own["cryptosporidium"]


@pytest.mark.parametrize("changes", [{}, {"tanks_in_series": 3}, {"validation_factor": 1.0}])
def test_the_largest_flow_just_gives_the_dose(changes):
    reactor, required = unit(**changes), np.array([120.0, 80.0, 1e9])
    found = reactor.largest_flow(plant.stream(FLOWS[:3]), required, 3)
    assert found[2] < 1e-6
    for flow, dose in zip(found[:2], required[:2], strict=True):
        credited = details_of(reactor, flow).values["dose_credited"].value
        assert_allclose(credited, dose, rtol=1e-9)


def excursions_of(reactor, flow, absorption=15.0, temperature=293.15):
    inlet = plant.stream(flow, absorption=absorption, temperature=temperature)
    return [e.range.name for e in reactor.evaluate(inlet=inlet).details().excursions]


def test_formulas_outside_their_range_are_told():
    """Ranges: the field up to 460/m, the laminar profile up to a Reynolds number of 2000."""
    narrow = unit(chamber_radius=0.02, tanks_in_series=1000)  # the laminar dose is the lowest
    slow, fast = 1e-5, 1e-3 / 3.6
    assert excursions_of(narrow, slow) == []
    assert excursions_of(narrow, slow, absorption=461.0) == ["absorption"]
    assert excursions_of(narrow, fast) == ["reynolds_number"]


def test_a_laminar_dose_that_does_not_count_is_no_excursion():
    """Turbulent flow whose dose comes from another mixing does not rest on the laminar profile."""
    details = details_of(unit())
    assert details.values["reynolds_number"].value > 2000
    assert excursions_of(unit(), 6.8 / 3600) == []


@pytest.mark.parametrize(("known", "words"), [
    ("measured", "the truth lies between"), ("assumed", "may lie outside"),
])  # fmt: skip
def test_the_truth_lies_inside_the_band_only_where_it_was_measured(known, words):
    details = details_of(unit(mixing_known=known))
    assert any(words in line for line in details.choices)
    guess = any("tanks in series are a guess" in f.message(0) for f in details.findings)
    assert guess is (known == "assumed")


@pytest.mark.parametrize("name", ["tanks_in_series", "mixing_known", "test_organism"])
def test_what_decides_the_dose_is_asked_for(name):
    with pytest.raises(RequestError, match=f"{name.replace('_', ' ')}.* missing"):
        unit(**{name: None})


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
    known = unit(temperature_factor=0.9, mixing_known="measured")
    assert not known.evaluate(inlet=water).details().findings


TABLE = ((0.6, 278.15), (1.0, 295.15), (0.7, 313.15))  # invented


def test_the_output_follows_a_table_of_the_water_temperature():
    """Straight lines between the readings; mean dose and light are in proportion (A45)."""
    temperature = np.array([278.15, 286.65, 295.15, 304.15])
    water = plant.stream(temperature=temperature)
    told, best = (
        one.evaluate(inlet=water).details().values
        for one in (unit(output_by_temperature=TABLE), unit())
    )
    share = np.array([0.6, 0.8, 1.0, 0.85])
    for key in ("light_output", "dose_mean", "wall_irradiance"):
        assert_allclose(told[key].value / best[key].value, share, rtol=1e-9)
    assert_allclose(unit(output_by_temperature=TABLE).exposure(278.15).power,
                    0.6 * unit().exposure(278.15).power, rtol=1e-12)  # fmt: skip


def test_a_lamp_that_meets_its_dose_in_warm_water_does_not_in_cold():
    """And beyond its table that is said."""
    asked = float(details_of(unit()).values["dose_credited"].value) * 0.9
    for kelvin, meets in ((295.15, True), (280.15, False)):
        water = plant.stream(temperature=kelvin)
        reactor = unit(output_by_temperature=TABLE)
        found = reactor.evaluate(inlet=water).details()
        assert (found.values["dose_credited"].value >= asked) == meets
        assert (reactor.largest_flow(water, asked, 1)[0] >= water.flow) == meets
        assert not [f for f in found.findings if "table" in f.text]
    icy = unit(output_by_temperature=TABLE).evaluate(inlet=plant.stream(temperature=275.15))
    assert any("beyond the lamp's table" in f.text for f in icy.details().findings)
    assert icy.details().excursions


def test_a_table_beside_a_factor_or_that_does_not_rise_is_refused():
    for changes, words in (
        ({"output_by_temperature": TABLE, "temperature_factor": 0.9}, "leave one out"),
        ({"output_by_temperature": TABLE[:1]}, "two or more"),
        ({"output_by_temperature": TABLE[::-1]}, "must rise"),
    ):
        with pytest.raises(RequestError, match=words):
            unit(**changes)


def test_choices_are_told():
    words = " ".join(unit(emission="cosine").evaluate(inlet=plant.stream()).details().choices)
    for part in ("emission cosine", "interfaces refracting", "10 tanks", "numerical error"):
        assert part in words


@pytest.mark.parametrize(("target", "largest"), [
    ({"organism": "virus", "dose": "186 mJ/cm2"}, 1860.0),
    ({"organism": "cryptosporidium", "dose": "22 mJ/cm2"}, 220.0),
    ({"organism": "adenovirus_40", "dose": "167 mJ/cm2"}, 1670.0),
    ({"organism": "adenovirus_40", "log": 3.0}, 1670.0),
    ({"organism": "ms2", "log": 4.0}, 800.0),
])  # fmt: skip
def test_the_largest_target_is_taken_and_can_be_reached(target, largest):
    """Last rows of cfr_141_720 and epa_ireland_2011 table 4-7; MS2 20 a log (from memory)."""
    assert_allclose(largest_dose(target["organism"]), largest, rtol=1e-12)
    power = 20_000.0
    reactor = unit(target=target, lamp_uvc_output=power, lamp_power=4 * power)
    assert details_of(reactor).values["dose_credited"].value >= largest


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
        ({"target": {"organism": "ms2", "log": 9.0}}, "nothing beyond 4 log is known"),
        ({"target": {"organism": "ms2", "log": 0.0}}, "a number above 0"),
        ({"target": {"organism": "ms2", "log": True}}, "a number above 0"),
        ({"target": {"organism": "ms2", "log": math.nan}}, "a number above 0"),
        ({"target": {"organism": "e_coli", "log": 4.5}}, "nothing beyond 4 log is known"),
        ({"target": {"organism": "adenovirus_40", "log": 4.0}}, "nothing beyond 3 log is known"),
        ({"target": {"organism": "virus", "log": 5.0}}, "nothing beyond 4 log is known"),
        ({"target": {"organism": "ms2", "dose": 40}}, "text with a unit"),
        ({"target": {"organism": "ms2", "dose": "40 bar"}}, "target.dose = .40 bar."),
        ({"target": {"organism": "ms2", "dose": "0 mJ/cm2"}}, "above 0 and not above 80 mJ/cm2"),
        ({"target": {"organism": "ms2", "dose": "81 mJ/cm2"}}, "above 0 and not above 80 mJ/cm2"),
        ({"target": {"organism": "e_coli", "dose": "8.5 mJ/cm2"}}, "not above 8.4 mJ/cm2"),
        ({"target": {"organism": "virus", "dose": "187 mJ/cm2"}}, "not above 186 mJ/cm2"),
        ({"target": {"organism": "giardia", "dose": "23 mJ/cm2"}}, "not above 22 mJ/cm2"),
        ({"test_organism": "giardia"}, "test organism is one of ms2"),
        ({"mixing_known": "yes"}, "mixing known is one of measured, assumed"),
        ({"target": {"organism": "ms2", "log": 3.0, "x": 1}}, "target.x: no such key"),
        ({"target": "ms2"}, "a table such as"),
    ],
)
def test_what_is_refused(changes, words):
    with pytest.raises(RequestError, match=words):
        unit(**changes)
