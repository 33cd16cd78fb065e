"""The train solved anew at the ends of its filters' lives: flow, power, dose and every limit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np

from treatsim.operations.outcome import at
from treatsim.running.filter_line import FULL_SPEED, TEMPERATURE
from treatsim.running.forecast import Forecast
from treatsim.running.spares import Plan
from treatsim.safety.verdict import judge

HELD = ("captured_mass", "pressure_drop")  # of a filter: its own end of life, known to come


class Moment(NamedTuple):
    """The train at one state of its filters."""

    words: str
    temperature: float  # K
    flow: float  # m3/s
    specific: float  # J/m3, all consumers
    setting: float | None  # of what a hold moves
    reason: str  # why there is no answer, or ""


class Kept(NamedTuple):
    """A limit at both ends of the filters' lives."""

    name: str
    quantity: str
    relation: str
    limit: float
    values: tuple[float, ...]  # at each moment; nan without an answer
    states: tuple[str, ...]
    group: str

    @property
    def worst(self) -> str:
        """Return the worst of the states."""
        order = ("not_met", "not_judged", "waived", "met")
        return min(self.states, key=order.index)


def moments(case: Any, plan: Plan, told: Forecast) -> tuple[list[Moment], list[Kept]]:
    """Return the train with fresh elements and just before their change, and all other limits.

    In the warmest and the coldest water of the months; every state is solved by the flowsheet.
    """
    warm = plan.rules.temperature
    ends = [float(warm.max()), float(warm.min())] if plan.line.warm else [float(warm[0])]
    mass = {row.name: row.mass for row in told.filters}
    words: list[str] = []
    addresses = (TEMPERATURE, *(f"{name}.captured_mass" for name in mass))
    arrays: dict[str, list[float]] = {address: [] for address in addresses}
    for temperature in ends:
        for full, word in ((0.0, "fresh elements"), (1.0, "before a change")):
            words.append(word)
            arrays[TEMPERATURE].append(temperature)
            for g, name in enumerate(plan.line.filters.names):
                stated = float(plan.line.filters.capacity[g])
                arrays[f"{name}.captured_mass"].append(full * min(mass[name], stated))
    points = {name: np.array(values) for name, values in arrays.items()}
    result = case.solve(points)
    moved = case.holds[0].adjust if case.holds else ""
    if case.holds and not np.all(result.solved):
        full_speed = case.changed(holds=()).solve(points | {moved: np.full(len(words), FULL_SPEED)})
        if np.all(full_speed.solved):  # the pump cannot hold the flow any more
            result = full_speed
    verdict = judge(result)
    found = [_moment(result, n, word, points, moved) for n, word in enumerate(words)]
    return found, [_kept(limit, verdict, len(words)) for limit in verdict.limits
                   if not _own(limit, mass)]  # fmt: skip


def _own(limit: Any, filters: Mapping[str, float]) -> bool:
    unit, _, key = limit.address.partition(".")
    return unit in filters and key in HELD


def _moment(result: Any, n: int, word: str, points: Mapping[str, Any], moved: str) -> Moment:
    warm = float(points[TEMPERATURE][n])
    if not result.solved[n]:
        return Moment(word, warm, np.nan, np.nan, None, result.reason(n))
    setting = float(at(result.value(moved).value, n)) if moved in result.values else None
    return Moment(
        word,
        warm,
        float(at(result.value("product.flow").value, n)),
        float(at(result.value("energy.specific").value, n)),
        setting,
        "",
    )


def _kept(limit: Any, verdict: Any, count: int) -> Kept:
    values = np.broadcast_to(np.asarray(limit.value, float), count)
    return Kept(
        limit.name,
        limit.quantity,
        limit.relation,
        float(np.max(limit.limit)),
        tuple(float(v) for v in values),
        tuple(limit.state(n) for n in range(count)),
        limit.group,
    )
