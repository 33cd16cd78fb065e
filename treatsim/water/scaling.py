"""How close a concentrate is to forming scale, and the simple indices shown beside it.

Saturation is judged at the membrane: the bulk concentration factor times the polarisation.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from treatsim.constants import ZERO_CELSIUS
from treatsim.errors import require
from treatsim.ranges import Range
from treatsim.water.analysis import WaterAnalysis
from treatsim.water.phreeqc import ION_ASSOCIATION, PITZER
from treatsim.water.speciation import Feed, State, equilibrium, feed

STIFF_DAVIS_JUMP = 1.2  # mol/L, ionic strength at which the fit of Stiff and Davis jumps
LANGELIER_RANGE = Range("dissolved_solids", 0.010, 10.0, "kg/m3", "Langelier saturation index")


@dataclass(frozen=True)
class Scale:
    """A mineral that may form, and how much supersaturation is commonly tolerated."""

    phase: str  # PHREEQC phase
    needs: tuple[str, ...]  # species without which it cannot form
    database: str  # whole: solubility and activities of one and the same database
    without: float  # ion activity product over solubility product
    with_antiscalant: float


# limits are typical of published guidance, from memory: the antiscalant's own data sheet decides
SCALES: dict[str, Scale] = {
    "calcite": Scale("Calcite", ("Ca",), PITZER, 1.0, 10**1.8),
    "gypsum": Scale("Gypsum", ("Ca", "S(6)"), PITZER, 0.8, 2.3),
    "barite": Scale("Barite", ("Ba", "S(6)"), PITZER, 0.8, 60.0),
    "celestite": Scale("Celestite", ("Sr", "S(6)"), PITZER, 0.8, 8.0),
    # pitzer.dat has no fluoride
    "fluorite": Scale("Fluorite", ("Ca", "F"), ION_ASSOCIATION, 0.8, 60.0),
    "silica": Scale("SiO2(a)", ("Si",), PITZER, 1.0, 1.0),
}


class Saturation(NamedTuple):
    """Scaling state of one water."""

    ph: float
    indices: dict[str, float]  # scale -> log10(ion activity product / solubility product)
    ionic_strength: float  # mol/kg

    def ratio(self, scale: str) -> float:
        """Ion activity product over solubility product. [1]"""
        return 10 ** self.indices[scale]


def saturation(
    analysis: WaterAnalysis,
    concentration_factor: float,
    temperature: float,
    *,
    polarisation: float = 1.0,
    ph: float | None = None,
    database: str | None = None,
) -> Saturation:
    """Return the saturation of the scale-forming minerals in a concentrated feed.

    Parameters
    ----------
    analysis : WaterAnalysis
        Ion analysis, or sea water with a pH. [-]
    concentration_factor : float
        Of the bulk, per kg of water. [1]
    temperature : float
        Temperature. [K]
    polarisation : float
        Membrane over bulk concentration. [1]
    ph : float, optional
        Imposed pH; by default dissolved carbon dioxide stays that of the feed. [1]
    database : str, optional
        Use this database for every mineral it knows, as a second opinion. [-]

    Returns
    -------
    Saturation
        Only scales whose ions are in the analysis are listed. [log10]

    Validity
    --------
    0 to 45 degC. Two databases differ by 0.1 in the index (0.3 for barite): see `database`.

    Source
    ------
    parkhurst_appelo_2013
    """
    factor = float(
        require("concentration_factor", concentration_factor, 0, 100, "", open_low=True)
        * require("polarisation", polarisation, 1, 10, "")
    )
    used = {database} if database else {scale.database for scale in SCALES.values()}
    waters = {name: feed(analysis, name) for name in used}
    states = {
        name: minerals(water, factor, temperature, ph, every=bool(database))
        for name, water in waters.items()
    }
    indices: dict[str, float] = {}
    for _, found in states.values():
        indices |= found
    ordered = {name: indices[name] for name in SCALES if name in indices}
    lead = states.get(PITZER) or next(iter(states.values()))
    return Saturation(lead[0].ph, ordered, lead[0].ionic_strength)


def minerals(
    water: Feed,
    factor: float,
    temperature: float,
    ph: float | None = None,
    *,
    every: bool = False,
) -> tuple[State, dict[str, float]]:
    """Return the state of a concentrate and the saturation index of each mineral that may form.

    Parameters
    ----------
    water : Feed
        The feed in one database. [per kg water]
    factor : float
        Concentration factor at the place, polarisation included. [1]
    temperature : float
        Temperature. [K]
    ph : float, optional
        Imposed pH. [1]
    every : bool
        All minerals the database knows, not only those that `SCALES` takes from it. [-]

    Returns
    -------
    tuple of State and dict
        Scale -> log10(ion activity product / solubility product).

    Validity
    --------
    As `saturation`.

    Source
    ------
    parkhurst_appelo_2013
    """
    names = [
        name
        for name, scale in SCALES.items()
        if (every or scale.database == water.database)
        and all(element in water.molality for element in scale.needs)
        and (name != "calcite" or water.alkalinity)
    ]
    outputs = tuple(f'SI("{SCALES[name].phase}")' for name in names)
    state = equilibrium(water, factor, temperature, ph=ph, outputs=outputs)
    return state, dict(zip(names, state.extra, strict=True))


def langelier_index(ph, dissolved_solids, calcium, alkalinity, temperature):
    """Return the Langelier saturation index.

    Parameters
    ----------
    ph : array_like
        pH. [1]
    dissolved_solids : array_like
        Total dissolved solids. [kg/m3]
    calcium, alkalinity : array_like
        Both as CaCO3. [kg/m3]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        pH minus the pH of saturation. [1]

    Validity
    --------
    `LANGELIER_RANGE`; sea water is outside. Shown as information, PHREEQC decides.

    Source
    ------
    astm_d3739, formula from memory
    """
    solids = 1e3 * require("dissolved_solids", dissolved_solids, 0, 400, "kg/m3", open_low=True)
    calcium = 1e3 * require("calcium", calcium, 0, 400, "kg/m3", open_low=True)
    alkali = 1e3 * require("alkalinity", alkalinity, 0, 400, "kg/m3", open_low=True)
    a = (np.log10(solids) - 1) / 10
    b = -13.12 * np.log10(temperature) + 34.55
    saturated = 9.3 + a + b - (np.log10(calcium) - 0.4) - np.log10(alkali)
    return ph - saturated


def stiff_davis_index(ph, calcium, alkalinity, ionic_strength, temperature):
    """Return the Stiff and Davis stability index; information only.

    Parameters
    ----------
    ph : array_like
        pH. [1]
    calcium : array_like
        Calcium ion. [mol/m3]
    alkalinity : array_like
        Alkalinity. [eq/m3]
    ionic_strength : array_like
        Ionic strength. [mol/L]
    temperature : array_like
        Temperature. [K]

    Returns
    -------
    ndarray, broadcast shape
        pH minus the pH of saturation. [1]

    Validity
    --------
    A fit in common use that jumps by 0.11 at an ionic strength of 1.2 and was not checked against
    the chart of the standard: not for decisions.

    Source
    ------
    astm_d4582, fit from memory
    """
    parts = stiff_davis_parts(ph, calcium, alkalinity, ionic_strength, temperature)
    return np.where(np.asarray(ionic_strength) <= STIFF_DAVIS_JUMP, *parts)


def stiff_davis_parts(ph, calcium, alkalinity, ionic_strength, temperature):
    """Return the two smooth formulas of the index of Stiff and Davis.

    Parameters
    ----------
    ph, calcium, alkalinity, ionic_strength, temperature : array_like
        As of `stiff_davis_index`, in the same units.

    Returns
    -------
    tuple of ndarray
        Index by the formula up to the ionic strength at which it jumps, and by that above. [1]

    Validity
    --------
    As of `stiff_davis_index`; either formula is worked out at every strength.

    Source
    ------
    astm_d4582, fit from memory
    """
    strength = require("ionic_strength", ionic_strength, 0, 20, "mol/L", open_low=True)
    t = np.asarray(temperature, dtype=float) - ZERO_CELSIUS
    warm = -0.0002 * t**2 + 0.00097 * t
    low = 2.022 * np.exp((np.log(strength) + 7.544) ** 2 / 102.6) + 0.262
    p_calcium = -np.log10(np.asarray(calcium, dtype=float) / 1e3)
    p_alkali = -np.log10(np.asarray(alkalinity, dtype=float) / 1e3)
    at_rest = ph - (p_calcium + p_alkali + warm)
    return at_rest - low, at_rest - (-0.1 * strength + 3.887)


def molar_ion_product(cation, anion):
    """Return the product of two molar concentrations, to hold against a solubility product.

    Parameters
    ----------
    cation, anion : array_like
        Concentrations. [mol/m3]

    Returns
    -------
    ndarray, broadcast shape
        Product. [(mol/L)**2]

    Validity
    --------
    A hand check without activities: cautious by a factor of 3 or more in brackish water.

    Source
    ------
    ufc_3_230_12a
    """
    return (
        require("cation", cation, 0, 1e5, "mol/m3")
        * require("anion", anion, 0, 1e5, "mol/m3")
        / 1e6
    )
