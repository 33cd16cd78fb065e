"""Least work of what is really drunk, and no train that does better than nature allows."""

import gsw
import numpy as np
import pytest
import ro_plant
from numpy.testing import assert_allclose
from oracles.separation_energy import least_work
from plant import ROOT
from ro_plant import number

from treatsim import cases
from treatsim.correlations.ro.separation_energy import product_work

KWH = 3.6e6
ROOM = 25.0
INTAKE = {"kind": "intake", "flow": "2.2 m3/h", "pressure": "50 bar"}
BLEND = ["intake > split", "split.run > pump > ro", "ro.permeate > mix.run",
         "split.branch > valve > mix.branch", "mix > tank",
         "ro.concentrate > let > outfall"]  # fmt: skip


def gibbs(fraction):
    """Specific Gibbs energy of sea salt solution at 1 atm. [J/kg]"""
    return gsw.gibbs(0, 0, 0, 1e3 * np.asarray(fraction), ROOM, 0.0)


def density(fraction):
    return gsw.rho(1e3 * np.asarray(fraction), gsw.CT_from_t(0, ROOM, 0.0), 0.0)


def first_order(fraction):
    """rho_w (mu_pure - mu): what the work at one pressure integrates. [Pa]"""
    potential = 1e3 * gsw.chem_potential_water_t_exact(1e3 * np.asarray(fraction), ROOM, 0.0)
    pure = 1e3 * gsw.chem_potential_water_t_exact(0.0, ROOM, 0.0)
    return density(0.0) * (pure - potential)


@pytest.mark.parametrize(
    ("feed", "product", "share"),
    [(0.035, 4e-4, 0.32), (0.035, 0.01, 0.5), (0.035, 1e-6, 0.4), (0.0365, 0.035, 0.9),
     (0.035, 0.0, 0.5), (0.005, 5e-4, 0.75)],
)  # fmt: skip
def test_product_work_is_the_difference_of_gibbs_functions(feed, product, share):
    """TEOS-10: product and concentrate less feed, salt of the product and all, no integral."""
    rest = (feed - share * product) / (1 - share)
    work = (share * gibbs(product) + (1 - share) * gibbs(rest) - gibbs(feed)) / share
    found = product_work(first_order, feed, product, share, density)
    assert_allclose(found, work * density(product), rtol=1e-6, atol=0)


def test_a_pure_product_asks_for_the_mean_osmotic_pressure():
    """The integral over the water drawn, written down another way."""
    recovery = np.array([0.1, 0.3, 0.5])
    share = recovery * density(0.0) / density(0.035)
    found = product_work(first_order, np.full(3, 0.035), np.zeros(3), share, density)
    assert_allclose(found, least_work(first_order, 0.035, recovery, density), rtol=1e-9)


def test_nothing_is_asked_for_the_source_itself():
    assert product_work(first_order, 0.035, 0.035, 0.5, density) == 0.0
    saltier = product_work(first_order, 0.035, 0.036, 0.5, density)
    assert saltier == 0.0  # rounding of a blend must not turn the sign


def test_least_work_of_the_sea_case_counts_the_salt_that_passes():
    """0.852 kWh/m3 by TEOS-10 at one pressure; exact osmotic pressure lies 0.2 % above."""
    result = cases.load(ROOT / "cases/sea.toml").solve()
    salt, share = (
        number(result, "ro.permeate.salinity"),
        number(result, "ro.permeate.flow") / number(result, "ro.feed.flow"),
    )
    t = 26.0
    g = gsw.gibbs(0, 0, 0, 1e3 * np.array([0.0365, salt]), t, 0.0)
    rho = gsw.rho_t_exact(1e3 * np.array([0.0365, salt]), t, 0.0)
    mass = share * rho[1] / rho[0]
    rest = gsw.gibbs(0, 0, 0, 1e3 * (0.0365 - mass * salt) / (1 - mass), t, 0.0)
    work = (mass * g[1] + (1 - mass) * rest - g[0]) / mass * rho[1]
    assert_allclose(number(result, "energy.least_work"), work, rtol=4e-3)
    assert_allclose(work / KWH, 0.852, atol=2e-3)


def blend(bypass, pressure="50 bar", water=None):
    units = {"intake": INTAKE | {"pressure": pressure},
             "split": {"kind": "dividing_tee", "fraction": f"{100 * bypass!r} %"},
             "pump": ro_plant.pump(None, 55.0), "ro": ro_plant.vessel(), "valve": ro_plant.VALVE,
             "let": ro_plant.VALVE, "mix": {"kind": "combining_tee"}}  # fmt: skip
    return ro_plant.case(water or ro_plant.sea(35.0), units, BLEND).solve()


def test_a_blend_has_its_own_least_work():
    found = [number(blend(share), "energy.least_work") for share in (0.05, 0.3, 0.8)]
    assert np.all(np.diff(found) < 0)
    result = blend(0.3)
    product, rest = (
        number(result, f"{port}.salinity") for port in ("mix.outlet", "ro.concentrate")
    )
    flows = result.product.mass_flow, result.streams["intake", "inlet"].mass_flow
    mass = np.ravel(flows[0] / flows[1])[0]
    work = (mass * gibbs(product) + (1 - mass) * gibbs(rest) - gibbs(0.035)) / mass
    assert_allclose(number(result, "energy.least_work"), work * density(product), rtol=4e-3)


def test_what_the_source_brings_is_paid_for_too():
    """The pump adds 5 bar to a main of 50: most of the work is brought, and counts."""
    result = blend(0.05)
    specific, least = (number(result, f"energy.{key}") for key in ("specific", "least_work"))
    brought = 50e5 * number(result, "intake.inlet.flow") / number(result, "product.flow")
    expected = least / (specific + brought)
    assert_allclose(number(result, "energy.second_law_efficiency"), expected, rtol=1e-9)
    assert least / specific > 0.5  # which is what was printed


@pytest.mark.parametrize("seed", range(12))
def test_no_train_does_better_than_nature(seed):
    """Pressure from outside, water running down, blends, motors: never more than all of it."""
    draw = np.random.default_rng(seed)
    celsius, salt = draw.uniform(5, 40), draw.uniform(2, 40)
    water = ro_plant.sea(salt, celsius)
    pressure = 1.05 * float(
        ro_plant.case(
            water,
            {"pump": ro_plant.pump(2, 80.0), "ro": ro_plant.vessel(), "let": ro_plant.VALVE},
            ["pump > ro", "ro.permeate > tank", "ro.concentrate > let > outfall"],
        )
        .flowsheet()
        .source.osmotic_pressure
    ) / 1e5 + draw.uniform(2, 10)
    perfect = {"pump_efficiency": 1.0, "motor_efficiency": 1.0, "drive_efficiency": 1.0}
    units = {
        "intake": INTAKE | {"pressure": f"{0.9 * pressure!r} bar",
                            "flow": f"{draw.uniform(1.0, 3.0)!r} m3/h"},
        "hose": {"kind": "hose", "length": "20 m", "bore": "80 mm", "roughness": "0.02 mm",
                 "rise": f"{draw.uniform(-0.8, 0.2) * pressure!r} m", "fittings": 0.0},
        "split": {"kind": "dividing_tee", "fraction": f"{draw.uniform(0.1, 60)!r} %"},
        "pump": ro_plant.pump(None, pressure) | perfect,
        "ro": ro_plant.vessel(elements=int(draw.integers(1, 8)), water_permeability_ratio=3.0,
                              salt_permeability_ratio=0.01),
        "valve": ro_plant.VALVE, "mix": {"kind": "combining_tee"},
        "let": {"kind": "throttle_valve"},
    }  # fmt: skip
    links = ["intake > hose > split", *BLEND[1:]]
    result = ro_plant.case(water, units, links).solve()
    assert result.solved[0], result.reason()
    assert 0 < number(result, "energy.second_law_efficiency") <= 1.0
    assert number(result, "energy.loss.excess_driving_pressure") >= 0
