"""The pH of any water that comes of one source: concentrated, diluted, blended, dosed.

Near the source's own proportions the constants are those of PHREEQC along its concentration, and
what the water is by itself (nothing dosed) is PHREEQC's own pH; thin waters go by `acid_base`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple, cast

import numpy as np

from treatsim.constants import CELSIUS_25
from treatsim.water import acid_base
from treatsim.water.acid_base import Constants, Forms
from treatsim.water.analysis import WaterAnalysis
from treatsim.water.concentrate_line import LARGEST, SMALLEST, Balance, acid_balance
from treatsim.water.ions import IONS
from treatsim.water.speciation import feed
from treatsim.water.stream import Stream
from treatsim.water.water_table import WaterTable

# what is followed beside the ions, per volume; names that no analyte can have
ALKALINITY = "(alkalinity)"  # eq/m3
CARBON = "(carbon)"  # all inorganic carbon, mol/m3
BORON = "B"
ALKALINE_IONS = ("HCO3", "CO3")  # told by an analysis; what is followed of them are the two above


class Place(NamedTuple):
    """Where a pH is asked for: the water without its acid and base."""

    factor: Any  # concentration factor over the source, per kg of water
    temperature: Any  # K
    ionic_strength: Any  # mol/kg, used where thin
    boron: Any  # mol/kg, used where thin


class Ground(NamedTuple):
    """What holds at a place whatever is dosed there."""

    constants: Constants
    shift: Any  # what of the pH the constants do not tell
    boron: Any  # mol/kg
    thin: Any  # bool: by the formulas of thin water
    inside: Any  # bool: within what the chemistry reaches


class Acid(NamedTuple):
    """Acidity at many points."""

    ph: Any
    forms: Forms  # mol/kg
    ground: Ground


@dataclass(frozen=True)
class SourceAcidity:
    """Alkalinity and carbon of a source, and the pH of what becomes of it."""

    table: WaterTable
    alkalinity: Any  # of the source, eq per kg of water
    carbon: Any  # mol per kg of water
    boron: Any  # mol per kg of water, as the chemistry of the source counts it

    def at(self, ground: Ground, alkalinity, carbon, guess=7.5) -> Acid:
        """Return the acidity of a water at every point.

        Parameters
        ----------
        ground : Ground
            Of the place. [-]
        alkalinity : array_like
            Alkalinity. [eq/kg]
        carbon : array_like
            All inorganic carbon. [mol/kg]
        guess : array_like
            First pH tried. [1]

        Returns
        -------
        Acid
            Broadcast shape.

        Validity
        --------
        As `concentrate_line.states` and `acid_base.thin_constants`: 0.02 on the acid side, 0.07
        above pH 9.5, where ion pairs take their share of the carbonate.

        Source
        ------
        parkhurst_appelo_2013, plummer_busenberg_1982
        """
        constants, boron = ground.constants, ground.boron
        start = guess - ground.shift
        ph = acid_base.ph_of(alkalinity, constants, carbon=carbon, boron=boron, guess=start)
        found = acid_base.forms(ph, constants, carbon=carbon, boron=boron)
        return Acid(ph + ground.shift, found, ground)

    def ph_at_gas(self, ground: Ground, alkalinity, gas):
        """Return the pH of a water whose dissolved carbon dioxide is given. [eq/kg], [mol/kg]"""
        constants, boron = ground.constants, ground.boron
        return acid_base.ph_of(alkalinity, constants, gas=gas, boron=boron) + ground.shift

    def alkalinity_at(self, ground: Ground, ph, carbon):
        """Return the alkalinity that a water of a carbon has at a pH. [eq/kg]"""
        own = ph - ground.shift
        found = acid_base.forms(own, ground.constants, carbon=carbon, boron=ground.boron)
        return found.alkalinity

    def ground(self, place: Place) -> Ground:
        """Return what holds at a place."""
        factor, T = np.broadcast_arrays(place.factor, np.asarray(place.temperature, float))
        thin = factor < SMALLEST
        near = np.clip(factor, SMALLEST, LARGEST)  # of a thin one, where the two must meet
        own = acid_balance(self.table.analysis, near, T)
        boron = np.where(thin, place.boron, self.boron * factor)
        by_itself = 0.0
        if not np.all(thin):
            by_itself = acid_base.ph_of(
                self.alkalinity * near,
                own.constants,
                gas=own.carbon_dioxide,
                boron=self.boron * near,
                guess=own.ph,
            )
        shift = np.where(thin, 0.0, own.ph - by_itself)
        inside = thin | (own.inside & (near == factor))
        strength = np.where(thin, np.maximum(place.ionic_strength, 0.0), own.ionic_strength)
        return Ground(_meeting(own, strength, T, thin), shift, boron, thin, inside)

    def gas_along(self, factor, temperature):
        """Return dissolved carbon dioxide at the fugacity of the source, for ratios. [mol/kg]"""
        near = np.clip(factor, SMALLEST, LARGEST)
        return acid_balance(self.table.analysis, near, temperature).carbon_dioxide


def _meeting(own: Balance, strength, temperature, thin) -> Constants:
    """Constants of the line, and of thin water such that both meet at the end of the line.

    What ion pairs make of them goes with the ionic strength.
    """
    if not np.any(thin):
        return own.constants
    at_end = acid_base.thin_constants(own.ionic_strength, temperature)
    here = acid_base.thin_constants(strength, temperature)
    share = np.minimum(strength / own.ionic_strength, 1.0)
    found = zip(own.constants, here, at_end, strict=True)
    return Constants(*(np.where(thin, b * (a / c) ** share, a) for a, b, c in found))


def told(analysis: WaterAnalysis) -> bool:
    """Return whether the acidity of a water can be followed.

    Parameters
    ----------
    analysis : WaterAnalysis
        Of the source. [-]

    Returns
    -------
    bool
        For an ion analysis, or sea water, with a pH. [-]

    Validity
    --------
    Any.

    Source
    ------
    definition
    """
    return analysis.kind in ("ions", "seawater") and analysis.ph is not None


def source_acidity(table: WaterTable, temperature) -> SourceAcidity | None:
    """Return the acidity of a source; None where it cannot be told.

    Parameters
    ----------
    table : WaterTable
        Of the source. [-]
    temperature : array_like
        Of the source: the pH of sea water is that of the water as it comes. [K]

    Returns
    -------
    SourceAcidity or None
        Alkalinity as reported (of sea water by the reference composition); carbon such that the pH
        is the one stated, where it was measured.

    Validity
    --------
    As `speciation.feed`.

    Source
    ------
    parkhurst_appelo_2013
    """
    if not told(table.analysis):
        return None
    water, analysis = feed(table.analysis), table.analysis
    sea, share = analysis.kind == "seawater", cast(Any, 1.0)  # of salt, over the analysis
    if analysis.own is not None and sea:
        share = analysis.own.salinity / (1 - analysis.own.salinity) / water.salt_ratio
    alkalinity, boron = water.alkalinity * share, water.molality.get("B", 0.0) * share
    own = acid_balance(analysis, 1.0, temperature if sea else analysis.temperature)
    gas = own.carbon_dioxide if water.carbon else 0.0
    ph = acid_base.ph_of(alkalinity, own.constants, gas=gas, boron=boron)
    found = acid_base.forms(ph, own.constants, gas=gas, boron=boron)
    return SourceAcidity(table, alkalinity, found.carbon, boron)


def ionic_strength(held: Mapping[str, Any], water):
    """Return the ionic strength of what a water holds, without ion pairs.

    Parameters
    ----------
    held : mapping of str to array_like
        Ions and, if followed, `ALKALINITY`. [kg/m3], [eq/m3]
    water : array_like
        Water per volume. [kg/m3]

    Returns
    -------
    ndarray, broadcast shape
        Ionic strength. [mol/kg]

    Validity
    --------
    Alkalinity counts as ions of one charge.

    Source
    ------
    definition
    """
    followed = ALKALINITY in held
    total: Any = np.maximum(held[ALKALINITY], 0.0) if followed else 0.0
    for name, value in held.items():
        if name in IONS and not (followed and name in ALKALINE_IONS):
            total = total + value / IONS[name].molar_mass * IONS[name].charge ** 2
    return 0.5 * total / water


def place_of(source: SourceAcidity, stream: Stream, held: Mapping[str, Any], water) -> Place:
    """Return where a stream stands, for its acidity.

    Parameters
    ----------
    source : SourceAcidity
        Of the source. [-]
    stream : Stream
        The water; entries that are not finite are taken as those of the source. [-]
    held : mapping
        What it holds, by symbol. [kg/m3]
    water : array_like
        Its water per volume. [kg/m3]

    Returns
    -------
    Place
        One entry per point.

    Validity
    --------
    Any solved stream.

    Source
    ------
    definition
    """
    salinity = np.asarray(stream.salinity, float)
    salinity = np.where(np.isfinite(salinity), salinity, source.table.feed_salinity)
    T = np.asarray(stream.temperature, float)
    boron = held.get(BORON, 0.0) / IONS[BORON].molar_mass / water
    return Place(
        source.table.concentration_factor(np.clip(salinity, 0.0, 0.45)),
        np.where(np.isfinite(T), T, CELSIUS_25),
        ionic_strength(held, water),
        boron,
    )


def water_in(stream: Stream):
    """Return the water of a stream per volume of solution.

    Parameters
    ----------
    stream : Stream
        The water. [-]

    Returns
    -------
    ndarray
        Never below 1. [kg/m3]

    Validity
    --------
    Any solved stream.

    Source
    ------
    definition
    """
    water = np.asarray(stream.density * (1 - stream.salinity), float)
    return np.where(np.isfinite(water), np.maximum(water, 1.0), 1e3)


def acid_of(source: SourceAcidity, stream: Stream, held: Mapping[str, Any]) -> Acid:
    """Return the acidity of a stream by what it holds, closed to air.

    Parameters
    ----------
    source : SourceAcidity
        Of the source. [-]
    stream : Stream
        The water. [-]
    held : mapping
        What it holds, by symbol, with alkalinity and carbon. [kg/m3], [eq/m3], [mol/m3]

    Returns
    -------
    Acid
        One entry per point.

    Validity
    --------
    As `SourceAcidity.at`.

    Source
    ------
    as `SourceAcidity.at`
    """
    water = water_in(stream)
    place = place_of(source, stream, held, water)
    return source.at(source.ground(place), held[ALKALINITY] / water, held[CARBON] / water)
