"""Second opinions on the field: adaptive integration written differently, and counted rays."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from oracles import light_budget, line_source
from scipy import integrate, optimize, special

from treatsim.correlations.uv import fluence_rate, lamp_field
from treatsim.correlations.uv.lamp_geometry import LampGeometry

POWER, ARC, CHAMBER, SLEEVE, BORE = 80.0, 1.5, 0.075, 0.012, 0.0105
QUARTZ, WATER = 1.506, 1.376


def reactor(emission="isotropic", interfaces="refracting", chamber_length=ARC, quartz=0.0):
    return LampGeometry(ARC, chamber_length, CHAMBER, SLEEVE, BORE, quartz, emission, interfaces)


def fresnel(t1, t2, n1, n2):
    """Transmittances for s and p from the sine and tangent forms."""
    if t1 < 1e-9:
        both = 1 - ((n1 - n2) / (n1 + n2)) ** 2
        return both, both
    s = 1 - (np.sin(t1 - t2) / np.sin(t1 + t2)) ** 2
    p = 1 - (np.tan(t1 - t2) / np.tan(t1 + t2)) ** 2
    return s, p


def by_source_position(radius, height, a, emission, quartz):
    """Local value as an integral over the arc; each source's ray is found by bisection."""

    def way(t1):
        t2, t3 = np.arcsin(np.sin(t1) / QUARTZ), np.arcsin(np.sin(t1) / WATER)
        return BORE * np.tan(t1) + (SLEEVE - BORE) * np.tan(t2) + (radius - SLEEVE) * np.tan(t3)

    def slope(t1):
        total = BORE / np.cos(t1) ** 2
        for n, thickness in ((QUARTZ, SLEEVE - BORE), (WATER, radius - SLEEVE)):
            t = np.arcsin(np.sin(t1) / n)
            total += thickness / np.cos(t) ** 3 * np.cos(t1) / n
        return total

    def source(place):
        shift = abs(height - place)
        t1 = optimize.brentq(lambda t: way(t) - shift, 0.0, np.pi / 2 - 1e-9, xtol=1e-15)
        t2, t3 = np.arcsin(np.sin(t1) / QUARTZ), np.arcsin(np.sin(t1) / WATER)
        s1, p1 = fresnel(t1, t2, 1.0, QUARTZ)
        s2, p2 = fresnel(t2, t3, QUARTZ, WATER)
        law = np.cos(t1) / 2 if emission == "isotropic" else 2 / np.pi * np.cos(t1) ** 2
        passed = (s1 * s2 + p1 * p2) / 2 * np.exp(-quartz * (SLEEVE - BORE) / np.cos(t2))
        passed *= np.exp(-a * (radius - SLEEVE) / np.cos(t3))
        return law * passed / (2 * np.pi * radius * np.cos(t3)) / slope(t1)

    near = [p for p in (height - 0.03, height, height + 0.03) if abs(p) < ARC / 2]
    total, _ = integrate.quad(
        source, -ARC / 2, ARC / 2, points=near, epsabs=0, epsrel=1e-9, limit=200
    )
    return POWER / ARC * total


@pytest.mark.parametrize(
    ("radius", "height", "a", "emission", "quartz"),
    [
        (0.013, 0.0, 5.0, "isotropic", 0.0),
        (0.035, 0.2, 12.0, "cosine", 20.0),
        (0.075, 0.7, 35.0, "isotropic", 20.0),
    ],
)
def test_refracting_local_value(radius, height, a, emission, quartz):
    ours = fluence_rate.local_fluence_rate(
        reactor(emission, quartz=quartz), POWER, a, radius, height
    )
    assert_allclose(
        ours, by_source_position(radius, height, a, emission, quartz), rtol=1e-7, atol=0
    )


@pytest.mark.parametrize("a", [0.5, 10.0, 40.0])
def test_straight_local_value_is_the_secant_integral(a):
    radius, height = 0.04, 0.3

    def secant(end):
        return integrate.quad(
            lambda u: np.exp(-a * (radius - SLEEVE) / np.cos(u)), 0, end, epsabs=0, epsrel=1e-11
        )[0]

    ends = np.arctan((np.array([-ARC / 2, ARC / 2]) - height) / radius)
    exact = POWER / (4 * np.pi * ARC * radius) * (secant(ends[1]) - secant(ends[0]))
    ours = fluence_rate.local_fluence_rate(reactor(interfaces="straight"), POWER, a, radius, height)
    assert_allclose(ours, exact, rtol=1e-10, atol=0)


def test_straight_mean_by_triple_integration():
    a = 10.5

    def point(radius, height):
        def source(place):
            square = radius**2 + (height - place) ** 2
            slant = np.sqrt(square) * (radius - SLEEVE) / radius
            return np.exp(-a * slant) / square

        near = [height] if height < ARC / 2 - 1e-6 else None
        return integrate.quad(source, -ARC / 2, ARC / 2, points=near, epsrel=1e-9)[0]

    node, weight = np.polynomial.legendre.leggauss(10)
    total = 0.0
    for low, high in ((0.0, 0.6), (0.6, 0.72), (0.72, 0.75)):
        for x, w in zip(node, weight, strict=True):
            height = low + (high - low) * (x + 1) / 2
            rings = integrate.quad(
                lambda r, z=height: point(r, z) * r, SLEEVE, CHAMBER, epsrel=1e-7
            )[0]
            total += rings * w * (high - low) / 2
    total *= 2 * 2 * np.pi * POWER / ARC / (4 * np.pi)
    geometry = reactor(interfaces="straight")
    ours = lamp_field.lamp_field(geometry, POWER, a).mean
    assert_allclose(ours, total / geometry.volume, rtol=1e-6, atol=0)


def test_bickley_functions():
    x = np.array([1e-6, 0.01, 0.5, 1.0, 7.0, 20.0])
    k1 = np.array([integrate.quad(special.k0, v, np.inf, epsabs=0)[0] for v in x])
    assert_allclose(line_source.bickley(1, x), k1, rtol=1e-7, atol=0)
    near = x[:4]
    ki1 = np.pi / 2 - special.iti0k0(near)[1]
    ki2 = near * (special.k1(near) - ki1)
    assert_allclose(line_source.bickley(1, near), ki1, rtol=1e-12, atol=0)
    assert_allclose(line_source.bickley(2, near), ki2, rtol=1e-12, atol=0)
    assert_allclose(line_source.bickley(1, 0.0), np.pi / 2, rtol=1e-14, atol=0)
    assert_allclose(line_source.bickley(2, 0.0), 1.0, rtol=1e-14, atol=0)


def count_rays(geometry, a, number, seed):
    """Shares absorbed, at the wall, at the ends, in the bore and in the sleeve, with sigmas."""
    random = np.random.default_rng(seed)
    place = random.uniform(-ARC / 2, ARC / 2, number)
    if geometry.emission == "isotropic":
        t1 = np.arcsin(random.uniform(0, 1, number))
    else:
        t1 = random.uniform(0, np.pi / 2, 3 * number)
        t1 = t1[random.uniform(0, 1, t1.size) < np.cos(t1) ** 2][:number]
    refracting = geometry.interfaces == "refracting"
    n2, n3 = (QUARTZ, WATER) if refracting else (1.0, 1.0)
    t2, t3 = np.arcsin(np.sin(t1) / n2), np.arcsin(np.sin(t1) / n3)
    passed = np.exp(-geometry.quartz_absorption * (SLEEVE - BORE) / np.cos(t2))
    if refracting:
        s = (1 - (np.sin(t1 - t2) / np.sin(t1 + t2)) ** 2) * (
            1 - (np.sin(t2 - t3) / np.sin(t2 + t3)) ** 2
        )
        p = (1 - (np.tan(t1 - t2) / np.tan(t1 + t2)) ** 2) * (
            1 - (np.tan(t2 - t3) / np.tan(t2 + t3)) ** 2
        )
        passed = passed * (s + p) / 2
    enter = place + BORE * np.tan(t1) + (SLEEVE - BORE) * np.tan(t2)
    half = geometry.chamber_length / 2
    inside = np.abs(enter) < half
    to_wall = (CHAMBER - SLEEVE) / np.cos(t3)
    to_end = (half - enter) / np.sin(t3)
    hits_wall = to_wall < to_end
    left = np.exp(-a * np.where(inside, np.minimum(to_wall, to_end), 0.0))
    shares = np.stack(
        [
            inside * passed * (1 - left),
            inside * passed * left * hits_wall,
            inside * passed * left * ~hits_wall,
            ~inside * 1.0,
            inside * (1 - passed),
        ]
    )
    return shares.mean(axis=1), shares.std(axis=1) / np.sqrt(number)


@pytest.mark.parametrize(
    ("geometry", "a"),
    [
        (reactor(), 5.129),
        (reactor("cosine", "refracting", 1.8, 20.0), 16.3),
        (reactor("isotropic", "straight", 1.2), 2.0),
        (reactor("cosine", "straight"), 35.7),
    ],
)
def test_counted_rays(geometry, a):
    shares, sigma = count_rays(geometry, a, 1_000_000, 20)
    budget = np.array(light_budget.power_budget(geometry, 1.0, a)[:5])
    assert np.all(np.abs(shares - budget) <= 4 * sigma + 1e-12)
    mean = shares[0] / (a * geometry.volume)
    ours = lamp_field.lamp_field(geometry, 1.0, a).mean
    assert abs(mean - ours) <= 4 * sigma[0] / (a * geometry.volume)
