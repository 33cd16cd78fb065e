"""Each requirement by itself: how far one setting may go before it, and what that gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

import treatsim
from treatsim import quantities
from treatsim.errors import NoSolutionError
from treatsim.numerics import find_roots
from treatsim.safety.verdict import judge
from treatsim.studies.line import Line
from treatsim.studies.requirements import MET, Evaluation, Requirement, Target
from treatsim.studies.throughout import Conditions

TOLD = ("recovery", "dose_given")  # of units, beside the product
TOLERANCE = 1e-6  # relative, of a setting


class Rung(NamedTuple):
    """Where one requirement ends, seen from its good side."""

    requirement: Requirement
    low: float | None  # SI; None where no setting meets it
    high: float | None
    at_low: dict[str, float]  # results there, SI
    at_high: dict[str, float]


@dataclass(frozen=True)
class Ladder:
    """One rung for each requirement, the first to bind first."""

    address: str
    quantity: str
    rungs: list[Rung]
    kinds: dict[str, str]  # of the results told
    searched: tuple[float, float]  # settings with an answer
    unjudged: tuple[str, ...]

    @property
    def found(self) -> bool:
        """Whether every requirement is met by some setting of its own."""
        return all(rung.low is not None for rung in self.rungs)

    def document(self, system: str = "si") -> dict[str, Any]:
        """Return everything as plain data."""

        def show(value, kind):
            if value is None:
                return None
            number, unit = quantities.show(value, kind, system)
            return {"value": float(number), "unit": unit}

        return {
            "treatsim": treatsim.__version__,
            "adjust": self.address,
            "found": self.found,
            "searched": [show(value, self.quantity) for value in self.searched],
            "requirements": [
                {
                    "requirement": rung.requirement.name,
                    "address": rung.requirement.address,
                    **{
                        side: value is not None
                        and show(value, self.quantity)
                        | {"results": {a: show(v, self.kinds[a]) for a, v in told.items()}}
                        for side, value, told in (
                            ("low", rung.low, rung.at_low), ("high", rung.high, rung.at_high)
                        )
                    },
                }
                for rung in self.rungs
            ],
            "not_judged": list(self.unjudged),
        }  # fmt: skip

    def lines(self, system: str = "si") -> list[str]:
        """Return the answer in words."""

        def show(value):
            return quantities.text(value, self.quantity, system)

        span = f"{show(self.searched[0])} to {show(self.searched[1])}"
        found = [f"{self.address}: how far before each by itself; answers from {span}"]
        for rung in self.rungs:
            name = rung.requirement.name
            if rung.low is None or rung.high is None:
                found.append(f"  {name}: met nowhere")
                continue
            ends = zip((rung.low, rung.high), self.searched, strict=True)
            free = [bool(np.isclose(end, limit, rtol=1e-6)) for end, limit in ends]
            if all(free):
                found.append(f"  {name}: met throughout")
                continue
            parts = []
            for word, value, told, open_end in (
                ("from", rung.low, rung.at_low, free[0]), ("to", rung.high, rung.at_high, free[1])
            ):  # fmt: skip
                if not open_end:
                    results = "; ".join(
                        f"{a} {quantities.text(v, self.kinds[a], system)}" for a, v in told.items()
                    )
                    parts.append(f"{word} {show(value)} ({results})")
            found.append(f"  {name}: met {' '.join(parts)}")
        if self.unjudged:
            found.append(f"  not judged: {'; '.join(self.unjudged)}")
        return found


def ladder(case, address: str, wanted: Sequence[Target], conditions: Conditions) -> Ladder:
    """Return how far one setting may go before each requirement by itself.

    Parameters
    ----------
    case : Case
        The case.
    address : str
        Input to be set; not a whole number.
    wanted : sequence of Target
        What is asked; none means every limit of the case.
    conditions : Conditions
        At which each must hold; the least of the results is told.

    Returns
    -------
    Ladder
        Of each requirement the outermost settings that meet it, refined where it ends.

    Raises
    ------
    NoSolutionError
        No setting has an operating point at all.
    """
    line = Line(case, address, wanted, conditions)
    values = judge(case.solve()).values
    line.shown += [a for a in values if a.count(".") == 1 and a.rpartition(".")[2] in TOLD]
    line.shown += [a for a in ("product.boron",) if a in values]
    x, _, _ = line.scan()
    seen = line.evaluate(x)
    if not np.any(seen.answered):
        raise NoSolutionError(f"no setting of {address} has an operating point")
    count = conditions.count
    groups = [list(range(n, n + count)) for n in range(0, len(seen.requirements), count)]
    ends = [_ends(x, seen, rows) for rows in groups]
    edges = _refined(line, [end for pair in ends if pair for end in pair if end.beyond is not None])
    rungs = [_rung(seen, rows, pair, edges) for rows, pair in zip(groups, ends, strict=True)]
    rungs.sort(key=lambda rung: -1.0 if rung.high is None else rung.high)
    inside = x[seen.answered]
    searched = float(inside[0]), float(inside[-1])
    return Ladder(address, line.kind, rungs, seen.quantities, searched, seen.unjudged)


class _End(NamedTuple):
    """Outermost scanned setting that meets one requirement, and what ends it."""

    value: float
    beyond: float | None  # the next setting, where there is an answer that misses it
    rows: tuple[int, ...]  # of the requirement, by condition
    row: int  # of the condition that ends it
    shown: tuple[tuple[str, float], ...]


def _ends(x, seen: Evaluation, rows: list[int]) -> tuple[_End, _End] | None:
    """Both ends of what meets one requirement; None where nothing does."""
    margin = np.min(seen.margins[rows], axis=0)
    places = np.flatnonzero(seen.answered & (margin >= MET))
    if not places.size:
        return None
    found = []
    for place, step in ((int(places[0]), -1), (int(places[-1]), 1)):
        beyond = place + step
        answered = bool(0 <= beyond < x.size and seen.answered[beyond])
        row = rows[int(np.argmin(seen.margins[rows, beyond if answered else place]))]
        shown = tuple((a, float(values[place])) for a, values in seen.shown.items())
        out = float(x[beyond]) if answered else None
        found.append(_End(float(x[place]), out, tuple(rows), row, shown))
    return found[0], found[1]


def _refined(line: Line, ends: list[_End]) -> dict[_End, tuple[float, dict[str, float]]]:
    """The settings at which requirements pass from met to not met, all at once."""
    if not ends:
        return {}
    rows = np.array([end.rows for end in ends])
    inside = np.array([end.value for end in ends])
    outside = np.array([end.beyond for end in ends], float)

    def margin(values, index):
        found = line.evaluate(values)
        own = found.margins[rows[index].T, np.arange(len(values))]
        worst = np.min(own, axis=0)
        return np.where(np.isnan(worst), -1.0, worst)

    low, high = np.minimum(inside, outside), np.maximum(inside, outside)
    root = find_roots(margin, 0.5 * (low + high), low, high, rtol=TOLERANCE).x
    shown = line.evaluate(root).shown
    return {
        end: (float(root[n]), {a: float(values[n]) for a, values in shown.items()})
        for n, end in enumerate(ends)
    }


def _rung(seen: Evaluation, rows: list[int], pair, edges) -> Rung:
    """One rung from its two ends."""
    if pair is None:
        worst = np.nanmax(np.where(seen.answered, seen.margins[rows], np.nan), axis=1)
        return Rung(seen.requirements[rows[int(np.argmin(worst))]], None, None, {}, {})
    low, high = (edges.get(end, (end.value, dict(end.shown))) for end in pair)
    row = pair[1].row if pair[1].beyond is not None else pair[0].row
    return Rung(seen.requirements[row], low[0], high[0], low[1], high[1])
