"""What a simulation of the filters comes to: lives, changes, and what to bring."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array, Index
from treatsim.constants import DAY
from treatsim.errors import RequestError
from treatsim.running.filter_state import CAUSES
from treatsim.running.spares import HOUR, Piece, Plan, stated_table
from treatsim.running.spares_table import Part, SparesParameters
from treatsim.running.stock import (
    joint_level,
    least_scenarios,
    poisson_level,
    poisson_stock,
    quantile,
    to_bring,
    worn_out,
)

TOLD = (0.5, 0.9, 0.95, 0.99)
PATIENCE = 200  # rounds in which the level of each part is raised until that of all is reached


class FilterForecast(NamedTuple):
    """One filter over the months asked for."""

    name: str
    mean: float  # elements used up
    error: float  # of the mean, relative: in 19 cases of 20 it is known within
    quantiles: tuple[float, ...]  # at TOLD
    life: tuple[float, float, float] | None  # running time of an element: 10, 50, 90 %, s
    first: tuple[float, float, float] | None  # first change: 10, 50, 90 % of scenarios, h of clock
    causes: Mapping[str, float]  # share of the changes
    mass: float  # mean mass in an element at its change, kg
    largest_drop: float  # Pa, of any scenario at a weekly stop


class Item(NamedTuple):
    """A line of the packing list."""

    name: str
    why: str
    needed: float  # at the level, spoiled ones aside
    stock: float
    pack: float
    bring: float
    level: float  # chance that stock and what is brought suffice; nan where nothing is random
    order_at: float | None  # elements left at which the next order goes out
    unit: str = ""  # of the numbers; "" for pieces


@dataclass(frozen=True)
class Forecast:
    """What `treatsim spares` tells; `forecast` makes it."""

    months: float
    scenarios: int
    level: float
    joint: float
    filters: tuple[FilterForecast, ...]
    unknown: tuple[str, ...]
    items: tuple[Item, ...]
    flow: Array  # m3/s at each stop: 5, 50, 95 %, (stops, 3)
    used: Array  # elements so far at each stop: 5, 50, 95 %, (stops, filters, 3)
    stops: Index  # h of clock
    turbid: tuple[tuple[float, float, float], ...]  # NTU behind the filters, s above: mean, 95 %
    under: tuple[float, float] | None  # s below a dose asked for: mean, 95 %; None: not judged
    volume: tuple[float, float, float]  # m3: 5, 50, 95 %
    running: tuple[float, float]  # s: mean, as planned
    miss: float  # open solids balance
    error: float  # largest miss of the tabulated flow, relative
    beyond: float  # share of the running hours outside the range of the solids' curves
    apart: float  # share of the scenarios in which elements were followed one by one


def forecast(case: Any, plan: Plan, pieces: Sequence[Piece], level: float | None) -> Forecast:
    """Return what the pieces of a simulation come to.

    Parameters
    ----------
    case : Case
        With its table [spares].
    plan : Plan
        Which was run.
    pieces : sequence of Piece
        All of it.
    level : float, optional
        Chance that nothing runs out; left out, that of the table. [1]

    Raises
    ------
    RequestError
        Too few scenarios to tell the level of each part.
    """
    table = stated_table(case)
    level = table.level if level is None else level
    scenarios = sum(len(piece.volume) for piece in pieces)
    changes = _joined(pieces)
    used, whole, ordering = counts_of(plan, pieces)
    items, joint = _items(table, plan, (whole, ordering), pieces, level, scenarios)
    product = np.concatenate([piece.product for piece in pieces], axis=1)
    drop = np.concatenate([piece.drop for piece in pieces], axis=1)
    stops = plan.rules.stops[plan.rules.stops <= plan.hours]
    volume, running, turbid, under = (
        np.concatenate([getattr(piece, key) for piece in pieces])
        for key in ("volume", "running", "turbid", "under")
    )
    return Forecast(
        plan.hours * HOUR / (DAY * 365 / 12),
        scenarios,
        level,
        joint,
        tuple(
            _filter(plan, g, name, changes, used[:, g], drop[: stops.size, :, g])
            for g, name in enumerate(plan.line.filters.names)
        ),
        plan.line.unknown,
        items,
        np.quantile(product[: stops.size], [0.05, 0.5, 0.95], axis=1).T,
        _so_far(plan, changes, scenarios, stops),
        stops,
        tuple(
            (most, float(np.mean(turbid[:, n])), quantile(turbid[:, n], 0.95))
            for n, most in enumerate(plan.turbid)
        ),
        None if plan.dose is None else (float(np.mean(under)), quantile(under, 0.95)),
        (quantile(volume, 0.05), quantile(volume, 0.5), quantile(volume, 0.95)),
        (float(np.mean(running)), float(np.sum(plan.on[: plan.hours]) * HOUR)),
        max(piece.miss for piece in pieces),
        max(plan.line.response.error.values()),
        float(np.mean([piece.beyond for piece in pieces])),
        float(np.mean([piece.apart for piece in pieces])),
    )


def _joined(pieces: Sequence[Piece]) -> dict[str, Array]:
    """Return the changes of all pieces, scenarios numbered through."""
    found: dict[str, list[Array]] = {}
    start = 0
    for piece in pieces:
        for name, values in piece.changes.items():
            found.setdefault(name, []).append(values + start if name == "scenario" else values)
        start += len(piece.volume)
    return {name: np.concatenate(parts) for name, parts in found.items()}


def counts_of(plan: Plan, pieces: Sequence[Piece]) -> tuple[Array, ...]:
    """Return elements used up in the months, with the lead time, and in its last stretch.

    Each of shape (scenarios, filters). [1]
    """
    changes, scenarios = _joined(pieces), sum(len(piece.volume) for piece in pieces)
    lead = plan.on.size - plan.hours
    hour = changes["hour"]
    shape = (scenarios, len(plan.line.filters.names))
    found = []
    for chosen in (hour <= plan.hours, hour >= 0, hour > plan.on.size - max(lead, 0)):
        count = np.zeros(shape)
        place = changes["scenario"][chosen].astype(int), changes["filter"][chosen].astype(int)
        np.add.at(count, place, changes["elements"][chosen])
        found.append(count)
    return tuple(found)


def _so_far(plan: Plan, changes: Mapping[str, Array], scenarios: int, stops: Index) -> Array:
    """Return elements used up by each stop: 5, 50 and 95 % of the scenarios."""
    filters = len(plan.line.filters.names)
    week = np.searchsorted(stops, changes["hour"])
    total = np.zeros((stops.size + 2, scenarios, filters))
    np.add.at(
        total,
        (np.minimum(week, stops.size + 1), changes["scenario"].astype(int),
         changes["filter"].astype(int)),
        changes["elements"],
    )  # fmt: skip
    run = np.cumsum(total, axis=0)[: stops.size]
    return np.moveaxis(np.quantile(run, [0.05, 0.5, 0.95], axis=1), 0, -1)


def _filter(
    plan: Plan, g: int, name: str, changes: Mapping[str, Array], used: Array, drop: Array
) -> FilterForecast:
    own = (changes["filter"] == g) & (changes["hour"] <= plan.hours)
    life: tuple[float, float, float] | None = None
    first: tuple[float, float, float] | None = None
    if np.any(own):
        low, middle, high = np.quantile(changes["life"][own], [0.1, 0.5, 0.9])
        life = float(low), float(middle), float(high)
        start = np.full(used.size, np.inf)
        np.minimum.at(start, changes["scenario"][own].astype(int), changes["hour"][own])
        first = quantile(start, 0.1), quantile(start, 0.5), quantile(start, 0.9)
    cause = changes["cause"][own]
    pieces = changes["elements"][own]
    return FilterForecast(
        name,
        float(np.mean(used)),
        _error(used),
        tuple(quantile(used, share) for share in TOLD),
        life,
        first,
        {word: float(np.mean(cause == n)) for n, word in enumerate(CAUSES) if np.any(cause == n)},
        float(np.mean(changes["mass"][own] / pieces)) if np.any(own) else 0.0,
        float(np.max(drop)) if drop.size else 0.0,
    )


def _error(used: Array) -> float:
    """Return how well a mean over so many scenarios is known, relative, in 19 cases of 20."""
    mean = float(np.mean(used))
    return 1.96 * float(np.std(used)) / np.sqrt(used.size) / mean if mean > 0 else 0.0


class Need(NamedTuple):
    """A part whose use is uncertain: by the scenarios, or Poisson with a mean."""

    name: str
    why: str
    counts: Array | None  # by scenario
    mean: float  # Poisson
    loss: float
    stock: float
    set_of: float
    pack: int
    order: Array | None  # used in a lead time, by scenario
    unit: str


def _items(
    table: SparesParameters,
    plan: Plan,
    counts: tuple[Array, Array],
    pieces: Sequence[Piece],
    level: float,
    scenarios: int,
) -> tuple[tuple[Item, ...], float]:
    """Return the packing list: every part at one level, raised until that of all is reached."""
    needs = [*_filter_needs(table, plan, counts), *_part_needs(table, plan, counts, pieces)]
    each = level
    for _ in range(PATIENCE):
        items = [_item(need, each) for need in needs]
        reached = _reached(needs, items)
        if reached >= level or scenarios < least_scenarios(each):
            break
        each += 0.1 * (1 - each)
    if scenarios < least_scenarios(each):
        raise RequestError(
            f"--scenarios {scenarios}: {level:.4g} for {len(needs)} parts jointly takes "
            f"{least_scenarios(each)} scenarios or more"
        )
    return (*items, *_certain(table, plan)), reached


def _reached(needs: Sequence[Need], items: Sequence[Item]) -> float:
    """Return the chance that nothing runs out, spoiled ones aside."""
    simulated, chances = [], []
    for need, item in zip(needs, items, strict=True):
        if need.counts is not None:
            simulated.append(need.counts <= (item.stock + item.bring) * (1 - need.loss) + 1e-9)
        else:
            chances.append(item.level)
    return joint_level(simulated, chances)


def _item(need: Need, each: float) -> Item:
    if need.counts is None:
        needed = float(poisson_stock(need.mean, each))
    else:
        needed = quantile(need.counts, each, sure=True)
    bring = to_bring(needed, need.loss, need.stock, need.set_of, need.pack)
    have = (need.stock + bring) * (1 - need.loss)
    level = (
        poisson_level(need.mean, have)
        if need.counts is None
        else float(np.mean(need.counts <= have + 1e-9))
    )
    order = None if need.order is None else quantile(need.order, each, sure=True)
    return Item(need.name, need.why, needed, need.stock, need.pack, bring, level, order, need.unit)


def _filter_needs(table: SparesParameters, plan: Plan, counts: tuple[Array, Array]) -> list[Need]:
    whole, ordering = counts
    lead = plan.on.size > plan.hours
    found = []
    for g, name in enumerate(plan.line.filters.names):
        store = table.store(name)
        both = plan.together[g]
        why = "simulated changes" + (", lead time included" if lead else "")
        found.append(
            Need(
                name, why, whole[:, g], 0.0, table.handling_loss, store.stock,
                plan.line.filters.elements[g] if both else 1.0, store.pack,
                ordering[:, g] if lead else None, "",
            )
        )  # fmt: skip
    return found


def _part_needs(
    table: SparesParameters, plan: Plan, counts: tuple[Array, Array], pieces: Sequence[Piece]
) -> list[Need]:
    """Return what breaks, goes with each change, or with the water."""
    found = []
    names = plan.line.filters.names
    running = float(plan.on.sum() * HOUR)
    longer = plan.on.size / plan.hours
    for name, part in table.all_parts().items():
        use: Array | None = None
        mean = 0.0
        if part.law == "breakage":
            mean = running * part.number / float(part.life or np.inf)
            why = f"breaks {mean:.2g} times on average (Poisson)"
        elif part.law == "change":
            use = part.number * counts[0][:, names.index(part.of)]
            why = f"{part.number:g} for each element of {part.of} changed"
        elif part.law == "volume":
            volume = np.concatenate([piece.volume for piece in pieces])
            use, why = part.number * longer * volume, f"{part.number:g} for 1 m3"
        else:
            continue
        found.append(Need(name, why, use, mean, 0.0, part.stock, 1.0, part.pack, None, ""))
    return found


def _certain(table: SparesParameters, plan: Plan) -> list[Item]:
    """Return what goes by hours burned or by days: no chance in it."""
    found = []
    running, days = float(plan.on.sum() * HOUR), plan.on.size / 24
    for name, part in table.all_parts().items():
        if part.law == "hours":
            needed = float(_lamps(part, running))
            life = float(part.life or 0.0) / HOUR
            why = f"life of {life:.0f} h, {(part.used + running) / HOUR:.0f} h by the end"
        elif part.law == "day":
            needed, why = float(np.ceil(part.number * days - 1e-9)), f"{part.number:g} a day"
        else:
            continue
        bring = to_bring(needed, 0.0, part.stock, 1.0, part.pack)
        found.append(Item(name, why, needed, part.stock, part.pack, bring, np.nan, None))
    return found


def _lamps(part: Part, running: float) -> int:
    return worn_out(running, float(part.life or np.inf), part.used, part.number)
