"""Ageing of a battery by the cycles it has gone through, counted as rain flows off roofs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

import numpy as np

from treatsim.arrays import Array

SMALLEST = 0.005  # depth of a cycle that is counted


def _turning_points(trace: Iterable[float]) -> list[float]:
    """Return the places at which a trace turns, both ends included."""
    values = np.fromiter(trace, float)
    values = values[np.append(True, np.diff(values) != 0)] if values.size else values
    turns = np.diff(np.sign(np.diff(values))) != 0
    ends = values.size > 1
    return values[np.concatenate([[True], turns, [True] * ends])].tolist() if values.size else []


def rainflow(trace: Iterable[float]) -> list[tuple[float, float]]:
    """Ranges of a trace with the number of cycles of each, 1 or 0.5.

    Parameters
    ----------
    trace : iterable of float
        Readings in the order of time. [any]

    Returns
    -------
    list of tuple
        (range, cycles), in the order in which they are closed. [any, 1]

    Validity
    --------
    Any trace; half cycles stay half, nothing is closed over the end.

    Source
    ------
    astm_e1049, section 5.4.4
    """
    found: list[tuple[float, float]] = []
    stack: list[float] = []
    for point in _turning_points(trace):
        stack.append(point)
        while len(stack) >= 3:
            last, before = abs(stack[-1] - stack[-2]), abs(stack[-2] - stack[-3])
            if last < before:
                break
            if len(stack) == 3:  # the range holds the start: half a cycle, and the start moves on
                found.append((before, 0.5))
                stack.pop(0)
            else:
                found.append((before, 1.0))
                del stack[-3:-1]
    found += [(abs(b - a), 0.5) for a, b in pairwise(stack)]
    return found


def damage(trace: Iterable[float], cycle_life: Sequence[tuple[float, float]]) -> float:
    """Share of its life that a battery loses over a trace of its state of charge.

    Parameters
    ----------
    trace : iterable of float
        State of charge in the order of time. [1]
    cycle_life : sequence of tuple
        (cycles to the end of life, depth of each), sorted by depth. [1, 1]

    Returns
    -------
    float
        Share of life used up; its inverse is the life in lengths of the trace. [1]

    Validity
    --------
    Damage adds up cycle by cycle (Miner); a power law between and beyond the depths stated, one
    depth alone by throughput. Ageing by time and heat is not in it.

    Source
    ------
    astm_e1049; miner_1945
    """
    ranges = np.array([r for r in rainflow(trace) if r[0] > SMALLEST]).reshape(-1, 2)
    if not ranges.size:
        return 0.0
    return float(np.sum(ranges[:, 1] / _cycles_at(ranges[:, 0], cycle_life)))


def _cycles_at(depth: Array, cycle_life: Sequence[tuple[float, float]]) -> Array:
    """Return cycles to the end of life at a depth, by a power law through what is stated."""
    cycles, depths = np.array(cycle_life, float).T
    if depths.size == 1:
        return cycles[0] * depths[0] / depth
    place = np.clip(np.searchsorted(depths, depth), 1, depths.size - 1)
    slope = np.log(cycles[place] / cycles[place - 1]) / np.log(depths[place] / depths[place - 1])
    return cycles[place] * (depth / depths[place]) ** slope
