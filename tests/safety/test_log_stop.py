"""What a log stopped is a limit that no setting meets."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from treatsim import cases, judge

WELL = Path("cases/worn_well.toml")
LINES = ["ro: O-ring suspected", "the last 2 rows {are} left out"]


@pytest.fixture
def stopped(tmp_path):
    path = tmp_path / "case.toml"
    listed = ", ".join(f'"{line}"' for line in LINES)
    text = WELL.read_text("utf-8").replace("[logbook]\n", f"[logbook]\nstop = [{listed}]\n")
    path.write_text(text, "utf-8")
    return cases.load(path)


def test_each_line_is_a_limit_not_met_at_every_setting(stopped):
    verdict = judge(stopped.solve({"high_pressure_pump.outlet_pressure": np.array([10e5, 14e5])}))
    own = [limit for limit in verdict.limits if limit.address == "logbook.checked"]
    assert [limit.name for limit in own] == [f"by its log: {line}" for line in LINES]
    assert all(limit.state(point) == "not_met" for limit in own for point in (0, 1))
    assert {limit.group for limit in own} == {"duty"}  # what people rely on is never waived
    assert verdict.broken.all()
    assert not verdict.meets.any()


def test_without_a_stop_nothing_is_added():
    limits = judge(cases.load(WELL).solve()).limits
    assert not any(limit.address == "logbook.checked" for limit in limits)
