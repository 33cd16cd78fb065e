"""What a page carries of a train: series and trees, each number with the error measured of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from treatsim.arrays import Array
from treatsim.operations.composed import Span, Tree, renamed, span_of
from treatsim.operations.outcome import ROUND_OFF, at
from treatsim.safety.verdict import Verdict
from treatsim.studies.carried_fit import Shape
from treatsim.studies.carried_needs import FLOW
from treatsim.studies.dials import Dial
from treatsim.studies.observed import Observer, limit_of, value_of

OF_LIMIT = 0.01  # largest error let pass, of a limit, or of what a composed number reads
OF_ANSWER = 0.02  # the same of an answer, of its value
# a logarithm has no size of its own: 0.2 of a pH is let pass, finer than a strip tells, and 0.01 of
# an index; what is nearer to its limit than the error told is not judged there
PH_SIZE, INDEX_SIZE = 0.2 / OF_LIMIT, 0.01 / OF_LIMIT
CHECKS = 300  # points at which errors are measured
SAFETY = 2.0  # the error told over the largest miss seen
SAME = 1e-12  # relative; what is this close to a dial at every sample is the dial
OF_LIMITS = ("value ", "limit ")  # how their names begin


class Series(Protocol):
    """A sum of products of Chebyshev polynomials over dials."""

    def __call__(self, points: Mapping[str, Array]) -> dict[str, Array]: ...


@dataclass(frozen=True)
class Field:
    """One number as a function of the dials: factor times the least or largest of its parts."""

    shape: Shape
    parts: tuple[Series, ...]
    size: float  # SI
    error: float  # twice the largest miss seen, over the size
    share: bool  # whether the error is a share of the value, where that is larger than the size

    def band(self, value: Array) -> Array:
        """Return half the width of what the true number lies in. [SI]"""
        size = (
            np.maximum(self.size, np.abs(value)) if self.share else np.full_like(value, self.size)
        )
        return self.error * size


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
    seen: Any = None  # verdict on the train at the points of checking

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


def fields_of(
    observer: Observer,
    planned: Mapping[str, Shape],
    found: Mapping[str, tuple[Series, ...]],
    sizes: Mapping[str, float],
) -> dict[str, Field]:
    """Return fields, their errors not yet known."""
    alike = {n for one in observer.composed.values() for n in one.alike}
    shares = {n: n not in alike and not n.startswith(OF_LIMITS) for n in found}
    return {
        n: Field(planned[n], parts, sizes[n], _largest(n, observer), shares[n])
        for n, parts in found.items()
    }


def _largest(name: str, observer: Observer) -> float:
    """Return the largest error let pass."""
    return OF_ANSWER if name in observer.answers else OF_LIMIT


def all_sizes(verdict: Verdict, observer: Observer) -> dict[str, float]:
    """Return what the error of each number, and of each read, is held against. [SI]"""
    return _sizes(verdict, observer.answers) | _sizes_of_reads(verdict, observer)


def _sizes(verdict: Verdict, answers: Sequence[str]) -> dict[str, float]:
    """Return what the error of each number is held against. [SI]"""
    found = {}
    for number, limit in enumerate(verdict.limits):
        size = abs(float(at(limit.limit, 0))) or abs(float(at(limit.value, 0))) or 1.0
        size = PH_SIZE if limit.quantity == "ph" else size
        size = INDEX_SIZE if limit.key.endswith("index") else size
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


def aliases(observer: Observer, seen: Mapping[str, Array]) -> dict[str, str]:
    """Return what composed numbers read that is a dial itself: read -> address."""
    reads = {read for one in observer.composed.values() for read in one.reads}
    return {
        read: dial
        for read in reads & set(seen)
        for dial in observer.fixed
        if dial in seen and np.all(np.abs(seen[read] - seen[dial]) <= SAME * np.abs(seen[dial]))
    }


def misses(
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


def closed(
    carriage: Carriage,
    misses: Mapping[str, Array],
    observer: Observer,
    planned: Iterable[str],
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
    return replace(
        carriage,
        fields=fields,
        fixed=fixed,
        lost=frozenset(lost),
        unjudged=frozenset(observer.unjudged),
        solved=observer.solved,
        seen=observer.seen,
    )


def with_composed(
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
    alias = {read: dial for read, dial in alias.items() if dial in points}
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
