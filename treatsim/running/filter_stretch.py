"""A stretch of a filter run as polynomials in the solids passed, and where it ends."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array, Index

NODES = 0.5 - 0.5 * np.cos(np.pi * np.arange(8) / 7)  # of a stretch, both ends among them
TO_POWERS = np.linalg.inv(np.vander(NODES, increasing=True))  # values at nodes -> coefficients
SUMS = (NODES[:, None] ** np.arange(1, 9) / np.arange(1, 9)) @ TO_POWERS  # -> integrals to nodes
HALVINGS = 40  # of the place at which a limit is reached
REACHED = -1e-9  # relative: a limit this close is reached
MET = 1e-10  # relative, of the bound of a stretch


class Clock(NamedTuple):
    """Exposure and running time at the edges of hours, shape (scenarios, hours + 1)."""

    exposure: Array  # kg s/m3
    running: Array  # s


class Slopes(NamedTuple):
    """Per solids passed, at the nodes of a stretch."""

    rate: Array  # of the loads
    fed: Array  # of what comes to each filter
    exposure: Array


class Stretch(NamedTuple):
    """A stretch of time as polynomials in the solids passed, coefficients along the first axis."""

    mass: Array
    fed: Array
    exposure: Array
    excess: Array


def at_part(powers: Array, part: Array) -> Array:
    """Return polynomials, coefficients along the first axis, at a part of each stretch."""
    x = part.reshape(part.shape + (1,) * (powers.ndim - 2))
    total = powers[-1] * x
    for row in powers[-2:0:-1]:
        total = (total + row) * x
    return total + powers[0]


def first_end(stretch: Stretch, bound: Array) -> Array:
    """Return the part of each stretch at which a limit or the bound is first reached, at most 1."""
    parts = _passed(stretch.exposure, bound)
    high = at_part(stretch.excess, parts).max(axis=1)
    rows = np.flatnonzero(high > -REACHED)
    ends = np.zeros(rows.size), parts[rows]
    excess = stretch.excess[:, rows]
    values = excess[0].max(axis=1), high[rows]
    for _ in range(HALVINGS):
        if not rows.size:
            break
        part = (ends[0] * values[1] - ends[1] * values[0]) / (values[1] - values[0])
        f = at_part(excess, part).max(axis=1)
        over = f >= REACHED
        parts[rows] = np.where(over, part, ends[1])
        ends = np.where(over, ends[0], part), np.where(over, part, ends[1])
        values = np.where(over, 0.5 * values[0], f), np.where(over, f, 0.5 * values[1])  # Illinois
        left = np.abs(f) > -REACHED
        rows, excess = rows[left], excess[:, left]
        ends, values = (ends[0][left], ends[1][left]), (values[0][left], values[1][left])
    return parts


def _passed(exposure: Array, bound: Array) -> Array:
    """Return the part of each stretch at which its exposure, which rises, comes to the bound."""
    parts = np.ones(bound.size)
    rows = np.flatnonzero(exposure.sum(axis=0) > bound)
    powers, wanted = exposure[:, rows], bound[rows]
    rises = powers[1:] * np.arange(1, len(powers))[:, None]
    low, high = np.zeros(rows.size), np.ones(rows.size)
    part = wanted / powers.sum(axis=0)
    for _ in range(HALVINGS):
        f = at_part(powers, part) - wanted
        if not np.any(np.abs(f) > MET * wanted):
            break
        low, high = np.where(f < 0, part, low), np.where(f < 0, high, part)
        newton = part - f / at_part(rises, part)
        part = np.where((newton >= low) & (newton <= high), newton, 0.5 * (low + high))
    parts[rows] = part
    return parts


def time_of(clock: Clock, rows: Index, exposure: Array) -> tuple[Array, Array]:
    """Return the clock hour and running time [s] at which scenarios reach an exposure."""
    last = clock.exposure.shape[1] - 1
    low, high = np.zeros(rows.size, int), np.full(rows.size, last)
    while np.any(high - low > 1):
        middle = (low + high) // 2
        below = clock.exposure[rows, middle] < exposure
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    before, after = clock.exposure[rows, low], clock.exposure[rows, high]
    part = (exposure - before) / np.where(after > before, after - before, 1.0)
    running = clock.running[rows, low]
    return low + part, running + part * (clock.running[rows, high] - running)
