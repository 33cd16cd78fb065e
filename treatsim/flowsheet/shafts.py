"""Units on one shaft: what a hydraulic motor gives is taken off the pump it is tied to."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from treatsim.errors import FlowsheetError
from treatsim.operations.outcome import Details
from treatsim.operations.unit import Unit


def check_shafts(units: Mapping[str, Unit]) -> None:
    """Raise FlowsheetError naming every unit tied to one that has no shaft to take its power."""
    able = [name for name, unit in units.items() if unit.has_shaft]
    faults = [
        f'units.{name}.pump = "{tied}": no pump with a shaft to be driven by {name}; '
        f"known: {', '.join(able) or 'none here'}"
        for name, unit in units.items()
        if unit.parameters is not None and (tied := unit.tied_to()) and tied not in able
    ]
    if faults:
        raise FlowsheetError(faults)


def on_its_shaft(
    units: Mapping[str, Unit], name: str, details: Details, told: Callable[[str], Details]
) -> Details:
    """Return the details of a unit less the shaft power that others give it.

    `told` gives the details of another unit, with the result "shaft_power". [W]
    """
    givers = [other for other, unit in units.items() if unit.tied_to() == name]
    if not givers:
        return details
    given = sum(told(other).values["shaft_power"].value for other in givers)
    return units[name].relieved(details, given)
