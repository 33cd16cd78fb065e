"""Water for people: quantities, people served, taps, queues and the tank between them.

Quantities per person are volumes of one day [m3]; 1 L is 0.001.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, ArrayLike
from treatsim.constants import DAY, LITRE
from treatsim.errors import DomainError, require

ROUNDING = 1e-9  # a count this close to a whole number is that number


class Use(NamedTuple):
    """Water used by one person (or animal, or bed) in a day [m3]."""

    low: float
    high: float
    per: str
    source: str
    known: str


def _litres(low: float, high: float, per: str, source: str, known: str) -> Use:
    return Use(low * LITRE, high * LITRE, per, source, known)


BASIC_NEEDS = {
    "drinking": _litres(2.5, 3.0, "person", "sphere_2011", "read"),
    "hygiene": _litres(2.0, 6.0, "person", "sphere_2011", "read"),
    "cooking": _litres(3.0, 6.0, "person", "sphere_2011", "read"),
}
INSTITUTIONS = {
    "outpatient": _litres(5.0, 5.0, "visit", "sphere_2011", "memory"),
    "inpatient": _litres(40.0, 60.0, "bed", "sphere_2011", "memory"),
    "cholera_bed": _litres(60.0, 60.0, "bed", "sphere_2011", "memory"),
    "therapeutic_feeding": _litres(30.0, 30.0, "person", "sphere_2011", "memory"),
    "school": _litres(3.0, 3.0, "pupil", "sphere_2011", "memory"),
    "mosque": _litres(2.0, 5.0, "visitor", "sphere_2011", "memory"),
    "cattle": _litres(20.0, 30.0, "head", "sphere_2011", "memory"),
    "goat": _litres(5.0, 5.0, "head", "sphere_2011", "memory"),
}
LEVELS = {"drink_only": 3.0e-3, "survival": 7.5e-3, "full": 15.0e-3}  # m3 per person and day
USUAL_LOSSES = (0.10, 0.20)  # common practice
# people that one water point may serve, and the flow it must give (sphere_2011, read)
WATER_POINTS = {
    "tap": (250, 7.5e-3 / 60),
    "hand_pump": (500, 17e-3 / 60),
    "open_well": (400, 12.5e-3 / 60),
}
LONGEST_QUEUE = 30 * 60.0  # s; 15 minutes in the 2004 edition
LONGEST_FILLING = 3 * 60.0  # s for 20 L


class TankBuffer(NamedTuple):
    """Storage between a supply and a demand over one period."""

    volume: Any  # m3 that must be held to bridge every interval
    surplus: Any  # m3 left over at the end; negative: the demand cannot be met by any tank


def basic_needs() -> tuple[float, float]:
    """Basic water need per person and day, lower and upper end.

    Parameters
    ----------
    None

    Returns
    -------
    tuple of float
        Sum over drinking, hygiene and cooking. [m3]

    Validity
    --------
    Depends on climate, culture and food; the ends are for planning.

    Source
    ------
    sphere_2011
    """
    return (
        sum(use.low for use in BASIC_NEEDS.values()),
        sum(use.high for use in BASIC_NEEDS.values()),
    )


def people_served(daily_volume: ArrayLike, per_person: ArrayLike, losses: ArrayLike = 0.0) -> Array:
    """People who can be given a quantity, in whole people.

    Parameters
    ----------
    daily_volume : array_like
        Water produced in a day. [m3]
    per_person : array_like
        Quantity per person and day. [m3]
    losses : array_like
        Share lost between tank and cup, usually 0.1 to 0.2. [1]

    Returns
    -------
    ndarray
        People, rounded down, broadcast shape. [1]

    Validity
    --------
    Any. Losses of 1 or more, or a quantity of zero, raise DomainError.

    Source
    ------
    definition; losses are common practice
    """
    volume = require("daily volume", daily_volume, 0.0, np.inf, "m3")
    each = require("quantity per person", per_person, 0.0, np.inf, "m3", open_low=True)
    losses = require("losses", losses, 0.0, 1.0 - 1e-12, "")
    return np.floor(volume * (1.0 - losses) / each * (1.0 + ROUNDING))


def people_at_levels(daily_volume: ArrayLike, losses: ArrayLike = 0.0) -> dict[str, Array]:
    """People served with drinking water only, for survival, and in full.

    Parameters
    ----------
    daily_volume : array_like
        Water produced in a day. [m3]
    losses : array_like
        Share lost between tank and cup. [1]

    Returns
    -------
    dict
        "drink_only" (3 L), "survival" (7.5 L), "full" (15 L) -> people, broadcast shape. [1]

    Validity
    --------
    As `people_served`.

    Source
    ------
    sphere_2011
    """
    return {name: people_served(daily_volume, each, losses) for name, each in LEVELS.items()}


def daily_demand(people: ArrayLike, per_person: ArrayLike, losses: ArrayLike = 0.0) -> Array:
    """Water to be produced in a day for a number of people.

    Parameters
    ----------
    people : array_like
        People, beds, pupils or heads. [1]
    per_person : array_like
        Quantity of each in a day. [m3]
    losses : array_like
        Share lost between tank and cup. [1]

    Returns
    -------
    ndarray
        Volume, broadcast shape. [m3]

    Validity
    --------
    Inverse of `people_served` before rounding.

    Source
    ------
    definition
    """
    people = require("people", people, 0.0, np.inf, "")
    each = require("quantity per person", per_person, 0.0, np.inf, "m3")
    return people * each / (1.0 - require("losses", losses, 0.0, 1.0 - 1e-12, ""))


def volume_at_point(people: ArrayLike, flow: ArrayLike, open_time: ArrayLike) -> Array:
    """Water per person and day that one water point can give.

    Parameters
    ----------
    people : array_like
        People who share the point. [1]
    flow : array_like
        Flow of the point while open. [m3/s]
    open_time : array_like
        Time open in a day, usually 8 hours. [s]

    Returns
    -------
    ndarray
        Volume per person, broadcast shape. [m3]

    Validity
    --------
    Without pause between containers: an upper bound. Impossible values raise DomainError.

    Source
    ------
    definition; usual numbers sphere_2011
    """
    people = require("people", people, 0.0, np.inf, "", open_low=True)
    flow = require("flow", flow, 0.0, np.inf, "m3/s")
    return flow * require("time open", open_time, 0.0, DAY, "s") / people


def water_points(
    people: ArrayLike,
    per_person: ArrayLike,
    flow: ArrayLike,
    open_time: ArrayLike,
    people_per_point: ArrayLike,
) -> Array:
    """Water points needed, by flow and by crowding, whichever is more.

    Parameters
    ----------
    people : array_like
        People to be served. [1]
    per_person : array_like
        Quantity per person and day. [m3]
    flow : array_like
        Flow of one point while open. [m3/s]
    open_time : array_like
        Time open in a day. [s]
    people_per_point : array_like
        Most people allowed at one point. [1]

    Returns
    -------
    ndarray
        Points, rounded up, broadcast shape. [1]

    Validity
    --------
    As `volume_at_point`.

    Source
    ------
    sphere_2011
    """
    people = require("people", people, 0.0, np.inf, "")
    each = require("quantity per person", per_person, 0.0, np.inf, "m3")
    one_day = require("flow", flow, 0.0, np.inf, "m3/s", open_low=True) * require(
        "time open", open_time, 0.0, DAY, "s", open_low=True
    )
    most = require("people per point", people_per_point, 0.0, np.inf, "", open_low=True)
    needed = np.maximum(people * each / one_day, people / most)
    return np.ceil(needed * (1.0 - ROUNDING))


def queue_time(
    waiting: ArrayLike,
    points: ArrayLike,
    container: ArrayLike,
    flow: ArrayLike,
    handling: ArrayLike = 0.0,
) -> Array:
    """Time until the last of a queue walks away with water.

    Parameters
    ----------
    waiting : array_like
        People in the queue, one container each. [1]
    points : array_like
        Water points that share the queue. [1]
    container : array_like
        Volume of a container. [m3]
    flow : array_like
        Flow of one point. [m3/s]
    handling : array_like
        Time lost between two containers. [s]

    Returns
    -------
    ndarray
        Time, broadcast shape; aim at or below 30 minutes. [s]

    Validity
    --------
    All points alike, the queue splits evenly. Impossible values raise DomainError.

    Source
    ------
    definition; aim sphere_2011
    """
    waiting = require("people waiting", waiting, 0.0, np.inf, "")
    points = require("water points", points, 1.0, np.inf, "")
    container = require("container", container, 0.0, np.inf, "m3")
    flow = require("flow", flow, 0.0, np.inf, "m3/s", open_low=True)
    turns = np.ceil(waiting / points * (1.0 - ROUNDING))
    return turns * (container / flow + require("handling", handling, 0.0, np.inf, "s"))


def tank_buffer(durations: ArrayLike, supply: ArrayLike, demand: ArrayLike) -> TankBuffer:
    """Tank that bridges a supply and a demand: largest minus smallest cumulative difference.

    Parameters
    ----------
    durations : array_like
        Lengths of the intervals of one period (a day that repeats). [s]
    supply : array_like
        Mean flow into the tank in each interval, last axis. [m3/s]
    demand : array_like
        Mean flow out of the tank in each interval, last axis. [m3/s]

    Returns
    -------
    TankBuffer
        Volume and surplus over the period, shape without the last axis. [m3]

    Validity
    --------
    Flows constant within an interval. With a surplus the volume is an upper bound: the full tank
    overflows or the supply pauses. Add contact hold-up and a reserve for a poor day.

    Source
    ------
    definition (mass curve); common practice
    """
    durations = require("interval", durations, 0.0, np.inf, "s", open_low=True)
    supply = require("supply", supply, 0.0, np.inf, "m3/s")
    demand = require("demand", demand, 0.0, np.inf, "m3/s")
    steps = (supply - demand) * durations
    if steps.ndim == 0:
        raise DomainError("supply and demand need an axis of intervals")
    level = np.cumsum(steps, axis=-1)
    highest = np.maximum(np.max(level, axis=-1), 0.0)
    return TankBuffer(highest - np.minimum(np.min(level, axis=-1), 0.0), level[..., -1])
