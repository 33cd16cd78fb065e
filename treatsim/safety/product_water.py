"""What the product holds, after every blend and every pass: each known substance, followed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np

from treatsim.flowsheet.result import Result
from treatsim.flowsheet.substances import follow
from treatsim.flowsheet.wiring import Port
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.passing import HELD_BACK, PASSES_LIKE, boron_known, passes
from treatsim.water.acidity import (
    ALKALINE_IONS,
    ALKALINITY,
    BORON,
    CARBON,
    Acid,
    SourceAcidity,
    acid_of,
    source_acidity,
    water_in,
)
from treatsim.water.chemistry import CARBON_DIOXIDE_MOLAR_MASS
from treatsim.water.ion_passage import ions_of
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT, IONS, SEA_SALT, SEA_SALT_MOLAR_MASS
from treatsim.water.substances import substance
from treatsim.water.water_table import WaterTable

FOLLOWED = {ALKALINITY, CARBON, *HELD_BACK}
DOSABLE = ("Na", "Cl", "SO4", "Ca")  # ions that dosing may bring
IN_PARTICLES = {"turbidity", "e_coli", "free_chlorine", "dissolved_solids"}  # told elsewhere
SEA_BORON = (SEA_SALT["B(OH)3"] + SEA_SALT["B(OH)4"]) * IONS["B"].molar_mass / SEA_SALT_MOLAR_MASS


@dataclass
class ProductWater:
    """Concentrations by analyte at the product, and those at every port. [kg/m3]"""

    source: dict[str, Any] = field(default_factory=dict)  # by analyte
    product: dict[str, Any] = field(default_factory=dict)
    ports: Mapping[Port, Mapping[str, Any]] = field(default_factory=dict)
    change: Any = 0.0  # by which what is followed is not yet settled, relative
    acidity: SourceAcidity | None = None  # of the source; None where it is not known
    dosed: bool = False  # whether something is dosed in the train that is followed
    at_most: dict[str, str] = field(default_factory=dict)  # analyte -> what would tell it better
    notes: list[str] = field(default_factory=list)


def named(symbol: str) -> str:
    """Return the name of a substance as an analyte: "sodium", "boron", "silica".

    Parameters
    ----------
    symbol : str
        Of an ion, or an analyte. [-]

    Returns
    -------
    str
        Name as in the list of guideline values where there is one.

    Validity
    --------
    Any.

    Source
    ------
    definition
    """
    row = substance(symbol) if symbol in IONS else None
    return row.name if row else symbol


def product_water(result: Result) -> ProductWater:
    """Follow every dissolved substance known of the source to the product.

    Parameters
    ----------
    result : Result
        Solved case. [-]

    Returns
    -------
    ProductWater
        One entry for each ion of the analysis, for boron, and for each dissolved analyte.

    Validity
    --------
    Ions within a factor of two, see `permeate_ions`. A substance whose passage nobody knows is
    taken to pass freely: the product then holds at most what is given, which `at_most` says.

    Source
    ------
    common practice, no source (ions); dickson_1990 (boron)
    """
    found = ProductWater()
    source = _source(result, found)
    port = result.product_end
    if port is None:
        return found
    if not source:
        found.product = _measured_after(result)
        return found
    views = {
        name: MembraneView(result, unit)
        for name, unit in result.sheet.units.items()
        if unit.semipermeable
    }
    found.ports, found.change = follow(
        result,
        source,
        lambda name, feed: passes(views[name], feed, found.acidity, found.dosed),
        lambda name, held: _dosed(result, name, held, found.acidity),
    )
    found.source = _by_analyte(source)
    found.product = product_at(result, found, port) | _measured_after(result)
    for symbol in source:
        unknown = symbol not in IONS and symbol not in PASSES_LIKE and symbol not in FOLLOWED
        if views and unknown:
            found.at_most[symbol] = f"analytes.after.{symbol}"
        for name, view in views.items():
            if symbol == BORON and not boron_known(view):
                found.at_most["boron"] = f"{name}.element.boric_acid_permeability"
    for name in _measured_after(result):
        found.at_most.pop(name, None)
    return found


def product_at(result: Result, water: ProductWater, port: Port) -> dict[str, Any]:
    """Return what the water at a port holds, by analyte, forms of carbonate by its own pH.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    water : ProductWater
        What was followed in it. [-]
    port : tuple of str
        Unit and port. [-]

    Returns
    -------
    dict of ndarray
        Analyte -> concentration. [kg/m3]

    Validity
    --------
    As `product_water`; where nothing is dosed, carbonate stays as the analysis counts it.

    Source
    ------
    definition
    """
    held = {name: v for name, v in water.ports[port].items() if name not in HELD_BACK}
    acid = acid_at(result, water, port)
    alkali = held.pop(ALKALINITY, 0.0)
    held.pop(CARBON, None)
    if acid is None or not (water.dosed or any(name in held for name in ALKALINE_IONS)):
        return _by_analyte(held)
    per_volume = water_in(result.streams[port])
    if water.dosed:
        for name, amount in zip(ALKALINE_IONS, acid.forms[1:3], strict=True):
            held[name] = amount * IONS[name].molar_mass * per_volume
    found = _by_analyte(held)
    found["alkalinity"] = np.maximum(alkali, 0.0) * CALCIUM_CARBONATE_EQUIVALENT
    found["carbon_dioxide"] = acid.forms.carbon_dioxide * CARBON_DIOXIDE_MOLAR_MASS * per_volume
    return found


def acid_at(result: Result, water: ProductWater, port: Port) -> Acid | None:
    """Return the acidity of the water at a port.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    water : ProductWater
        What was followed in it. [-]
    port : tuple of str
        Unit and port. [-]

    Returns
    -------
    Acid or None
        None where that of the source is not known.

    Validity
    --------
    Closed to air, nothing precipitates; as `SourceAcidity.at`.

    Source
    ------
    as `SourceAcidity.at`
    """
    if water.acidity is None or port not in water.ports:
        return None
    return acid_of(water.acidity, result.streams[port], water.ports[port])


def _dosed(result: Result, name: str, held: Mapping[str, Any], acidity) -> dict[str, Any]:
    """What a unit adds to the water that reaches it."""
    unit = result.sheet.units[name]
    gains = unit.dosed(result.streams[name, unit.inlets[0]], held, acidity)
    return {symbol: np.where(result.unfailed(), gain, 0.0) for symbol, gain in gains.items()}


def _measured_after(result: Result) -> dict[str, Any]:
    table = result.sections.get("analytes")
    after = {} if table is None else dict(table.after)
    return {name: value for name, value in after.items() if name not in IN_PARTICLES}


def _source(result: Result, found: ProductWater) -> dict[str, Any]:
    """What the source holds, by symbol or analyte; an ion of the analysis once, by its symbol."""
    stream = result.sheet.source
    analysis = cast(WaterTable, stream.water).analysis
    held: dict[str, Any] = {}
    if analysis.kind != "fresh":  # of which nobody knows what it holds
        held = dict(ions_of(analysis, stream.concentration))
    table = result.sections.get("analytes")
    measured = {} if table is None else dict(table.before)
    boron = measured.pop("boron", None)
    if boron is None:
        boron = getattr(result.sections.get("water"), "boron", None)
    if boron is None and analysis.kind == "ions":
        boron = analysis.ions.get("B")
    if boron is None and analysis.kind == "seawater":
        boron = SEA_BORON * np.asarray(stream.concentration)
        found.notes.append("water.boron is not given: that of sea salt is taken")
    if boron is not None:
        held[BORON] = boron
    known = {named(symbol) for symbol in held} | IN_PARTICLES
    if {"Ca", "Mg"} <= set(held):
        known.add("hardness")
    if "HCO3" in held:
        known.add("alkalinity")
    held |= {name: value for name, value in measured.items() if name not in known}
    return held | _followed(result, found, held)


def _followed(result: Result, found: ProductWater, held: Mapping[str, Any]) -> dict[str, Any]:
    """What is followed beside what the source is known to hold."""
    stream, more = result.sheet.source, {}
    found.dosed = any(unit.adds_dissolved for unit in result.sheet.units.values())
    if found.dosed:
        more = dict.fromkeys(HELD_BACK, 0.0)
        if any(symbol in IONS and symbol != BORON for symbol in held):
            more |= {symbol: 0.0 for symbol in DOSABLE if symbol not in held}
    found.acidity = source_acidity(cast(WaterTable, stream.water), stream.temperature)
    if found.acidity is not None:
        water = water_in(stream)
        more |= {ALKALINITY: found.acidity.alkalinity * water, CARBON: found.acidity.carbon * water}
    return more


def _by_analyte(held: Mapping[str, Any]) -> dict[str, Any]:
    found = {named(symbol): value for symbol, value in held.items()}
    if {"Ca", "Mg"} <= set(held):
        lime = CALCIUM_CARBONATE_EQUIVALENT
        found["hardness"] = sum(
            held[ion] / IONS[ion].molar_mass * IONS[ion].charge * lime for ion in ("Ca", "Mg")
        )
    return found
