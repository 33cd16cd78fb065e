"""Parameters, criteria, findings: the form that every unit operation has."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from treatsim.errors import RequestError
from treatsim.operations.outcome import Finding, Limit, Value, at
from treatsim.operations.parameters import Parameters, bounds_text, choice, quantity, reference
from treatsim.operations.unit import Unit


@dataclasses.dataclass(frozen=True, kw_only=True)
class Sample(Parameters):
    """A record with one field of each sort."""

    width: float = quantity("length", "a width", open_low=True, high=2.0)
    number: int = quantity("count", "a number", low=1, high=9, default=3)
    way: str = choice(("round", "square"), "a form", default="round")
    note: str = reference("a note", default="")
    extra: float | None = quantity("power", "an extra", default=None)


def test_a_good_record_is_taken():
    sample = Sample(width=1.0)
    assert (sample.number, sample.way, sample.extra) == (3, "round", None)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"width": 0.0}, "a width lies above 0 m and not above 2 m"),
        ({"width": np.nan}, "a width lies above 0 m"),
        ({"width": np.inf}, "no number of this size belongs here"),
        ({"width": 1e-30}, "no number of this size belongs here"),
        ({"width": np.array([1.0, 3.0])}, "not above 2 m"),
        ({"width": None}, "width is missing (a width)"),
        ({"width": 1.0, "number": 2.5}, "a number is a whole number"),
        ({"width": 1.0, "number": 10}, "a number lies not below 1 and not above 9"),
        ({"width": 1.0, "way": "flat"}, "way is one of round, square"),
        ({"width": 1.0, "extra": np.nan}, "an extra lies any number"),
    ],
)
def test_what_is_refused(changes, words):
    with pytest.raises(RequestError) as caught:
        Sample(**changes)
    assert len(caught.value.problems) == 1
    if "any number" not in words:
        assert words in caught.value.problems[0]


def test_all_faults_of_a_record_at_once():
    with pytest.raises(RequestError) as caught:
        Sample(width=-1.0, number=0, way="flat")
    assert len(caught.value.problems) == 3


def test_taking_points():
    sample = Sample(width=np.array([0.5, 1.0, 1.5]), extra=7.0)
    part = sample.take(np.array([2, 0]))
    assert_array_equal(part.width, [1.5, 0.5])
    assert part.extra == 7.0
    assert Sample(width=1.0).take(0) == Sample(width=1.0)


@pytest.mark.parametrize(
    ("meta", "text"),
    [
        ({"low": 0, "high": np.inf, "open_low": True, "kind": "length"}, "above 0 m"),
        ({"low": -np.inf, "high": np.inf, "open_low": False, "kind": "power"}, "any number"),
        ({"low": -np.inf, "high": 5, "open_low": False, "kind": "power"}, "not above 5 W"),
    ],
)
def test_bounds_in_words(meta, text):
    assert bounds_text(meta) == text


def criterion(value, relation, limit):
    return Limit("a limit", "x", value, relation, limit, "dose", "common practice")


@pytest.mark.parametrize(
    ("value", "relation", "limit", "meets", "margin"),
    [
        (13.0, ">=", 10.0, True, 0.3),
        (7.0, ">=", 10.0, False, -0.3),
        (7.0, "<=", 10.0, True, 0.3),
        (13.0, "<=", 10.0, False, -0.3),
        (10.0 * (1 - 1e-12), ">=", 10.0, True, 0.0),
        (0.0, "<=", 0.0, True, 0.0),
        (2.0, "<=", 0.0, False, -2.0),
        (np.nan, ">=", 1.0, False, np.nan),
        (np.nan, "<=", 1.0, False, np.nan),
    ],
)
def test_criteria(value, relation, limit, meets, margin):
    row = criterion(value, relation, limit)
    assert bool(row.meets) is meets
    np.testing.assert_allclose(row.margin, margin, rtol=1e-9, atol=1e-11)


def test_criteria_over_points():
    row = criterion(np.array([1.0, 3.0]), ">=", np.array([2.0, 2.0]))
    assert_array_equal(row.meets, [False, True])
    assert_array_equal(row.margin < 0, [True, False])


def test_a_finding_in_both_units():
    finding = Finding(True, "it is at {here}", {"here": Value(np.array([1e5, 2e5]), "pressure")})
    assert finding.message(1) == "it is at 2 bar"
    assert finding.message(0, "us") == "it is at 14.5 psi"


def test_entry_of_a_point():
    assert at(3.0, 7) == 3.0
    assert at(np.array([3.0]), 7) == 3.0
    assert at(np.array([1.0, 2.0]), 1) == 2.0


def test_the_base_does_nothing_by_itself():
    with pytest.raises(NotImplementedError):
        Unit(name="x", parameters=None).evaluate()
    assert Unit(name="x", parameters=None).take(0).name == "x"
