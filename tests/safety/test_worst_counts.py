"""Of a point's limits the worst counts, and a point without an answer has none that is met."""

from __future__ import annotations

from itertools import permutations, product
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from treatsim.errors import RequestError
from treatsim.flowsheet.result import Context
from treatsim.operations.outcome import STATES, Details, Finding, Limit, Value
from treatsim.ranges import Excursion, Range
from treatsim.safety.additions import Additions
from treatsim.safety.verdict import Verdict

OWN = {
    "met": {"value": 3.0},
    "not_met": {"value": 2.0},
    "not_judged": {"value": np.nan},
    "waived": {"value": 2.0, "waived": "a spare is at hand"},
}


def limit(state: str, **more) -> Limit:
    settings = OWN[state] | more
    return Limit("head", f"pump.{state}", settings.pop("value"), ">=", 3.0, "head", "stated",
                 **settings)  # fmt: skip


def verdict(*limits, solved=(True,), **added) -> Verdict:
    """Limits over made-up points; everything a solve would bring is left empty."""
    result = SimpleNamespace(
        points=len(solved), solved=np.array(solved), values={"pump.flow": Value(1.0, "flow")},
        value=refuse, findings=[], excursions=[], all_details={"pump": Details()},
        context=Context(),
    )  # fmt: skip
    return Verdict(result, Additions(limits=limits, **added))


def refuse(address):
    raise RequestError(address)


def worst(states) -> str:
    """What the page promises: one that is missed, else one nobody can judge, else met."""
    return next((s for s in ("not_met", "not_judged") if s in states), "met")


@pytest.mark.parametrize("states", list(product(STATES, repeat=2)))
def test_the_worst_of_two_counts_in_either_order(states):
    for order in permutations(states):
        found = verdict(*[limit(state) for state in order])
        assert found.state() == worst(states)
        assert bool(found.meets[0]) == (worst(states) == "met")
        assert bool(found.broken[0]) == (worst(states) == "not_met")


def test_where_nothing_is_held_nothing_is_met():
    assert verdict().state() == "not_judged"
    assert not verdict().meets[0]


def test_without_an_answer_nothing_is_met_or_missed():
    for state in STATES:
        found = verdict(limit(state), solved=(False,))
        assert found.state() == "no_answer"
        assert not found.meets[0]
        assert not found.broken[0]


def test_every_point_has_its_own_state():
    value = np.array([3.0, 2.0, np.nan, 3.0])
    found = verdict(limit("met", value=value), solved=(True, True, True, False))
    words = ["met", "not_met", "not_judged", "no_answer"]
    assert [found.state(n) for n in range(4)] == words
    assert found.state() == "met"
    assert_array_equal(found.meets, [True, False, False, False])
    assert_array_equal(found.broken, [False, True, False, False])
    assert [len(found.of_state("not_met", n)) for n in range(3)] == [0, 1, 0]
    assert not found.of_state("not_met")
    assert len(verdict(limit("met", value=value[:2]), solved=(True, True)).of_state("met")) == 1


def test_what_is_told_is_told_at_its_points_only():
    where = np.array([False, True])
    beyond = Excursion(Range("flow", 1.0, 2.0, "m3/s", "a formula"), where, 3.0)
    pure = Excursion(Range("share", 1.0, 2.0, "1", "a formula"), where, 3.0)
    found = verdict(limit("met"), solved=(True, True), findings=(Finding(where, "low"),),
                    excursions=(("pump", beyond), ("pump", pure)))  # fmt: skip
    assert (found.told(), found.told(1)) == ([], ["low"])
    assert found.excursions() == []
    assert found.excursions(1) == [
        "pump: a formula: flow 3 m3/s lies outside 1 to 2",
        "pump: a formula: share 3 lies outside 1 to 2",
    ]


def test_an_address_that_nobody_has_is_refused_with_the_nearest():
    found = verdict(limit("met"), values={"pump.credit": Value(2.0, "log_reduction")})
    assert found.value("pump.credit").value == 2.0
    assert found.value("pump.flow").value == 1.0
    with pytest.raises(RequestError, match=r"pump\.flow"):
        found.value("pump.flaw")


def test_sources_are_keys_each_once():
    found = verdict(limit("met"), limit("waived"), sources=("cfr_141_720", "common", ""))
    assert found.sources == ["cfr_141_720", "stated"]


def test_joined_parts_keep_their_order_and_the_later_value():
    first = Additions({"a": Value(1.0, "factor")}, (limit("met"),), (Finding(True, "one"),),
                      ("one",), ("s",), {"r": 1}, (("u", 1),))  # fmt: skip
    more = Additions({"a": Value(2.0, "factor")}, (limit("not_met"),), (Finding(True, "two"),),
                     ("two",), ("t",), {"r": 2}, (("v", 2),))  # fmt: skip
    both = first.joined(more)
    assert both.values["a"].value == 2.0
    assert [row.state() for row in both.limits] == ["met", "not_met"]
    assert [item.text for item in both.findings] == ["one", "two"]
    assert (both.notes, both.sources) == (("one", "two"), ("s", "t"))
    assert both.records == {"r": 2}
    assert [unit for unit, _ in both.excursions] == ["u", "v"]
