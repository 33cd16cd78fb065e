"""What the dosing unit cannot know by itself: pH of the source and the tank behind it."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.disinfection import chlorine
from treatsim.flowsheet.result import Result
from treatsim.flowsheet.wiring import reach
from treatsim.operations.chlorine_dosing import ALKALINE
from treatsim.operations.outcome import Finding, Value
from treatsim.operations.unit import Unit


def chlorination(result: Result, ph) -> None:
    """Add values and findings of chlorine to the result.

    Parameters
    ----------
    result : Result
        Solved case.
    ph : array_like or None
        Acidity of the source; None if not known. [1]

    Returns
    -------
    None

    Validity
    --------
    Any train; nothing without a dosing unit.

    Source
    ------
    morris_1966
    """
    for unit in result.sheet.units.values():
        if type(unit).__name__ == "ChlorineDosing":
            _acid(result, unit, ph)
            _tank(result, unit)


def _acid(result: Result, unit: Unit, ph) -> None:
    if unit.parameters.ph is not None or ph is None:
        return
    inlet = result.streams[unit.name, "inlet"]
    share = chlorine.hypochlorous_acid_share(ph, inlet.temperature)
    result.extra[f"{unit.name}.hypochlorous_share"] = Value(share, "fraction")
    where = np.asarray(ph) > ALKALINE
    if np.any(where):
        text = f"{unit.name}: pH {{ph}}, above 8: little of the chlorine is the fast-acting acid"
        result.extra_findings.append(Finding(where, text, {"ph": Value(ph, "ph")}))


def _tank(result: Result, unit: Unit) -> None:
    """Product for one filling of the tank behind, and the dose that lasts to the last cup."""
    behind = reach(result.sheet.wiring, unit.name)
    tanks = [n for n in behind if type(result.sheet.units[n]).__name__ == "StorageTank"]
    if not tanks:
        return
    p = unit.parameters
    volume = result.sheet.units[tanks[0]].parameters.volume
    amount = chlorine.product_for(volume, p.dose, p.strength_today)
    kind = "mass" if p.form == "powder" else "small_volume"
    result.extra[f"{unit.name}.product_per_tank"] = Value(amount, kind)
    if p.can_strength is not None:
        can = chlorine.product_for(volume, p.dose, p.can_strength_today)
        result.extra[f"{unit.name}.stock_per_tank"] = Value(can, "small_volume")
    needed = result.details(tanks[0]).values.get("residual_needed_for_last_cup")
    if needed is not None:
        dose = np.asarray(needed.value) + p.demand
        result.extra[f"{unit.name}.dose_for_last_cup"] = Value(dose, "concentration")
