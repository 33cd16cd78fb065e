"""What would help most where a limit is missed: one change at a time, each solved anew."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from treatsim import quantities
from treatsim.operations.parameters import field_problem
from treatsim.safety.verdict import NOT_MET, Verdict, judge
from treatsim.studies import remedy_cases
from treatsim.studies.remedy_cases import Setting

GRID = 25  # settings tried along one input, and again around the best of them
LONGEST = 8  # remedies told
LEAST = 1e-6  # smallest gain, as a sum of relative shortfalls, that is told


@dataclass(frozen=True)
class Remedy:
    """One change and what it does to the limits."""

    text: str
    closes: tuple[str, ...]  # limits missed before and met after
    leaves: tuple[str, ...]  # limits missed after
    shortfall: float  # sum of relative shortfalls after the change


def remedies(case, verdict: Verdict, system: str = "si") -> list[Remedy]:
    """Return single changes that help, the best first; nothing where no limit is missed."""
    if verdict.result.points != 1 or not verdict.broken[0]:
        return []
    before = float(_shortfalls(verdict)[0])
    missed = _missed(verdict, 0)
    found = []
    for change in remedy_cases.changes(case, verdict):
        tried = judge(change.case.solve())
        found.append(_remedy(change.text, tried, 0, missed))
    for setting in remedy_cases.settings(case, verdict):
        found += list(_along(case, setting, missed, system))
    useful = [remedy for remedy in found if remedy.shortfall < before - LEAST]
    return sorted(useful, key=lambda r: (len(r.leaves), r.shortfall))[:LONGEST]


def _along(case, setting: Setting, missed: set[str], system: str) -> Iterator[Remedy]:
    """Yield the smallest move along one input that gains as much as any."""
    item = case.field(setting.address)[0]
    grid = np.linspace(setting.start, setting.end, GRID)
    grid = grid[[field_problem(item, value) is None for value in grid]]
    if not grid.size:
        return
    values, tried, best = _best(case, setting.address, grid)
    if best > 0:
        fine = np.linspace(grid[best - 1], grid[best], GRID)
        values, tried, best = _best(case, setting.address, fine)
    if not tried.result.solved[best]:
        return
    shown = _beyond(float(values[best]), setting, system)
    flow = np.broadcast_to(tried.result.value("product.flow").value, values.shape)[best]
    at = quantities.text(float(flow), "flow", system, 3)
    text = setting.text.format(address=setting.address, value=shown, flow=at)
    yield _remedy(text, tried, best, missed)


def _beyond(value: float, setting: Setting, system: str) -> str:
    """Return the value to three digits, rounded away from where the input stands now."""
    number, unit = quantities.show(value, setting.quantity, system)
    if number == 0:
        return f"0 {unit}".rstrip()
    scale = 10.0 ** (np.floor(np.log10(abs(number))) - 2)
    away = np.ceil if setting.end > setting.start else np.floor
    slack = 1e-9 * np.sign(setting.end - setting.start)
    return f"{away(number / scale - slack) * scale:.4g} {unit}".rstrip()


def _best(case, address: str, grid) -> tuple[np.ndarray, Verdict, int]:
    """Return the grid, its verdict, and the first setting of the least shortfall."""
    tried = judge(case.solve({address: grid}))
    shortfall = _shortfalls(tried)
    return grid, tried, int(np.argmax(shortfall <= np.min(shortfall) + LEAST / 10))


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
        limit.name
        for limit in verdict.limits
        if np.broadcast_to(limit.states, (points,))[point] == NOT_MET
    }


def _remedy(text: str, tried: Verdict, point: int, missed: set[str]) -> Remedy:
    after = _missed(tried, point)
    shortfall = float(_shortfalls(tried)[point])
    return Remedy(text, tuple(sorted(missed - after)), tuple(sorted(after)), shortfall)
