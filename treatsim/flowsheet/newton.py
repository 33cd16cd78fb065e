"""Several equations with several unknowns at many points at once, by quasi-Newton steps."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

import numpy as np

from treatsim.arrays import Array, Index

Residual: TypeAlias = Callable[[Array, Index], Array]  # (unknowns, points) -> same shape

DIFFERENCE = 1e-6  # of an unknown's range, for difference quotients
SLOW = 0.5  # a step that leaves more of the residual asks for a new Jacobian
STILL = 0.99  # a step of a new Jacobian that leaves more of the residual is the last
HALVINGS = 12
CLOSE = 1e-11  # residual to reach; below, steps go on while each of them gains
FINEST = 1e-13  # residual below which round-off begins


def size(r: Array) -> Array:
    """Return the largest residual of each point; what is no number counts as infinite."""
    return np.max(np.where(np.isfinite(r), np.abs(r), np.inf), axis=0)


def quasi_newton(
    residual: Residual, low: Array, high: Array, x: Array, index: Index, steps: int
) -> tuple[Array, Array]:
    """Step at the points `index` until each is solved or stands still; returns x and residuals.

    `residual(x, index)` takes and returns arrays (unknowns, points); `low` and `high` have the
    shape of `x`. The difference Jacobian of a point is taken once and then updated by Broyden's
    rule; it is taken anew where a step gains less than SLOW. A point stands still if a new
    Jacobian, or a plain step once CLOSE, does not help it. No point depends on another.
    """
    x, r = x.copy(), residual(x, index)
    jacobian = np.empty((index.size, len(x), len(x)))  # per share of each unknown's range
    moving, stale = np.ones(index.size, bool), np.ones(index.size, bool)
    for _ in range(steps):
        active = np.flatnonzero(moving & (size(r) > FINEST))
        if active.size == 0:
            break
        anew = active[stale[active]]
        if anew.size:
            at = x[:, anew], r[:, anew], index[anew], low[:, anew], high[:, anew]
            jacobian[anew] = _jacobian(residual, *at)
        here = x[:, active], r[:, active]
        ends = low[:, active], high[:, active]
        there = _step(residual, *here, index[active], jacobian[active], *ends)
        x[:, active], r[:, active] = there
        before, after = size(here[1]), size(there[1])
        slow = after > SLOW * before
        moving[active] = np.where(before > CLOSE, (after < STILL * before) | ~stale[active], ~slow)
        stale[active] = slow & (after > CLOSE)
        shift = ((there[0] - here[0]) / (ends[1] - ends[0])).T
        jacobian[active] = _updated(jacobian[active], shift, (there[1] - here[1]).T)
    return x, r


def _jacobian(
    residual: Residual, x: Array, r: Array, index: Index, low: Array, high: Array
) -> Array:
    """Difference quotients of all residuals, shape (points, equations, unknowns)."""
    found = np.empty((index.size, len(x), len(x)))
    step = DIFFERENCE * (high - low)
    for j in range(len(x)):
        up = x.copy()
        sign = np.where(x[j] + step[j] > high[j], -1.0, 1.0)
        up[j] += sign * step[j]
        found[:, :, j] = ((residual(up, index) - r) / (sign * DIFFERENCE)).T
    return found


def _updated(jacobian: Array, shift: Array, change: Array) -> Array:
    """Broyden's update: the least change of the Jacobian that explains the last step."""
    length = np.sum(shift**2, axis=1)[:, None, None]
    miss = change - np.einsum("pij,pj->pi", jacobian, shift)
    update = miss[:, :, None] * shift[:, None, :]
    return jacobian + np.divide(update, length, out=np.zeros_like(update), where=length > 0)


def _step(
    residual: Residual, x: Array, r: Array, index: Index, jacobian: Array, low: Array, high: Array
) -> tuple[Array, Array]:
    """The step of a Jacobian, halved until the residual falls; what does not fall stays."""
    move = _move(jacobian, r) * (high - low)
    least, most = low + 0.1 * (x - low), high - 0.1 * (high - x)
    before = size(r)
    best_x, best_r = x.copy(), r.copy()
    left = np.arange(index.size)
    share = 1.0
    for _ in range(HALVINGS):
        trial = np.clip(x[:, left] + share * move[:, left], least[:, left], most[:, left])
        trial_r = residual(trial, index[left])
        good = size(trial_r) < before[left]
        best_x[:, left[good]], best_r[:, left[good]] = trial[:, good], trial_r[:, good]
        left = left[~good & (before[left] > CLOSE)]
        if left.size == 0:
            break
        share /= 2
    return best_x, best_r


def _move(jacobian: Array, r: Array) -> Array:
    """The Newton step in shares of the ranges, shape (unknowns, points)."""
    steady = np.nan_to_num(jacobian, posinf=0.0, neginf=0.0) + 1e-30 * np.eye(len(r))
    try:
        return np.asarray(np.linalg.solve(steady, -r.T[:, :, None])[:, :, 0].T, float)
    except np.linalg.LinAlgError:
        return np.asarray((np.linalg.pinv(steady) @ -r.T[:, :, None])[:, :, 0].T, float)
