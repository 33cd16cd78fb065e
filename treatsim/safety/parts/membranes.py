"""Chemistry around every reverse-osmosis vessel: scale, acidity, and what its permeate holds.

Worked out for waters that an analysis can be spoken of: an ion analysis, or sea water with a pH.
Everything is an estimate from the analysis of the source; the product is measured before anybody
drinks it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from treatsim.errors import NoSolutionError
from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import reach
from treatsim.operations.outcome import Value, unjudged
from treatsim.operations.ro_element import element_of
from treatsim.operations.ro_limits import ph_limits
from treatsim.ranges import excursions
from treatsim.safety.additions import Additions
from treatsim.safety.composed_scale import composed_index
from treatsim.safety.element_scale import by_element
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.parts.units import as_stated
from treatsim.safety.product_water import ProductWater, product_at
from treatsim.safety.recovery_limits import highest_recovery, recovery_of, searched
from treatsim.safety.scale import ScaleState, hardness, scale_limits, scale_state
from treatsim.safety.vessel_acidity import VesselAcidity
from treatsim.water import boron, chemistry, scaling
from treatsim.water.acid_base import DAVIES_RANGE
from treatsim.water.acidity import ALKALINITY
from treatsim.water.concentrate_line import INDEX_ERROR, SATURATION_ERROR, SMALLEST
from treatsim.water.ion_passage import DIVALENT_SHARE, RELATIVE_PASSAGE
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT

CALCITE = "calcite"
ENOUGH = 1 - 1e-9  # of the least dose of an antiscalant
ALKALINE = 8.3  # pH above which no carbon dioxide to speak of is left
THIN = (
    "fed with a permeate: of the scales only calcium carbonate can come near, where base is dosed"
)
BLEND_TARGET = 0.3  # kg/m3 of dissolved solids, upper end of the best taste class
ASSUMED = (
    "what is left of the dissolved carbon closes its balance along the vessel; carbon dioxide "
    "passes the membrane at its fugacity; nothing precipitates",
    f"ions of the permeate are estimated: divalent ones pass {DIVALENT_SHARE:.2g} and nitrate "
    f"{RELATIVE_PASSAGE['NO3']:.2g} times as readily as monovalent ones, alkalinity as a "
    "monovalent ion, charges in balance, sum equal to the solved salt (common practice, no "
    "source; within a factor of two)",
    f"pH and indices are interpolated, good for {INDEX_ERROR:g}, and saturations for "
    f"{SATURATION_ERROR:.1%} of themselves, against the engine they come from; what the engine and "
    "the analysis miss is not in that",
    "limits of saturation are common practice, from memory: the data sheet of the antiscalant "
    "decides",
)
OF_BORON = (
    "boric acid passes by the element's own permeability, aged and warmed like that of salt, "
    "borate as salt does; shares of the two by the pH of the stream, all of it acid where that "
    "is not known"
)


def membranes(result: Result, earlier: Additions) -> Additions:
    """Scale, acidity and contents of the permeate of every vessel.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        With the record "product".

    Returns
    -------
    Additions
        Values below each vessel, and its limits of scale.

    Validity
    --------
    Without an ion analysis, or without a pH, scale is not judged. Highest recovery and acidity of
    the permeate are told for a lone point only.

    Source
    ------
    parkhurst_appelo_2013, dickson_1990
    """
    water = earlier.records.get("product", ProductWater())
    found = Additions()
    for unit in result.sheet.units.values():
        if unit.semipermeable:
            view = MembraneView(result, unit)
            found = found.joined(_contents(view, water)).joined(_chemistry(view, water))
            if _acid_or_base_ahead(view):
                found = found.joined(_ph_limits(view, water))
    return found


def _at(view: MembraneView, values: dict, kind: str) -> dict[str, Value]:
    return {f"{view.name}.{key}": Value(value, kind) for key, value in values.items()}


def _contents(view: MembraneView, water: ProductWater) -> Additions:
    """What the permeate holds, boron of all three streams, and the share of a blend."""
    told: dict[str, Any] = {}
    for port in ("permeate", "feed", "concentrate"):
        if (view.name, port) in water.ports:
            told |= {
                f"{port}.{name}": value
                for name, value in product_at(view.result, water, (view.name, port)).items()
                if name not in water.at_most and (port == "permeate" or name == "boron")
            }
    values = _at(view, told, "concentration")
    raw = view.sound(view.result.sheet.source.concentration, 1.0)
    salt = view.sound(view.permeate.concentration, 0.1)
    if np.all((salt < BLEND_TARGET) & (raw > BLEND_TARGET)):
        share = chemistry.blend_fraction(raw, salt, BLEND_TARGET)
        values |= _at(view, {"blend_share": share}, "fraction")
    if "permeate.boron" not in told:
        return Additions(values)
    salt = np.where(view.fed < SMALLEST, 0.01, view.sound(view.concentrate.salinity, 0.01))
    beyond = excursions(boron.DICKSON_SALINITY, salt)  # thin waters have a formula of their own
    beyond += excursions(boron.DICKSON_TEMPERATURE, view.temperature)
    return Additions(
        values,
        notes=(f"{view.name}: {OF_BORON}",),
        sources=("dickson_1990",),
        excursions=tuple((view.name, item) for item in beyond),
    )


def _chemistry(view: MembraneView, water: ProductWater) -> Additions:
    """Scale and acidity; what cannot be told is said, and not judged."""
    if view.analysis.kind not in ("ions", "seawater"):
        return _untold(view, "water.ions", "the ions of the source are not known")
    if view.analysis.ph is None:
        return _untold(view, "water.ph", "water.ph is not given")
    if water.acidity is None or (view.name, "feed") not in water.ports:
        return Additions()
    held = water.ports[view.name, "feed"]
    acid = VesselAcidity(view, water.acidity, held, water.ports[view.name, "permeate"])
    try:
        state = scale_state(view, acid)
    except NoSolutionError as error:
        return _untold(view, "", str(error))
    dosed = antiscalant_reaches(view, held)
    limits = [as_stated(view.result, view.name, item) for item in scale_limits(view, state, dosed)]
    notes = [f"{view.name}: {line}" for line in ASSUMED]
    if np.all(view.fed < SMALLEST):
        notes.append(f"{view.name}: {THIN}")
    beyond = excursions(DAVIES_RANGE, np.where(view.fed < SMALLEST, acid.place.ionic_strength, 0.0))
    found = Additions(
        _states(view, acid, state) | by_element(view, acid, state),
        tuple(limits),
        notes=tuple(notes),
        sources=("parkhurst_appelo_2013", "plummer_busenberg_1982"),
        excursions=tuple((view.name, item) for item in beyond),
        composed=composed_index(view, state, dosed),
    )
    return found if view.result.points != 1 else found.joined(_alone(view, acid))


def antiscalant_reaches(view: MembraneView, held: Mapping[str, Any]) -> Any:
    """Return whether an antiscalant is dosed for a vessel, per point.

    Parameters
    ----------
    view : MembraneView
        The vessel. [-]
    held : mapping
        What its feed holds. [kg/m3]

    Returns
    -------
    ndarray or bool
        As the case says of the vessel, or at the least dose of its data sheet.

    Validity
    --------
    Any.

    Source
    ------
    definition
    """
    stated = view.of_parameter("antiscalant") == "dosed"
    return stated | (np.asarray(held.get("antiscalant", 0.0)) >= ENOUGH)


def _acid_or_base_ahead(view: MembraneView) -> bool:
    """Whether a unit that may change the pH lies on a way to the vessel."""
    sheet = view.result.sheet
    dosing = [name for name, unit in sheet.units.items() if unit.adds_dissolved]
    return any(view.name in reach(sheet.wiring, name) for name in dosing)


def _ph_limits(view: MembraneView, water: ProductWater) -> Additions:
    """The pH along a vessel against what its elements bear."""
    lowest = highest = np.full(view.result.points, np.nan)
    if water.acidity is not None and (view.name, "feed") in water.ports:
        acid = VesselAcidity(view, water.acidity, water.ports[view.name, "feed"])
        ends = np.array([acid.feed.ph, acid.concentrate.ph, acid.along(view.wall).ph])
        lowest, highest = np.min(ends, axis=0), np.max(ends, axis=0)
    element = element_of(view.of_parameter("element"))
    limits = ph_limits(view.name, element, lowest, highest)
    told = {} if np.any(np.isnan(lowest)) else {"ph_min": lowest, "ph_max": highest}
    return Additions(
        _at(view, told, "ph"), tuple(as_stated(view.result, view.name, item) for item in limits)
    )


def _untold(view: MembraneView, needs: str, why: str) -> Additions:
    limit = unjudged(f"scale in {view.name}", needs, address=f"{view.name}.scale", group="practice")
    return Additions(limits=(as_stated(view.result, view.name, limit),),
                     notes=(f"{view.name}: no scale or pH: {why}",))  # fmt: skip


def _states(view: MembraneView, acid: VesselAcidity, state: ScaleState) -> dict[str, Value]:
    """Factors, acidity, saturations and the simple indices."""
    bulk, wall = state.bulk, state.wall
    thin = bool(np.all(view.fed < SMALLEST))
    numbers: dict[str, Any] = {
        "concentrate.concentration_factor": view.bulk,
        "membrane.concentration_factor": view.wall,
    }
    shown = [name for name in wall.indices if name == CALCITE or not thin]
    numbers |= {f"saturation.{name}": wall.ratio(name) for name in shown}
    numbers |= {f"saturation_bulk.{name}": bulk.ratio(name) for name in shown}
    if CALCITE in wall.indices:
        numbers["carbonate_index"] = state.carbonate
        numbers |= _langelier(view, acid)
    acidity = {"feed.ph": acid.feed.ph, "concentrate.ph": bulk.ph, "membrane.ph": wall.ph,
               "permeate.ph": acid.permeate.ph}  # fmt: skip
    return (_at(view, numbers, "factor") | _at(view, acidity, "ph")
            | _at(view, {"alkalinity_passage": acid.alkalinity_passage}, "fraction"))  # fmt: skip


def _langelier(view: MembraneView, acid: VesselAcidity) -> dict:
    """Langelier's index, where the concentrate is within its range."""
    salt = view.sound(view.concentrate.concentration, 1.0)
    if excursions(scaling.LANGELIER_RANGE, salt) or np.all(view.fed < SMALLEST):
        return {}
    calcium, alkali = hardness(view, acid, salt)
    lime = CALCIUM_CARBONATE_EQUIVALENT
    index = scaling.langelier_index(
        acid.by_standard(view.bulk), salt, 2 * calcium * lime, alkali * lime, view.temperature
    )
    return {"concentrate.langelier_index": index}


def _alone(view: MembraneView, acid: VesselAcidity) -> Additions:
    """Highest recoveries, and the permeate after contact with calcite."""
    start, factors = searched(view)
    top = float(recovery_of(factors[-1] / start, float(view.passage[0]) / start))
    values = _at(view, {"recovery_searched": top}, "fraction")
    keys = ("recovery_limit", "recovery_limit_antiscalant")
    for key, found in zip(keys, highest_recovery(view, acid), strict=True):
        values |= _at(view, {f"{key}.{name}": min(share, top)
                             for name, share in found.items()}, "fraction")  # fmt: skip
    return Additions(values).joined(_calcite_contact(view, acid))


def _calcite_contact(view: MembraneView, acid: VesselAcidity) -> Additions:
    """The permeate after contact with calcite; one with base in it takes up none."""
    if float(acid.permeate.ph[0]) > ALKALINE:
        return Additions()
    name = f"permeate of {view.name} after calcite"
    try:
        found = _hardened(view, acid)
    except NoSolutionError as error:
        limit = unjudged(name, "", address=f"{view.name}.calcite_contact", group="practice")
        return Additions(limits=(as_stated(view.result, view.name, limit),),
                         notes=(f"{name}: not judged: {error}",))  # fmt: skip
    held = {"calcium": found.calcium,
            "alkalinity_as_calcium_carbonate": found.alkalinity_as_calcium_carbonate}  # fmt: skip
    told = {f"calcite_contact.{key}": amount for key, amount in held.items()}
    return Additions(_at(view, {"calcite_contact.ph": found.ph}, "ph")
                     | _at(view, told, "concentration"))  # fmt: skip


def _hardened(view: MembraneView, acid: VesselAcidity) -> chemistry.Product:
    """Return the permeate of a lone point after contact with calcite."""
    found = acid.permeate
    water, passed = float(np.ravel(acid.permeate_water)[0]), acid.passed
    calcium = float(np.ravel(passed.get("Ca", 0.0))[0])
    gas = float(found.forms.carbon_dioxide[0]) * water * chemistry.CARBON_DIOXIDE_MOLAR_MASS
    alkali = max(float(np.ravel(passed[ALKALINITY])[0]), 0.0)
    product = chemistry.Product(float(found.ph[0]), alkali, gas, calcium)
    return chemistry.remineralised(product, float(view.temperature[0]))
