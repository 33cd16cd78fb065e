"""Structure and its faults: told before any number, and all at once."""

from __future__ import annotations

import numpy as np
import plant
import pytest

from treatsim.errors import FlowsheetError
from treatsim.flowsheet.counting import check_count
from treatsim.flowsheet.hold import operate

LINE = ("pump", "hose", "bags")


def units(*more):
    return [
        plant.unit("feed_pump", "pump"),
        plant.unit("hose", "hose"),
        plant.unit("cartridge_filter", "bags"),
        *more,
    ]


def faults(parts, *links) -> list[str]:
    with pytest.raises(FlowsheetError) as caught:
        check_count(plant.sheet(parts, *links))
    return caught.value.problems


def test_a_line():
    sheet = plant.sheet(units(), "pump > hose > bags > tank")
    assert sheet.order == LINE
    assert sheet.wiring.sources == ("pump",)
    assert sheet.wiring.ends == {"tank": ("bags", "outlet")}
    assert sheet.tears == ()
    assert [u.unit for u in sheet.unknowns()] == ["pump"]
    assert sheet.conditions() == [("tank", "")]


def test_the_order_of_the_file_does_not_matter():
    sheet = plant.sheet(units()[::-1], "hose > bags > tank", "pump > hose")
    assert sheet.order == LINE
    assert sheet.wiring.sources == ("pump",)


@pytest.mark.parametrize(
    ("links", "words"),
    [
        (["pump > hose > tank"], "bags.inlet is not fed by any link"),
        (["pump > hose > tank"], "bags.outlet goes nowhere"),
        (["pump > hose > bags > tank", "pump > bags"], "pump.outlet already goes to hose.inlet"),
        (["pump > bags > tank", "hose > bags"], "bags.inlet is already fed by pump.outlet"),
        (["pump > hose.side > bags > tank"], 'hose has no inlet "side"; its inlets: inlet'),
        (["pump > hoes > bags > tank"], 'no unit "hoes"; did you mean "hose"?'),
        (["pump > zzzz > bags > tank"], 'no unit "zzzz"; the units are: pump, hose, bags'),
        (["pump > hose > bagss"], '"bagss" is no unit; did you mean "bags"?'),
        (["pump > > bags"], 'a link reads "a > b > c"'),
        (["pump"], 'a link reads "a > b > c"'),
        (["pump > hose > bags > hose"], "hose.inlet is already fed by pump.outlet"),
        ([], "flowsheet.links is empty"),
    ],
)
def test_each_fault_has_its_message(links, words):
    assert any(words in fault for fault in faults(units(), *links)), faults(units(), *links)


def test_no_end():
    """A round of tees from which nothing leaves."""
    parts = [
        plant.unit("feed_pump", "pump"),
        plant.unit("combining_tee", "tee"),
        plant.unit("hose"),
    ]
    found = faults(parts, "pump > tee > hose > tee.branch")
    assert any("no end" in fault for fault in found)


def test_a_storage_tank_is_an_end():
    parts = [plant.unit("feed_pump", "pump"), plant.unit("storage_tank", "vat")]
    check_count(plant.sheet(parts, "pump > vat"))


def test_all_faults_at_once():
    found = faults(units(), "pump > hoes > tank", "pump.side > bags > tank", "a >> b")
    assert len(found) >= 3
    assert len(set(found)) == len(found)
    for words in ("hoes", "side", "a >> b"):
        assert any(words in fault for fault in found)


def test_the_second_outlet_must_be_led_somewhere():
    found = faults(units(plant.unit("dividing_tee", "tee")), "pump > hose > tee > bags > tank")
    words = "tee.branch goes nowhere: link it to a unit, or to an end such as tank or outfall"
    assert found == [f"flowsheet: {words}"]


def test_a_loop_without_a_combining_tee():
    found = faults(units(), "pump > hose > bags > pump")
    assert len(found) == 1
    assert "loop" in found[0] or "no end" in found[0]
    tee = plant.unit("dividing_tee", "tee")
    found = faults(units(tee), "hose > bags > tee > tank", "tee.branch > hose", "pump > outfall")
    assert any("the loop" in fault and "combining_tee" in fault for fault in found)
    assert any("hose > bags > tee > hose" in fault or "tee > hose" in fault for fault in found)


def test_nothing_moves_the_water():
    found = faults(units(), "hose > bags > tank", "pump > outfall")
    assert any("nothing moves the water into hose" in fault for fault in found)


def test_too_many_open_values():
    parts = units(plant.unit("dividing_tee", "tee", fraction=None))
    links = ("pump > hose > tee > bags > tank", "tee.branch > outfall")
    assert check_count(plant.sheet(parts, *links)) is None
    found = faults(
        [
            plant.unit("intake", "source"),
            plant.unit("dividing_tee", "tee", fraction=None),
            plant.unit("throttle_valve", "valve", flow_coefficient=None),
        ],
        "source > tee > valve > tank",
        "tee.branch > outfall",
    )
    words = "tee.fraction is open, and nothing decides it: give tee.fraction [%]"
    assert found == [f"flowsheet: {words}"]


def test_a_fixed_flow_leaves_an_open_end_with_the_pressure_it_has():
    parts = [plant.unit("intake", "source"), plant.unit("hose")]
    result = operate(plant.sheet(parts, "source > hose > tank"))
    assert result.solved[0]
    assert result.value("hose.outlet.pressure").value > 0


def test_water_is_not_sucked_out_at_an_end():
    source = plant.unit("intake", "source", pressure=np.array([1e4, 2.5e5]))
    result = operate(plant.sheet([source, plant.unit("hose")], "source > hose > tank"), 2)
    np.testing.assert_array_equal(result.solved, [False, True])
    assert "water would reach tank at -0.345 bar" in result.reason(0)


def test_two_ends_of_one_name_are_two():
    parts = units(plant.unit("dividing_tee", "tee", fraction=None))
    sheet = plant.sheet(parts, "pump > hose > tee > bags > drain", "tee.branch > drain")
    assert len(sheet.wiring.ends) == 2


def test_the_structure_is_worked_out_once():
    sheet = plant.sheet(units(), "pump > hose > bags > tank")
    twin = sheet.with_parameters("hose", length=3.0)
    assert twin.wiring is sheet.wiring
    assert twin.units["hose"].parameters.length == 3.0
    assert sheet.units["hose"].parameters.length == 15.0
