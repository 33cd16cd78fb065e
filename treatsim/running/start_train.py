"""What the transient needs of a case, solved once: its reactors, and the water around them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.operations.uv_exposure import Exposure
from treatsim.running.start_events import KINDS, Event
from treatsim.running.start_flow import Flows, flows
from treatsim.running.start_parameters import StartupParameters, check, needed_of_light
from treatsim.running.start_ways import (
    SOURCE,
    WHOLE,
    Ways,
    arrivals,
    check_ways,
    ends_of,
    flow_of,
    ways_of,
)
from treatsim.running.washout import Reported
from treatsim.safety.verdict import judge

LEFT = 1e-5  # of the water that stood in a chamber: a tenth of what 4 log let through


class Reactor(NamedTuple):
    """One light, with the water that comes to it."""

    name: str
    exposure: Exposure | Reported
    flow: str  # name of its flow among the tables
    share: float  # of the product's flow, in steady run
    required: float | None  # J/m2
    credited: float  # in steady run, J/m2
    absorption: float  # 1/m

    @property
    def own_washed(self) -> float:
        """Water that must pass until what leaves its chamber is as the moment's, m3."""
        return _washed(self.exposure) if isinstance(self.exposure, Reported) else 0.0


class Train(NamedTuple):
    """What the transient needs of a case, solved once."""

    reactors: tuple[Reactor, ...]  # in the order in which water passes them
    start: StartupParameters
    flows: Flows
    ways: Ways
    pipe: tuple[float, float] | None  # length and bore of the hose, m
    lamp_power: float  # of all lamps, W

    @property
    def judged(self) -> bool:
        """Whether a dose is asked of every reactor, as the verdict asks it of each."""
        return all(reactor.required is not None for reactor in self.reactors)

    @property
    def chambers(self) -> dict[str, float]:
        """Water in every chamber. [m3]"""
        return {reactor.name: reactor.exposure.volume for reactor in self.reactors}

    @property
    def volume(self) -> float:
        """Water between source and product valve. [m3]"""
        start = self.start
        held = sum(self.ways.pipes.values()) + sum(self.chambers.values())
        return held + (start.housing_volume or 0.0) + (start.hold_up or 0.0)

    @property
    def washed(self) -> dict[str, float]:
        """Water that changes every chamber until 1e-5 of what it held is left. [m3]"""
        return {reactor.name: _washed(reactor.exposure) for reactor in self.reactors}


def train_of(case: Any, events: Sequence[Event] = ()) -> Train:
    """Solve what the transient needs of a case; raises as `startup` does."""
    start: StartupParameters | None = case.sections.get("startup")
    start = check(start, (), "the start")
    wanted = [name for event in events for name in KINDS[event.kind][0]]
    check(start, (*needed_of_light(start), *wanted), "the start of a light or an event asked for")
    sheet = case.flowsheet()
    names = tuple(name for name in sheet.order if sheet.units[name].irradiates)
    steps = sum(event.kind == "pump_step" for event in events)
    top = max(1.0, (start.pump_step or 1.0) ** steps) if steps else 1.0
    table = flows(case, _wanted(sheet, names), top)
    check_ways(table.result, names)
    ways = ways_of(table.result, names)
    reactors = _reactors(names, start, table, ways)
    dull = any(event.kind == "dull_water" for event in events)
    told = next((r.name for r in reactors if isinstance(r.exposure, Reported)), None)
    if dull and told is not None:
        raise RequestError(
            f"dull_water: what the sensor of {told} reads in dull water is not in a validation "
            "report; state lamp and chamber as a uv_reactor"
        )
    power_of_lamps = sum(_at(table, table.result.details(name).power) for name in names)
    return Train(reactors, start, table, ways, _pipe(table, ways), power_of_lamps)


def _wanted(sheet: Any, names: Sequence[str]) -> dict[str, Callable[[Any], Any]]:
    """Return how the tables are read: the product's flow, the power, lights and hoses."""
    last = ends_of(sheet.wiring, names)[1]

    def through(*units: str) -> Callable[[Any], Any]:
        return lambda result: sum(result.streams[unit, "inlet"].flow for unit in units)

    def power(result: Any) -> Any:
        return sum(d.power for unit, d in result.all_details.items() if unit not in names)

    each = [*names, *(name for name, unit in sheet.units.items() if unit.pipe())]
    return {WHOLE: through(*last), "power": power} | {flow_of(u): through(u) for u in each}


def _at(table: Flows, value: Any) -> float:
    full = np.broadcast_to(np.asarray(value, float), (table.result.points,))
    return float(full[table.here])


def _pipe(table: Flows, ways: Ways) -> tuple[float, float] | None:
    """Return length of the longest line of hoses, and the bore in which all water were fastest. [m]

    Up to the light, and behind it as far as water has parted; the rest is the hold-up.
    """
    units = table.result.sheet.units
    pipes = {name: [float(np.ravel(x)[0]) for x in units[name].pipe()] for name in ways.pipes}
    lengths = {name: length for name, (length, _) in pipes.items()}
    if not pipes:
        return None
    ends = arrivals(ways, {SOURCE: 0.0}, lengths, lambda so_far, more, _: so_far + more, max)
    whole = float(table(WHOLE, 1.0))
    bores = (
        bore * np.sqrt(whole / float(table(ways.flows[name], 1.0)))
        for name, (_, bore) in pipes.items()
    )
    return ends[ways.last], float(min(bores))


def _reactors(
    names: Sequence[str], start: StartupParameters, table: Flows, ways: Ways
) -> tuple[Reactor, ...]:
    """Return every reactor, with the dose asked of it and its light in steady run."""
    result, values = table.result, judge(table.result).values
    found = []
    for name in names:
        asked = values.get(f"{name}.dose_required")
        found.append(Reactor(
            name,
            _exposure(name, start, table),
            ways.flows[name],
            _at(table, result.streams[name, "inlet"].flow) / float(table(WHOLE, 1.0)),
            None if asked is None else _at(table, asked.value),
            _at(table, values[f"{name}.dose_credited"].value),
            _at(table, result.streams[name, "inlet"].contents["absorption"]),
        ))  # fmt: skip
    return tuple(found)


def _washed(chamber: Exposure | Reported) -> float:
    """Return the water that changes a chamber; that of a report counts as one mixed tank. [m3]"""
    return changes(chamber.tanks) * chamber.volume


def changes(tanks: int) -> float:
    """Return how often equal tanks in series are changed until 1e-5 of what stood there is left."""
    from scipy.special import gammainccinv

    return float(gammainccinv(max(tanks, 1), LEFT)) / max(tanks, 1)


def _exposure(name: str, start: StartupParameters, table: Flows) -> Exposure | Reported:
    result = table.result
    unit = result.sheet.units[name].take(np.array([table.here]))
    exposure = unit.exposure(_at(table, result.streams[name, "inlet"].temperature))
    if exposure is not None:
        return exposure
    check(start, ("chamber_volume",), f"{name}, told by its validation report,")
    absorption = _at(table, result.streams[name, "inlet"].contents["absorption"])
    dose = unit.dose_by_report()

    def credited(flow: Any, light: Any) -> Array:
        """Return the dose by the report, 0 where nothing flows or shines. [J/m2]"""
        flow, light = np.broadcast_arrays(np.asarray(flow, float), np.asarray(light, float))
        runs = (flow > 0) & (light > 0)
        told = dose(absorption, np.where(runs, flow, 1.0), np.where(runs, light, 1.0))
        return np.where(runs, told, 0.0)

    return Reported(start.chamber_volume or 0.0, credited)
