"""Kinetic model of a lead-acid battery: charge at hand, and charge that follows at its own rate."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike


class Wells(NamedTuple):
    """Both wells over one step, `wells_of`: numbers, or arrays over batteries."""

    share: Any  # width of the well at hand, of both [1]
    left: Any  # share of what is at hand that the exchange leaves in place [1]
    exchanged: Any  # share of the whole that comes to be at hand [1]
    used: Any  # taken from what is at hand, for each unit of current [s]
    time: Any  # length of the step [s]

    def rested(self, available: ArrayLike, whole: ArrayLike) -> Array:
        """Return what is at hand after the step without a current."""
        return np.asarray(available * self.left + whole * self.exchanged)


def wells_of(time: float, share: ArrayLike, rate: ArrayLike) -> Wells:
    """Return what a step does to the wells.

    Parameters
    ----------
    time : float
        Length of the step. [s]
    share : array_like
        Width of the well at hand, of both. [1]
    rate : array_like
        Rate of exchange between the wells. [1/s]

    Returns
    -------
    Wells

    Validity
    --------
    Constant current over the step.

    Source
    ------
    manwell_mcgowan_1993
    """
    passed = np.asarray(rate, float) * time
    left, gone = np.exp(-passed), -np.expm1(-passed)
    return Wells(share, left, share * gone, (gone + share * (passed - gone)) / rate, time)


def after(
    available: ArrayLike, bound: ArrayLike, current: ArrayLike, wells: Wells
) -> tuple[Array, Array]:
    """Both wells after a step at a constant current.

    Parameters
    ----------
    available : array_like
        At hand at once, in any unit of charge or energy. [any]
    bound : array_like
        What follows. [any]
    current : array_like
        Drawn, negative if charging. [any/s]
    wells : Wells
        Of the step.

    Returns
    -------
    tuple of ndarray
        Available and bound, broadcast shape. [any]

    Validity
    --------
    Constant current over the step; within `most_out` and `most_in`.

    Source
    ------
    manwell_mcgowan_1993
    """
    whole = np.asarray(available, float) + bound
    first = wells.rested(available, whole) - current * wells.used
    return first, whole - current * wells.time - first


def most_out(available: ArrayLike, bound: ArrayLike, wells: Wells) -> Array:
    """Largest constant current over a step, which empties the well at hand.

    Parameters
    ----------
    available : array_like
        At hand at once. [any]
    bound : array_like
        What follows. [any]
    wells : Wells
        Of the step.

    Returns
    -------
    ndarray
        Current, broadcast shape. [any/s]

    Validity
    --------
    As `after`.

    Source
    ------
    manwell_mcgowan_1993
    """
    return wells.rested(available, np.asarray(available, float) + bound) / wells.used


def most_in(available: ArrayLike, bound: ArrayLike, capacity: ArrayLike, wells: Wells) -> Array:
    """Largest constant charging current over a step, which fills the well at hand.

    Parameters
    ----------
    available : array_like
        At hand at once. [any]
    bound : array_like
        What follows. [any]
    capacity : array_like
        Both wells when full. [any]
    wells : Wells
        Of the step.

    Returns
    -------
    ndarray
        Current, positive, broadcast shape. [any/s]

    Validity
    --------
    As `after`.

    Source
    ------
    manwell_mcgowan_1993
    """
    room = wells.share * np.asarray(capacity, float) / wells.used
    return np.asarray(room - most_out(available, bound, wells))


def capacity_in(full: ArrayLike, time: ArrayLike, share: float, rate: float) -> Array:
    """Charge that a full battery gives when it is emptied in a time at a constant current.

    Parameters
    ----------
    full : array_like
        Both wells when full. [any]
    time : array_like
        Time in which it is emptied. [s]
    share : float
        Width of the well at hand, of both. [1]
    rate : float
        Rate of exchange. [1/s]

    Returns
    -------
    ndarray
        Charge, broadcast shape. [any]

    Validity
    --------
    Constant current.

    Source
    ------
    manwell_mcgowan_1993
    """
    passed = rate * np.asarray(time, float)
    left = np.exp(-passed)
    return np.asarray(full, float) * passed * share / (1 - left + share * (passed - 1 + left))
