"""What a water table is built from: osmotic pressure, density and viscosity by the best source.

Every sampler takes x = sqrt(kg of salt per kg of water), shape (n, 1), and temperatures, shape
(1, m), and returns three arrays of shape (n, m): pi / (x**2 T), density, viscosity.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from treatsim.constants import GAS_CONSTANT
from treatsim.errors import RequestError
from treatsim.water import osmosis, properties, salt_solutions
from treatsim.water.ions import SODIUM_CHLORIDE_MOLAR_MASS
from treatsim.water.phreeqc import Recipe, run
from treatsim.water.pitzer import sodium_chloride_osmotic_coefficient
from treatsim.water.series import nodes
from treatsim.water.speciation import Feed, equilibrium

Sampler = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray, np.ndarray]]

SODIUM_CHLORIDE_LARGEST = 0.20  # kg/kg
SEAWATER_LARGEST = 0.13  # kg/kg
IONS_LARGEST = 0.13  # kg/kg, or LARGEST_FACTOR times the feed if that is less
LARGEST_FACTOR = 16.0
SMALLEST_FACTOR = 0.05  # PHREEQC is not asked below: there the series runs into the ideal limit


class Plan(NamedTuple):
    """Where to sample."""

    sampler: Sampler
    x: np.ndarray  # nodes
    largest_ratio: float  # kg of salt per kg of water
    measured_from: float  # x above which the error of the series can be measured


def _ratio(salinity: float) -> float:
    return salinity / (1 - salinity)


def sodium_chloride_plan(count: int) -> Plan:
    """Return where and how a sodium chloride solution is sampled.

    Parameters
    ----------
    count : int
        Number of nodes in x. [-]

    Returns
    -------
    Plan
        Up to 0.20 kg/kg. [-]

    Validity
    --------
    As `pitzer.sodium_chloride_osmotic_coefficient`.

    Source
    ------
    parkhurst_appelo_2013
    """
    largest = _ratio(SODIUM_CHLORIDE_LARGEST)
    return Plan(_sodium_chloride, nodes(0.0, np.sqrt(largest), count), largest, 0.0)


def seawater_plan(count: int) -> Plan:
    """Return where and how sea salt is sampled.

    Parameters
    ----------
    count : int
        Number of nodes in x. [-]

    Returns
    -------
    Plan
        Up to 0.13 kg/kg. [-]

    Validity
    --------
    As `osmosis.seawater_osmotic_pressure`.

    Source
    ------
    iapws_2008
    """
    largest = _ratio(SEAWATER_LARGEST)
    return Plan(_seawater, nodes(0.0, np.sqrt(largest), count), largest, 0.0)


def ions_plan(water: Feed, count: int) -> Plan:
    """Return where and how an ion mixture is sampled.

    Parameters
    ----------
    water : Feed
        From the Pitzer database. [per kg water]
    count : int
        Number of nodes in x. [-]

    Returns
    -------
    Plan
        One node at infinite dilution, the others from 0.05 to 16 times the feed. [-]

    Validity
    --------
    A feed below 0.13 kg/kg; RequestError above.

    Source
    ------
    parkhurst_appelo_2013
    """
    largest = min(LARGEST_FACTOR * water.salt_ratio, _ratio(IONS_LARGEST))
    if water.salt_ratio >= largest:
        raise RequestError(
            f"water.ions: {water.salinity * 1e3:.0f} g/kg of salt, the table ends at "
            f"{IONS_LARGEST * 1e3:.0f} g/kg"
        )
    lowest = np.sqrt(SMALLEST_FACTOR * water.salt_ratio)
    x = np.append(nodes(lowest, np.sqrt(largest), count - 1), 0.0)
    return Plan(lambda x, T: _ions(water, x, T), x, largest, float(lowest))


def _sodium_chloride(x, T):
    ratio = x**2
    salinity = ratio / (1 + ratio)
    molality = ratio / SODIUM_CHLORIDE_MOLAR_MASS
    phi = sodium_chloride_osmotic_coefficient(molality, T)
    # first order, as element tests are read: below the exact value by 0.1 % at 35 g/kg
    per_ratio = 2 / SODIUM_CHLORIDE_MOLAR_MASS * GAS_CONSTANT * properties.density(T)
    return (
        phi * per_ratio,
        salt_solutions.sodium_chloride_density(salinity, T),
        salt_solutions.sodium_chloride_viscosity(salinity, T),
    )


def _seawater(x, T):
    ratio = x**2
    salinity = ratio / (1 + ratio)
    return (
        osmosis.seawater_osmotic_pressure(salinity, T) / (ratio * T),
        salt_solutions.seawater_density(salinity, T),
        salt_solutions.seawater_viscosity(salinity, T),
    )


def _ions(water: Feed, x, T):
    pairs = [(float(a), float(b)) for a in x.ravel() for b in T.ravel()]
    found = np.array([_ions_at(water, a, b) for a, b in pairs])
    g, density = found.T.reshape(2, x.size, T.size)
    ratio = x**2
    return g, density, salt_solutions.seawater_viscosity(ratio / (1 + ratio), T)


def _ions_at(water: Feed, x: float, T: float) -> tuple[float, float]:
    pure = float(properties.density(T))
    if x == 0:
        limit = water.ideal_molality / water.salt_ratio * GAS_CONSTANT * pure
        return limit, pure
    factor = x**2 / water.salt_ratio
    pressure = osmosis.mixture_osmotic_pressure(water, factor, T)
    # PHREEQC's own pure water differs by 1e-5; its ratio joins ours smoothly
    (own_pure,) = run(Recipe({}, T, 7.0), ("RHO",), water.database)
    density = equilibrium(water, factor, T).density * pure / (own_pure * 1e3)
    return pressure / (x**2 * T), density
