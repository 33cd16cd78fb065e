"""What must hold at several temperatures at once, and each requirement by itself."""

from functools import cache

import pytest
import ro_plant
from numpy.testing import assert_allclose
from ro_plant import number

from treatsim import errors
from treatsim.safety.verdict import judge
from treatsim.studies.find import find

ADJUST = "pump.outlet_pressure"
COLD, WARM = "12 degC", "30 degC"
BOTH = f"water.temperature={COLD},{WARM}"
LINKS = ["pump > ro", "ro.permeate > tank", "ro.concentrate > valve > outfall"]
FLOW, BORON = "product.flow >= 0.4 m3/h", "product.boron <= 0.8 mg/L"


@cache  # what its water tells is worked out once for all tests
def case():
    units = {"pump": ro_plant.pump(2.2, 52.0), "ro": ro_plant.vessel(elements=5),
             "valve": ro_plant.VALVE}  # fmt: skip
    return ro_plant.case(ro_plant.sea(36.5, 26.0, ph=8.1, boron="4.7 mg/L"), units, LINKS)


def at_temperature(sea, text, celsius):
    return judge(sea.solve({ADJUST: text, "water.temperature": celsius + 273.15}))


def test_what_holds_throughout_is_what_holds_at_each():
    """Cold water gives too little, warm water lets boron pass: each end by its own temperature."""
    sea = case()
    both = find(sea, ADJUST, [FLOW, BORON], throughout=BOTH)
    alone = {}
    for text in (COLD, WARM):
        one = find(sea, ADJUST, [FLOW, BORON], throughout=f"water.temperature={text}")
        alone[text] = one.intervals[0]
    (interval,) = both.intervals
    assert_allclose(interval.low.value, max(i.low.value for i in alone.values()), rtol=1e-6)
    assert_allclose(interval.high.value, min(i.high.value for i in alone.values()), rtol=1e-6)
    assert any(text in interval.low.why for text in (COLD, WARM))
    assert "product.flow" in both.lines()[1]


def test_each_requirement_by_itself_ends_where_find_says():
    sea = case()
    found = find(sea, ADJUST, [FLOW, BORON], throughout=BOTH, each=True)
    rungs = {rung.requirement.address: rung for rung in found.rungs}
    for target, side in ((FLOW, "low"), (BORON, "low")):
        one = find(sea, ADJUST, target, throughout=BOTH).intervals[0]
        rung = rungs[target.split()[0]]
        assert_allclose(getattr(rung, side), getattr(one, side).value, rtol=1e-5)
    cold = rungs["product.flow"]
    assert COLD in cold.requirement.name
    assert WARM in rungs["product.boron"].requirement.name
    assert_allclose(cold.at_low["product.flow"] * 3600, 0.4, rtol=1e-4)
    assert 0.15 < cold.at_low["ro.recovery"] < 0.21
    assert any("met from" in line for line in found.lines())
    assert found.document()["requirements"][0]["low"]["unit"] == "bar"


def test_highest_recovery_before_scale_grows_with_acid():
    """The index of the concentrate ends it; acid ahead moves that end, and its dose is told."""
    index = "ro.carbonate_index <= 0.1"
    bare = find(case(), ADJUST, index, each=True)
    units = {"acid": {"kind": "chemical_dosing", "chemical": "sulfuric_acid", "target_ph": 7.9,
                      "strength": "96 %", "stock_density": "1840 kg/m3"},
             "pump": ro_plant.pump(2.2, 52.0), "ro": ro_plant.vessel(elements=5),
             "valve": ro_plant.VALVE}  # fmt: skip
    water = ro_plant.sea(36.5, 26.0, ph=8.1, boron="4.7 mg/L")
    dosed = find(ro_plant.case(water, units, ["acid > pump > ro", *LINKS[1:]]), ADJUST, index,
                 each=True)  # fmt: skip
    ends = [found.rungs[0] for found in (bare, dosed)]
    assert ends[1].high > ends[0].high
    assert ends[1].at_high["ro.recovery"] > ends[0].at_high["ro.recovery"]
    assert ends[1].at_high["acid.dose_given"] > 0
    there = at_temperature(case(), ends[0].high, 26.0)
    assert_allclose(number(there, "ro.carbonate_index"), 0.1, atol=1e-4)


def test_what_no_setting_meets_throughout_is_said():
    found = find(case(), ADJUST, ["product.flow >= 1.9 m3/h"], throughout=BOTH)
    assert not found.found
    ladder = find(case(), ADJUST, ["product.flow >= 1.9 m3/h"], throughout=BOTH, each=True)
    assert not ladder.found
    assert "met nowhere" in ladder.lines()[1]


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ({"throughout": "water.temperature"}, "--throughout .* write ADDRESS"),
        ({"throughout": f"{ADJUST}=50 bar,55 bar"}, "is what is adjusted"),
        ({"throughout": "water.temperature=5 degC:35 degC:50"}, "at most 24"),
        ({"throughout": "water.ph=7.9,8.2"}, "makes another case"),
        ({"each": True, "best": "largest product.flow"}, "--each: one input"),
    ],
)
def test_bad_conditions_are_named(more, word):
    with pytest.raises(errors.RequestError, match=word):
        find(case(), ADJUST, FLOW, **more)
