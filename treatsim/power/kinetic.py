"""Kinetic model of a lead-acid battery: charge at hand, and charge that follows at its own rate."""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, ArrayLike


def after(
    available: ArrayLike, bound: ArrayLike, current: ArrayLike, time: float, share: float,
    rate: float,
) -> tuple[Array, Array]:  # fmt: skip
    """Both wells after a time at a constant current.

    Parameters
    ----------
    available : array_like
        At hand at once, in any unit of charge or energy. [any]
    bound : array_like
        What follows. [any]
    current : array_like
        Drawn, negative if charging. [any/s]
    time : float
        Length of the step. [s]
    share : float
        Width of the well at hand, of both. [1]
    rate : float
        Rate of exchange between the wells. [1/s]

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
    left = np.exp(-rate * time)
    flowing = rate * time - 1 + left
    whole = np.asarray(available, float) + bound
    first = (
        available * left
        + (whole * rate * share - current) * (1 - left) / rate
        - current * share * flowing / rate
    )
    second = (
        bound * left
        + whole * (1 - share) * (1 - left)
        - current * (1 - share) * flowing / rate
    )  # fmt: skip
    return first, second


def most_out(
    available: ArrayLike, bound: ArrayLike, time: float, share: float, rate: float
) -> Array:
    """Largest constant current over a time, which empties the well at hand.

    Parameters
    ----------
    available : array_like
        At hand at once. [any]
    bound : array_like
        What follows. [any]
    time : float
        Length of the step. [s]
    share : float
        Width of the well at hand, of both. [1]
    rate : float
        Rate of exchange. [1/s]

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
    left = np.exp(-rate * time)
    whole = np.asarray(available, float) + bound
    top = rate * np.asarray(available, float) * left + whole * rate * share * (1 - left)
    return top / (1 - left + share * (rate * time - 1 + left))


def most_in(
    available: ArrayLike, bound: ArrayLike, time: float, capacity: ArrayLike, share: float,
    rate: float,
) -> Array:  # fmt: skip
    """Largest constant charging current over a time, which fills the well at hand.

    Parameters
    ----------
    available : array_like
        At hand at once. [any]
    bound : array_like
        What follows. [any]
    time : float
        Length of the step. [s]
    capacity : array_like
        Both wells when full. [any]
    share : float
        Width of the well at hand, of both. [1]
    rate : float
        Rate of exchange. [1/s]

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
    left = np.exp(-rate * time)
    room = rate * share * np.asarray(capacity, float)
    return (room / (1 - left + share * (rate * time - 1 + left))) - most_out(
        available, bound, time, share, rate
    )


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
