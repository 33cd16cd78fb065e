"""Dose distributions, survival, equivalent dose, bias and validation factor."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from oracles import line_source
from scipy.optimize import minimize_scalar

from treatsim.correlations.uv import annulus_flow, dose, validation_factor
from treatsim.correlations.uv.dose_response import (
    FirstOrder,
    Quadratic,
    Tabulated,
    fitted_dose_per_log,
)
from treatsim.correlations.uv.dose_table import credited_log, dose_for_credit
from treatsim.correlations.uv.inactivation import ORGANISMS, DoseEquation, claimable_log
from treatsim.correlations.uv.lamp_field import lamp_field
from treatsim.correlations.uv.lamp_geometry import LampGeometry
from treatsim.correlations.uv.lamp_sums import evaluate_sums, radii, ray_sums
from treatsim.correlations.uv.optics import absorption_from_transmittance as absorption
from treatsim.correlations.uv.optics import napierian_absorption
from treatsim.errors import DomainError

REACTOR = LampGeometry(1.5, 1.5, 0.075, 0.012, 0.0105)
SMALL = LampGeometry(0.40, 0.40, 0.032, 0.0115, 0.010)
MS2, CRYPTO = FirstOrder(200.0), FirstOrder(40.0)
LITRE_A_MINUTE = 1e-3 / 60


def chain(geometry, power, a, flow):
    """Mean dose, unmixed and laminar distributions; flow in L/min."""
    power, a, flow = (np.asarray(v, dtype=float) for v in (power, a, flow))
    field = lamp_field(geometry, power, a)
    ends = geometry.sleeve_outer_radius, geometry.chamber_radius
    velocity = annulus_flow.mean_velocity(flow * LITRE_A_MINUTE, *ends)
    unmixed = dose.unmixed_dose(
        field.axial_integral, field.axial_integral_at_wall, field.area_weight, velocity
    )
    profile = annulus_flow.laminar_profile(field.radius, *ends)
    laminar = dose.laminar_dose(field.axial_integral, field.area_weight, profile, velocity)
    mean = dose.mean_dose(field.mean, geometry.volume, flow * LITRE_A_MINUTE)
    return mean, unmixed, laminar


def test_radial_chain(agree):
    a, ends = absorption(0.90), (0.015, 0.060)
    rate = line_source.radial_fluence_rate(40 / 0.9, a, np.array(ends), 0.015)
    mean = line_source.radial_mean(40 / 0.9, a, *ends)
    agree("A28_radial", [*rate, mean])
    geometry = LampGeometry(0.90, 0.90, 0.060, 0.015, 0.0135)
    agree("A28_volume", geometry.volume * 1000)
    flow = 40 * LITRE_A_MINUTE
    agree("A28_time", geometry.volume / flow)
    agree("A28_dose", dose.mean_dose(mean, geometry.volume, flow) / 10)
    means = [
        chain(replace(geometry, emission=e, interfaces=i), 40.0, a, 40.0)[0] / 10
        for e in ("isotropic", "cosine")
        for i in ("straight", "refracting")
    ]
    agree("A29_dose", means)


@pytest.mark.parametrize(("key", "uvt"), [("A30_uvt90", 0.90), ("A31_uvt70", 0.70)])
def test_reactor_chain(agree, key, uvt):
    mean, unmixed, _ = chain(REACTOR, 80.0, absorption(uvt), 100.0)
    ms2, crypto = (dose.equivalent_dose(unmixed, r) for r in (MS2, CRYPTO))
    bias = validation_factor.dose_bias(ms2, crypto)
    agree(key, [*(v / 10 for v in (mean, unmixed.minimum, ms2, crypto)), bias])


def test_small_chain(agree):
    mean, unmixed, laminar = chain(SMALL, 11.0, absorption(0.75), 10.0)
    red = [dose.equivalent_dose(d, r) / 10 for d in (unmixed, laminar) for r in (MS2, CRYPTO)]
    agree("A32_small", [mean / 10, *red])


def test_end_of_life_chain(agree):
    power = 80 * 0.8 * 0.9
    mean, unmixed, _ = chain(REACTOR, power, absorption(0.85), 100.0)
    agree("A42_mean", lamp_field(REACTOR, power, absorption(0.85)).mean)
    tanks = MS2.dose_for(dose.log_reduction(dose.tanks_log_survival(mean, 10, 200.0)))
    red = [dose.equivalent_dose(unmixed, r) for r in (MS2, CRYPTO)]
    agree("A42_doses", np.array([mean, unmixed.minimum, *red, tanks]) / 10)


def test_ideal_mixing(agree):
    tanks = dose.tanks_log_survival(400.0, np.array([1, 2, 3, 10, 50]), 200.0)
    agree("A33_tanks", dose.log_reduction(tanks))
    dispersed = dose.dispersed_log_survival(400.0, np.array([5, 20, 100]), 200.0)
    agree("A34_dispersed", dose.log_reduction(dispersed))


def test_ideal_mixing_limits():
    plug = -400.0 * np.log(10) / 200.0
    assert_allclose(dose.tanks_log_survival(400.0, np.inf, 200.0), plug, rtol=1e-14, atol=0)
    assert_allclose(dose.tanks_log_survival(400.0, 1e9, 200.0), plug, rtol=1e-8, atol=0)
    assert_allclose(dose.dispersed_log_survival(400.0, 1e9, 200.0), plug, rtol=1e-8, atol=0)
    one = dose.tanks_log_survival(400.0, 1.0, 200.0)
    assert_allclose(dose.dispersed_log_survival(400.0, 1e-5, 200.0), one, rtol=1e-4, atol=0)


@pytest.mark.parametrize("tanks", [1.0, 1.7, 3.0, 10.0, 80.0])
def test_gamma_distribution_is_tanks_in_series(tanks):
    mean = np.array([50.0, 400.0, 1500.0])
    spread = dose.tanks_dose(mean, tanks)
    assert spread.dose.shape == (3, dose.TANK_NODES)
    assert_allclose(spread.mean, mean, rtol=3e-7, atol=0)
    ours = dose.log_survival(spread, FirstOrder(200.0))
    assert_allclose(ours, dose.tanks_log_survival(mean, tanks, 200.0), rtol=1e-7, atol=0)


def test_laminar_pipe(agree):
    node, weight = np.polynomial.legendre.leggauss(120)
    speed = 1 - node  # over mean velocity is 2 (1 - area share)
    pipe = dose.DoseDistribution(400.0 / speed, speed * weight / 2, np.asarray(200.0))
    agree("A35_pipe_log", dose.log_reduction(dose.log_survival(pipe, MS2)))
    agree("A35_pipe_dose", dose.equivalent_dose(pipe, MS2) / 10)


def test_laminar_annulus(agree):
    inner = np.array([0.16, 0.40])
    fastest = np.array(
        [
            minimize_scalar(
                lambda r, i=i: -annulus_flow.laminar_profile(r, i, 1.0),
                bounds=(i, 1.0),
                method="bounded",
                options={"xatol": 1e-10},
            ).x
            for i in inner
        ]
    )
    agree("A36_place", fastest)
    agree("A36_speed", annulus_flow.laminar_profile(fastest, inner, 1.0))
    for ratio in (0.01, 0.16, 0.9):
        radius, share = radii(ratio, 1.0, 64, "straight")
        speed = annulus_flow.laminar_profile(radius, ratio, 1.0)
        assert_allclose(np.sum(share * speed), 1.0, rtol=1e-12, atol=0)
        ends = annulus_flow.laminar_profile(np.array([ratio, 1.0]), ratio, 1.0)
        assert np.max(np.abs(ends)) < 1e-12
    number = annulus_flow.reynolds_number(0.1, 0.012, 0.075, 1e-6)
    assert_allclose(number, 12600.0, rtol=1e-12, atol=0)


def test_two_streams(agree):
    split = dose.DoseDistribution(np.array([600.0, 100.0]), np.array([0.9, 0.1]), np.array(100.0))
    ms2, crypto = (dose.equivalent_dose(split, r) for r in (MS2, CRYPTO))
    agree("A37_split", np.array([split.mean, ms2, crypto]) / 10)
    agree("A37_bias", validation_factor.dose_bias(ms2, crypto))
    assert_allclose(validation_factor.dose_bias(crypto, ms2), 1.0, rtol=0, atol=0)


def test_validation_factor(agree):
    uncertainty = validation_factor.combined_uncertainty(0.12, 0.11)
    agree("A38_uncertainty", 100 * uncertainty)
    factor = validation_factor.validation_factor(1.8, uncertainty)
    agree("A38_factor", factor)
    agree("A38_needed", dose_for_credit("cryptosporidium", 3.0) * factor / 10)
    validated = validation_factor.validated_dose(300.0, factor)
    agree("A38_validated", validated / 10)
    agree("A38_credit", credited_log("cryptosporidium", validated))
    free = validation_factor.combined_uncertainty(0.12, 0.10, 0.30)
    assert_allclose(free, 0.12, rtol=1e-15, atol=0)


EQUATION = DoseEquation(
    3.30, -0.62, 0.95, 0.88, (5.0, 30.0), (0.5, 1.0), (1e-3, 2e-3), LITRE_A_MINUTE
)


def test_dose_equation(agree):
    a = napierian_absorption(4.58)
    value = EQUATION.dose(a, 0.80, 100 * LITRE_A_MINUTE)
    agree("A39_equation_dose", value.dose / 10)
    assert value.tested
    flow, tested = EQUATION.flow_for(400.0, a, 0.80)
    agree("A39_equation_flow", flow / LITRE_A_MINUTE)
    assert not tested
    many = EQUATION.dose([a, a, 3.0, 31.0], [0.8, 0.49, 0.8, 0.8], 100 * LITRE_A_MINUTE)
    assert many.tested.tolist() == [True, False, False, False]
    assert np.all(many.dose > 0)


BOX = {"absorption": EQUATION.absorption_tested, "intensity_ratio": EQUATION.intensity_tested,
       "flow": EQUATION.flow_tested}  # fmt: skip


@pytest.mark.parametrize("name", BOX)
def test_the_box_ends_at_its_edges(name):
    """On the edge is inside, a millionth beyond is not, at either end."""
    point = {"absorption": 10.0, "intensity_ratio": 0.8, "flow": 1.5e-3}
    low, high = BOX[name]
    ends = np.array([low * (1 - 1e-6), low, high, high * (1 + 1e-6)])
    found = EQUATION.dose(**(point | {name: ends}))
    assert found.tested.tolist() == [False, True, True, False]


def test_sensitivities(agree):
    agree("A40_sensitivity", fitted_dose_per_log([153.0], [2.61]) / 10)
    adeno = fitted_dose_per_log([560.0, 1110.0, 1670.0], [1, 2, 3])
    polio = fitted_dose_per_log([70.0, 150.0, 220.0, 300.0], [1, 2, 3, 4])
    agree("A41_slope", np.array([adeno, polio]) / 10)


CASES = {
    "power": st.floats(1.0, 200.0),
    "uvt": st.floats(0.40, 0.995),
    "flow": st.floats(2.0, 150.0),
    "emission": st.sampled_from(["isotropic", "cosine"]),
    "interfaces": st.sampled_from(["refracting", "straight"]),
}


@settings(max_examples=40, deadline=None)
@given(**CASES)
def test_order_of_doses(power, uvt, flow, emission, interfaces):
    geometry = replace(REACTOR, emission=emission, interfaces=interfaces)
    mean, unmixed, laminar = chain(geometry, power, absorption(uvt), flow)
    for spread in (unmixed, laminar):
        assert_allclose(spread.mean, mean, rtol=1e-10, atol=0)
        red = [dose.equivalent_dose(spread, FirstOrder(d)) for d in (1.0, 40.0, 200.0, 1e7)]
        assert np.all(np.diff(red) > -1e-9 * mean)
        assert spread.minimum * (1 - 1e-9) <= red[0]
        assert red[3] <= mean * (1 + 1e-9)
        assert validation_factor.dose_bias(red[2], red[1]) >= 1
    double = chain(geometry, 2 * power, absorption(uvt), 2 * flow)[1]
    assert_allclose(
        dose.equivalent_dose(double, MS2), dose.equivalent_dose(unmixed, MS2), rtol=1e-12, atol=0
    )
    clearer = chain(geometry, power, 0.9 * absorption(uvt), flow)[0]
    assert clearer > mean


def test_series_of_two_adds_logs_only_if_mixed_between():
    _, unmixed, _ = chain(REACTOR, 80.0, absorption(0.8), 150.0)
    one = dose.log_reduction(dose.log_survival(unmixed, MS2))
    never_mixed = dose.DoseDistribution(2 * unmixed.dose, unmixed.weight, 2 * unmixed.minimum)
    two = dose.log_reduction(dose.log_survival(never_mixed, MS2))
    assert two < 2 * one * (1 - 1e-3)
    # mixed between: every pair of doses occurs
    pairs = dose.DoseDistribution(
        (unmixed.dose[:, None] + unmixed.dose).ravel(),
        (unmixed.weight[:, None] * unmixed.weight).ravel(),
        2 * unmixed.minimum,
    )
    mixed = dose.log_reduction(dose.log_survival(pairs, MS2))
    assert_allclose(mixed, 2 * one, rtol=1e-12, atol=0)


def test_deep_reductions_do_not_underflow():
    _, unmixed, laminar = chain(REACTOR, 5000.0, absorption(0.98), 2.0)
    for spread in (unmixed, laminar):
        logs = dose.log_reduction(dose.log_survival(spread, FirstOrder(10.0)))
        assert np.isfinite(logs)
        assert logs > 400
    tanks = dose.tanks_log_survival(1e9, np.array([1.0, 50.0]), 1.0)
    assert np.all(np.isfinite(tanks))


@pytest.mark.parametrize("uvt", [0.5, 0.9])
def test_enough_radii(uvt):
    a = absorption(uvt)
    sums = ray_sums(REACTOR, 240, 40)
    radius, share = radii(0.012, 0.075, 240, "refracting")
    integral = 80.0 * evaluate_sums(sums, np.reshape(a, (1, 1, 1)))[0, :240]
    profile = annulus_flow.laminar_profile(radius, 0.012, 0.075)
    velocity = annulus_flow.mean_velocity(20 * LITRE_A_MINUTE, 0.012, 0.075)
    fine = (
        dose.DoseDistribution(integral / velocity, share, np.array(0.0)),
        dose.DoseDistribution(integral / velocity / profile, share * profile, np.array(0.0)),
    )
    _, unmixed, laminar = chain(REACTOR, 80.0, a, 20.0)
    for ours, exact, tolerance in zip((unmixed, laminar), fine, (1e-5, 1e-3), strict=True):
        for response in (MS2, CRYPTO):
            assert_allclose(
                dose.equivalent_dose(ours, response),
                dose.equivalent_dose(exact, response),
                rtol=tolerance,
                atol=0,
            )


def test_broadcasting():
    power, a, flow = np.array([[20.0], [80.0]]), absorption([0.95, 0.8, 0.6]), 60.0
    mean, unmixed, laminar = chain(REACTOR, power, a, flow)
    assert mean.shape == unmixed.minimum.shape == (2, 3)
    per_point = FirstOrder(np.array([[200.0], [40.0]]))
    tabulated = Tabulated((280.0, 390.0, 500.0, 620.0), (1.0, 2.0, 3.0, 4.0))
    for spread, pick in ((unmixed, 1), (laminar, 2)):
        red = dose.equivalent_dose(spread, per_point)
        held = dose.equivalent_dose(spread, tabulated)
        for i in range(2):
            for j in range(3):
                one = chain(REACTOR, power[i, 0], a[j], flow)[pick]
                line = FirstOrder(float(per_point.dose_per_log[i, 0]))
                assert_allclose(red[i, j], dose.equivalent_dose(one, line), rtol=1e-12, atol=0)
                assert_allclose(
                    held[i, j], dose.equivalent_dose(one, tabulated), rtol=1e-12, atol=0
                )


def test_dose_responses_go_back_and_forth():
    doses = np.array([0.0, 50.0, 300.0, 600.0])
    for response in (
        MS2,
        Quadratic(7.6e-3, 1.4e-6),
        Quadratic(5e-3, 0.0),
        Tabulated((280.0, 390.0, 620.0), (1.0, 2.0, 4.0)),
    ):
        logs = response.log_inactivation(doses)
        assert np.all(np.diff(logs) > 0)
        assert_allclose(response.dose_for(logs[1:]), doses[1:], rtol=1e-12, atol=0)


def test_claims_end_where_measurement_ended():
    """The log ends with the data, the dose does not: to get one even dose is to get that dose."""
    even = dose.DoseDistribution(np.array([9740.0]), np.array([1.0]), np.array(9740.0))
    for organism in ORGANISMS.values():
        assert_allclose(dose.equivalent_dose(even, organism.response), 9740.0, rtol=1e-12)
        log = organism.response.log_inactivation(9740.0)
        assert log > organism.measured_log == claimable_log(log, organism)
    curve = Quadratic(7.6e-3, 1.4e-6)
    assert_allclose(
        curve.log_inactivation([curve.dose_at_peak, 1e5]), 7.6e-3**2 / 5.6e-6, rtol=1e-12, atol=0
    )
    assert_allclose(curve.dose_for(1e3), curve.dose_at_peak, rtol=1e-12, atol=0)


def test_past_its_last_point_a_response_keeps_its_last_slope():
    """By hand: 62 mJ/cm2 for 4 log, 12 more for each further one; nothing bends at the last."""
    table = Tabulated((280.0, 390.0, 500.0, 620.0), (1.0, 2.0, 3.0, 4.0))
    assert_allclose(table.log_inactivation([140.0, 560.0, 620.0, 740.0]), [0.5, 3.5, 4.0, 5.0])
    assert_allclose(table.dose_for([0.5, 3.5, 4.0, 5.0]), [140.0, 560.0, 620.0, 740.0])
    one = Tabulated((300.0,), (1.0,))
    assert_allclose(one.log_inactivation([150.0, 600.0]), [0.5, 2.0])
    _, unmixed, _ = chain(REACTOR, 5000.0, absorption(0.98), 2.0)
    equivalent = dose.equivalent_dose(unmixed, table)
    assert 620.0 < unmixed.minimum <= equivalent <= unmixed.mean


def test_largest_flow():
    power = np.array([80.0, 40.0, 0.0, 80.0])
    a = absorption(np.array([0.75, 0.9, 0.9, 0.98]))
    flow = np.full(4, 100.0)
    _, unmixed, laminar = chain(REACTOR, power, a, flow)
    for spread, pick in ((unmixed, 1), (laminar, 2)):
        answer = dose.largest_flow(
            lambda f, i, d=spread: dose.equivalent_dose(d.scaled(f, i), MS2),
            flow * LITRE_A_MINUTE,
            400.0,
        )
        assert answer.found.tolist() == [True, True, False, True]
        assert answer.flow[2] == 0
        lit = answer.found
        again = chain(REACTOR, power[lit], a[lit], answer.flow[lit] / LITRE_A_MINUTE)[pick]
        assert_allclose(dose.equivalent_dose(again, MS2), 400.0, rtol=1e-9, atol=0)
    mean = chain(REACTOR, power[:1], a[:1], flow[:1])[0]
    by_mean = float(flow[0] * LITRE_A_MINUTE * mean[0] / 400.0)
    unmixed_flow = dose.largest_flow(
        lambda f, i: dose.equivalent_dose(unmixed.scaled(f, i), MS2), flow * LITRE_A_MINUTE, 400.0
    ).flow[0]
    # the mean dose alone would allow 3.3 times this flow
    assert 3.2 < by_mean / unmixed_flow < 3.4


def test_a_flow_reaches_a_dose_above_the_last_one_measured():
    table = Tabulated((280.0, 390.0), (1.0, 2.0))
    _, unmixed, _ = chain(REACTOR, np.array([80.0]), absorption(0.9), np.array([100.0]))
    answer = dose.largest_flow(
        lambda f, i: dose.equivalent_dose(unmixed.scaled(f, i), table), [1e-3], [400.0]
    )
    assert answer.found[0]
    again = unmixed.scaled(1e-3 / answer.flow, [0])
    assert_allclose(dose.equivalent_dose(again, table), 400.0, rtol=1e-9, atol=0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: annulus_flow.mean_velocity(-1.0, 0.01, 0.02),
        lambda: annulus_flow.mean_velocity(1.0, 0.02, 0.02),
        lambda: annulus_flow.laminar_profile(0.03, 0.01, 0.02),
        lambda: dose.mean_dose(1.0, 1.0, 0.0),
        lambda: dose.tanks_log_survival(1.0, 0.0, 1.0),
        lambda: dose.tanks_dose(1.0, 0.5),
        lambda: dose.dispersed_log_survival(1.0, 0.0, 1.0),
        lambda: FirstOrder(0.0),
        lambda: Quadratic(-1.0, 0.0),
        lambda: Tabulated((1.0, 1.0), (1.0, 2.0)),
        lambda: Tabulated((1.0, 2.0), (1.0,)),
        lambda: validation_factor.validation_factor(0.9, 0.1),
        lambda: validation_factor.validated_dose(300.0, 0.9),
        lambda: validation_factor.validated_dose(-1.0, 2.0),
        lambda: EQUATION.dose(10.0, 0.8, 0.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
