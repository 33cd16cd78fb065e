"""One transient of lights, line and valve: what comes to the product valve, and when."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.operations.uv_exposure import Exposure
from treatsim.running.clocks import Clock
from treatsim.running.interlock import Moves, moves, passed, ready_spans
from treatsim.running.schedule import Schedule, schedule
from treatsim.running.start_events import Event
from treatsim.running.start_parameters import StartupParameters
from treatsim.running.start_train import Reactor, Train
from treatsim.running.start_ways import SOURCE, WHOLE, arrivals, comes_to
from treatsim.running.washout import (
    RTOL,
    Arrivals,
    Course,
    Light,
    Reported,
    Watched,
    light_of,
    wash_out,
)

WARM_UPS = 4.0  # times of warm-up until the light is steady to 1e-5
CHANGES = 6.0  # times the line's water is changed until it is steady
SECONDS_BEHIND = 60.0  # s, after the last change of course


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
    plans: tuple[Schedule, ...]  # of every reactor; they differ in their lamps
    clocks: Mapping[str, Clock]  # by the name of a flow
    courses: tuple[Course, ...]  # of every reactor
    valve: Moves
    end: float
    events: tuple[Event, ...] = ()

    @property
    def plan(self) -> Schedule:
        """What the last lamp, and the pump, do."""
        return self.plans[-1]

    def flow(self, time) -> Array:
        """Return the flow through all reactors at `time` [s]. [m3/s]"""
        return self.train.flows(WHOLE, self.plan.dial(time))

    def out(self, time) -> Array:
        """Return the flow that leaves the line, 0 until it is full. [m3/s]"""
        return np.where(np.asarray(time) >= self.filled, self.flow(time), 0.0)

    @cached_property
    def filled(self) -> float:
        """Time at which water comes out, the first of it where it has parted. [s]"""
        if self.train.start.line_at_start != "empty":
            return self.train.start.pump_delay
        filling = filled(self.train, self.clocks, min)[self.train.ways.last]
        return self.clocks[WHOLE].later(filling, self.train.start.hold_up or 0.0)

    @cached_property
    def under(self) -> list[tuple[float, float]]:
        """Spans in which water under its dose of any reactor stands at the product valve. [s]"""
        each = zip(self.train.reactors, self.courses, strict=True)
        spans = sorted(span for reactor, course in each for span in self._under(reactor, course))
        joined: list[tuple[float, float]] = []
        for first, last in spans:
            if joined and first <= joined[-1][1]:
                joined[-1] = (joined[-1][0], max(joined[-1][1], last))
            else:
                joined.append((first, last))
        return joined

    def _under(self, reactor: Reactor, course: Course) -> list[tuple[float, float]]:
        spans, bad = [], 0.0  # what stands there had no light
        for time, good in [*course.signals.get("dose", []), (self.end, True)]:
            joined = self.joins(reactor, time, good=good)
            reached = self.clocks[WHOLE].later(joined, self.train.start.hold_up or 0.0)
            if good and reached > bad:
                spans.append((bad, min(reached, self.end)))
            bad = np.inf if good else min(bad, reached)
        return [span for span in spans if span[0] < span[1]]

    def joins(self, reactor: Reactor, time: float, *, good: bool) -> float:
        """Return when water of a reactor comes to the hold-up, which all water has in common. [s]

        Bad water, the first of it: chambers hold nothing back. Good water, when it is all of it:
        later chambers, and its own if only a report tells of it, are washed out.
        """
        ways, moved = self.train.ways, self._moved
        held = {**ways.pipes, **(self.train.washed if good else {})}
        gone = moved(time, reactor.own_washed if good else 0.0, reactor.flow)
        return arrivals(ways, {reactor.name: gone}, held, moved, max if good else min)[ways.last]

    def _moved(self, time: float, volume: float, flow: str) -> float:
        return self.clocks[flow].later(time, volume)

    def between(self, first: float, last: float) -> tuple[float, float]:
        """Return what goes to the product and to waste between two times. [m3]"""
        ends = [time for course in self.courses for time in course.ends]
        corners = [*ends, *self.plan.knots, self.filled]
        return passed(self.out, self.valve, corners, first, last)

    def passage(self, first: float = 0.0, last: float | None = None) -> Passage:
        """Return what came through between two times, by default in all. [s]"""
        last = self.end if last is None else last
        product, waste = self.between(first, last)
        if not self.train.judged:
            return Passage(product, waste, None)
        spans = ((max(a, first), min(b, last)) for a, b in self.under)
        return Passage(product, waste, sum(self.between(a, b)[0] for a, b in spans))

    @property
    def met(self) -> float:
        """Time from which on the water at the valve meets its dose, but for what happens. [s]"""
        judged = self.train.judged
        if not judged or not all(course.signals["dose"][-1][1] for course in self.courses):
            return float(np.inf)
        return self.under[-1][1] if self.under else self.filled

    def dose(self, time, number: int = -1) -> Array:
        """Return the dose credited behind a reactor, by default the last, at `time`. [J/m2]"""
        exposure, course = self.train.reactors[number].exposure, self.courses[number]
        if isinstance(exposure, Reported):
            plan = self.plans[number]
            flow = self.train.flows(self.train.reactors[number].flow, plan.dial(time))
            return exposure.credited(flow, plan.light(time))
        mean, absorption = course.mean_dose(time)
        if np.ptp(absorption) == 0:
            absorption = absorption[0]
        return exposure.credited(mean, absorption)

    def remedy(self, event: Event) -> Remedy:
        """Return the valve time, or the hold-up, that lets nothing under dose pass after `event`.

        A hold-up counts as a pipe in which nothing mixes.
        """
        shut = next((t for t in self.valve.shuts if t >= event.time), None)
        if shut is None:
            return Remedy(None, None)
        closed = min(shut + (self.train.start.valve_time or 0.0), self.end)
        arrive, rooms = [], []
        whole, hold_up = self.clocks[WHOLE], self.train.start.hold_up or 0.0
        for reactor, course in zip(self.train.reactors, self.courses, strict=True):
            bad = next((t for t, good in course.signals["dose"]
                        if not good and t >= event.time), None)  # fmt: skip
            if bad is None:
                continue
            joined = self.joins(reactor, bad, good=False)
            arrive.append(whole.later(joined, hold_up))
            rooms.append(max(whole.pumped(closed) - whole.pumped(joined), 0.0))
        if not arrive:
            return Remedy(None, None)
        first = min(arrive)
        return Remedy(first - shut if first > shut else None, max(rooms))


def lights_of(train: Train, events: Sequence[Event]) -> tuple[Light | None, ...]:
    """Return the light of every reactor, None of one told by its report."""
    dull = _dull(train.start, events)
    found: list[Light | None] = []
    for reactor in train.reactors:
        chamber = reactor.exposure
        if isinstance(chamber, Exposure):
            found.append(light_of(chamber, reactor.required, reactor.absorption, dull))
        else:
            found.append(None)
    return tuple(found)


def _dull(start: StartupParameters, events: Sequence[Event]) -> float | None:
    if start.dull_transmittance is None or all(e.kind != "dull_water" for e in events):
        return None
    return float(-100.0 * np.log(start.dull_transmittance))


def solve_run(
    train: Train,
    lights: Sequence[Light | None],
    events: tuple[Event, ...],
    kept: dict[Any, Course] | None = None,
    *,
    rtol: float = RTOL,
) -> Run:
    """Integrate one transient and let the valve act on it; kept: courses solved before."""
    start, kept = train.start, {} if kept is None else kept
    plans = tuple(
        schedule(start, events, reactor.name)._replace(dead=train.flows.dead)
        for reactor in train.reactors
    )
    end = max(_end(train, plan) for plan in plans)
    names = {WHOLE, *train.ways.flows.values()}
    clocks = {name: Clock(train.flows, name, plans[0], end) for name in sorted(names)}
    courses = []
    for reactor, light, plan in zip(train.reactors, lights, plans, strict=True):
        key = reactor.name, plan, end
        if key not in kept:
            course = _course(train, reactor, light, plan, clocks, end, rtol)
            kept[key] = course
        courses.append(kept[key])
    watched = [
        course.signals[name]
        for course in courses
        for name in ("reading", "flow")
        if name in course.signals
    ]
    dips, whole = plans[0].dips, clocks[WHOLE]
    spans = ready_spans(watched, dips, end)

    def flushed(moment: float) -> float:
        return whole.when(whole.pumped(moment) + (start.flush_volume or 0.0))

    valve = moves(start, spans, dips, flushed, end)
    return Run(train, plans, clocks, tuple(courses), valve, end, events)


def _course(train: Train, reactor: Reactor, light: Light | None, plan: Schedule,
            clocks: Mapping[str, Clock], end: float, rtol: float) -> Course:  # fmt: skip
    """Integrate what one reactor goes through."""
    start, one = train.start, train.flows.one
    watched = Watched(
        reactor.required, start.sensor_set_point, start.flow_alarm, lambda share: one(WHOLE, share)
    )
    return wash_out(
        reactor.exposure, light, plan, lambda share: one(reactor.flow, share),
        _arrivals(train, reactor, plan, clocks), watched, end, rtol=rtol,
    )  # fmt: skip


def _arrivals(
    train: Train, reactor: Reactor, plan: Schedule, clocks: Mapping[str, Clock]
) -> Arrivals:
    """Return when the line up to a reactor is full, and when dull water has come to it.

    Where water has parted the last of it fills a chamber and clears it, the first of it dulls it.
    """
    empty = train.start.line_at_start == "empty"
    full = filled(train, clocks, max)[reactor.name] if empty else 0.0
    shades = sorted(
        (comes_to(train.ways, reactor.name, filled(train, clocks, pick, drawn), pick), word)
        for span in plan.dull
        for drawn, word, pick in zip(span, ("dull", "clear"), (min, max), strict=True)
    )
    return Arrivals(full, tuple(shades))


def filled(
    train: Train, clocks: Mapping[str, Clock], pick: Any, drawn: float = 0.0
) -> dict[str, float]:
    """Return when water drawn at a time has pushed all before it out of every unit. [s]"""

    def moved(time: float, volume: float, flow: str) -> float:
        return clocks[flow].later(time, volume)

    entered = moved(drawn, train.start.housing_volume or 0.0, WHOLE)
    return arrivals(
        train.ways, {SOURCE: entered}, {**train.ways.pipes, **train.chambers}, moved, pick
    )


def _end(train: Train, plan: Schedule) -> float:
    """Return how long to look: until lamp, line and valve have come to rest."""
    start = train.start
    first = train.reactors[0]
    washed = sum(train.washed.values()) - train.washed[first.name] + first.own_washed
    volume = CHANGES * (train.volume + (start.flush_volume or 0.0)) + washed
    warming = WARM_UPS * max(start.lamp_warm_up or 0.0, start.restart_warm_up or 0.0)
    full = float(train.flows("flow", 1.0))
    slow = (start.opening_time or 0.0) + (start.alarm_delay or 0.0) + (start.valve_time or 0.0)
    return max(plan.knots) + warming + volume / full + slow + SECONDS_BEHIND
