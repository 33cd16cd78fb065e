"""When the train starts and stops: what is held for the night, and when running at night pays.

What is known beforehand is the usual sun of the season, never the sun of the day: rules that knew
tomorrow would promise litres that nobody gets.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.running.plant import Rules

AROUND = 10  # days on either side that tell what sun is usual
DARK = 0.02  # of the largest usual power in the year: below, it is night
DULL = 0.3  # of the usual sun, which a dull day still gives
LONGEST = 3  # days for which a reserve is held at most


def usual(sun: Array, per_day: int) -> Array:
    """Return the usual power of the array at each step of the year.

    Parameters
    ----------
    sun : ndarray
        Power, (steps, years). [W]
    per_day : int
        Steps of a day.

    Returns
    -------
    ndarray
        Mean over the years and over the days around, at the same hour, (steps, 1). [W]

    Validity
    --------
    A whole number of days.

    Source
    ------
    definition
    """
    days = sun.mean(axis=1).reshape(-1, per_day)
    wide = min(AROUND, (len(days) - 1) // 2)
    ring = np.concatenate([days[len(days) - wide :], days, days[:wide]])
    total = np.cumsum(np.vstack([np.zeros(per_day), ring]), axis=0)
    window = 2 * wide + 1
    return ((total[window:] - total[:-window]) / window).reshape(-1, 1)


def energy_until_sun(usual_sun: Array, needs: Array, step: float, per_day: int) -> Array:
    """Return what must be stored at the start of each step to serve the loads till sun comes. [J]

    Both (steps, 1) in W; the year goes round. DULL of the usual sun is counted on. At the bus,
    before the losses of the battery.
    """
    missing = (needs - DULL * usual_sun) * step
    reach = LONGEST * per_day
    total = np.cumsum(
        np.vstack([np.zeros((1, 1)), missing, missing[np.arange(reach) % len(missing)]])
    )
    highest = np.maximum.accumulate(total[::-1])[::-1]  # most that is missing at any time to come
    found = (highest - total)[: len(missing), None]
    return np.minimum(found, _ahead(np.maximum(missing, 0.0), reach))


def _ahead(values: Array, steps: int) -> Array:
    """Return the sum over so many steps from each one on; the year goes round."""
    count = len(values)
    whole = np.concatenate([np.zeros((1, 1)), np.cumsum(np.vstack([values, values]), axis=0)])
    ahead = min(steps, count)
    return whole[ahead : ahead + count] - whole[:count]


def rules_of(
    usual_sun: Array, needs: Array, operation: Any, battery: Any, train: Any, *,
    floor: Array, open_: Array, step: float,
) -> Rules:  # fmt: skip
    """Return when the train may start and must stop.

    Parameters
    ----------
    usual_sun : ndarray
        From `usual`, (steps, 1). [W]
    needs : ndarray
        Standby and priority loads, (steps, 1). [W]
    operation : OperationParameters
        Reserve and night.
    battery : Bank
        The store, whose capacity may differ between scenarios.
    train : Train
        Least and most power, cost of a start.
    floor : ndarray
        Energy that nothing draws on, (steps or 1, scenarios or 1). [J]
    open_ : ndarray
        Whether the schedule allows it to run, (steps, 1).
    step : float
        Length of a step. [s]

    Returns
    -------
    Rules

    Validity
    --------
    The train starts from the battery if that holds the reserve, a start and the least run, or from
    the sun as soon as its surplus carries the lowest dial; it stops at the reserve. By night it
    draws only what tomorrow's usual surplus would find no room for.

    Source
    ------
    common practice, no source
    """
    per_day = round(DAY / step)
    if operation.reserve is None:
        after = np.roll(energy_until_sun(usual_sun, needs, step, per_day), -1, axis=0)
        held = after / battery.discharge_efficiency
    else:
        held = np.full((1, 1), float(operation.reserve))
    stop = reserve = np.minimum(floor + held, battery.capacity)
    dark = usual_sun <= DARK * usual_sun.max()
    if operation.night == "never":
        open_ = open_ & ~dark
    if operation.night == "where_it_pays":
        surplus = np.maximum(usual_sun - needs - train.full, 0.0) * step
        comes = _ahead(surplus, per_day) * battery.charge_efficiency
        keeps = np.maximum(battery.capacity - comes, stop)
        stop = np.where(dark, keeps, stop)
    whole = train.start_energy + train.least_run * train.low
    start = np.minimum(stop + whole / battery.discharge_efficiency, battery.capacity * (1 - 1e-9))
    return Rules(floor, stop, start, train.low, open_, reserve=reserve)
