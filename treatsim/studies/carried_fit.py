"""Which series a number of a train needs: over which dials, how fine, and of what."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.errors import NoSolutionError
from treatsim.running.response import Response, finest
from treatsim.studies.dials import Dial
from treatsim.studies.extremes import Extreme, extremes
from treatsim.studies.observed import GOOD, Observer, spread_points
from treatsim.water import series

FLOW = "product.flow"  # what many numbers depend on alone, of all that sets it
FINE = 0.0015  # of the size: largest miss a fit is asked for
TERM = 0.0005  # of the size: terms that are left out along one dial
STILL = 1e-7  # of the size: what moves less does not depend on a dial
LINE = 17  # nodes along one dial
OF_A_PART = 7  # nodes to begin with, of parts that no line was drawn for
MANY = 9  # nodes along one dial to begin with, at most
BENT = 0.006  # of the size, left after so many terms: no smooth number
LINES = 4  # lines along each dial, the first through the case itself
FEWEST_OF_FLOW = 3  # dials that must act through the flow alone for it to stand in their place
PAIRS = 24  # points at which that is tried
SAME = 3e-4  # of the size
DIGITS = 1e-9  # of the largest coefficient
NODES = 9_000  # of one grid
TABLE = 1025  # settings at which the flow is looked up
MARGIN = 0.01  # of the flow, past its ends


@dataclass(frozen=True)
class Shape:
    """How one number is carried."""

    axes: tuple[str, ...]  # addresses of dials, or FLOW
    ranges: tuple[tuple[float, float], ...]  # SI
    counts: tuple[int, ...]  # nodes to begin with
    parts: tuple[str, ...]  # addresses of what is carried
    log: bool  # whether its logarithm is carried
    largest: bool = False  # of several parts, the largest; else the least
    factor: float = 1.0
    top: float = 1.0  # largest value seen, SI
    lead: str = ""  # dial that gives the flows of the axis FLOW
    flows: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())  # flow, dial that gives it


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
    needs = _needs(observer, dials, sizes)
    moving = tuple(d for d in dials if any(d.address in need.plain for need in needs.values()))
    bent = extremes(observer, dials, [name for name, need in needs.items() if need.bent])
    planned = {
        name: _shape(name, need, moving, bent.get(name))
        for name, need in needs.items()
        if need.plain and (name in bent or not need.bent)
    }
    planned = _through_flow(observer, moving, planned, sizes)
    fixed = {name: need.middle for name, need in needs.items() if need.still}
    return moving, planned, fixed


class Need(NamedTuple):
    """Terms of a series along each dial that moves a number, and what is left after many."""

    plain: dict[str, tuple[int, float]]
    logs: dict[str, tuple[int, float]]
    top: float  # largest value seen, SI
    still: bool
    middle: float  # SI

    @property
    def log(self) -> bool:
        """Whether the logarithm needs fewer terms."""
        plain, logs = (math.prod(n for n, _ in x.values()) for x in (self.plain, self.logs))
        return logs < plain

    @property
    def terms(self) -> dict[str, int]:
        """Terms of the form that needs fewer."""
        return {a: min(n, MANY) for a, (n, _) in (self.logs if self.log else self.plain).items()}

    @property
    def bent(self) -> bool:
        """Whether many terms leave too much."""
        return any(left > BENT for _, left in (self.logs if self.log else self.plain).values())


def _needs(
    observer: Observer, dials: Sequence[Dial], sizes: Mapping[str, float]
) -> dict[str, Need]:
    """Return what each number needs that is one along every line."""
    seen: dict[str, dict[str, Array]] = {}
    bases = spread_points(dials, LINES - 1, 40)
    for dial in dials:
        line = series.nodes(dial.low, dial.high, LINE)
        points = {
            other.address: np.tile(line, LINES)
            if other == dial
            else np.repeat([other.now, *bases[other.address]], LINE)
            for other in dials
        }
        for name, values in observer.look(points).items():
            if name in sizes:
                seen.setdefault(name, {})[dial.address] = values.reshape(LINES, LINE)
    needs = {}
    for name, rows in seen.items():
        if all(np.all(np.isfinite(row)) for row in rows.values()):
            needs[name] = _need(rows, sizes[name])
    return needs


def _need(rows: Mapping[str, Array], size: float) -> Need:
    """Return what one number needs, seen along its lines. size [SI]"""
    every = np.concatenate([row.ravel() for row in rows.values()])
    top = float(np.max(np.abs(every)))
    moved = {a: row for a, row in rows.items() if np.max(np.ptp(row, axis=1)) > STILL * size}
    plain = {a: _terms(row / size) for a, row in moved.items()}
    logs = dict.fromkeys(moved, (LINE, 1.0))
    if np.all(every > 0):
        share = max(top / size, 1.0)
        logs = {a: _terms(np.log(row) * share) for a, row in moved.items()}
    return Need(plain, logs, top, float(np.ptp(every)) <= STILL * size, float(np.median(every)))


def _terms(rows: Array) -> tuple[int, float]:
    """Return how many terms of a series along a line count, and what the last ones still weigh."""
    weights = np.abs(series.transform(LINE) @ rows.T)
    tails = np.cumsum(weights[::-1], axis=0)[::-1]
    return max(int(np.max(np.sum(tails > TERM, axis=0))), 2), float(np.max(tails[MANY]))


def _shape(name: str, need: Need, dials: Sequence[Dial], extreme: Extreme | None) -> Shape:
    axes = tuple(dial for dial in dials if dial.address in need.plain)
    terms = need.terms
    parts, largest, factor = extreme or ((name,), False, 1.0)
    return Shape(
        tuple(dial.address for dial in axes),
        tuple((dial.low, dial.high) for dial in axes),
        tuple(min(terms[d.address], OF_A_PART if extreme else MANY) for d in axes),
        parts,
        need.log or extreme is not None,
        largest,
        factor,
        need.top,
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
    many = [n for n, s in planned.items() if n != FLOW and len(acting & set(s.axes)) >= 3]
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
    groups: dict[tuple, list[str]] = {}
    for name, shape in planned.items():
        groups.setdefault((shape.axes, shape.ranges), []).append(name)
    found: dict[str, tuple[Response, ...]] = {}
    for names in groups.values():
        found |= _fit(observer, {n: planned[n] for n in names}, sizes)
    return {name: found[name] for name in planned}


def _fit(
    observer: Observer,
    group: Mapping[str, Shape],
    sizes: Mapping[str, float],
) -> dict[str, tuple[Response, ...]]:
    some = next(iter(group.values()))
    counts = [max(s.counts[n] for s in group.values()) for n in range(len(some.axes))]
    while math.prod(counts) > NODES:
        counts[int(np.argmax(counts))] -= 1
    keys = {(part, shape.log): None for shape in group.values() for part in shape.parts}

    def solve(arrays):
        points = dict(arrays)
        if FLOW in points:
            points[some.lead] = np.interp(points.pop(FLOW), *some.flows)
        seen = observer.look(points, [part for part, _ in keys if part not in sizes])
        if np.any(seen[GOOD] == 0):
            raise NoSolutionError("no answer inside the ranges")
        with np.errstate(invalid="ignore", divide="ignore"):
            told = {key: np.log(seen[key[0]]) if key[1] else seen[key[0]] for key in keys}
        if not all(np.all(np.isfinite(values)) for values in told.values()):
            raise NoSolutionError("no number inside the ranges")
        return {f"{part} {log}": values for (part, log), values in told.items()}

    spans = dict(zip(some.axes, some.ranges, strict=True))
    wanted = {
        f"{part} {shape.log}": _fineness(shape, sizes[name])
        for name, shape in group.items()
        for part in shape.parts
    }
    whole = finest(solve, spans, counts, tolerance=FINE, sizes=wanted, budget=NODES)
    return {
        name: tuple(
            Response(spans, {"part": _rounded(whole.coefficients[f"{part} {shape.log}"])}, {}, 0)
            for part in shape.parts
        )
        for name, shape in group.items()
    }


def _fineness(shape: Shape, size: float) -> float:
    """Return the size a miss of the carried number is held against: a share, of a logarithm."""
    return min(size / shape.top, 1.0) if shape.log else size / shape.factor


def step(block: Array) -> float:
    """Return the unit in which the coefficients of a series are whole numbers."""
    return (float(np.max(np.abs(block))) or 1.0) * DIGITS


def _rounded(block: Array) -> Array:
    """Return coefficients as they are written down, so that errors are those of what is read."""
    return np.round(block / step(block)) * step(block)
