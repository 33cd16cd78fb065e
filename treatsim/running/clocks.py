"""What has flowed until a time, and when a volume has, in closed form over the ramp of the dial.

A table of flow is made of cubics over a scaled root of the dial, and the dial goes evenly with the
time: what has flowed is a polynomial of that root, and nothing has to be integrated in steps.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.running.schedule import Schedule
from treatsim.running.start_flow import Flows


class Clock:
    """What has flowed at one place of the train, from switching on to the end looked at."""

    def __init__(self, table: Flows, name: str, plan: Schedule, end: float):
        self.table, self.name, self.plan, self.end = table, name, plan, end
        knots = [knot for knot in plan.knots if 0.0 < knot < end]
        self.ends = np.array([0.0, *knots, end])
        self.grown = _grown(table.curves[name])
        spans = [self._span(first, last) for first, last in pairwise(self.ends.tolist())]
        self.spans = spans
        gone = [self._within(span, span[1]) for span in spans]
        self.at_ends = np.concatenate([[0.0], np.cumsum(np.array(gone, float))])

    def _span(self, first: float, last: float) -> tuple[float, float, float, float]:
        """Return a span with the share of the dial at its ends, which goes evenly between."""
        law = self.plan.course(first, float(np.nextafter(last, 0.0)))[1]
        return first, last, law(first), law(float(np.nextafter(last, 0.0)))

    def _within(self, span: tuple[float, float, float, float], time) -> Array:
        """Return what flows from the start of a span to a time in it. [m3]"""
        first, last, begin, goal = span
        gone = np.asarray(time, float) - first
        dead, width = self.table.dead, self.table.top - self.table.dead
        if begin == goal or last - first <= 0 or max(begin, goal) <= dead:
            return gone * float(self.table(self.name, begin))
        steep = (goal - begin) / (last - first)
        place, start = (
            np.sqrt(np.maximum(share - dead, 0.0) / width)
            for share in (begin + steep * gone, np.asarray(begin))
        )
        return (self.grown(place) - self.grown(start)) * width / steep

    def pumped(self, time: float) -> float:
        """Return what has flowed until `time` [s], at most the end looked at. [m3]"""
        time = min(time, self.end)
        number = int(np.clip(np.searchsorted(self.ends, time, side="right") - 1, 0,
                             len(self.spans) - 1))  # fmt: skip
        return float(self.at_ends[number] + self._within(self.spans[number], time))

    def when(self, volume: float) -> float:
        """Return the time at which `volume` [m3] had flowed; inf if it never did."""
        from scipy.optimize import brentq

        at_ends = self.at_ends
        if volume > at_ends[-1]:
            return np.inf
        if volume <= at_ends[0]:
            return float(self.ends[0])
        number = int(np.searchsorted(at_ends, volume, side="left")) - 1
        if abs(at_ends[number + 1] - volume) <= 1e-15 * volume:
            return float(self.ends[number + 1])
        span, missing = self.spans[number], volume - at_ends[number]
        if span[2] == span[3]:
            return span[0] + float(missing / self.table(self.name, span[2]))
        return float(brentq(lambda time: self._within(span, time) - missing, *span[:2], xtol=1e-9))

    def later(self, time: float, volume: float) -> float:
        """Return when what stood `volume` [m3] ahead of a place at `time` [s] comes to it. [s]"""
        if not np.isfinite(time) or volume == 0.0:
            return time
        return self.when(self.pumped(time) + volume)


def _grown(curve: Any):
    """Return the integral of flow times twice its place: what flows, over the width of the dial."""
    from scipy.interpolate import PPoly

    start = 2.0 * curve.x[:-1]
    cubics = np.zeros((curve.c.shape[0] + 1, curve.c.shape[1]))
    cubics[:-1] += 2.0 * curve.c
    cubics[1:] += start * curve.c
    return PPoly(cubics, curve.x).antiderivative()
