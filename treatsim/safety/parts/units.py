"""What the units themselves say: their limits as the case lets them stand, and their company."""

from __future__ import annotations

import dataclasses

import numpy as np

from treatsim.flowsheet.company import Neighbours
from treatsim.flowsheet.result import Result
from treatsim.operations.outcome import Details, Finding, Limit
from treatsim.safety.additions import Additions


def units(result: Result, earlier: Additions) -> Additions:
    """Limits of every unit, and what it can tell only beside the others.

    Parameters
    ----------
    result : Result
        Solved case; its overrides replace or waive limits of units. [-]
    earlier : Additions
        What was judged before.

    Returns
    -------
    Additions
        Values by address, limits and findings of the units, in order of calculation.

    Validity
    --------
    Any flowsheet.

    Source
    ------
    as each limit states
    """
    found = Additions()
    for name, unit in result.sheet.units.items():
        told = unit.in_company(Neighbours(result, name))
        found = found.joined(_of_unit(result, name, result.details(name).limits, told))
    return found


def _of_unit(result: Result, name: str, own: list[Limit], told: Details) -> Additions:
    limits = [dataclasses.replace(item, address=f"{name}.{item.address}")
              for item in (*own, *told.limits)]  # fmt: skip
    return Additions(
        {f"{name}.{key}": value for key, value in told.values.items()},
        tuple(as_stated(result, name, item) for item in limits),
        tuple(Finding(f.where, f"{name}: {f.text}", f.values) for f in told.findings),
        sources=tuple(told.sources),
        excursions=tuple((name, beyond) for beyond in told.excursions),
    )


def as_stated(result: Result, unit: str, item: Limit) -> Limit:
    """Return a limit as the case lets it stand.

    Parameters
    ----------
    result : Result
        Solved case; its overrides replace or waive limits of units. [-]
    unit : str
        Name of the unit that the limit is of. [-]
    item : Limit
        As it stands without the case. [-]

    Returns
    -------
    Limit
        With the value that the case states, or waived with its reason.

    Validity
    --------
    Any limit of a unit.

    Source
    ------
    definition
    """
    override = result.context.overrides.get(unit, {}).get(item.key)
    if override is None:
        return item
    if override.limit is None:
        return dataclasses.replace(item, waived=override.reason)
    words = f"stated in the case{f': {override.reason}' if override.reason else ''}"
    return dataclasses.replace(item, limit=np.asarray(override.limit), source=words)
