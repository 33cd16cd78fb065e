"""Judging changes nothing, answers twice the same, can be sent elsewhere, and says its states."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from plant import ROOT

import treatsim
from treatsim import cases
from treatsim.case_text import line_numbers, parse
from treatsim.errors import CaseError
from treatsim.operations.outcome import STATES, Limit, unjudged
from treatsim.safety.verdict import judge

FOLDER = ROOT / "cases"


def river(extra: str = "", **changes: str):
    text = (FOLDER / "river.toml").read_text("utf-8") + extra
    settings = {key.replace("__", "."): value for key, value in changes.items()}
    return cases.interpret(parse(text, "river"), "river.toml", line_numbers(text), settings)


def test_judging_twice_gives_the_same():
    result = river().solve()
    before = sorted(result.values)
    one, two = judge(result), judge(result)
    assert [limit.name for limit in one.limits] == [limit.name for limit in two.limits]
    assert sorted(one.values) == sorted(two.values)
    assert sorted(result.values) == before
    assert one.told() == two.told()


def test_who_reuses_the_array_changes_nothing():
    speeds = np.array([0.6, 0.74])
    result = river().solve({"lift_pump.speed": speeds})
    before = np.array(result.value("lift_pump.power").value)
    speeds[:] = 1.0
    assert_array_equal(result.value("lift_pump.power").value, before)
    assert_array_equal(result.sheet.units["lift_pump"].parameters.speed, [0.6, 0.74])


@pytest.mark.parametrize("name", ["river", "sea"])
def test_a_result_can_be_sent_elsewhere(name):
    case = cases.load(FOLDER / f"{name}.toml")
    point = treatsim.solve(case)
    again = pickle.loads(pickle.dumps(point))
    assert again.state == point.state
    assert sorted(again.verdict.values) == sorted(point.verdict.values)
    for address in ("product.flow", "energy.specific"):
        assert again[address] == point[address]
    result = pickle.loads(pickle.dumps(case.solve()))
    assert judge(result).state() == point.state


# states


def limit(value, **more) -> Limit:
    return Limit("head", "pump.head", value, ">=", 3.0, "head", "stated", **more)


def test_states_of_a_limit():
    rows = [
        (limit(3.0), "met"),
        (limit(2.9), "not_met"),
        (limit(np.nan), "not_judged"),
        (limit(3.1, judged=False), "not_judged"),
        (limit(2.9, waived="a spare is at hand"), "waived"),
        (unjudged("germs", "health.target"), "not_judged"),
    ]
    assert [row.state() for row, _ in rows] == [state for _, state in rows]
    assert {state for _, state in rows} == set(STATES)


def test_a_number_that_is_none_is_never_met():
    assert not np.any(limit(np.array([np.nan, np.nan])).meets)


def test_a_point_is_met_only_if_everything_is_judged_and_met():
    chlorinated = judge(cases.load(FOLDER / "river_chlorine.toml").solve())
    assert chlorinated.state() == "met"
    plain = judge(river().solve())
    assert plain.state() == "not_judged"
    assert not plain.meets[0]
    assert {limit.needs for limit in plain.of_state("not_judged")} >= {"health.target"}
    fast = judge(river(lift_pump__speed="110 %").solve())
    assert fast.state() == "not_met"
    none = judge(river(lift_pump__speed="20 %").solve())
    assert none.state() == "no_answer"
    assert not none.meets[0]


def test_a_trickle_is_no_operating_point():
    speed = river().solve().sheet.units["lift_pump"].parameters.speed
    low = judge(river(lift_pump__speed="39.75 %").solve())
    assert low.state() == "no_answer"
    assert "1 % of the rated flow" in low.result.reason()
    assert speed == pytest.approx(0.74)


def test_a_survey_not_done_is_not_met():
    text = (FOLDER / "river_chlorine.toml").read_text("utf-8")
    case = cases.interpret(
        parse(text, "r"), "r.toml", line_numbers(text), {"health.survey_done": "no"}
    )
    found = judge(case.solve())
    assert found.state() == "not_judged"
    assert not found.meets[0]


# what a case may override


def test_a_rating_is_overridden_or_waived_with_a_reason():
    drop = '[units.bags.limits]\npressure_drop = "0.1 bar"\n'
    found = judge(river(drop).solve())
    (row,) = [limit for limit in found.limits if limit.address == "bags.pressure_drop"]
    assert row.state() == "not_met"
    assert row.limit == pytest.approx(1e4)
    assert row.source == "stated in the case"
    waive = '[units.bags.limits]\npressure_drop = { waived = "bags are changed tonight" }\n'
    found = judge(river(waive).solve())
    (row,) = found.of_state("waived")
    assert row.waived == "bags are changed tonight"


@pytest.mark.parametrize(
    ("table", "words"),
    [
        ('[units.bags.limits]\npresure_drop = "1 bar"', 'did you mean "pressure_drop"'),
        ("[units.bags.limits]\npressure_drop = 3", "a text with a unit"),
        ('[units.bags.limits]\npressure_drop = { waived = "" }', "with a reason"),
        ("[units.hose.limits]\nvelocity = 1", "no rating and no habit"),
    ],
)
def test_what_cannot_be_overridden_is_refused(table, words):
    with pytest.raises(CaseError, match=words):
        river(table + "\n")


def test_a_neighbour_without_an_answer_leaves_a_point_judged():
    """At 20 % of its speed the pump lifts nothing; at 110 % the dose is missed."""
    found = judge(river().solve({"lift_pump.speed": np.array([0.74, 0.2, 1.1])}))
    assert [found.state(n) for n in range(3)] == ["not_judged", "no_answer", "not_met"]
