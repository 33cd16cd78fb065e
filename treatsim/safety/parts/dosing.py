"""What every dosing of chemicals takes and gives: dose, stock, pH before and behind."""

from __future__ import annotations

import dataclasses

from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Finding
from treatsim.safety.additions import Additions
from treatsim.safety.parts.units import as_stated
from treatsim.safety.product_water import ProductWater, acid_at

ASSUMED = (
    "doses in step with the flow; what is dosed is mixed at once and is not felt by flows, "
    "pressures and the solved salt; bisulfite ends as sulfate"
)


def dosing(result: Result, earlier: Additions) -> Additions:
    """Dose, recipe and limits of every unit that doses what is followed.

    Parameters
    ----------
    result : Result
        Solved case. [-]
    earlier : Additions
        With the record "product". [-]

    Returns
    -------
    Additions
        Values below each unit, its limits and findings.

    Validity
    --------
    A target of pH is not judged where the pH of the source is not known; nothing is dosed for it
    then.

    Source
    ------
    as each limit states
    """
    water = earlier.records.get("product", ProductWater())
    found = Additions()
    for name, unit in result.sheet.units.items():
        if not unit.adds_dissolved:
            continue
        ends = (name, unit.inlets[0]), (name, unit.outlets[0])
        before, behind = (acid_at(result, water, port) for port in ends)
        held = water.ports.get(ends[0], {})
        told = unit.recipe(result.streams[ends[0]], held, before, behind, water.acidity)
        found = found.joined(
            Additions(
                {f"{name}.{key}": value for key, value in told.values.items()},
                tuple(
                    as_stated(result, name, dataclasses.replace(x, address=f"{name}.{x.address}"))
                    for x in told.limits
                ),
                tuple(Finding(f.where, f"{name}: {f.text}", f.values) for f in told.findings),
                notes=tuple(f"{name}: {words}" for words in told.choices or (ASSUMED,)),
                sources=tuple(told.sources),
            )
        )
    return found
