"""A limit as a value: what counts as kept, how far off it is, and what nobody can say."""

from __future__ import annotations

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.operations.outcome import Details, Finding, Limit, Value, at, later, loss, unjudged


def limit(value, relation, against, **more) -> Limit:
    return Limit("a value", "unit.value", value, relation, against, "factor", "stated", **more)


@pytest.mark.parametrize(
    ("value", "relation", "against", "state"),
    [
        (3.0, ">=", 3.0, "met"),
        (3.0, "<=", 3.0, "met"),
        (0.0, ">=", 0.0, "met"),  # no slack at zero, and none is needed
        (0.0, "<=", 0.0, "met"),
        (0.1 + 0.2, "<=", 0.3, "met"),  # above 0.3 by round-off alone
        (0.7 + 0.1, ">=", 0.8, "met"),  # below 0.8 by round-off alone
        (3.0 * (1 - 1e-8), ">=", 3.0, "not_met"),
        (3.0 * (1 + 1e-8), "<=", 3.0, "not_met"),
        (9.9e-5, ">=", 1e-4, "not_met"),  # 1 % short of a flow of 0.1 L/s
        (1.01e-4, "<=", 1e-4, "not_met"),
        (1.9e5, ">=", 2e5, "not_met"),  # a pressure in Pa
        (2.1e5, "<=", 2e5, "not_met"),
        (-1.0, ">=", -2.0, "met"),
        (-2.0 - 1e-12, ">=", -2.0, "met"),  # round-off has no sign
        (-2.1, ">=", -2.0, "not_met"),
        (np.inf, ">=", 3.0, "met"),
        (np.inf, "<=", 3.0, "not_met"),
        (np.nan, ">=", 3.0, "not_judged"),
        (np.nan, "<=", 3.0, "not_judged"),
    ],
)
def test_what_counts_as_kept(value, relation, against, state):
    row = limit(value, relation, against)
    assert row.state() == state
    assert bool(row.meets) == (state == "met")


def test_what_is_not_judged_is_not_met_however_good_the_number():
    row = limit(np.array([9.0, 9.0]), ">=", 3.0, judged=np.array([False, True]))
    assert_array_equal(row.meets, [False, True])
    assert [row.state(0), row.state(1)] == ["not_judged", "met"]


def test_a_waived_limit_is_waived_everywhere_whatever_its_numbers():
    row = limit(np.array([1.0, 9.0, np.nan]), ">=", 3.0, waived="a spare is at hand")
    assert [row.state(n) for n in range(3)] == ["waived"] * 3
    assert row.states.shape == (3,)


@pytest.mark.parametrize(
    ("value", "relation", "against", "margin"),
    [
        (3.0, ">=", 2.0, 0.5),  # half as much again as asked
        (1.0, ">=", 2.0, -0.5),
        (0.8, "<=", 1.0, 0.2),  # a fifth of what is allowed is left
        (1.5, "<=", 1.0, -0.5),
        (3.0, "<=", 4.0, 0.25),
        (2.0, ">=", 0.0, 2.0),  # against nothing the distance itself counts
        (2.0, "<=", 0.0, -2.0),
        (0.5, ">=", 1.0, -0.5),
        (-0.5, ">=", -1.0, 0.5),
        (-3.0, "<=", -1.0, 2.0),
    ],
)
def test_the_margin_is_the_share_of_the_limit_that_is_to_spare(value, relation, against, margin):
    """By definition: negative exactly where the limit is not met."""
    row = limit(value, relation, against)
    assert_allclose(row.margin, margin, rtol=1e-12)
    assert bool(row.meets) == (margin >= 0)


def test_a_point_is_the_first_unless_another_is_asked_for():
    row = limit(np.array([1.0, 2.0, 9.0]), ">=", 2.0)
    assert row.state() == row.state(0) == "not_met"
    assert [row.state(n) for n in (1, 2)] == ["met", "met"]
    told = Finding(True, "{x} is left", {"x": Value(np.array([1.0, 2.0, 3.0]), "length")})
    assert told.message() == told.message(0)
    assert len({told.message(n) for n in range(3)}) == 3


def test_one_number_stands_for_every_point():
    assert [at(value, 1) for value in (5.0, np.array(5.0), np.array([5.0]))] == [5.0] * 3
    assert [at(np.array([5.0, 6.0]), n) for n in (0, 1)] == [5.0, 6.0]


def test_what_lacks_an_input_says_which():
    row = unjudged("germs", "health.target")
    assert (row.state(), row.needs, row.binding_input) == ("not_judged", *["health.target"] * 2)
    assert not row.judged
    assert not row.meets
    assert row.group == "health"


def test_the_key_of_a_limit_is_the_last_part_of_its_address():
    assert limit(1.0, ">=", 1.0).key == "value"


def test_a_unit_that_says_nothing_draws_nothing_and_a_finding_stops_nothing():
    assert Details().power == 0
    assert not Finding(True, "a word").blocks


def test_what_only_loses_pressure_takes_its_power_from_the_water():
    """1 bar lost at 3.6 m3/h, a litre a second, is 100 W."""
    taken = loss(plant.stream(1e-3), 1e5)
    assert_allclose(taken["hydraulic_power"], -100.0, rtol=1e-12)


def test_a_late_number_is_worked_out_once_and_when_asked():
    asked = []
    value = later(lambda: asked.append(1) or 2.0, "flow")
    assert (asked, value.quantity) == ([], "flow")
    assert [value.value, value.value, asked] == [2.0, 2.0, [1]]


@pytest.mark.parametrize(
    ("value", "relation", "against", "told"),
    [
        (6.496, ">=", 6.5, ("6.496", "6.5")),  # three digits would read 6.5 >= 6.5
        (6.504, ">=", 6.5, ("6.5", "6.5")),
        (12.004, "<=", 12.0, ("12.004", "12")),
        (3.0 * (1 - 1e-8), ">=", 3.0, ("2.99999997", "3")),
        (0.1 + 0.2, "<=", 0.3, ("0.3", "0.3")),
        (0.3004, "<=", 0.30044, ("0.3", "0.3")),
        (np.inf, "<=", 3.0, ("inf", "3")),
    ],
)
def test_no_rounding_lets_a_limit_look_as_it_is_not(value, relation, against, told):
    assert limit(value, relation, against).told(digits=3) == told
