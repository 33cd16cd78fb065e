"""Fluence rate in the annulus against reference values, limits and one-by-one evaluation."""

from dataclasses import replace
from itertools import pairwise
from time import perf_counter

import numpy as np
import pytest
from numpy.testing import assert_allclose
from oracles import light_budget, line_source

from treatsim.correlations.uv import fluence_rate, lamp_field
from treatsim.correlations.uv.lamp_geometry import LampGeometry, ray_through
from treatsim.correlations.uv.optics import absorption_from_transmittance as absorption
from treatsim.errors import DomainError

REACTOR = LampGeometry(1.5, 1.5, 0.075, 0.012, 0.0105)
STRAIGHT = replace(REACTOR, interfaces="straight")
MODELS = [
    replace(REACTOR, emission=emission, interfaces=interfaces)
    for emission in ("isotropic", "cosine")
    for interfaces in ("straight", "refracting")
]
SHAPES = {
    "reactor": (1.5, 1.5, 0.075, 0.012, 0.0105),
    "long chamber": (1.2, 1.5, 0.075, 0.012, 0.0105),
    "short chamber": (1.5, 1.2, 0.075, 0.012, 0.0105),
    "wide": (1.2, 4.0, 0.4, 0.012, 0.011),
    "narrow": (0.3, 0.3, 0.02, 0.0115, 0.010),
    "squat": (0.3, 0.4, 0.2, 0.008, 0.007),
}


def points(radius, height=0.0):
    return np.array(radius) / 1000, np.array(height)


def test_closed_forms(agree):
    clear = [line_source.clear_water_fluence_rate(40.0, 0.8, 0.05)]
    clear += [
        line_source.clear_water_infinite_line(50.0, 0.05, law)
        for law in ("isotropic", "cosine", "radial")
    ]
    agree("A14_clear", clear)
    agree("A16_ki1", line_source.bickley(1, [0.5, 1.0]))
    agree("A16_ki2", line_source.bickley(2, [0.5, 1.0]))
    a85 = absorption(0.85)
    agree("A17_mean", line_source.infinite_line_mean(50.0, a85, 0.012, 0.05))
    agree("A17_wall", line_source.infinite_line_fluence_rate(50.0, a85, 0.05, 0.012))
    agree("A17_radial", line_source.radial_mean(50.0, a85, 0.012, 0.05))


def test_local_values(agree):
    radius, height = points([12.5, 20, 43.5, 75, 75, 75], [0, 0, 0, 0, 0.5, 0.75])
    agree(
        "A18_local",
        fluence_rate.local_fluence_rate(STRAIGHT, 80.0, absorption(0.95), radius, height),
    )
    radius, height = points([20, 43.5, 75, 75], [0, 0, 0, 0.75])
    agree(
        "A19_local",
        fluence_rate.local_fluence_rate(STRAIGHT, 80.0, absorption(0.70), radius, height),
    )


def test_end_of_arc(agree):
    ends = fluence_rate.local_fluence_rate(STRAIGHT, 80.0, absorption(0.95), 0.075, [0.75, 0.0])
    agree("A20_end", ends[0] / ends[1])
    long = replace(STRAIGHT, arc_length=10.0, chamber_length=10.0)
    ends = fluence_rate.local_fluence_rate(long, 80.0, absorption(0.95), 0.075, [5.0, 0.0])
    agree("A20_limit", ends[0] / ends[1])


def point_sources(n, radius, a, power=80.0, length=1.5):
    """Sum of n equal point sources, absorption on the water part of each slant path."""
    place = (np.arange(n) + 0.5) / n * length - length / 2
    distance = np.hypot(radius[:, None], place)
    share = (radius[:, None] - 0.012) / radius[:, None]
    rate = power / n / (4 * np.pi * distance**2) * np.exp(-a * distance * share)
    return rate.sum(axis=1)


def test_point_sources(agree):
    a = absorption(0.95)
    radius = np.array([0.0125, 0.020, 0.0435, 0.075])
    exact = fluence_rate.local_fluence_rate(STRAIGHT, 80.0, a, radius)
    error = {n: point_sources(n, radius, a) / exact - 1 for n in (20, 50, 100, 200)}
    agree("A21_points", [error[50][1], error[100][0], error[200][0]])
    for n, listed in ((20, 4), (50, 4), (100, 2), (200, 1)):
        agree(f"U42_points_{n}", error[n][:listed])


def test_power_budget(agree):
    straight = light_budget.power_budget(STRAIGHT, 80.0, absorption(0.95))
    agree("A22_budget", straight[:4])
    assert abs(straight.sleeve) < 1e-12
    refracting = light_budget.power_budget(REACTOR, 80.0, absorption(0.95))
    agree("A23_budget", refracting[:5])


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("model", MODELS)
def test_power_is_conserved(shape, model):
    geometry = LampGeometry(*SHAPES[shape], 20.0, model.emission, model.interfaces)
    budget = light_budget.power_budget(geometry, 80.0, absorption([0.9999, 0.95, 0.7, 0.5]))
    assert np.max(np.abs(budget.residual)) < 1e-9
    assert np.all(np.array(budget[:5]) >= -1e-12)


def test_clear_water_conserves_power_without_absorbing():
    for model in MODELS:
        budget = light_budget.power_budget(replace(model, chamber_length=4.0), 80.0, 0.0)
        assert_allclose(budget.absorbed, 0.0, rtol=0, atol=0)
        assert abs(budget.residual) < 1e-13


def test_means(agree):
    a = absorption([0.98, 0.95, 0.90, 0.80, 0.70])
    for key, model in (
        ("A24_straight", STRAIGHT),
        ("A25_refracting", REACTOR),
        ("A26_cosine", replace(REACTOR, emission="cosine")),
    ):
        agree(key, lamp_field.lamp_field(model, 80.0, a).mean)


def test_infinite_line_limit():
    long = LampGeometry(300.0, 300.0, 0.05, 0.012, 0.0105, 0.0, "isotropic", "straight")
    mean = lamp_field.lamp_field(long, 50.0 * 300.0, absorption(0.85)).mean
    exact = line_source.infinite_line_mean(50.0, absorption(0.85), 0.012, 0.05)
    assert_allclose(mean, exact, rtol=2e-4, atol=0)
    clear = line_source.infinite_line_mean(50.0, np.array([0.0, 1e-9]), 0.012, 0.05)
    assert_allclose(clear, 50.0 / (2 * 0.062), rtol=1e-8, atol=0)


def test_clear_water_is_the_arctangent():
    radius, height = np.meshgrid([0.0121, 0.03, 0.075], [0.0, 0.4, 0.75])
    ours = fluence_rate.local_fluence_rate(STRAIGHT, 80.0, 0.0, radius, height)
    exact = line_source.clear_water_fluence_rate(80.0, 1.5, radius, height)
    assert_allclose(ours, exact, rtol=1e-10, atol=0)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("model", MODELS)
def test_axial_integral_is_the_summed_local_value(shape, model):
    geometry = LampGeometry(*SHAPES[shape], 20.0, model.emission, model.interfaces)
    field = lamp_field.lamp_field(geometry, 80.0, absorption(0.9))
    gap = abs(geometry.chamber_length - geometry.arc_length) / 2
    half = geometry.chamber_length / 2
    edges = np.unique(
        np.clip([0.0, 0.7 * (half - gap), 0.95 * (half - gap), half - gap, half], 0, half)
    )
    node, weight = np.polynomial.legendre.leggauss(80)
    height = np.concatenate([a + (b - a) * (node + 1) / 2 for a, b in pairwise(edges)])
    step = np.concatenate([(b - a) * weight / 2 for a, b in pairwise(edges)])
    index = [8, 16, 31]
    local = fluence_rate.local_fluence_rate(
        geometry, 80.0, absorption(0.9), field.radius[index, None], height
    )
    assert_allclose(2 * (local * step).sum(axis=1), field.axial_integral[index], rtol=1e-5, atol=0)


def test_wall_values():
    a = absorption([0.98, 0.85, 0.6])
    for model in MODELS:
        field = lamp_field.lamp_field(model, 80.0, a)
        local = fluence_rate.local_fluence_rate(model, 80.0, a, 0.075)
        assert_allclose(field.fluence_rate_at_wall, local, rtol=1e-11, atol=0)
        sensor = light_budget.wall_irradiance(model, 80.0, a)
        assert_allclose(field.irradiance_at_wall, sensor, rtol=1e-11, atol=0)
        ratio = local / sensor
        assert np.all((ratio > 1.05) & (ratio < 1.45))


def test_broadcasting():
    power, a = np.array([[10.0], [80.0]]), absorption([0.99, 0.9, 0.5])
    field = lamp_field.lamp_field(REACTOR, power, a)
    assert field.mean.shape == (2, 3)
    assert field.axial_integral.shape == (2, 3, 32)
    for i in range(2):
        for j in range(3):
            one = lamp_field.lamp_field(REACTOR, power[i, 0], a[j])
            assert_allclose(field.mean[i, j], one.mean, rtol=1e-13, atol=0)
            assert_allclose(field.axial_integral[i, j], one.axial_integral, rtol=1e-12, atol=0)


@pytest.mark.parametrize("model", MODELS)
def test_geometry_may_vary_between_points(model):
    radius = np.repeat([0.06, 0.08, 0.11], [1, 12, 2])
    length = np.linspace(0.8, 0.8, 15)
    varied = replace(model, chamber_radius=radius, chamber_length=length, arc_length=0.9)
    a = absorption(np.linspace(0.6, 0.98, 15))
    field = lamp_field.lamp_field(varied, 30.0, a)
    assert field.radius.shape == (15, 32)
    assert_allclose(field.area_weight.sum(axis=-1), 1.0, rtol=1e-13, atol=0)
    for i in range(15):
        alone = replace(model, chamber_radius=radius[i], chamber_length=0.8, arc_length=0.9)
        one = lamp_field.lamp_field(alone, 30.0, a[i])
        assert_allclose(field.radius[i], one.radius, rtol=1e-14, atol=0)
        for name in ("mean", "axial_integral", "axial_integral_at_wall", "irradiance_at_wall"):
            assert_allclose(getattr(field, name)[i], getattr(one, name), rtol=1e-10, atol=0)
        local = fluence_rate.local_fluence_rate(varied, 30.0, a, 0.05, 0.1)[i]
        assert_allclose(
            local, fluence_rate.local_fluence_rate(alone, 30.0, a[i], 0.05, 0.1), rtol=1e-12, atol=0
        )


def test_absorption_beyond_the_series():
    a = np.array([249.0, 251.0, 400.0])
    field = lamp_field.lamp_field(REACTOR, 80.0, a)
    assert np.all(np.diff(field.mean) < 0)
    assert_allclose(
        field.fluence_rate_at_wall,
        fluence_rate.local_fluence_rate(REACTOR, 80.0, a, 0.075),
        rtol=1e-9,
        atol=0,
    )


def test_error_is_reported_and_small():
    for model in MODELS:
        assert 0 < lamp_field.lamp_field(model, 80.0, 5.0).error < 1e-10


@pytest.mark.parametrize("model", MODELS)
def test_monotone(model):
    a = np.linspace(0.0, 200.0, 400)
    field = lamp_field.lamp_field(model, 80.0, a)
    assert np.all(np.diff(field.mean) < 0)
    assert np.all(np.diff(field.axial_integral, axis=-1) < 0)
    double = lamp_field.lamp_field(model, 160.0, a)
    assert_allclose(double.mean, 2 * field.mean, rtol=1e-15, atol=0)
    dull = lamp_field.lamp_field(replace(model, quartz_absorption=30.0), 80.0, a)
    assert np.all(dull.mean < field.mean)


def test_ray_through_inverts_the_way():
    size = REACTOR.dimensions(0)
    shift = np.array([-2.0, -1e-3, 0.0, 1e-6, 0.3, 40.0])
    t1 = np.arctan(np.sinh(ray_through(size, "refracting", 0.05, shift)))
    t2, t3 = np.arcsin(np.sin(t1) / 1.506), np.arcsin(np.sin(t1) / 1.376)
    way = 0.0105 * np.tan(t1) + 0.0015 * np.tan(t2) + 0.038 * np.tan(t3)
    assert_allclose(way, shift, rtol=1e-9, atol=0)


def test_fast_enough():
    random = np.random.default_rng(1)
    power, a = random.uniform(5, 100, 10_000), random.uniform(1, 60, 10_000)
    lamp_field.lamp_field(REACTOR, 1.0, 1.0)
    start = perf_counter()
    lamp_field.lamp_field(REACTOR, power, a)
    assert perf_counter() - start < 0.3


@pytest.mark.parametrize(
    "call",
    [
        lambda: LampGeometry(1.5, 1.5, 0.012, 0.012, 0.0105),
        lambda: LampGeometry(1.5, 1.5, 0.075, 0.012, 0.0125),
        lambda: LampGeometry(0.0, 1.5, 0.075, 0.012, 0.0105),
        lambda: LampGeometry(1.5, np.nan, 0.075, 0.012, 0.0105),
        lambda: replace(REACTOR, emission="lambertian"),
        lambda: replace(REACTOR, interfaces="curved"),
        lambda: lamp_field.lamp_field(REACTOR, -1.0, 5.0),
        lambda: lamp_field.lamp_field(REACTOR, 80.0, [5.0, -1.0]),
        lambda: lamp_field.lamp_field(REACTOR, 80.0, np.nan).mean,
        lambda: fluence_rate.local_fluence_rate(REACTOR, 80.0, 5.0, 0.011),
        lambda: fluence_rate.local_fluence_rate(REACTOR, 80.0, 5.0, 0.076),
        lambda: fluence_rate.local_fluence_rate(REACTOR, 80.0, 5.0, 0.05, 0.8),
        lambda: light_budget.power_budget(REACTOR, 0.0, 5.0),
        lambda: line_source.bickley(1, -1.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
