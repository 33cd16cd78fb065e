"""What moves the number of elements, and by how much: turbidity, housings, a basin."""

from __future__ import annotations

import numpy as np
import pytest

from treatsim import cases
from treatsim.case_text import parse
from treatsim.report.starters import starter
from treatsim.running.outlook import outlook

RIVER = "cases/river.toml"


def used(case, months: float = 3.0) -> dict[str, float]:
    """Elements used on average, by filter."""
    seen = outlook(case, months, scenarios=400, level=0.9)
    return {one.name: one.mean for one in seen.told.filters}


@pytest.fixture(scope="module")
def river():
    return used(cases.load(RIVER))


def lake(**basin):
    text = starter("lake")
    kept = "\n".join(line for line in text.splitlines() if not line.startswith("#"))
    case = cases.interpret(parse(kept + "\n[spares]\ncapacity_spread = 1.2\n", "lake"), "lake")
    return case.with_settings({f"basin.{key}": value for key, value in basin.items()})


def test_half_the_turbid_matter_is_half_the_elements(river):
    half = used(
        cases.load(RIVER, {"water.turbidity": "2.25 NTU", "water.suspended_solids": "3.5 mg/L"})
    )
    for name, number in river.items():  # cleaner filters pass a little more water in all
        assert half[name] == pytest.approx(0.5 * number, rel=0.06)


def test_twice_the_housings_pass_more_water_and_hold_longer(river):
    twice = used(cases.load(RIVER, {"bags.elements": "4", "cartridges.elements": "4"}))
    for name, number in river.items():  # mass ends a life here, so the number hardly moves
        assert 0.95 * number < twice[name] < 1.35 * number


def test_a_basin_saves_what_it_settles():
    large, small = lake(plan_area="12 m2"), lake(plan_area="1 m2")
    reached = [
        np.ravel(one.solve().values["filters.inlet.suspended_solids"].value)[0]
        for one in (large, small)
    ]
    saved = used(large)["filters"] / used(small)["filters"]
    assert reached[0] < 0.8 * reached[1]
    assert saved == pytest.approx(reached[0] / reached[1], rel=0.08)


def test_a_filter_that_is_full_is_changed_before_anything_runs():
    seen = outlook(
        cases.load(RIVER, {"bags.captured_mass": "720 g"}), 1.0, scenarios=400, level=0.9
    )
    assert any(line.startswith("bags: FULL") for line in seen.notes)
