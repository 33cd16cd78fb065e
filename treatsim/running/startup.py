"""From switching on to water that meets its dose, and what passes when something fails."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.hydraulics.friction import closing_surge, surge_head, velocity
from treatsim.errors import RequestError
from treatsim.flowsheet.wiring import reach
from treatsim.running.interlock import Moves, moves, passed, ready_spans
from treatsim.running.schedule import Schedule, schedule
from treatsim.running.start_events import KINDS, Event
from treatsim.running.start_flow import Flows, flows
from treatsim.running.start_parameters import StartupParameters, check, needed_of_light
from treatsim.running.washout import RTOL, Course, Light, Line, Watched, light_of, wash_out
from treatsim.safety.verdict import judge

NOTHING = 1e-9  # m3; a microlitre under dose is rounding
WARM_UPS = 4.0  # times of warm-up until the light is steady to 1e-5
CHANGES = 6.0  # times the line's water is changed until it is steady
SECONDS_BEHIND = 60.0  # s, after the last change of course


class Train(NamedTuple):
    """What the transient needs of a case, solved once."""

    name: str  # of the reactor
    start: StartupParameters
    flows: Flows
    exposure: Any
    line: Line
    required: float | None  # J/m2
    credited: float  # in steady run, J/m2
    absorption: float  # 1/m
    pipe: tuple[float, float] | None  # length and bore of the hose, m
    lamp_power: float  # W


@dataclass(frozen=True)
class Passage:
    """What came through from one moment on."""

    product: float  # m3
    waste: float
    under_dose: float | None  # of the product; None where no dose is asked for


@dataclass(frozen=True)
class Remedy:
    """What would let no litre under dose pass, solved from the course; None where nothing would."""

    valve_time: float | None  # s
    hold_up: float | None  # m3


@dataclass(frozen=True)
class Run:
    """One transient with its valve."""

    train: Train
    plan: Schedule
    course: Course
    valve: Moves
    end: float
    events: tuple[Event, ...] = ()

    def flow(self, time) -> Array:
        """Return the flow through the reactor at `time` [s]. [m3/s]"""
        return self.train.flows("flow", self.plan.dial(time))

    def out(self, time) -> Array:
        """Return the flow that leaves the line, 0 until it is full. [m3/s]"""
        return np.where(np.asarray(time) >= self.filled, self.flow(time), 0.0)

    @cached_property
    def filled(self) -> float:
        """Time at which water comes out. [s]"""
        line = self.train.line
        volume = line.ahead + self.train.exposure.volume + line.behind
        return self.course.when(volume) if line.empty else self.train.start.pump_delay

    @cached_property
    def under(self) -> list[tuple[float, float]]:
        """Spans in which water under its dose stands at the product valve. [s]"""
        behind, spans, bad = self.train.line.behind, [], 0.0  # what stands there had no light
        for time, good in [*self.course.signals.get("dose", []), (self.end, True)]:
            reached = self.course.when(float(self.course.pumped(time)[0]) + behind)
            if good and reached > bad:
                spans.append((bad, min(reached, self.end)))
            bad = np.inf if good else min(bad, reached)
        return [span for span in spans if span[0] < span[1]]

    def between(self, first: float, last: float) -> tuple[float, float]:
        """Return what goes to the product and to waste between two times. [m3]"""
        corners = [*self.course.ends, *self.plan.knots, self.filled]
        return passed(self.out, self.valve, corners, first, last)

    def passage(self, first: float = 0.0, last: float | None = None) -> Passage:
        """Return what came through between two times, by default in all. [s]"""
        last = self.end if last is None else last
        product, waste = self.between(first, last)
        if self.train.required is None:
            return Passage(product, waste, None)
        spans = ((max(a, first), min(b, last)) for a, b in self.under)
        return Passage(product, waste, sum(self.between(a, b)[0] for a, b in spans))

    @property
    def met(self) -> float:
        """Time from which on the water at the valve meets its dose, but for what happens. [s]"""
        if self.train.required is None or not self.course.signals["dose"][-1][1]:
            return float(np.inf)
        return self.under[-1][1] if self.under else self.filled

    def dose(self, time) -> Array:
        """Return the dose credited behind the reactor at `time` [s]. [J/m2]"""
        mean, absorption = self.course.mean_dose(time)
        if np.ptp(absorption) == 0:
            absorption = absorption[0]
        return self.train.exposure.credited(mean, absorption)

    def remedy(self, event: Event) -> Remedy:
        """Return the valve time, or the hold-up, that lets nothing under dose pass after `event`.

        A hold-up counts as a pipe in which nothing mixes.
        """
        bad = next((t for t, good in self.course.signals["dose"]
                    if not good and t >= event.time), None)  # fmt: skip
        shut = next((t for t in self.valve.shuts if t >= event.time), None)
        if bad is None or shut is None:
            return Remedy(None, None)
        left = float(self.course.pumped(bad)[0])
        arrives = self.course.when(left + self.train.line.behind)
        closed = min(shut + (self.train.start.valve_time or 0.0), self.end)
        room = float(self.course.pumped(closed)[0]) - left
        return Remedy(arrives - shut if arrives > shut else None, max(room, 0.0))


@dataclass(frozen=True)
class Startup:
    """What `treatsim startup` answers."""

    case: Any
    train: Train
    clean: Run  # nothing happens
    run: Run  # with the events

    @property
    def opens(self) -> float:
        """Moment from which on the product valve opens and stays so; inf if it never does. [s]"""
        stays = self.clean.valve.opens and float(self.clean.valve.at(self.clean.end)) > 0
        return self.clean.valve.opens[-1] if stays else float(np.inf)

    @property
    def before_met(self) -> float:
        """What comes out before the dose is met: the least that must go to waste. [m3]"""
        return sum(self.clean.between(0.0, min(self.clean.met, self.clean.end)))

    @property
    def wasted(self) -> float:
        """What the valve leads to waste until it stands open. [m3]"""
        return self.clean.passage().waste

    @property
    def judged(self) -> bool:
        """Whether a dose is asked for."""
        return self.train.required is not None

    @cached_property
    def under_dose(self) -> float:
        """Water under dose that reaches the product, at the start or after what happens. [m3]"""
        told = (self.clean.passage().under_dose, self.run.passage().under_dose)
        return max((value or 0.0) for value in told)

    @property
    def endless(self) -> bool:
        """Whether water under dose still reaches the product when the time looked at is over."""
        return any(
            run.under and run.under[-1][1] >= run.end and float(run.valve.at(run.end)) > 0
            for run in (self.clean, self.run)
        )

    @property
    def meets(self) -> bool:
        """Whether the dose is met, the valve opens, and no water under dose reaches the product."""
        comes = np.isfinite(self.clean.met) and np.isfinite(self.opens)
        return bool(comes) and self.under_dose <= NOTHING

    @cached_property
    def surge(self) -> tuple[float, float, float] | None:
        """Head if the flow stops at once, head by the valve's time [m], and the wave's return [s].

        None where no hose or no speed of the wave is known.
        """
        speed, pipe = self.train.start.wave_speed, self.train.pipe
        if speed is None or pipe is None:
            return None
        lost = velocity(self.run.flow(self.run.end), pipe[1]).item()
        if not self.run.events:
            lost = velocity(self.train.flows("flow", 1.0), pipe[1]).item()
        slow = closing_surge(lost, speed, pipe[0], self.train.start.valve_time or 0.0)
        return float(surge_head(lost, speed)), float(slow), 2 * pipe[0] / speed

    @cached_property
    def energy(self) -> float:
        """Electricity of lamp and pumps until the valve begins to open. [J]"""
        from scipy.integrate import quad

        end = self.opens
        if not np.isfinite(end):
            return end
        knots = sorted({t for t in self.clean.plan.knots if 0 < t < end} | {0.0, end})
        pump = sum(
            quad(lambda t: float(self.train.flows("power", self.clean.plan.dial(t))), a, b)[0]
            for a, b in pairwise(knots)
        )
        return float(self.train.lamp_power * end + pump)


def startup(case: Any, events: Sequence[Event] = (), *, rtol: float = RTOL) -> Startup:
    """Return the start of a case, and what passes when something happens.

    Parameters
    ----------
    case : Case
        With its table [startup].
    events : sequence of Event
        In the order of their times.

    Returns
    -------
    Startup

    Validity
    --------
    One reactor with lamp and chamber; flow quasi-steady at the dial of the moment. An empty line
    fills at the flow of the full one, which is told too slow; the chamber counts as unlit until it
    is full.

    Raises
    ------
    RequestError
        The case has no such reactor or leaves out what the start or an event needs.
    NoSolutionError
        The case has no operating point.
    """
    train = train_of(case, events)
    light = light_of(
        train.exposure, train.required, train.absorption, _dull(train.start, events)
    )  # fmt: skip
    one = light if light.one_water else light_of(
        train.exposure, train.required, train.absorption, None
    )  # fmt: skip
    clean = solve_run(train, one, (), rtol=rtol)
    run = solve_run(train, light, tuple(events), rtol=rtol) if events else clean
    return Startup(case, train, clean, run)


def train_of(case: Any, events: Sequence[Event] = ()) -> Train:
    """Solve what the transient needs of a case; raises as `startup` does."""
    start: StartupParameters | None = case.sections.get("startup")
    start = check(start, (), "the start")
    wanted = [name for event in events for name in KINDS[event.kind][0]]
    check(start, (*needed_of_light(start), *wanted), "the start of a light or an event asked for")
    lit = [name for name, unit in case.flowsheet().units.items() if unit.irradiates]
    if len(lit) != 1:
        raise RequestError(f"{len(lit)} reactors with a light; the start is told for one")
    name = lit[0]
    steps = sum(event.kind == "pump_step" for event in events)
    top = max(1.0, (start.pump_step or 1.0) ** steps) if steps else 1.0

    def power(result: Any) -> Any:
        return sum(d.power for unit, d in result.all_details.items() if unit != name)

    table = flows(
        case,
        {"flow": lambda result: result.value(f"{name}.inlet.flow").value, "power": power},
        top,
    )
    return _train(name, start, table)


def _train(name: str, start: StartupParameters, table: Flows) -> Train:
    result, here = table.result, table.here
    unit = result.sheet.units[name]
    wiring, end = result.sheet.wiring, result.product_end
    if end is not None and end[0] in reach(wiring, *wiring.sources, round_=(name,)):
        raise RequestError(
            f"water reaches the product round {name}, which no start makes fit to drink: the start "
            "is told for a product of which all has passed the light"
        )
    exposure = unit.take(np.array([here])).exposure()
    if exposure is None:
        raise RequestError(
            f"{name} is told by its validation report, in steady run only: its dose while lamp or "
            "flow change is not known; state lamp and chamber as a uv_reactor"
        )
    order = list(result.sheet.order)
    pipes = [p for unit in order[: order.index(name)] if (p := result.sheet.units[unit].pipe())]
    lengths = [(float(np.ravel(length)[0]), float(np.ravel(bore)[0])) for length, bore in pipes]
    hoses = sum(np.pi / 4 * bore**2 * length for length, bore in lengths)
    values = judge(result).values
    required = values.get(f"{name}.dose_required")

    def at(value) -> float:
        return float(np.broadcast_to(np.asarray(value, float), (result.points,))[here])

    return Train(
        name,
        start,
        table,
        exposure,
        Line(hoses + (start.housing_volume or 0.0), start.hold_up or 0.0,
             start.line_at_start == "empty"),
        None if required is None else at(required.value),
        at(values[f"{name}.dose_credited"].value),
        at(result.streams[name, "inlet"].contents["absorption"]),
        (sum(length for length, _ in lengths), min(b for _, b in lengths)) if lengths else None,
        at(result.details(name).power),
    )  # fmt: skip


def _dull(start: StartupParameters, events: Sequence[Event]) -> float | None:
    if start.dull_transmittance is None or all(e.kind != "dull_water" for e in events):
        return None
    return float(-100.0 * np.log(start.dull_transmittance))


def solve_run(train: Train, light: Light, events: tuple[Event, ...], *, rtol: float = RTOL) -> Run:
    """Integrate one transient and let the valve act on it."""
    start = train.start
    plan = schedule(start, events)._replace(dead=train.flows.dead)
    end = _end(train, plan)
    course = wash_out(
        train.exposure,
        light,
        plan,
        train.flows.flow_at,
        train.line,
        Watched(train.required, start.sensor_set_point, start.flow_alarm),
        end,
        rtol=rtol,
    )
    watched = [course.signals[name] for name in ("reading", "flow") if name in course.signals]
    spans = ready_spans(watched, plan.dips, end)

    def flushed(moment: float) -> float:
        return course.when(float(course.pumped(moment)[0]) + (start.flush_volume or 0.0))

    return Run(train, plan, course, moves(start, spans, plan.dips, flushed, end), end, events)


def _end(train: Train, plan: Schedule) -> float:
    """Return how long to look: until lamp, line and valve have come to rest."""
    start, line = train.start, train.line
    volume = line.ahead + train.exposure.volume + line.behind + (start.flush_volume or 0.0)
    warming = WARM_UPS * max(start.lamp_warm_up or 0.0, start.restart_warm_up or 0.0)
    full = float(train.flows("flow", 1.0))
    slow = (start.opening_time or 0.0) + (start.alarm_delay or 0.0) + (start.valve_time or 0.0)
    return max(plan.knots) + warming + CHANGES * volume / full + slow + SECONDS_BEHIND
