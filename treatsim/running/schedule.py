"""What lamp and pump do over the time after switching on, piece by piece."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.correlations.uv.lamp import risen, warm_up_factor
from treatsim.running.start_events import Event
from treatsim.running.start_parameters import StartupParameters

Law = Callable[[float], float]


class Warming(NamedTuple):
    """A lamp from the moment it strikes."""

    start: float  # s
    time: float  # warm-up time, s
    first: float  # share at the first moment

    def at(self, time):
        """Return the share of full light."""
        return warm_up_factor(np.maximum(time - self.start, 0.0), self.time, self.first)

    def law(self) -> Law:
        """Return `at` for single times not before its start, checked once: it is asked often."""
        start, time, first = self.start, self.time, self.first
        self.at(start)
        return (lambda _: 1.0) if time == 0 else lambda now: risen(now - start, time, first)


class Turning(NamedTuple):
    """A dial that goes evenly from one setting to another, and stays."""

    start: float  # s
    time: float  # s; 0 for at once
    first: float  # share of the case's dial
    last: float

    def at(self, time):
        """Return the share of the dial."""
        gone = (time - self.start) / self.time if self.time > 0 else np.ones_like(time)
        return self.first + (self.last - self.first) * np.clip(gone, 0.0, 1.0)

    def law(self) -> Law:
        """Return `at` for single times."""
        start, time, first, last = self
        if time == 0 or first == last:
            return lambda _: last
        steep = (last - first) / time
        return lambda now: first + steep * min(max(now - start, 0.0), time)

    def reaches(self, share: float) -> float:
        """Return when it passes a share that lies between its ends. [s]"""
        return self.start + self.time * (share - self.first) / (self.last - self.first)


class Schedule(NamedTuple):
    """Every piece counts from its start to that of the next."""

    lamp: tuple[Warming | Turning, ...]
    pump: tuple[Turning, ...]
    dips: tuple[tuple[float, float], ...] = ()  # power away, s
    dull: tuple[tuple[float, float], ...] = ()  # dull water drawn in, s
    dead: float = 0.0  # share of the dial at and below which nothing flows

    def light(self, time):
        """Return the share of full light at `time` [s]."""
        return _along(self.lamp, time)

    def dial(self, time):
        """Return the share of the case's dial at `time` [s]."""
        return _along(self.pump, time)

    def course(self, time: float, end: float) -> tuple[Law, Law]:
        """Return light and share of the dial for single times between two knots. time, end [s]"""
        lamp = next(piece for piece in reversed(self.lamp) if piece.start <= time)
        pump = next(piece for piece in reversed(self.pump) if piece.start <= time)
        shares = float(pump.at(time)), float(pump.at(end))
        return lamp.law(), (lambda _: shares[0]) if shares[0] == shares[1] else pump.law()

    @property
    def knots(self) -> list[float]:
        """Times at which something changes its course. [s]"""
        ends = [p.start + p.time for p in (*self.pump, *self.lamp) if isinstance(p, Turning)]
        ends += [p.reaches(self.dead) for p in self.pump if min(p[2:]) < self.dead < max(p[2:])]
        spans = [t for span in (*self.dips, *self.dull) for t in span]
        return sorted({p.start for p in (*self.pump, *self.lamp)} | {*ends, *spans})


def _along(pieces: Sequence[Warming | Turning], time) -> Array:
    time = np.asarray(time, float)
    found = pieces[0].at(time)
    for piece in pieces[1:]:
        found = np.where(time >= piece.start, piece.at(time), found)
    return found


def schedule(start: StartupParameters, events: Sequence[Event] = (), reactor: str = "") -> Schedule:
    """Return what the lamp of a reactor and the pump do, with the events in order of their time.

    A lamp that has failed does not come back with the power, and the dial that was set last does.
    """
    first = 1.0 if start.lamp_start is None else start.lamp_start
    lamp: list[Warming | Turning] = [Warming(0.0, start.lamp_warm_up or 0.0, first)]
    pump = [Turning(0.0, 0.0, 0.0, 0.0), Turning(start.pump_delay, start.pump_ramp, 0.0, 1.0)]
    dips: list[tuple[float, float]] = []
    dull: list[tuple[float, float]] = []
    failed, level = False, 1.0
    for kind, time, unit in events:
        if kind == "dull_water":
            joins = bool(dull) and time <= dull[-1][1]  # one longer slug
            first_drawn = dull.pop()[0] if joins else time
            dull.append((first_drawn, time + (start.dull_time or 0.0)))
            continue
        now = float(_along(pump, time))
        if kind == "lamp_failure":
            if unit not in ("", reactor):
                continue
            failed = True
        if kind == "pump_step":
            level *= start.pump_step or 1.0
            pump = [p for p in pump if p.start < time] + [Turning(time, 0.0, level, level)]
            continue
        lamp = [p for p in lamp if p.start < time] + [Turning(time, 0.0, 0.0, 0.0)]
        if kind == "power_dip":
            back, rest = time + (start.dip_time or 0.0), start.pump_stop_time or 0.0
            dips.append((time, back))
            pump = [p for p in pump if p.start < time] + [Turning(time, rest, now, 0.0)]
            pump.append(Turning(max(back, time + rest), start.pump_ramp, 0.0, level))
            if not failed:
                strikes = back + (start.restart_wait or 0.0)
                lamp.append(Warming(strikes, start.restart_warm_up or 0.0, first))
    return Schedule(tuple(lamp), tuple(pump), tuple(dips), tuple(dull))
