"""Water of years: litres a day with their poor days, what held each lost litre back, and energy.

Causes are told by lifting bounds one after the other, in the order of `CAUSES`: what each lift adds
is the litres of that cause, so that all of them together make exactly the difference between what
is made and what the train would make wide open, day and night, out of all the energy there is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.operations.outcome import Value
from treatsim.power.ageing import damage
from treatsim.power.months import Months, months_of
from treatsim.power.sun import MONTH_OF_DAY
from treatsim.running.cloudy import Clouds, clouds_of
from treatsim.running.dispatch import Trace
from treatsim.running.draws import between_draws
from treatsim.running.plan import Change, Plan, plan_of, scenario, tools_from
from treatsim.running.prepared import prepared
from treatsim.running.together import without_bounds, year_together
from treatsim.safety.people import people_served

WARM_UP = 30  # days of running before the year begins, where nothing forgets what it held
POOR, SERVED = 10.0, 5.0  # percentiles of days
WEEK = 7
DRY = 0.001  # m3: a day with less is a day without water
NOON = 12.0  # h, at which the hour of tools begins whose litres are told
PLAUSIBLE = 5.0  # kWh of product energy per kW of array and day; more has not been seen
LIFTS: dict[str, Change] = {}  # cause -> what is lifted with it, those before included
for _cause, _lifted in (
    ("tools", {"other_loads": False}), ("start_ups", {"starts": False}), ("tank", {"tank": False}),
    ("hours", {"hours": False}), ("bank", {"bank": False}), ("dose", {"duty": False}),
):  # fmt: skip
    _before = next(reversed(LIFTS.values()), Change())
    LIFTS[_cause] = _before._replace(**_lifted)
CAUSES = {
    "tools": "tools, standby and other loads",
    "start_ups": "start-ups",
    "tank": "tank full",
    "hours": "hours in which it may not run",
    "bank": "size and losses of the battery",
    "dose": "the dial may not go higher",
    "pump": "energy that it cannot use",
    "sun": "sun",
}
RESULTS = {
    "year.water_mean": "volume",
    "year.water_on_90_percent_of_days": "volume",
    "year.water_on_95_percent_of_days": "volume",
    "year.water_worst_week": "volume",
    "year.days_without_water": "fraction",
    "year.people_served_on_95_percent_of_days": "people",
    "year.days_short_at_the_tap": "fraction",
    "year.loads_unserved": "fraction",
    "year.starts_a_day": "factor",
    "year.curtailed": "power",
}

ON_95 = {"water": "year.water_on_95_percent_of_days",
         "people": "year.people_served_on_95_percent_of_days"}  # fmt: skip


class Year(NamedTuple):
    """What a plan gives over its years."""

    plan: Plan
    trace: Trace  # (steps, years), as is
    daily: Array  # water of each day, (days, years) [m3]
    made: Array  # water of a day by month, (12,) [m3]
    possible: Array  # of the train wide open, and out of what is then left over, (12,) [m3]
    lost: Mapping[str, Array]  # cause -> litres of a day not made, by month (12,) [m3]
    tools: float  # litres of a day that an hour of the tools at noon costs [m3]
    life: float | None  # of the battery, by its cycles alone [years]
    values: Mapping[str, Value]  # by address
    light: Months | None = None  # sun and array by month
    missed: tuple[str, ...] = ()  # limits that the train misses at its setting in the case
    open: tuple[str, ...] = ()  # limits that are not judged there
    people: Any = None  # what they need, as the case has it
    wanted: float | None = None  # people to be served
    draws: Mapping[str, tuple[float, float]] = MappingProxyType({})  # of values, by address
    clouds: Clouds | None = None  # that pass within the hour, on the first year

    @property
    def unsure(self) -> bool:
        """Whether other years, or clouds within the hour, may not leave enough for the people."""
        if self.wanted is None or self.people is None:
            return False
        day = self.values[ON_95["water"]].value
        low = min(self.draws.get(ON_95["water"], (day,))[0], day)
        left = low * (1.0 if self.clouds is None else self.clouds.left)
        return _served(left, self.people) < self.wanted

    @property
    def state(self) -> str:
        """Whether water is fit by every limit, and enough on 95 % of days in any draw of years."""
        served = self.values.get(ON_95["people"])
        short = self.wanted is not None and served is not None and served.value < self.wanted
        if self.missed or short:
            return "not_met"
        if self.open or self.wanted is None or served is None or self.unsure:
            return "not_judged"
        return "met"


def by_day(trace: Trace, step: float) -> Trace:
    """Return sums of a day of water and starts, means of a day of power, (days, years)."""
    per_day = round(DAY / step)
    sums = {"water", "drawn", "short", "starts"}

    def day(name: str, rows: Array) -> Array:
        parts = rows.reshape(-1, per_day, rows.shape[1])
        return np.asarray(parts.sum(axis=1) if name in sums else parts.mean(axis=1))

    return Trace(*(day(name, rows) for name, rows in zip(Trace._fields, trace, strict=True)))


def daily_water(plan: Plan, daily: Trace) -> Array:
    """Return the water of each day: what people draw, or what is made where nobody says. [m3]"""
    return daily.water if plan.demand is None else daily.drawn


def year_of_case(
    case: Any, folder: Path, progress: Callable[[int, int], None] = lambda done, total: None
) -> Year:
    """Return the years of a case, its limits judged at the setting in the case.

    Parameters
    ----------
    case : Case
        With the tables that `plan.tables` asks for.
    folder : Path
        Where a file of hours lies.
    progress : callable
        Called with steps done and steps in all.

    Returns
    -------
    Year

    Raises
    ------
    RequestError
        A table is missing or cannot be.
    NoSolutionError
        The train has no answer at its setting.

    Validity
    --------
    As `year_of`.

    Source
    ------
    As `year_of`.
    """
    ready, people = prepared(case, folder), case.sections.get("people")
    plan = plan_of(case, case.sections, ready.weather, ready.curve)
    check_loads(plan)
    found = year_of(plan, people, progress)
    wanted = None if people is None else people.number
    light = months_of(case.sections["array"], case.sections["site"], ready.weather)
    clouds = clouds_of(case, ready, plan, found.trace)
    return found._replace(light=light, missed=ready.missed, open=ready.open, clouds=clouds,
                          people=people, wanted=wanted)  # fmt: skip


def year_of(
    plan: Plan, people: Any = None,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Year:  # fmt: skip
    """Return the years of a plan.

    Parameters
    ----------
    plan : Plan
        A case under the weather of some years.
    people : PeopleParameters or None
        Who drinks.
    progress : callable
        Called with steps done and steps in all.

    Returns
    -------
    Year

    Validity
    --------
    Steps of an hour change the litres by about 1 %; the year begins as it ends.

    Source
    ------
    Energy balance.
    """
    lifts = {cause: change for cause, change in LIFTS.items() if lifts_something(plan, cause)}
    changes = [Change(), Change(tools=tools_from(plan, NOON)), *lifts.values()]
    held = [scenario(plan, change) for change in changes if change.bank]
    free = [scenario(plan, change) for change in changes if not change.bank]
    trace, water = year_together(held, plan.step, progress)
    more, kept = without_bounds(free, plan.step, round(WARM_UP * DAY / plan.step))
    made = np.split(np.concatenate([water, more], axis=1), len(changes), axis=1)
    days = len(plan.hour) * plan.step / DAY
    tools = float(np.mean(made[0].sum(axis=0) - made[1].sum(axis=0))) / days
    left = float(np.mean(np.maximum(kept[-plan.sun.shape[1] :], 0.0))) / days  # of the widest lift
    monthly = [_by_month(made[0], plan.step), *(_by_month(m, plan.step) for m in made[2:])]
    best, per_joule = wide_open(plan)
    spare = np.full(12, left * per_joule)
    lost = lost_litres(monthly, tuple(lifts), best) | {"pump": spare}
    daily = by_day(trace, plan.step)
    water = daily_water(plan, daily)
    return Year(plan, trace, water, monthly[0], best + spare, lost, tools, life_of(plan, trace),
                values(plan, daily, people), draws=of_other_draws(water, people))  # fmt: skip


def of_other_draws(daily: Array, people: Any = None) -> dict[str, tuple[float, float]]:
    """Return between what the results of the poor day lie in other draws of as many years."""
    poor, day = between_draws(daily, POOR), between_draws(daily, SERVED)
    if poor is None or day is None:
        return {}
    found = {"year.water_on_90_percent_of_days": poor, ON_95["water"]: day}
    if people is not None:
        found[ON_95["people"]] = (_served(day[0], people), _served(day[1], people))
    return found


def check_loads(plan: Plan) -> None:
    """Refuse loads that take all the array gives, all year round: there is no water to be told."""
    gives = float(plan.sun.mean())
    always = float((plan.standby + plan.loads["priority"]).mean())
    if gives <= always:
        day = [quantities.text(power * DAY, "energy", "si", 3) for power in (gives, always)]
        raise RequestError(
            f"array.peak_power = {quantities.text(plan.peak_power, 'power')}: it gives {day[0]} on "
            f"a mean day, and standby and priority loads of [loads] take {day[1]}; no water is left"
        )


def lifts_something(plan: Plan, cause: str) -> bool:
    """Whether lifting a bound changes anything: those that are not there cost nothing."""
    if cause == "tank":
        return plan.draw is not None and plan.tank is not None
    if cause == "hours":
        return plan.operation.schedule is not None or plan.operation.night == "never"
    return cause != "dose" or bool(np.any(plan.free != plan.train.full))


def lost_litres(made: Sequence[Array], lifted: Sequence[str], best: Array) -> dict[str, Array]:
    """Return what each cause costs of a mean day, by month; none is below zero. [m3]

    Parameters
    ----------
    made : sequence of ndarray, shape (12,)
        Water of a day by month: as is, and with one bound after the other lifted. [m3]
    lifted : sequence of str
        The causes of these.
    best : ndarray, shape (12,)
        What the train makes wide open, day and night. [m3]

    Returns
    -------
    dict
        Every cause, (12,). Together they are what the train would make wide open, less what it
        makes.

    Validity
    --------
    What can be made with more bounds lifted is at least what was made with fewer: a higher dial
    takes more energy for a litre, and a tank filled earlier moves water into another month, so
    that the rules may make less behind a lift. Then that bound costs nothing.

    Source
    ------
    definition
    """
    levels = np.maximum.accumulate(made, axis=0)
    lost = dict.fromkeys(CAUSES, np.zeros(12)) | dict(
        zip(lifted, np.diff(levels, axis=0), strict=True)
    )
    return lost | {"sun": np.maximum(best - levels[-1], 0.0)}


def wide_open(plan: Plan) -> tuple[Array, float]:
    """Return the water of a day by month at the highest dial, (12,), and that of a joule there.

    [m3], [m3/J]
    """
    power, flow = plan.train.power, plan.train.flow
    most = np.broadcast_to(plan.free[:, 0], len(power))
    top = np.array([np.interp(*row) for row in zip(most, power, flow, strict=True)])
    over = np.broadcast_to((top * plan.step)[:, None], (len(plan.hour), 1))
    return _by_month(over, plan.step), float(np.mean(top / most))


def _by_month(values: Array, step: float) -> Array:
    """Return the mean of a day in each month over all years, of a sum over steps."""
    per_day = round(DAY / step)
    daily = values.reshape(-1, per_day, values.shape[1]).sum(axis=1).mean(axis=1)
    return np.array([daily[month == MONTH_OF_DAY].mean() for month in range(12)])


def life_of(plan: Plan, trace: Trace) -> float | None:
    """Return the life of the battery by its cycles alone, None where its cycles are not stated."""
    if plan.battery.cycle_life is None:
        return None
    charge = trace.stored / float(plan.battery.capacity)
    worn = [damage(column, plan.battery.cycle_life) for column in charge.T]
    mean = float(np.mean(worn))
    return np.inf if mean == 0 else len(plan.hour) * plan.step / (365 * DAY) / mean


def worst_weeks(daily: Array) -> Array:
    """Return the mean day of the worst week that begins in each month, over all years. [m3]"""
    total = np.concatenate([daily, daily[:WEEK]])
    sums = np.cumsum(np.vstack([np.zeros(daily.shape[1]), total]), axis=0)
    weeks = (sums[WEEK : WEEK + len(daily)] - sums[: len(daily)]) / WEEK
    return np.array([weeks[month == MONTH_OF_DAY].min() for month in range(12)])


def values(plan: Plan, trace: Trace, people: Any = None) -> dict[str, Value]:
    """Return the results of years by address; trace: `by_day`. Shares of days, water of a day."""
    daily = daily_water(plan, trace)
    on_95 = float(np.percentile(daily, SERVED))
    asked = (trace.served + trace.unserved).sum()
    found = {
        "water_mean": daily.mean(),
        "water_on_90_percent_of_days": np.percentile(daily, POOR),
        "water_on_95_percent_of_days": on_95,
        "water_worst_week": worst_weeks(daily).min(),
        "days_without_water": np.mean(daily < DRY),
        "loads_unserved": trace.unserved.sum() / max(asked, 1e-300),
        "starts_a_day": trace.starts.sum() / daily.size,
        "curtailed": trace.curtailed.mean(),
    }
    if plan.demand is not None:
        found["days_short_at_the_tap"] = np.mean(daily < plan.demand * (1 - 1e-9))
    if people is not None:
        found["people_served_on_95_percent_of_days"] = _served(on_95, people)
    return {
        f"year.{key}": Value(float(value), RESULTS[f"year.{key}"]) for key, value in found.items()
    }


def _served(water: float, people: Any) -> float:
    """Return the people that the water of a day serves, institutions first; water: [m3]."""
    institutions = float(people.institution_demand) / (1 - people.losses)
    return float(people_served(max(water - institutions, 0.0), people.each, people.losses))


def energy(plan: Plan, trace: Trace) -> dict[str, float]:
    """Return where the energy of a mean day goes, adding up to what the array gives. [J]

    What the battery holds more at the end than at the start stands among it.
    """
    product = trace.train - trace.starting
    behind = product + trace.starting + trace.deferred + trace.spare
    always = trace.served.sum()
    standby = min(plan.standby * trace.served.size, always)
    inverter = (behind.sum() + always - standby) * (1 - plan.inverter)
    parts = {
        "water": product.sum() * plan.inverter,
        "start-ups": trace.starting.sum() * plan.inverter,
        "standby": standby,
        "priority loads": (always - standby) * plan.inverter,
        "tools": trace.deferred.sum() * plan.inverter,
        "opportunity loads": trace.spare.sum() * plan.inverter,
        "inverter": inverter,
        "battery losses": trace.battery_loss.sum(),
        "not used": trace.curtailed.sum(),
    }
    days = trace.served.size * plan.step / DAY
    found = {name: float(value) * plan.step / days for name, value in parts.items()}
    total = float(plan.sun.sum()) * plan.step / days
    return {"array": total, **found, "stored more": total - sum(found.values())}


def implausible(plan: Plan, trace: Trace) -> str:
    """Return why a yield cannot be believed, or ""."""
    made = energy(plan, trace)["water"] / 3.6e6 / (plan.peak_power / 1000)
    if made <= PLAUSIBLE:
        return ""
    return (
        f"NOT plausible: {made:.1f} kWh of product energy a day for each kW of array; more than "
        f"{PLAUSIBLE:g} has not been seen without tracking: look over [sun] and [array]"
    )
