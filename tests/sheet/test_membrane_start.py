"""The sheet of a membrane train tells the start as `startup` does, and a bad one at the top."""

from __future__ import annotations

import functools

import pytest
from command import ROOT

from treatsim import cases
from treatsim.report.membrane_text import membrane_answer
from treatsim.report.sheet import content, facts, start
from treatsim.running.ro_start import membrane_start
from treatsim.safety.verdict import judge


@functools.cache
def told(*changes: tuple[str, str]) -> tuple[facts.Facts, start.Starts]:
    case = cases.load(ROOT / "cases/sea.toml", dict(changes))
    seen = facts.Facts(case, judge(case.solve()), "si")
    return seen, start.starts_of(seen)


def text_of(seen: facts.Facts, starts: start.Starts) -> str:
    return " ".join(start.start_block(seen, starts).texts())


def test_seconds_and_litres_are_those_of_startup():
    seen, starts = told()
    found = membrane_start(seen.case)
    text = text_of(seen, starts)
    assert f"until {seen.text(found.opens, 'time')} (" in text
    assert f"({seen.text(found.made(found.opens), 'volume')})" in text
    assert start.alarms(seen, starts) == []


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ((("startup.salt_limit", "200 mg/L"),), "NEVER: the product stays at"),
        ((("startup.pump_ramp", "20 s"),), "NOT MET: gain of pressure"),
    ],
)
def test_a_start_that_is_not_met_stands_at_the_top(changes, says):
    seen, starts = told(*changes)
    top = content.answer_block(seen, starts)
    assert any(says in text for text in top.texts())
    assert any(line.startswith(says) for line in membrane_answer(membrane_start(seen.case), "si"))


def test_water_that_never_comes_under_its_limit_never_goes_to_the_tank():
    seen, starts = told(("startup.salt_limit", "200 mg/L"))
    assert "DO NOT GIVE OUT" in text_of(seen, starts)
    assert "then to the tank" not in text_of(seen, starts)
