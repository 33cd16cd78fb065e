"""What a loss of light speaks for: sleeve, lamp or sensor, told apart by wipes and a reference."""

from __future__ import annotations

import re
from datetime import datetime
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.running.records import Cause, moment, near_event, percent, slowly
from treatsim.running.trends import Z95, Step, Trend, noise_of, step_at

NOTICE = 0.05  # less is not called a slow loss, as a logarithm
WIPED = re.compile(r"wip|sleeve", re.I)  # words of an event after which the sleeve is clean
LEAST_BESIDE = 4  # readings on each side of a wipe
LEAST_CHECKS = 3  # against a reference sensor


class Light(NamedTuple):
    """Readings of light over what is expected, as logarithms, and what was noted beside them."""

    time: Array
    values: Array
    trend: Trend
    events: tuple[tuple[float, str], ...]
    start: datetime | None  # clock at time 0
    seen: bool  # whether the transmittance of the day is known
    drift: tuple[float, float] | None  # of duty over reference sensor, half its 95 % interval


def drift_of(
    time: Array, duty: Array, reference: Array, error: float
) -> tuple[float, float] | None:
    """Return how duty over reference moved over the log, ln, and half its 95 % interval.

    A straight line through all checks; None for too few. `error` is the standard error of either
    sensor, relative.
    """
    both = np.isfinite(duty) & (duty > 0) & (reference > 0)
    if np.count_nonzero(both) < LEAST_CHECKS:
        return None
    at, ratio = time[both] - np.mean(time[both]), np.log(duty[both] / reference[both])
    spread, span = float(np.sum(at**2)), float(time[-1] - time[0])
    slope = float(np.sum(at * ratio)) / spread
    scatter = float(np.sum((ratio - np.mean(ratio) - slope * at) ** 2) / (ratio.size - 2)) ** 0.5
    return slope * span, Z95 * max(scatter, error * 2**0.5) * span / spread**0.5


def last_wipe(light: Light) -> tuple[float, Step] | None:
    """Return when the sleeve was last wiped, and what it brought back; None if never noted."""
    times = [when for when, text in light.events if WIPED.search(text)]
    noise = noise_of(light.values)
    for when in reversed(times):
        place = int(np.searchsorted(light.time, when))
        if LEAST_BESIDE <= place <= light.time.size - LEAST_BESIDE:
            return when, step_at(light.values, place, noise)
    return None


def causes_of(light: Light) -> list[Cause]:
    """Return what the light speaks for, beside its level."""
    found = [*_sudden(light), *_sensor(light)]
    if wipe := last_wipe(light):
        return [*found, *_by_wipe(light, *wipe)]
    change, bound = light.trend.slow()[0], light.trend.bound(NOTICE)
    change -= light.drift[0] if _drifts(light) and light.drift else 0.0
    if change >= -bound:
        return found
    suspects = ["sleeve", "lamp", *([] if light.drift else ["sensor"])]
    if not light.seen:
        suspects.append("the water")
    name = f"slow loss of light: {', '.join(suspects[:-1])} or {suspects[-1]}"
    said = (f"light {slowly(light.trend)}", "no wipe of the sleeve is noted that would tell")
    do = "wipe the sleeve and note it in the log: what comes back was fouling; else lamp hours, "
    return [*found, Cause(name, "cannot tell", said, do + "then the reference sensor")]


def _drifts(light: Light) -> bool:
    return light.drift is not None and abs(light.drift[0]) > max(NOTICE, light.drift[1])


def _sensor(light: Light) -> list[Cause]:
    """Say whether the duty sensor moved against the reference."""
    if not _drifts(light) or light.drift is None:
        return []
    change, error = light.drift
    ends = [percent(np.expm1(change + side * error)) for side in (-1, 1)]
    said = f"duty over reference sensor {percent(np.expm1(change))} (95 %: {ends[0]} to {ends[1]})"
    do = "calibrate or replace the duty sensor; wipe its window first"
    return [Cause("drift of the duty sensor", "suspected", (said + " since the start",), do)]


def _by_wipe(light: Light, when: float, step: Step) -> list[Cause]:
    """Part a loss by what the last wipe brought back and what it did not."""
    found, trend = [], light.trend
    width = slice(step.place, step.place + LEAST_BESIDE * 4)
    kept = float(np.median(light.values[width])) - trend.start
    if _drifts(light) and light.drift:
        kept -= light.drift[0]
    error = float(np.hypot(step.error, trend.error))
    said = f"a wipe at {moment(light.start, when)} brought back {percent(np.expm1(step.size))}"
    since = trend.now - (float(np.median(light.values[width])) - trend.start)
    if step.size > max(NOTICE, step.error):
        also = f"light {percent(np.expm1(since))} since then"
        do = "wipe it before the loss is as large again"
        found.append(Cause("fouling of the sleeve", "suspected", (said, also), do))
    if kept < -max(NOTICE, error):
        stays = f"{percent(np.expm1(kept))} against the start stayed lost with the sleeve clean"
        name = "ageing of the lamp" if light.drift else "ageing of the lamp, or the duty sensor"
        do = "lamp hours; then a new lamp, or the reference sensor"
        found.append(Cause(name, "suspected", (said, stays), do))
    if not found and since < -max(NOTICE, error):
        said = f"light {percent(np.expm1(since))} since the wipe at {moment(light.start, when)}"
        do = "wipe the sleeve: what comes back is fouling, what does not is the lamp"
        found.append(Cause("slow loss of light: sleeve or lamp", "cannot tell", (said,), do))
    return found


def _sudden(light: Light) -> list[Cause]:
    """Return what steps speak for that nobody noted an event beside."""
    found = []
    for step in light.trend.steps:
        if step.size < 0 and not near_event(light.events, light.time, step.place):
            when = moment(light.start, light.time[step.place])
            said = f"light {percent(np.expm1(step.size))} at once at {when}"
            name = "lamp, ballast, sensor or a slug of dull water"
            do = "lamp indicator, then sleeve, then reference sensor"
            found.append(Cause(name, "cannot tell", (said,), do))
    return found
