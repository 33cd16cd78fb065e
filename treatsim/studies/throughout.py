"""Requirements that must hold at several conditions at once, such as a cold and a warm day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from treatsim import quantities
from treatsim.errors import RequestError
from treatsim.studies.points import Texts
from treatsim.studies.requirements import Evaluation, Remark, Target, evaluate, remark_at
from treatsim.studies.vary import axes_of, grid_of

MOST = 24  # conditions at once


@dataclass(frozen=True)
class Conditions:
    """Values of inputs that are not adjusted; every combination counts."""

    labels: tuple[str, ...] = ("",)
    arrays: Mapping[str, np.ndarray] | None = None
    most: bool = False  # whether of results shown the most counts, not the least

    @property
    def count(self) -> int:
        """Number of conditions."""
        return len(self.labels)

    def evaluate(
        self,
        case,
        arrays: Mapping[str, np.ndarray],
        points: int,
        wanted: Sequence[Target],
        shown: Sequence[str] = (),
    ) -> Evaluation:
        """Return margins of every requirement at every condition; the worst of results shown."""
        if self.arrays is None:
            return evaluate(case, arrays, points, wanted, shown)
        parts = []
        for n in range(self.count):  # each alone: what is measured of a sea is measured at its own
            here = {a: np.full(points, float(v[n])) for a, v in self.arrays.items()}
            parts.append(evaluate(case, {**arrays, **here}, points, wanted, shown))
        return self._folded(parts, points)

    def remark(self, case, settings: Mapping[str, float]) -> Remark:
        """Return what else is to be told about one setting, at whichever condition."""
        if self.arrays is None:
            return remark_at(case, settings)
        found = [
            remark_at(case, {**settings, **{a: float(v[n]) for a, v in self.arrays.items()}})
            for n in range(self.count)
        ]
        return Remark(*(tuple(dict.fromkeys(t for r in found for t in r[i])) for i in range(3)))

    def _folded(self, parts: Sequence[Evaluation], points: int) -> Evaluation:
        """Join the conditions: each requirement once for each; answers where all have one."""
        names = list(dict.fromkeys(one.name for part in parts for one in part.requirements))
        requirements, rows = [], []
        for name in names:
            for part, label in zip(parts, self.labels, strict=True):
                own = [n for n, one in enumerate(part.requirements) if one.name == name]
                known = next(one for p in parts for one in p.requirements if one.name == name)
                requirements.append(known._replace(name=f"{name}, at {label}"))
                # a limit that does not arise at a condition is kept there
                rows.append(part.margins[own[0]] if own else np.full(points, np.inf))
        answered = np.asarray(np.all([part.answered for part in parts], axis=0))
        why = Texts(points)
        for part in reversed(parts):  # of several reasons the first condition's
            silent = np.flatnonzero(~part.answered)
            if silent.size:
                why.put(silent, part.reasons.codes[silent], part.reasons.texts)
        worst = np.max if self.most else np.min
        shown = {
            a: np.asarray(worst([part.shown[a] for part in parts], axis=0)) for a in parts[0].shown
        }
        return Evaluation(
            requirements,
            np.where(answered, np.array(rows).reshape(len(rows), points), np.nan),
            answered,
            why,
            shown,
            {a: kind for part in parts for a, kind in part.quantities.items()},
            tuple(dict.fromkeys(text for part in parts for text in part.unjudged)),
        )


def conditions_of(case, texts: Sequence[str], adjusted: Sequence[str]) -> Conditions:
    """Return the conditions of texts such as "water.temperature=12 degC,30 degC".

    Parameters
    ----------
    case : Case
        The case.
    texts : sequence of str
        ADDRESS=a,b,c or ADDRESS=FROM:TO:COUNT; every combination counts.
    adjusted : sequence of str
        Addresses that are searched over, which cannot be conditions.

    Returns
    -------
    Conditions
        One label and one value of each input per combination.
    """
    if not texts:
        return Conditions()
    grid = grid_of(case, axes_of(texts, "--throughout"))
    for one in grid.axes:
        if one.address in adjusted:
            raise RequestError(f"--throughout: {one.address} is what is adjusted")
        if one.grouped:
            raise RequestError(
                f"--throughout: {one.address} makes another case; find it with --set for each value"
            )
    if grid.points > MOST:
        raise RequestError(f"--throughout: {grid.points} conditions; at most {MOST} at once")
    arrays = grid.arrays(np.arange(grid.points))
    kinds = {one.address: one.quantity for one in grid.axes}
    labels = tuple(
        " and ".join(
            f"{address} = {quantities.text(float(values[n]), kinds[address])}"
            for address, values in arrays.items()
        )
        for n in range(grid.points)
    )
    return Conditions(labels, arrays)
