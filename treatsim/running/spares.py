"""Change-outs over months by simulation: scenarios in pieces, here or on several machines."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, Flags, Index
from treatsim.constants import DAY
from treatsim.correlations.solids.filtration import blocking_constant
from treatsim.correlations.solids.turbidity import TURBIDITY_RANGE
from treatsim.errors import RequestError
from treatsim.normal import normal_score, normal_share
from treatsim.ranges import excursions
from treatsim.running.dose_hours import DoseLimit, darkness, dose_limit, hours_under
from treatsim.running.filter_apart import Track, followed
from treatsim.running.filter_line import TEMPERATURE, Line, filter_line
from treatsim.running.filter_state import Law, Rules
from treatsim.running.filter_stretch import Clock
from treatsim.running.source import absorption_series, solids_series, turbidity_series
from treatsim.running.spares_table import SparesParameters
from treatsim.safety.barriers import HIGHEST_TURBIDITY
from treatsim.safety.verdict import judge

HOUR = 3600.0
MONTH = DAY * 365.0 / 12.0
PIECE = 400  # scenarios at once, few enough for the cache
SCENARIOS = 2000
ONE_BY_ONE = 600  # scenarios where elements side by side come apart: each takes ten times
PROBED, SELDOM = 20, 0.05  # scenarios in which that is looked for, and share that does not matter
WEEK = 168  # hours between the stops at which the state is told
SEED = 20
LONGEST = 24  # months
LEAST_MEAN = 1e-3  # of a factor's logarithm: below, a spread is none


class Belief(NamedTuple):
    """What is held of an element of one filter: equally likely pairs. SI"""

    capacity: Array  # kg
    exponent: Array


@dataclass(frozen=True)
class Plan:
    """Everything a piece of scenarios needs; it travels to other machines."""

    line: Line
    together: tuple[bool, ...]
    rules: Rules
    on: Array  # share of each hour of the clock in which the unit runs
    hours: int  # of the clock, without the lead time
    source: Any  # table [source], or None
    turbidity: float  # median, NTU
    solids: float  # kg/m3 per NTU
    turbidity_left: float  # behind the filters, over that of the source
    start_month: int
    stop_above: float  # NTU
    spreads: tuple[float, float]  # of ln capacity; of the exponent
    beliefs: Mapping[str, Belief]  # filter -> from readings
    seed: int
    dose: DoseLimit | None = None  # of the light in muddy water, where that is told
    turbid: tuple[float, ...] = ()  # NTU behind the filters above which hours are counted


class Piece(NamedTuple):
    """What a piece of scenarios comes to, shape (scenarios, ...)."""

    changes: dict[str, Array]  # a row for each change
    product: Array  # m3/s at each stop, (stops, scenarios)
    drop: Array  # Pa, (stops, scenarios, filters)
    volume: Array  # m3 over all hours
    fed: Array  # kg that come to each filter, lead time included, (scenarios, filters)
    running: Array  # s
    turbid: Array  # s in which the water behind the filters is above each level of the plan
    under: Array  # s below a dose asked for; nan where that is not judged
    miss: float  # open solids balance, relative
    beyond: float  # share of the running hours in which solids are told outside the curves' range
    apart: float  # share of the scenarios in which elements were followed one by one


def stated_table(case: Any) -> SparesParameters:
    """Return the table [spares] of a case; RequestError names the key it must have."""
    table = case.sections.get("spares")
    if table is None:
        raise RequestError(
            f"{case.path}: [spares] is missing: how many to bring rests on how far the capacity "
            "of an element can be trusted; write at least [spares] with capacity_spread = 1.5 "
            "(a data sheet in natural silt) and running_time"
        )
    return table


def plan_for(
    case: Any, months: float, beliefs: Mapping[str, Belief] | None = None, seed: int = SEED
) -> Plan:
    """Return the plan of a case for some months.

    Parameters
    ----------
    case : Case
        With a table [spares]; its filters state capacity and blocking law, its water turbidity
        and solids.
    months : float
        Of 365/12 days; the lead time comes on top. [1]
    beliefs : mapping, optional
        Filter -> what readings say of its elements, in place of the case's spread.
    seed : int
        Of the scenarios. [1]

    Raises
    ------
    RequestError
        Something the forecast rests on is not stated.
    NoSolutionError
        The train does not run at some load within the life of its elements.
    """
    if not 0 < months <= LONGEST:
        raise RequestError(f"--months {months:g}: above 0 and not above {LONGEST}")
    table, water = stated_table(case), case.sections["water"]
    source = case.sections.get("source")
    if not water.turbidity or not water.suspended_solids:
        raise RequestError(
            f"{case.path}: water.turbidity and water.suspended_solids above 0 are needed: what "
            "the filters catch in a month follows from both"
        )
    daily = _daily(case, table)
    hours = max(round(months * MONTH / HOUR), 1)
    stops = np.append(np.arange(WEEK, hours, WEEK), hours)
    whole = hours + int(np.ceil(table.lead_time / HOUR))
    stops = np.append(stops, whole) if whole > hours else stops
    warm = _temperatures(case, table, stops)
    line = filter_line(case, list(warm))
    names, stores = line.filters.names, {n: table.store(n) for n in line.filters.names}
    _known(table, (*names, *line.unknown), case.path)
    longest = [stores[name].longest_use or np.inf for name in names]
    sticky, left, turbid = _water(case, names, warm)
    return Plan(
        line,
        tuple(stores[name].change == "both" for name in names),
        Rules(table.flow_needed or 0.0, np.array(longest), stops, warm, sticky),
        _running(daily, whole),
        hours,
        None if source is None else source.carrying(),
        float(water.turbidity),
        float(water.suspended_solids / water.turbidity),
        left,
        table.start_month,
        table.stop_above or np.inf,
        (float(np.log(table.capacity_spread)), table.exponent_spread),
        beliefs or {},
        seed,
        dose_limit(case, line, warm),
        turbid,
    )


def _known(table: SparesParameters, names: tuple[str, ...], path: str) -> None:
    parts = {f"parts.{name}.of": part.of for name, part in table.all_parts().items() if part.of}
    given = {f"filters.{name}": name for name in table.filters or {}} | parts
    if faults := [f"{path}: spares.{key}: {name} is no filter of this train; known: "
                  f"{', '.join(names)}" for key, name in given.items()
                  if name not in names]:  # fmt: skip
        raise RequestError(faults)


def _daily(case: Any, table: SparesParameters) -> float:
    people = case.sections.get("people")
    daily = table.running_time or (people.running_time if people else None)
    if daily is None:
        raise RequestError(
            f"{case.path}: spares.running_time is missing: running time a day, such as "
            'running_time = "8 h"'
        )
    return float(daily)


def _running(daily: float, hours: int) -> Array:
    """Return the share of each hour in which the unit runs, centred on noon."""
    half = daily / HOUR / 2
    edges = np.clip(np.arange(25), 12 - half, 12 + half)
    return np.resize(np.diff(edges), hours)


def _temperatures(case: Any, table: SparesParameters, stops: Array) -> Array:
    """Return the water's temperature in the middle of each stretch between stops. [K]"""
    if table.coldest_water is None or table.warmest_water is None:
        return np.full(stops.size, float(case.sections["water"].temperature))
    middle = 0.5 * (np.append(0, stops[:-1]) + stops) * HOUR / MONTH
    phase = 2 * np.pi * (table.start_month - 0.5 + middle - (table.coldest_month + 0.0)) / 12
    mean = 0.5 * (table.coldest_water + table.warmest_water)
    return mean - 0.5 * (table.warmest_water - table.coldest_water) * np.cos(phase)


def _water(
    case: Any, names: tuple[str, ...], warm: Array
) -> tuple[Array, float, tuple[float, ...]]:
    """Return the viscosity at the filters [Pa s], the turbidity they leave over the raw, and NTU.

    These are the train's own limits of turbidity, and that above which no barrier earns anything.
    """
    result = case.solve({TEMPERATURE: warm})
    stream = result.streams[names[0], "inlet"]
    behind = np.asarray(result.streams[names[-1], "outlet"].contents["turbidity"], float)
    share = np.max(behind) / float(case.sections["water"].turbidity)
    own = {float(np.max(limit.limit)) for limit in judge(result).limits
           if limit.quantity == "turbidity" and limit.relation == "<="}  # fmt: skip
    levels = tuple(sorted(own | {HIGHEST_TURBIDITY}))
    return np.broadcast_to(np.asarray(stream.viscosity, float), warm.shape), float(share), levels


def swift(plan: Plan) -> bool:
    """Whether whole lives are summed at once: in a few scenarios no element comes apart of others.

    It does where it is changed alone, for a drop or the flow; filter_apart tells why.
    """
    elements = plan.line.filters.elements
    if all(both or n == 1 for both, n in zip(plan.together, elements, strict=True)):
        return True
    return piece_of(plan, 0, PROBED).apart <= SELDOM


def piece_of(
    plan: Plan, number: int, scenarios: int, progress: Callable[[float], None] = lambda part: None
) -> Piece:
    """Run one piece of scenarios; the same plan and number give the same piece anywhere."""
    seeds = np.random.SeedSequence([plan.seed, number]).generate_state(3)
    whole = plan.on.size
    turbidity = turbidity_series(
        plan.source, plan.turbidity, whole, scenarios, int(seeds[0]), plan.start_month
    )
    dark = absorption_series(plan.source, whole, scenarios, int(seeds[0]))
    solids = solids_series(
        plan.source, turbidity, plan.solids, int(seeds[1]), sample_turbidity=plan.turbidity
    )
    running = plan.on[None] * HOUR
    if np.isfinite(plan.stop_above):
        running = np.where(turbidity > plan.stop_above, 0.0, running)
    told, within = running[:, : plan.hours], turbidity[:, : plan.hours]
    with np.errstate(divide="ignore"):  # what holds all turbidity back bears any
        bounds = np.divide(plan.turbid, plan.turbidity_left)
    turbid = [np.sum((within > most) * told, axis=1) for most in bounds]
    beyond = [found.outside for found in excursions(TURBIDITY_RANGE, turbidity)]
    solids *= running
    clock = Clock(_summed(solids), np.broadcast_to(_summed(running), (scenarios, whole + 1)))
    law = _law(plan, np.random.default_rng(seeds[2]), scenarios)
    history, track, apart = followed(
        plan.line, law, clock, plan.rules, np.array(plan.together), plan.dose is not None, progress
    )
    left = history.started + history.fed * plan.line.filters.capture
    left = np.abs(left - history.held - history.removed)
    columns = ("scenario", "hour", "filter", "cause", "elements", "mass", "life")
    product = np.stack(history.product)
    return Piece(
        {name: history.column(name) for name in columns},
        product,
        np.stack(history.drop),
        _volume(product, clock, plan.rules.stops, plan.hours),
        history.fed,
        clock.running[:, plan.hours].copy(),
        np.stack(turbid, axis=1),
        _under(plan, within if dark is None else dark[:, : plan.hours], clock, track),
        float(np.max(left / np.maximum(history.fed, 1e-12))),
        sum(_share(outside, running > 0) for outside in beyond),
        apart / scenarios,
    )


def _share(found: Flags, among: Flags) -> float:
    """Return the share of some hours in which something was found; `among` broadcasts."""
    here = np.broadcast_to(among, found.shape)
    return float(np.sum(found & here)) / max(float(np.sum(here)), 1.0)


def _under(plan: Plan, read: Array, clock: Clock, track: Track) -> Array:
    """Return the running time below the dose; read: absorption, or turbidity that tells it."""
    if plan.dose is None:
        return np.full(len(read), np.nan)
    if plan.dose.mud is not None:
        draw = np.random.default_rng([plan.seed, len(read), 7])
        read = darkness(plan.dose.mud, read, draw)
    return hours_under(plan.dose, read, clock, track)


def _volume(product: Array, clock: Clock, stops: Index, hours: int) -> Array:
    """Return the water of the months without the lead time: flow at the stops, over running."""
    within = stops <= hours
    running = np.diff(clock.running[:, np.append(0, stops[within])], axis=1)
    return np.sum(running.T * product[within], axis=0)


def _summed(values: Array) -> Array:
    total = np.zeros((values.shape[0], values.shape[1] + 1))
    np.cumsum(values, axis=1, out=total[:, 1:])
    return total


def _law(plan: Plan, draw: np.random.Generator, scenarios: int) -> Law:
    """Return the elements of every scenario: of one maker's lot, so equal within a scenario."""
    filters = plan.line.filters
    spread, width = plan.spreads
    normal = draw.standard_normal((scenarios, len(filters.names)))
    share = draw.random((scenarios, len(filters.names)))
    pick = draw.random((scenarios, len(filters.names)))
    capacity = filters.capacity * np.exp(spread * normal)
    exponent = np.broadcast_to(filters.exponent, capacity.shape).copy()
    if width > 0:  # normal, cut at the ends of what is a blocking law
        low, high = (normal_share((end - filters.exponent) / width) for end in (0.0, 2.0))
        exponent = filters.exponent + width * normal_score(low + share * (high - low))
    for g, name in enumerate(filters.names):
        if name in plan.beliefs:
            belief = plan.beliefs[name]
            chosen = (pick[:, g] * belief.capacity.size).astype(int)
            capacity[:, g], exponent[:, g] = belief.capacity[chosen], belief.exponent[chosen]
    constant = blocking_constant(filters.clean, filters.clean * filters.ratio, capacity, exponent)
    return Law(filters.clean, constant, exponent, capacity)


def simulate(
    plan: Plan,
    scenarios: int = SCENARIOS,
    scheduler: str | None = None,
    progress: Callable[[int, int], None] = lambda done, total: None,
) -> list[Piece]:
    """Run all scenarios, in pieces here or on the workers of a scheduler; the numbers are the same.

    Parameters
    ----------
    plan : Plan
        What is run.
    scenarios : int
        How many. [1]
    scheduler : str, optional
        Address of a Dask scheduler, such as "tcp://10.0.0.2:8786".
    progress : callable
        Told scenarios done and all.

    Raises
    ------
    RequestError
        The scheduler cannot be reached, or distributed is not installed.
    """
    sizes = [min(PIECE, scenarios - start) for start in range(0, scenarios, PIECE)]
    if scheduler is not None:
        return _on_workers(plan, sizes, scheduler, progress)
    found, done = [], 0
    for number, size in enumerate(sizes):

        def tell(part: float, start: int = done, size: int = size) -> None:
            progress(start + round(part * size), scenarios)

        found.append(piece_of(plan, number, size, tell))
        done += size
    return found


def _on_workers(plan: Plan, sizes: list[int], address: str, progress) -> list[Piece]:
    try:
        from distributed import Client, as_completed
    except ImportError as error:
        raise RequestError(
            f"--scheduler {address}: this needs distributed; pip install treatsim[cluster]"
        ) from error
    try:
        client = Client(address, timeout="10s")
    except (OSError, ValueError) as error:
        raise RequestError(f"--scheduler {address}: no scheduler answers there") from error
    with client:
        shared = client.scatter(plan, broadcast=True)
        jobs = [client.submit(piece_of, shared, n, size, pure=False)
                for n, size in enumerate(sizes)]  # fmt: skip
        done = 0
        for job in as_completed(jobs):
            done += sizes[jobs.index(job)]
            progress(done, sum(sizes))
        return client.gather(jobs)
