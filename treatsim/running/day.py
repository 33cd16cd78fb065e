"""One day at the unit: when to start and stop, what may be plugged in, what is left for the night.

The day stands between usual ones, so that the battery comes into it as it usually does, and what it
leaves behind is paid for on the next. The walk through time is that of the year, in short steps.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.power.array import array_power
from treatsim.power.months import MID_MONTH
from treatsim.power.one_day import OneDay, at_clock, one_day
from treatsim.power.sun import DAYS, HOURS, by_month
from treatsim.running.dispatch import Trace
from treatsim.running.plan import Plan, plan_of, scenario, tools_from, walked
from treatsim.running.prepared import prepared
from treatsim.running.rules import usual

PER_HOUR = 6  # steps of an hour
BEFORE, AFTER = 8, 1  # usual days
SERVED = 0.995  # of what tools ask for, above which they may be plugged in
NOTHING = 1e-9 * 3.6e6  # J


class Day(NamedTuple):
    """A day of a case, and the usual one after it; steps on the first axis."""

    plan: Plan
    number: int  # day of the year, 0 is the first of January
    dull: bool
    weather: OneDay
    trace: Trace  # of the day, (steps, 1)
    night: Trace  # of the time after it until the usual sun is back, (steps, 1)
    before: float  # energy stored at midnight [J]
    cost: Array  # litres that an hour of the tools costs, by hour of the clock, (24,) [m3]
    granted: Array  # share of what they ask for that they get, (24,)
    missed: tuple[str, ...] = ()  # limits that the train misses at its setting in the case
    open: tuple[str, ...] = ()  # limits that are not judged there

    @property
    def hour(self) -> Array:
        """Hour of the local clock at which each step of the day begins."""
        return np.arange(len(self.trace.stored)) / PER_HOUR

    @property
    def sun(self) -> Array:
        """Power of the array over the day, (steps,). [W]"""
        return self.plan.sun[self.weather.chosen, 0]

    @property
    def runs(self) -> list[tuple[float, float]]:
        """Hours between which the train runs."""
        on = np.concatenate([[0], self.trace.train[:, 0] > 0, [0]]).astype(int)
        edges = np.flatnonzero(np.diff(on)) / PER_HOUR
        return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))

    @property
    def dusk(self) -> int:
        """Step of the day at which the sun no longer carries what is always on."""
        carried = self.sun >= always(self)[self.weather.chosen]
        return int(len(carried) - np.argmax(carried[::-1])) if carried.any() else 0


def always(day: Day) -> Array:
    """Return what is always on or comes first, at the bus, (steps,) of all days. [W]"""
    return (day.plan.standby + day.plan.loads["priority"])[:, 0]


class Night(NamedTuple):
    """What is left when the sun goes, and what is needed until it is back."""

    dusk: float  # h of the clock
    dawn: float
    held: float  # above the floor, as it reaches the bus [J]
    needed: float  # by standby and priority loads, at the bus [J]
    missing: float  # of that, not served [J]


def night_of(day: Day) -> Night:
    """Return the night after a day."""
    step, plan = day.plan.step, day.plan
    late = day.dusk
    start = day.weather.chosen.start + late
    power = always(day)[start : start + HOURS * PER_HOUR]
    sun = plan.sun[start : start + HOURS * PER_HOUR, 0]
    back = sun >= power
    dark = int(np.argmax(back)) if back.any() else len(back)
    stored = day.trace.stored[late - 1, 0] if late else day.before
    capacity = float(plan.battery.capacity)
    floor = float(np.broadcast_to(plan.floor, (len(plan.sun), 1))[start, 0]) * capacity
    held = max(stored - floor, 0.0) * plan.battery.discharge_efficiency
    unserved = np.concatenate([day.trace.unserved[:, 0], day.night.unserved[:, 0]])
    return Night(
        late / PER_HOUR, (late + dark) / PER_HOUR % HOURS, held,
        float(np.sum(np.maximum(power - sun, 0.0)[:dark])) * step,
        float(unserved[late : late + dark].sum()) * step,
    )  # fmt: skip


def day_of_case(
    case: Any, folder: Path, date: int | None, dull: bool,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Day:  # fmt: skip
    """Return a day of a case.

    Parameters
    ----------
    case : Case
        With the tables that `plan.tables` asks for.
    folder : Path
        Where a file of hours lies.
    date : int or None
        Day of the year, 0 is the first of January; if None, the middle of the month in which the
        array gives least.
    dull : bool
        Whether it is as dull as one day in ten, else without a cloud.
    progress : callable
        Called with steps done and steps in all.

    Returns
    -------
    Day

    Raises
    ------
    RequestError
        A table is missing or cannot be.
    NoSolutionError
        The train has no answer at its setting.

    Validity
    --------
    Clouds that pass are not in it; the days before and after are usual ones.

    Source
    ------
    Energy balance.
    """
    ready = prepared(case, folder)
    year = ready.weather
    site, sun, array = (case.sections[name] for name in ("site", "sun", "array"))
    hourly = array_power(array, site, year).T
    if date is None:
        of_days = hourly.mean(axis=1).reshape(DAYS, HOURS).mean(axis=1)
        date = MID_MONTH[int(np.argmin(by_month(of_days)))]
    found = one_day(year, sun, date, dull, (BEFORE, AFTER, PER_HOUR))
    season = at_clock(usual(hourly, HOURS).reshape(DAYS, HOURS)[date], found.weather.hour)
    plan = plan_of(
        case, case.sections, found.weather, ready.curve, season[:, None], 3600.0 / PER_HOUR
    )
    day = _walked(plan, found, date, dull, progress)
    return day._replace(missed=ready.missed, open=ready.open)


def _walked(plan: Plan, found: OneDay, number: int, dull: bool, progress) -> Day:
    """Walk the days once as they are, and once for each hour of tools."""
    today = np.zeros((len(plan.hour), 1))
    today[found.chosen] = 1.0
    sides = [scenario(plan)]
    extra = [tools_from(plan, float(start)) * today / plan.inverter for start in range(HOURS)]
    base = sides[0].needs
    sides += [sides[0]._replace(needs=base._replace(deferrable=base.deferrable + power))
              for power in extra]  # fmt: skip
    pieces = list(walked(sides, plan.step, 0, progress))
    trace = Trace(*(np.concatenate(rows) for rows in zip(*pieces, strict=True)))
    start = found.chosen.start
    # what is stored less at the end is water not made yet, at the yield of the highest dial
    left = trace.stored[-1] * plan.battery.discharge_efficiency * full_yield(plan)
    water = trace.water[start:].sum(axis=0) + left
    more = trace.deferred[start:].sum(axis=0)
    asked = plan.tools / plan.inverter * PER_HOUR
    return Day(
        plan, number, dull, found,
        Trace(*(row[found.chosen, :1] for row in trace)),
        Trace(*(row[found.chosen.stop :, :1] for row in trace)),
        float(trace.stored[start - 1, 0]), np.maximum(water[0] - water[1:], 0.0),
        (more[1:] - more[0]) / asked,
    )  # fmt: skip


def full_yield(plan: Plan) -> float:
    """Return the water of a joule at the bus at the highest dial of the day, [m3/J]."""
    most = float(np.asarray(plan.train.full)[-1, 0])
    return float(np.interp(most, plan.train.power[-1], plan.train.flow[-1])) / most


def may_be_plugged_in(day: Day) -> Array:
    """Tell of each hour of the clock whether an hour of the tools gets what it asks for, (24,)."""
    return np.asarray(day.granted >= SERVED)
