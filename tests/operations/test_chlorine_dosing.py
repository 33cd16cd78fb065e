"""Chlorine dosing: balance, stock, both readings of a recipe, warnings."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from hypothesis import given
from hypothesis import strategies as some
from numpy.testing import assert_allclose

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


@given(some.floats(0, 0.02), some.floats(0, 0.02), some.floats(0, 0.02))
def test_what_is_left_is_never_negative_and_rises_with_the_dose(dose, more, demand):
    left = left_after_demand(0.0, dose, demand)
    assert left >= 0
    assert left_after_demand(0.0, dose + more, demand) >= left
    assert left_after_demand(0.0, dose, demand + more) <= left


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


@pytest.mark.parametrize("changes", [
    {"dose": -MG}, {"strength": 0.0}, {"form": "gas"}, {"half_life": None},
    {"form": "powder", "can_strength": None}, {"can_strength": 0.2},
])  # fmt: skip
def test_what_is_refused(changes):
    with pytest.raises(RequestError):
        plant.unit("chlorine_dosing", **changes)
