"""Osmotic pressure, density, viscosity of salt waters, against figures and other libraries."""

import numpy as np
import pytest
import salt_waters as waters
from numpy.testing import assert_allclose

from treatsim.correlations.ro.normalisation import astm_osmotic_pressure
from treatsim.errors import DomainError
from treatsim.water import analysis, osmosis, pitzer, properties, salt_solutions
from treatsim.water.ions import IONS, SEA_SALT, SEA_SALT_MOLAR_MASS, SODIUM_CHLORIDE_MOLAR_MASS
from treatsim.water.phreeqc import ION_ASSOCIATION, Recipe, run
from treatsim.water.speciation import equilibrium, feed

ROOM = 298.15
ATM = 101325.0
MOLALITIES = np.array([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 1.8, 2.0])
OUTLIERS = np.isin(MOLALITIES, [1.2, 1.4])
SEA = np.array([1, 5, 10, 20, 35.16504, 42, 50, 70, 100, 120]) / 1e3
SEA_SHORT = np.array([10, 35.16504, 70, 100]) / 1e3


def chloride(molality, temperature=ROOM):
    """First-order osmotic pressure of sodium chloride by molality."""
    phi = pitzer.sodium_chloride_osmotic_coefficient(molality, temperature)
    return osmosis.first_order_osmotic_pressure(phi, 2 * np.asarray(molality), temperature)


def chloride_molality(concentration, temperature=ROOM):
    """Molality of a sodium chloride solution given in kg/m3."""
    table = waters.table("sodium_chloride")
    w = table.salinity(concentration, temperature)
    return w / (1 - w) / SODIUM_CHLORIDE_MOLAR_MASS


def ideal(particles_per_kg, temperature=ROOM):
    """Ideal osmotic pressure of a molality."""
    density = properties.density(temperature)
    return osmosis.van_t_hoff_osmotic_pressure(np.multiply(particles_per_kg, density), temperature)


def first_order(state, temperature=ROOM):
    """First-order osmotic pressure of a PHREEQC state, all solutes counted."""
    particles = -state.log_water_activity * np.log(10) / osmosis.WATER_MOLAR_MASS
    return osmosis.first_order_osmotic_pressure(1.0, particles, temperature)


def sea_by_ions(salinity, temperature=ROOM):
    """First-order osmotic pressure of reference sea salt by PHREEQC's ion interaction."""
    water = feed(analysis.of_salt("seawater", mass_fraction=salinity, ph=8.1))
    return float(first_order(equilibrium(water, 1.0, temperature, ph=8.1), temperature))


def yardstick(well):
    """First-order osmotic pressure of a well water, carbon dioxide counted, fluoride not."""
    water = feed(well)
    fluoride = well.ions["F"] / IONS["F"].molar_mass / sum(well.ions.values()) * water.salt_ratio
    return float(first_order(equilibrium(water, 1.0, ROOM)) - ideal(fluoride))


def test_sodium_chloride(agree):
    phi = pitzer.sodium_chloride_osmotic_coefficient(MOLALITIES, ROOM)
    agree("O1_phi", phi[0])
    agree("O2_phi", phi[4])
    agree("O3_phi", phi[7])
    agree("O32_measured", phi[~OUTLIERS])
    agree("O32_phreeqc", phi)
    warm = np.array([5.0, 15.0, 25.0, 35.0]) + 273.15
    agree("O32_warm", pitzer.sodium_chloride_osmotic_coefficient(1.0, warm))
    old = pitzer.pitzer_osmotic_coefficient(MOLALITIES, pitzer.SODIUM_CHLORIDE_1973, 0.392)
    agree("O32_pitzer_1973", old)
    agree("O5_phi", old[[7, 4]])
    agree("O6_slope", pitzer.debye_hueckel_slope(ROOM))


def test_sodium_chloride_outliers(agree):
    phi = pitzer.sodium_chloride_osmotic_coefficient(MOLALITIES[OUTLIERS], ROOM)
    agree("O32_measured_outliers", phi)


def test_sodium_chloride_by_phreeqc_itself():
    for molality, kelvin in ((0.1, 275.0), (1.0, 298.15), (2.0, 315.0), (4.0, 298.15)):
        recipe = Recipe({"Na": molality, "Cl": molality}, kelvin, 7.0)
        (log_activity,) = run(recipe, ('LA("H2O")',))
        phi = -log_activity * np.log(10) / osmosis.WATER_MOLAR_MASS / (2 * molality)
        own = pitzer.sodium_chloride_osmotic_coefficient(molality, kelvin)
        assert_allclose(own, phi, rtol=1e-4, atol=0)


def test_sodium_chloride_pressure(agree):
    agree("O7_pi", chloride(1.0))
    some = [0.1, 0.2, 0.5, 1.0, 2.0]
    agree("O32_pi", chloride(some))
    agree("O32_ideal", ideal(2 * np.array(some)))
    by_volume = chloride(chloride_molality(np.array([2.0, 3, 5, 10, 32, 35, 60])))
    agree("O32_per_volume", by_volume)
    agree("O8_pi", by_volume[0])
    agree("O9_pi", by_volume[4])


def test_textbooks(agree):
    agree("O22_pi", osmosis.van_t_hoff_osmotic_pressure(1103.0, 298.0) / ATM)
    agree("O23_ideal", osmosis.van_t_hoff_osmotic_pressure(200.0, 293.15) / ATM)
    per_volume = 100 * SODIUM_CHLORIDE_MOLAR_MASS
    agree("O23_pitzer", chloride(chloride_molality(per_volume, 293.15), 293.15) / ATM)
    agree("O24_ideal", ideal(0.2) / ATM)
    agree("O24_measured", chloride(0.1) / ATM)
    agree("O24_pitzer", chloride(0.1) / ATM)
    agree("O25_d4516", astm_osmotic_pressure([32.0, 2.0], ROOM))


def test_documented_seawater_values(agree):
    import gsw

    case = (34.7118e-3, 28.7856 + 273.15, 1e5)
    agree("O11_phi", osmosis.seawater_osmotic_coefficient(*case, gas_constant=8.314472))
    agree("O11_new_r", osmosis.seawater_osmotic_coefficient(*case))
    agree("O13_mu", gsw.chem_potential_water_t_exact(34.7118, 28.7856, 10.0))


def test_seawater_pressure(agree):
    exact = osmosis.seawater_osmotic_pressure(SEA, ROOM)
    first = osmosis.seawater_osmotic_pressure_first_order(SEA, ROOM)
    agree("O14_pi", osmosis.seawater_osmotic_pressure(0.035, ROOM))
    agree("O15_pi", osmosis.seawater_osmotic_pressure([0.042, 0.070], ROOM))
    agree("O33_exact", exact)
    agree("O33_first_order", first)
    agree("O33_phreeqc", [sea_by_ions(s) for s in SEA[1:]])
    agree("O33_ideal", ideal(SEA / (1 - SEA) / SEA_SALT_MOLAR_MASS))
    concentration = SEA_SHORT * salt_solutions.seawater_density(SEA_SHORT, ROOM)
    agree("O33_d4516", astm_osmotic_pressure(concentration, ROOM))
    deficit = 1 - first / exact
    agree("O30_deficit", deficit[[2, 4]])
    agree("O30_deficit_strong", deficit[[7, 8, 9]])
    cold = np.full_like(SEA, 278.15)
    ratio = osmosis.seawater_osmotic_pressure(SEA, cold) / (
        osmosis.seawater_osmotic_pressure_first_order(SEA, cold) * osmosis.exact_factor(SEA)
    )
    agree("O30_factor", ratio[-1])
    assert np.argmax(np.abs(ratio - 1)) == len(SEA) - 1  # the worst is where it is said to be


def test_seawater_temperature(agree):
    warm = np.array([278.15, 313.15])[:, None]
    agree("O34_exact", osmosis.seawater_osmotic_pressure(SEA_SHORT, warm))
    agree("O34_phreeqc", [[sea_by_ions(s, float(t)) for s in SEA_SHORT] for t in warm.ravel()])


def test_seawater_osmotic_coefficient_by_ions(agree):
    salinity = 35.16504e-3
    particles = salinity / (1 - salinity) / SEA_SALT_MOLAR_MASS
    assert_allclose(particles, 1.1605813, rtol=1e-6, atol=0)  # the composition's own check sum
    assert_allclose(sum(SEA_SALT.values()), 1.0, rtol=1e-9, atol=0)
    water = feed(analysis.of_salt("seawater", mass_fraction=salinity, ph=8.1))
    state = equilibrium(water, 1.0, ROOM, ph=8.1)
    phi = -state.log_water_activity * np.log(10) / osmosis.WATER_MOLAR_MASS / particles
    agree("O18_phi", phi)


def test_seawater_by_another_library(agree):
    """IF97 water and IAPWS-08 salt in another package, whose own osmotic pressure is not used."""
    from iapws import SeaWater
    from scipy.optimize import brentq

    pure = SeaWater(T=ROOM, P=0.101325, S=0.0, IF97=True).g  # kJ/kg

    def excess(pressure):  # MPa
        return SeaWater(T=ROOM, P=pressure, S=0.035, IF97=True).muw - pure

    root = brentq(excess, 0.2, 10.0, xtol=1e-9, rtol=1e-9)
    pressure = (root - 0.101325) * 1e6
    agree("O14_pi", pressure)
    own = float(osmosis.seawater_osmotic_pressure(0.035, ROOM))
    assert_allclose(own, pressure, rtol=1e-5, atol=0)


def test_substitute_ocean_water(agree):
    recipe = {"NaCl": 24.53, "MgCl2": 5.20, "Na2SO4": 4.09, "CaCl2": 1.16, "KCl": 0.695}
    recipe |= {"NaHCO3": 0.201, "KBr": 0.101, "SrCl2": 0.025, "NaF": 0.003}
    ions: dict[str, float] = {"B": 0.027 * IONS["B"].molar_mass / 61.833e-3}
    for salt, mass in recipe.items():
        parts = waters.SALTS[salt]
        total = sum(count * IONS[name].molar_mass for name, count in parts.items())
        for name, count in parts.items():
            ions[name] = ions.get(name, 0.0) + mass * count * IONS[name].molar_mass / total
    water = feed(analysis.of_ions(ions, ph=8.2))
    agree("O34_substitute", osmosis.mixture_osmotic_pressure(water, 1.0, ROOM))


def test_well_waters(agree):
    feeds = {name: feed(waters.well(name)) for name in waters.WELLS}
    pressure = np.array([yardstick(waters.well(name)) for name in waters.WELLS])
    agree("O35_phreeqc", pressure)
    solids = np.array([sum(waters.well(name).ions.values()) for name in feeds])
    agree("O35_solids", solids)
    agree("O21_pi", osmosis.mixture_osmotic_pressure(feeds["BWd"], 1.0, ROOM))
    strong = [yardstick(waters.well(name, 4.0)) for name in ("BWa", "BWb", "BWd")]
    agree("O35_fourfold", strong)
    agree("O35_as_chloride", chloride(chloride_molality(solids)) / pressure - 1)
    agree("O35_d4516", astm_osmotic_pressure(solids, ROOM) / pressure - 1)
    molar = [sum(v / IONS[n].molar_mass for n, v in waters.well(w).ions.items()) for w in feeds]
    agree("O35_ideal", osmosis.van_t_hoff_osmotic_pressure(molar, ROOM) / pressure - 1)
    other = [equilibrium(feed(waters.well(w), ION_ASSOCIATION), 1.0, ROOM) for w in feeds]
    same = [equilibrium(water, 1.0, ROOM) for water in feeds.values()]
    ratio = [first_order(a) / first_order(b) - 1 for a, b in zip(other, same, strict=True)]
    agree("O35_association", ratio)


def test_solutes_that_pass(agree):
    water = feed(waters.well("BWc"))
    state = equilibrium(water, 1.0, ROOM)
    agree("O31_carbon_dioxide", ideal(state.carbon_dioxide))
    agree("O31_silica", ideal(water.molality["Si"]))
    counted = first_order(state) * osmosis.exact_factor(water.salinity)
    rejected = osmosis.mixture_osmotic_pressure(water, 1.0, ROOM)
    assert_allclose(counted - rejected, ideal(state.carbon_dioxide), rtol=2e-3, atol=0)


def test_density_and_viscosity(agree):
    agree("O26_density", salt_solutions.seawater_density(0.035, ROOM))
    agree("O28_viscosity", salt_solutions.seawater_viscosity(0.035, np.array([ROOM, 278.15])))


@pytest.mark.parametrize("salinity", [0.002, 0.035, 0.10])
@pytest.mark.parametrize("kelvin", [278.15, 298.15, 310.15])
def test_density_and_viscosity_against_coolprop(salinity, kelvin):
    from CoolProp.CoolProp import PropsSI

    def other(output, fluid):
        return PropsSI(output, "T", kelvin, "P", ATM, f"INCOMP::{fluid}[{salinity}]")

    sea, brine = "MITSW", "MNA"
    s = salt_solutions
    assert_allclose(s.seawater_density(salinity, kelvin), other("D", sea), rtol=8e-4, atol=0)
    assert_allclose(s.seawater_viscosity(salinity, kelvin), other("V", sea), rtol=7e-3, atol=0)
    density = s.sodium_chloride_density(salinity, kelvin)
    assert_allclose(density, other("D", brine), rtol=6e-4, atol=0)
    viscosity = s.sodium_chloride_viscosity(salinity, kelvin)
    assert_allclose(viscosity, other("V", brine), rtol=0.012, atol=0)


def test_diffusivity():
    assert_allclose(salt_solutions.diffusivity(ROOM), 1.5e-9, rtol=1e-12, atol=0)
    assert 0.5 < salt_solutions.diffusivity(278.15) / 1.5e-9 < 0.6
    plain = {"Na": IONS["Na"].molar_mass, "Cl": IONS["Cl"].molar_mass}
    assert_allclose(salt_solutions.mixture_diffusivity(plain), 1.5e-9, rtol=1e-3, atol=0)
    sulfate = salt_solutions.mixture_diffusivity(waters.well("BWb").ions)
    assert 0.8e-9 < sulfate < 1.2e-9  # slower ions


def test_limits_and_broadcasting():
    warm = np.array([280.0, 300.0])[:, None]
    grid = osmosis.seawater_osmotic_pressure(SEA_SHORT, warm)
    single = [[osmosis.seawater_osmotic_pressure(s, t) for s in SEA_SHORT] for t in warm.ravel()]
    assert_allclose(grid, single, rtol=1e-12, atol=0)
    assert np.all(np.diff(grid) > 0)
    thin = 1e-6
    ratio = osmosis.seawater_osmotic_pressure(thin, ROOM) / ideal(thin / SEA_SALT_MOLAR_MASS)
    assert_allclose(ratio, 1.0, rtol=3e-3, atol=0)


@pytest.mark.parametrize(
    "call",
    [
        lambda: osmosis.seawater_osmotic_pressure(-0.001, ROOM),
        lambda: osmosis.seawater_osmotic_pressure(0.3, ROOM),
        lambda: osmosis.van_t_hoff_osmotic_pressure(-1.0, ROOM),
        lambda: pitzer.sodium_chloride_osmotic_coefficient(-0.1, ROOM),
        lambda: osmosis.seawater_osmotic_coefficient(0.0, ROOM),
        lambda: salt_solutions.sodium_chloride_density(0.6, ROOM),
        lambda: astm_osmotic_pressure(np.nan, ROOM),
    ],
)
def test_impossible_values_are_refused(call):
    with pytest.raises(DomainError):
        call()
