"""Chlorine stock, acid form, decay and contact time."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from treatsim.correlations.disinfection import chlorine, chlorine_decay, contact_time
from treatsim.correlations.disinfection.contact_time import MG_MIN_PER_L
from treatsim.errors import DomainError, NoSolutionError

MG = 1e-3
HOUR = 3600.0
PERCENT = chlorine.PERCENT


def test_hypochlorous_acid_share(agree):
    pH, T = np.array([7.5, 8.5, 7.5, 8.0]), np.array([25.0, 25.0, 5.0, 10.0]) + 273.15
    agree("P60_hocl", chlorine.hypochlorous_acid_share(pH, T))


def test_recipes(agree):
    powders = chlorine.chlorine_mass([0.015, 0.033], [0.70, 0.30])
    agree("P57_stock_powders", chlorine.stock_strength(powders, 1e-3).made_up_to)
    strong = chlorine.chlorine_mass(70e-6, 15 * PERCENT)
    agree("P57_stock_strong_liquid", chlorine.stock_strength(strong, 1e-3, 70e-6).made_up_to)
    household = chlorine.chlorine_mass(250e-6, 5 * PERCENT)
    both = chlorine.stock_strength(household, 1e-3, 250e-6)
    agree("P57_two_readings", [both.made_up_to, both.added_to])


def test_dilution_and_dose(agree):
    agree("P58_dilution", chlorine.dilution_parts([35.0, 50.0], [5.0, 1.0]))
    agree("P58_powder", chlorine.product_for(1e-3, 0.5 * PERCENT, 0.35) * 1e3)
    liquids = chlorine.product_for(10.0, 2 * MG, [PERCENT, 5 * PERCENT])
    agree("P59_liquid", liquids * 1e3)
    agree("P59_powder", chlorine.product_for(10.0, 2 * MG, 0.70) * 1e3)


def test_household_ct(agree):
    ct = contact_time.ct_for_credit(np.array([1.875, 3.75]) * MG, 1800.0)
    agree("P56_household_ct", ct / MG_MIN_PER_L)


def test_flow_through_tank(agree):
    T10 = contact_time.contact_time("flow_through", 2.0, 1 / HOUR, 0.1, 0.0)
    agree("P62_t10", T10 / 60)
    agree("P62_ct", contact_time.ct_for_credit(0.6 * MG, T10) / MG_MIN_PER_L)


def test_regressions(agree):
    T = np.array([0.5, 5, 10, 15, 25]) + 273.15
    C, pH = np.array([0.4, 1, 1, 1.2, 1]) * MG, np.array([6, 7, 7.5, 7.5, 7])
    ct = contact_time.giardia_ct_regression(3.0, C, pH, T)
    agree("P53_regression", ct / MG_MIN_PER_L)
    assert_allclose(contact_time.giardia_log_regression(ct, C, pH, T), 3.0, rtol=1e-13, atol=0)
    step = contact_time.giardia_ct_regression(3.0, MG, 7.5, np.array([12.5 - 1e-9, 12.5]) + 273.15)
    agree("P53_step", step / MG_MIN_PER_L)
    cold = np.array([0.5, 5, 10, 15, 20, 25]) + 273.15
    ct = np.array([12, 8, 6, 4, 3, 2]) * MG_MIN_PER_L
    agree("P55_virus_regression", contact_time.virus_log_regression(ct, cold))


def test_last_cup(agree):
    day, first, second = 24 * HOUR, 0.05 / HOUR, 0.1 / MG / HOUR
    rates = ((first, 1), (second, 2))
    left = [chlorine_decay.residual(MG, rate, day, order) / MG for rate, order in rates]
    agree("P63_residual", left)
    need = [chlorine_decay.start_for_residual(0.2 * MG, rate, day, n) / MG for rate, n in rates]
    agree("P63_needed", need)


@pytest.mark.parametrize("order", [1, 2])
def test_decay_agrees_with_direct_integration(order):
    from scipy.integrate import solve_ivp

    start, time = 1.3 * MG, 20 * HOUR
    rate = 0.08 / HOUR if order == 1 else 0.15 / MG / HOUR

    def slope(_, y):
        return [-rate * y[0] ** order, y[0]]

    path = solve_ivp(slope, (0, time), [start, 0.0], rtol=1e-11, atol=1e-18, method="DOP853")
    assert_allclose(chlorine_decay.residual(start, rate, time, order), path.y[0, -1], rtol=1e-8)
    assert_allclose(
        chlorine_decay.chlorine_time(start, rate, time, order), path.y[1, -1], rtol=1e-8
    )


@pytest.mark.parametrize("order", [1, 2])
@given(
    start=st.floats(1e-5, 1e-2),
    decay=st.floats(0.0, 3.0),  # rate times time, or start times rate times time
    time=st.floats(1.0, 1e6),
)
def test_credit_value_never_exceeds_the_exact_integral(order, start, decay, time):
    rate = decay / time if order == 1 else decay / time / start
    end = chlorine_decay.residual(start, rate, time, order)
    exact = chlorine_decay.chlorine_time(start, rate, time, order)
    assert end * time <= exact * (1 + 1e-12)
    assert exact <= start * time * (1 + 1e-12)
    back = chlorine_decay.start_for_residual(end, rate, time, order)
    assert_allclose(back, start, rtol=1e-9, atol=0)


def test_rate_from_two_readings_returns_the_rate():
    for order, rate in ((1, 0.07 / HOUR), (2, 0.2 / MG / HOUR)):
        later = chlorine_decay.residual(MG, rate, 5 * HOUR, order)
        found = chlorine_decay.rate_from_readings(MG, later, 5 * HOUR, order)
        assert_allclose(found, rate, rtol=1e-12, atol=0)


def test_second_order_can_be_out_of_reach():
    start = chlorine_decay.start_for_residual(0.5 * MG, 0.1 / MG / HOUR, 24 * HOUR, 2)
    assert start == np.inf
    assert_allclose(
        chlorine_decay.residual(1e6, 0.1 / MG / HOUR, 24 * HOUR, 2), MG / 2.4, rtol=1e-6, atol=0
    )


def test_warm_tank_needs_more():
    dose = chlorine_decay.last_cup_dose(
        0.2 * MG, MG, 0.05 / HOUR, 24 * HOUR, np.array([288.15, 298.15]), 288.15
    )
    assert_allclose(dose, MG + 0.2 * MG * np.exp([1.2, 2.4]), rtol=1e-12, atol=0)


def test_old_bleach():
    assert_allclose(chlorine.strength_after(50.0, [0, 1, 2], 1.0), [50, 25, 12.5], rtol=1e-15)


def test_jar_series():
    doses, left = np.array([1, 2, 3, 4]) * MG, np.array([0.0, 0.3, 0.7, 1.5]) * MG
    assert_allclose(chlorine.jar_dose(doses, left, 0.5 * MG), 2.5 * MG, rtol=1e-12, atol=0)
    dip = np.array([0.6, 0.1, 0.5, 1.5]) * MG  # combined chlorine breaks down in the second jar
    assert_allclose(chlorine.jar_dose(doses, dip, 0.5 * MG), 3 * MG, rtol=1e-12, atol=0)
    assert chlorine.jar_dose(doses, left, 0.0) == doses[0]
    with pytest.raises(NoSolutionError, match="strongest jar"):
        chlorine.jar_dose(doses, left, 2 * MG)
    assert_allclose(chlorine.chlorine_demand(doses, left)[1], 1.7 * MG, rtol=1e-12, atol=0)


def test_draw_off_mode_rules_the_contact_time():
    tank = {"volume": 2.0, "flow": 1 / HOUR, "factor": 0.7, "waiting": 1800.0}
    batch = contact_time.contact_time("fill_and_draw", **tank)
    through = contact_time.contact_time("flow_through", **tank)
    mixed = contact_time.contact_time("drawn_while_filling", **tank)
    assert_allclose([batch, through, mixed], [1800.0, 5040.0, 720.0], rtol=1e-12, atol=0)


def test_arrays_equal_single_points():
    pH, T = np.linspace(6, 9, 5), np.linspace(274, 300, 5)
    together = contact_time.giardia_ct_regression(1.0, MG, pH[:, None], T)
    for i in range(5):
        for j in range(5):
            one = contact_time.giardia_ct_regression(1.0, MG, pH[i], T[j])
            assert_allclose(together[i, j], one, rtol=1e-15, atol=0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: chlorine.hypochlorous_acid_share(15, 298),
        lambda: chlorine.dilution_parts(5.0, 10.0),
        lambda: chlorine.stock_strength(0.01, 1e-3, 1e-3),
        lambda: chlorine.product_for(1.0, MG, 0.0),
        lambda: chlorine.chlorine_demand(MG, 2 * MG),
        lambda: chlorine.strength_after(50.0, 1.0, 0.0),
        lambda: chlorine.jar_dose([MG], [MG], MG),
        lambda: chlorine.jar_dose([2 * MG, MG], [0.0, MG], MG),
        lambda: chlorine_decay.residual(MG, 1.0, 1.0, 3),
        lambda: chlorine_decay.residual(-MG, 1.0, 1.0),
        lambda: chlorine_decay.residual(np.nan, 1.0, 1.0),
        lambda: chlorine_decay.rate_from_readings(MG, 2 * MG, 1.0),
        lambda: chlorine_decay.rate_from_readings(MG, 0.0, 1.0),
        lambda: chlorine_decay.rate_at(1.0, 400.0, 298.0),
        lambda: contact_time.contact_time("stirred", 1.0, 1.0, 0.1, 0.0),
        lambda: contact_time.flow_through_time(1.0, 0.0, 0.1),
        lambda: contact_time.flow_through_time(1.0, 1.0, 1.1),
        lambda: contact_time.baffling_factor("excellent"),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
