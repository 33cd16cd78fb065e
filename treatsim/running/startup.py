"""From switching on to water that meets its dose, and what passes when something fails."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.hydraulics.friction import closing_surge, surge_head, velocity
from treatsim.operations.uv_exposure import Exposure
from treatsim.running.interlock import Moves, moves, passed, ready_spans
from treatsim.running.schedule import Schedule, schedule
from treatsim.running.start_events import Event
from treatsim.running.start_parameters import StartupParameters
from treatsim.running.start_train import Train, train_of
from treatsim.running.washout import RTOL, Course, Light, Reported, Watched, light_of, wash_out

NOTHING = 1e-9  # m3; a microlitre under dose is rounding
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
    plan: Schedule
    courses: tuple[Course, ...]  # of every reactor
    valve: Moves
    end: float
    events: tuple[Event, ...] = ()

    def flow(self, time) -> Array:
        """Return the flow through the reactor at `time` [s]. [m3/s]"""
        return self.train.flows("flow", self.plan.dial(time))

    def out(self, time) -> Array:
        """Return the flow that leaves the line, 0 until it is full. [m3/s]"""
        return np.where(np.asarray(time) >= self.filled, self.flow(time), 0.0)

    @property
    def course(self) -> Course:
        """The course of the last reactor."""
        return self.courses[-1]

    @cached_property
    def filled(self) -> float:
        """Time at which water comes out. [s]"""
        if not self.course.line.empty:
            return self.train.start.pump_delay
        return self.course.when(self.train.volume)

    @cached_property
    def under(self) -> list[tuple[float, float]]:
        """Spans in which water under its dose of any reactor stands at the product valve. [s]"""
        spans = sorted(span for course in self.courses for span in self._under(course))
        joined: list[tuple[float, float]] = []
        for first, last in spans:
            if joined and first <= joined[-1][1]:
                joined[-1] = (joined[-1][0], max(joined[-1][1], last))
            else:
                joined.append((first, last))
        return joined

    def _under(self, course: Course) -> list[tuple[float, float]]:
        line, spans, bad = course.line, [], 0.0  # what stands there had no light
        for time, good in [*course.signals.get("dose", []), (self.end, True)]:
            behind = line.behind + (line.washed if good else 0.0)
            reached = course.when(float(course.pumped(time)[0]) + behind)
            if good and reached > bad:
                spans.append((bad, min(reached, self.end)))
            bad = np.inf if good else min(bad, reached)
        return [span for span in spans if span[0] < span[1]]

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
            return exposure.credited(self.flow(time), self.plan.light(time))
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
        for course in self.courses:
            bad = next((t for t, good in course.signals["dose"]
                        if not good and t >= event.time), None)  # fmt: skip
            if bad is None:
                continue
            left, behind = float(course.pumped(bad)[0]), course.line.behind
            arrive.append(course.when(left + behind))
            between = behind - (self.train.start.hold_up or 0.0)
            rooms.append(max(float(course.pumped(closed)[0]) - left - between, 0.0))
        if not arrive:
            return Remedy(None, None)
        first = min(arrive)
        return Remedy(first - shut if first > shut else None, max(rooms))


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
        return self.train.judged

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
    Reactors in line, each with its lamp and the same start of it; flow quasi-steady at the dial of
    the moment. An empty line fills at the flow of the full one, which is told too slow; a chamber
    counts as unlit until it is full. A dose is asked of each reactor on its own, as the verdict
    asks it. A reactor told by its report has that of the moment, and its chamber is one mixed tank.

    Raises
    ------
    RequestError
        The case has no such reactor or leaves out what the start or an event needs.
    NoSolutionError
        The case has no operating point.
    """
    train = train_of(case, events)
    lights = lights_of(train, events)
    single = all(light is None or light.one_water for light in lights)
    clean = solve_run(train, lights if single else lights_of(train, ()), (), rtol=rtol)
    run = solve_run(train, lights, tuple(events), rtol=rtol) if events else clean
    return Startup(case, train, clean, run)


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
    *,
    rtol: float = RTOL,
) -> Run:
    """Integrate one transient and let the valve act on it."""
    start = train.start
    plan = schedule(start, events)._replace(dead=train.flows.dead)
    end = _end(train, plan)
    courses = tuple(
        wash_out(
            reactor.exposure,
            light,
            plan,
            train.flows.flow_at,
            reactor.line,
            Watched(reactor.required, start.sensor_set_point, start.flow_alarm),
            end,
            rtol=rtol,
        )
        for reactor, light in zip(train.reactors, lights, strict=True)
    )
    watched = [
        course.signals[name]
        for course in courses
        for name in ("reading", "flow")
        if name in course.signals
    ]
    spans = ready_spans(watched, plan.dips, end)
    last = courses[-1]

    def flushed(moment: float) -> float:
        return last.when(float(last.pumped(moment)[0]) + (start.flush_volume or 0.0))

    return Run(train, plan, courses, moves(start, spans, plan.dips, flushed, end), end, events)


def _end(train: Train, plan: Schedule) -> float:
    """Return how long to look: until lamp, line and valve have come to rest."""
    start = train.start
    washed = max(reactor.line.washed for reactor in train.reactors)
    volume = CHANGES * (train.volume + (start.flush_volume or 0.0)) + washed
    warming = WARM_UPS * max(start.lamp_warm_up or 0.0, start.restart_warm_up or 0.0)
    full = float(train.flows("flow", 1.0))
    slow = (start.opening_time or 0.0) + (start.alarm_delay or 0.0) + (start.valve_time or 0.0)
    return max(plan.knots) + warming + volume / full + slow + SECONDS_BEHIND
