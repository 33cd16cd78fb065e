"""How free chlorine fades in a tank: first or second order, exact in time.

`order` is 1 (rate in 1/s) or 2 (rate in m3/(kg s)) and applies to every point of a call.
"""

from __future__ import annotations

import numpy as np

from treatsim.errors import DomainError, require
from treatsim.ranges import Range

DOUBLING = 10.0  # K per doubling of the rate, common practice for warm dark tanks
# Rates seen, by order: 0.02 1/h in clean to 0.5 1/h in river water (common practice, no source);
# 0.3 L/(mg h) in three camps, within a factor of two (ali_2015). A stated rate outside is doubtful.
RATES = {
    1: Range("decay rate", 0.02 / 3600, 0.5 / 3600, "1/s", "decay of chlorine, first order"),
    2: Range("decay rate", 150 / 3600, 600 / 3600, "m3/(kg s)", "decay of chlorine, second order"),
}


def _order(order: int) -> int:
    if order not in (1, 2):
        raise DomainError(f"decay order {order}: only 1 and 2 are known")
    return order


def _inputs(concentration, rate, time):
    return (
        require("free chlorine", concentration, 0.0, np.inf, "kg/m3"),
        require("decay rate", rate, 0.0, np.inf, ""),
        require("time", time, 0.0, np.inf, "s"),
    )


def residual(start, rate, time, order: int = 1):
    """Free chlorine left after a time.

    Parameters
    ----------
    start : array_like
        Free chlorine at the beginning, after the fast demand. [kg/m3]
    rate : array_like
        Decay rate. [1/s for order 1, m3/(kg s) for order 2]
    time : array_like
        Time elapsed. [s]
    order : int
        1 or 2. [1]

    Returns
    -------
    ndarray
        Free chlorine, broadcast shape. [kg/m3]

    Validity
    --------
    One rate at one temperature, closed tank. Fit the rate to two readings of that water: published
    rates spread tenfold (RATES). Negative values or another order raise DomainError.

    Source
    ------
    definition of first- and second-order decay
    """
    C0, k, t = _inputs(start, rate, time)
    if _order(order) == 1:
        return C0 * np.exp(-k * t)
    return C0 / (1.0 + C0 * k * t)


def chlorine_time(start, rate, time, order: int = 1):
    """Exact integral of concentration over time. Information: credit uses the end value.

    Parameters
    ----------
    start : array_like
        Free chlorine at the beginning. [kg/m3]
    rate : array_like
        Decay rate. [1/s for order 1, m3/(kg s) for order 2]
    time : array_like
        Time elapsed. [s]
    order : int
        1 or 2. [1]

    Returns
    -------
    ndarray
        Integral, broadcast shape; 1 mg min/L is 0.06. [kg s/m3]

    Validity
    --------
    Same as `residual`; exact also for a rate of zero and tiny exponents. Never smaller than the
    end value times the time.

    Source
    ------
    closed-form integral of first- and second-order decay
    """
    C0, k, t = _inputs(start, rate, time)
    x = k * t if _order(order) == 1 else C0 * k * t
    positive = np.where(x > 0, x, 1.0)
    decayed = -np.expm1(-positive) if order == 1 else np.log1p(positive)
    return C0 * t * np.where(x > 0, decayed / positive, 1.0)


def start_for_residual(wanted, rate, time, order: int = 1):
    """Free chlorine needed at the beginning to leave a residual at the end.

    Parameters
    ----------
    wanted : array_like
        Residual wanted at the last cup. [kg/m3]
    rate : array_like
        Decay rate. [1/s for order 1, m3/(kg s) for order 2]
    time : array_like
        Time until the last cup. [s]
    order : int
        1 or 2. [1]

    Returns
    -------
    ndarray
        Start value, broadcast shape. Infinite where a second-order decay brings any start below
        the residual wanted: no dose reaches it. [kg/m3]

    Validity
    --------
    Same as `residual`. Add the fast demand to get the dose, and compare with the health limit.

    Source
    ------
    inverse of `residual`
    """
    C, k, t = _inputs(wanted, rate, time)
    if _order(order) == 1:
        return C * np.exp(k * t)
    left = 1.0 - C * k * t
    return np.where(left > 0, C / np.where(left > 0, left, 1.0), np.inf)


def rate_from_readings(first, second, interval, order: int = 1):
    """Decay rate from two readings of the same water.

    Parameters
    ----------
    first : array_like
        Earlier reading of free chlorine. [kg/m3]
    second : array_like
        Later reading, above zero. [kg/m3]
    interval : array_like
        Time between them. [s]
    order : int
        1 or 2. [1]

    Returns
    -------
    ndarray
        Rate, broadcast shape. [1/s for order 1, m3/(kg s) for order 2]

    Validity
    --------
    Holds at the temperature of the readings. A later reading that is higher, or zero (a lower
    bound of the rate only), raises DomainError.

    Source
    ------
    inverse of `residual`
    """
    C1 = require("first reading", first, 0.0, np.inf, "kg/m3", open_low=True)
    C2 = require("second reading", second, 0.0, np.inf, "kg/m3", open_low=True)
    t = require("interval", interval, 0.0, np.inf, "s", open_low=True)
    if np.any(C2 > C1):
        raise DomainError("free chlorine cannot rise between two readings without a dose")
    return np.log(C1 / C2) / t if _order(order) == 1 else (1.0 / C2 - 1.0 / C1) / t


def rate_at(rate, temperature, reference_temperature):
    """Decay rate moved to another temperature: doubled for every 10 K.

    Parameters
    ----------
    rate : array_like
        Rate at the reference temperature. [1/s or m3/(kg s)]
    temperature : array_like
        Temperature wanted. [K]
    reference_temperature : array_like
        Temperature of the readings. [K]

    Returns
    -------
    ndarray
        Rate in the unit given, broadcast shape.

    Validity
    --------
    A rule of thumb for 0 to 45 degC; outside 273.15 to 318.15 K raises DomainError.

    Source
    ------
    common practice, no source
    """
    rate = require("decay rate", rate, 0.0, np.inf, "")
    T = require("temperature", temperature, 273.15, 318.15, "K")
    reference = require("reference temperature", reference_temperature, 273.15, 318.15, "K")
    return rate * 2.0 ** ((T - reference) / DOUBLING)


def last_cup_dose(wanted, demand, rate, time, temperature, reference_temperature, order: int = 1):
    """Dose that still leaves the residual wanted when the last cup is drawn.

    Parameters
    ----------
    wanted : array_like
        Residual wanted at the last cup, usually 0.2 mg/L. [kg/m3]
    demand : array_like
        Fast demand from a jar test. [kg/m3]
    rate : array_like
        Decay rate at the reference temperature. [1/s or m3/(kg s)]
    time : array_like
        Time until the last cup. [s]
    temperature : array_like
        Warmest temperature of the tank. [K]
    reference_temperature : array_like
        Temperature at which the rate was read. [K]
    order : int
        1 or 2. [1]

    Returns
    -------
    ndarray
        Dose, broadcast shape; infinite where none reaches it. [kg/m3]

    Validity
    --------
    Same as `start_for_residual` and `rate_at`.

    Source
    ------
    sum of demand and start value; temperature rule is common practice
    """
    demand = require("demand", demand, 0.0, np.inf, "kg/m3")
    rate = rate_at(rate, temperature, reference_temperature)
    return demand + start_for_residual(wanted, rate, time, order)
