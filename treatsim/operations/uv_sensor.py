"""The check of a reactor's sensor against a reference, and what a reading then counts for."""

from __future__ import annotations

import numpy as np

from treatsim.correlations.uv.sensor import SENSOR_LIMIT, sensor_check

CHECKED = f"sensor in service over the reference in its last check; divides above {SENSOR_LIMIT:g}"


def counted(reading, over_reference):
    """Return a reading over what the last check allows; None for a check nobody states."""
    if over_reference is None:
        return reading
    return reading / sensor_check(over_reference, 1.0).divide_by


def checked_words(name: str, over_reference) -> tuple[str, ...]:
    """Return what the answer rests on of the sensor's check."""
    if over_reference is None:
        return (f"{name}: the sensor counts as read, its check against a reference is not stated",)
    if np.any(~sensor_check(over_reference, 1.0).passes):
        return (f"{name}: the sensor failed its check and counts divided by it, until replaced",)
    return ()
