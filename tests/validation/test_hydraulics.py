"""Pipe friction, suction and surge: reference values, second opinions, limits, refused inputs."""

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from oracles.pipes import colebrook_factor

from treatsim import constants
from treatsim.correlations.hydraulics import friction
from treatsim.errors import DomainError
from treatsim.water import properties

HOUR = 3600.0
FOOT = 0.3048
G = constants.GRAVITY


def water(celsius):
    kelvin = celsius + constants.ZERO_CELSIUS
    return float(properties.density(kelvin)), float(properties.viscosity(kelvin))


# flow m3/s, length m, bore m, roughness m, temperature C
HOSES = [
    (1 / HOUR, 20, 0.025, 1.5e-6, 20),
    (2 / HOUR, 20, 0.025, 1.5e-6, 20),
    (1 / HOUR, 20, 0.025, 1e-4, 20),
    (3 / HOUR, 50, 0.038, 1.5e-6, 20),
    (1 / HOUR, 20, 0.025, 1.5e-6, 5),
]


def colebrook_head(flow, length, bore, roughness, density, viscosity):
    reynolds = friction.reynolds_number(flow, bore, density, viscosity)
    factor = colebrook_factor(reynolds, roughness / bore)
    return factor * length / bore * friction.velocity(flow, bore) ** 2 / (2 * G)


def head_loss(flow, length, bore, roughness, density, viscosity, fittings=0.0):
    loss = friction.pressure_loss(flow, length, bore, roughness, density, viscosity, fittings)
    return loss / (density * G)


def churchill_factor(reynolds, relative_roughness):
    """The factor behind `pressure_loss`, of a bore and water in which everything else is one."""
    flow = np.asarray(reynolds) * np.pi / 4
    return (
        2
        * friction.pressure_loss(flow, 1.0, 1.0, relative_roughness, 1.0, 1.0)
        / np.square(reynolds)
    )


def test_friction_factor_values(agree):
    reynolds, rough = np.array([1e5, 4e4, 3e5]), np.array([1e-4, 1e-3, 5e-4])
    agree("P36_colebrook", colebrook_factor(reynolds, rough))
    agree("P36_churchill", churchill_factor(reynolds, rough))
    agree("P36_laminar", churchill_factor(2000.0, 0.0))


def test_hose_values(agree):
    agree("P37_colebrook", [colebrook_head(*h[:4], *water(h[4])) for h in HOSES])
    agree("P37_churchill", [head_loss(*h[:4], *water(h[4])) for h in HOSES])


def test_system_curve_values(agree):
    flow = np.array([10, 20, 30, 40]) * 1e-3
    density, viscosity = 999.1, 999.1 * 1.13e-6
    minor = 10 * friction.velocity(flow, 0.2) ** 2 / (2 * G)
    by_colebrook = colebrook_head(flow, 2500, 0.2, 1.5e-4, density, viscosity)
    agree("P41_colebrook", 15 + by_colebrook + minor)
    agree("P41_book", 15 + head_loss(flow, 2500, 0.2, 1.5e-4, density, viscosity, 10))


def test_suction_values(agree):
    heads = [("P47_sea", 33.9, -6.0, 0.839, 2 + 2), ("P47_high", 26.2, 8, 0.411, 1 + 2)]
    for key, atmosphere, lift, vapour, loss in heads:
        weight = 998.2 * G * FOOT  # of one foot of water
        available = friction.suction_head_available(
            atmosphere * weight, vapour * weight, 998.2, lift * FOOT, loss * FOOT
        )
        agree(key, available / FOOT)


def test_surge_values(agree):
    agree("P49_surge", friction.surge_head(1.5, [300.0, 1200.0]))


def test_factors_against_fluids():
    rng = np.random.default_rng(1)
    reynolds = 10 ** rng.uniform(3.7, 8, 200)
    rough = 10 ** rng.uniform(-6, np.log10(0.05), 200)
    pairs = list(zip(reynolds.tolist(), rough.tolist(), strict=True))
    second = [fluids.friction.Colebrook(r, e, tol=1e-14) for r, e in pairs]
    assert_allclose(colebrook_factor(reynolds, rough), second, rtol=1e-10)
    reynolds = 10 ** rng.uniform(-2, 8, 200)
    second = [fluids.friction.Churchill_1977(r, e) for r, e in zip(reynolds, rough, strict=True)]
    assert_allclose(churchill_factor(reynolds, rough), second, rtol=1e-11)


def test_churchill_stays_near_colebrook():
    reynolds = np.geomspace(4e3, 1e8, 200)[:, None]
    rough = np.geomspace(1e-6, 0.05, 60)
    ratio = churchill_factor(reynolds, rough) / colebrook_factor(reynolds, rough)
    assert np.max(np.abs(ratio - 1)) < 0.035
    assert np.median(np.abs(ratio - 1)) < 0.01


def test_loss_at_rest_is_nothing_and_smooth():
    density, viscosity = water(20)
    flow = np.array([-1e-3, -1e-300, 0.0, 1e-300, 1e-12, 1e-3])
    loss = friction.pressure_loss(flow, 20, 0.025, 1e-5, density, viscosity, 3.0)
    assert loss[2] == 0
    assert_allclose(loss[0], -loss[-1], rtol=0)
    poiseuille = 128 * viscosity * 20 * flow / (np.pi * 0.025**4)
    assert_allclose(loss[[1, 3, 4]], poiseuille[[1, 3, 4]], rtol=1e-5)
    assert friction.pressure_loss(0.0, 20, 0.025, 1e-5, density, viscosity) == 0


def test_loss_never_falls_with_flow():
    flow = np.geomspace(1e-9, 1e-1, 20000)
    for rough in (0.0, 1e-6, 1e-4, 1e-3):
        loss = friction.pressure_loss(flow, 20, 0.025, rough, *water(5), 2.0)
        assert np.all(np.diff(loss) > 0)


@given(st.floats(0, 1e12), st.floats(0, 1))
def test_factor_is_finite_at_any_reynolds(reynolds, rough):
    loss = friction.pressure_loss(reynolds * np.pi / 4, 1.0, 1.0, rough, 1.0, 1.0)
    assert np.isfinite(loss)
    assert loss >= 0


def test_bore_matters_more_than_roughness():
    loss = [head_loss(1 / HOUR, 20, d, 1e-5, *water(20)) for d in (0.025, 0.95 * 0.025)]
    assert_allclose(loss[1] / loss[0], 1.28, rtol=0.01)


def test_cold_water_costs_more():
    hose = HOSES[0]
    cold, warm = (head_loss(*hose[:4], *water(t)) for t in (5, 25))
    assert_allclose(cold / warm, 1.15, rtol=0.02)


def test_suction_limits():
    broken = friction.suction_head_available(101325, properties.vapour_pressure(293.15), 998, 11, 0)
    assert broken < 0
    assert_allclose(friction.clogged_loss_coefficient(2.0, [1.0, 0.5]), [2, 8], rtol=0)


def test_arrays_equal_one_by_one():
    flow, bore = np.geomspace(1e-6, 1e-3, 5), np.array([[0.019], [0.025]])
    together = friction.pressure_loss(flow, 20, bore, 1e-5, *water(20), 1.5)
    single = [
        [friction.pressure_loss(q, 20, d, 1e-5, *water(20), 1.5) for q in flow] for d in bore[:, 0]
    ]
    assert_allclose(together, single, rtol=1e-14)


@pytest.mark.parametrize(
    "call",
    [
        lambda: friction.velocity(1e-3, 0.0),
        lambda: friction.pressure_loss(1e-3, -1.0, 0.02, 0.0, 1e3, 1e-3),
        lambda: friction.pressure_loss(1e-3, 1.0, 0.02, 0.0, 1e3, 0.0),
        lambda: friction.pressure_loss(1e-3, 1.0, 0.02, -1e-6, 1e3, 1e-3),
        lambda: friction.pressure_loss(1e-3, 1.0, 0.02, 0.0, 1e3, 1e-3, -1.0),
        lambda: friction.clogged_loss_coefficient(2.0, 0.0),
        lambda: friction.surge_head(1.0, 0.0),
        lambda: friction.suction_head_available(1e5, 2e3, 0.0, 1.0, 0.0),
    ],
)
def test_refused(call):
    with pytest.raises(DomainError):
        call()
