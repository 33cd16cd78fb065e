"""A year walked in stretches side by side is the year walked from its first hour to its last."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from treatsim import cases
from treatsim.running import together
from treatsim.running.plan import Change, plan_of, scenario, walked
from treatsim.running.prepared import prepared
from treatsim.running.year import LIFTS

YEARS, MARCH = 3, 59 * 24
WARMTH = [f"{t} degC" for t in (5, 6, 8, 11, 15, 18, 20, 19, 16, 12, 8, 6)]
CASES = {
    "river": ("cases/river.toml", {}),
    "sea": ("cases/sea.toml", {}),
    "tank, water by month": ("cases/river.toml", {"by_month": {"water.temperature": WARMTH}}),
    "hours of work": ("cases/river.toml", {"schedule": "7:30 to 16:00", "night": "never"}),
}


@cache
def plan(name: str):
    path, entries = CASES[name]
    case = cases.load(path)
    operation = {**case.data["operation"], **entries}
    case = cases.interpret({**case.data, "operation": operation}, path)
    ready = prepared(case, Path(path).parent, YEARS)
    return plan_of(case, case.sections, ready.weather, ready.curve)


def sides(name: str):
    lifts = [change for change in LIFTS.values() if change.bank]
    return [scenario(plan(name), change) for change in (Change(), *lifts)]


@pytest.mark.parametrize("name", list(CASES))
@pytest.mark.parametrize("widest", [2000, 100])
def test_stretches_side_by_side_are_the_year_hour_by_hour(name, widest, monkeypatch):
    """From March on at least: how January begins is December's here, and half full there."""
    monkeypatch.setattr(together, "WIDEST", widest)
    trace, water = together.year_together(sides(name), plan(name).step)
    parts = [
        np.concatenate(rows)
        for rows in zip(*walked(sides(name), plan(name).step, 720), strict=True)
    ]
    assert_allclose(water[MARCH:], parts[1][MARCH:], rtol=1e-9, atol=1e-12)
    assert_allclose(water.sum(axis=0), parts[1].sum(axis=0), rtol=2e-3)
    for own, rows in zip(trace, parts, strict=True):
        most = np.max(np.abs(rows)) + 1e-300
        assert_allclose(own[MARCH:], rows[MARCH:, :YEARS], rtol=0, atol=1e-9 * most)


def test_a_year_begins_as_it_ends():
    """Walked once more from the charge of its last hour, the river's first days are the same."""
    own = plan("river")
    trace, _ = together.year_together(sides("river")[:1], own.step)
    side = scenario(own)
    charge = trace.stored[-1] / np.asarray(side.bank.capacity)
    level = trace.level[-1]
    again = side._replace(first=charge, tank=side.tank._replace(first=level))
    piece = next(iter(walked([again], own.step, 0)))
    running = trace.train[-1] > 0
    assert not running.any(), "else the first hour would go on, not start"
    assert_allclose(piece.stored, trace.stored[: len(piece.stored)], rtol=1e-9)


def test_without_bounds_nothing_is_lost():
    """All light becomes water or is still stored, as the same scenario walked hour by hour."""
    free = [scenario(plan("river"), change) for change in LIFTS.values() if not change.bank]
    water, more = together.without_bounds(free, plan("river").step, 720)
    parts = [
        np.concatenate(rows) for rows in zip(*walked(free, plan("river").step, 720), strict=True)
    ]
    assert_allclose(water, parts[1], rtol=1e-9, atol=1e-12)
    sun = np.concatenate([side.sun for side in free], axis=1).sum(axis=0) * plan("river").step
    used = parts[5].sum(axis=0) * plan("river").step
    assert_allclose(more, sun - used, rtol=0, atol=1e-9 * sun.max())


@pytest.mark.parametrize(
    ("days", "lanes", "parts"), [(365, 5, 73), (365, 100, 5), (365, 3000, 1), (31, 5, 1), (7, 1, 1)]
)
def test_parts_are_whole_days_and_no_more_than_serve(days, lanes, parts):
    assert together.parts_of(days, lanes) == parts
