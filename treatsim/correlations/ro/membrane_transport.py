"""Permeability of a membrane against temperature."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import CELSIUS_25, GAS_CONSTANT
from treatsim.errors import require
from treatsim.ranges import Range

WATER_ACTIVATION = 22e3  # J/mol; 20 to 25 kJ/mol is usual, from memory
TEMPERATURE_RANGE = Range(
    "temperature", 278.15, 318.15, "K", "temperature correction of membrane permeability"
)


def arrhenius_factor(
    temperature: ArrayLike, activation_energy: ArrayLike = WATER_ACTIVATION
) -> Array:
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
    return np.exp(energy / GAS_CONSTANT * (1 / CELSIUS_25 - 1 / temperature))
