"""What the transient needs of a case, solved once: reactors in line, and the water around them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import RequestError
from treatsim.flowsheet.wiring import reach
from treatsim.operations.uv_exposure import Exposure
from treatsim.running.start_events import KINDS, Event
from treatsim.running.start_flow import Flows, flows
from treatsim.running.start_parameters import StartupParameters, check, needed_of_light
from treatsim.running.washout import Line, Reported
from treatsim.safety.verdict import judge

LEFT = 1e-5  # of the water that stood in a chamber: a tenth of what 4 log let through
ALIKE = 1e-6  # of the flow: reactors in line pass the same water


class Reactor(NamedTuple):
    """One light, with the line around it."""

    name: str
    exposure: Exposure | Reported
    line: Line
    required: float | None  # J/m2
    credited: float  # in steady run, J/m2
    absorption: float  # 1/m


class Train(NamedTuple):
    """What the transient needs of a case, solved once."""

    reactors: tuple[Reactor, ...]  # in the order in which water passes them
    start: StartupParameters
    flows: Flows
    pipe: tuple[float, float] | None  # length and bore of the hose, m
    lamp_power: float  # of all lamps, W

    @property
    def judged(self) -> bool:
        """Whether a dose is asked of every reactor, as the verdict asks it of each."""
        return all(reactor.required is not None for reactor in self.reactors)

    @property
    def volume(self) -> float:
        """Water between source and product valve. [m3]"""
        reactor = self.reactors[-1]
        return reactor.line.ahead + reactor.exposure.volume + reactor.line.behind


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

    def power(result: Any) -> Any:
        return sum(d.power for unit, d in result.all_details.items() if unit not in names)

    def through(name: str) -> Callable[[Any], Any]:
        return lambda result: result.value(f"{name}.inlet.flow").value

    table = flows(case, {"flow": through(names[-1]), "power": power}, top)
    _in_line(table.result, names)
    reactors = _reactors(names, start, table)
    dull = any(event.kind == "dull_water" for event in events)
    told = next((r.name for r in reactors if isinstance(r.exposure, Reported)), None)
    if dull and told is not None:
        raise RequestError(
            f"dull_water: what the sensor of {told} reads in dull water is not in a validation "
            "report; state lamp and chamber as a uv_reactor"
        )
    lengths = _pipes(table, names[-1])
    power_of_lamps = sum(_at(table, table.result.details(name).power) for name in names)
    bore = min((bore for _, bore in lengths), default=0.0)
    pipe = (sum(length for length, _ in lengths), bore) if lengths else None
    return Train(reactors, start, table, pipe, power_of_lamps)


def _at(table: Flows, value: Any) -> float:
    full = np.broadcast_to(np.asarray(value, float), (table.result.points,))
    return float(full[table.here])


def _in_line(result: Any, names: Sequence[str]) -> None:
    """Refuse reactors that do not all pass all of the product, and no other water."""
    wiring, end = result.sheet.wiring, result.product_end
    for name in names:
        if end is not None and end[0] in reach(wiring, *wiring.sources, round_=(name,)):
            raise RequestError(
                f"water reaches the product round {name}, which no start makes fit to drink: the "
                "start is told for a product of which all has passed the light of every reactor"
            )
    last = result.streams[names[-1], "inlet"].flow
    for name in names[:-1]:
        if not np.allclose(result.streams[name, "inlet"].flow, last, rtol=ALIKE, atol=0.0):
            raise RequestError(
                f"between {name} and {names[-1]} water is added or led off: the start is told for "
                "reactors that pass the same water"
            )


def _pipes(table: Flows, until: str, after: str | None = None) -> list[tuple[float, float]]:
    """Return length and bore [m] of what leads water to a reactor, by default from the source."""
    sheet = table.result.sheet
    order = list(sheet.order)
    between = order[0 if after is None else order.index(after) : order.index(until)]
    found = [pipe for unit in between if (pipe := sheet.units[unit].pipe())]
    return [(float(np.ravel(length)[0]), float(np.ravel(bore)[0])) for length, bore in found]


def _reactors(names: Sequence[str], start: StartupParameters, table: Flows) -> tuple[Reactor, ...]:
    """Return every reactor with the water that stands ahead of it and behind it.

    From bad to good water a chamber counts as washed out when 1e-5 of what it held is left; from
    good to bad it holds nothing back. The chamber of a report counts as one mixed tank.
    """
    result, values = table.result, judge(table.result).values
    exposures = [_exposure(name, start, table) for name in names]
    hoses = [
        sum(np.pi / 4 * bore**2 * length for length, bore in _pipes(table, name, before))
        for name, before in zip(names, (None, *names[:-1]), strict=True)
    ]
    found = []
    for number, (name, exposure) in enumerate(zip(names, exposures, strict=True)):
        later = exposures[number + 1 :]
        before = sum(hoses[: number + 1]) + sum(e.volume for e in exposures[:number])
        washed = [*([exposure] if isinstance(exposure, Reported) else []), *later]
        line = Line(
            before + (start.housing_volume or 0.0),
            sum(hoses[number + 1 :]) + (start.hold_up or 0.0),
            start.line_at_start == "empty",
            sum(changes(e.tanks) * e.volume for e in washed),
        )
        asked = values.get(f"{name}.dose_required")
        required = None if asked is None else _at(table, asked.value)
        steady = _at(table, values[f"{name}.dose_credited"].value)
        absorption = _at(table, result.streams[name, "inlet"].contents["absorption"])
        found.append(Reactor(name, exposure, line, required, steady, absorption))
    return tuple(found)


def changes(tanks: int) -> float:
    """Return how often equal tanks in series are changed until 1e-5 of what stood there is left."""
    from scipy.special import gammainccinv

    return float(gammainccinv(max(tanks, 1), LEFT)) / max(tanks, 1)


def _exposure(name: str, start: StartupParameters, table: Flows) -> Exposure | Reported:
    result = table.result
    unit = result.sheet.units[name].take(np.array([table.here]))
    exposure = unit.exposure()
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
