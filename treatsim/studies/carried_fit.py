"""Which series a number of a train needs: over which dials, how fine, and of what."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.errors import NoSolutionError
from treatsim.running.response import Response, finest
from treatsim.studies.carried_needs import FLOW, MANY, Need, needs
from treatsim.studies.dials import Dial
from treatsim.studies.extremes import Extreme, extremes
from treatsim.studies.observed import GOOD, Observer, spread_points

OF_A_PART = 7  # nodes to begin with, of parts that no line was drawn for
FEWEST_OF_FLOW = 3  # dials that must act through the flow alone for it to stand in their place
PAIRS = 24  # points at which that is tried
SAME = 3e-4  # of the size
FINEST = 9_000  # nodes of one grid
FINE = 0.0015  # of the size: largest miss a fit is asked for
DIGITS = 1e-9  # of the largest coefficient
TABLE = 1025  # settings at which the flow is looked up
MARGIN = 0.01  # of the flow, past its ends


class UnansweredError(NoSolutionError):
    """Nodes at which the train has no answer."""

    def __init__(self, points: Mapping[str, Array], bad: Flags) -> None:
        super().__init__("no answer inside the ranges")
        self.points, self.bad = points, bad


@dataclass(frozen=True)
class Shape:
    """How one number is carried."""

    axes: tuple[str, ...]  # addresses of dials, or FLOW
    ranges: tuple[tuple[float, float], ...]  # SI
    counts: tuple[int, ...]  # nodes to begin with
    parts: tuple[str, ...]  # addresses of what is carried
    log: bool  # whether its logarithm is carried
    per_flow: bool  # whether what is carried is to be divided by the product's flow
    largest: bool = False  # of several parts, the largest; else the least
    factor: float = 1.0
    top: float = 1.0  # largest value seen, SI
    lead: str = ""  # dial that gives the flows of the axis FLOW
    flows: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())  # flow, dial that gives it

    @property
    def by_flow(self) -> bool:
        """Whether it reads the product's flow."""
        return self.per_flow or FLOW in self.axes


def shapes(
    observer: Observer, dials: Sequence[Dial], sizes: Mapping[str, float]
) -> tuple[tuple[Dial, ...], dict[str, Shape], dict[str, float]]:
    """Return the dials that move anything, the shape of each number, and what stands still.

    Parameters
    ----------
    observer : Observer
        The train.
    dials : sequence of Dial
        Ranges in which every point has an answer. [SI]
    sizes : mapping
        Number -> what its error is held against. [SI]

    Returns
    -------
    dials, shapes, fixed : tuple, dict, dict
        A number that is no number somewhere is in neither.

    Validity
    --------
    What a dial does is seen along a few lines; an effect that none of them meets is missed, and
    shows as an error at the points of checking.

    Source
    ------
    definition
    """
    wanted = needs(observer, dials, sizes)
    moving = tuple(
        d for d in dials if any(d.address in need.form.terms for need in wanted.values())
    )
    bent = extremes(observer, dials, [name for name, need in wanted.items() if need.bent])
    planned = {
        name: shape_of(name, need, moving, bent.get(name))
        for name, need in wanted.items()
        if need.form.terms and (name in bent or not need.bent)
    }
    planned = _through_flow(observer, moving, planned, sizes)
    fixed = {name: need.middle for name, need in wanted.items() if need.still}
    return moving, planned, fixed


def shape_of(name: str, need: Need, dials: Sequence[Dial], extreme: Extreme | None) -> Shape:
    """Return how one number is carried; `extreme`: its parts, where it is bent."""
    axes = tuple(dial for dial in dials if dial.address in need.form.terms)
    terms = need.form.terms
    parts, largest, factor = extreme or ((name,), False, 1.0)
    return Shape(
        tuple(dial.address for dial in axes),
        tuple((dial.low, dial.high) for dial in axes),
        tuple(min(terms[d.address], OF_A_PART if extreme else MANY) for d in axes),
        parts,
        need.form.log or extreme is not None,
        need.form.per_flow and extreme is None,
        largest,
        factor,
        need.top if extreme else need.form.top,
    )


def _through_flow(
    observer: Observer,
    dials: Sequence[Dial],
    planned: dict[str, Shape],
    sizes: Mapping[str, float],
) -> dict[str, Shape]:
    """Put the flow in place of the dials that set it, for numbers that ask for nothing else."""
    if FLOW not in planned:
        return planned
    acting = set(planned[FLOW].axes)
    lead = next((d for d in dials if d.address in acting and not d.read), None)
    many = [
        n
        for n, s in planned.items()
        if n != FLOW and not s.per_flow and len(acting & set(s.axes)) >= FEWEST_OF_FLOW
    ]
    if lead is None or len(acting) < FEWEST_OF_FLOW or not many:
        return planned
    table = _table(observer, lead, [d for d in dials if d.address in acting])
    if table is None:
        return planned
    points = spread_points(dials, PAIRS, 900)
    more = sorted({part for name in many for part in planned[name].parts if part not in sizes})
    truth = observer.look(points, more)
    alike = {d.address: np.full(PAIRS, d.now) for d in dials if d.address in acting}
    alike[lead.address] = np.interp(truth[FLOW], *table)
    twin = observer.look({**points, **alike}, more)
    found = {FLOW: planned[FLOW]}
    for name, shape in planned.items():
        same = _same(twin[name], truth[name], sizes[name]) if name in many else 0
        found[name] = _on_flow(shape, acting, lead, table) if same else shape
    return found


def _same(told: Array, truth: Array, size: float) -> bool:
    return bool(np.all(np.abs(told - truth) <= SAME * np.maximum(size, np.abs(truth))))


def _table(observer: Observer, lead: Dial, acting: Sequence[Dial]):
    """Return flows and the settings that give them, all else as in the case; None if they do not.

    The range goes past that of the dial as far as the flows of other settings ask for.
    """
    ends = np.meshgrid(*([dial.low, dial.high] for dial in acting), indexing="ij")
    corners = {d.address: end.ravel() for d, end in zip(acting, ends, strict=True)}
    flows = observer.look(corners)[FLOW]
    if not np.all(np.isfinite(flows)):
        return None
    item, _ = observer.case.field(lead.address)
    low, high = (
        max(0.6 * lead.low, item.metadata["low"]),
        min(1.4 * lead.high, item.metadata["high"]),
    )
    settings = np.linspace(low, high, TABLE)
    told = observer.look({lead.address: settings})[FLOW]
    settings, told = settings[np.isfinite(told)], told[np.isfinite(told)]
    bottom, top = (1 - MARGIN) * float(np.min(flows)), (1 + MARGIN) * float(np.max(flows))
    if not told.size or np.any(np.diff(told) <= 0) or told[0] > bottom or told[-1] < top:
        return None
    inside = (told >= bottom) & (told <= top)
    return tuple(told[inside]), tuple(settings[inside])


def _on_flow(shape: Shape, acting: set[str], lead: Dial, table) -> Shape:
    rest = [n for n, axis in enumerate(shape.axes) if axis not in acting]
    most = max(shape.counts[n] for n, axis in enumerate(shape.axes) if axis in acting)
    return replace(
        shape,
        axes=(FLOW, *(shape.axes[n] for n in rest)),
        ranges=((table[0][0], table[0][-1]), *(shape.ranges[n] for n in rest)),
        counts=(most, *(shape.counts[n] for n in rest)),
        lead=lead.address,
        flows=table,
    )


def fitted(
    observer: Observer, planned: Mapping[str, Shape], sizes: Mapping[str, float]
) -> dict[str, tuple[Response, ...]]:
    """Return the series of each number that one could be found for.

    Parameters
    ----------
    observer : Observer
        The train.
    planned : mapping
        Number -> its shape.
    sizes : mapping
        Number -> what its error is held against. [SI]

    Returns
    -------
    dict
        Number -> a series for each part, whose one result is called "part".

    Validity
    --------
    As of `running.response.response`.

    Source
    ------
    tensor Chebyshev interpolation, definition.
    """
    found: dict[str, tuple[Response, ...]] = {}
    for group in _groups(planned):
        try:
            found |= _fit(observer, group, sizes)
        except UnansweredError:
            raise
        except NoSolutionError:
            continue  # what is no number somewhere is not carried
    flowing = {n for n, s in planned.items() if s.by_flow}
    lost = set() if FLOW in found else flowing
    return {name: found[name] for name in planned if name in found and name not in lost}


def _groups(planned: Mapping[str, Shape]) -> list[dict[str, Shape]]:
    """Return the numbers that share their axes, and so a grid."""
    found: dict[tuple, dict[str, Shape]] = {}
    for name, shape in planned.items():
        found.setdefault((shape.axes, shape.ranges), {})[name] = shape
    return list(found.values())


def _counts(group: Mapping[str, Shape]) -> list[int]:
    """Return how many nodes a grid has along each axis to begin with."""
    counts = [max(each) for each in zip(*(s.counts for s in group.values()), strict=True)]
    while math.prod(counts) > FINEST:
        counts[int(np.argmax(counts))] -= 1
    return counts


def _fit(
    observer: Observer,
    group: Mapping[str, Shape],
    sizes: Mapping[str, float],
) -> dict[str, tuple[Response, ...]]:
    some = next(iter(group.values()))
    counts = _counts(group)
    keys = {
        (part, shape.log, shape.per_flow): f"{part} {shape.log} {shape.per_flow}"
        for shape in group.values()
        for part in shape.parts
    }

    def solve(arrays):
        points = dict(arrays)
        if FLOW in points:
            points[some.lead] = np.interp(points.pop(FLOW), *some.flows)
        wanted = [*(part for part, *_ in keys), *(n for n in (FLOW,) if n in observer.answers)]
        seen = observer.look(points, wanted, whole=False)
        if FLOW not in arrays and np.any(seen[GOOD] == 0):
            raise UnansweredError(points, seen[GOOD] == 0)
        told = {}
        for (part, log, per_flow), key in keys.items():
            value = seen[part] * seen[FLOW] if per_flow else seen[part]
            with np.errstate(invalid="ignore", divide="ignore"):
                told[key] = np.log(value) if log else value
            if not np.all(np.isfinite(told[key])):
                raise NoSolutionError(f"{part} is no number somewhere inside the ranges")
        return told

    spans = dict(zip(some.axes, some.ranges, strict=True))
    wanted = {
        keys[part, shape.log, shape.per_flow]: fineness(shape, sizes[name])
        for name, shape in group.items()
        for part in shape.parts
    }
    whole = finest(solve, spans, counts, tolerance=FINE, sizes=wanted, budget=FINEST)
    return {
        name: tuple(
            Response(spans, {"part": _rounded(whole.coefficients[key])}, {}, 0)
            for key in (keys[part, shape.log, shape.per_flow] for part in shape.parts)
        )
        for name, shape in group.items()
    }


def fineness(shape: Shape, size: float) -> float:
    """Return the size a miss of the carried number is held against: a share, of a logarithm."""
    if shape.per_flow:
        return 1.0 if shape.log else shape.top
    return min(size / shape.top, 1.0) if shape.log else size / shape.factor


def step(block: Array) -> float:
    """Return the unit in which the coefficients of a series are whole numbers."""
    return (float(np.max(np.abs(block))) or 1.0) * DIGITS


def _rounded(block: Array) -> Array:
    """Return coefficients as they are written down, so that errors are those of what is read."""
    return np.round(block / step(block)) * step(block)
