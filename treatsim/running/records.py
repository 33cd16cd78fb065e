"""What is said of one unit by its readings: series, trends, triggers, causes, what was learnt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.arrays import Array
from treatsim.constants import DAY
from treatsim.running.log_file import Fault
from treatsim.running.trends import Z95, Step, Trend

FARTHEST = 730 * DAY  # a date beyond two years is none
NEAR = 3  # rows between a step and an event noted in the log


class Series(NamedTuple):
    """One quantity over the rows used."""

    words: str
    quantity: str
    values: Array  # SI
    error: Array  # standard error by the instruments; NaN where none is stated


class Trigger(NamedTuple):
    """A level at which people act."""

    words: str
    limit: float  # change that is let be, as a share; negative for a loss
    now: float  # change since the start, as a share
    low: float  # its 95 % interval
    high: float
    state: str  # reached, ahead, none
    when: float | None  # s of the log; None where no date can be given
    earliest: float | None
    latest: float | None
    source: str


class Cause(NamedTuple):
    """What the pattern speaks for."""

    name: str
    verdict: str  # suspected, cannot tell, nothing
    evidence: tuple[str, ...]
    do: str
    stop: bool = False  # nothing is given out until this is checked


class Learnt(NamedTuple):
    """An input as the log has it."""

    value: float
    spread: float  # standard error by the scatter of the log
    quantity: str
    said: str = ""  # what it leaves out, or cannot tell


class UnitLog(NamedTuple):
    """Everything the log says of one unit."""

    unit: str
    words: str
    time: Array  # s, of the rows used
    line: Array
    left_out: tuple[Fault, ...]
    series: Mapping[str, Series]
    trends: Mapping[str, Trend]
    triggers: tuple[Trigger, ...]
    causes: tuple[Cause, ...]
    learnt: Mapping[str, Learnt]  # by address
    notes: tuple[str, ...]

    @property
    def acts(self) -> bool:
        """Whether something is to be done now."""
        reached = any(trigger.state == "reached" for trigger in self.triggers)
        return reached or any(cause.stop or cause.verdict == "suspected" for cause in self.causes)


def trigger_of(
    words: str, trend: Trend, share: float, sign: int, time: Array, source: str
) -> Trigger:
    """Return whether a change by `share` in the direction `sign` is reached, and when."""
    limit = float(np.log1p(sign * share))
    change, low, high = (
        float(np.expm1(v)) for v in (trend.now, trend.now - trend.error, trend.now + trend.error)
    )
    base = (words, sign * share, change, low, high)
    end = float(time[-1])
    slope = trend.slope
    if sign * (trend.now - limit) >= 0:
        begin = float(time[trend.steps[-1].place]) if trend.steps else float(time[0])
        when = begin
        if slope is not None and sign * slope.slope > 0:
            when = max(begin, end - (trend.now - limit) / slope.slope)
        return Trigger(*base, "reached", when, None, None, source)
    if slope is None or sign * slope.slope <= 0 or slope.low * slope.high <= 0:
        return Trigger(*base, "none", None, None, None, source)
    rates = sorted((abs(slope.low), abs(slope.high)))
    gap = abs(limit - trend.now)
    when, early, late = (end + gap / rate for rate in (abs(slope.slope), rates[1], rates[0]))
    if when - end > FARTHEST:
        return Trigger(*base, "none", None, None, None, source)
    return Trigger(*base, "ahead", when, early, late, source)


def moment(start: datetime | None, seconds: float) -> str:
    """Return a time of the log as people write it."""
    if start is None:
        return f"{seconds / 3600:.0f} h"
    return (start + timedelta(seconds=float(seconds))).strftime("%Y-%m-%d %H:%M")


def percent(share: float) -> str:
    """Return a share as a signed percentage."""
    number = 100 * share
    return f"{number:+.0f} %" if abs(number) >= 9.95 else f"{number:+.1f} %"


def with_interval(trend: Trend) -> str:
    """Return the change of a trend with its 95 % interval."""
    return _interval(trend.now, trend.error)


def slowly(trend: Trend) -> str:
    """Return what of a trend did not come at once, with its 95 % interval."""
    aside = "slowly, steps aside, " if trend.steps else ""
    return aside + _interval(*trend.slow())


def _interval(change: float, error: float) -> str:
    low, high = (percent(np.expm1(change + side * error)) for side in (-1, 1))
    return f"{percent(np.expm1(change))} (95 %: {low} to {high})"


def near_event(events, time: Array, place: int) -> str:
    """Return what people noted beside a step, or ""."""
    early, late = time[max(place - NEAR, 0)], time[min(place + NEAR - 1, time.size - 1)]
    return "; ".join(text for when, text in events if early <= when <= late)


def learnt_level(
    trend: Trend, quantity: str, but: Sequence[Step] = (), said: str = "", aside: float = 0.0
) -> Learnt:
    """Return today's level of a ratio with its standard error; without the steps in `but`.

    What a doubt leaves possible, `aside` of a logarithm, has the 95 % interval around it as well.
    """
    change, error = trend.slow(but)
    error += float(np.expm1(aside))  # a share of the value, of the larger side
    value = float(np.exp(trend.start + change))
    return Learnt(value, value * error / Z95, quantity, said)


def told(value: float, quantity: str) -> str:
    """Return a value for a sentence."""
    return quantities.text(value, quantity, digits=3)
