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
from treatsim.safety.passing import BORON, PASSES_LIKE, boron_known, boron_passage, passes
from treatsim.water.ion_passage import ions_of
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT, IONS, SEA_SALT, SEA_SALT_MOLAR_MASS
from treatsim.water.substances import substance
from treatsim.water.water_table import WaterTable

IN_PARTICLES = {"turbidity", "e_coli", "free_chlorine", "dissolved_solids"}  # told elsewhere
SEA_BORON = (SEA_SALT["B(OH)3"] + SEA_SALT["B(OH)4"]) * IONS["B"].molar_mass / SEA_SALT_MOLAR_MASS


@dataclass
class ProductWater:
    """Concentrations by analyte at the product, and those at every port. [kg/m3]"""

    source: dict[str, Any] = field(default_factory=dict)  # by analyte
    product: dict[str, Any] = field(default_factory=dict)
    ports: Mapping[Port, Mapping[str, Any]] = field(default_factory=dict)
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
    boron = {name: boron_passage(view) if BORON in source else 1.0 for name, view in views.items()}
    found.ports = follow(result, source, lambda name, feed: passes(views[name], feed, boron[name]))
    found.source = _by_analyte(source)
    found.product = _by_analyte(found.ports[port]) | _measured_after(result)
    for symbol in source:
        unknown = symbol not in IONS and symbol not in PASSES_LIKE
        if views and unknown:
            found.at_most[symbol] = f"analytes.after.{symbol}"
        for name, view in views.items():
            if symbol == BORON and not boron_known(view):
                found.at_most["boron"] = f"{name}.element.boric_acid_permeability"
    for name in _measured_after(result):
        found.at_most.pop(name, None)
    return found


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
    return held | {name: value for name, value in measured.items() if name not in known}


def _by_analyte(held: Mapping[str, Any]) -> dict[str, Any]:
    found = {named(symbol): value for symbol, value in held.items()}
    if {"Ca", "Mg"} <= set(held):
        lime = CALCIUM_CARBONATE_EQUIVALENT
        found["hardness"] = sum(
            held[ion] / IONS[ion].molar_mass * IONS[ion].charge * lime for ion in ("Ca", "Mg")
        )
    return found
