"""Dose responses: log10 inactivation as a function of dose, and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from treatsim.correlations.uv.optics import LN10
from treatsim.errors import DomainError, require


class DoseResponse(Protocol):
    """What a dose response answers."""

    def log_inactivation(self, dose) -> np.ndarray:
        """log10 of the inactivation at `dose` [J/m2]."""

    def dose_for(self, log) -> np.ndarray:
        """Dose [J/m2] at which the inactivation is `log`."""


@dataclass(frozen=True)
class FirstOrder:
    """Straight line through the origin.

    Parameters
    ----------
    dose_per_log : float or array_like, shape (N,)
        Dose that inactivates one more decade. [J/m2]

    Validity
    --------
    Any dose; what was measured seldom passes 4 to 6 log. DomainError unless positive.

    Source
    ------
    hijnen_2006 (form).
    """

    dose_per_log: Any

    def __post_init__(self):
        require("dose per log", self.dose_per_log, 0.0, np.inf, "J/m2", open_low=True)

    @property
    def rate(self):
        """First-order rate constant. [m2/J]"""
        return LN10 / np.asarray(self.dose_per_log, dtype=float)

    def log_inactivation(self, dose):
        """log10 of the inactivation at `dose` [J/m2]."""
        return np.asarray(dose) / self.dose_per_log

    def dose_for(self, log):
        """Dose [J/m2] at which the inactivation is `log`."""
        return np.asarray(log) * self.dose_per_log


@dataclass(frozen=True)
class Quadratic:
    """log = linear * dose - square * dose**2, held at its peak.

    Parameters
    ----------
    linear : float
        Slope at the origin, above zero. [m2/J]
    square : float
        Bend, zero or above. [m4/J2]

    Validity
    --------
    Doses up to the measured range; beyond its peak the curve is held, never followed down.

    Source
    ------
    uvdgm_2006, appendix A (form; from memory).
    """

    linear: float
    square: float

    def __post_init__(self):
        require("linear coefficient", self.linear, 0.0, np.inf, "m2/J", open_low=True)
        require("square coefficient", self.square, 0.0, np.inf, "m4/J2")

    @property
    def dose_at_peak(self) -> float:
        """Dose of the largest inactivation. [J/m2]"""
        return self.linear / (2 * self.square) if self.square > 0 else np.inf

    def log_inactivation(self, dose):
        """log10 of the inactivation at `dose` [J/m2]."""
        dose = np.minimum(dose, self.dose_at_peak)
        return dose * (self.linear - self.square * dose)

    def dose_for(self, log):
        """Smallest dose [J/m2] at which the inactivation is `log`; the peak's dose above it."""
        log = np.asarray(log, dtype=float)
        root = np.sqrt(np.maximum(self.linear**2 - 4 * self.square * log, 0.0))
        return 2 * log / (self.linear + root) if self.square == 0 else self._smaller(log, root)

    def _smaller(self, log, root):
        return np.minimum(2 * log / (self.linear + root), self.dose_at_peak)


@dataclass(frozen=True)
class Tabulated:
    """Straight lines between measured points, starting at the origin and going on past the last.

    Parameters
    ----------
    doses : tuple of float
        Measured doses, rising. [J/m2]
    logs : tuple of float
        log10 of the inactivation at each, rising. [1]

    Validity
    --------
    Past the last point the last line goes on: a dose there is a dose, but the log is no claim. What
    may be claimed ends with the data (`inactivation.claimable_log`). DomainError unless both rise.

    Source
    ------
    The data's own.
    """

    doses: tuple[float, ...]
    logs: tuple[float, ...]

    def __post_init__(self):
        for name, values in (("doses", self.doses), ("logs", self.logs)):
            if np.any(np.diff((0.0, *values)) <= 0):
                raise DomainError(f"measured {name} must be positive and rise")
        if len(self.doses) != len(self.logs):
            raise DomainError("as many logs as doses are needed")

    def log_inactivation(self, dose):
        """log10 of the inactivation at `dose` [J/m2]; past the last point no claim."""
        return _along(dose, (0.0, *self.doses), (0.0, *self.logs))

    def dose_for(self, log):
        """Dose [J/m2] at which the inactivation is `log`."""
        return _along(log, (0.0, *self.logs), (0.0, *self.doses))


def _along(place, places, values):
    """Follow the points by straight lines, and the last line past the last point."""
    slope = (values[-1] - values[-2]) / (places[-1] - places[-2])
    beyond = np.maximum(np.asarray(place, dtype=float) - places[-1], 0.0)
    return np.interp(place, places, values) + slope * beyond


def fitted_dose_per_log(doses, logs):
    """Dose per log from measured points, least squares of dose on log through the origin.

    Parameters
    ----------
    doses : array_like, shape (..., k)
        Measured doses. [J/m2]
    logs : array_like, shape (..., k)
        log10 of the inactivation at each. [1]

    Returns
    -------
    ndarray, shape (...)
        Dose per log. [J/m2]

    Validity
    --------
    Responses without a shoulder. Negative values raise DomainError.

    Source
    ------
    hijnen_2006 (first-order form).
    """
    doses = require("dose", doses, 0.0, np.inf, "J/m2")
    logs = require("log inactivation", logs, 0.0, np.inf, "1", open_low=True)
    return np.sum(doses * logs, axis=-1) / np.sum(logs**2, axis=-1)
