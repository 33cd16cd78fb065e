"""Solving and judging many points, so that one impossible point does not spoil its neighbours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.errors import FlowsheetError, RequestError
from treatsim.operations.outcome import Finding
from treatsim.safety.verdict import NOT_JUDGED, Verdict, judge

MOST_WATERS = 32  # whose chemistry is worked out apart
SHOWN_DIGITS = 3  # of the numbers in the text of a status


class Piece(NamedTuple):
    """Points that were solved together, or one that cannot even be posed."""

    where: np.ndarray  # positions; a point that is alone stands twice
    verdict: Verdict | None
    reason: str  # why not, where verdict is None


def solve_points(case, arrays: Mapping[str, np.ndarray], points: int) -> list[Piece]:
    """Return the verdicts of all points, in order.

    Points at which inputs contradict each other are found by halving, so that the cost grows with
    their number only. What the verdict works out for one point only, because it is slow, is left
    out throughout and counts as not judged: a lone point is solved as two, so that no answer
    hangs on its company.
    """
    arrays = arrays or _unchanged(case, points)
    return [
        piece for where in _waters(case, arrays, points) for piece in _pieces(case, arrays, where)
    ]


def _waters(case, arrays: Mapping[str, np.ndarray], points: int) -> list[np.ndarray]:
    """Return the positions of the points of each water, whose chemistry is worked out together.

    Beyond MOST_WATERS all go together: their chemistry is interpolated between a few waters, see
    `water.each_water`.
    """
    own = [address for address in case.other_waters() if address in arrays]
    return _alike([arrays[address] for address in own], points) or [np.arange(points)]


def _alike(columns: list[np.ndarray], points: int) -> list[np.ndarray]:
    """Return the positions of points at which every column has one value; [] if too many have."""
    rows = np.array([np.broadcast_to(column, (points,)) for column in columns])
    if any(len(np.unique(row)) > MOST_WATERS for row in rows) or not columns:
        return []
    values, owner = np.unique(rows, axis=1, return_inverse=True)
    if values.shape[1] > MOST_WATERS:
        return []
    owner = owner.ravel()
    return np.split(np.argsort(owner, kind="stable"), np.cumsum(np.bincount(owner))[:-1])


def _pieces(case, arrays, where) -> Iterable[Piece]:
    where = np.repeat(where, 2) if where.size == 1 else where
    part = {address: values[where] for address, values in arrays.items()}
    try:
        verdict = judge(case.solve(part))
    except FlowsheetError:
        raise
    except RequestError:
        alone = np.unique(where)
        if alone.size == 1:
            yield Piece(alone, None, _why_not(case, {a: v[alone] for a, v in arrays.items()}))
            return
        yield from _pieces(case, arrays, alone[: alone.size // 2])
        yield from _pieces(case, arrays, alone[alone.size // 2 :])
        return
    yield Piece(where, verdict, "")


def _why_not(case, arrays) -> str:
    """Return why one point cannot be posed, in the words of a point by itself."""
    try:
        case.solve(arrays)
    except RequestError as error:
        return "; ".join(error.problems)
    return "this point cannot be judged"


def _unchanged(case, points: int) -> dict[str, np.ndarray]:
    """Return an input at its present value, once for every point."""
    return {"water.temperature": np.full(points, float(case.field("water.temperature")[1]))}


def unjudged_words(verdict: Verdict) -> list[str]:
    """Return the limits that are not judged at some point that has an answer."""
    points = (verdict.result.points,)
    return [
        f"{limit.name} (needs {limit.needs})" if limit.needs else limit.name
        for limit in verdict.limits
        if np.any((np.broadcast_to(limit.states, points) == NOT_JUDGED) & verdict.result.solved)
    ]


class Texts:
    """Texts of many points, each text kept once."""

    def __init__(self, points: int, first: str = "") -> None:
        self.codes = np.zeros(points, dtype=np.int32)
        self.texts = [first]
        self._known = {first: 0}

    def code(self, text: str) -> int:
        """Return the code of a text."""
        if text not in self._known:
            self._known[text] = len(self.texts)
            self.texts.append(text)
        return self._known[text]

    def put(self, where, codes, texts: list[str]) -> None:
        """Take over texts that were coded elsewhere."""
        own = np.array([self.code(text) for text in texts], dtype=np.int32)
        self.codes[where] = own[codes]

    def listed(self) -> list[str]:
        """Return the text of every point."""
        return [self.texts[code] for code in self.codes.tolist()]


def joined(masks: list[np.ndarray], texts: list[str], before: str, points: int):
    """Return codes and texts that join, per point, the texts whose mask is set."""
    if not masks:
        return np.zeros(points, dtype=np.int32), [""]
    packed = np.packbits(np.array([np.broadcast_to(m, (points,)) for m in masks]), axis=0)
    patterns, codes = np.unique(packed, axis=1, return_inverse=True)
    bits = np.unpackbits(patterns, axis=0, count=len(masks)).T.astype(bool)
    words = []
    for row in bits:
        own = dict.fromkeys(text for text, is_set in zip(texts, row, strict=True) if is_set)
        words.append(before + "; ".join(own) if own else "")
    return codes.ravel(), words


def reasons(verdict: Verdict, system: str = "si"):
    """Return codes and texts of why points have no answer, without asking every point."""
    result = verdict.result
    points = result.points
    total = Texts(points)
    for block in result.blocks:
        first = np.broadcast_to(block.where, (points,)) & (total.codes == 0)
        where = np.flatnonzero(first)  # of several reasons the first is the point's own
        finding = Finding(block.where, block.reason, block.values)
        total.put(where, *_messages(finding, where, points, system))
    return total


def _messages(finding: Finding, where, points: int, system: str):
    """Return codes and texts of one finding; its numbers are rounded, so that texts are few."""
    if not finding.values or not where.size:
        return np.zeros(where.size, dtype=int), [finding.message(0, system)]
    columns, units = [], []
    for value in finding.values.values():
        numbers = np.broadcast_to(np.asarray(value.value, float), (points,))[where]
        shown, unit = quantities.show(numbers, value.quantity, system)
        columns.append(_rounded(shown))
        units.append(unit)
    rows, codes = np.unique(np.array(columns), axis=1, return_inverse=True)
    texts = [
        finding.text.format(
            **{
                name: f"{number:.{SHOWN_DIGITS}g} {unit}".rstrip()
                for name, number, unit in zip(finding.values, row, units, strict=True)
            }
        )
        for row in rows.T
    ]
    return codes.ravel(), texts


def _rounded(numbers) -> np.ndarray:
    """Round to a few significant digits."""
    size = np.abs(numbers)
    with np.errstate(divide="ignore", invalid="ignore"):
        step = 10.0 ** (np.floor(np.log10(size)) - (SHOWN_DIGITS - 1))
        rounded = np.round(numbers / step) * step
    return np.where(np.isfinite(rounded) & (size > 1e-9), rounded, 0.0)


def limit_label(limit) -> str:
    """Return a limit in words, with the unit it belongs to."""
    owner = limit.address.partition(".")[0]
    return f"{limit.name} ({owner})" if owner else limit.name
