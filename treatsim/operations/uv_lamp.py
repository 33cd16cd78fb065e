"""What a lamp gives: by its water's temperature, and by a reading of the bare lamp in air."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import CELSIUS_20
from treatsim.correlations.uv.collimated_beam import lamp_power_from_irradiance
from treatsim.correlations.uv.lamp import TEMPERATURE_RANGE, TemperatureTable
from treatsim.errors import DomainError
from treatsim.operations.parameters import quantity, record
from treatsim.operations.sheets import Sheet
from treatsim.ranges import Excursion, excursions

Pairs = Sequence[tuple[float, float]] | None
USUAL_DISTANCE = 2.0  # arcs from which on a reading in air is usually taken (ioa_2007)

SEVERAL = (
    "this kind has one lamp, on the axis of its chamber; several lamps in one chamber are told by "
    "its validation report alone (kind validated_uv_reactor or set_point_uv_reactor); chambers of "
    "one lamp each, in a row or side by side, are units of their own"
)


@record
class LampReading(Sheet):
    """A bare lamp, new and warm, read in air by a flat sensor that faces its middle."""

    gives = ("lamp_uvc_output", "arc_length")
    air_irradiance: float = quantity("fluence_rate", "reading in air at 254 nm", open_low=True)
    air_distance: float = quantity("length", "from the lamp's axis to the sensor", open_low=True)
    lit_length: float = quantity("length", "length of the lit arc", open_low=True, high=5)

    def coefficients(self):
        """Return output and arc, by the formula for a lamp that radiates as a cosine."""
        told = self.air_irradiance, self.air_distance, self.lit_length
        output = float(lamp_power_from_irradiance(*told))
        return {"lamp_uvc_output": output, "arc_length": self.lit_length}

    def told(self, found):
        """Say the output, and whether it was read from near."""
        output = quantities.text(found["lamp_uvc_output"], "power")
        text = f"lamp output {output} by its reading in air, without what walls reflect"
        if self.air_distance >= USUAL_DISTANCE * self.lit_length:
            return text
        return f"{text}; read from nearer than twice the arc: less sure"


def table_of(pairs: Pairs) -> TemperatureTable | None:
    """Return the table of readings (share of the best output, temperature [K]); DomainError."""
    if pairs is None:
        return None
    share, temperature = np.asarray(pairs, float).T
    return TemperatureTable(tuple(temperature.tolist()), tuple(share.tolist()))


def table_faults(pairs: Pairs, factor: Any) -> list[str]:
    """Return what is wrong with a table of a lamp's output, and a factor stated beside it."""
    try:
        table = table_of(pairs)
    except DomainError as error:
        return [f"output_by_temperature: {error}"]
    if table is not None and np.any(np.asarray(factor) != 1.0):
        return ["temperature_factor: output_by_temperature gives it too; leave one out"]
    return []


def share_at(pairs: Pairs, factor: Any, temperature: Any) -> Array:
    """Return the share of its best output that a lamp gives in water of a temperature [K]."""
    table = table_of(pairs)
    return np.asarray(factor) if table is None else table.factor(temperature)


def beyond_known(pairs: Pairs, factor: Any, temperature: Any) -> list[Excursion]:
    """Return where the water is no lamp's comfort without a word, or lies beyond its table."""
    table = table_of(pairs)
    if table is not None:
        return excursions(table.range, temperature)
    unstated = np.asarray(factor) == 1.0
    return excursions(TEMPERATURE_RANGE, np.where(unstated, temperature, CELSIUS_20))


def why_dim(pairs: Pairs) -> str:
    """Return what is said where `beyond_known` finds the water too cold or too warm."""
    if pairs is not None:
        return "beyond the lamp's table of output by temperature, whose end lines go on"
    return (
        "a plain low-pressure lamp gives less outside 10 to 30 degC; state its temperature factor"
    )
