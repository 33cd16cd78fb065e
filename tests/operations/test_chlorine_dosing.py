"""Chlorine dosing: balance, stock, both readings of a recipe, warnings."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from hypothesis import given
from hypothesis import strategies as some
from numpy.testing import assert_allclose

from treatsim.correlations.disinfection import chlorine
from treatsim.errors import RequestError
from treatsim.flowsheet.result import unit_balance
from treatsim.operations.chlorine_dosing import left_after_demand, per_litre

MG = 1e-3  # kg/m3


def dosed(flow=6.8 / plant.HOUR, turbidity=0.5, present=None, **changes):
    inlet = plant.stream(flow, turbidity=turbidity)
    if present is not None:
        inlet = inlet.changed(contents={"free_chlorine": present})
    unit = plant.unit("chlorine_dosing", **changes)
    return unit, inlet, unit.evaluate(inlet=inlet)


def messages(outcome, point=0):
    return [f.message(point) for f in outcome.details().findings]


def test_demand_is_met_first():
    _, _, outcome = dosed(dose=1.5 * MG, demand=0.6 * MG)
    assert_allclose(outcome.outlets["outlet"].contents["free_chlorine"], 0.9 * MG, rtol=1e-12)


def test_chlorine_in_the_water_is_kept_and_added_to():
    unit, inlet, outcome = dosed(dose=1.0 * MG, demand=0.2 * MG, present=0.3 * MG)
    assert_allclose(outcome.outlets["outlet"].contents["free_chlorine"], 1.1 * MG, rtol=1e-12)
    shares = unit_balance(unit, {(unit.name, "inlet"): inlet}, outcome)
    assert shares["free_chlorine"] < 1e-12


@given(some.floats(0, 0.02), some.floats(0, 0.02), some.floats(0, 0.02), some.floats(0, 0.02))
def test_what_is_left_is_never_negative_and_rises_with_the_dose(present, dose, more, demand):
    left, unmet = left_after_demand(present, dose, demand)
    assert left >= 0
    assert unmet >= 0
    assert left == 0 or unmet == 0
    assert_allclose(left - unmet, present + dose - demand, rtol=1e-12, atol=1e-17)
    assert left_after_demand(present, dose + more, demand)[0] >= left
    assert left_after_demand(present, dose, demand + more)[0] <= left


# the demand that a dose does not meet


@pytest.mark.parametrize("stated", [0.0, 0.3, 0.6])
def test_a_second_doser_meets_the_demand_the_first_left_over(stated):
    """0.3 + 0.9 mg/L against a demand of 0.9 leave 0.3, whatever less is stated behind."""
    _, _, first = dosed(dose=0.3 * MG, demand=0.9 * MG)
    between = first.outlets["outlet"]
    assert between.contents["free_chlorine"] == 0
    assert_allclose(between.contents["chlorine_demand"], 0.6 * MG, rtol=1e-12)
    unit = plant.unit("chlorine_dosing", "second", dose=0.9 * MG, demand=stated * MG)
    second = unit.evaluate(inlet=between)
    assert_allclose(second.outlets["outlet"].contents["free_chlorine"], 0.3 * MG, rtol=1e-12)
    assert second.outlets["outlet"].contents["chlorine_demand"] == 0
    shares = unit_balance(unit, {("second", "inlet"): between}, second)
    assert max(shares["free_chlorine"], shares["chlorine_demand"]) < 1e-12


def test_jars_of_the_water_between_may_find_more():
    _, _, first = dosed(dose=0.3 * MG, demand=0.9 * MG)
    unit = plant.unit("chlorine_dosing", dose=0.9 * MG, demand=0.8 * MG)
    left = unit.evaluate(inlet=first.outlets["outlet"]).outlets["outlet"].contents
    assert_allclose(left["free_chlorine"], 0.1 * MG, rtol=1e-12)


def test_a_demand_larger_than_the_dose_takes_what_was_there():
    contents = dosed(dose=0.2 * MG, demand=0.4 * MG, present=0.3 * MG)[2].outlets["outlet"].contents
    assert_allclose(contents["free_chlorine"], 0.1 * MG, rtol=1e-12)
    assert contents["chlorine_demand"] == 0


def test_what_is_used_up_is_said_with_the_whole_demand():
    _, _, first = dosed(dose=0.3 * MG, demand=0.9 * MG)
    unit = plant.unit("chlorine_dosing", dose=0.5 * MG, demand=0.0)
    (finding,) = unit.evaluate(inlet=first.outlets["outlet"]).details().findings
    assert "0.6 mg/L" in finding.message(0)


def test_stock_that_is_drawn():
    """10 m3/h at 2 mg/L is 20 g/h of chlorine: 2 L/h of 1 %."""
    _, _, outcome = dosed(flow=10 / plant.HOUR, dose=2 * MG, can_strength=0.01)
    assert_allclose(outcome.details().values["stock_flow"].value, 2e-3 / plant.HOUR, rtol=1e-12)


def test_old_stock_is_weaker_and_more_is_drawn():
    week = 168 * plant.HOUR
    fresh = dosed(can_strength=None, stock_age=0.0)[2].details().values
    old = dosed(can_strength=None, stock_age=4 * week, half_life=4 * week)[2].details().values
    assert_allclose(old["strength_today"].value, fresh["strength_today"].value / 2, rtol=1e-12)
    assert_allclose(old["stock_flow"].value, 2 * fresh["stock_flow"].value, rtol=1e-12)


def test_both_readings_of_one_percent():
    """250 mL of 5 % filled up to 1 L is 12.5 g/L; added to 1 L it is 10 g/L: the recipes differ."""
    made_up, added = per_litre(50.0, 10.0, powder=False)
    assert_allclose(made_up, 200e-6, rtol=1e-12)
    assert_allclose(added, 250e-6, rtol=1e-12)
    made_up, added = per_litre(0.70, 10.0, powder=True)
    assert_allclose([made_up, added], 0.01 / 0.70, rtol=1e-12)


def test_powder_is_told_in_grams():
    powder = {"form": "powder", "strength": 0.7, "can_strength": 0.01, "stock_age": 0.0}
    values = dosed(**powder)[2].details().values
    assert values["product_per_litre_made_up"].quantity == "mass"
    assert dosed()[2].details().values["product_per_litre_made_up"].quantity == "small_volume"


@pytest.mark.parametrize(("changes", "words"), [
    ({"dose": 5.7 * MG}, "above the health limit of 5 mg/L"),
    ({"dose": 0.5 * MG}, "no free chlorine is left"),
    ({"ph": 8.3}, "above 8"),
    ({"turbidity": 7.0}, "above 5 NTU"),
    ({"turbidity": 2.0}, "above 1 NTU"),
    ({"strength_known": "assumed"}, "assumed"),
])  # fmt: skip
def test_what_is_warned_of(changes, words):
    assert any(words in text for text in messages(dosed(**changes)[2]))


def test_nothing_is_said_of_a_good_dose():
    assert messages(dosed()[2]) == []


def test_residual_limit_is_met_up_to_five():
    limit = dosed(dose=np.array([5.5, 5.6, 5.7]) * MG)[2].details().limits[0]
    assert list(limit.meets) == [True, True, False]


def test_hypochlorous_share_falls_with_ph():
    values = dosed(ph=np.array([6.5, 7.5, 8.5]))[2].details().values
    shares = values["hypochlorous_share"].value
    assert shares[0] > shares[1] > shares[2] > 0


def test_the_acid_is_told_outside_the_range_of_its_formula():
    """Morris 1966 holds from 5 to 35 degC."""
    unit = plant.unit("chlorine_dosing", ph=7.4)
    warm = plant.stream(temperature=np.array([277.15, 278.15, 308.15, 309.15]))
    (found,) = unit.evaluate(inlet=warm).details().excursions
    assert found.range == chlorine.MORRIS_RANGE
    assert list(found.outside) == [True, False, False, True]
    silent = plant.unit("chlorine_dosing", ph=None).evaluate(inlet=warm).details()
    assert not silent.excursions


# a stock without strength

YEAR = 8766 * plant.HOUR


def refused(**changes):
    with pytest.raises(RequestError) as caught:
        plant.unit("chlorine_dosing", **changes)
    (line,) = caught.value.problems
    return line


def test_a_stock_of_many_years_is_refused():
    """5 % that halves in 4300 h holds less than 0.05 % after seven halvings, 3.4 years."""
    for years in (3.5, 9.9):
        line = refused(stock_age=years * YEAR)
        assert line.startswith("stock_age: ")
        assert "below 0.05 %" in line
    for years in (32, 1e4):  # nobody types that in
        assert "no number of this size" in refused(stock_age=years * YEAR)
    assert dosed(stock_age=3.2 * YEAR, can_strength=None)[2]


def test_a_product_without_chlorine_is_refused():
    assert refused(strength=4e-4, stock_age=0.0, can_strength=None).startswith("strength: ")
    assert refused(form="powder", strength=4e-4, stock_age=0.0, can_strength=1e-4)


@pytest.mark.parametrize("form", ["liquid", "powder"])
def test_a_can_is_never_stronger_than_the_product_of_today(form):
    """5 % after a half-life is 2.5 %: it makes a can of 2.4 %, not of 2.5."""
    old = {"form": form, "stock_age": 4300 * plant.HOUR}
    line = refused(can_strength=0.025, **old)
    assert line.startswith("can_strength: must be below the strength of the product today, 2.5 %")
    details = plant.unit("chlorine_dosing", can_strength=0.024, **old)
    assert np.isfinite(plant.numbers(details.evaluate(inlet=plant.stream()))["value.stock_flow"])


def test_a_can_too_weak_for_the_dose_is_refused():
    """A can of 0.01 % holds 100 mg/L: ten times a dose of 10 mg/L."""
    line = refused(can_strength=1e-4, dose=10.1 * MG)
    assert line.startswith("dose: ")
    assert "0.01 %" in line
    assert plant.unit("chlorine_dosing", can_strength=1e-4, dose=9.9 * MG)


@pytest.mark.parametrize("changes", [
    {"dose": -MG}, {"strength": 0.0}, {"form": "gas"}, {"half_life": None},
    {"form": "powder", "can_strength": None}, {"can_strength": 0.2},
])  # fmt: skip
def test_what_is_refused(changes):
    with pytest.raises(RequestError):
        plant.unit("chlorine_dosing", **changes)
