"""What clouds that pass within the hour take from the water of years walked in hours.

One of the years is walked again in short steps with clouds, and held against its own hours. Clouds
stop a train that no battery carries through them, use up the starts of the day, and keep it at a
lower dial; of a poor day they take more than of a mean one.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.power.clouds import in_short_steps, passing
from treatsim.running.dispatch import Trace
from treatsim.running.plan import Plan, plan_of, scenario
from treatsim.running.prepared import Prepared
from treatsim.running.together import year_together

PER_HOUR, SEED = 20, 3
POOR = 5.0  # percentile of days


class OneYear(NamedTuple):
    """Of one year: water of a day, mean and on 95 % of days [m3]; starts a day."""

    mean: float
    on_95: float
    starts: float


class Clouds(NamedTuple):
    """The same year in hours, and in short steps with clouds."""

    hours: OneYear
    clouds: OneYear

    @property
    def left(self) -> float:
        """Share of the water of a poor day that clouds leave, at most all of it."""
        if self.hours.on_95 <= 0:
            return 1.0
        return min(self.clouds.on_95 / self.hours.on_95, 1.0)


def clouds_of(case: Any, ready: Prepared, plan: Plan, trace: Trace) -> Clouds:
    """Return what clouds take from the first year of a plan.

    Parameters
    ----------
    case : Case
        The case.
    ready : Prepared
        Its weather and train.
    plan : Plan
        Its years in hours.
    trace : Trace
        What happened in them.

    Returns
    -------
    Clouds

    Validity
    --------
    As `passing`: the train is walked in steps of three minutes, eases before it stops and keeps
    energy for clouds (`walk`). One year: a poor day of it has the scatter of a year.

    Source
    ------
    Energy balance.
    """
    light = passing(
        in_short_steps(ready.weather, PER_HOUR), case.sections["sun"], PER_HOUR, 1, SEED
    )
    step = 3600.0 / PER_HOUR
    season = np.repeat(plan.usual_sun, PER_HOUR, axis=0)
    alike = all(len(ends) == 1 for ends in (plan.train.power, plan.train.low, plan.train.full))
    train = plan.train if alike else None  # one row is that of any step, its start is known
    short = plan_of(case, case.sections, light, ready.curve, season, step, train)
    own, _ = year_together([scenario(short)], step)
    return Clouds(_told(plan, trace, plan.step), _told(short, own, step))


def _told(plan: Plan, trace: Trace, step: float) -> OneYear:
    """Return the water and the starts of the first year."""
    water: Array = trace.water if plan.demand is None else trace.drawn
    days = round(len(water) * step / DAY)
    daily = water[:, 0].reshape(days, -1).sum(axis=1)
    return OneYear(float(daily.mean()), float(np.percentile(daily, POOR)),
                   float(trace.starts[:, 0].sum()) / days)  # fmt: skip
