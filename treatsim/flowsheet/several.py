"""Find several open values of a flowsheet at once.

Where water returns, its flow, salinity and pressure at the cuts are first solved for together
with the open values, so that no pass is spent on closing recycles at values that are given up
again. What comes of it is then checked, and if need be improved, with every recycle closed;
that is dearer by far, so that points without an answer take most of the time of a batch.
"""

from __future__ import annotations

import numpy as np

from treatsim.flowsheet.equations import Equations, Failure, defined
from treatsim.flowsheet.flowsheet import Unknown
from treatsim.flowsheet.newton import CLOSE, quasi_newton, size
from treatsim.flowsheet.open_recycles import OpenRecycles

NEWTON_STEPS = 40
OPEN_STEPS = 20  # with the recycles open
OTHER_STARTS = (0.45, 0.15)  # shares of a pressure's range to start from where the guess failed
SOLVED = 1e-8  # residual that is still an answer


def find_several(equations: Equations) -> tuple[np.ndarray, list[Failure]]:
    """Return the open values, shape (unknowns, points), and where there are none."""
    unknowns, points = equations.unknowns, equations.points
    x = _start(unknowns, points, None)
    if equations.sheet.tears:
        x = _together(equations, x)
    x, r = _closed(equations, x, np.arange(points))
    for share in OTHER_STARTS:
        index = np.flatnonzero(size(r) > SOLVED)
        if index.size == 0:
            break
        again, left = _closed(equations, _start(unknowns, index.size, share), index)
        better = size(left) < size(r[:, index])
        x[:, index[better]], r[:, index[better]] = again[:, better], left[:, better]
    failed = size(r) > SOLVED
    failures = []
    if np.any(failed):
        worst = equations.conditions[int(np.argmax(np.abs(r[:, np.argmax(failed)])))]
        where = f"{worst[0]} ({worst[1]})" if worst[1] else f"the end {worst[0]}"
        text = f"the pressures or flows at {where} cannot be brought to balance"
        failures = [Failure(failed, text, vague=True)]
    return x, failures


def _closed(equations: Equations, x, index):
    """Solve at the points `index` with the recycles closed; returns values and residuals."""
    low, high = _limits(equations.unknowns, index.size)
    return quasi_newton(defined(equations), low, high, x, index, NEWTON_STEPS)


def _start(unknowns: list[Unknown], points: int, share: float | None):
    """First guesses; `share` puts every open pressure at that share of its range."""
    values = [
        u.guess
        if share is None or u.field != "outlet_pressure"
        else u.low + share * (u.high - u.low)
        for u in unknowns
    ]
    return np.array([np.full(points, value) for value in values])


def _limits(unknowns: list[Unknown], points: int):
    shape = len(unknowns), points
    low, high = [u.low for u in unknowns], [u.high for u in unknowns]
    return tuple(np.broadcast_to(np.array(v)[:, None], shape) for v in (low, high))


def _together(equations: Equations, x):
    """Return the open values found together with the state at the cuts; else the start."""
    index = np.arange(equations.points)
    for share in (None, *OTHER_STARTS):
        start = _start(equations.unknowns, index.size, share)
        opened = OpenRecycles(equations, start, index)
        least, most = opened.limits()
        low, high = _limits(equations.unknowns, index.size)
        ends = np.concatenate([low, least]), np.concatenate([high, most])
        first, here = np.concatenate([start, opened.first]), np.arange(index.size)
        found, r = quasi_newton(defined(opened), *ends, first, here, OPEN_STEPS)
        good = size(r) <= CLOSE
        opened.keep(found, np.flatnonzero(good))
        x[:, index[good]] = found[: len(x), good]
        index = index[~good]
        if index.size == 0:
            break
    return x
