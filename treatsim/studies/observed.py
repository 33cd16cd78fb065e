"""A train seen at many settings of its dials: limits, answers, and where there is none."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from treatsim.arrays import Array, Flags
from treatsim.numerics import even_points
from treatsim.operations.composed import Composed, span_of
from treatsim.operations.outcome import ROUND_OFF, Value
from treatsim.safety.verdict import Verdict, judge
from treatsim.studies.dials import Dial
from treatsim.studies.thrift import Thrift

EXPECTED = 40_000  # points a page takes, roughly
STRETCH = 1.6  # of half the points, so that many lie on faces and edges of the box


def quiet(done: int, total: int) -> None:
    """Take no notice."""


@dataclass
class Observer:
    """Solves a case at settings of its dials, and keeps what it saw of the states."""

    case: Any
    limits: tuple[tuple[str, str], ...]  # name and address of each limit
    answers: tuple[str, ...]  # addresses of results
    fixed: Mapping[str, float]  # dials, as stated in the case
    progress: Callable[[int, int], None]
    thrift: Thrift
    composed: Mapping[str, Composed] = field(default_factory=dict)  # number -> how it is made
    solved: int = 0  # operating points so far
    unjudged: set[int] = field(default_factory=set)  # limits not judged at some point
    judged: set[int] = field(default_factory=set)  # limits judged at some point
    asked: Mapping[str, Array] = field(default_factory=dict)  # settings asked for last
    seen: Verdict = field(init=False)  # what they amounted to
    mismade: set[str] = field(default_factory=set)  # numbers that their tree did not give somewhere

    def verdict(self, points: Mapping[str, Array]) -> Verdict:
        """Return the judged train at points; dials left out stand as in the case."""
        count = max(np.size(value) for value in points.values())
        given = {name: np.full(count, now) for name, now in self.fixed.items()} | dict(points)
        self.solved += count
        self.progress(self.solved, max(self.solved, EXPECTED))
        self.asked, self.seen = given, judge(self.case.solve(given))
        return self.seen

    def look(
        self, points: Mapping[str, Array], more: Sequence[str] = (), *, whole: bool = True
    ) -> dict[str, Array]:
        """Return every value and limit, and `more`; NaN without an answer. [SI]

        whole: answers and what composed numbers read too, and whether their trees give them.
        """
        verdict = self.verdict(points)
        shape, good = (verdict.result.points,), verdict.result.solved
        by_key = {(limit.name, limit.address): limit for limit in verdict.limits}
        found: dict[str, Array] = {}
        for number, key in enumerate(self.limits):
            limit = by_key.get(key)
            known = limit is not None and not np.all(np.isnan(np.asarray(limit.value, float)))
            if limit is None or not known:
                self.unjudged.add(number)
                continue
            value = np.broadcast_to(np.asarray(limit.value, float), shape)
            told = np.broadcast_to(np.asarray(limit.judged, bool), shape) & ~np.isnan(value)
            if np.any(good & ~told):
                self.unjudged.add(number)
            if np.any(good & told):
                self.judged.add(number)
            found[value_of(number)] = np.where(good, value, np.nan)
            asked = np.broadcast_to(np.asarray(limit.limit, float), shape)
            found[limit_of(number)] = np.where(good, asked, np.nan)
        reads = self.reads(verdict)
        for name in {*more, *((*self.answers, *reads) if whole else ())} - set(found):
            value = np.asarray((reads[name] if name in reads else verdict.value(name)).value, float)
            found[name] = np.where(good, np.broadcast_to(value, shape), np.nan)
        found[GOOD] = good.astype(float)
        if whole:
            self._compare(found, good)
        return found

    def reads(self, verdict: Verdict) -> dict[str, Value]:
        """Return what composed numbers read, by name."""
        made = (verdict.composed.get(self._made_as(name)) for name in self.composed)
        return {name: read for one in made if one for name, read in one.reads.items()}

    def makes(self, name: str) -> bool:
        """Tell whether a number is composed, and its tree gave it at every point seen."""
        return name in self.composed and name not in self.mismade

    def _made_as(self, name: str) -> str:
        """Return the address under which a number tells how it is made."""
        kind, number = name.partition(" ")[::2]
        if not number.isdecimal():
            return name
        address = self.limits[int(number)][1]
        return address if kind == "value" else f"{address} limit"

    def made(self, verdict: Verdict) -> dict[str, Composed]:
        """Return how values, limits and answers are made, of those that tell."""
        limits = range(len(self.limits))
        names = [*map(value_of, limits), *map(limit_of, limits), *self.answers]
        found = {name: verdict.composed.get(self._made_as(name)) for name in names}
        return {name: one for name, one in found.items() if one and one.reads}

    def _compare(self, found: Mapping[str, Array], good: Flags) -> None:
        """Note the numbers that their tree does not give."""
        for name, one in self.composed.items():
            known = name in found and all(read in found for read in one.reads)
            if not known:
                self.mismade.add(name)
                continue
            rows = {read: found[read][good] for read in one.reads}
            low, _ = span_of(one.tree, {read: (row, row) for read, row in rows.items()})
            truth = found[name][good]
            if not np.all(np.abs(low - truth) <= ROUND_OFF * np.maximum(np.abs(truth), 1e-6)):
                self.mismade.add(name)


GOOD = "solved"


def value_of(number: int) -> str:
    """Return the name under which the value of a limit is carried."""
    return f"value {number}"


def limit_of(number: int) -> str:
    """Return the name under which what a limit asks is carried."""
    return f"limit {number}"


def spread_points(dials: Sequence[Dial], count: int, skip: int = 0) -> dict[str, Array]:
    """Return points inside the box of the dials, half of them pushed towards its faces.

    Parameters
    ----------
    dials : sequence of Dial
        Ranges. [SI]
    count, skip : int
        Points, and how many of the same row are left out before them. [1]

    Returns
    -------
    dict
        Address -> values, shape (count,). [SI]

    Validity
    --------
    The same points each time; other points where `skip` differs by `count` or more.

    Source
    ------
    additive recurrence (Weyl), definition.
    """
    share = even_points(len(dials), skip + count)[skip:]
    share[1::2] = np.clip(0.5 + STRETCH * (share[1::2] - 0.5), 0.0, 1.0)
    return {
        dial.address: dial.low + (dial.high - dial.low) * share[:, axis]
        for axis, dial in enumerate(dials)
    }
