"""Water of years: litres a day with their poor days, what held each lost litre back, and energy.

Causes are told by lifting bounds one after the other, in the order of `CAUSES`: what each lift adds
is the litres of that cause, so that all of them together make exactly the difference between what
is made and what the train would make wide open, day and night, out of all the energy there is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import NoSolutionError
from treatsim.operations.outcome import Value
from treatsim.power.ageing import damage
from treatsim.power.sun import DAYS, MONTH_OF_DAY
from treatsim.power.weather import weather_of
from treatsim.running.dispatch import Trace
from treatsim.running.plan import TOOLS, Change, Plan, joined, plan_of, scenario, tables, walked
from treatsim.running.train_curve import curve_of
from treatsim.safety.people import people_served
from treatsim.safety.verdict import judge

WARM_UP = 30  # days of running before the year begins
POOR, SERVED = 10.0, 5.0  # percentiles of days
WEEK = 7
DRY = 0.001  # m3: a day with less is a day without water
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


class Year(NamedTuple):
    """What a plan gives over its years."""

    plan: Plan
    trace: Trace  # (steps, years), as is
    daily: Array  # water of each day, (days, years) [m3]
    lost: Mapping[str, Array]  # cause -> litres of a day not made, by month (12,) [m3]
    tools: float  # litres of a day that an hour of TOOLS at noon costs [m3]
    life: float | None  # of the battery, by its cycles alone [years]
    values: Mapping[str, Value]  # by address
    missed: tuple[str, ...] = ()  # limits that the train misses at its setting in the case
    open: tuple[str, ...] = ()  # limits that are not judged there
    wanted: float | None = None  # people to be served

    @property
    def state(self) -> str:
        """Whether water is fit by every limit, and enough on 95 % of days."""
        served = self.values.get("year.people_served_on_95_percent_of_days")
        short = self.wanted is not None and served is not None and served.value < self.wanted
        if self.missed or short:
            return "not_met"
        if self.open or self.wanted is None or served is None:
            return "not_judged"
        return "met"


def daily_water(plan: Plan, trace: Trace) -> Array:
    """Return the water of each day: what people draw, or what is made where nobody says. [m3]"""
    water = trace.water if plan.demand is None else trace.drawn
    per_day = round(DAY / plan.step)
    return water.reshape(-1, per_day, water.shape[1]).sum(axis=1)


def year_of_case(
    case: Any, folder: Path, years: int, seed: int, progress: Callable[[int, int], None]
) -> Year:
    """Return the years of a case, its limits judged at the setting in the case.

    Parameters
    ----------
    case : Case
        With the tables that `plan.tables` asks for.
    folder : Path
        Where a file of hours lies.
    years, seed : int
        Of the draw, where no file is stated.
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
    stated = tables(case.sections)
    weather = weather_of(stated["site"], stated["sun"], years, seed, folder)
    verdict = judge(case.solve({}))
    if not np.all(verdict.result.solved):
        raise NoSolutionError(verdict.result.reason(0))
    progress(1, 3)
    curve = curve_of(case, stated["operation"], DAYS)
    progress(2, 3)
    people = case.sections.get("people")
    found = year_of(plan_of(case, case.sections, weather, curve, None), people)
    progress(3, 3)
    missed, unjudged = (
        tuple(limit.name for limit in verdict.of_state(state))
        for state in ("not_met", "not_judged")
    )
    wanted = None if people is None else people.number
    return found._replace(missed=missed, open=unjudged, wanted=wanted)


def year_of(plan: Plan, people: Any = None) -> Year:
    """Return the years of a plan.

    Parameters
    ----------
    plan : Plan
        A case under the weather of some years.
    people : PeopleParameters or None
        Who drinks.

    Returns
    -------
    Year

    Validity
    --------
    Steps of an hour change the litres by about 1 %; the year begins with the battery as December
    left it.

    Source
    ------
    Energy balance.
    """
    changes = [Change(), *LIFTS.values(), Change(tools=TOOLS)]
    side = joined([scenario(plan, change) for change in changes])
    trace = walked(side, plan.step, round(WARM_UP * DAY / plan.step))
    count = plan.sun.shape[1]
    parts = [
        Trace(*(row[:, n * count : (n + 1) * count] for row in trace)) for n in range(len(changes))
    ]
    made = [_by_month(part.water, plan.step) for part in parts]
    lost = {
        cause: after - before for cause, before, after in zip(LIFTS, made, made[1:], strict=False)
    }
    lost |= _without_bounds(plan, parts[len(LIFTS)], made[len(LIFTS)])
    tools = float(np.mean(parts[0].water.sum(axis=0) - parts[-1].water.sum(axis=0)))
    days = len(plan.hour) * plan.step / DAY
    return Year(plan, parts[0], daily_water(plan, parts[0]), lost, tools / days,
                life_of(plan, parts[0]), values(plan, parts[0], people))  # fmt: skip


def _by_month(values: Array, step: float) -> Array:
    """Return the mean of a day in each month over all years, of a sum over steps."""
    per_day = round(DAY / step)
    daily = values.reshape(-1, per_day, values.shape[1]).sum(axis=1).mean(axis=1)
    return np.array([daily[month == MONTH_OF_DAY].mean() for month in range(12)])


def _without_bounds(plan: Plan, free: Trace, made: Array) -> dict[str, Array]:
    """Return what is lost without any bound but sun and pump, a day of each month. [m3]

    The pump has the energy that is left over at the end, at the yield of its highest dial.
    """
    power, flow = plan.train.power, plan.train.flow
    top = np.array([np.interp(f, p, q) for f, p, q in zip(
        np.broadcast_to(plan.free[:, 0], len(power)), power, flow, strict=True)])  # fmt: skip
    best = np.broadcast_to((top * plan.step)[:, None], (len(plan.hour), 1))
    sun = _by_month(np.array(best), plan.step) - made
    kept = free.stored[-1].mean() - free.stored[0].mean()
    spare = np.maximum(kept, 0.0) * float(np.mean(top / plan.free[:, 0]))
    per_day = spare / (len(plan.hour) * plan.step / DAY)
    return {"pump": np.full(12, per_day), "sun": np.maximum(sun, 0.0)}


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
    """Return the results of years by address; shares of days, water of a day. [SI]"""
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
        left = max(on_95 - float(_institutions(people)), 0.0)
        served = people_served(left, people.each, people.losses)
        found["people_served_on_95_percent_of_days"] = float(served)
    return {
        f"year.{key}": Value(float(value), RESULTS[f"year.{key}"]) for key, value in found.items()
    }


def _institutions(people: Any) -> float:
    return people.institution_demand / (1 - people.losses)


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
