"""From a case to what the walk through time needs: arrays over steps and years, and their changes.

A `Plan` holds what a case says; `scenario` turns it, with some bound lifted or changed, into the
input of the walk; `joined` sets scenarios side by side, so that one walk serves all.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.power.air import through_a_day
from treatsim.power.array import array_power
from treatsim.power.kinetic import wells_of
from treatsim.power.loads import CLASSES, past_midnight, read_hours, share_inside
from treatsim.power.sun import HOURS
from treatsim.power.weather import Weather
from treatsim.quantities import text
from treatsim.running.dispatch import Trace, begin, run_up, stretch
from treatsim.running.operation import OperationParameters, tank_volume
from treatsim.running.plant import (
    Needs,
    Scenario,
    Tank,
    Train,
    over_time,
)
from treatsim.running.rules import rules_of, usual
from treatsim.running.start_cost import cost_at_bus
from treatsim.running.train_curve import Curve
from treatsim.safety.people import daily_demand

NEEDED = ("site", "sun", "array", "battery", "loads", "operation")
WORDS = {
    "site": "where the unit stands",
    "sun": "twelve monthly means of irradiation, or a file of hours",
    "array": "the photovoltaic array",
    "battery": "the battery",
    "loads": "inverter, standby and other loads",
    "operation": "what a start costs, and when it may run",
}
STRETCH = (
    720  # whole days; steps walked before they are told: small enough for the processor's memory
)
ENDLESS = 1e15  # J, of a battery that holds everything
LAMP_STARTS = 4.0  # of a day, for the life of lamps; common practice, no source
DRAWING = 12 * 3600.0  # s in which people draw water, where the case does not say


class Plan(NamedTuple):
    """What a case says of its days; power at the bus [W]."""

    battery: Any
    operation: OperationParameters
    curve: Curve
    train: Train
    free: Array  # power of the train if the duty did not hold its dial, (steps or 1, 1)
    inverter: float
    hour: Array  # of the local clock at which each step starts, (steps,) [h]
    step: float  # [s]
    sun: Array  # (steps, years)
    usual_sun: Array  # (steps, 1)
    standby: float
    loads: Mapping[str, Array]  # by class, (steps, 1)
    floor: Array  # share of the battery that cannot be drawn, (steps, years or 1)
    charging: Array  # (steps, years or 1)
    tank: float | None  # [m3]
    demand: float | None  # [m3/day]; None: all that is made is taken at once
    draw: Array | None  # (steps, 1) [m3/s]
    most_starts: float  # of a day; inf for as many as come
    fresh: Array  # whether a day of the clock begins with the step, (steps, 1)
    peak_power: float  # of the array [W]
    tools: float  # power of the tools whose litres are told [W]
    notes: tuple[str, ...]
    late: tuple[str, ...]  # hours that run past midnight, in words


def tools_from(plan: Plan, start: float) -> Array:
    """Return the tools for an hour of the clock on every day, (steps, 1). [W]"""
    return plan.tools * share_inside(start, start + 1, plan.hour, plan.step / 3600)[:, None]


class Change(NamedTuple):
    """What is lifted or added in a scenario."""

    other_loads: bool = True
    starts: bool = True
    tank: bool = True
    hours: bool = True
    bank: bool = True
    duty: bool = True
    tools: Any = None  # more to be served behind the inverter, (steps, 1) [W]


def tables(sections: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tables that a day or a year needs; RequestError names what is missing."""
    missing = [name for name in NEEDED if sections.get(name) is None]
    if missing:
        raise RequestError(
            [f"no table [{name}]: {WORDS[name]}; treatsim describe {name}" for name in missing]
        )
    return {name: sections[name] for name in NEEDED}


def plan_of(
    case: Any, sections: Mapping[str, Any], weather: Weather, curve: Curve,
    season: Array | None = None, step: float = 3600.0, train: Train | None = None,
) -> Plan:  # fmt: skip
    """Return the plan of a case under a weather.

    Parameters
    ----------
    case : Case
        For its units; a Case-like object with `flowsheet`.
    sections : mapping
        Its tables by name, NEEDED among them.
    weather : Weather
        Steps, (years, steps); the middle of a step stands for it.
    curve : Curve
        The train as a load.
    season : ndarray or None
        Usual power of the array in each step, (steps, 1), where the weather is but some days. [W]
    step : float
        Length of a step. [s]
    train : Train or None
        The train with the cost of its start, where it is known already.

    Returns
    -------
    Plan

    Raises
    ------
    RequestError
        A battery that cannot hold its reserve; a tank stated twice.

    Validity
    --------
    The battery is as warm as its box is said to be, else as the mean of the air over a day; lithium
    is not charged while battery or air are in frost.

    Source
    ------
    definition
    """
    battery, loads, operation = (sections[name] for name in ("battery", "loads", "operation"))
    array, site = sections["array"], sections["site"]
    sun = array_power(array, site, weather).T
    hour = np.asarray(weather.hour) - 0.5 * step / 3600.0
    per_day = round(DAY / step)
    air = np.asarray(weather.air_temperature).T
    warm = through_a_day(air, per_day)
    if battery.temperature is not None:
        warm = air = np.full((1, 1), battery.temperature)
    floor = battery.floor(warm)
    tank = tank_volume(case, operation)
    people = sections.get("people")
    number = None if people is None else people.number
    demand = None
    if people is not None and number is not None and tank is not None:
        asked = float(daily_demand(number, people.each, people.losses))
        demand = asked + float(daily_demand(1.0, people.institution_demand, people.losses))
    check_reserve(battery, operation)
    return Plan(
        battery, operation, curve,
        _train(case, curve, operation, loads, hour) if train is None else train,
        _by_step(curve.free, hour) / loads.inverter_efficiency, loads.inverter_efficiency,
        hour, step, sun, usual(sun, per_day) if season is None else season, float(loads.standby),
        {name: loads.power(name, hour, step / 3600.0)[:, None] for name in CLASSES},
        floor, battery.takes_charge(np.minimum(warm, air)), tank, demand,
        None if demand is None else _draw(demand, people, hour, step),
        most_starts(case, operation), _fresh(hour), float(array.peak_power * array.unfolded),
        float(loads.tools),
        (*weather.notes, *_tank_notes(tank, number)), (*loads.over_midnight(), *_late(operation)),
    )  # fmt: skip


def most_starts(case: Any, operation: OperationParameters) -> float:
    """Return the most starts of a day, inf for as many as come."""
    if operation.most_starts is not None:
        return float(operation.most_starts)
    lit = any(unit.irradiates for unit in case.flowsheet().units.values())
    return LAMP_STARTS if lit else float(np.inf)


def bound_by(plan: Plan) -> str:
    """Return why there are no more starts of a day."""
    if plan.operation.most_starts is not None:
        return "operation.most_starts"
    return "for the life of the lamp; common practice, no source: operation.most_starts"


def _fresh(hour: Array) -> Array:
    """Return whether a day of the clock begins with each step, (steps, 1)."""
    clock = (hour + 1e-9) % HOURS
    return np.asarray(np.diff(clock, prepend=clock[0] + 1)[:, None] < 0)


def check_reserve(battery: Any, operation: OperationParameters) -> None:
    """Refuse a battery that cannot hold what is asked to be held in it."""
    if operation.reserve is None:
        return
    usable = float(np.max(battery.capacity)) * (1 - battery.lowest_charge)
    if operation.reserve >= usable:
        raise RequestError(
            f"operation.reserve = {text(operation.reserve, 'energy')}: the battery holds "
            f"{text(usable, 'energy')} above its lowest charge; less than that belongs here"
        )


def _tank_notes(tank: float | None, number: Any) -> list[str]:
    if tank is None:
        return ["tank: none is stated, so every litre made counts, whenever it is made"]
    if number is None:
        return ["tank: people.number is not given, so every litre is taken at once and the tank "
                "is never full"]  # fmt: skip
    return []


def _late(operation: OperationParameters) -> list[str]:
    """Return a line if the schedule runs past midnight."""
    told = operation.schedule and past_midnight(*read_hours(operation.schedule))
    return [f"operation.schedule: {told}"] if told else []


def _train(
    case: Any, curve: Curve, operation: OperationParameters, loads: Any, hour: Array
) -> Train:
    """Return the train as a load at the bus, behind the inverter."""
    inverter = loads.inverter_efficiency
    rows = _days(len(curve.power), hour)
    power, flow = curve.power / inverter, curve.flow
    low, full = (_by_step(ends, hour) / inverter for ends in (curve.low, curve.full))
    energy, time, starts_at = cost_at_bus(case, operation, inverter, curve)
    return Train(power[rows], flow[rows], low, full, energy, time, operation.least_run, starts_at)


def _days(rows: int, hour: Array) -> Array:
    """Return the row of each step in a table of days; one row stands for all."""
    return np.floor(hour / 24).astype(int) % rows if rows > 1 else np.zeros(1, int)


def _by_step(values: Array, hour: Array) -> Array:
    """Return values of days, or one of all, as a column over the steps."""
    return np.asarray(values)[_days(len(values), hour)][:, None]


def _draw(demand: float, people: Any, hour: Array, step: float) -> Array:
    """Return what people draw, evenly over their hours around noon. [m3/s]"""
    length = people.drawing_time or DRAWING
    start, end = 12.0 - length / 7200, 12.0 + length / 7200
    share = share_inside(start, end, hour, step / 3600) if length < DAY else np.ones(len(hour))
    return (demand / length * share)[:, None]


def scenario(plan: Plan, change: Change | None = None) -> Scenario:
    """Return a plan as a scenario, with what a change lifts or adds."""
    c = change or Change()
    years, capacity = plan.sun.shape[1], np.full(plan.sun.shape[1], float(plan.battery.capacity))
    bank = plan.battery.bank(plan.step)._replace(capacity=capacity)
    train = plan.train
    if not c.starts:
        train = train._replace(start_energy=0.0, start_time=0.0)
    if not c.duty:
        train = train._replace(full=plan.free)
    on = float(c.other_loads)
    extra = 0.0 if c.tools is None else c.tools / plan.inverter
    needs = Needs(
        on * (plan.standby + plan.loads["priority"]) + extra, on * plan.loads["deferrable"],
        on * plan.loads["opportunity"],
    )  # fmt: skip
    open_ = np.ones((len(plan.hour), 1), bool)
    if c.hours and plan.operation.schedule is not None:
        hours = read_hours(plan.operation.schedule)
        open_ = share_inside(*hours, plan.hour, plan.step / 3600)[:, None] >= 0.5
    operation = plan.operation
    if not c.hours and operation.night == "never":
        operation = dataclasses.replace(operation, night="where_it_pays")
    rules = rules_of(
        plan.usual_sun, needs.always, operation, bank._replace(capacity=capacity), train,
        floor=plan.floor * capacity[:1], open_=open_, step=plan.step,
    )._replace(
        charging=plan.charging, most_starts=plan.most_starts if c.starts else np.inf,
        fresh=plan.fresh,
    )  # fmt: skip
    first = np.full(years, 0.5)
    if not c.bank:
        first = first * capacity / ENDLESS
        bank = bank._replace(
            capacity=np.full(years, ENDLESS), charge_efficiency=1.0, discharge_efficiency=1.0,
            charge_power=ENDLESS, discharge_power=ENDLESS, keep=1.0,
            wells=bank.wells and wells_of(plan.step, 1.0, 1.0),
        )  # fmt: skip
        rules = rules._replace(floor=0.0, stop=0.0, start=0.0, charging=True, reserve=0.0)
    tank = Tank()
    if plan.draw is not None and plan.tank is not None and c.tank:
        tank = Tank(plan.tank, plan.draw, plan.operation.tank_restart, 0.5 * plan.tank)
    return Scenario(plan.sun, bank, train, needs, rules, tank, first)


def _side_by_side(values: Sequence[Any], widths: Sequence[int]) -> Any:
    """Return values of scenarios on one last axis; one for all where they are alike."""
    if isinstance(values[0], tuple):
        parts = [_side_by_side(part, widths) for part in zip(*values, strict=True)]
        kind: Any = type(values[0])
        return kind._make(parts)
    if all(value is values[0] for value in values):
        one = values[0] is None or np.ndim(values[0]) == 0 or np.shape(values[0])[-1] == 1
        if one or len(values) == 1:
            return values[0]
    arrays = [np.asarray(value) for value in values]
    if all(a.ndim == 0 for a in arrays) and len({a.item() for a in arrays}) == 1:
        return values[0]
    rows = max((a.shape[:-1] for a in arrays if a.ndim >= 2), key=np.prod, default=())
    shapes = [(*rows, w) for w in widths]
    return np.concatenate(
        [np.broadcast_to(a, s) for a, s in zip(arrays, shapes, strict=True)], axis=-1
    )


def joined(scenarios: Sequence[Scenario]) -> Scenario:
    """Set scenarios side by side on the last axis; the curve of the train is that of the first."""
    first = scenarios[0].train
    alike = {name: getattr(first, name) for name in ("power", "flow", "least_run", "starts_at")}
    none: dict[str, Any] = {"power": None, "flow": None, "starts_at": None}
    bare = [s._replace(train=s.train._replace(**none)) for s in scenarios]
    widths = [side.sun.shape[-1] for side in scenarios]
    found = _side_by_side(bare, widths)
    sun = np.broadcast_to(found.sun, (*found.sun.shape[:-1], sum(widths)))
    return found._replace(sun=sun, train=found.train._replace(**alike))


def walked(
    scenarios: Sequence[Scenario], step: float, before: int = 0,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> Iterator[Trace]:  # fmt: skip
    """Walk scenarios through time side by side, stretch by stretch.

    Parameters
    ----------
    scenarios : sequence of Scenario
        Of equally many steps.
    step : float
        Length of a step. [s]
    before : int
        Steps from the end of the year that are walked first, and not told.
    progress : callable
        Called with steps done and steps in all.

    Yields
    ------
    Trace
        Of a stretch; scenarios on the last axis, one after the other.

    Validity
    --------
    As `stretch`.

    Source
    ------
    Energy balance.
    """
    steps = len(scenarios[0].sun)
    state = None
    for first in (*range(-before, 0, STRETCH), *range(0, steps, STRETCH)):
        last = min(first + STRETCH, 0 if first < 0 else steps)
        rows = slice(first % steps, last if last > 0 else steps + last)
        side = joined(over_time(tuple(scenarios), steps, rows))
        state = begin(side) if state is None else state
        if first < 0:  # days walked before the year are no part of what is done
            state = run_up(side, state, step)
            continue
        trace, state = stretch(side, state, step)
        progress(last, steps)
        yield trace
