"""The product valve: when it opens and shuts, and what passes it meanwhile.

It lets a share of the water through to the product; the rest is led to waste, and the pump runs on.
Both ways take the valve's time, evenly. Loss of power shuts it at once: a spring does.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.running.start_parameters import StartupParameters

GAUSS = 12  # points in each piece of a volume


class Moves(NamedTuple):
    """Where the valve stands over time, straight between corners."""

    times: Array  # s
    shares: Array  # of the flow that is let through
    opens: tuple[float, ...]  # moments at which it begins to open, s
    shuts: tuple[float, ...]  # moments at which it begins to shut, s

    def at(self, time) -> Array:
        """Return the share let through."""
        return np.interp(time, self.times, self.shares)


def ready_spans(
    signals: Sequence[Sequence[tuple[float, bool]]], dips: Sequence[tuple[float, float]], end: float
) -> list[tuple[float, float]]:
    """Return the spans of time in which every signal is good and the power is there. [s]"""
    corners = sorted({0.0, end, *(t for s in signals for t, _ in s), *(t for d in dips for t in d)})
    spans: list[tuple[float, float]] = []
    for first, last in pairwise(corners):
        middle = 0.5 * (first + last)
        good = all(_standing(signal, middle) for signal in signals)
        if not good or any(off <= middle < on for off, on in dips):
            continue
        if spans and spans[-1][1] == first:
            spans[-1] = (spans[-1][0], last)
        else:
            spans.append((first, last))
    return spans


def _standing(signal: Sequence[tuple[float, bool]], time: float) -> bool:
    state = False
    for moment, good in signal:
        state = good if moment <= time else state
    return state


def moves(
    start: StartupParameters,
    spans: Sequence[tuple[float, float]],
    dips: Sequence[tuple[float, float]],
    flushed: Callable[[float], float],
    end: float,
) -> Moves:
    """Return what the valve does.

    spans: of `ready_spans`; flushed: time at which the flush begun at a time is done. [s]
    """
    orders: list[tuple[float, bool]] = []
    switched = [0.0, *(on for _, on in dips)]
    time = 0.0
    while time < end:
        opening = _opening(start, spans, switched, flushed, time)
        if not opening < end:
            break
        orders.append((opening, True))
        time = _shutting(start, spans, dips, opening, end)
        if time < end:
            orders.append((time, False))
        if start.opens_when == "timer":
            switched = [on for on in switched if on > time]
    return _corners(orders, start.valve_time or 0.0, end)


def _opening(start, spans, switched, flushed, after: float) -> float:
    """Return the next moment at which the valve is told to open."""
    if start.opens_when == "timer":
        return min((on + start.opening_time for on in switched), default=np.inf)
    for first, last in spans:
        if last <= after:
            continue
        moment = max(flushed(first), after)
        if moment < last:
            return float(moment)
    return float(np.inf)


def _shutting(start, spans, dips, opening: float, end: float) -> float:
    """Return the next moment at which the valve is told to shut."""
    gone = min((off for off, _ in dips if off >= opening), default=np.inf)
    time, delay = opening, start.alarm_delay or 0.0
    inside = [span for span in spans if span[1] > opening]
    for first, last in [*inside, (np.inf, np.inf)]:
        if first - time > delay and time + delay < end:  # the alarm lasts
            return float(min(time + delay, gone))
        time = last
    return float(min(end, gone))


def _corners(orders: Sequence[tuple[float, bool]], travel: float, end: float) -> Moves:
    times, shares, now = [0.0], [0.0], 0.0
    for number, (moment, opens) in enumerate(orders):
        until = orders[number + 1][0] if number + 1 < len(orders) else np.inf
        goal = 1.0 if opens else 0.0
        took = abs(goal - now) * travel
        reached = goal if moment + took <= until else now + (goal - now) * (until - moment) / took
        times += [moment, min(moment + took, until)]
        shares += [now, reached]
        now = reached
    times.append(max(end, times[-1]))
    shares.append(now)
    opened, shut = (tuple(t for t, opens in orders if opens == to) for to in (True, False))
    return Moves(np.array(times), np.array(shares), opened, shut)


def passed(
    flow: Callable[[Any], Any], valve: Moves, corners: Sequence[float], first: float, last: float
) -> tuple[float, float]:
    """Return what goes to the product and to waste between two times. [m3]

    flow: of time [s] -> [m3/s], smooth between the corners.
    """
    if not last > first:
        return 0.0, 0.0
    ends = np.unique(np.clip([first, last, *corners, *valve.times], first, last))
    nodes, weights = np.polynomial.legendre.leggauss(GAUSS)
    half = 0.5 * np.diff(ends)[:, None]
    time = ends[:-1, None] + half * (1 + nodes)
    amount = np.asarray(flow(time)) * weights * half
    share = valve.at(time)
    return float(np.sum(amount * share)), float(np.sum(amount * (1 - share)))
