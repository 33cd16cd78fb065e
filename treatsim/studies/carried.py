"""Limits and answers of a train as series over its dials, each with its error measured.

A page without a network cannot solve the train. It carries series instead, built by the train at
nodes and held against the train at other points; where that does not succeed, the dials' ranges
are cut, and what still cannot be carried is not judged there.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import NoSolutionError
from treatsim.safety.verdict import Verdict
from treatsim.studies.carriage import (
    CHECKS,
    Carriage,
    Field,
    aliases,
    all_sizes,
    closed,
    fields_of,
    misses,
    with_composed,
)
from treatsim.studies.carried_fit import Shape, UnansweredError, fitted, shapes
from treatsim.studies.carried_needs import FLOW
from treatsim.studies.carried_scattered import carried_scattered
from treatsim.studies.cutting import cured, cut
from treatsim.studies.dials import Dial
from treatsim.studies.observed import GOOD, Observer, quiet, spread_points
from treatsim.studies.thrift import narrowed, thrift_of

SAMPLES = 300  # points for cutting
ROUNDS = 3  # cuts for errors
TRIES = ROUNDS + 1
CURABLE = 0.1  # share of the points that miss; more, and the number is given up, not the range


def carry(
    case: Any,
    verdict: Verdict,
    found: Sequence[Dial],
    answers: Sequence[str],
    progress: Callable[[int, int], None] = quiet,
) -> Carriage:
    """Return limits and answers as series over the dials.

    Parameters
    ----------
    case : Case
        What is solved at the nodes.
    verdict : Verdict
        The case judged at its own settings; its limits are carried.
    found : sequence of Dial
        Ranges to begin with. [SI]
    answers : sequence of str
        Addresses of results carried beside the limits.
    progress : callable
        Told points solved and points expected. [1]

    Returns
    -------
    Carriage
        With ranges cut to where the train has answers and errors stay small. The error told is
        twice the largest miss at points that took no part in the fit. [SI]

    Validity
    --------
    Between the points seen nothing is known; a feature narrower than their spacing is missed.

    Raises
    ------
    NoSolutionError
        The case has no answer around its own settings.

    Source
    ------
    tensor Chebyshev interpolation, definition.
    """
    keys = tuple((limit.name, limit.address) for limit in verdict.limits)
    fixed_dials = {dial.address: dial.now for dial in found}
    thrift = thrift_of(verdict)
    observer = Observer(case, keys, tuple(answers), fixed_dials, progress, thrift)
    observer.composed = observer.made(verdict)
    sizes, first = all_sizes(verdict, observer), narrowed(found, thrift)
    by = carried_scattered if thrift.points else _carried_on_grids
    return by(observer, first, sizes)


def _carried_on_grids(
    observer: Observer, first: tuple[Dial, ...], sizes: Mapping[str, float]
) -> Carriage:
    """Return limits and answers as series, each over a grid of its own."""
    ranges = first
    for number in range(TRIES):
        ranges, seen = _answered(observer, ranges, first)
        alias = aliases(observer, seen)
        carried = {n: size for n, size in sizes.items() if n not in alias and not observer.makes(n)}
        ranges, planned, fixed = shapes(observer, ranges, carried)
        try:
            fields = _fields(observer, planned, sizes)
        except UnansweredError as error:
            whole: dict[str, Array] = {d.address: np.full(error.bad.shape, d.now) for d in ranges}
            whole.update(error.points)
            blamed = cured(observer, ranges, whole, error.bad)
            ranges = cut(ranges, first, whole, blamed)
            continue
        points = spread_points(ranges, CHECKS, SAMPLES)
        truth = observer.look(points)
        missed = misses(fields, fixed, points, truth, sizes)
        bad = [row > 1 for row in missed.values() if 0 < np.mean(row > 1) <= CURABLE]
        if not bad or number >= ROUNDS:
            break
        blamed = np.tile(np.any(bad, axis=0), (len(ranges), 1))
        with contextlib.suppress(NoSolutionError):
            ranges = cut(ranges, first, points, blamed)
    else:
        raise NoSolutionError("no range of the dials was found within which the train has answers")
    told = closed(Carriage(ranges, first, fields, fixed), missed, observer, planned)
    return with_composed(told, observer, alias, points, truth)


def _fields(
    observer: Observer, planned: Mapping[str, Shape], sizes: Mapping[str, float]
) -> dict[str, Field]:
    """Return fields, their errors not yet known; the flow stands first, others read it."""
    wanted = {n: planned[n] for n in dict.fromkeys([FLOW, *planned]) if n in planned}
    return fields_of(observer, planned, fitted(observer, wanted, sizes), sizes)


def _answered(
    observer: Observer, ranges: tuple[Dial, ...], first: tuple[Dial, ...]
) -> tuple[tuple[Dial, ...], dict[str, Array]]:
    """Cut the ranges until every sample has an answer; return them and what was seen there."""
    for slices in itertools.count(1):
        points = spread_points(ranges, SAMPLES)
        seen = observer.look(points)
        good = seen[GOOD] > 0
        if np.all(good):
            return ranges, seen | points
        ranges = cut(ranges, first, points, cured(observer, ranges, points, ~good), slices)
    raise AssertionError  # it counts on for ever
