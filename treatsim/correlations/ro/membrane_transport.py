"""Transport through a reverse-osmosis membrane at one place; closed forms for whole channels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.correlations.ro.solution_line import SolutionLine, osmotic_pressure
from treatsim.correlations.ro.vessel_kernel import ARRAYS, Problem, first_flux, local
from treatsim.errors import require
from treatsim.numerics import find_roots
from treatsim.ranges import Range

GAS_CONSTANT = 8.314462618  # J/(mol K)
REFERENCE_TEMPERATURE = 298.15  # K
WATER_ACTIVATION = 22e3  # J/mol; 20 to 25 kJ/mol is usual, from memory
SALT_ACTIVATION = 30e3  # J/mol; 25 to 35 kJ/mol is usual, from memory
TEMPERATURE_RANGE = Range(
    "temperature", 278.15, 318.15, "K", "temperature correction of membrane permeability"
)


class LocalFlux(NamedTuple):
    """Fluxes and mass fractions at one place."""

    flux: np.ndarray  # volume of permeate, m/s
    membrane_fraction: np.ndarray  # at the membrane, kg/kg
    permeate_fraction: np.ndarray  # kg/kg
    net_driving_pressure: np.ndarray  # J / A, Pa


def local_flux(
    pressure_difference,
    fraction,
    mass_transfer,
    water_permeability,
    salt_permeability,
    line: SolutionLine,
) -> LocalFlux:
    """Flux by solution-diffusion with a polarised film.

    Parameters
    ----------
    pressure_difference : array_like
        Feed side minus permeate side. [Pa]
    fraction : array_like
        Mass fraction of salt in the bulk. [kg/kg]
    mass_transfer : array_like
        Mass-transfer coefficient of the film. [m/s]
    water_permeability, salt_permeability : array_like
        A and B. [m/(s Pa)], [m/s]
    line : SolutionLine
        Water at its temperature. [-]

    Returns
    -------
    LocalFlux
        Broadcast shape. [m/s], [kg/kg], [Pa]

    Validity
    --------
    J = A (dP - pi_m + pi_p), salt flux B (c_m - c_p), film law in mass fractions. Holds below the
    feed's osmotic pressure too: the flux is small, positive, and nearly as salty as the feed.
    Pressure difference, A, B and the mass-transfer coefficient must be above 0: DomainError.

    Source
    ------
    solution-diffusion and film theory; from memory
    """
    values = np.broadcast_arrays(
        require("pressure difference", pressure_difference, 0.0, 1e9, "Pa", open_low=True),
        require("salt fraction", fraction, 0.0, 0.5, "kg/kg"),
        require("mass-transfer coefficient", mass_transfer, 0.0, 1.0, "m/s", open_low=True),
        require("water permeability", water_permeability, 0.0, 1e-6, "m/(s Pa)", open_low=True),
        require("salt permeability", salt_permeability, 0.0, 1.0, "m/s", open_low=True),
    )
    push, w, k, A, B = values
    problem = Problem(
        water_permeability=A,
        salt_permeability=B,
        feed_fraction=w,
        log_resistance=(-np.log(k), 0.0),
        log_resistance_slope=(0.0, 0.0),
        density=line.density,
        density_slope=tuple(i * v for i, v in enumerate(line.density))[1:],
        osmotic=line.osmotic,
        osmotic_slope=tuple((1 + i / 2) * v for i, v in enumerate(line.osmotic)),
        fraction_max=line.fraction_max,
        transfer_exponent=0.0,
        friction_exponent=0.0,
        permeate_pressure=0.0,
        area_per_feed=0.0,
        log_friction=(-700.0, 0.0),
    )
    flux, beta = first_flux(ARRAYS, problem, push)
    at = local(ARRAYS, problem, np.zeros_like(push), np.zeros_like(push), flux, beta)
    return LocalFlux(flux, at.membrane, at.permeate, flux / A)


def reflection_flux(
    pressure_difference,
    fraction,
    mass_transfer,
    water_permeability,
    salt_permeability,
    reflection,
    line: SolutionLine,
) -> LocalFlux:
    """Flux of a membrane that also leaks by convection (reflection coefficient below one).

    Parameters
    ----------
    pressure_difference, fraction, mass_transfer : array_like
        As `local_flux`. [Pa], [kg/kg], [m/s]
    water_permeability, salt_permeability : array_like
        Lp and the solute permeability. [m/(s Pa)], [m/s]
    reflection : array_like
        Reflection coefficient, above 0 to 1. [1]
    line : SolutionLine
        Water at its temperature. [-]

    Returns
    -------
    LocalFlux
        Broadcast shape; the driving pressure is dP - sigma (pi_m - pi_p). [m/s], [kg/kg], [Pa]

    Validity
    --------
    At a reflection coefficient of 1 it is `local_flux` with equal densities on both sides.

    Source
    ------
    spiegler_kedem_1966, from memory
    """
    raw = (
        require("pressure difference", pressure_difference, 0.0, 1e9, "Pa", open_low=True),
        require("salt fraction", fraction, 0.0, 0.5, "kg/kg"),
        require("mass-transfer coefficient", mass_transfer, 0.0, 1.0, "m/s", open_low=True),
        require("water permeability", water_permeability, 0.0, 1e-6, "m/(s Pa)", open_low=True),
        require("salt permeability", salt_permeability, 0.0, 1.0, "m/s", open_low=True),
        require("reflection coefficient", reflection, 0.0, 1.0, "", open_low=True),
    )
    shape = np.broadcast_shapes(*(v.shape for v in raw))
    push, w, k, A, B, sigma = (np.broadcast_to(v, shape).ravel() for v in raw)

    def state(flux, i):
        passage = 1 - intrinsic_rejection(flux, sigma[i], B[i])
        membrane = w[i] / ((1 - passage) * np.exp(-flux / k[i]) + passage)
        return membrane, membrane * passage

    def residual(flux, i):
        outer, inner = state(flux, i)
        pull = osmotic_pressure(line, outer) - osmotic_pressure(line, inner)
        return flux / (A[i] * push[i]) - 1 + sigma[i] * pull / push[i]

    start = local_flux(push, w, k, A, B, line).flux
    roots = find_roots(residual, start, 1e-12 * A * push, A * push, rtol=1e-13)
    outer, inner = state(roots.x, np.arange(push.size))
    results = (roots.x, outer, inner, roots.x / A)
    return LocalFlux(*(np.reshape(v, shape) for v in results))


def intrinsic_rejection(flux, reflection, salt_permeability):
    """Rejection between the membrane surface and the permeate, with reflection coefficient.

    Parameters
    ----------
    flux : array_like
        Volume flux. [m/s]
    reflection : array_like
        Reflection coefficient, above 0 to 1. [1]
    salt_permeability : array_like
        Solute permeability. [m/s]

    Returns
    -------
    ndarray
        sigma (1 - F) / (1 - sigma F), F = exp(-J (1 - sigma) / P); J / (J + P) in the limit of
        sigma = 1. Broadcast shape. [1]

    Validity
    --------
    Flux at least 0, solute permeability above 0, DomainError outside.

    Source
    ------
    spiegler_kedem_1966, from memory
    """
    flux = require("flux", flux, 0.0, 1.0, "m/s")
    sigma = require("reflection coefficient", reflection, 0.0, 1.0, "", open_low=True)
    ratio = flux / require("salt permeability", salt_permeability, 0.0, 1.0, "m/s", open_low=True)
    # (1 - F) / (1 - sigma) stays finite as sigma goes to one
    gap = 1 - sigma
    exponent = ratio * gap
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(exponent > 0, -np.expm1(-exponent) / exponent, 1.0) * ratio
    return sigma * share / (sigma * share + 1)


def observed_rejection(flux, mass_transfer, salt_permeability):
    """Rejection between the bulk and the permeate at one place.

    Parameters
    ----------
    flux : array_like
        Volume flux. [m/s]
    mass_transfer : array_like
        Mass-transfer coefficient. [m/s]
    salt_permeability : array_like
        B. [m/s]

    Returns
    -------
    ndarray
        1 / (1 + (B/J) exp(J/k)), broadcast shape. [1]

    Validity
    --------
    Flux and mass-transfer coefficient above 0, DomainError outside. Equal densities on both sides.

    Source
    ------
    solution-diffusion and film theory; from memory
    """
    flux = require("flux", flux, 0.0, 1.0, "m/s", open_low=True)
    k = require("mass-transfer coefficient", mass_transfer, 0.0, 1.0, "m/s", open_low=True)
    B = require("salt permeability", salt_permeability, 0.0, 1.0, "m/s")
    relieved = flux * np.exp(-flux / k)
    return relieved / (relieved + B)


def film_flux(mass_transfer, wall_concentration, bulk_concentration):
    """Flux at which a fully rejected solute reaches a concentration at the wall.

    Parameters
    ----------
    mass_transfer : array_like
        Mass-transfer coefficient. [m/s]
    wall_concentration, bulk_concentration : array_like
        In one unit. [any]

    Returns
    -------
    ndarray
        k ln(wall / bulk), broadcast shape. [m/s]

    Validity
    --------
    Concentrations above 0, DomainError outside.

    Source
    ------
    film theory; berk_food_process
    """
    k = require("mass-transfer coefficient", mass_transfer, 0.0, 1.0, "m/s", open_low=True)
    wall = require("wall concentration", wall_concentration, 0.0, np.inf, "", open_low=True)
    bulk = require("bulk concentration", bulk_concentration, 0.0, np.inf, "", open_low=True)
    return k * np.log(wall / bulk)


def arrhenius_factor(temperature, activation_energy=WATER_ACTIVATION):
    """Permeability at a temperature over that at 25 C; multiply by it.

    Parameters
    ----------
    temperature : array_like
        Of the water. [K]
    activation_energy : array_like
        22 kJ/mol for water, 30 kJ/mol for salt unless the membrane says otherwise. [J/mol]

    Returns
    -------
    ndarray
        exp[E/R (1/298.15 - 1/T)], broadcast shape. [1]

    Validity
    --------
    5 to 45 C (TEMPERATURE_RANGE), computed outside; not above 0 K raises DomainError.

    Source
    ------
    us_army_tm_10_4610_309_14, WP 0083, Table 3 agrees within 0.04; activation energies from memory
    """
    temperature = require("temperature", temperature, 0.0, 1e4, "K", open_low=True)
    energy = require("activation energy", activation_energy, 0.0, 1e6, "J/mol")
    return np.exp(energy / GAS_CONSTANT * (1 / REFERENCE_TEMPERATURE - 1 / temperature))


def concentration_factor(recovery, rejection):
    """Concentrate over feed concentration, for a rejection referred to the feed.

    Parameters
    ----------
    recovery : array_like
        Permeate over feed. [1]
    rejection : array_like
        1 - permeate / feed concentration of the whole. [1]

    Returns
    -------
    ndarray
        [1 - r (1 - R)] / (1 - r), broadcast shape. [1]

    Validity
    --------
    Recovery 0 to below 1, rejection 0 to 1, DomainError outside. Exact balance at one density.

    Source
    ------
    definition
    """
    r = require("recovery", recovery, 0.0, 1 - 1e-12, "")
    R = require("rejection", rejection, 0.0, 1.0, "")
    return (1 - r * (1 - R)) / (1 - r)


def concentration_factor_local(recovery, rejection):
    """Concentrate over feed concentration, for a rejection that holds at every place.

    Parameters
    ----------
    recovery : array_like
        Permeate over feed. [1]
    rejection : array_like
        1 - permeate / bulk concentration at each place. [1]

    Returns
    -------
    ndarray
        (1 - r) ^ -R, broadcast shape. [1]

    Validity
    --------
    Recovery 0 to below 1, rejection 0 to 1, DomainError outside.

    Source
    ------
    definition
    """
    r = require("recovery", recovery, 0.0, 1 - 1e-12, "")
    return (1 - r) ** -require("rejection", rejection, 0.0, 1.0, "")


def ideal_recovery(driving_number, osmotic_ratio):
    """Recovery of a channel without polarisation, friction and leakage.

    Parameters
    ----------
    driving_number : array_like
        A P S / Q: flux at full pressure over feed. [1]
    osmotic_ratio : array_like
        Feed osmotic pressure over feed pressure, 0 to below 1. [1]

    Returns
    -------
    ndarray
        r that solves A P S / Q = r + s ln[(1 - s) / (1 - s - r)], broadcast shape. [1]

    Validity
    --------
    Osmotic pressure in proportion to 1 / (1 - r). Negative numbers raise DomainError.

    Source
    ------
    banchik_2014; derivation
    """
    a = require("driving number", driving_number, 0.0, 1e6, "")
    s = require("osmotic ratio", osmotic_ratio, 0.0, 1 - 1e-12, "")
    shape = np.broadcast_shapes(a.shape, s.shape)
    a, s = (np.broadcast_to(v, shape).ravel() for v in (a, s))

    # unknown x with r = (1 - s)(1 - exp(-x)): no singular end
    def residual(x, i):
        return -(1 - s[i]) * np.expm1(-x) + s[i] * x - a[i]

    top = np.minimum(a / np.maximum(s, 1e-12), 700.0)
    roots = find_roots(residual, np.minimum(a, top), 0.0 * a, top + 1e-12, rtol=1e-14)
    return np.reshape(-(1 - s) * np.expm1(-roots.x), shape)
