"""How many terms a number of a train needs along each dial, and in which form the fewest."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from treatsim.arrays import Array
from treatsim.studies.dials import Dial
from treatsim.studies.observed import Observer, spread_points
from treatsim.water import series

FLOW = "product.flow"  # what many numbers depend on alone, of all that sets it
TERM = 0.0005  # of the size: terms that are left out along one dial
STILL = 1e-7  # of the size: what moves less does not depend on a dial
MANY = 9  # nodes along one dial to begin with, at most
BENT = 0.006  # of the size, left after so many terms: no smooth number


class Form(NamedTuple):
    """A way to carry a number: itself or its logarithm, as it is or times the product's flow."""

    log: bool
    per_flow: bool
    terms: Mapping[str, int]  # of a series along each dial that moves it
    left: float  # what many terms leave, of the size
    top: float  # largest value seen, SI

    @property
    def cost(self) -> tuple[bool, int]:
        """Whether it is bent, and how many nodes it takes."""
        return self.left > BENT, math.prod(self.terms.values())


class Need(NamedTuple):
    """How a number is best carried, or that it stands still."""

    form: Form
    still: bool
    middle: float  # SI
    top: float  # largest value seen, SI

    @property
    def bent(self) -> bool:
        """Whether no smooth series makes it."""
        return self.form.left > BENT


def by_movement(
    observer: Observer, dials: Sequence[Dial], sizes: Mapping[str, float]
) -> list[Dial]:
    """Return dials, those that move the most first.

    Parameters
    ----------
    observer : Observer
        The train.
    dials : sequence of Dial
        Each is turned from end to end, all others as in the case. [SI]
    sizes : mapping
        Number -> what its movement is held against. [SI]

    Returns
    -------
    list of Dial
        By the sum of what they move, each number counted up to its size; a number that is none
        at an end counts whole. A dial that moves nothing is left out.

    Validity
    --------
    A dial that matters only where another is turned too is ranked too low.

    Source
    ------
    one change at a time, common practice
    """
    count = len(dials)
    points = {dial.address: np.full(2 * count, dial.now) for dial in dials}
    for place, dial in enumerate(dials):
        points[dial.address][2 * place : 2 * place + 2] = dial.low, dial.high
    seen = observer.look(points)
    worth = np.zeros(count)
    for name, size in sizes.items():
        if name in seen:
            moved = np.abs(np.diff(seen[name].reshape(count, 2), axis=1)[:, 0]) / size
            worth += np.nan_to_num(np.minimum(moved, 1.0), nan=1.0)
    order = np.argsort(-worth, kind="stable")
    return [dials[n] for n in order if worth[n] > STILL]


def needs(observer: Observer, dials: Sequence[Dial], sizes: Mapping[str, float]) -> dict[str, Need]:
    """Return what each number needs that is one along every line.

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
    dict
        Number -> how it is best carried.

    Validity
    --------
    Seen along a few lines; an effect that none of them meets is missed.

    Source
    ------
    Chebyshev series, definition.
    """
    lines, nodes = observer.thrift.lines, observer.thrift.line
    bases = spread_points(dials, lines - 1, 40)
    count = lines * nodes
    points = {
        other.address: np.tile(np.repeat([other.now, *bases[other.address]], nodes), len(dials))
        for other in dials
    }
    for place, dial in enumerate(dials):
        line = np.tile(series.nodes(dial.low, dial.high, nodes), lines)
        points[dial.address][place * count : (place + 1) * count] = line
    told = observer.look(points)  # a solve costs much, a point in it little
    seen = {
        name: {
            dial.address: values[place * count : (place + 1) * count].reshape(lines, nodes)
            for place, dial in enumerate(dials)
        }
        for name, values in told.items()
        if name in sizes
    }
    found = {}
    for name, rows in seen.items():
        if all(np.all(np.isfinite(row)) for row in rows.values()):
            found[name] = _need(rows, sizes[name], seen.get(FLOW) if name != FLOW else None)
    return found


def _need(rows: Mapping[str, Array], size: float, flows: Mapping[str, Array] | None) -> Need:
    """Return what one number needs, seen along its lines. size [SI], flows [m3/s]"""
    every = np.concatenate([row.ravel() for row in rows.values()])
    forms = _forms(rows, size, per_flow=False)
    if flows is not None and all(np.all(flow > 0) for flow in flows.values()):
        least = min(float(np.min(flow)) for flow in flows.values())
        amounts = {a: row * flows[a] for a, row in rows.items()}
        forms += _forms(amounts, size * least, per_flow=True)
    plain, top = forms[0], float(np.max(np.abs(every)))
    best = min(forms, key=lambda form: form.cost) if plain.terms else plain
    return Need(best, float(np.ptp(every)) <= STILL * size, float(np.median(every)), top)


def _forms(rows: Mapping[str, Array], size: float, *, per_flow: bool) -> list[Form]:
    """Return the forms of one number, what its error is held against being `size`. [SI]"""
    top = max(float(np.max(np.abs(row))) for row in rows.values())
    moved = {a: row for a, row in rows.items() if np.max(np.ptp(row, axis=1)) > STILL * size}
    kinds = {False: {a: row / size for a, row in moved.items()}}
    if all(np.all(row > 0) for row in rows.values()):
        share = max(top / size, 1.0)
        kinds[True] = {a: np.log(row) * share for a, row in moved.items()}
    found = []
    for log, scaled in kinds.items():
        terms = {a: _terms(row) for a, row in scaled.items()}
        left = max((rest for _, rest in terms.values()), default=0.0)
        counts = {a: min(count, MANY) for a, (count, _) in terms.items()}
        found.append(Form(log, per_flow, counts, left, top))
    return found


def _terms(rows: Array) -> tuple[int, float]:
    """Return how many terms of a series along a line count, and what the last ones still weigh."""
    nodes = rows.shape[1]
    weights = np.abs(series.transform(nodes) @ rows.T)
    tails = np.cumsum(weights[::-1], axis=0)[::-1]
    return max(int(np.max(np.sum(tails > TERM, axis=0))), 2), float(
        np.max(tails[min(MANY, nodes - 1)])
    )
