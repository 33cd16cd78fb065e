"""Look over the whole range of a setting for what a root finder has missed, at many points."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from treatsim.arrays import Array, Flags, Index
from treatsim.numerics import find_roots

Miss: TypeAlias = Callable[[Array, Index], Array]  # of settings and the points they belong to

EVEN = 13  # settings tried over the range, evenly spaced
AROUND = 1.0 + np.array([-0.5, -0.2, -0.08, -0.03, 0.03, 0.08, 0.2, 0.5])  # times the guess
ROUNDS = 6  # of looking closer around the nearest, each to a quarter of the width
CLOSER = 7  # settings tried in each of them, between those known
GAIN = 1e-4  # of a miss that is told to four digits; less is no reason to look closer
HOPELESS = 1e-3  # miss beyond which a hold is not merely touched
CROSSINGS = 3  # changes of sign looked into per round, the nearest first
AT_ONCE = 8192  # trials solved together


def look_around(
    miss: Miss,
    points: Index,
    known: Array,
    span: tuple[float, float],
    ftol: float,
    closely: bool,
) -> Array:
    """Return per point the setting that misses least.

    `miss(x, points)` is NaN where there is no answer. `known` holds for each of the `points` the
    best setting so far, its miss and the guess; `span` are the ends of the range. Every change of
    sign between neighbouring settings is followed to its root; a jump over zero is none. Where
    none is left, the surroundings of the nearest are searched, if that is asked for, until that
    tells nothing new.
    """
    low, high = span
    best, least, guess = np.array(known)
    size = points.size
    even = np.broadcast_to(np.linspace(low, high, EVEN)[:, None], (EVEN, size))
    tried = np.concatenate([even, AROUND[:, None] * guess, [guess, best]])
    before = np.full(size, np.inf)
    for looked in range(1 + ROUNDS * closely):
        now = np.where(np.isfinite(least), np.abs(least), np.inf)
        settled = (looked > 1) & (now > HOPELESS) & (before <= (1 + GAIN) * now)
        rest, before = np.flatnonzero(~(now <= ftol) & ~settled), now
        if rest.size == 0:
            break
        x = np.sort(np.clip(tried[:, rest], low, high), axis=0)
        f = _evaluated(miss, x, points[rest])
        best[rest], least[rest] = _better(best[rest], least[rest], x, f)
        crosses = f[:-1] * f[1:] < 0
        for _ in range(CROSSINGS):
            crosses &= ~(np.abs(least[rest]) <= ftol)
            column = np.flatnonzero(np.any(crosses, axis=0))
            if column.size == 0:
                break
            owners = rest[column]
            row = _nearest_row(crosses[:, column], x[:, column], best[owners])
            crosses[row, column] = False
            a, b = x[row, column], x[row + 1, column]
            there = _at(miss, points[owners])
            roots = find_roots(there, 0.5 * (a + b), a, b, rtol=1e-12, ftol=ftol)
            near = roots.x[None], roots.residual[None]
            best[owners], least[owners] = _better(best[owners], least[owners], *near)
        tried = np.empty((CLOSER, size))
        below, above = _beside(x, best[rest])
        tried[:, rest] = np.linspace(below, above, CLOSER + 2)[1:-1]
    return best


def _at(miss: Miss, points: Index) -> Miss:
    """Return the misses as a function of settings and positions among `points`."""
    return lambda x, index: miss(x, points[index])


def _evaluated(miss: Miss, x: Array, points: Index) -> Array:
    """Return the misses at settings of shape (settings, points)."""
    flat, owners = x.ravel(), np.tile(points, len(x))
    pieces = -(-flat.size // AT_ONCE)
    parts = zip(np.array_split(flat, pieces), np.array_split(owners, pieces), strict=True)
    return np.concatenate([miss(t, i) for t, i in parts]).reshape(x.shape)


def _better(best: Array, least: Array, x: Array, f: Array) -> tuple[Array, Array]:
    """Return the setting of least miss of each point among the known one and new ones."""
    size = np.where(np.isfinite(f), np.abs(f), np.inf)
    row, column = np.argmin(size, axis=0), np.arange(best.size)
    gains = size[row, column] < np.where(np.isfinite(least), np.abs(least), np.inf)
    return np.where(gains, x[row, column], best), np.where(gains, f[row, column], least)


def _nearest_row(crosses: Flags, x: Array, near: Array) -> Index:
    """Return the row below the change of sign that is nearest to `near`."""
    away = np.abs(0.5 * (x[:-1] + x[1:]) - near)
    return np.argmin(np.where(crosses, away, np.inf), axis=0)


def _beside(x: Array, best: Array) -> tuple[Array, Array]:
    """Return the settings tried on either side of the best."""
    below = np.max(np.where(x < best, x, np.min(x, axis=0)), axis=0)
    above = np.min(np.where(x > best, x, np.max(x, axis=0)), axis=0)
    return below, above
