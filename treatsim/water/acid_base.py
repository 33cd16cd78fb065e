"""Carbonate and borate in any water: pH from what is conserved, and back.

Alkalinity, total inorganic carbon and boron mix by volume and are shared out by membranes; the pH
follows from them. Constants are apparent ones of the water at hand (activity of H+, totals of each
form with its ion pairs): of a water near its source they come from PHREEQC (`concentrate_line`), of
a thin one, such as a permeate, from the formulas here.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import require
from treatsim.ranges import Range
from treatsim.water.boron import log_boric_acid_constant

DAVIES_RANGE = Range("ionic_strength", 0.0, 0.1, "mol/kg", "activity by Davies")  # memory; 3 %
LOG_10 = float(np.log(10))
PH_LOW, PH_HIGH = 0.0, 14.0  # searched
ROUNDS, SETTLED = 80, 1e-6  # of the pH; Newton's next step would be 1e-12
LOG_10 = np.log(10)


class Constants(NamedTuple):
    """Apparent constants of one water, mol/kg of water; activity of H+, totals of the rest."""

    first: Any  # H+ times HCO3 over CO2
    second: Any  # H+ times CO3 over HCO3
    boric: Any  # H+ times borate over boric acid
    water: Any  # H+ times OH
    proton: Any  # activity of H+ over all free H+


class Forms(NamedTuple):
    """Forms of carbon and boron at a pH, in the unit of what was given (mol)."""

    carbon_dioxide: Any
    hydrogen_carbonate: Any
    carbonate: Any
    borate: Any
    hydroxide: Any  # less free H+

    @property
    def carbon(self):
        """All inorganic carbon."""
        return self.carbon_dioxide + self.hydrogen_carbonate + self.carbonate

    @property
    def alkalinity(self):
        """Charge that acid can take up."""
        carbonates = self.hydrogen_carbonate + 2 * self.carbonate
        return carbonates + self.borate + self.hydroxide


def log_activity(charge: int, ionic_strength, temperature):
    """Return log10 of the activity coefficient of an ion in thin water.

    Parameters
    ----------
    charge : int
        Of the ion. [1]
    ionic_strength : array_like
        Ionic strength. [mol/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        log10 of the coefficient. [1]

    Validity
    --------
    `DAVIES_RANGE`; 0 to 100 degC.

    Source
    ------
    davies_1962, malmberg_maryott_1956 (both from memory)
    """
    root = np.sqrt(require("ionic_strength", ionic_strength, 0, 30, "mol/kg"))
    T = np.asarray(temperature, dtype=float)
    t = T - ZERO_CELSIUS
    dielectric = 87.740 - 0.40008 * t + 9.398e-4 * t**2 - 1.410e-6 * t**3
    slope = 1.8246e6 / (dielectric * T) ** 1.5
    return -slope * charge**2 * (root / (1 + root) - 0.3 * root**2)


def log_carbonate_constants(temperature):
    """Return log10 of the two dissociation constants of carbonic acid and of calcite's product.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    tuple of ndarray
        log10 of K1, K2 and the solubility product, at zero ionic strength. [1]

    Validity
    --------
    0 to 90 degC; 0.01 in K1, 0.02 in the others.

    Source
    ------
    plummer_busenberg_1982, coefficients from memory
    """
    T = np.asarray(temperature, dtype=float)
    log = np.log10(T)
    first = -356.3094 - 0.06091964 * T + 21834.37 / T + 126.8339 * log - 1684915 / T**2
    second = -107.8871 - 0.03252849 * T + 5151.79 / T + 38.92561 * log - 563713.9 / T**2
    calcite = -171.9065 - 0.077993 * T + 2839.319 / T + 71.595 * log
    return first, second, calcite


def log_water_constant(temperature):
    """Return log10 of the ion product of water.

    Parameters
    ----------
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, shape of temperature
        log10, mol/kg squared. [1]

    Validity
    --------
    0 to 60 degC, 0.01.

    Source
    ------
    harned_owen_1958, from memory
    """
    T = np.asarray(temperature, dtype=float)
    return -4470.99 / T + 6.0875 - 0.01706 * T


def thin_constants(ionic_strength, temperature) -> Constants:
    """Return the apparent constants of a thin water.

    Parameters
    ----------
    ionic_strength : array_like
        Ionic strength. [mol/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    Constants
        Broadcast shape.

    Validity
    --------
    `DAVIES_RANGE`, without ion pairs: the pH of a permeate within 0.02 of PHREEQC.

    Source
    ------
    plummer_busenberg_1982, dickson_1990 at no salt, harned_owen_1958, davies_1962
    """
    first, second, _ = log_carbonate_constants(temperature)
    one = log_activity(1, ionic_strength, temperature)
    two = log_activity(2, ionic_strength, temperature)
    boric = log_boric_acid_constant(0.0, temperature) / np.log(10)
    return Constants(
        10 ** (first - one),
        10 ** (second + one - two),
        10 ** (boric - one),
        10 ** (log_water_constant(temperature) - one),
        10**one,
    )


def forms(ph, constants: Constants, *, carbon=None, gas=None, boron=0.0) -> Forms:
    """Return the forms of carbon and boron at a pH.

    Parameters
    ----------
    ph : array_like
        pH. [1]
    constants : Constants
        Of the water. [mol/kg]
    carbon : array_like, optional
        Total inorganic carbon. [mol/kg]
    gas : array_like, optional
        Dissolved carbon dioxide, in its place: that of an open vessel side, held. [mol/kg]
    boron : array_like
        All boron. [mol/kg]

    Returns
    -------
    Forms
        Broadcast shape. [mol/kg]

    Validity
    --------
    Carbon and boron only; silicate, phosphate and ammonia count as nothing.

    Source
    ------
    definition
    """
    return _forms(_proton(ph), constants, carbon, gas, boron)


def _proton(ph):
    """Activity of H+, by an exponential of base e: many times faster than a power."""
    return np.exp(np.asarray(ph, dtype=float) * -LOG_10)


def _forms(h, constants: Constants, carbon, gas, boron) -> Forms:
    one = constants.first / h
    two = one * constants.second / h
    free = carbon / (1 + one + two) if gas is None else np.asarray(gas, float)
    borate = boron * constants.boric / (constants.boric + h)
    return Forms(free, free * one, free * two, borate, constants.water / h - h / constants.proton)


def ph_of(alkalinity, constants: Constants, *, carbon=None, gas=None, boron=0.0, guess=7.5):
    """Return the pH of a water by its alkalinity.

    Parameters
    ----------
    alkalinity : array_like
        Below 0 where free acid is left. [eq/kg]
    constants : Constants
        Of the water. [mol/kg]
    carbon, gas, boron : array_like
        As of `forms`. [mol/kg]
    guess : array_like
        First pH tried. [1]

    Returns
    -------
    ndarray, broadcast shape
        pH; `PH_LOW` or `PH_HIGH` where it lies beyond. [1]

    Validity
    --------
    As `forms`.

    Source
    ------
    definition: alkalinity rises with the pH throughout, so there is one root
    """
    wanted = np.asarray(alkalinity, dtype=float)
    extra = [x for x in (carbon, gas, boron, *constants) if x is not None]
    shape = np.broadcast_shapes(wanted.shape, *(np.shape(x) for x in extra))
    low, high = np.full(shape, PH_LOW), np.full(shape, PH_HIGH)
    ph = np.broadcast_to(np.asarray(guess, dtype=float), shape)
    for _ in range(ROUNDS):
        h = _proton(ph)
        found = _forms(h, constants, carbon, gas, boron)
        excess = found.alkalinity - wanted
        high, low = np.where(excess > 0, ph, high), np.where(excess > 0, low, ph)
        step = -excess / np.maximum(_slope(found, h, constants, gas is not None), 1e-300)
        ahead = ph + step
        ahead = np.where((ahead >= low) & (ahead <= high), ahead, 0.5 * (low + high))
        moved, ph = np.max(np.abs(ahead - ph), initial=0.0), ahead
        if moved <= SETTLED:
            break
    return ph


def _slope(found: Forms, h, constants: Constants, held: bool):
    """Rise of the alkalinity with the pH; `held` where carbon dioxide stays what it is."""
    one, two = found.hydrogen_carbonate, found.carbonate
    carbons = one + 4 * two
    if not held:
        total = found.carbon
        carbons = carbons - (one + 2 * two) ** 2 / np.where(total > 0, total, 1.0)
    borate = found.borate * h / (constants.boric + h)
    return LOG_10 * (carbons + borate + constants.water / h + h / constants.proton)


def calcite_index(calcium, forms_found: Forms, ionic_strength, temperature):
    """Return the saturation index of calcite in a thin water.

    Parameters
    ----------
    calcium : array_like
        Calcium. [mol/kg]
    forms_found : Forms
        Of the carbon. [mol/kg]
    ionic_strength : array_like
        Ionic strength. [mol/kg]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        log10 of ion activity product over solubility product. [1]

    Validity
    --------
    `DAVIES_RANGE`, without ion pairs: 0.05 above PHREEQC at most, which errs to the safe side.

    Source
    ------
    plummer_busenberg_1982, davies_1962
    """
    two = log_activity(2, ionic_strength, temperature)
    product = np.maximum(np.asarray(calcium, float) * forms_found.carbonate, 1e-300)
    return np.log10(product) + 2 * two - log_carbonate_constants(temperature)[2]
