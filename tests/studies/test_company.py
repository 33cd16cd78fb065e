"""Same settings, same answer: by itself, among others, and in any order; every value of the demos.

Not by a source but by what it means: a point has no neighbours. 1e-9 of the value, or of 1 bar (as
energy, 1 bar a volume) for what is a difference of two equal ones. What chemistry tells is
interpolated between temperatures where there are more than three: 1e-3 in an index or a pH, as
`water.concentrate_line.states` states, thus 3e-3 in a saturation.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from treatsim import cases
from treatsim.safety.verdict import judge
from treatsim.studies.points import solve_points
from treatsim.water.concentrate_line import INDEX_ERROR, SATURATION_ERROR

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))
TEMPERATURE = "water.temperature"
SAME = 1e-9
ZERO = ("pressure", "pressure_difference", "energy_per_volume")  # of what may be zero
FOLLOWS = 1e-6  # of what a bed dissolves: it follows the pH, itself told to INDEX_ERROR
DISSOLVED = ("bed.", "product.calcium", "product.hardness", "analytes.hardness")
BAR = 1e5  # Pa, J/m3
CHEMICAL = (  # of a key; a dose of base is what a target of pH asks for
    "saturation", "ph", "index", "boron", "alkalinity", "carbon", "hydroxide", "caustic", "sodium",
)  # fmt: skip


def values(case, address, settings):
    """Return every value over the points, solved and judged together."""
    verdict = judge(case.solve({address: settings}))
    points = settings.shape
    return {
        key: (value.quantity, np.broadcast_to(np.asarray(value.value, float), points))
        for key, value in verdict.values.items()
    }


def apart(one, other):
    """Return the keys whose values differ by more than what is promised for them."""
    assert one.keys() == other.keys()
    found = {}
    for key, (quantity, numbers) in one.items():
        chemical = any(word in key for word in CHEMICAL)
        followed = FOLLOWS if key.startswith(DISSOLVED) else SAME
        allowed = (SATURATION_ERROR if chemical else followed) * np.abs(numbers)
        allowed = np.maximum(allowed, SAME * BAR * (quantity in ZERO))
        if chemical:
            allowed = np.maximum(allowed, INDEX_ERROR * ("index" in key or "ph" in key))
        same = np.abs(numbers - other[key][1]) <= allowed
        if not np.all(same | (np.isnan(numbers) & np.isnan(other[key][1]))):
            found[key] = numbers - other[key][1]
    return found


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_point_has_the_same_answer_alone_and_among_others(path):
    case = cases.load(path)
    warm = float(case.sections["water"].temperature) + np.array([-2.0, 0.0, 1.5, 3.0])
    together = values(case, TEMPERATURE, warm)
    singles = [values(case, TEMPERATURE, warm[n : n + 1]) for n in range(warm.size)]
    alone = {
        key: (quantity, np.concatenate([single[key][1] for single in singles]))
        for key, (quantity, _) in together.items()
    }
    assert apart(together, alone) == {}


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_point_has_the_same_answer_in_any_order(path):
    case = cases.load(path)
    warm = float(case.sections["water"].temperature) + np.array([-2.0, 0.0, 1.5, 3.0])
    together = values(case, TEMPERATURE, warm)
    turned = values(case, TEMPERATURE, warm[::-1].copy())
    assert apart(together, {k: (q, numbers[::-1]) for k, (q, numbers) in turned.items()}) == {}


WATERS = {
    "ions, by pH": ("papers_well", "water.ph", [6.8, 7.9, 7.4]),
    "sea, by pH": ("sea", "water.ph", [8.2, 7.8]),
    "sea, by salinity": ("sea", "water.salinity", [0.040, 0.030]),
}


@pytest.mark.parametrize("name", WATERS)
def test_each_of_several_waters_has_the_chemistry_of_its_own(name):
    """A sweep told the scale of the lowest pH for every pH: 2.6 for 31 times calcite."""
    stem, address, settings = WATERS[name]
    case = cases.load(CASES[0].with_name(f"{stem}.toml"))
    settings = np.array(settings)
    for piece in solve_points(case, {address: settings}, settings.size):
        own = settings[np.unique(piece.where)]
        assert own.size == 1
        alone = judge(case.solve({address: own}))
        for key in ("ro.saturation.calcite", "ro.concentrate.ph", "product.boron"):
            told = np.ravel(piece.verdict.values[key].value)[0]
            assert told == pytest.approx(np.ravel(alone.values[key].value)[0], rel=SAME)


TOGETHER = {
    "sea, by pH": ("sea", {"water.ph": [7.8, 8.0, 8.1, 8.3]}),
    "sea, by salinity": ("sea", {"water.salinity": [0.045, 0.040, 0.036, 0.025]}),
    "sea, by temperature": ("sea", {"water.temperature": [285.0, 300.0, 303.0, 307.0]}),
    "ions, by pH": ("papers_well", {"water.ph": [6.8, 7.9, 7.4, 7.1]}),
}


@pytest.mark.parametrize("name", TOGETHER)
def test_waters_solved_together_have_the_chemistry_of_each_by_itself(name):
    """The carbon of a sea came from the coldest of a sweep: 0.2 of a pH over 22 K."""
    stem, changes = TOGETHER[name]
    case = cases.load(CASES[0].with_name(f"{stem}.toml"))
    arrays = {address: np.array(column) for address, column in changes.items()}
    together = judge(case.solve(arrays)).values
    for n in range(4):
        alone = judge(case.solve({a: column[n : n + 1] for a, column in arrays.items()})).values
        for key in ("ro.concentrate.ph", "ro.carbonate_index", "product.ph"):
            told = float(np.ravel(together[key].value)[n])
            assert told == pytest.approx(float(np.ravel(alone[key].value)[0]), abs=1e-3)


def test_how_well_chemistry_is_told_stands_beside_the_result():
    notes = judge(cases.load(CASES[0].with_name("sea.toml")).solve()).added.notes
    words = f"good for {INDEX_ERROR:g}, and saturations for {SATURATION_ERROR:.1%}"
    assert any(words in note for note in notes)
