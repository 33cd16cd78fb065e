"""Find several open values of a flowsheet at once.

Where water returns, its flow, salinity and pressure at the cuts are first solved for together
with the open values, so that no pass is spent on closing recycles at values that are given up
again. What comes of it is then checked, and if need be improved, with every recycle closed;
that is dearer by far, so that points whose recycles could not be closed get one short try more.
"""

from __future__ import annotations

import numpy as np

from treatsim.arrays import Array, Flags, Index
from treatsim.flowsheet.equations import Equations, defined
from treatsim.flowsheet.flowsheet import Unknown
from treatsim.flowsheet.highest import known_before
from treatsim.flowsheet.newton import CLOSE, quasi_newton, size
from treatsim.flowsheet.open_recycles import OpenRecycles

NEWTON_STEPS = 40
OPEN_STEPS = 20  # with the recycles open
LAST_STEPS = 8  # with the recycles closed, where they could not be closed before
OTHER_STARTS = (0.45, 0.15)  # shares of a pressure's range to start from where the guess failed
PINNED = 1e-2  # of the range of an open value; nearer to its end it cannot go on
NEAR = 1e-3  # residual from which the closed recycles lead on, rather than another start
SOLVED = 1e-8  # residual that is still an answer


def find_several(equations: Equations) -> tuple[Array, Flags]:
    """Return the open values, shape (unknowns, points), and where they are only the nearest."""
    unknowns, points = equations.unknowns, equations.points
    known = np.all(np.isfinite(equations.start), axis=0)
    x = np.where(known, equations.start, _start(unknowns, points, None))
    r = np.full((len(unknowns), points), np.inf)
    index = np.arange(points)
    if equations.sheet.tears:
        good, pinned = _together(equations, x, known_before(equations, x))
        index, rest = np.flatnonzero(good), np.flatnonzero(~good & ~pinned)
        if rest.size:
            x[:, rest], r[:, rest] = _closed(equations, x[:, rest], rest, LAST_STEPS)
    if index.size:
        x[:, index], r[:, index] = _closed(equations, x[:, index], index, NEWTON_STEPS)
    for share in OTHER_STARTS:
        index = index[size(r[:, index]) > SOLVED]
        if index.size == 0:
            break
        start = _start(unknowns, index.size, share)
        again, left = _closed(equations, start, index, NEWTON_STEPS)
        better = size(left) < size(r[:, index])
        x[:, index[better]], r[:, index[better]] = again[:, better], left[:, better]
    return x, size(r) > SOLVED


def _closed(equations: Equations, x: Array, index: Index, steps: int) -> tuple[Array, Array]:
    """Solve at the points `index` with the recycles closed; returns values and residuals."""
    low, high = _limits(equations.unknowns, index.size)
    return quasi_newton(defined(equations), low, high, x, index, steps)


def _start(unknowns: list[Unknown], points: int, share: float | None) -> Array:
    """First guesses; `share` puts every open pressure at that share of its range."""
    values = [
        u.guess
        if share is None or u.field != "outlet_pressure"
        else u.low + share * (u.high - u.low)
        for u in unknowns
    ]
    return np.array([np.full(points, value) for value in values])


def _limits(unknowns: list[Unknown], points: int) -> tuple[Array, Array]:
    shape = len(unknowns), points
    low, high = [u.low for u in unknowns], [u.high for u in unknowns]
    return (
        np.broadcast_to(np.array(low)[:, None], shape),
        np.broadcast_to(np.array(high)[:, None], shape),
    )


def _together(equations: Equations, x: Array, out: Flags) -> tuple[Flags, Flags]:
    """Solve for the open values, put into `x`, together with the state at the cuts.

    Returns where that was met, and where not because an open value went to its limit from the
    first two starts, or because a point is known to be `out` of reach; these are given up, and `x`
    is that state.
    """
    points = equations.points
    index, good, pinned = np.flatnonzero(~out), np.zeros(points, bool), out.copy()
    before = np.ones(points, bool)  # at a limit from every start so far
    for share in (None, *OTHER_STARTS):
        if index.size == 0:
            break
        start = x[:, index] if share is None else _start(equations.unknowns, index.size, share)
        opened = OpenRecycles(equations, start, index)
        least, most = opened.limits()
        low, high = _limits(equations.unknowns, index.size)
        ends = np.concatenate([low, least]), np.concatenate([high, most])
        first, here = np.concatenate([start, opened.first]), np.arange(index.size)
        found, r = quasi_newton(defined(opened), *ends, first, here, OPEN_STEPS)
        met = size(r) <= CLOSE
        near = ~met & (size(r) <= NEAR)
        own = found[: len(x)]
        now = ~met & _at_a_limit(equations.unknowns, own)
        stuck = now & ~near & before[index] & (share is not None)
        ended = met | near | stuck
        opened.keep(found, np.flatnonzero(ended))
        x[:, index[ended]] = own[:, ended]
        good[index[met]], pinned[index[stuck]] = True, True
        before[index] &= now
        index = index[~ended]
    return good, pinned


def _at_a_limit(unknowns: list[Unknown], x: Array) -> Flags:
    """Return the points at which an open pressure has gone to an end, or a flow to the largest."""
    found = np.zeros(x.shape[1], bool)
    for u, value in zip(unknowns, x, strict=True):
        margin = PINNED * (u.high - u.low)
        if u.field in ("", "outlet_pressure"):
            found |= value > u.high - margin
        if u.field == "outlet_pressure":
            found |= value < u.low + margin
    return found
