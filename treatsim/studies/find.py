"""The largest or smallest setting that still meets a target: intervals, and what ends them."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.numerics import find_roots
from treatsim.operations.base import bounds_text, field_problem
from treatsim.studies.found import Edge, Interval, Nearest, Range
from treatsim.studies.points import Texts
from treatsim.studies.requirements import (
    Evaluation,
    Remark,
    Requirement,
    Target,
    evaluate,
    remark_at,
    targets,
)
from treatsim.studies.vary import check_input, with_words

SCAN = 129  # settings of the first scan
ZOOM, ZOOM_ROUNDS, ZOOM_PLACES = 17, 8, 4  # around extremes of the margin between scanned settings
REACH = 30.0  # an input without an upper bound is searched up to so many times its present value
TOLERANCE = 1e-9  # relative, of an edge
LARGEST_COUNT = 128
HALVINGS = 60
SHOWN = ("product.flow",)


def find(case, adjust: str | Sequence[str], until: str | Sequence[str] = (), *, best: str = ""):
    """Find the settings that meet a target, or all criteria of the case.

    Parameters
    ----------
    case : Case
        The case, from `treatsim.load`.
    adjust : str or sequence of str
        Address or addresses of inputs.
    until : str or sequence of str
        Texts such as "uv.dose_credited >= 12 mJ/cm2"; none means every criterion of the case.
    best : str
        With several inputs, or where one best setting is wanted: "largest ADDRESS" or
        "smallest ADDRESS" of a result. Several inputs without it: "largest product.flow".

    Returns
    -------
    Range or Optimum
        One input: every interval of settings that meets everything, with what ends it on either
        side, edges to 1e-9. Otherwise the best setting, with its tolerance.

    Raises
    ------
    NoSolutionError
        No setting has an operating point at all.
    """
    addresses = [adjust] if isinstance(adjust, str) else list(adjust)
    wanted = targets([until] if isinstance(until, str) else until)
    if not addresses:
        raise RequestError("nothing is adjusted: give at least one address")
    if len(addresses) == 1 and not best:
        return find_range(case, addresses[0], wanted)
    from treatsim.studies.optimise import optimise

    return optimise(case, addresses, wanted, best or "largest product.flow")


class Line:
    """One input as the only variable: its scanned values and the margins along them."""

    def __init__(self, case, address: str, wanted: Sequence[Target]) -> None:
        check_input(case, address)
        self.item, self.now = case.field(address)
        self.kind = self.item.metadata["kind"]
        if self.kind in ("choice", "text"):
            raise RequestError(f'"{address}" is no number to adjust; sweep its values instead')
        self.case, self.address, self.wanted = case, address, wanted
        self.shown = results_told(case)

    def evaluate(self, x) -> Evaluation:
        """Return the margins at settings of the input."""
        x = np.asarray(x, float)
        if self.kind != "count":
            return evaluate(self.case, {self.address: x}, x.size, self.wanted, self.shown)
        parts = [
            evaluate(
                with_words(self.case, {self.address: int(value)}), {}, 1, self.wanted, self.shown
            )
            for value in x
        ]
        return joined_evaluation(parts)

    def remark(self, x: float) -> Remark:
        """Return what else is to be told about a setting."""
        if self.kind == "count":
            return remark_at(with_words(self.case, {self.address: int(x)}), {})
        return remark_at(self.case, {self.address: x})

    def scan(self) -> tuple[np.ndarray, str, str]:
        """Return settings to be tried, and what their two ends are."""
        meta = self.item.metadata
        if self.kind == "count":
            top = min(meta["high"], meta["low"] + LARGEST_COUNT - 1)
            end = "allowed range" if top == meta["high"] else "range searched"
            return (
                np.arange(meta["low"], top + 1),
                "the end of the allowed range",
                f"the end of the {end}",
            )
        low, high, ends = span(self.item, self.now, self.address)
        values = spread_values(low, high, self.now)
        problem = [field_problem(self.item, float(v)) is None for v in values]
        return values[np.array(problem)], *ends


def results_told(case) -> list[str]:
    """Return the results told along with a setting, where the case has them."""
    known = case.solve().values
    return [address for address in SHOWN if address in known]


def joined_evaluation(parts: list[Evaluation]) -> Evaluation:
    """Join evaluations of one point each."""
    requirements = {r.name: r for part in parts for r in part.requirements}
    points = len(parts)
    margins = np.full((len(requirements), points), np.nan)
    why = Texts(points)
    shown = {a: np.array([part.shown[a][0] for part in parts]) for a in parts[0].shown}
    kinds: dict[str, str] = {}
    for n, part in enumerate(parts):
        own = {
            r.name: margin for r, margin in zip(part.requirements, part.margins[:, 0], strict=True)
        }
        margins[:, n] = [
            own.get(name, np.inf if part.answered[0] else np.nan) for name in requirements
        ]
        why.put(slice(n, n + 1), part.reasons.codes, part.reasons.texts)
        kinds |= part.quantities
    answered = np.array([part.answered[0] for part in parts])
    return Evaluation(list(requirements.values()), margins, answered, why, shown, kinds)


def span(item: dataclasses.Field, now, address: str) -> tuple[float, float, tuple[str, str]]:
    """Return the ends of the settings to be searched, and what they are."""
    meta = item.metadata
    low, high = meta["low"], meta["high"]
    allowed, searched = "the end of the allowed range", "the end of the range searched"
    if np.isfinite(low) and np.isfinite(high):
        return low, high, (allowed, allowed)
    if now is None:
        raise RequestError(
            f"{address} is not given in the case, and allowed is "
            f"{bounds_text(meta)}: give it a value to start from"
        )
    size = abs(float(now)) or 1.0
    start, stop = max(low, now - REACH * size), min(high, now + REACH * size)
    return (
        start,
        stop,
        (allowed if start == low else searched, allowed if stop == high else searched),
    )


def spread_values(low: float, high: float, now) -> np.ndarray:
    """Return settings over the whole span, half of them evenly, half around the present one."""
    values = [np.linspace(low, high, SCAN // 2 + 1)]
    if now is not None:
        factor = np.geomspace(1 / REACH, REACH, SCAN // 2)
        values += [np.atleast_1d(float(now)), float(now) * factor]
    together = np.unique(np.concatenate(values))
    return together[(together >= low) & (together <= high)]


def find_range(case, address: str, wanted: Sequence[Target]) -> Range:
    """Return every interval of one input that meets the targets."""
    line = Line(case, address, wanted)
    x, low_end, high_end = line.scan()
    at_x = line.evaluate(x)
    if not np.any(at_x.answered):
        first = at_x.reasons.texts[
            at_x.reasons.codes[int(np.argmin(np.abs(x - (line.now or x[0]))))]
        ]
        raise NoSolutionError(f"no setting of {address} has an operating point: {first}")
    if line.kind != "count":
        x = np.unique(np.concatenate([x, _between(line, x, at_x)]))
        at_x = line.evaluate(x)
    intervals = _intervals(line, x, at_x, (low_end, high_end))
    now_met = bool(line.evaluate([line.now]).met[0]) if line.now is not None else None
    return Range(
        address,
        line.kind,
        line.now,
        now_met,
        intervals,
        None if intervals else _nearest(address, x, at_x),
        at_x.requirements,
        0.0 if line.kind == "count" else TOLERANCE,
        (float(x[0]), float(x[-1])),
    )


def _between(line: Line, x, at_x: Evaluation) -> np.ndarray:
    """Look for narrow peaks and dips of the margin between the scanned settings."""
    worst = np.where(np.isnan(at_x.worst), -np.inf, at_x.worst)
    found = []
    for sign in (1.0, -1.0):
        f = sign * worst
        inner = np.flatnonzero((f[1:-1] >= f[:-2]) & (f[1:-1] >= f[2:]) & np.isfinite(f[1:-1])) + 1
        inner = inner[(f[inner] < 0) if sign > 0 else (f[inner] <= 0)]
        places = inner[np.argsort(-f[inner])][:ZOOM_PLACES]
        if places.size:
            found.append(_zoom(line, sign, x[places - 1], x[places], x[places + 1]))
    return np.concatenate([*found, [x[0]]])


def _zoom(line: Line, sign: float, low, middle, high) -> np.ndarray:
    """Return the settings of the extremes of the margin, each inside its own bounds."""
    for _ in range(ZOOM_ROUNDS):
        tried = np.linspace(low, high, ZOOM)
        tried[ZOOM // 2] = middle
        tried = np.sort(tried, axis=0)
        worst = line.evaluate(tried.ravel()).worst.reshape(tried.shape)
        value = np.where(np.isnan(worst), -np.inf, sign * worst)
        best = np.argmax(value, axis=0)
        column = np.arange(best.size)
        low = tried[np.maximum(best - 1, 0), column]
        high = tried[np.minimum(best + 1, ZOOM - 1), column]
        middle = tried[best, column]
        if np.all(high - low <= TOLERANCE * np.abs(middle)):
            break
    return middle


def _intervals(line: Line, x, at_x: Evaluation, ends: tuple[str, str]) -> list[Interval]:
    met = at_x.met
    change = np.flatnonzero(met[1:] != met[:-1])
    edges = _edges(line, x, met, change) if change.size else []
    if met[0]:
        edges.insert(0, _end(x, at_x, 0, ends[0]))
    if met[-1]:
        edges.append(_end(x, at_x, -1, ends[1]))
    edges = [edge._replace(remark=line.remark(edge.value)) for edge in edges]
    return [Interval(low, high) for low, high in zip(edges[::2], edges[1::2], strict=True)]


def _end(x, at_x: Evaluation, place: int, what: str) -> Edge:
    return Edge(
        float(x[place]),
        what,
        None,
        {a: (float(row[place]), at_x.quantities[a]) for a, row in at_x.shown.items()},
    )


def _edges(line: Line, x, met, change) -> list[Edge]:
    """Refine every change between met and not met."""
    inside = np.where(met[change], x[change], x[change + 1])
    outside = np.where(met[change], x[change + 1], x[change])
    if line.kind != "count":
        inside, outside = _refine(line, inside, outside)
    good, bad = line.evaluate(inside), line.evaluate(outside)
    if line.kind != "count" and not np.all(good.met):
        # on the last bit before a jump, the answer may hang on which points are solved together
        inside = np.where(
            good.met,
            inside,
            inside + TOLERANCE * (inside - outside) / np.abs(inside - outside) * np.abs(inside),
        )
        good = line.evaluate(inside)
    edges = []
    for n, value in enumerate(inside):
        requirement: Requirement | None = None
        if bad.answered[n]:
            requirement = bad.binding(n)
            what = requirement.name
        else:
            what = f"no operating point: {bad.reasons.texts[bad.reasons.codes[n]]}"
        shown = {a: (float(row[n]), good.quantities[a]) for a, row in good.shown.items()}
        edges.append(Edge(float(value), what, requirement, shown))
    return edges


def _refine(line: Line, inside, outside):
    """Return brackets narrowed to the tolerance, one end met, the other not.

    Where the margin passes through zero its root is found; where it jumps, as at the end of all
    operating points or on a step of a table, the bracket is halved.
    """

    def margin(x, index):
        worst = line.evaluate(x).worst
        return np.where(np.isnan(worst), -1.0, worst)

    low, high = np.minimum(inside, outside), np.maximum(inside, outside)
    root = find_roots(margin, 0.5 * (low + high), low, high, rtol=1e-2 * TOLERANCE).x
    outward = np.sign(outside - inside)
    steps = outward * np.maximum(np.abs(root), 1e-12 * (high - low))
    shares = np.geomspace(1e-13, 0.5 * TOLERANCE, 12)
    tried = root + np.concatenate([-shares[::-1], [0.0], shares])[:, None] * steps
    tried = np.vstack([inside, np.clip(tried, low, high), outside])
    met = line.evaluate(tried.ravel()).met.reshape(tried.shape)
    last = len(tried) - 1 - np.argmax(met[::-1], axis=0)  # outermost that is met
    column = np.arange(root.size)
    inside, outside = tried[last, column], tried[np.minimum(last + 1, len(tried) - 1), column]
    return _halved(line, inside, outside)


def _halved(line: Line, inside, outside):
    """Halve brackets that are still too wide."""
    inside, outside = inside.copy(), outside.copy()
    for _ in range(HALVINGS):
        size = np.maximum(np.abs(inside), np.abs(outside))
        wide = np.flatnonzero(np.abs(outside - inside) > TOLERANCE * size)
        if not wide.size:
            break
        middle = 0.5 * (inside[wide] + outside[wide])
        met = line.evaluate(middle).met
        inside[wide[met]], outside[wide[~met]] = middle[met], middle[~met]
    return inside, outside


def _nearest(address: str, x, at_x: Evaluation) -> Nearest:
    """Return the setting that comes nearest to meeting everything."""
    place = int(np.nanargmax(np.where(np.isnan(at_x.worst), -np.inf, at_x.worst)))
    return Nearest({address: float(x[place])}, float(at_x.worst[place]), at_x.binding(place))
