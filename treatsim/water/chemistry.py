"""Acidity of concentrate and product: pH, remineralisation, blending.

Carbon dioxide passes a membrane, alkalinity mostly does not: the product is soft, slightly acid and
hardly buffered.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.errors import RequestError, require
from treatsim.water.ions import (
    CALCIUM_CARBONATE_EQUIVALENT,
    IONS,
)
from treatsim.water.phreeqc import ION_ASSOCIATION, Recipe, run

CARBON_DIOXIDE_MOLAR_MASS = 44.0095e-3  # kg/mol


class Product(NamedTuple):
    """Carbonate system of a dilute product water."""

    ph: float
    alkalinity: float  # eq/m3
    carbon_dioxide: float  # dissolved, kg/m3
    calcium: float  # kg/m3

    @property
    def alkalinity_as_calcium_carbonate(self) -> float:
        """Alkalinity stated as CaCO3. [kg/m3]"""
        return self.alkalinity * CALCIUM_CARBONATE_EQUIVALENT


PRODUCT_OUTPUTS = ('-LA("H+")', "ALK", 'MOL("CO2")', 'TOT("Ca")', "RHO")


def remineralised(product: Product, temperature: float, *, carbon_dioxide: float = 0.0) -> Product:
    """Return a product after contact with calcite to equilibrium.

    Parameters
    ----------
    product : Product
        Before contact. [-]
    temperature : float
        Temperature. [K]
    carbon_dioxide : float
        Added before contact. [kg/m3]

    Returns
    -------
    Product
        After contact.

    Validity
    --------
    Closed to air, contact long enough to reach equilibrium: real limestone beds reach part of it.
    Without added carbon dioxide reverse osmosis water takes up hardly any calcium.

    Source
    ------
    parkhurst_appelo_2013
    """
    dose = float(require("carbon_dioxide", carbon_dioxide, 0, 2, "kg/m3"))
    litres = 1e-3  # m3 per kg of dilute water
    gas = (product.carbon_dioxide + dose) / CARBON_DIOXIDE_MOLAR_MASS * litres
    alkali = product.alkalinity * litres
    calcium = product.calcium / IONS["Ca"].molar_mass * litres
    spare = alkali - 2 * calcium  # a calcium beyond the alkalinity has chloride beside it
    molality = {"Na": max(spare, 0.0), "Cl": max(-spare, 0.0), "Ca": calcium, "C(4)": alkali + gas}
    return _product(Recipe(molality, temperature, 7.0, True, phases=("Calcite",)))


def _product(recipe: Recipe) -> Product:
    ph, alkali, gas, calcium, density = run(recipe, PRODUCT_OUTPUTS, ION_ASSOCIATION)
    per_volume = density * 1e3  # kg of dilute water per m3
    return Product(
        ph,
        alkali * per_volume,
        gas * per_volume * CARBON_DIOXIDE_MOLAR_MASS,
        calcium * per_volume * IONS["Ca"].molar_mass,
    )


def blend_fraction(raw, permeate_value, target):
    """Return the share of raw water that brings a blend to a target concentration.

    Parameters
    ----------
    raw, permeate_value, target : array_like
        Concentrations, all in one unit. [any]

    Returns
    -------
    ndarray, broadcast shape
        Share of raw water by volume. [1]

    Validity
    --------
    A target between the two; RequestError otherwise.

    Source
    ------
    ufc_3_230_12a
    """
    low, high = np.minimum(raw, permeate_value), np.maximum(raw, permeate_value)
    if np.any((target < low) | (target > high)) or np.any(low == high):
        raise RequestError("blending: the target does not lie between raw water and permeate")
    return (np.asarray(target, dtype=float) - permeate_value) / (np.subtract(raw, permeate_value))
