"""The train at every dial between rest and its setting: flow and power, as smooth tables.

Quasi-steady: at every moment the flow is that of the solved flowsheet at the dial of that moment.
What the water weighs against being sped up is left out; over a ramp of seconds that is little.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import NoSolutionError, RequestError

ROUNDS = 3  # of solving
NODES = 25  # of the tables, and as many between them at which the error is measured


class Flows(NamedTuple):
    """Results over the share of the dial, by scaled root from the dial at which water moves."""

    dead: float  # share at and below which nothing flows
    top: float
    curves: Mapping[str, Callable[[Any], Array]]
    error: float  # of the flow, largest at the places between, over that at the case's dial
    single: Callable[[float], float]  # the flow over its place, for single numbers
    result: Any  # the solved points; entry `here` is the case's own dial
    here: int

    def __call__(self, name: str, share) -> Array:
        """Return a result at a share of the dial; 0 where nothing flows."""
        share = np.asarray(share, float)
        place = np.sqrt(np.maximum(share - self.dead, 0.0) / (self.top - self.dead))
        return np.where(share > self.dead, self.curves[name](place), 0.0)

    def flow_at(self, share: float) -> float:
        """Return the flow at a single share of the dial: it is asked for often. [m3/s]"""
        if share <= self.dead:
            return 0.0
        return self.single(math.sqrt((share - self.dead) / (self.top - self.dead)))


def spline(x: Array, y: Array) -> Callable[[float], float]:
    """Return the cubic spline through points for single numbers, many times faster than SciPy's.

    x: rising; y: as many. Beyond the ends the outermost cubics go on, as SciPy's do.
    """
    from scipy.interpolate import CubicSpline

    fitted = CubicSpline(x, y)
    knots, cubics = fitted.x[1:-1].tolist(), fitted.c.T.tolist()
    starts = fitted.x[:-1].tolist()

    def at(value: float) -> float:
        number = bisect_right(knots, value)
        a, b, c, d = cubics[number]
        step = value - starts[number]
        return ((a * step + b) * step + c) * step + d

    return at


def dials_of(case: Any, units: Mapping[str, Any]) -> dict[str, float]:
    """Return the setting of every dial that moves water, by its address. [SI]"""
    found: dict[str, float] = {}
    for name, unit in units.items():
        if not unit.moves_water:
            continue
        for dial in unit.dials:
            value = getattr(unit.parameters, dial, None)
            if value is not None and case.field(f"{name}.{dial}")[1] is not None:
                found[f"{name}.{dial}"] = float(np.ravel(value)[0])
    if not found:
        raise RequestError("nothing in this case moves water by a dial: there is no start to tell")
    return found


def flows(
    case: Any,
    wanted: Mapping[str, Callable[[Any], Any]],
    top: float = 1.0,
    nodes: int = NODES,
    report: Callable[[int, int], None] = lambda done, total: None,
) -> Flows:
    """Return tables of results over the share of the dials, from rest to `top`.

    wanted: name -> function of a solved result, of shape (points,); "flow" among them. RequestError
    or NoSolutionError where the case has no operating point at its own dials.
    """
    units = case.flowsheet().units
    if case.holds:  # what a hold has set is where the ramp ends
        settled = case.solve()
        if not settled.solved[0]:
            raise NoSolutionError(f"no operating point: {settled.reason(0)}")
        units = settled.sheet.units
    dials, free = dials_of(case, units), case.changed(holds=())

    def solve(shares: Array) -> Any:
        return free.solve({address: value * shares for address, value in dials.items()})

    low, high = 0.0, 1.0
    for done in range(2):  # where water begins to move, then more exactly
        shares = np.linspace(low, high, nodes)[1:]
        tried = solve(shares)
        report(done + 1, ROUNDS)
        if not tried.solved[-1]:
            raise NoSolutionError(f"no operating point: {tried.reason(shares.size - 1)}")
        still = np.flatnonzero(~tried.solved)
        low = shares[still[-1]] if still.size else low
        high = shares[still[-1] + 1 if still.size else 0]
    least = np.sqrt((high - low) / (top - low))
    places = np.linspace(least, 1.0, 2 * nodes - 1)
    own = np.sqrt((1.0 - low) / (top - low))
    places = np.unique(np.append(places, own))
    result = solve(np.maximum(low + (top - low) * places**2, high))
    if not np.all(result.solved):
        point = int(np.argmin(result.solved))
        raise NoSolutionError(f"no operating point on the way: {result.reason(point)}")
    here = int(np.argmin(np.abs(places - own)))
    return _tables(result, wanted, places, here, (float(low), top))


def _tables(result: Any, wanted, places: Array, here: int, span: tuple[float, float]) -> Flows:
    from scipy.interpolate import CubicSpline

    nodes, curves, error = np.append(0.0, places), {}, 0.0
    keep = np.zeros(nodes.size, bool)
    keep[::2] = keep[-1] = keep[here + 1] = True
    for name, read in wanted.items():
        values = np.append(0.0, np.broadcast_to(np.asarray(read(result), float), places.shape))
        if name == "flow":
            coarse = CubicSpline(nodes[keep], values[keep])
            error = float(np.max(np.abs(coarse(nodes) - values)) / values[here + 1])
            single = spline(nodes, values)
        curves[name] = CubicSpline(nodes, values)
    return Flows(span[0], span[1], curves, error, single, result, here)
