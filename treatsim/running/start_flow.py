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
LOWEST = 0.4  # share of the dial from which on few points are solved
LEAST_NODES = 3  # solved, of few
NEAR = 0.999  # of the lowest dial solved, at most, is where water begins to flow
NODES = 25  # of the tables, and as many between them at which the error is measured


class Flows(NamedTuple):
    """Results over the share of the dial, by scaled root from the dial at which water moves."""

    dead: float  # share at and below which nothing flows
    top: float
    curves: Mapping[str, Callable[[Any], Array]]
    error: float  # of the flow, largest at the places between, over that at the case's dial
    singles: Mapping[str, Callable[[float], float]]  # the same for single numbers
    result: Any  # the solved points; entry `here` is the case's own dial
    here: int
    shares: Array  # of the dial at the solved points

    def __call__(self, name: str, share) -> Array:
        """Return a result at a share of the dial; 0 where nothing flows."""
        share = np.asarray(share, float)
        place = np.sqrt(np.maximum(share - self.dead, 0.0) / (self.top - self.dead))
        return np.where(share > self.dead, self.curves[name](place), 0.0)

    def one(self, name: str, share: float) -> float:
        """Return a result at a single share of the dial: it is asked for often."""
        if share <= self.dead:
            return 0.0
        return self.singles[name](math.sqrt((share - self.dead) / (self.top - self.dead)))


def spline(x: Array, y: Array) -> Callable[[float], float]:
    """Return the cubic spline through points for single numbers.

    x: rising; y: as many. Beyond the ends the outermost cubics go on.
    """
    from scipy.interpolate import CubicSpline

    return single(CubicSpline(x, y))


def single(fitted: Any) -> Callable[[float], float]:
    """Return SciPy's piecewise cubics for single numbers, many times faster than they are."""
    borders, cubics = fitted.x[1:-1].tolist(), fitted.c.T.tolist()
    starts = fitted.x[:-1].tolist()

    def at(value: float) -> float:
        number = bisect_right(borders, value)
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
    dials, free = _turned(case)

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


def _turned(case: Any) -> tuple[dict[str, float], Any]:
    """Return the dials at their setting, and the case without its holds."""
    units = case.flowsheet().units
    if case.holds:  # what a hold has set is where the ramp ends
        settled = case.solve()
        if not settled.solved[0]:
            raise NoSolutionError(f"no operating point: {settled.reason(0)}")
        units = settled.sheet.units
    return dials_of(case, units), case.changed(holds=())


def few_flows(case: Any, wanted: Mapping[str, Callable[[Any], Any]], nodes: int) -> Flows:
    """Return the tables of `flows` from a few points solved once, where a ramp decides little.

    Water begins to flow where the lowest two flows solved point to none; all else is carried on
    straight from there. Raises as `flows` does.
    """
    from scipy.interpolate import PchipInterpolator

    dials, free = _turned(case)
    shares = np.linspace(LOWEST, 1.0, nodes)
    result = free.solve({address: value * shares for address, value in dials.items()})
    if not result.solved[-1]:
        raise NoSolutionError(f"no operating point: {result.reason(nodes - 1)}")
    still = np.flatnonzero(~result.solved)
    first = int(still[-1]) + 1 if still.size else 0
    if nodes - first < LEAST_NODES:
        raise NoSolutionError(f"no operating point on the way: {result.reason(first - 1)}")
    least, shares = float(shares[first - 1]) if first else 0.0, shares[first:]
    tables = {
        name: np.broadcast_to(np.asarray(read(result), float), (nodes,))[first:]
        for name, read in wanted.items()
    }
    flow = tables["flow"]
    steep = (flow[1] - flow[0]) / (shares[1] - shares[0])
    dead = shares[0] - flow[0] / steep if steep > 0 else least
    dead = float(np.clip(dead, least, NEAR * shares[0]))
    places, curves = np.append(0.0, np.sqrt((shares - dead) / (1.0 - dead))), {}
    for name, values in tables.items():
        begin = 0.0 if name == "flow" else _carried(shares, values, dead)
        curves[name] = PchipInterpolator(places, np.append(begin, values))
    keep, flow = np.arange(places.size)[::-2][::-1], np.append(0.0, flow)
    missed = PchipInterpolator(places[keep], flow[keep])(places[keep[0] :]) - flow[keep[0] :]
    error = float(np.max(np.abs(missed)) / flow[-1])
    singles = {name: single(curve) for name, curve in curves.items()}
    return Flows(dead, 1.0, curves, error, singles, result, nodes - 1, shares)


def _carried(shares: Array, values: Array, dead: float) -> float:
    """Return a result at the share where water begins to flow, straight from the lowest two."""
    steep = (values[1] - values[0]) / (shares[1] - shares[0])
    return max(float(values[0] - steep * (shares[0] - dead)), 0.0)


def _tables(result: Any, wanted, places: Array, here: int, span: tuple[float, float]) -> Flows:
    from scipy.interpolate import CubicSpline

    nodes, curves, error = np.append(0.0, places), {}, 0.0
    shares = span[0] + (span[1] - span[0]) * places**2
    keep = np.zeros(nodes.size, bool)
    keep[::2] = keep[-1] = keep[here + 1] = True
    for name, read in wanted.items():
        values = np.append(0.0, np.broadcast_to(np.asarray(read(result), float), places.shape))
        if name == "flow":
            coarse = CubicSpline(nodes[keep], values[keep])
            error = float(np.max(np.abs(coarse(nodes) - values)) / values[here + 1])
        curves[name] = CubicSpline(nodes, values)
    singles = {name: single(curve) for name, curve in curves.items()}
    return Flows(span[0], span[1], curves, error, singles, result, here, shares)
