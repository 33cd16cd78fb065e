"""A train carried through one scatter of points, where every solve of it is dear."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.studies.carriage import (
    CHECKS,
    Carriage,
    aliases,
    closed,
    fields_of,
    misses,
    with_composed,
)
from treatsim.studies.carried_fit import Shape, fineness, shape_of
from treatsim.studies.carried_needs import FLOW, Need, by_movement, needs
from treatsim.studies.cutting import cured, cut
from treatsim.studies.dials import Dial
from treatsim.studies.extremes import extremes_seen
from treatsim.studies.observed import GOOD, Observer, spread_points
from treatsim.studies.scattered import Scattered, scatter, through

Dials = tuple[Dial, ...]


def carried_scattered(observer: Observer, found: Dials, sizes: Mapping[str, float]) -> Carriage:
    """Return limits and answers as series through one scatter of points.

    Parameters
    ----------
    observer : Observer
        The train.
    found : tuple of Dial
        Ranges to begin with. [SI]
    sizes : mapping
        Number -> what its error is held against. [SI]

    Returns
    -------
    Carriage
        As of `studies.carried.carry`.

    Validity
    --------
    Where a point of the scatter has no answer, ranges are cut and the points outside left out.

    Raises
    ------
    NoSolutionError
        The case has no answer around its own settings.

    Source
    ------
    least squares over Chebyshev products, definition.
    """
    most, narrowest = observer.thrift.dials, found
    left: Dials = ()
    if len(found) > most:
        order = by_movement(observer, found, sizes)
        left = tuple(order[most:])
        found = tuple(dial for dial in found if dial in order[:most])
    wanted, ranges = _wanted(observer, found, sizes)
    moving = tuple(d for d in ranges if any(d.address in n.form.terms for n in wanted.values()))
    points, told, fit = _looked(observer, moving)
    ranges = _ranges(observer, moving, points, told)
    inside = np.all([(points[d.address] >= d.low) & (points[d.address] <= d.high)
                     for d in ranges], axis=0)  # fmt: skip
    checks, truth = _only(points, inside & ~fit), _only(told, inside & ~fit)
    alias = aliases(observer, truth | checks)
    carried = {n: need for n, need in wanted.items() if n not in alias and not observer.makes(n)}
    bent = extremes_seen(observer, [name for name, need in carried.items() if need.bent])
    planned = {
        name: shape_of(name, need, ranges, bent.get(name))
        for name, need in carried.items()
        if need.form.terms and not need.still
    }
    shapes = {name: shape for name, shape in planned.items() if name in told}  # the rest is lost
    told |= {part: _row(observer, part, fit.size) for s in shapes.values()
             for part in s.parts if part not in told}  # fmt: skip
    some = _only(points, inside & fit), _only(told, inside & fit)
    series = {name: _series(shape, *some, sizes[name]) for name, shape in shapes.items()}
    fields = fields_of(observer, planned, series, sizes)
    fields = {n: fields[n] for n in sorted(fields, key=lambda name: name != FLOW)}  # others read it
    fixed = {name: need.middle for name, need in carried.items() if need.still}
    missed = misses(fields, fixed, checks, truth, sizes)
    count = int(np.sum(inside & ~fit))
    whole = Carriage(ranges, narrowest, fields, fixed, left=left, checks=count)
    return with_composed(closed(whole, missed, observer, planned), observer, alias, checks, truth)


def _wanted(
    observer: Observer, dials: Dials, sizes: Mapping[str, float]
) -> tuple[dict[str, Need], Dials]:
    """Return what each number needs, and ranges cut to where every line has answers."""
    ranges = dials
    while True:
        found = needs(observer, ranges, sizes)
        bad = ~observer.seen.result.solved
        if not np.any(bad):
            return found, ranges
        points = observer.asked
        ranges = cut(ranges, dials, points, cured(observer, ranges, points, bad))


def _looked(observer: Observer, dials: Dials) -> tuple[dict[str, Array], dict[str, Array], Flags]:
    """Return points to fit and to check, what was seen there, and which are to fit."""
    count = observer.thrift.points
    scattered, apart = scatter(dials, count), spread_points(dials, CHECKS, count)
    points = {d.address: np.append(scattered[d.address], apart[d.address]) for d in dials}
    return points, observer.look(points), np.arange(count + CHECKS) < count


def _ranges(
    observer: Observer, dials: Dials, points: Mapping[str, Array], told: Mapping[str, Array]
) -> Dials:
    """Return ranges cut to where every point has an answer."""
    bad, seen = told[GOOD] == 0, observer.seen
    if not np.any(bad):
        return dials
    blamed = cured(observer, dials, points, bad)
    observer.seen = seen
    return cut(dials, dials, points, blamed)


def _only(rows: Mapping[str, Array], which: Flags) -> dict[str, Array]:
    return {name: row[which] for name, row in rows.items()}


def _row(observer: Observer, address: str, count: int) -> Array:
    value = np.asarray(observer.seen.value(address).value, float)
    return np.broadcast_to(value, (count,))


def _series(
    shape: Shape, points: Mapping[str, Array], seen: Mapping[str, Array], size: float
) -> tuple[Scattered, ...]:
    """Return the series of the parts of a number."""
    axes, found = dict(zip(shape.axes, shape.ranges, strict=True)), []
    for part in shape.parts:
        values = seen[part] * seen[FLOW] if shape.per_flow else seen[part]
        told = np.log(values) if shape.log else values
        found.append(through(axes, shape.counts, points, told, fineness(shape, size)))
    return tuple(found)
