"""What a search gives back: intervals with their edges, or one best setting."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import treatsim
from treatsim import quantities
from treatsim.notebook import html_table
from treatsim.studies.requirements import Remark, Requirement, remark_lines

DIGITS = 3  # of a setting shown to people
SAME = 1e-9  # relative; the tolerance of an edge


class Edge(NamedTuple):
    """One end of an interval: the last setting that meets everything, and what ends it."""

    value: float  # SI
    why: str
    requirement: Requirement | None  # that fails beyond, if it is one
    shown: Mapping[str, tuple[float, str]]  # results there: SI, quantity
    remark: Remark = Remark((), ())


class Interval(NamedTuple):
    """Settings that meet everything."""

    low: Edge
    high: Edge


class Nearest(NamedTuple):
    """The setting that comes nearest where nothing meets everything."""

    settings: Mapping[str, float]
    margin: float
    requirement: Requirement
    unmoved: bool = False  # the requirement stays where it is, whatever the setting


@dataclass(frozen=True)
class Range:
    """Every interval of one input that meets everything."""

    address: str
    quantity: str
    now: float | None
    now_met: bool | None
    intervals: list[Interval]
    nearest: Nearest | None
    requirements: list[Requirement]
    unjudged: tuple[str, ...]  # limits that are not judged at some of the settings
    tolerance: float  # relative, of an edge
    searched: tuple[float, float]
    now_missed: tuple[str, ...] = ()  # other limits not met where the input stands now

    @property
    def found(self) -> bool:
        """Whether any setting meets everything."""
        return bool(self.intervals)

    @property
    def smallest(self) -> float | None:
        """Smallest setting that meets everything, SI."""
        return self.intervals[0].low.value if self.found else None

    @property
    def largest(self) -> float | None:
        """Largest setting that meets everything, SI."""
        return self.intervals[-1].high.value if self.found else None

    def document(self, system: str = "si") -> dict[str, Any]:
        """Return everything as plain data."""

        def show(value):
            return None if value is None else number(value, self.quantity, system)

        return {
            "treatsim": treatsim.__version__,
            "adjust": self.address,
            "found": self.found,
            "now": show(self.now),
            "now_meets": self.now_met,
            "not_met_now": list(self.now_missed),
            "intervals": [
                {
                    side: show(edge.value)
                    | {
                        "ends_by": edge.why,
                        "address": edge.requirement and edge.requirement.address,
                        "values": {a: number(*v, system) for a, v in edge.shown.items()},
                        "not_met_there": list(edge.remark.missed),
                        "not_judged_there": list(edge.remark.unjudged),
                        "excursions": list(edge.remark.outside),
                    }
                    for side, edge in zip(("low", "high"), interval, strict=True)
                }
                for interval in self.intervals
            ],
            "nearest": self.nearest
            and nearest_document(self.nearest, {self.address: self.quantity}, system),
            "requirements": [requirement_document(r, system) for r in self.requirements],
            "not_judged": list(self.unjudged),
            "searched": [show(value) for value in self.searched],
            "tolerance": self.tolerance,
        }

    def lines(self, system: str = "si") -> list[str]:
        """Return the answer in words."""

        def show(value):
            return quantities.text(value, self.quantity, system)

        now = ""
        if self.now is not None:
            others = f"; NOT met now: {'; '.join(self.now_missed)}" if self.now_missed else ""
            now = f" (now {show(self.now)}: {'met' if self.now_met else 'NOT met'}{others})"
        if not self.intervals:
            assert self.nearest is not None
            return [
                f"{self.address}: no setting from {show(self.searched[0])} to "
                f"{show(self.searched[1])} meets everything{now}",
                *nearest_lines(self.nearest, {self.address: self.quantity}, system),
            ]
        found = []
        head = "what is judged is met" if self.unjudged else "met"
        edges = [edge for interval in self.intervals for edge in interval]
        open_ones = {edge.remark.unjudged for edge in edges}
        once = len(open_ones) == 1  # the same everywhere is said once
        for interval in self.intervals:
            ends = inward(interval.low.value, interval.high.value, self.quantity, system)
            unit = quantities.shown(self.quantity, system)[0]
            found.append(
                f"{self.address}: {head} from {ends[0].removesuffix(unit).rstrip()} to "
                f"{ends[1]}{now}"
            )
            for word, end, edge in zip(("below", "above"), ends, interval, strict=True):
                told = "".join(
                    f"; {a} {quantities.text(v, k, system)}" for a, (v, k) in edge.shown.items()
                )
                found.append(f"  {word} {end}: {edge.why}{told}")
                remark = edge.remark._replace(unjudged=()) if once else edge.remark
                found += [f"    {line}" for line in remark_lines(remark)]
        if once:
            found += [f"  {line}" for line in remark_lines(Remark((), (), *open_ones))]
        return found

    def to_pandas(self, system: str = "si"):
        """Return the intervals as a pandas DataFrame."""
        import pandas

        unit = quantities.shown(self.quantity, system)[0] or "1"
        rows = [
            [
                quantities.show(i.low.value, self.quantity, system)[0],
                i.low.why,
                quantities.show(i.high.value, self.quantity, system)[0],
                i.high.why,
            ]
            for i in self.intervals
        ]
        return pandas.DataFrame(rows, columns=[f"from [{unit}]", "below", f"to [{unit}]", "above"])

    def __str__(self) -> str:
        return "\n".join(self.lines())

    def __repr__(self) -> str:
        return _short(self)

    def _repr_html_(self) -> str:
        rows = []
        for low, high in self.intervals:
            start, end = inward(low.value, high.value, self.quantity, "si")
            rows.append([start, low.why, end, high.why])
        if not rows:
            import html

            return f"<p>{html.escape('; '.join(self.lines()))}</p>"
        return html_table(("from", "below", "to", "above"), rows, len(rows), self.address)


@dataclass(frozen=True)
class Optimum:
    """The best setting of several inputs."""

    settings: Mapping[str, float]  # SI; empty where nothing meets everything
    kinds: Mapping[str, str]  # address -> quantity, of the inputs and of the result
    sense: str  # "largest" or "smallest"
    best: str  # address of the result
    value: float | None
    binding: list[Requirement]
    at_end: list[str]  # inputs that stand at an end of their range
    nearest: Nearest | None
    tolerance: float  # relative, of the result; see `how`
    how: str
    remark: Remark

    @property
    def found(self) -> bool:
        """Whether any setting meets everything."""
        return self.value is not None

    def document(self, system: str = "si") -> dict[str, Any]:
        """Return everything as plain data."""
        return {
            "treatsim": treatsim.__version__,
            "found": self.found,
            "settings": {a: number(v, self.kinds[a], system) for a, v in self.settings.items()},
            "best": f"{self.sense} {self.best}",
            "value": None
            if self.value is None
            else number(self.value, self.kinds[self.best], system),
            "binding": [requirement_document(r, system) for r in self.binding],
            "at_end": self.at_end,
            "nearest": self.nearest and nearest_document(self.nearest, self.kinds, system),
            "tolerance": self.tolerance,
            "how": self.how,
            "not_met_there": list(self.remark.missed),
            "not_judged_there": list(self.remark.unjudged),
            "excursions": list(self.remark.outside),
        }

    def lines(self, system: str = "si") -> list[str]:
        """Return the answer in words."""
        if self.value is None:
            assert self.nearest is not None
            return [
                f"no setting of {', '.join(self.nearest.settings)} meets everything",
                *nearest_lines(self.nearest, self.kinds, system),
            ]
        value = quantities.text(self.value, self.kinds[self.best], system)
        what = "all that is judged" if self.remark.unjudged else "everything"
        found = [f"{self.sense} {self.best} that meets {what}: {value}"]
        found += [
            f"  {a} = {quantities.text(v, self.kinds[a], system, 6)}"
            for a, v in self.settings.items()
        ]
        bound = "; ".join(
            [r.name for r in self.binding] + [f"the end of the range of {a}" for a in self.at_end]
        )
        bound = bound or "nothing: the best lies inside all limits"
        found += [f"  held by: {bound}", *(f"  {line}" for line in remark_lines(self.remark))]
        return [*found, f"  tolerance {self.tolerance:.1g}: {self.how}"]

    def to_pandas(self, system: str = "si"):
        """Return settings and result as a pandas DataFrame."""
        import pandas

        return pandas.DataFrame(self._rows(system), columns=["address", "value", "unit"])

    def _rows(self, system: str = "si") -> list[list]:
        both = dict(self.settings)
        if self.value is not None:
            both[self.best] = self.value
        return [[a, *quantities.show(v, self.kinds[a], system)] for a, v in both.items()]

    def __str__(self) -> str:
        return "\n".join(self.lines())

    def __repr__(self) -> str:
        return _short(self)

    def _repr_html_(self) -> str:
        rows = [[a, f"{v:.6g}", u] for a, v, u in self._rows()]
        return html_table(
            ("address", "value", "unit"), rows, len(rows), f"{self.sense} {self.best}"
        )


def _short(found: Range | Optimum) -> str:
    """Return the heads of the answer, without what is told below them."""
    heads = [line for line in found.lines() if not line.startswith(" ")]
    return f"<{type(found).__name__}, {'; '.join(heads)}>"


def inward(low: float, high: float, quantity: str, system: str) -> tuple[str, str]:
    """Return two ends for people, rounded towards each other so that what is shown still meets.

    Three digits, or as many as keep the ends in order.
    """
    (a, unit), (b, _) = (quantities.show(end, quantity, system) for end in (low, high))
    for digits in range(DIGITS, 16):
        ends = _rounded(a, digits, math.ceil), _rounded(b, digits, math.floor)
        if ends[0] <= ends[1]:
            break
    else:
        ends = a, b
    texts = (f"{end:.{digits}g}" for end in ends)
    start, stop = (f"{float(t):.0f}" if "e+" in t and float(t) < 1e6 else t for t in texts)
    return f"{start} {unit}".rstrip(), f"{stop} {unit}".rstrip()


def _rounded(value: float, digits: int, towards) -> float:
    """Return a number rounded to some digits, up or down; what is as good as there stays."""
    if value == 0:
        return 0.0
    step = digits - 1 - math.floor(math.log10(abs(value)))
    scaled = value * 10.0**step
    whole = round(scaled)
    near = abs(scaled - whole) <= SAME * abs(scaled)
    return (whole if near else towards(scaled)) / 10.0**step


def number(value: float, quantity: str, system: str) -> dict[str, Any]:
    """Return a value with the unit shown."""
    shown, unit = quantities.show(value, quantity, system)
    return {"value": shown, "unit": unit}


def requirement_document(requirement: Requirement, system: str) -> dict[str, Any]:
    """Return a requirement as plain data."""
    shown, unit = quantities.show(requirement.limit, requirement.quantity, system)
    return {
        "name": requirement.name,
        "address": requirement.address,
        "relation": requirement.relation,
        "limit": shown,
        "unit": unit,
    }


def nearest_document(nearest: Nearest, kinds: Mapping[str, str], system: str) -> dict[str, Any]:
    """Return the nearest setting as plain data."""
    return {
        "settings": {a: number(v, kinds[a], system) for a, v in nearest.settings.items()},
        "margin": nearest.margin,
        "unmoved": nearest.unmoved,
        "binding": requirement_document(nearest.requirement, system),
    }


def nearest_lines(nearest: Nearest, kinds: Mapping[str, str], system: str) -> list[str]:
    """Say in words how near it comes."""
    at = ", ".join(
        f"{a} = {quantities.text(v, kinds[a], system, 5)}" for a, v in nearest.settings.items()
    )
    limit = quantities.text(nearest.requirement.limit, nearest.requirement.quantity, system)
    if nearest.unmoved:
        return [
            f"  {' and '.join(nearest.settings)} does not change it: {nearest.requirement.name}, "
            f"asked {nearest.requirement.relation} {limit}, is missed by "
            f"{-100 * nearest.margin:.3g} % at every setting"
        ]
    return [
        f"  nearest at {at}: {nearest.requirement.name}, asked {nearest.requirement.relation} "
        f"{limit}, is missed by {-100 * nearest.margin:.3g} %"
    ]
