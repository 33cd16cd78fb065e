"""Osmotic pressure: exact and first order, by the best source for each water, and comparators.

Exact: the pressure that gives water in solution the chemical potential of pure water at 1 atm.
First order: -R T ln(a_w) / V_w with the molar volume of pure water at 1 atm; lower by 0.1 % at
35 g/kg. `exact_factor` takes one to the other.
"""

from __future__ import annotations

import numpy as np

from treatsim.constants import GAS_CONSTANT, ZERO_CELSIUS
from treatsim.errors import NoSolutionError, require
from treatsim.numerics import find_roots
from treatsim.ranges import Range
from treatsim.water.ions import SEA_SALT_MOLAR_MASS
from treatsim.water.properties import density
from treatsim.water.speciation import Feed, equilibrium

WATER_MOLAR_MASS = 18.01528e-3  # kg/mol
PASCAL_PER_DECIBAR = 1e4
LARGEST_DECIBAR = 4000.0  # bracket of the exact root: 400 bar

EXACT_FACTOR_RANGE = Range(
    "salinity", 0.0, 0.120, "kg/kg", "first-order to exact osmotic pressure, sea salt"
)
SEAWATER_RANGE = Range("salinity", 0.0, 0.120, "kg/kg", "TEOS-10 saline water")


def first_order_osmotic_pressure(osmotic_coefficient, molality_sum, temperature):
    """Return the first-order osmotic pressure from the osmotic coefficient.

    Parameters
    ----------
    osmotic_coefficient : array_like
        Osmotic coefficient. [1]
    molality_sum : array_like
        All dissolved particles per kg of water, also those of a fully dissociated salt. [mol/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic pressure. [Pa]

    Validity
    --------
    Below the exact value by 0.02 % at 10 g/kg and 0.6 % at 100 g/kg: see `exact_factor`.

    Source
    ------
    robinson_stokes_1959
    """
    m = require("molality_sum", molality_sum, 0, 100, "mol/kg")
    return osmotic_coefficient * m * GAS_CONSTANT * temperature * density(temperature)


def exact_factor(salinity):
    """Return the ratio of the exact to the first-order osmotic pressure.

    Parameters
    ----------
    salinity : array_like
        Mass fraction of salt. [kg/kg]

    Returns
    -------
    ndarray, shape of salinity
        Ratio. [1]

    Validity
    --------
    `EXACT_FACTOR_RANGE`, 5 to 40 degC: 0.13 % at worst for sea salt (least squares to TEOS-10). For
    sodium chloride and brackish mixtures it is a close estimate of the same two causes,
    compressibility and the molar volume of water in solution.

    Source
    ------
    iapws_2008
    """
    s = 1e3 * require("salinity", salinity, 0, 0.5, "kg/kg")
    return 1 + 1.21e-5 * s + 5.20e-7 * s**2


def seawater_osmotic_pressure(salinity, temperature):
    """Return the exact osmotic pressure of sea salt in water.

    Parameters
    ----------
    salinity : array_like
        Absolute Salinity as mass fraction. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic pressure. [Pa]

    Validity
    --------
    `SEAWATER_RANGE`, 0 to 45 degC: 0.3 %. Runs on smoothly above; no root below 400 bar raises
    NoSolutionError.

    Source
    ------
    iapws_2008
    """
    import gsw

    S = 1e3 * require("salinity", salinity, 0, 0.25, "kg/kg")
    S, t = np.broadcast_arrays(S, np.asarray(temperature, dtype=float) - ZERO_CELSIUS)
    flat, celsius = S.ravel(), t.ravel()
    pure = gsw.chem_potential_water_t_exact(np.zeros_like(flat), celsius, 0.0)

    def residual(p, i):
        return gsw.chem_potential_water_t_exact(flat[i], celsius[i], p) - pure[i]

    guess = seawater_osmotic_pressure_first_order(flat / 1e3, celsius + ZERO_CELSIUS)
    roots = find_roots(residual, guess / PASCAL_PER_DECIBAR, 0.0, LARGEST_DECIBAR, rtol=1e-13)
    if not np.all(roots.converged):
        worst = float(np.max(flat[~roots.converged]))
        raise NoSolutionError(f"osmotic pressure of sea salt at {worst:g} g/kg is above 400 bar")
    return (roots.x * PASCAL_PER_DECIBAR).reshape(S.shape)


def seawater_osmotic_pressure_first_order(salinity, temperature):
    """Return the first-order osmotic pressure of sea salt in water.

    Parameters
    ----------
    salinity : array_like
        Absolute Salinity as mass fraction. [kg/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic pressure. [Pa]

    Validity
    --------
    As `seawater_osmotic_pressure`, and 0.1 % lower at 35 g/kg.

    Source
    ------
    iapws_2008
    """
    import gsw

    S = 1e3 * require("salinity", salinity, 0, 0.25, "kg/kg")
    t = np.asarray(temperature, dtype=float) - ZERO_CELSIUS
    pure = gsw.chem_potential_water_t_exact(0.0, t, 0.0)
    lowered = pure - gsw.chem_potential_water_t_exact(S, t, 0.0)
    return 1e3 * lowered * gsw.rho_t_exact(0.0, t, 0.0)


def seawater_osmotic_coefficient(
    salinity, temperature, pressure=0.0, *, gas_constant: float = GAS_CONSTANT
):
    """Return the osmotic coefficient of sea water.

    Parameters
    ----------
    salinity : array_like
        Absolute Salinity as mass fraction. [kg/kg]
    temperature : array_like
        Temperature. [K]
    pressure : array_like
        Above 1 atm. [Pa]
    gas_constant : float
        The value documented examples used may be given. [J/(mol K)]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic coefficient. [1]

    Validity
    --------
    Salinity above 0; as `seawater_osmotic_pressure`.

    Source
    ------
    iapws_2008
    """
    import gsw

    S = 1e3 * require("salinity", salinity, 0, 0.25, "kg/kg", open_low=True)
    T = np.asarray(temperature, dtype=float)
    p = np.asarray(pressure, dtype=float) / PASCAL_PER_DECIBAR
    pure = gsw.chem_potential_water_t_exact(0.0, T - ZERO_CELSIUS, p)
    lowered = pure - gsw.chem_potential_water_t_exact(S, T - ZERO_CELSIUS, p)
    particles = S / (1000 - S) / SEA_SALT_MOLAR_MASS
    return 1e3 * lowered / (particles * gas_constant * T)


def mixture_osmotic_pressure(water: Feed, factor: float, temperature: float) -> float:
    """Return the exact osmotic pressure of an ion mixture against its salt-free permeate.

    Solutes that pass the membrane do not count: dissolved carbon dioxide, also the part of it that
    dissociated on dilution, and boric acid.

    Parameters
    ----------
    water : Feed
        From `speciation.feed` with the Pitzer database. [per kg water]
    factor : float
        Concentration factor per kg of water, dissolved CO2 constant. [1]
    temperature : float
        Temperature. [K]

    Returns
    -------
    float
        Osmotic pressure. [Pa]

    Validity
    --------
    1 % for a good analysis (3 % for hydrogen carbonate waters, whose parameters differ between
    authors), up to 4 mol/kg. Factors above about 0.05.

    Source
    ------
    parkhurst_appelo_2013
    """
    state = equilibrium(water, factor, temperature)
    particles = -state.log_water_activity * np.log(10) / WATER_MOLAR_MASS
    proton = 10**-state.ph if water.carbon else 0.0
    particles -= state.carbon_dioxide + state.boric_acid + 2 * proton
    ratio = water.salt_ratio * factor
    first = particles * GAS_CONSTANT * temperature * float(density(temperature))
    return float(first * exact_factor(ratio / (1 + ratio)))


def van_t_hoff_osmotic_pressure(particle_concentration, temperature):
    """Return the ideal osmotic pressure, a comparator that is 5 to 30 % high.

    Parameters
    ----------
    particle_concentration : array_like
        All dissolved particles per volume. [mol/m3]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        Osmotic pressure. [Pa]

    Validity
    --------
    The limit of infinite dilution; not used in any operating point.

    Source
    ------
    robinson_stokes_1959
    """
    c = require("particle_concentration", particle_concentration, 0, 1e5, "mol/m3")
    return c * GAS_CONSTANT * temperature
