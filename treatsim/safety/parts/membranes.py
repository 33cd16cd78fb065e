"""Chemistry around every reverse-osmosis vessel: scale, acidity, and what its permeate holds.

Worked out for waters that an analysis can be spoken of: an ion analysis, or sea water with a pH.
Everything is an estimate from the analysis of the source; the product is measured before anybody
drinks it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.errors import NoSolutionError
from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Finding, Value, unjudged
from treatsim.ranges import excursions
from treatsim.safety.additions import Additions
from treatsim.safety.membrane_view import MembraneView
from treatsim.safety.parts.units import as_stated
from treatsim.safety.passing import BORON
from treatsim.safety.product_water import ProductWater, named
from treatsim.safety.scale import (
    ScaleState,
    hardness,
    highest_recovery,
    recovery_of,
    scale_limits,
    scale_state,
)
from treatsim.water import boron, chemistry, scaling
from treatsim.water.concentrate_line import SMALLEST, concentrate_line, states
from treatsim.water.ion_passage import DIVALENT_SHARE, RELATIVE_PASSAGE
from treatsim.water.ions import CALCIUM_CARBONATE_EQUIVALENT

BLEND_TARGET = 0.3  # kg/m3 of dissolved solids, upper end of the best taste class
ASSUMED = (
    "dissolved carbon dioxide stays that of the source all along and passes the membrane; nothing "
    "precipitates",
    f"ions of the permeate are estimated: divalent ones pass {DIVALENT_SHARE:.2g} and nitrate "
    f"{RELATIVE_PASSAGE['NO3']:.2g} times as readily as monovalent ones, alkalinity as a "
    "monovalent ion, charges in balance, sum equal to the solved salt (common practice, no "
    "source; within a factor of two)",
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
    return found


def _at(view: MembraneView, values: dict, kind: str) -> dict[str, Value]:
    return {f"{view.name}.{key}": Value(value, kind) for key, value in values.items()}


def _contents(view: MembraneView, water: ProductWater) -> Additions:
    """What the permeate holds, boron of all three streams, and the share of a blend."""
    told: dict[str, Any] = {}
    for port in ("permeate", "feed", "concentrate"):
        held = water.ports.get((view.name, port), {})
        told |= {
            f"{port}.{named(symbol)}": value
            for symbol, value in held.items()
            if named(symbol) not in water.at_most and (port == "permeate" or symbol == BORON)
        }
    values = _at(view, told, "concentration")
    raw = view.sound(view.result.sheet.source.concentration, 1.0)
    salt = view.sound(view.permeate.concentration, 0.1)
    if np.all((salt < BLEND_TARGET) & (raw > BLEND_TARGET)):
        share = chemistry.blend_fraction(raw, salt, BLEND_TARGET)
        values |= _at(view, {"blend_share": share}, "fraction")
    if "permeate.boron" not in told:
        return Additions(values)
    beyond = excursions(boron.DICKSON_SALINITY, view.sound(view.concentrate.salinity, 0.01))
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
    if np.all(view.fed < SMALLEST):
        text = "its feed is a permeate, too thin for scale to form"
        return Additions(notes=(f"{view.name}: no scale or pH: {text}",))
    try:
        state = scale_state(view)
    except NoSolutionError as error:
        return _untold(view, "", str(error))
    limits = [as_stated(view.result, view.name, item) for item in scale_limits(view, state)]
    notes = tuple(f"{view.name}: {line}" for line in ASSUMED)
    found = Additions(_states(view, state), tuple(limits), (), notes, ("parkhurst_appelo_2013",))
    return found if view.result.points != 1 else found.joined(_alone(view, water))


def _untold(view: MembraneView, needs: str, why: str) -> Additions:
    limit = unjudged(f"scale in {view.name}", needs, address=f"{view.name}.scale", group="practice")
    return Additions(limits=(as_stated(view.result, view.name, limit),),
                     notes=(f"{view.name}: no scale or pH: {why}",))  # fmt: skip


def _states(view: MembraneView, state: ScaleState) -> dict[str, Value]:
    """Factors, acidity, saturations and the simple indices."""
    fed = states(view.analysis, view.fed, view.temperature)
    bulk, wall = state.bulk.saturation, state.wall.saturation
    numbers: dict[str, Any] = {
        "concentrate.concentration_factor": view.bulk,
        "membrane.concentration_factor": view.wall,
    }
    numbers |= {f"saturation.{name}": wall.ratio(name) for name in wall.indices}
    numbers |= {f"saturation_bulk.{name}": bulk.ratio(name) for name in wall.indices}
    if "calcite" in wall.indices:
        numbers["carbonate_index"] = state.carbonate
        numbers |= _langelier(view, state)
    acidity = {"feed.ph": fed.saturation.ph, "concentrate.ph": bulk.ph, "membrane.ph": wall.ph}
    return _at(view, numbers, "factor") | _at(view, acidity, "ph")


def _langelier(view: MembraneView, state: ScaleState) -> dict:
    """Langelier's index, where the concentrate is within its range."""
    salt = view.sound(view.concentrate.concentration, 1.0)
    if excursions(scaling.LANGELIER_RANGE, salt):
        return {}
    calcium, alkali = hardness(view, salt)
    lime = CALCIUM_CARBONATE_EQUIVALENT
    index = scaling.langelier_index(
        state.bulk.saturation.ph, salt, 2 * calcium * lime, alkali * lime, view.temperature
    )
    return {"concentrate.langelier_index": index}


def _alone(view: MembraneView, water: ProductWater) -> Additions:
    """Highest recoveries, and the acidity of the permeate."""
    T, passage = float(view.temperature[0]), float(view.passage[0])
    top = concentrate_line(view.analysis, T).high * float(view.bulk[0] / view.wall[0])
    searched = float(recovery_of(top, passage))
    values = _at(view, {"recovery_searched": searched}, "fraction")
    for dosed, key in ((False, "recovery_limit"), (True, "recovery_limit_antiscalant")):
        found = highest_recovery(view, dosed)
        values |= _at(view, {f"{key}.{name}": min(share, searched)
                             for name, share in found.items()}, "fraction")  # fmt: skip
    try:
        return Additions(values | _acidity(view, water, T, passage))
    except NoSolutionError as error:
        return Additions(values, findings=(Finding(True, f"{view.name}: no pH: {error}"),))


def _acidity(view: MembraneView, water: ProductWater, T: float, passage: float):
    """PH of the permeate, and after contact with calcite."""
    raw = water.source.get("hydrogen_carbonate", 0.0)
    passed = water.ports.get((view.name, "permeate"), {}).get("HCO3", 0.0)
    share = float(np.ravel(passed / raw)[0]) if np.any(raw) else 0.0
    product = chemistry.permeate(view.analysis, min(share, 1.0), min(passage, 1.0), T)
    hard = chemistry.remineralised(product, T)
    acidity = {"permeate.ph": product.ph, "calcite_contact.ph": hard.ph}
    held = {
        "permeate.carbon_dioxide": product.carbon_dioxide,
        "calcite_contact.calcium": hard.calcium,
        "calcite_contact.alkalinity_as_calcium_carbonate": hard.alkalinity_as_calcium_carbonate,
    }
    return (_at(view, acidity, "ph") | _at(view, held, "concentration")
            | _at(view, {"alkalinity_passage": share}, "fraction"))  # fmt: skip
