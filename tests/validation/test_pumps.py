"""Pumps: duty points, speed, power; second opinions, limits, refused inputs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from treatsim import constants
from treatsim.correlations.hydraulics import friction, pump_curve
from treatsim.errors import DomainError
from treatsim.numerics import find_roots

HOUR = 3600.0
FOOT = 0.3048
GPM = 3.785411784e-3 / 60
HORSEPOWER = 745.6998715822702
COOL = 998.2
CUBIC_METRE_PER_HOUR = pump_curve.pump_curve(20.0, 0.0, 2 * HOUR**2)  # 20 - 2 Q2 in m3/h


def duty(curve, system, speed):
    """Flow where pump and system meet; every entry of `speed` is one point."""
    speed = np.atleast_1d(np.asarray(speed, dtype=float))
    high = pump_curve.run_out_flow(curve, speed)

    def spare(flow, index):
        return pump_curve.pump_head(curve, flow, speed[index]) - system(flow)

    roots = find_roots(spare, 0.5 * high, 0.0, high)
    assert np.all(roots.converged)
    return roots.x


def speed_for(curve, flow, head):
    return brentq(lambda s: pump_curve.pump_head(curve, flow, s) - head, 0.0, 2.0, xtol=1e-14)


def shaft(flow, head, efficiency):
    """Shaft power at the flow of best efficiency, which the parabola gives whole."""
    return pump_curve.shaft_power(flow, head, COOL, 1.0, flow, efficiency)


def test_gallons_and_feet(agree):
    curve = pump_curve.pump_curve(120 * FOOT, 0.0, 0.004 * FOOT / GPM**2)
    flow = duty(curve, lambda q: (50 + 0.003 * (q / GPM) ** 2) * FOOT, 1.0)[0]
    head = pump_curve.pump_head(curve, flow)
    agree("P43_flow", flow / GPM)
    agree("P43_head", head / FOOT)
    agree("P43_power", shaft(flow, head, np.array([1.0, 0.75])) / HORSEPOWER)


def test_long_pipe(agree):
    curve = pump_curve.pump_curve(45.5, 200.0, 4000.0)

    def system(q):
        return 18.5 + 0.07 * 790 / 0.325 * friction.velocity(q, 0.325) ** 2 / (
            2 * constants.GRAVITY
        )

    flow = duty(curve, system, 1.0)[0]
    head = pump_curve.pump_head(curve, flow)
    agree("P44_flow", 1e3 * flow)
    agree("P44_head", head)
    agree("P44_power", shaft(flow, head, 0.67) / 1e3)


def test_speed_against_static_head(agree):
    curve = CUBIC_METRE_PER_HOUR
    flow = duty(curve, lambda q: 8 + (q * HOUR) ** 2, [1, 0.9, 0.8, 0.7])
    agree("P46_flow", flow * HOUR)
    agree("P46_dead", pump_curve.dead_speed(curve, 8.0))
    wanted, head = 1.2 / HOUR, 8 + 1.2**2
    agree("P46_speed", speed_for(curve, wanted, head))
    agree("P46_power", shaft(wanted, head, 1.0))
    assert_allclose(flow[2] / flow[0], 0.63, rtol=0.01)


def test_speed_to_hold_the_flow_as_the_filter_loads(agree):
    grams = np.array([0.0, 100.0, 200.0])
    head = 8 + 1.5**2 + (0.3 + 0.02 * grams) * 1.5
    agree("P30_speed", [speed_for(CUBIC_METRE_PER_HOUR, 1.5 / HOUR, h) for h in head])


def test_duty_against_scipy():
    rng = np.random.default_rng(5)
    for _ in range(20):
        curve = pump_curve.pump_curve(
            rng.uniform(10, 60), rng.uniform(0, 3e3), rng.uniform(1e5, 1e7)
        )
        static, bend = rng.uniform(0, 9), rng.uniform(1e4, 1e7)
        ours = duty(curve, lambda q, h=static, b=bend: h + b * q * q, 1.0)[0]
        top = float(pump_curve.run_out_flow(curve))
        theirs = brentq(
            lambda q, c=curve, h=static, b=bend: pump_curve.pump_head(c, q) - h - b * q * q,
            0,
            top,
            xtol=1e-16,
        )
        assert_allclose(ours, theirs, rtol=1e-10)


@given(
    speed=st.floats(0.3, 1.2),
    share=st.floats(0.01, 1.0),
    linear=st.floats(0, 1e4),
    quadratic=st.floats(1e3, 1e8),
)
def test_run_out_inverts_the_head(speed, share, linear, quadratic):
    curve = pump_curve.pump_curve(25.0, linear, quadratic)
    flow = share * pump_curve.run_out_flow(curve, speed)
    head = np.maximum(pump_curve.pump_head(curve, flow, speed), 0.0)
    assert_allclose(pump_curve.run_out_flow(curve, speed, head), flow, rtol=1e-6)


def test_affinity_is_built_in():
    curve = pump_curve.pump_curve(30.0, 900.0, 2e6)
    flow, speed = np.linspace(0, 2e-3, 9), 0.7
    scaled = pump_curve.pump_head(curve, speed * flow, speed)
    assert_allclose(scaled, speed**2 * pump_curve.pump_head(curve, flow), rtol=1e-13)
    full = pump_curve.shaft_power(flow, 1.0, COOL, 1.0, 2e-3, 0.5)
    slow = pump_curve.shaft_power(speed * flow, speed**2, COOL, speed, 2e-3, 0.5)
    assert_allclose(slow, speed**3 * full, rtol=1e-13)


def test_curve_fit_finds_the_curve():
    flow = np.array([0.0, 0.5, 1.0, 1.5]) / HOUR
    for truth in ((30.0, 900.0, 2e7), (20.0, 0.0, 2 * HOUR**2), (18.0, 4e4, 0.0)):
        curve = pump_curve.pump_curve(*truth)
        fitted = pump_curve.fit_pump_curve(flow, pump_curve.pump_head(curve, flow))
        check = np.linspace(0, 1.5, 7) / HOUR
        assert_allclose(
            pump_curve.pump_head(fitted, check), pump_curve.pump_head(curve, check), rtol=1e-9
        )


def test_curve_fit_refuses_a_hump_and_repairs_a_bend():
    flow = np.array([0.0, 1.0, 2.0, 3.0])
    mild = pump_curve.fit_pump_curve(flow, [20.0, 20.1, 18.0, 14.0])  # slight rise near no flow
    assert mild.linear == 0
    assert mild.quadratic > 0
    with pytest.raises(DomainError, match="fall"):
        pump_curve.fit_pump_curve(flow, [10.0, 12.0, 14.0, 16.0])
    two = pump_curve.fit_pump_curve([0.0, 2.0], [20.0, 12.0])
    assert_allclose(pump_curve.pump_head(two, [0.0, 2.0]), [20.0, 12.0], rtol=1e-12)


def test_efficiency_and_power():
    eta = pump_curve.pump_efficiency([0.0, 0.5, 1.0, 2.0], 1.0, 1.0, 0.6)
    assert_allclose(eta, [0, 0.45, 0.6, 0], rtol=1e-13)
    flow = np.array([0.3, 1.0, 1.7])
    direct = COOL * constants.GRAVITY * flow * 12 / pump_curve.pump_efficiency(flow, 0.9, 1.0, 0.6)
    assert_allclose(pump_curve.shaft_power(flow, 12.0, COOL, 0.9, 1.0, 0.6), direct, rtol=1e-13)
    assert pump_curve.shaft_power(0.0, 12.0, COOL, 0.9, 1.0, 0.6) > 0
    assert_allclose(pump_curve.electrical_power(80.0, 0.8, 0.95, 10.0), 80 / 0.76 + 10, rtol=1e-14)


def test_pump_that_cannot_lift_gives_nothing():
    curve = pump_curve.pump_curve(20.0, 100.0, 1e6)
    assert_allclose(pump_curve.run_out_flow(curve, [0.0, 0.5, 0.6], [0.0, 8.0, 8.0]), 0, rtol=0)
    assert pump_curve.run_out_flow(curve, 0.7, 8.0) > 0
    straight = pump_curve.pump_curve(20.0, 100.0, 0.0)
    assert_allclose(pump_curve.run_out_flow(straight), 0.2, rtol=1e-14)


@pytest.mark.parametrize(
    "call",
    [
        lambda: pump_curve.pump_curve(20.0, -1.0, 1e6),
        lambda: pump_curve.pump_curve(20.0, 1.0, -1e6),
        lambda: pump_curve.pump_curve(20.0, 0.0, 0.0),
        lambda: pump_curve.pump_curve(0.0, 1.0, 1.0),
        lambda: pump_curve.fit_pump_curve([1.0, 1.0], [3.0, 2.0]),
        lambda: pump_curve.fit_pump_curve([0.0, 1.0, 2.0], [3.0, 2.0]),
        lambda: pump_curve.pump_head(CUBIC_METRE_PER_HOUR, 1e-4, -0.1),
        lambda: pump_curve.dead_speed(CUBIC_METRE_PER_HOUR, -1.0),
        lambda: pump_curve.pump_efficiency(1.0, 0.0, 1.0, 0.5),
        lambda: pump_curve.pump_efficiency(1.0, 1.0, 1.0, 1.1),
        lambda: pump_curve.shaft_power(2.0, 10.0, 1e3, 1.0, 1.0, 0.5),
        lambda: pump_curve.electrical_power(10.0, 0.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
