"""The start of membranes: until their pressure is up and the product is under its limit of salt.

The membranes are quasi-steady at every dial of the ramp; what takes time is the water that stands
ahead of them, between two passes, and behind them, each well mixed. Flushed with permeate before
the stop, all begin as permeate. Left with salt water, salt has come through: all begin as that.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.running.interlock import Moves, moves, passed, ready_spans
from treatsim.running.ro_passes import Membranes, Pass, joints, membranes_of
from treatsim.running.schedule import Law, Schedule, Turning
from treatsim.running.start_parameters import StartupParameters
from treatsim.running.suck_back import drawn_back, emptied_after

BAND = 0.05  # of the steady salinity: nearer, the product is as it will stay
PRESSURE_BAND = 0.01
CHANGES = 12.0  # times the standing water is changed in the time looked at
RTOL = 1e-8
NOTHING = 1e-9  # m3; a microlitre over its limit is rounding
UNHELD = Moves(np.array([0.0]), np.array([0.0]), (), ())


@dataclass(frozen=True)
class MembraneStart:
    """One start of membranes with its valve."""

    train: Membranes
    plan: Schedule
    course: Any  # SciPy's: salt ahead, behind [kg/m3], product so far [m3], salts between passes
    off: tuple[float, ...]  # times at which the product came into or left the steady band, s
    signal: list[tuple[float, bool]]  # (time, whether the salt is under its limit from then)
    valve: Moves
    end: float  # s

    @property
    def salt(self) -> float:
        """Salt of the product in steady run. [kg/m3]"""
        return self.train.salt

    @property
    def pressure_up(self) -> float:
        """Time at which every dial is within 1 % of its setting. [s]"""
        start = self.train.start
        return start.pump_delay + (1 - PRESSURE_BAND) * start.pump_ramp

    @property
    def pressure_rate(self) -> float:
        """Largest gain of pressure at the membranes in the ramp. [Pa/s]"""
        ramp = self.train.start.pump_ramp
        return self.train.steepest / ramp if ramp > 0 else float(np.inf)

    @property
    def flowing(self) -> float:
        """Time from which on product comes. [s]"""
        return float(self.plan.pump[-1].reaches(self.train.flows.dead))

    @property
    def steady(self) -> float:
        """Time from which on the product is within 5 % of its steady salinity. [s]"""
        return max(*self.off, self.flowing)

    @property
    def judged(self) -> bool:
        """Whether the product has a limit of salt."""
        return self.train.start.salt_limit is not None

    @property
    def met(self) -> float:
        """Time from which on the product at the valve is under its limit; inf if never. [s]"""
        limit = self.train.start.salt_limit
        if limit is None or not self.signal[-1][1] or self.salt > limit:
            return float(np.inf)
        return max(self.signal[-1][0], self.flowing)

    @property
    def opens(self) -> float:
        """Moment from which on the product valve opens and stays so; inf if it never does. [s]"""
        stays = self.valve.opens and float(self.valve.at(self.end)) > 0
        return self.valve.opens[-1] if stays else float(np.inf)

    @property
    def ready(self) -> float:
        """When the start is over: the valve opens, or by hand the product is as it stays. [s]"""
        if self.train.start.opens_when is not None:
            return self.opens
        return self.met if self.judged else self.steady

    def made(self, time: float) -> float:
        """Return the product that had come until `time` [s], at most all looked at. [m3]"""
        return float(self.course(min(time, self.end))[2])

    def salinity(self, time) -> Array:
        """Return the salt of the product at the valve. [kg/m3]"""
        return self.course(np.asarray(time, float))[1]

    def flow(self, time) -> Array:
        """Return the product's flow. [m3/s]"""
        return self.train.flows("flow", self.plan.dial(time))

    @property
    def saltiest(self) -> float:
        """Saltiest product that comes out. [kg/m3]"""
        times = self.course.ts
        return float(np.max(self.salinity(np.append(self.flowing, times[times > self.flowing]))))

    def through(self, first: float, last: float) -> tuple[float, float]:
        """Return what goes to the product and to waste between two times. [m3]"""
        return passed(self.flow, self.valve, [*self.plan.knots, self.flowing], first, last)

    @cached_property
    def wasted(self) -> float:
        """What goes to waste: until the valve stands open, or by hand until it is ready. [m3]"""
        if self.train.start.opens_when is not None:
            return self.through(0.0, self.end)[1]
        return self.made(self.ready)

    @cached_property
    def over_limit(self) -> float | None:
        """Product over its limit that passes the valve; None if there is neither. [m3]"""
        if not self.judged or self.train.start.opens_when is None:
            return None
        corners = [*(time for time, _ in self.signal), self.end]
        bad = (
            (first, last)
            for (first, good), last in zip(self.signal, corners[1:], strict=True)
            if not good
        )
        return sum(self.through(first, last)[0] for first, last in bad)

    def emptied(self, part: Pass) -> float:
        """Return after what time of a stop all water behind a pass is drawn back. [s]"""
        return float(emptied_after(part.behind, part.back, part.ahead))

    @property
    def stop_flush(self) -> float:
        """Permeate that fills the place of salt water at a stop, if it does; the least. [m3]"""
        start = self.train.start
        flushed = start.membranes_at_start == "flushed"
        return (start.feed_volume or 0.0) if flushed else 0.0

    def drawn(self, part: Pass) -> float | None:
        """Return what a pass draws back until the flush; None if no flush is stated. [m3]"""
        start = self.train.start
        if start.flush_wait is None:
            return None
        return float(drawn_back(start.flush_wait, part.back, part.ahead))

    @cached_property
    def energy(self) -> float:
        """Electricity until the start is over; inf if it never is. [J]"""
        from scipy.integrate import quad

        end = self.ready
        if not np.isfinite(end):
            return end
        knots = sorted({k for k in (*self.plan.knots, self.flowing) if 0 < k < end} | {0.0, end})
        flows, law = self.train.flows, self.plan.dial
        return float(sum(
            quad(lambda time: flows.one("power", float(law(time))), first, last)[0]
            for first, last in pairwise(knots)
        ))  # fmt: skip


def membrane_start(case: Any) -> MembraneStart:
    """Return the start of the membranes of a case.

    Parameters
    ----------
    case : Case
        With its table [startup].

    Returns
    -------
    MembraneStart

    Validity
    --------
    Mixed volumes ahead of the membranes, between passes, and of the product; the salt that goes
    through membranes follows that ahead of them in proportion. What a later pass leaves behind
    comes back at once. Told simply: no recovery device, no salt held back in spacers.

    Raises
    ------
    RequestError
        There is no unit of membranes, water leads round the first pass or off behind the
        last, or the table leaves out what it needs.
    NoSolutionError
        The case has no operating point.
    """
    return solve_membranes(membranes_of(case))


def solve_membranes(train: Membranes, rtol: float = RTOL) -> MembraneStart:
    """Integrate the volumes; SciPy's events are the salinity's passing of limit and band."""
    from scipy.integrate import OdeSolution, solve_ivp

    start, table = train.start, train.flows
    pump = Turning(0.0, 0.0, 0.0, 0.0), Turning(start.pump_delay, start.pump_ramp, 0.0, 1.0)
    plan = Schedule((Turning(0.0, 0.0, 1.0, 1.0),), pump, dead=table.dead)
    limit = np.inf if start.salt_limit is None else start.salt_limit

    def off(_, state):
        return abs(state[1] / train.salt - 1.0) - BAND

    def under(_, state):
        return limit - state[1] if np.isfinite(limit) else 1.0

    end = _end(train)
    knots = sorted({0.0, end, *(knot for knot in plan.knots if 0 < knot < end)})
    state, times, pieces, marks = _at_rest(train), [np.zeros(1)], [], [0.0]
    signal: list[tuple[float, bool]] = []
    for first, last in pairwise(knots):
        dial = plan.course(first, np.nextafter(last, 0.0))[1]
        if not signal or signal[-1][1] != (under(first, state) >= 0):
            signal.append((first, bool(under(first, state) >= 0)))
        found = solve_ivp(_slope(train, dial), (first, last), state, "LSODA", rtol=rtol,
                          events=(off, under), atol=1e-12, dense_output=True,
                          max_step=(last - first) / 40)  # fmt: skip
        state = found.y[:, -1]
        times.append(found.sol.ts[1:])
        pieces += list(found.sol.interpolants)
        marks += list(found.t_events[0])
        for moment in found.t_events[1]:
            if moment > first:
                signal.append((float(moment), not signal[-1][1]))
    course = OdeSolution(np.concatenate(times), pieces)
    return MembraneStart(
        train, plan, course, tuple(marks), signal, _valve(start, course, signal, end), end
    )


def _end(train: Membranes) -> float:
    """Return how long to look: until the standing water is changed and the valve at rest. [s]"""
    start, table = train.start, train.flows
    full, feed = float(table("flow", 1.0)), float(table("feed 0", 1.0))
    waits = (start.opening_time or 0.0) + (start.alarm_delay or 0.0) + (start.valve_time or 0.0)
    washed = (start.feed_volume or 0.0) / feed + (start.permeate_volume or 0.0) / full
    for number in range(1, len(train.passes)):
        washed += (start.between_volume or 0.0) / float(table(f"feed {number}", 1.0))
    flush = (start.flush_volume or 0.0) / full
    return start.pump_delay + start.pump_ramp + waits + flush + CHANGES * washed


def _at_rest(train: Membranes) -> Array:
    """Return the state of `MembraneStart.course` before the first moment."""
    start = train.start
    flushed = start.membranes_at_start == "flushed"
    behind = train.salt if flushed else train.source
    between = train.between if flushed else (train.source,) * len(train.between)
    ahead = train.salt if flushed and start.feed_volume else train.source
    return np.array([ahead, behind, 0.0, *between])


def _slope(train: Membranes, dial: Law):
    """Return how fast salt ahead, behind and between, and the product, change."""
    start, one, count = train.start, train.flows.one, len(train.passes)
    volumes = [start.feed_volume or np.inf, *[start.between_volume or np.inf] * (count - 1)]
    behind = start.permeate_volume or np.inf
    flowing = [
        (name, *ends) for name, ends in joints(count).items() if train.flows(name, 1.0) != 0.0
    ]

    def slope(time, state):
        share, salts = dial(time), [state[0], *state[3:]]
        flow = one("flow", share)
        comes = [0.0] * (count + 1)
        comes[0] = one("load", share)
        for name, here, to in flowing:
            comes[to] += one(name, share) * salts[here]
        first, *later = (
            (comes[k] - one(f"feed {k}", share) * salts[k]) / volumes[k] for k in range(count)
        )
        return [first, (comes[-1] - flow * state[1]) / behind, flow, *later]

    return slope


def _valve(start: StartupParameters, course: Any, signal, end: float) -> Moves:
    """Let the product valve act on the salt at it, or on its clock."""
    from scipy.optimize import brentq

    if start.opens_when is None:
        return UNHELD
    volume = float(course(end)[2])

    def flushed(moment: float) -> float:
        goal = float(course(moment)[2]) + (start.flush_volume or 0.0)
        if goal > volume:
            return float(np.inf)
        return float(brentq(lambda time: course(time)[2] - goal, moment, end, xtol=1e-9))

    watched = (signal,) if start.opens_when == "sensor" else ()  # a clock has no eye for salt
    return moves(start, ready_spans(watched, (), end), (), flushed, end)
