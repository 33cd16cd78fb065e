"""Limits and answers of a train as series over its dials, each with its error measured.

A page without a network cannot solve the train. It carries series instead, built by the train at
nodes and held against the train at other points; where that does not succeed, the dials' ranges
are cut, and what still cannot be carried is not judged there.
"""

from __future__ import annotations

import contextlib
import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import NoSolutionError
from treatsim.operations.composed import Span, Tree, renamed, span_of
from treatsim.operations.outcome import ROUND_OFF, at
from treatsim.running.response import Response
from treatsim.safety.verdict import Verdict
from treatsim.studies.carried_fit import Shape, UnansweredError, first_nodes, fitted, shapes
from treatsim.studies.carried_needs import FLOW, by_movement
from treatsim.studies.cutting import cured, cut
from treatsim.studies.dials import Dial
from treatsim.studies.observed import (
    GOOD,
    Observer,
    limit_of,
    quiet,
    spread_points,
    value_of,
)
from treatsim.studies.thrift import FREE, narrowed, thrift_of

OF_LIMIT = 0.01  # largest error let pass, of a limit, or of what a composed number reads
OF_ANSWER = 0.02  # the same of an answer, of its value
SAMPLES, CHECKS = 300, 300  # points for cutting; points at which errors are measured
SAFETY = 2.0  # the error told over the largest miss seen
TRIES = FREE.rounds + 1
SAME = 1e-12  # relative; what is this close to a dial at every sample is the dial
OF_LIMITS = ("value ", "limit ")  # how their names begin
FEWEST_DIALS = 2  # as the window needs them
CURABLE = 0.1  # share of the points that miss; more, and the number is given up, not the range


@dataclass(frozen=True)
class Field:
    """One number as a function of the dials: factor times the least or largest of its parts."""

    shape: Shape
    parts: tuple[Response, ...]
    size: float  # SI
    error: float  # twice the largest miss seen, over the size
    share: bool  # whether the error is a share of the value, where that is larger than the size

    def band(self, value: Array) -> Array:
        """Return half the width of what the true number lies in. [SI]"""
        if self.share:
            return self.error * np.maximum(self.size, np.abs(value))
        return np.full_like(value, self.error * self.size)


@dataclass(frozen=True)
class Carriage:
    """What a page carries of a train."""

    dials: tuple[Dial, ...]
    first: tuple[Dial, ...]  # as they were before cutting
    fields: Mapping[str, Field]  # by `value_of`, `limit_of` or the address of an answer
    fixed: Mapping[str, float]  # what does not move with any dial
    composed: Mapping[str, Tree] = field(default_factory=dict)  # of fields, fixed and dials
    lost: frozenset[str] = frozenset()  # what could not be carried
    unjudged: frozenset[int] = frozenset()  # limits that are not judged at every setting seen
    solved: int = 0  # operating points behind it
    checks: int = CHECKS  # points at which errors were measured
    left: tuple[Dial, ...] = ()  # dials that stand as stated, to spare solves

    def __call__(self, points: Mapping[str, Array]) -> dict[str, Array]:
        """Return every number carried, at settings of all dials; NaN outside. [SI]"""
        shape = np.broadcast_shapes(*(np.shape(v) for v in points.values()))
        found = {name: np.full(shape, value) for name, value in self.fixed.items()}
        told: dict[str, Array] = dict(points)
        for name, one in self.fields.items():
            told[name] = found[name] = evaluated(one, told)
        known = {name: (value, value) for name, value in told.items()}
        known |= {name: (found[name], found[name]) for name in self.fixed}
        return found | {
            name: np.broadcast_to(span_of(tree, known)[0], shape)
            for name, tree in self.composed.items()
        }

    def spans(self, points: Mapping[str, Array]) -> dict[str, Span]:
        """Return the ends between which every number carried lies. [SI]"""
        values = self(points)
        ends: dict[str, Span] = {name: (value, value) for name, value in points.items()}
        for name, value in values.items():
            band = self.fields[name].band(value) if name in self.fields else 0.0
            ends[name] = value - band, value + band
        return ends | {name: span_of(tree, ends) for name, tree in self.composed.items()}


def evaluated(one: Field, points: Mapping[str, Array]) -> Array:
    """Return the values of one field. [SI]"""
    rows = [part(points)["part"] for part in one.parts]
    rows = [np.exp(row) for row in rows] if one.shape.log else rows
    chosen = np.max(rows, axis=0) if one.shape.largest else np.min(rows, axis=0)
    over = points[FLOW] if one.shape.per_flow else 1.0
    return one.shape.factor * chosen / over


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
    sizes = _sizes(verdict, answers) | _sizes_of_reads(verdict, observer)
    first = narrowed(found, thrift)
    ranges, left = _chosen(observer, first, sizes)
    for number in range(TRIES):
        ranges, seen = _answered(observer, ranges, first)
        alias = _aliases(observer, seen)
        carried = {n: size for n, size in sizes.items() if n not in alias and not observer.makes(n)}
        ranges, more, planned, fixed = _planned(observer, ranges, carried)
        left += more
        try:
            limits = [n for n in planned if not thrift.rounds or n not in answers]
            fields = _fields(observer, planned, sizes, limits)
        except UnansweredError as error:
            whole: dict[str, Array] = {d.address: np.full(error.bad.shape, d.now) for d in ranges}
            whole.update(error.points)
            blamed = cured(observer, ranges, whole, error.bad)
            ranges = cut(ranges, first, whole, blamed)
            continue
        points = spread_points(ranges, CHECKS, SAMPLES)
        truth = observer.look(points)
        misses = _misses(fields, fixed, points, truth, sizes)
        bad = [row > 1 for row in misses.values() if 0 < np.mean(row > 1) <= CURABLE]
        if not bad or number >= thrift.rounds:
            break
        blamed = np.tile(np.any(bad, axis=0), (len(ranges), 1))
        with contextlib.suppress(NoSolutionError):
            ranges = cut(ranges, first, points, blamed)
    else:
        raise NoSolutionError("no range of the dials was found within which the train has answers")
    rest = [n for n in planned if n not in limits and n != FLOW]
    if rest:
        with contextlib.suppress(UnansweredError):
            fields |= _fields(observer, planned, sizes, rest)
    misses = _misses(fields, fixed, points, truth, sizes)
    closed = _closed(Carriage(ranges, first, fields, fixed, left=left), misses, observer, planned)
    return _with_composed(closed, observer, alias, points, truth)


def _chosen(
    observer: Observer, dials: tuple[Dial, ...], sizes: Mapping[str, float]
) -> tuple[tuple[Dial, ...], tuple[Dial, ...]]:
    """Return as many dials as may be, those that move most, and the others."""
    most = observer.thrift.dials
    if most is None or len(dials) <= most:
        return dials, ()
    left = by_movement(observer, dials, sizes)[most:]
    return tuple(d for d in dials if d not in left), tuple(left)


def _planned(
    observer: Observer, ranges: tuple[Dial, ...], sizes: Mapping[str, float]
) -> tuple[tuple[Dial, ...], tuple[Dial, ...], dict[str, Shape], dict[str, float]]:
    """Return dials, dials left out to spare nodes, shapes, and what stands still."""
    left: tuple[Dial, ...] = ()
    while True:
        moving, planned, fixed = shapes(observer, ranges, sizes)
        few = len(moving) <= FEWEST_DIALS
        if few or first_nodes(planned, observer.thrift) <= observer.thrift.nodes:
            return moving, left, planned, fixed
        least = by_movement(observer, moving, sizes)[-1]
        ranges, left = tuple(d for d in moving if d != least), (*left, least)


def _fields(
    observer: Observer, planned: Mapping[str, Shape], sizes: Mapping[str, float], names: list[str]
) -> dict[str, Field]:
    """Return fields, their errors not yet known; the flow stands first, others read it."""
    wanted = {n: planned[n] for n in dict.fromkeys([FLOW, *names]) if n in planned}
    found = fitted(observer, wanted, sizes)
    alike = {n for one in observer.composed.values() for n in one.alike}
    shares = {n: n not in alike and not n.startswith(OF_LIMITS) for n in found}
    return {
        n: Field(planned[n], parts, sizes[n], _largest(n, observer), shares[n])
        for n, parts in found.items()
    }


def _largest(name: str, observer: Observer) -> float:
    """Return the largest error let pass."""
    return OF_ANSWER if name in observer.answers else OF_LIMIT


def _sizes(verdict: Verdict, answers: Sequence[str]) -> dict[str, float]:
    """Return what the error of each number is held against. [SI]"""
    found = {}
    for number, limit in enumerate(verdict.limits):
        size = abs(float(at(limit.limit, 0))) or abs(float(at(limit.value, 0))) or 1.0
        found[value_of(number)] = found[limit_of(number)] = size
    for address in answers:
        found[address] = abs(float(at(verdict.value(address).value, 0))) or 1.0
    return found


def _sizes_of_reads(verdict: Verdict, observer: Observer) -> dict[str, float]:
    """Return what the errors of what composed numbers read are held against. [SI]"""
    sizes, found = _sizes(verdict, observer.answers), {}
    for name, one in observer.composed.items():
        for read, value in one.reads.items():
            own = abs(float(at(value.value, 0)))
            found[read] = sizes[name] if read in one.alike else own or 1.0
    return found


def _aliases(observer: Observer, seen: Mapping[str, Array]) -> dict[str, str]:
    """Return what composed numbers read that is a dial itself: read -> address."""
    reads = {read for one in observer.composed.values() for read in one.reads}
    return {
        read: dial
        for read in reads & set(seen)
        for dial in observer.fixed
        if dial in seen and np.all(np.abs(seen[read] - seen[dial]) <= SAME * np.abs(seen[dial]))
    }


def _with_composed(
    carriage: Carriage,
    observer: Observer,
    alias: Mapping[str, str],
    points: Mapping[str, Array],
    truth: Mapping[str, Array],
) -> Carriage:
    """Return the carriage with the numbers that can be composed of what it carries.

    A number that was seen outside the ends told, or that its tree did not give, is lost.
    """
    known = {*carriage.fields, *carriage.fixed}
    trees = {
        name: renamed(one.tree, alias)
        for name, one in observer.composed.items()
        if observer.makes(name) and set(one.reads) - set(alias) <= known
    }
    found = replace(carriage, composed=trees)
    spans = found.spans(points)
    good = {}
    for name, tree in trees.items():
        low, high = spans[name]
        slack = ROUND_OFF * np.abs(truth[name])
        if np.all((truth[name] >= low - slack) & (truth[name] <= high + slack)):
            good[name] = tree
    lost = carriage.lost | set(observer.composed) - set(good) - known
    return replace(found, composed=good, lost=frozenset(lost))


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


def _misses(
    fields: Mapping[str, Field],
    fixed: Mapping[str, float],
    points: Mapping[str, Array],
    truth: Mapping[str, Array],
    sizes: Mapping[str, float],
) -> dict[str, Array]:
    """Return the error told of each number at points, over the largest that is let pass."""
    found = {}
    for name, values in Carriage((), (), fields, fixed)(points).items():
        known = truth.get(name, np.full(values.shape, np.nan))
        size = (
            np.maximum(sizes[name], np.abs(known))
            if name in fields and fields[name].share
            else sizes[name]
        )
        largest = fields[name].error if name in fields else OF_LIMIT
        miss = SAFETY * np.abs(values - known) / size / largest
        found[name] = np.where(np.isnan(miss), np.inf, miss)
    return found


def _closed(
    carriage: Carriage,
    misses: Mapping[str, Array],
    observer: Observer,
    planned: Mapping[str, Shape],
) -> Carriage:
    """Return the carriage with its errors, without what misses by too much."""
    lost = {name for name in planned if name not in carriage.fields}
    lost |= {name for name, row in misses.items() if np.max(row) > 1}
    lost |= {
        n
        for n, one in carriage.fields.items()
        if FLOW in lost and (FLOW in one.shape.axes or one.shape.per_flow)
    }
    fields = {
        name: replace(one, error=max(one.error * float(np.max(misses[name])), ROUND_OFF))
        for name, one in carriage.fields.items()
        if name not in lost
    }
    fixed = {name: value for name, value in carriage.fixed.items() if name not in lost}
    return replace(carriage, fields=fields, fixed=fixed, lost=frozenset(lost),
                   unjudged=frozenset(observer.unjudged), solved=observer.solved)  # fmt: skip
