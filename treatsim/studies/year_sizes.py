"""Sizes of array, battery and tank tried under the same years: what may be changed, what it gives.

All sizes tried see the same drawn years, so that a larger one is never worse by chance of the draw.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.running.dispatch import Trace
from treatsim.running.plan import Plan, plan_of, scenario, walked
from treatsim.running.prepared import Prepared
from treatsim.running.year import RESULTS, by_day, daily_water, values
from treatsim.safety.verdict import NOT_MET, judge
from treatsim.studies.requirements import Target

TABLES = ("array", "battery", "operation", "loads")
OF_THE_TRAIN = ("loads.inverter_efficiency", "operation.least_run")  # change it as a load
PER_DAY = ("/day", "/d")
OF_A_START = ("operation.warm_up", "operation.warm_up_power", "operation.flush")
CAPACITY, OF_THE_CELLS = "battery.capacity", ("charge_power", "discharge_power")
NO_CLOUDS = "hours without passing clouds; treatsim year tells what these take at a size"
RUN_UP = 365  # days before the year, which begins as it ends, as `year` tells it
AT_ONCE = 40  # sizes walked side by side: more do not fit into the processor's memory


def fits(case: Any, address: str, sizes: Array) -> Array:
    """Return 1 where a size of a unit misses no limit that is met now, and 0 where it does."""
    if address.partition(".")[0] in TABLES:
        return np.ones(sizes.size)
    now = case.field(address)[1]
    verdict = judge(case.solve({address: np.append(sizes, now)}))
    shape = (sizes.size + 1,)
    states = [np.broadcast_to(limit.states, shape) for limit in verdict.limits]
    worse = [row != row[-1] for row in states if row[-1] != NOT_MET]
    return 1.0 - np.any(worse, axis=0)[:-1] if worse else np.ones(sizes.size)


def are_met(wanted: Sequence[Target], limits: Sequence[float], found: dict[str, Array]) -> Any:
    """Tell of each size whether it meets every target. limits, found: SI"""
    met: Any = np.ones(len(next(iter(found.values()))), bool)
    for target, limit in zip(wanted, limits, strict=True):
        row = found[target.address]
        met &= row >= limit if target.relation == ">=" else row <= limit
    return met


def limit_of(target: Target) -> float:
    """Return what a target asks for, in SI; RequestError if it is no result of the year."""
    if target.address not in RESULTS:
        raise RequestError(
            f'until "{target.text}": over years a result of the year is asked for, one of '
            f"{', '.join(RESULTS)}"
        )
    try:
        return float(quantities.read(target.value, RESULTS[target.address]))
    except RequestError as error:
        per_day = RESULTS[target.address] == "volume" and target.value.rstrip().endswith(PER_DAY)
        more = "; it is the water of a day already, so leave /day out" if per_day else ""
        raise RequestError(f'until "{target.text}": {error}{more}') from error


def adjusted(case: Any, address: str) -> tuple[dataclasses.Field, float]:
    """Return declaration and value of what is adjusted; RequestError if it cannot be."""
    table = address.partition(".")[0]
    if (table not in TABLES and not is_tank(case, address)) or address in OF_THE_TRAIN:
        raise RequestError(
            f"--adjust {address}: for results of the year a size of [array], [battery], "
            "[operation] or [loads], or the volume of a storage tank is adjusted, such as "
            "array.peak_power, battery.capacity, operation.tank"
        )
    item = case.numeric(address)
    now = case.field(address)[1]
    if now is None or not np.ndim(now) == 0 or not float(now) > 0:
        raise RequestError(
            f"--adjust {address}: needs a value above 0 in the case, to start from; try --set"
        )
    return item, float(now)


def is_tank(case: Any, address: str) -> bool:
    """Whether an input of a unit is the volume that it holds."""
    unit = case.flowsheet().units.get(address.partition(".")[0])
    volume = None if unit is None else unit.usable_volume()
    if volume is None:
        return False
    item, value = case.field(address)
    return item.metadata["kind"] == "volume" and value == volume


def sized(case: Any, sizes: Mapping[str, float]) -> Any:
    """Return the case with sizes changed, by address.

    The power that may go into a battery and out of it is one of its cells: it grows with them.
    """
    own = {name: dict(getattr(case, name)) for name in ("sections", "parameters")}
    for address, size in sizes.items():
        table, _, name = address.partition(".")
        records = own["sections" if table in TABLES else "parameters"]
        record, entries = records[table], {name: size}
        if address == CAPACITY:
            grown = size / record.capacity
            entries |= {key: getattr(record, key) * grown for key in OF_THE_CELLS}
        records[table] = dataclasses.replace(record, **entries)
    return case.changed(**own)


class Tried(NamedTuple):
    """What the years give at sizes."""

    results: dict[str, Array]  # address -> at these, SI
    water: list[Array]  # of each day at each of these, (days, years) [m3]


def results_at(
    case: Any, ready: Prepared, tried: Sequence[Mapping[str, float]],
    progress: Callable[[int, int], None],
) -> Tried:  # fmt: skip
    """Return every result of the year at sizes, walked side by side."""
    people = case.sections.get("people")
    plans: list[Plan] = []
    for sizes in tried:
        own = sized(case, sizes)
        start = plans[0].train if plans and not any(a in OF_A_START for a in sizes) else None
        plans.append(plan_of(own, own.sections, ready.weather, ready.curve, train=start))
    step = plans[0].step
    found, before = [], round(RUN_UP * DAY / step)
    parts = [plans[n : n + AT_ONCE] for n in range(0, len(plans), AT_ONCE)]
    for number, part in enumerate(parts):
        sides = [scenario(plan) for plan in part]
        own_progress = partial(of_parts, progress, number, len(parts))
        pieces = [by_day(piece, step) for piece in walked(sides, step, before, own_progress)]
        rows = [np.concatenate(days) for days in zip(*pieces, strict=True)]
        whole = [np.split(row, len(part), axis=1) for row in rows]
        found += [Trace(*days) for days in zip(*whole, strict=True)]
    told = [values(plan, trace, people) for plan, trace in zip(plans, found, strict=True)]
    return Tried(
        {name: np.array([float(t[name].value) for t in told]) for name in told[0]},
        [daily_water(plan, trace) for plan, trace in zip(plans, found, strict=True)],
    )


def of_parts(
    progress: Callable[[int, int], None], number: int, parts: int, done: int, total: int
) -> None:
    """Tell the progress of one part among parts."""
    progress(number * total + done, parts * total)


def demand_told(wanted: Sequence[Target], found: dict[str, Array]) -> None:
    """Raise RequestError if the case does not tell a result that is asked for."""
    for target in wanted:
        if target.address not in found:
            raise RequestError(
                f'until "{target.text}": this case does not tell it; a table [people] is needed, '
                "for days short at the tap also people.number and a tank"
            )
