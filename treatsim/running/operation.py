"""How the unit is run: what a start costs, when it may run, what is held in reserve."""

from __future__ import annotations

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.operations.parameters import Parameters, choice, quantity, record, reference
from treatsim.power.loads import read_hours

NIGHT = ("where_it_pays", "never", "always")
MONTHS = 12


@record
class OperationParameters(Parameters):
    """How the unit is run through the day."""

    warm_up: float | None = quantity(
        "short_duration", "from switch-on until the train is ready; left out, with flush, that of "
        "[startup]", default=None,
    )  # fmt: skip
    warm_up_power: float | None = quantity(
        "power", "power meanwhile; left out, that of the whole train", low=0.0, default=None
    )
    flush: float | None = quantity(
        "volume", "product that goes to waste at every start", default=None
    )
    least_run: float = quantity("short_duration", "least time of running after a start", high=DAY)
    most_starts: float | None = quantity(
        "count", "most starts of a day; left out, 4 with a lamp (common practice, no source), else "
        "as many as come", low=1.0, default=None,
    )  # fmt: skip
    schedule: str | None = reference(
        "hours of the local clock in which it may run; left out, day and night",
        example="7:00 to 18:00",
        default=None,
    )
    night: str = choice(
        NIGHT, "whether it runs without sun: where the battery would else be full next noon",
        default="where_it_pays",
    )  # fmt: skip
    reserve: float | None = quantity(
        "energy", "held for standby and priority loads; left out, what they need until the sun is "
        "back", default=None,
    )  # fmt: skip
    dial: str | None = reference(
        "input that is turned with the sun; left out, the dial of the only pump",
        example="pump.speed",
        default=None,
    )
    lowest: str | None = reference(
        "lowest setting of the dial; left out, as far as no limit is missed", example="50 %",
        default=None,
    )  # fmt: skip
    highest: str | None = reference(
        "highest setting of the dial; left out, as far as no limit is missed", example="80 %",
        default=None,
    )  # fmt: skip
    tank: float | None = quantity(
        "volume", "usable volume of the tank, where no storage tank is among the units",
        open_low=True, default=None,
    )  # fmt: skip
    tank_restart: float = quantity(
        "fraction", "filling of the tank at which the train starts again", default=0.8
    )
    by_month: dict | None = reference(
        "inputs of the water that change over the year, twelve values each",
        example={"water.temperature": ["18 degC"] * MONTHS},
        default=None,
    )

    def conflicts(self):
        """Refuse half a start's cost, and hours and months that cannot be read."""
        found = []
        if (self.warm_up is None) != (self.flush is None):
            found.append("warm_up and flush: state both, or neither where [startup] tells them")
        if self.warm_up is None and self.warm_up_power is not None:
            found.append("warm_up_power: of no use without warm_up")
        if self.schedule is not None:
            try:
                read_hours(self.schedule)
            except RequestError as error:
                found.append(f"schedule: {error}")
        if self.by_month is not None and not isinstance(self.by_month, dict):
            return [*found, 'by_month: a table, such as { "water.temperature" = [...] }']
        for address, values in (self.by_month or {}).items():
            if not isinstance(values, list | tuple) or len(values) != MONTHS:
                found.append(f"by_month.{address}: twelve values belong here, January first")
        return found


def monthly(case, operation: OperationParameters) -> dict[str, Array]:
    """Return the values of the inputs that change over the year, by address, (12,). [SI]"""
    found = {}
    for address, texts in (operation.by_month or {}).items():
        item = case.numeric(address)
        if not address.startswith("water."):
            raise RequestError(f"operation.by_month: {address} is no input of the water")
        try:
            values = [quantities.read(str(text), item.metadata["kind"]) for text in texts]
        except RequestError as error:
            raise RequestError(f"operation.by_month.{address}: {error}") from error
        found[address] = np.array(values)
    return found


def tank_volume(case, operation: OperationParameters) -> float | None:
    """Return the usable volume of the tank, of all storage tanks together; None if none is stated.

    [m3]
    """
    sheet = case.flowsheet()
    volumes = []
    for unit in sheet.units.values():
        volume = unit.usable_volume()
        if volume is not None:
            volumes.append(float(np.max(volume)) * getattr(unit.parameters, "tanks", 1))
    if volumes and operation.tank is not None:
        raise RequestError("operation.tank: a storage tank among the units states it too; keep one")
    return sum(volumes) if volumes else operation.tank
