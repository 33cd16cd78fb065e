"""Transport at one place of a membrane, and channels with a closed form."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.correlations.ro.solution_line import SolutionLine
from treatsim.correlations.ro.vessel_inlet import first_flux
from treatsim.correlations.ro.vessel_kernel import ARRAYS, Problem, local
from treatsim.errors import require
from treatsim.numerics import find_roots


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
