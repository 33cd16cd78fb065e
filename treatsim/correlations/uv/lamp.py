"""Usable output of an ultraviolet lamp: nameplate times factors, each kept visible."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.errors import DomainError, require
from treatsim.ranges import Range

# common practice, no source: plain low-pressure lamps give less outside
TEMPERATURE_RANGE = Range(
    "temperature", 283.15, 303.15, "K", "lamp output without a temperature factor of its own"
)


def usable_output(
    nominal: ArrayLike,
    ageing: ArrayLike = 1.0,
    temperature: ArrayLike = 1.0,
    warm_up: ArrayLike = 1.0,
    fouling: ArrayLike = 1.0,
) -> Array:
    """Ultraviolet power that a lamp gives now.

    Quartz absorption and reflection belong to the field, not here.

    Parameters
    ----------
    nominal : array_like
        Output of the new, warm, clean lamp at its wavelength. [W]
    ageing, temperature, warm_up, fouling : array_like
        Factors: hours burned, cold spot, time since start, deposit on the sleeve. [1]

    Returns
    -------
    ndarray
        Output. [W]

    Validity
    --------
    Factors from 0 to 1, else DomainError. Usual are 0.7 or more at the end of lamp life and 0.8 or
    more for a sleeve that is cleaned (common practice); TEMPERATURE_RANGE without a factor for it.

    Source
    ------
    uvdgm_2006, chapter 3 (from memory).
    """
    power = require("nominal output", nominal, 0.0, np.inf, "W")
    factors = {
        "ageing factor": ageing,
        "temperature factor": temperature,
        "warm-up factor": warm_up,
        "fouling factor": fouling,
    }
    for name, value in factors.items():
        power = power * require(name, value, 0.0, 1.0, "1")
    return power


def warm_up_factor(time: ArrayLike, warm_up_time: ArrayLike, start: ArrayLike = 0.2) -> Array:
    """Share of full output after switching on.

    Parameters
    ----------
    time : array_like
        Seconds since the start. [s]
    warm_up_time : array_like
        Time at which 95 % of the missing output has come: 120 to 300 s for low-pressure mercury,
        240 to 600 s for amalgam, zero for diodes. [s]
    start : array_like
        Share at the first moment. [1]

    Returns
    -------
    ndarray
        Share of full output. [1]

    Validity
    --------
    An exponential rise chosen for want of data. Negative times or a share outside 0 to 1 raise
    DomainError.

    Source
    ------
    Common practice, no source.
    """
    time = require("time", time, 0.0, np.inf, "s")
    warm_up_time = require("warm-up time", warm_up_time, 0.0, np.inf, "s")
    start = require("share at start", start, 0.0, 1.0, "1")
    instant = warm_up_time == 0
    return np.where(instant, 1.0, risen(time, np.where(instant, 1.0, warm_up_time), start))


def risen(time: Any, warm_up_time: Any, start: Any) -> Any:
    """Return the share of full output, unchecked and of plain numbers too.

    Parameters
    ----------
    time, warm_up_time, start : float or array_like
        As of `warm_up_factor`; warm_up_time above 0. [s], [s], [1]

    Returns
    -------
    float or ndarray
        Share of full output. [1]

    Validity
    --------
    As of `warm_up_factor`, whose formula this is.

    Source
    ------
    Common practice, no source.
    """
    return 1.0 - (1.0 - start) * 0.05 ** (time / warm_up_time)


@dataclass(frozen=True)
class TemperatureTable:
    """Lamp output against water temperature, as its maker or the user measured it.

    Parameters
    ----------
    temperatures : tuple of float
        Rising. [K]
    factors : tuple of float
        Output over the largest output. [1]

    Validity
    --------
    Straight lines; the end lines go on outside the table, but not below zero or above one:
    `range` says where that begins. DomainError unless temperatures rise and factors lie in 0 to 1.

    Source
    ------
    The table's own.
    """

    temperatures: tuple[float, ...]
    factors: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.temperatures) != len(self.factors) or len(self.factors) < 2:
            raise DomainError("a temperature table needs two or more pairs")
        if np.any(np.diff(self.temperatures) <= 0):
            raise DomainError("the temperatures of a table must rise")
        require("temperature factor", self.factors, 0.0, 1.0, "1")

    @property
    def range(self) -> Range:
        """Temperatures the table covers."""
        low, high = self.temperatures[0], self.temperatures[-1]
        return Range("temperature", low, high, "K", "lamp output against temperature")

    def factor(self, temperature: ArrayLike) -> Array:
        """Output over the largest output at `temperature` [K]."""
        x, y = np.asarray(self.temperatures), np.asarray(self.factors)
        temperature = require("temperature", temperature, 0.0, np.inf, "K", open_low=True)
        i = np.clip(np.searchsorted(x, temperature, side="right") - 1, 0, x.size - 2)
        line = y[i] + (temperature - x[i]) * (y[i + 1] - y[i]) / (x[i + 1] - x[i])
        return np.clip(line, 0.0, 1.0)
