"""Batched root finding. Knows arrays, nothing about water."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from treatsim.arrays import Array, Flags, Index
from treatsim.lone_root import LoneSearch

MAX_STEPS = 100
FURTHEST = 20.0  # steps that one extrapolation may take at once
PARALLEL = 1e-6  # squared sine below which two falls count as one direction

# Taken and given back untouched: by that glibc learns to keep pieces of up to this size for the
# next call (mallopt(3), M_MMAP_THRESHOLD). Else the memory of a batch goes back to the system after
# every step and comes anew page by page, up to a third of the time. Elsewhere it does nothing.
np.empty(2**21)


class Roots(NamedTuple):
    """Result of `find_roots`, one entry per point."""

    x: np.ndarray  # best abscissa
    converged: np.ndarray  # bool; not where the bracket closed on a jump
    residual: np.ndarray  # f at x
    steps: int  # calls of f
    evaluations: int  # points evaluated in all calls


def find_roots(
    f: Callable[[np.ndarray, np.ndarray], np.ndarray],
    guess: npt.ArrayLike,
    low: npt.ArrayLike,
    high: npt.ArrayLike,
    *,
    rtol: float = 1e-12,
    ftol: npt.ArrayLike = 0.0,
    slope: npt.ArrayLike = np.nan,
    patience: int = MAX_STEPS,
) -> Roots:
    """Solve f(x) = 0 for many points at once, each within its own bounds.

    Parameters
    ----------
    f : callable
        `f(x, index)` gives the residual of the points `index` (integer array) at `x`; same shape.
        A NaN means "no answer here" and is treated as lying outside.
    guess, low, high : array_like, shape (N,)
        First guess and hard bounds; f need not be known to change sign between the bounds.
    rtol : float
        A point is done when its bracket, or its last step, is narrower than rtol * |x|.
    ftol : array_like
        A point is also done when |f| <= ftol.
    slope : array_like
        Derivative of f at the guess as far as it is known, for the first step; NaN if it is not.
    patience : int
        A point is given up when so many trials of it had no answer and no change of sign is known.

    Returns
    -------
    Roots
        A point whose residual keeps one sign up to both bounds is returned unconverged, and so is
        one whose residual jumps over zero.

    Validity
    --------
    f continuous; a jump is told from a root by the residuals at the ends of the bracket,
    which at a root come together as the bracket closes. Every point keeps its own bracket; a secant
    step that leaves it, or that fails to halve the residual, is replaced by a bisection, so the
    count is bounded for any f. Finished points are no longer evaluated.
    """
    x, lo, hi = (np.array(v, dtype=float).ravel() for v in np.broadcast_arrays(guess, low, high))
    if x.size == 1:
        first, least = float(np.ravel(slope)[0]), float(np.ravel(ftol)[0])
        start = float(np.clip(x, lo, hi)[0])
        lone = LoneSearch(start, lo.item(), hi.item(), rtol, least, first)
        lone.patience = patience
        return _alone(f, lone)
    search = _Search(np.clip(x, lo, hi), lo, hi, rtol, np.broadcast_to(ftol, x.shape))
    search.slope, search.patience = np.broadcast_to(slope, x.shape), patience
    evaluations = 0
    for step in range(1, MAX_STEPS + 1):
        index = np.flatnonzero(search.active)
        if index.size == 0:
            return search.result(step - 1, evaluations)
        evaluations += index.size
        search.take(index, np.asarray(f(search.x[index], index), dtype=float))
    return search.result(MAX_STEPS, evaluations)


def _alone(f: Callable, lone: LoneSearch) -> Roots:
    """One point: the same steps on floats, which are quicker than arrays of one."""
    here, step = np.zeros(1, int), 0
    while lone.active and step < MAX_STEPS:
        step += 1
        lone.take(float(np.asarray(f(np.array([lone.x]), here), float)[0]))
    found = np.array([lone.best_x]), np.array([lone.converged]), np.array([lone.best_f])
    return Roots(*found, step, step)


class _Search:
    """Brackets and iterates of all points; `LoneSearch` takes the same steps."""

    def __init__(self, x: Array, low: Array, high: Array, rtol: float, ftol: Array) -> None:
        n = x.size
        self.x, self.low, self.high, self.rtol, self.ftol = x, low, high, rtol, ftol
        self.x_old, self.f_old = np.full(n, np.nan), np.full(n, np.nan)
        self.best_x, self.best_f = x.copy(), np.full(n, np.inf)
        # ends of the bracket: known values of either sign, NaN while unknown
        self.x_neg, self.x_pos = np.full(n, np.nan), np.full(n, np.nan)
        self.f_neg, self.f_pos = np.full(n, np.nan), np.full(n, np.nan)
        self.gap = np.full(n, np.nan)  # between the residuals while the bracket was last wide
        self.tried_low, self.tried_high = np.zeros(n, bool), np.zeros(n, bool)
        self.stalls, self.gaps = np.zeros(n, int), np.zeros(n, int)
        self.patience = MAX_STEPS
        self.active, self.converged = np.ones(n, bool), np.zeros(n, bool)
        self.slope = np.full(n, np.nan)

    def result(self, steps: int, evaluations: int) -> Roots:
        return Roots(self.best_x, self.converged, self.best_f, steps, evaluations)

    def take(self, i: Index, f: Array) -> None:
        """Digest residuals `f` of the points `i`, then choose the next abscissae."""
        x = self.x[i]
        bad = np.isnan(f)
        self.gaps[i] += bad
        better = ~bad & (np.abs(f) < np.abs(self.best_f[i]))
        self.stalls[i] = np.where(np.abs(f) <= 0.5 * np.abs(self.f_old[i]), 0, self.stalls[i] + 1)
        self.best_x[i[better]], self.best_f[i[better]] = x[better], f[better]
        neg, pos = i[f < 0], i[f > 0]
        self.x_neg[neg], self.x_pos[pos] = self.x[neg], self.x[pos]
        self.f_neg[neg], self.f_pos[pos] = f[f < 0], f[f > 0]
        self.tried_low[i] |= x <= self.low[i]
        self.tried_high[i] |= x >= self.high[i]
        new = self._next(i, x, f, bad)
        a, b = self.x_neg[i], self.x_pos[i]
        width = np.abs(a - b) / np.maximum(np.abs(a), np.abs(b))
        met = (np.abs(f) <= self.ftol[i]) | (f == 0)
        small = np.abs(new - x) <= self.rtol * np.abs(x)
        done = ~bad & (met | (width <= self.rtol) | (small & ~np.isnan(width)))
        given_up = self.tried_low[i] & self.tried_high[i] | (self.gaps[i] >= self.patience)
        lost = np.isnan(width) & given_up & ~done
        self.converged[i[done & (met | ~self._jumps(i, width))]] = True
        self.active[i[done | lost]] = False
        keep = ~bad
        self.x_old[i[keep]], self.f_old[i[keep]] = x[keep], f[keep]
        self.x[i] = new

    def _jumps(self, i: Index, width: Array) -> Flags:
        """Whether the residuals at the ends stay apart although the bracket closes."""
        gap = self.f_pos[i] - self.f_neg[i]
        jumps = (width <= 10 * self.rtol) & (gap > 0.5 * self.gap[i])
        self.gap[i] = np.where(width > self.rtol**0.5, gap, self.gap[i])
        return jumps

    def _next(self, i: Index, x: Array, f: Array, bad: Flags) -> Array:
        low, high = self.low[i], self.high[i]
        a, b = self.x_neg[i], self.x_pos[i]
        inside_lo = np.where(np.isnan(a + b), low, np.fmin(a, b))
        inside_hi = np.where(np.isnan(a + b), high, np.fmax(a, b))
        with np.errstate(divide="ignore", invalid="ignore"):
            new = x - f * (x - self.x_old[i]) / (f - self.f_old[i])
        bracketed = ~np.isnan(a + b)
        middle = 0.5 * (inside_lo + inside_hi)
        wrong = ~np.isfinite(new) | (new <= inside_lo) | (new >= inside_hi)
        new = np.where(bracketed & (wrong | (self.stalls[i] >= 2)), middle, new)
        self.stalls[i] = np.where(bracketed & (self.stalls[i] >= 2), 0, self.stalls[i])
        if np.all(bracketed & ~bad):
            return new
        return np.where(bracketed & ~bad, new, self._explore(i, x, f, new, bad, low, high))

    def _explore(
        self, i: Index, x: Array, f: Array, new: Array, bad: Flags, low: Array, high: Array
    ) -> Array:
        """Next abscissa while the residual has shown one sign only."""
        first = np.isnan(self.x_old[i])
        span = np.maximum(np.abs(x), 1e-3 * (high - low))
        nudge = np.where(x + 0.1 * span <= high, x + 0.1 * span, x - 0.1 * span)
        reach = np.maximum(2 * np.abs(x - self.x_old[i]), 0.5 * span)
        step = np.clip(new, x - reach, x + reach)
        step = np.where(np.isfinite(step), step, x + reach)
        with np.errstate(divide="ignore", invalid="ignore"):
            known = x - np.clip(f / self.slope[i], -0.5 * span, 0.5 * span)
        nudge = np.where(np.isfinite(known) & (known != x), known, nudge)
        step = np.clip(np.where(first, nudge, step), low, high)
        # a bound was reached without a change of sign: try the other end
        stuck = (step == x) | (self.stalls[i] >= 6)
        other = np.where(self.tried_high[i], low, high)
        step = np.where(stuck, other, step)
        back = np.where(np.isfinite(self.best_f[i]), 0.5 * (x + self.best_x[i]), other)
        return np.where(bad, back, step)


def extrapolated(history: Sequence[tuple[Array, Array]]) -> Array:
    """Return where an iteration x <- g(x) is heading, by least squares over its last steps.

    Parameters
    ----------
    history : sequence of pairs of ndarray, shape (rows, ...)
        x and g(x) of up to three steps, the newest first; every point by itself.

    Returns
    -------
    ndarray, shape (rows, ...)
        The next x; g(x) where there is one step only, or where a row would change its sign.

    Validity
    --------
    One step back is the secant; two serve two slow directions at once. Misses are relative to
    what each row is.

    Source
    ------
    anderson_1965
    """
    after = history[0][1]
    scale = np.abs(after) + 1e-300
    misses = [(new - old) / scale for old, new in history]
    weights = _weights([new - old for new, old in pairwise(misses)], misses[0])
    gains = [new - old for (_, new), (_, old) in pairwise(history)]
    far = after - sum(w * gain for w, gain in zip(weights, gains, strict=True))
    sound = np.all(far * after >= 0, axis=0)
    return np.where(sound & (far * after > 0), far, after)


def _weights(falls: list[Array], miss: Array) -> list[Array]:
    """Shares of the last steps to take away, so that least of the miss is left."""
    if not falls:
        return []

    def dot(a: Array, b: Array) -> Array:
        return np.sum(a * b, axis=0)

    def ratio(top: Array, below: Array, where: Flags) -> Array:
        return np.divide(top, below, out=np.zeros(below.shape), where=where)

    first, ahead = dot(falls[0], falls[0]), dot(falls[0], miss)
    alone = np.clip(ratio(ahead, first, first > 1e-24), -FURTHEST, 0.9)
    if len(falls) == 1:
        return [alone]
    second, cross, behind = dot(falls[1], falls[1]), dot(*falls), dot(falls[1], miss)
    area = first * second - cross**2
    apart = area > PARALLEL * first * second + 1e-48
    newer = ratio(second * ahead - cross * behind, area, apart)
    older = ratio(first * behind - cross * ahead, area, apart)
    sound = apart & (np.abs(newer) < FURTHEST) & (np.abs(older) < FURTHEST)
    return [np.where(sound, newer, alone), np.where(sound, older, 0.0)]


def even_points(axes: int, count: int) -> Array:
    """Return points that fill the unit cube evenly, each time the same.

    Parameters
    ----------
    axes : int
        Dimensions. [1]
    count : int
        Number of points. [1]

    Returns
    -------
    ndarray, shape (count, axes)
        Inside the cube, none on its border. [1]

    Validity
    --------
    Up to some tens of dimensions; no error bound comes with it.

    Source
    ------
    additive recurrence (Weyl) with the root of x^(axes + 1) = x + 1.
    """
    ratio = 2.0
    for _ in range(40):  # converges on that root
        ratio = (1 + ratio) ** (1 / (axes + 1))
    steps = ratio ** -np.arange(1.0, axes + 1)
    share = (0.5 + np.arange(count)[:, None] * steps) % 1.0
    return np.clip(share, 2.0**-33, 1 - 2.0**-33)


def distinct(values: npt.ArrayLike) -> Array:
    """Return the different values, rising; one alone is that, without what `unique` loads: 15 ms.

    Parameters
    ----------
    values : array_like
        Numbers of any shape. [any]

    Returns
    -------
    ndarray, shape (n,)
        [as the values]

    Validity
    --------
    Any.

    Source
    ------
    definition
    """
    row = np.ravel(np.asarray(values, dtype=np.float64))
    return row if row.size < 2 else np.unique(row)
