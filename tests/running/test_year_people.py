"""Whether the poor day's water is enough for the people, with all that may take from it."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from treatsim.operations.outcome import Value
from treatsim.running.year import ON_95, Year

PEOPLE = SimpleNamespace(institution_demand=5.0, losses=0.0, each=0.025)  # m3 a day, -, m3


def year(wanted: float, left: float) -> Year:
    nothing = np.zeros(12)
    return Year(
        None, None, nothing, nothing, nothing, {}, 0.0, None,
        {ON_95["water"]: Value(10.0, "volume"), ON_95["people"]: Value(200.0, "people")},
        people=PEOPLE, wanted=wanted, clouds=SimpleNamespace(left=left),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("wanted", "state"),
    [(120.0, "met"), (121.0, "not_judged"), (150.0, "not_judged"), (201.0, "not_met")],
)
def test_what_clouds_take_is_taken_from_the_people(wanted, state):
    """Of 10 m3 clouds leave 8, 5 go to institutions whatever comes: 3 m3 for 120 people."""
    assert year(wanted, 0.8).state == state
