"""What stands on the bus beside the battery, and how it is run: records of the walk through time.

All power is counted at the direct-current bus.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.power.battery import Bank


class Train(NamedTuple):
    """The train as a load: flow against power, and what a start costs."""

    power: Array  # at the bus, rising, (steps or 1, places) [W]
    flow: Array  # product at these, (steps or 1, places) [m3/s]
    low: Any  # least power at which it runs, (steps or 1, scenarios or 1) [W]
    full: Any  # power at its highest dial, the same shape [W]
    start_energy: Any = 0.0  # used at a start before there is product, in the case's setting [J]
    start_time: Any = 0.0  # time of it [s]
    least_run: float = 0.0  # [s]
    starts_at: tuple[Array, Array, Array] | None = None  # power [W], energy and time over the above


class Needs(NamedTuple):
    """Power of everything else, (steps, scenarios or 1). [W]"""

    always: Array  # standby and priority
    deferrable: Any = 0.0
    opportunity: Any = 0.0


class Rules(NamedTuple):
    """When the train may start and must stop, (steps or 1, scenarios or 1)."""

    floor: Any  # energy that nothing draws on [J]
    stop: Any  # energy at which the train stops [J]
    start: Any  # energy from which it starts [J]
    sun_start: Any  # surplus of the sun at which it starts, whatever is stored [W]
    open: Any = True  # whether it may run at all
    charging: Any = True  # whether the battery may be charged
    # energy on which deferrable loads do not draw, and which the sun fills before the train takes
    # any; if None, that of `stop` for the loads, and the train runs on sun below it [J]
    reserve: Any = None
    most_starts: Any = np.inf  # of a day
    fresh: Any = False  # whether a day of the clock begins with this step


class Tank(NamedTuple):
    """The tank, and what is drawn from it, (steps or 1, scenarios or 1)."""

    volume: Any = np.inf  # [m3]
    draw: Any = np.inf  # flow asked for; without end: all that is made is taken at once [m3/s]
    restart: float = 1.0  # share of the volume at which the train starts again
    first: Any = 0.0  # held at the start [m3]


class Scenario(NamedTuple):
    """Everything of a run: the sun, what stands there, how it is run, charge at the start."""

    sun: Array  # power of the array at the bus, (steps, scenarios) [W]
    bank: Bank
    train: Train
    needs: Needs
    rules: Rules
    tank: Tank
    first: Any = 0.5  # state of charge at the start [1]


def start_cost(
    warm_up: float, warm_up_power: float, flushed: float, flow: float, power: float
) -> tuple[float, float]:
    """Energy and time of a start: warming up, then flushing at full flow.

    Parameters
    ----------
    warm_up : float
        Time until the train is ready. [s]
    warm_up_power : float
        Power meanwhile. [W]
    flushed : float
        Volume that goes to waste. [m3]
    flow : float
        Flow while flushing. [m3/s]
    power : float
        Power while flushing. [W]

    Returns
    -------
    tuple of float
        Energy and time. [J], [s]

    Validity
    --------
    A positive flow.

    Source
    ------
    definition
    """
    flushing = flushed / flow
    return warm_up * warm_up_power + flushing * power, warm_up + flushing


def over_time(record: Any, steps: int, rows: Any, seen: dict[int, Any] | None = None) -> Any:
    """Return a record, or records in it, with the rows of some steps only.

    steps: of the whole; rows: a slice, or places, of them; what was the same array stays the same
    """
    seen = {} if seen is None else seen
    if isinstance(record, tuple):
        parts = [over_time(part, steps, rows, seen) for part in record]
        return type(record)._make(parts) if hasattr(record, "_make") else tuple(parts)
    if isinstance(record, np.ndarray) and record.ndim == 2 and record.shape[0] == steps:
        return seen.setdefault(id(record), record[rows])
    return record
