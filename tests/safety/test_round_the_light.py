"""Water led round the light has no dose: what is drunk decides, not what the reactor gives."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from treatsim import cases
from treatsim.safety.verdict import judge

TEXT = Path("cases/river.toml").read_text("utf-8")
LINE = next(row for row in TEXT.splitlines() if row.startswith("links = "))
TEES = """
[units.split]
kind = "dividing_tee"
fraction = "{share} %"
[units.mix]
kind = "combining_tee"
"""
VALVE = '[units.valve]\nkind = "throttle_valve"\n'
NAME = "share of the product that has passed the light"


def verdict(links: str, more: str = "", drop: str = ""):
    text = TEXT.replace(LINE, f"links = [{links}]") + more
    kept = "\n".join(row for row in text.splitlines() if not (drop and row.startswith(drop)))
    return judge(cases.interpret(tomllib.loads(kept), "river").solve())


def limit(found):
    return next((one for one in found.limits if one.name == NAME), None)


BLEND = (
    '"strainer > lift_pump > hose > split", "split.run > bags > cartridges > uv > mix.run", '
    '"split.branch > valve > mix.branch", "mix > tank"'
)


@pytest.mark.parametrize("share", [1, 5, 20])
def test_raw_water_blended_in_is_not_met_and_its_share_is_told(share):
    found = verdict(BLEND, TEES.format(share=share) + VALVE)
    one = limit(found)
    assert found.state() == "not_met"
    assert one.state() == "not_met"
    assert np.ravel(one.value)[0] == pytest.approx(1 - share / 100, rel=1e-6)


def test_a_line_in_which_all_passes_the_light_has_no_such_limit():
    assert limit(judge(cases.load("cases/river.toml").solve())) is None


def test_a_drain_ahead_of_the_light_leads_nothing_round_it():
    links = (
        '"strainer > lift_pump > hose > split", "split.run > bags > cartridges > uv > tank", '
        '"split.branch > valve > drain"'
    )
    tees = TEES.format(share=5).partition("[units.mix]")[0]
    assert limit(verdict(links, tees + VALVE)) is None


def test_without_a_dose_asked_for_nothing_is_held_against_it():
    found = verdict(BLEND, TEES.format(share=5) + VALVE, drop="target = ")
    assert limit(found) is None
    assert found.state() == "not_judged"
