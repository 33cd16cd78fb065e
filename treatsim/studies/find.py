"""The largest or smallest setting that still meets a target: intervals, and what ends them."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from treatsim.errors import NoSolutionError, RequestError
from treatsim.given import CASE, belongs
from treatsim.studies.find_pairs import find_pairs
from treatsim.studies.find_year import PREFIX, find_year
from treatsim.studies.found import SAME, Edge, Interval, Nearest, Range
from treatsim.studies.ladder import ladder
from treatsim.studies.line import Line
from treatsim.studies.optimise import optimise
from treatsim.studies.requirements import (
    MET,
    Evaluation,
    Requirement,
    Target,
    targets,
)
from treatsim.studies.throughout import Conditions, conditions_of

ZOOM, ZOOM_ROUNDS, ZOOM_PLACES = 17, 8, 4  # around extremes of the margin between scanned settings
TOLERANCE = 1e-9  # relative, of an edge
LEAST = 1e-3  # of the scanned bracket: the size of an edge at zero
ROUNDS = 40
HALF = 7
EVEN = np.arange(1, 2 * HALF + 2) / (2 * HALF + 2)  # shares of a bracket that are tried
NEAR = np.array([[s * 8.0**-n] for s in (-1, 1) for n in (2, 3, 4, 5)])  # beside a crossing


def find(
    case,
    adjust: str | Sequence[str],
    until: str | Sequence[str] = (),
    *,
    best: str = "",
    throughout: str | Sequence[str] = (),
    each: bool = False,
    progress: Callable[[int, int], None] = lambda done, total: None,
):
    """Find the settings that meet a target, or all limits of the case.

    Parameters
    ----------
    case : Case
        The case, from `treatsim.load`.
    adjust : str or sequence of str
        Address or addresses of inputs.
    until : str or sequence of str
        Texts such as "uv.dose_credited >= 12 mJ/cm2"; none means every limit of the case.
    best : str
        With several inputs, or where one best setting is wanted: "largest ADDRESS" or
        "smallest ADDRESS" of a result. Several inputs without it: "largest product.flow".
    throughout : str or sequence of str
        Texts such as "water.temperature=12 degC,30 degC": everything must be met at each of these.
    each : bool
        Of one input: how far it may go before each requirement by itself.
    progress : callable
        Over years: called with steps done and steps in all.

    Returns
    -------
    Range, Ladder, Optimum, Sizes or Pairs
        Targets of results of the year, `year.*`: the size from which they are met, or of two sizes
        the least of the first for each of the second. One input:
        every interval of settings that meets everything, with what ends it on either side, edges
        to 1e-9. Otherwise the best setting, with its tolerance.

    Raises
    ------
    NoSolutionError
        No setting has an operating point at all.
    """
    belongs(case, "flowsheet", CASE)
    addresses = [adjust] if isinstance(adjust, str) else list(adjust)
    wanted = targets([until] if isinstance(until, str) else until)
    if not addresses:
        raise RequestError("nothing is adjusted: give at least one address")
    if any(target.address.startswith(PREFIX) for target in wanted):
        if best:
            raise RequestError("--best: over years the edge of a size is found; leave it out")
        if throughout or each:
            raise RequestError("--throughout, --each: not over years; leave them out")
        if len(addresses) > 2:
            raise RequestError("over years one size is found, or two together: give two --adjust")
        both = len(addresses) == 2
        return (find_pairs(case, addresses, wanted, progress) if both
                else find_year(case, addresses[0], wanted, progress))  # fmt: skip
    texts = [throughout] if isinstance(throughout, str) else list(throughout)
    conditions = conditions_of(case, texts, addresses)
    if each:
        if best or len(addresses) > 1:
            raise RequestError("--each: one input, and no --best")
        return ladder(case, addresses[0], wanted, conditions)
    if len(addresses) == 1 and not best:
        return find_range(case, addresses[0], wanted, conditions)
    return optimise(case, addresses, wanted, best or "largest product.flow", conditions)


def find_range(
    case, address: str, wanted: Sequence[Target], conditions: Conditions | None = None
) -> Range:
    """Return every interval of one input that meets the targets."""
    line = Line(case, address, wanted, conditions)
    x, low_end, high_end = line.scan()
    at_x = line.evaluate(x)
    if not np.any(at_x.answered):
        first = at_x.reasons.texts[
            at_x.reasons.codes[int(np.argmin(np.abs(x - (line.now or x[0]))))]
        ]
        raise NoSolutionError(f"no setting of {address} has an operating point: {first}")
    if line.kind != "count":
        more = _between(line, x, at_x)
        if more.size:
            x = np.unique(np.concatenate([x, more]))
            at_x = line.evaluate(x)
    intervals = _intervals(line, x, at_x, (low_end, high_end))
    now_met = bool(line.evaluate([line.now]).met[0]) if line.now is not None else None
    others = line.remark(line.now).missed if line.now is not None and now_met else ()
    return Range(
        address,
        line.kind,
        line.now,
        now_met,
        intervals,
        None if intervals else _nearest(address, x, at_x),
        at_x.requirements,
        at_x.unjudged,
        0.0 if line.kind == "count" else TOLERANCE,
        (float(x[0]), float(x[-1])),
        others,
    )


def _between(line: Line, x, at_x: Evaluation) -> np.ndarray:
    """Look for narrow peaks and dips of the margin between the scanned settings."""
    worst = np.where(np.isnan(at_x.worst), -np.inf, at_x.worst)
    found = [np.empty(0)]
    for sign in (1.0, -1.0):
        f = sign * worst
        inner = np.flatnonzero((f[1:-1] >= f[:-2]) & (f[1:-1] >= f[2:]) & np.isfinite(f[1:-1])) + 1
        inner = inner[(f[inner] < 0) if sign > 0 else (f[inner] <= 0)]
        places = inner[np.argsort(-f[inner])][:ZOOM_PLACES]
        if places.size:
            found.append(_zoom(line, sign, x[places - 1], x[places], x[places + 1]))
    return np.concatenate(found)


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

    Every round tries a few settings in all brackets together. Where the margin passes through
    zero, half of them stand close around where a straight line does; where it jumps, as at the end
    of all operating points or on a step of a table, all are spread evenly.
    """
    x = np.array([inside, outside])
    f = line.evaluate(x.ravel()).worst.reshape(x.shape) - MET
    least = LEAST * np.abs(outside - inside)
    for _ in range(ROUNDS):
        size = np.maximum(np.max(np.abs(x), axis=0), least)
        wide = np.flatnonzero(np.abs(x[1] - x[0]) > TOLERANCE * size)
        if not wide.size:
            break
        with np.errstate(invalid="ignore"):
            crossing = f[0, wide] / (f[0, wide] - f[1, wide])
        close = np.concatenate([np.broadcast_to(EVEN[1::2], (wide.size, HALF)).T, crossing + NEAR])
        smooth = np.isfinite(crossing) & np.isfinite(f[1, wide])
        share = np.sort(np.clip(np.where(smooth, close, EVEN[:, None]), 0.0, 1.0), axis=0)
        tried = x[0, wide] + share * (x[1, wide] - x[0, wide])
        found = line.evaluate(tried.ravel())
        met = np.vstack([np.ones(wide.size, bool), found.met.reshape(tried.shape)])
        last = len(met) - 1 - np.argmax(met[::-1], axis=0)  # outermost that is met
        rows = last + np.array([[0], [1]])
        for known, new in ((x, tried), (f, found.worst.reshape(tried.shape) - MET)):
            whole = np.vstack([known[0, wide], new, known[1, wide]])
            known[:, wide] = np.take_along_axis(whole, rows, axis=0)
    return x


def _nearest(address: str, x, at_x: Evaluation) -> Nearest:
    """Return the setting that comes nearest to meeting everything."""
    place = int(np.nanargmax(np.where(np.isnan(at_x.worst), -np.inf, at_x.worst)))
    row = at_x.requirements.index(at_x.binding(place))
    margins = at_x.margins[row, at_x.answered]
    unmoved = margins.size > 1 and bool(np.ptp(margins) <= SAME * np.max(np.abs(margins)))
    return Nearest(
        {address: float(x[place])}, float(at_x.worst[place]), at_x.binding(place), unmoved
    )
