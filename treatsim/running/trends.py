"""Robust trends: slope with its interval, sudden steps, and when a level is reached."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array

Z95 = 1.959964
MOST_BINS = 200
LEAST_ROWS = 8  # below, a slope says nothing
LEAST_FOR_STEPS = 24
SUDDEN = 0.4  # share of the whole change that must come at once
LEAST_STEP = 0.04  # in the logarithm
COARSE = 32  # places in a window at which a step is looked for first
DEEPEST = 3  # steps within steps
BESIDE = 16  # readings on each side that tell the size of a step
SURE = 1.5, 2.0  # times a 95 % interval: beyond is called a change; a log has many trends, and
# a slow part beside steps rests on few readings at each
MEDIAN = 1.2533  # error of a median over that of a mean, of a normal scatter
NOISE = 1.4826  # standard deviation over median absolute deviation, of a normal scatter


class Slope(NamedTuple):
    """Line through readings, with the interval that holds the slope 95 times in 100."""

    slope: float  # per s
    low: float
    high: float
    level: float  # at the end
    error: float  # half the 95 % interval of the level


class Step(NamedTuple):
    """A sudden change of a logarithm."""

    place: int  # first row after it
    size: float  # ln after - ln before
    error: float  # half its 95 % interval


class Trend(NamedTuple):
    """A quantity over the log, as logarithm of its ratio to the start."""

    start: float  # ln, over the baseline
    now: float  # ln, today over the start
    error: float  # half the 95 % interval of now
    slope: Slope | None  # since the last step; None where too few readings follow it
    steps: tuple[Step, ...]

    @property
    def moved(self) -> int:
        """-1, 0, 1: whether the interval excludes the start."""
        return 0 if abs(self.now) <= self.error else int(np.sign(self.now))

    def slow(self, but: Sequence[Step] | None = None) -> tuple[float, float]:
        """Return what did not come at once, and half its 95 % interval; `but` names the steps."""
        steps = self.steps if but is None else but
        errors = [self.error, *(step.error for step in steps)]
        change = self.now - sum(step.size for step in steps)
        return float(change), float(np.hypot.reduce(errors))

    def bound(self, notice: float) -> float:
        """Return what a slow change must exceed to be called one."""
        return max(notice, SURE[bool(self.steps)] * self.slow()[1])


def noise_of(values: Array) -> float:
    """Return the scatter from reading to reading, trends and steps aside."""
    if values.size < 3:
        return 0.0
    second = np.diff(values, 2) / np.sqrt(6.0)
    return float(NOISE * np.median(np.abs(second)))


def sen_slope(time: Array, values: Array) -> Slope:
    """Return the median of the slopes of all pairs, with the interval of their ranks.

    Long logs are gathered into medians first. Readings that follow one another alike count less.
    """
    x, y = _gathered(time, values)
    n = x.size
    i, j = np.triu_indices(n, 1)
    slopes = np.sort((y[j] - y[i]) / (x[j] - x[i]))
    middle = float(np.median(slopes))
    rest = y - middle * x
    rest = rest - np.median(rest)
    alike = max(0.0, _lag(rest)) if n > 30 else 0.0
    spread = np.sqrt(n * (n - 1) * (2 * n + 5) / 18 * (1 + alike) / (1 - alike))
    reach = Z95 * spread
    low = int(np.clip(np.floor((slopes.size - reach) / 2), 0, slopes.size - 1))
    high = int(np.clip(np.ceil((slopes.size + reach) / 2), 0, slopes.size - 1))
    ends = float(slopes[low]), float(slopes[high])
    scatter = NOISE * float(np.median(np.abs(rest)))
    centre = float(np.median(x))
    level = float(np.median(y - middle * (x - x[-1])))
    wide = MEDIAN * Z95 * scatter * np.sqrt((1 + alike) / (1 - alike) / n)
    tilt = 0.5 * (ends[1] - ends[0]) * (x[-1] - centre)
    return Slope(middle, *ends, level + middle * (time[-1] - x[-1]), float(np.hypot(wide, tilt)))


def _lag(rest: Array) -> float:
    total = float(np.sum(rest**2))
    return min(float(np.sum(rest[1:] * rest[:-1])) / total, 0.9) if total > 0 else 0.0


def _gathered(time: Array, values: Array) -> tuple[Array, Array]:
    if time.size <= MOST_BINS:
        return time, values
    parts = np.array_split(np.arange(time.size), MOST_BINS)
    return (
        np.array([np.mean(time[p]) for p in parts]),
        np.array([np.median(values[p]) for p in parts]),
    )


def steps_of(values: Array, depth: int = 0) -> list[Step]:
    """Return the sudden steps of a logarithm, in order; none where readings are few.

    A step is a change that comes at once, beyond the scatter, and is a large share of the whole.
    """
    n = values.size
    if n < LEAST_FOR_STEPS or depth > DEEPEST:
        return []
    width = max(3, n // 12)
    pace = max(1, width // COARSE)  # of the windows: long logs need not look at every row
    width = pace * (width // pace)
    view = np.lib.stride_tricks.sliding_window_view(values, width)[::pace]
    windows = np.median(view, axis=-1)
    jump = windows[width // pace :] - windows[: -(width // pace)]
    best = int(np.argmax(np.abs(jump)))
    noise = noise_of(values)
    smooth = np.ptp(windows)
    least = max(LEAST_STEP, 4 * noise * np.sqrt(2 * np.pi / 2 / width))
    if abs(jump[best]) < max(least, SUDDEN * smooth):
        return _last_rows(values, noise) if depth == 0 else []
    place = _sharpest(values, pace * best + width, width, pace)
    step = step_at(values, place, noise, min(width, BESIDE))
    left = steps_of(values[:place], depth + 1)
    right = [s._replace(place=s.place + place) for s in steps_of(values[place:], depth + 1)]
    after = values[place:]
    late = [] if right else _last_rows(after, max(noise, noise_of(after)))
    return [*left, step, *right, *(s._replace(place=s.place + place) for s in late)]


def _sharpest(values: Array, centre: int, width: int, pace: int) -> int:
    """Return the row at which two levels part best, around a centre: coarsely, then row by row."""
    low, high = max(centre - width + 1, 2), min(centre + width, values.size - 1)
    ends = max(low - width, 0), high + width

    def cost(place: int) -> float:
        sides = values[ends[0] : place], values[place : ends[1]]
        return float(sum(np.sum(np.abs(side - np.median(side))) for side in sides))

    if low >= high:
        return centre
    best = min(range(low, high, pace), key=cost)
    return min(range(max(best - pace, low), min(best + pace + 1, high)), key=cost)


def _last_rows(values: Array, noise: float) -> list[Step]:
    """Return a step in the very last readings, which no median sees yet: only a large one."""
    for count in range(min(6, values.size // 4), 0, -1):
        before = np.median(values[-count - 12 : -count])
        gap = values[-count:] - before
        large = max(0.15, 6 * noise)
        if np.all(gap > large) or np.all(gap < -large):
            return [step_at(values, values.size - count, noise)]
    return []


def step_at(values: Array, place: int, noise: float, width: int = BESIDE) -> Step:
    """Return a step by the readings beside it: few, so that a slope does not count as a step."""
    before, after = values[max(place - width, 0) : place], values[place : place + width]
    wide = values[max(place - 3 * width, 0) : place], values[place : place + 3 * width]
    scatter = [noise_of(side) if side.size >= LEAST_FOR_STEPS else noise for side in wide]
    error = MEDIAN * Z95 * np.hypot(scatter[0] / before.size**0.5, scatter[1] / after.size**0.5)
    return Step(place, float(np.median(after) - np.median(before)), float(error))


def trend_of(time: Array, values: Array, baseline: float) -> Trend:
    """Return how a logarithm moved since the `baseline` [s] at the start of the log."""
    first = values[time <= time[0] + baseline]
    start = float(np.median(first))
    steps = steps_of(values)
    begin = steps[-1].place if steps else 0
    part, when = values[begin:], time[begin:]
    slope = sen_slope(when, part) if part.size >= LEAST_ROWS else None
    own = MEDIAN * Z95 * max(noise_of(values), 1e-12) / np.sqrt(first.size)
    if slope is not None:
        now, error = slope.level - start, float(np.hypot(slope.error, own))
    else:
        now = float(np.median(part)) - start
        error = MEDIAN * Z95 * noise_of(values) * float(np.sqrt(1 / part.size + 1 / first.size))
    return Trend(start, now, error, slope, tuple(steps))
