"""March along a vessel: Dormand-Prince 5(4), one step per element, more where the estimate asks.

All points take one step per element together. Points whose error estimate exceeds the tolerance
start again at the element where it did, each with its own step; the last few do so on floats, which
are faster than short arrays. Nothing raises and nothing becomes NaN: a point that cannot be marched
keeps its last sound state and a status.
"""

from __future__ import annotations

import itertools
import math
from functools import partial
from typing import NamedTuple

import numpy as np

from treatsim.correlations.ro.vessel_effort import compiled_march
from treatsim.correlations.ro.vessel_floats import slopes_of, step
from treatsim.correlations.ro.vessel_inlet import first_flux
from treatsim.correlations.ro.vessel_kernel import ARRAYS, FLOATS, LOG_DRY, Problem, slopes, take
from treatsim.correlations.ro.vessel_step import (
    A2,
    A3,
    A4,
    A5,
    A6,
    ERROR,
    LEAST_PUSH,
    MAX_STEPS,
    NOT_CONVERGED,
    OK,
    ORDER_5,
    SHORT,
    estimated,
    growth,
    limit,
)

CHUNK = 12288  # points whose numbers fit the cache
FEW = 24  # points that are quicker one by one on floats
# the state itself stands ahead of the slopes, so that one sum makes a stage
STAGES = tuple(np.array((1.0, *row)) for row in (A2, A3, A4, A5, A6, ORDER_5))
ERROR_ROW = np.array(ERROR)


class Path(NamedTuple):
    """State at the ends of the elements, shape (elements + 1, 5, points), and how it went."""

    nodes: np.ndarray  # y, m, P, J, beta
    estimate: np.ndarray  # largest accepted error estimate, relative
    status: np.ndarray  # bits


def march(problem: Problem, pressure, elements: int, tolerance: float) -> Path:
    """March many points.

    Parameters
    ----------
    problem : Problem
        What is fixed along each path. [-]
    pressure : ndarray, shape (N,)
        Feed pressure. [Pa]
    elements : int
        In series. [1]
    tolerance : float
        Largest relative error estimate of one step. [1]

    Returns
    -------
    Path
        Nodes of all points. [1], [kg/kg], [Pa], [m/s], [1]

    Validity
    --------
    The estimate is of fourth order and errs on the safe side for the fifth-order result. A point
    that dries out (98 % recovered), or whose pressure falls below the permeate's, stops removing
    water there and says so in its status.

    Source
    ------
    dormand_prince_1980
    """
    found = compiled_march(problem, pressure, elements, tolerance, _one_by_one)
    if found is not None:
        return Path(*found)
    if pressure.size <= FEW:
        return _one_by_one(problem, pressure, elements, tolerance)
    nodes = np.empty((elements + 1, 5, pressure.size))
    estimate = np.empty((elements, pressure.size))
    for part in _chunks(pressure.size):
        path = nodes[..., part], estimate[:, part]
        _uniform(take(problem, part), pressure[part], tolerance, path)
    status = np.zeros(pressure.size, int)
    bad = np.flatnonzero(~(estimate.max(axis=0) <= tolerance))
    worst = np.where(estimate <= tolerance, estimate, 0.0).max(axis=0)
    for some in (bad[part] for part in _chunks(bad.size)):
        start = np.argmax(~(estimate[:, some] <= tolerance), axis=0)
        h = growth(ARRAYS, estimate[start, some], tolerance)
        walk = _Walk(take(problem, some), nodes[:, :, some], (start, h), tolerance)
        nodes[:, :, some], worst[some], status[some] = walk.run()
    return Path(nodes, worst, status)


def _chunks(size: int) -> list[slice]:
    """Equal parts of at most CHUNK points, which fit the cache."""
    count = -(-size // CHUNK)
    edges = [size * i // count for i in range(count + 1)] if count else []
    return [slice(a, b) for a, b in itertools.pairwise(edges)]


def _uniform(p: Problem, pressure, tolerance: float, path: tuple):
    """One step per element for a chunk; fills the nodes, and the estimate of each element."""
    nodes, estimate = path
    with np.errstate(all="ignore"):
        state, first = _start(ARRAYS, p, pressure, partial(slopes, ARRAYS, p))
        nodes[0] = state
        work = np.empty((8, *state.shape))
        for element in range(estimate.shape[0]):
            state, first, estimate[element] = _array_step(p, state, 1.0, first, work)
            nodes[element + 1] = state
            sound = estimate[element] <= tolerance
            if not sound.any():
                nodes[element + 1 :], estimate[element + 1 :] = state, np.inf
                break


def _start(xp, p: Problem, pressure, rates):
    push = xp.maximum(pressure - p.permeate_pressure, LEAST_PUSH)
    start = push + p.permeate_pressure
    flux, beta = first_flux(xp, p, start, rates)
    zero = xp.zeros(start)
    state = (zero, zero, start, flux, beta)
    first = rates(*state)[:5]
    return (state, first) if xp is FLOATS else (np.stack(state), np.stack(first))


def _array_step(p: Problem, state, h, first, work):
    """One step of all points from their slopes; `work` has room for the state and seven slopes."""
    work[0] = state
    _over_the_step(first, h, work[1])
    for stage in range(1, 7):
        # einsum, not BLAS: its threads would wait for each other on a busy machine
        new = np.einsum("s,sij->ij", STAGES[stage - 1], work[: stage + 1])
        y, m, P, J, beta = new
        *last, J_off, beta_off = slopes(ARRAYS, p, y, m, P, J, beta, correct=stage == 6)
        _over_the_step(last, h, work[stage + 1])
    error = np.einsum("s,sij->ij", ERROR_ROW, work[1:])
    estimate = estimated(ARRAYS, 1.0, error, new, state[0])
    new[3] += J_off
    new[4] += beta_off
    return new, last, estimate


def _over_the_step(found, h, rows):
    """Changes at these slopes over the length of the step, put in their place."""
    for value, row in zip(found, rows, strict=True):
        np.multiply(value, h, out=row)


class _Walk:
    """Points that need short steps, each at its own pace from its own element."""

    def __init__(self, p: Problem, nodes, begin: tuple, tolerance: float):
        start, self.h = begin  # node, and length of the first step
        n = start.size
        self.p, self.nodes, self.tolerance = p, nodes, tolerance
        self.worst, self.status = np.zeros(n), np.zeros(n, int)
        self.index = np.arange(n)  # points still under way
        self.place, self.target = start.astype(float), start + 1
        self.state = nodes[start, :, self.index].T.copy()
        self.first = np.stack(np.broadcast_arrays(*slopes(ARRAYS, p, *self.state)[:5]))
        self.working = p

    def run(self):
        """Go on until every point is at the outlet; the last few on floats."""
        with np.errstate(all="ignore"):
            taken = 0
            while self.index.size > FEW and taken < MAX_STEPS:
                self._advance()
                taken += 1
        for i in range(self.index.size):
            self._finish_alone(i, taken)
        return self.nodes, self.worst, self.status

    def _advance(self):
        work = np.empty((8, *self.state.shape))
        left = self.target - self.place
        h = np.minimum(self.h, left)
        new, last, estimate = _array_step(self.working, self.state, h, self.first, work)
        dry, weak = new[0] <= LOG_DRY, new[2] <= self.working.permeate_pressure
        good = estimate <= self.tolerance
        ended = (dry | weak) & (good | (h <= SHORT))
        taken = good & ~ended
        arrived = taken & (h >= left)
        self.state = np.where(taken, new, self.state)
        self.first = np.where(taken, last, self.first)
        self.place = np.where(arrived, self.target, self.place + np.where(taken, h, 0.0))
        self.h = h * growth(ARRAYS, estimate, self.tolerance)
        i = self.index
        self.worst[i] = np.maximum(self.worst[i], np.where(taken, estimate, 0.0))
        self.nodes[self.target[arrived], :, i[arrived]] = self.state[:, arrived].T
        self.target = self.target + arrived
        for j in np.flatnonzero(ended):
            self.status[i[j]] = limit(dry[j])
            end, ahead = (new, h[j]) if good[j] else (self.state, 0.0)
            place = self.place[j] + ahead
            _fill(self.nodes[:, :, i[j]], end[:, j], self.first[2, j], place, self.target[j])
        self._drop(ended | (self.target >= self.nodes.shape[0]))

    def _drop(self, gone):
        if not gone.any():
            return
        keep = ~gone
        self.index, self.place, self.target = self.index[keep], self.place[keep], self.target[keep]
        self.h, self.state, self.first = self.h[keep], self.state[:, keep], self.first[:, keep]
        self.working = take(self.working, keep)

    def _finish_alone(self, i, taken: int):
        j = int(self.index[i])
        p = take(self.p, j)
        worst, status = _lone_walk(
            (p, slopes_of(p)),
            self.nodes[:, :, j],
            (tuple(self.state[:, i].tolist()), self.first[:, i].tolist()),
            float(self.place[i]),
            self.tolerance,
            float(self.h[i]),
            taken,
        )
        self.worst[j], self.status[j] = max(self.worst[j], worst), status


def _fill(nodes, state, friction, place, target):
    """From `place` on no water is removed: friction alone, to the next node and all others."""
    for node in range(target, nodes.shape[0]):
        nodes[node] = state
        nodes[node, 2] += friction * (node - place)
        nodes[node, 3] = 0.0


def _one_by_one(problem: Problem, pressure, elements: int, tolerance: float) -> Path:
    nodes = np.empty((elements + 1, 5, pressure.size))
    estimate, status = np.empty(pressure.size), np.empty(pressure.size, int)
    for i in range(pressure.size):
        p = take(problem, i)
        rates = slopes_of(p)
        begin = _start(FLOATS, p, float(pressure[i]), rates)
        estimate[i], status[i] = _lone_march(p, rates, nodes[:, :, i], begin, tolerance)
    return Path(nodes, estimate, status)


def _lone_march(p: Problem, rates, nodes, begin: tuple, tolerance: float):
    """March one point on floats by the same steps as among many: whole elements, then a walk."""
    state, first = begin
    found, worst = [state], 0.0
    for element in range(nodes.shape[0] - 1):
        new, first, estimate = step(rates, state, 1.0, first)
        if not estimate <= tolerance:
            nodes[: element + 1] = found
            begin = state, rates(*state)
            h = growth(FLOATS, estimate, tolerance)
            end = _lone_walk((p, rates), nodes, begin, float(element), tolerance, h)
            return max(worst, end[0]), end[1]
        state, worst = new, max(worst, estimate)
        found.append(state)
    nodes[...] = found
    return worst, OK


def _lone_walk(problem, nodes, begin: tuple, place: float, tolerance: float, h, taken: int = 0):
    """March one point on floats from `place` to the outlet; fills `nodes`."""
    (p, rates), (state, first) = problem, begin
    worst, last_node, target = 0.0, nodes.shape[0] - 1, math.floor(place) + 1
    for _ in range(taken, MAX_STEPS):
        h = min(h, target - place)
        new, last, estimate = step(rates, state, h, first)
        dry, weak = new[0] <= LOG_DRY, new[2] <= p.permeate_pressure
        good = estimate <= tolerance
        if (dry or weak) and (good or h <= SHORT):
            end, ahead = (new, h) if good else (state, 0.0)
            _fill(nodes, end, first[2], place + ahead, target)
            return worst, limit(dry)
        if good:
            arrived = h >= target - place
            state, first, worst = new, last, max(worst, estimate)
            place = float(target) if arrived else place + h
            if arrived:
                nodes[target] = state
                target += 1
                if target > last_node:
                    return worst, OK
        h *= growth(FLOATS, estimate, tolerance)
    _fill(nodes, state, first[2], place, target)
    return worst, NOT_CONVERGED
