"""Free chlorine: acid form, hypochlorite stock, dose and demand.

Strengths are mass of available chlorine per volume of solution [kg/m3]; a trade "1 %" is 10 kg/m3.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.errors import DomainError, NoSolutionError, require
from treatsim.ranges import Range

PERCENT = 10.0  # kg/m3 of available chlorine in a solution of 1 % by the trade's count
MORRIS_RANGE = Range("temperature", 278.15, 308.15, "K", "acid constant of HOCl")


class StockStrength(NamedTuple):
    """The two ways to read one stock recipe [kg/m3]."""

    made_up_to: Any  # water filled up to the named volume
    added_to: Any  # the named volume of water, and the product on top


def hypochlorous_acid_share(ph, temperature):
    """Share of free chlorine that is hypochlorous acid, the stronger form.

    Parameters
    ----------
    ph : array_like
        Acidity. [1]
    temperature : array_like
        Water temperature. [K]

    Returns
    -------
    ndarray
        HOCl / (HOCl + OCl-), broadcast shape. [1]

    Validity
    --------
    5 to 35 degC (MORRIS_RANGE); computed beyond. pH outside 0 to 14 or water outside 273.15 to
    373.15 K raises DomainError. Dilute water: no activity correction.

    Source
    ------
    morris_1966, constants from memory, checked against a computed table.
    """
    ph = require("pH", ph, 0.0, 14.0, "")
    T = require("temperature", temperature, 273.15, 373.15, "K")
    pKa = 3000.0 / T - 10.0686 + 0.0253 * T
    return 1.0 / (1.0 + 10.0 ** (ph - pKa))


def strength_after(strength, age, half_life):
    """Strength of a hypochlorite product after storage.

    Parameters
    ----------
    strength : array_like
        Strength when fresh, per volume or per mass. [kg/m3 or 1]
    age : array_like
        Time in store. [s]
    half_life : array_like
        Time in which half is lost under the storage conditions. [s]

    Returns
    -------
    ndarray
        Strength today, in the unit of `strength`, broadcast shape.

    Validity
    --------
    A single half-life stands for the whole storage; heat and light shorten it. A measured strength
    is always better. Negative values raise DomainError.

    Source
    ------
    common practice: exponential loss; half-lives are input.
    """
    strength = require("strength", strength, 0.0, np.inf, "")
    age = require("age", age, 0.0, np.inf, "s")
    half_life = require("half-life", half_life, 0.0, np.inf, "s", open_low=True)
    return strength * 2.0 ** (-age / half_life)


def chlorine_mass(amount, strength):
    """Available chlorine in an amount of product.

    Parameters
    ----------
    amount : array_like
        Mass of powder, or volume of liquid. [kg or m3]
    strength : array_like
        Mass fraction of a powder, or strength of a liquid. [1 or kg/m3]

    Returns
    -------
    ndarray
        Mass of available chlorine, broadcast shape. [kg]

    Validity
    --------
    Any. Negative values raise DomainError. A label in % by mass of a liquid must first be turned
    into kg/m3 with the density of the liquid (12 % by mass is about 145 kg/m3).

    Source
    ------
    definition
    """
    return require("amount", amount, 0.0, np.inf, "") * require(
        "strength", strength, 0.0, np.inf, ""
    )


def stock_strength(available, water_volume, liquid_volume=0.0) -> StockStrength:
    """Both readings of a recipe: filled up to a volume, or added to that volume of water.

    Parameters
    ----------
    available : array_like
        Mass of available chlorine used. [kg]
    water_volume : array_like
        Volume the recipe names. [m3]
    liquid_volume : array_like
        Volume of the product; about 0 for a powder. [m3]

    Returns
    -------
    StockStrength
        Strengths `made_up_to` and `added_to`, broadcast shape. [kg/m3]

    Validity
    --------
    Volumes are taken as additive. A liquid that is not smaller than the volume to be filled
    raises DomainError.

    Source
    ------
    definition; the two readings of one printed recipe: cdc_cholera_guidance
    """
    mass = require("available chlorine", available, 0.0, np.inf, "kg")
    volume = require("water volume", water_volume, 0.0, np.inf, "m3", open_low=True)
    liquid = require("liquid volume", liquid_volume, 0.0, np.inf, "m3")
    if np.any(liquid >= volume):
        raise DomainError("the liquid alone fills the volume the recipe names")
    return StockStrength(mass / volume, mass / (volume + liquid))


def dilution_parts(strength, target):
    """Parts of water to one part of stock.

    Parameters
    ----------
    strength : array_like
        Strength of the stock. [kg/m3]
    target : array_like
        Strength wanted. [kg/m3]

    Returns
    -------
    ndarray
        Volume of water per volume of stock, broadcast shape. [1]

    Validity
    --------
    Additive volumes. A target above the stock raises DomainError.

    Source
    ------
    definition
    """
    strength = require("strength", strength, 0.0, np.inf, "kg/m3", open_low=True)
    target = require("target", target, 0.0, np.inf, "kg/m3", open_low=True)
    if np.any(target > strength):
        raise DomainError("a stock cannot be diluted to more than its own strength")
    return strength / target - 1.0


def product_for(volume, dose, strength):
    """Amount of product that brings a dose into a volume of water.

    Parameters
    ----------
    volume : array_like
        Water to be dosed (or stock to be made). [m3]
    dose : array_like
        Available chlorine per volume of that water. [kg/m3]
    strength : array_like
        Strength of a liquid, or mass fraction of a powder. [kg/m3 or 1]

    Returns
    -------
    ndarray
        Volume of liquid or mass of powder, broadcast shape. [m3 or kg]

    Validity
    --------
    Dose far below the strength, so that the product's own volume does not count.
    Negative values and a strength of zero raise DomainError.

    Source
    ------
    definition
    """
    volume = require("volume", volume, 0.0, np.inf, "m3")
    dose = require("dose", dose, 0.0, np.inf, "kg/m3")
    return volume * dose / require("strength", strength, 0.0, np.inf, "", open_low=True)


def chlorine_demand(dose, residual):
    """Chlorine used up between dosing and reading.

    Parameters
    ----------
    dose : array_like
        Chlorine dosed. [kg/m3]
    residual : array_like
        Free chlorine read after the contact, usually 30 minutes. [kg/m3]

    Returns
    -------
    ndarray
        Demand in that time, broadcast shape. [kg/m3]

    Validity
    --------
    A residual above the dose raises DomainError: one of the two is wrong, or the raw water already
    held chlorine.

    Source
    ------
    definition
    """
    dose = require("dose", dose, 0.0, np.inf, "kg/m3")
    residual = require("residual", residual, 0.0, np.inf, "kg/m3")
    if np.any(residual > dose):
        raise DomainError("residual above dose: check stock strength, meter, and the raw water")
    return dose - residual


def jar_dose(doses, residuals, wanted):
    """Smallest dose beyond which every jar of a series keeps the residual wanted.

    Parameters
    ----------
    doses : array_like
        Doses of the jars, rising, at least two. [kg/m3]
    residuals : array_like
        Free chlorine in each jar after the contact. [kg/m3]
    wanted : float
        Residual wanted, usually 0.5 mg/L after 30 minutes. [kg/m3]

    Returns
    -------
    float
        Dose, by straight line between the two jars around it. [kg/m3]

    Validity
    --------
    Between the jars only: if the strongest jar falls short NoSolutionError, if the weakest already
    holds it the weakest jar's dose is given. A residual that falls again with dose (combined
    chlorine breaking down) is respected: the last rise counts.

    Source
    ------
    common practice
    """
    doses = require("doses", doses, 0.0, np.inf, "kg/m3")
    residuals = require("residuals", residuals, 0.0, np.inf, "kg/m3")
    if doses.ndim != 1 or doses.size < 2 or doses.shape != residuals.shape:
        raise DomainError("a jar series needs one residual per dose, and at least two jars")
    if np.any(np.diff(doses) <= 0):
        raise DomainError("the doses of a jar series must rise")
    short = np.flatnonzero(residuals < wanted)
    if short.size == 0:
        return float(doses[0])
    last = int(short[-1])
    if last == doses.size - 1:
        raise NoSolutionError("the strongest jar falls short of the residual wanted: dose higher")
    share = (wanted - residuals[last]) / (residuals[last + 1] - residuals[last])
    return float(doses[last] + share * (doses[last + 1] - doses[last]))
