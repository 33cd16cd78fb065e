"""What the sensor of a validated reactor stands for: its set point, and its check."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.correlations.uv.inactivation import SLACK
from treatsim.errors import require

SENSOR_LIMIT = 1.2  # duty reading over reference reading, from memory (uvdgm_2006)


class SensorCheck(NamedTuple):
    """Duty sensor against a reference sensor."""

    ratio: Any  # duty / reference
    passes: Any  # bool
    divide_by: Any  # what duty readings must be divided by until it is replaced


def set_point_dose(sensor, set_point, flow, validated_flow, dose_dull_full, dose_clear_reduced):
    """Validated dose that an intensity set point guarantees while it is held.

    Parameters
    ----------
    sensor : array_like
        Sensor reading. [W/m2]
    set_point : array_like
        Alarm set point of the validation. [W/m2]
    flow : array_like
        Flow. [m3/s]
    validated_flow : array_like
        Largest flow validated with this set point. [m3/s]
    dose_dull_full : array_like
        Validated dose at the set point by dull water and full lamp power. [J/m2]
    dose_clear_reduced : array_like
        Validated dose at the set point by clear water and reduced lamp power. [J/m2]

    Returns
    -------
    ndarray
        The lower of both doses, 0 where set point or flow is not held, broadcast shape. [J/m2]

    Validity
    --------
    Only with the sensor placed as validated. A high reading says nothing about the flow.

    Source
    ------
    uvdgm_2006, from memory
    """
    doses = [
        require("validated dose", dose, 0.0, np.inf, "J/m2")
        for dose in (dose_dull_full, dose_clear_reduced)
    ]
    held = np.asarray(sensor) * SLACK >= np.asarray(set_point)
    held = held & (np.asarray(flow) <= np.asarray(validated_flow) * SLACK)
    return np.where(held, np.minimum(*doses), 0.0)


def sensor_check(duty, reference, limit=SENSOR_LIMIT) -> SensorCheck:
    """Duty sensor against a reference sensor in the same port.

    Parameters
    ----------
    duty : array_like
        Reading of the sensor in service. [W/m2]
    reference : array_like
        Reading of the calibrated reference. [W/m2]
    limit : float
        Largest ratio tolerated. [1]

    Returns
    -------
    SensorCheck
        Ratio, whether it passes, and the divisor for duty readings if not, broadcast shape. [1]

    Validity
    --------
    A duty sensor that reads too low only costs output and passes. Values not above zero raise
    DomainError.

    Source
    ------
    uvdgm_2006, limit from memory
    """
    duty = require("duty reading", duty, 0.0, np.inf, "W/m2")
    ratio = duty / require("reference reading", reference, 0.0, np.inf, "W/m2", open_low=True)
    passes = ratio <= limit * SLACK
    return SensorCheck(ratio, passes, np.where(passes, 1.0, ratio))
