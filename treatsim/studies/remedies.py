"""What would help most where a limit is missed: one change at a time, each solved anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from treatsim import quantities
from treatsim.operations.parameters import field_problem
from treatsim.safety.verdict import NOT_MET, Verdict, judge
from treatsim.studies import remedy_cases
from treatsim.studies.remedy_cases import Setting

GRID = 25  # settings tried along one input, and again around the best of them
LONGEST = 8  # remedies told
LEAST = 1e-6  # smallest gain, as a sum of relative shortfalls, that is told
WORTH = (
    0.3  # share of that sum that a change takes which meets no limit; common practice, no source
)


@dataclass(frozen=True)
class Remedy:
    """One change and what it does to the limits."""

    text: str
    closes: tuple[str, ...]  # limits missed before and met after
    leaves: tuple[str, ...]  # limits missed after
    shortfall: float  # sum of relative shortfalls after the change


def remedies(case, verdict: Verdict, system: str = "si") -> list[Remedy]:
    """Return single changes that help, the best first; nothing where no limit is missed.

    What meets no limit and moves little is left out: it would send people to the wrong valve. So is
    what only misses others in their place.
    """
    if verdict.result.points != 1 or not verdict.broken[0]:
        return []
    before = float(_shortfalls(verdict)[0])
    missed = _missed(verdict, 0)
    found = []
    for change in remedy_cases.changes(case, verdict):
        tried = judge(change.case.solve())
        found.append(_remedy(change.text, tried, 0, missed))
    found += _moved(case, list(remedy_cases.settings(case, verdict)), missed, system)
    useful = [
        remedy
        for remedy in found
        if remedy.shortfall < before - LEAST
        and (remedy.closes or remedy.shortfall <= (1 - WORTH) * before)
        and (missed.issuperset(remedy.leaves) or len(remedy.leaves) < len(missed))
    ]
    return sorted(useful, key=lambda r: (len(r.leaves), r.shortfall))[:LONGEST]


def _moved(case, settings: list[Setting], missed: set[str], system: str) -> list[Remedy]:
    """Return the smallest move along each input that gains as much as any.

    All inputs are tried in one solve, and all again around their best in a second.
    """
    grids = [(setting, grid) for setting in settings if (grid := _grid(case, setting)).size]
    if not grids:
        return []
    coarse = _tried(case, grids)
    near = [(t.setting, np.linspace(t.values[t.best - 1], t.values[t.best], GRID))
            for t in coarse if t.best]  # fmt: skip
    closer = iter(_tried(case, near) if near else ())
    found = [next(closer) if tried.best else tried for tried in coarse]
    return [
        t.remedy(missed, system)
        for t in found
        if t.verdict.result.solved[t.point] and t.values[t.best] != t.setting.start
    ]


def _grid(case, setting: Setting) -> np.ndarray:
    """Return the settings of an input that may be tried."""
    item = case.field(setting.address)[0]
    grid = np.linspace(setting.start, setting.end, GRID)
    return grid[[field_problem(item, value) is None for value in grid]]


class Tried(NamedTuple):
    """One input over its settings, among those of others."""

    setting: Setting
    values: np.ndarray
    verdict: Verdict  # of all inputs
    first: int  # its first point there
    best: int  # first setting of the least shortfall

    @property
    def point(self) -> int:
        """Place of the best setting among all points."""
        return self.first + self.best

    def remedy(self, missed: set[str], system: str) -> Remedy:
        """Return the move to the best setting."""
        result = self.verdict.result
        shown = _beyond(float(self.values[self.best]), self.setting, system)
        flow = np.broadcast_to(result.value("product.flow").value, (result.points,))[self.point]
        text = self.setting.text.format(
            address=self.setting.address,
            value=shown,
            flow=quantities.text(float(flow), "flow", system, 3),
        )
        return _remedy(text, self.verdict, self.point, missed)


def _tried(case, grids: list[tuple[Setting, np.ndarray]]) -> list[Tried]:
    """Solve every input over its settings, the others where they stand."""
    ends = np.cumsum([values.size for _, values in grids])
    arrays = {setting.address: np.full(ends[-1], setting.start) for setting, _ in grids}
    firsts = [int(end - values.size) for end, (_, values) in zip(ends, grids, strict=True)]
    for first, (setting, values) in zip(firsts, grids, strict=True):
        arrays[setting.address][first : first + values.size] = values
    verdict = judge(case.solve(arrays))
    shortfalls = _shortfalls(verdict)
    found = []
    for first, (setting, values) in zip(firsts, grids, strict=True):
        own = shortfalls[first : first + values.size]
        best = int(np.argmax(own <= np.min(own) + LEAST / 10))
        found.append(Tried(setting, values, verdict, first, best))
    return found


def _beyond(value: float, setting: Setting, system: str) -> str:
    """Return the value to three digits, rounded away from where the input stands now."""
    number, unit = quantities.show(value, setting.quantity, system)
    if number == 0:
        return f"0 {unit}".rstrip()
    scale = 10.0 ** (np.floor(np.log10(abs(number))) - 2)
    away = np.ceil if setting.end > setting.start else np.floor
    slack = 1e-9 * np.sign(setting.end - setting.start)
    return f"{away(number / scale - slack) * scale:.4g} {unit}".rstrip()


def _shortfalls(verdict: Verdict) -> np.ndarray:
    """Return the sum of relative shortfalls over all limits, per point; infinite if unsolved."""
    solved = verdict.result.solved
    total = np.zeros(solved.shape)
    for limit in verdict.limits:
        missed = np.where(limit.states == NOT_MET, -np.asarray(limit.margin, float), 0.0)
        total = total + np.broadcast_to(np.maximum(missed, 0.0), solved.shape)
    return np.where(solved & ~np.isnan(total), total, np.inf)


def _missed(verdict: Verdict, point: int) -> set[str]:
    points = verdict.result.points
    return {
        limit.full_name
        for limit in verdict.limits
        if np.broadcast_to(limit.states, (points,))[point] == NOT_MET
    }


def _remedy(text: str, tried: Verdict, point: int, missed: set[str]) -> Remedy:
    after = _missed(tried, point)
    shortfall = float(_shortfalls(tried)[point])
    return Remedy(text, tuple(sorted(missed - after)), tuple(sorted(after)), shortfall)
