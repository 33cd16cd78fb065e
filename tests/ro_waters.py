"""Waters of the reverse-osmosis tests, written apart from treatsim: sodium chloride and sea salt.

Sodium chloride: Pitzer's equation with temperature polynomials, Laliberte & Cooper 2004 density,
Laliberte 2007 viscosity. Sea salt: TEOS-10 through gsw, Sharqawy et al. 2010 viscosity.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from treatsim.correlations.ro.solution_line import SolutionLine, fit_solution_line

R = 8.314462618
MOLAR_MASS = 0.0584428  # sodium chloride, kg/mol
T0 = 298.15
B0 = (7.534e-2, 9598.4, 35.48, -5.8731e-2, 1.798e-5, -5e5)
B1 = (0.2769, 1.377e4, 46.8, -6.9512e-2, 2e-5, -7.4823e5)
C_PHI = (1.48e-3, -120.5, -0.2081, 0.0, 1.166e-7, 11121.0)


def pitzer_parameter(p, temperature):
    t = temperature
    return (
        p[0]
        + p[1] * (1 / t - 1 / T0)
        + p[2] * np.log(t / T0)
        + p[3] * (t - T0)
        + p[4] * (t**2 - T0**2)
        + p[5] * (1 / t**2 - 1 / T0**2)
    )


def pure_water_density(temperature):
    t = temperature - 273.15
    top = 999.83952 + t * (
        16.945176
        + t * (-0.0079870401 + t * (-4.6170461e-5 + t * (1.0556302e-7 - 2.8054253e-10 * t)))
    )
    return top / (1 + 0.01687985 * t)


def debye_hueckel_slope(temperature):
    """A_phi with the dielectric constant of Bradley & Pitzer 1979 at 1 bar."""
    t = temperature
    d1000 = 3.4279e2 * np.exp(-5.0866e-3 * t + 9.4690e-7 * t**2)
    c = -2.0525 + 3.1159e3 / (t - 1.8289e2)
    b = -8.0325e3 + 4.2142e6 / t + 2.1417 * t
    eps = d1000 + c * np.log((b + 1.01325) / (b + 1000.0))
    charge2 = 1.602176634e-19**2 / (4 * np.pi * 8.8541878128e-12 * eps * 1.380649e-23 * t)
    return np.sqrt(2 * np.pi * 6.02214076e23 * pure_water_density(t)) * charge2**1.5 / 3


def salt_osmotic_coefficient(molality, temperature):
    root = np.sqrt(molality)
    return (
        1
        - debye_hueckel_slope(temperature) * root / (1 + 1.2 * root)
        + molality
        * (
            pitzer_parameter(B0, temperature)
            + pitzer_parameter(B1, temperature) * np.exp(-2 * root)
        )
        + molality**2 * pitzer_parameter(C_PHI, temperature)
    )


def salt_osmotic_pressure(fraction, temperature):
    m = fraction / (1 - fraction) / MOLAR_MASS
    return (
        salt_osmotic_coefficient(m, temperature)
        * 2
        * m
        * R
        * temperature
        * pure_water_density(temperature)
    )


def salt_density(fraction, temperature):
    t = temperature - 273.15
    apparent = (
        (-0.00433 * fraction + 0.06471)
        * np.exp(1e-6 * (t + 3315.6) ** 2)
        / (fraction + 1.0166 + 0.014624 * t)
    )
    return 1 / ((1 - fraction) / pure_water_density(temperature) + fraction / apparent)


def pure_water_viscosity(temperature):
    t = temperature - 273.15
    return 1e-3 * (t + 246) / ((0.05594 * t + 5.2842) * t + 137.37)


def salt_viscosity(fraction, temperature):
    t = temperature - 273.15
    solute = np.exp((16.222 * fraction**1.3229 + 1.4849) / (0.0074691 * t + 1)) / (
        30.78 * fraction**2.0583 + 1
    )
    water = 1e3 * pure_water_viscosity(temperature)
    return 1e-3 * water ** (1 - fraction) * solute**fraction


def diffusivity(fraction, temperature):
    """1.5e-9 m2/s at 25 C, scaled as T over the viscosity of pure water."""
    scale = temperature / T0 * pure_water_viscosity(T0) / pure_water_viscosity(temperature)
    return 1.5e-9 * scale + 0 * fraction


def sea_viscosity(fraction, temperature):
    t = temperature - 273.15
    water = 4.2844e-5 + 1 / (0.157 * (t + 64.993) ** 2 - 91.296)
    a = 1.541 + 1.998e-2 * t - 9.52e-5 * t**2
    b = 7.974 - 7.561e-2 * t + 4.724e-4 * t**2
    return water * (1 + a * fraction + b * fraction**2)


def sea_density(fraction, temperature):
    import gsw

    return gsw.rho_t_exact(1e3 * fraction, temperature - 273.15, 0.0)


def sea_osmotic_pressure(fraction, temperature):
    """Exact: the pressure at which sea water has the chemical potential of pure water at 1 atm."""
    import gsw

    t, salinity = temperature - 273.15, 1e3 * np.asarray(fraction, dtype=float)
    target = gsw.chem_potential_water_t_exact(0.0, t, 0.0)
    density = gsw.rho_t_exact(0.0, t, 0.0)
    pressure = np.zeros_like(salinity)
    for _ in range(8):
        off = target - gsw.chem_potential_water_t_exact(salinity, t, pressure / 1e4)
        pressure = pressure + 1e3 * off * density
    return pressure


def line(osmotic, density, viscosity, temperature, fraction_max, **degrees) -> SolutionLine:
    return fit_solution_line(
        lambda w: osmotic(w, temperature),
        lambda w: density(w, temperature),
        lambda w: viscosity(w, temperature),
        lambda w: diffusivity(w, temperature),
        fraction_max,
        **degrees,
    )


@cache
def salt_line(celsius: float, fraction_max: float = 0.1) -> SolutionLine:
    return line(salt_osmotic_pressure, salt_density, salt_viscosity, celsius + 273.15, fraction_max)


@cache
def sea_line(celsius: float, fraction_max: float = 0.12) -> SolutionLine:
    return line(sea_osmotic_pressure, sea_density, sea_viscosity, celsius + 273.15, fraction_max)
