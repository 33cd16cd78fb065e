"""Flow and temperature at a unit of a line, from whatever column of a log tells them."""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.running.log_file import Readings

LINE_FLOW = "product.flow"


def flow_columns(name: str) -> tuple[str, str]:
    """Return the columns that may tell the flow through a unit of one line."""
    return f"{name}.inlet.flow", LINE_FLOW


def flow_of(unit: Any, log: Readings) -> Array:
    """Return the flow through a unit; that of the product where nothing else is noted. [m3/s]"""
    return next(log.columns[c] for c in flow_columns(unit.name) if c in log.columns)


def temperature_of(case: Any, log: Readings) -> tuple[Array, tuple[str, ...]]:
    """Return the temperature, and what was assumed of it. [K]"""
    if log.has("water.temperature"):
        return log.columns["water.temperature"], ()
    stated = float(case.sections["water"].temperature)
    note = "temperature not noted: taken from the case, and wear may be warmth"
    return np.full(log.time.size, stated), (note,)
