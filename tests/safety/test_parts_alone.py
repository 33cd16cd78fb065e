"""The parts of the judging one by one, on made-up results: people, what is asked, cautions."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import plant
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from treatsim.operations.outcome import Details, Limit, Override, Value
from treatsim.safety.additions import Additions
from treatsim.safety.cautions import cautions_for, short_cautions, too_much_dissolved
from treatsim.safety.evidence import HealthParameters, PeopleParameters
from treatsim.safety.log_credit import Barrier
from treatsim.safety.parts.dose import mover, required_dose
from treatsim.safety.parts.germs import asked, chlorine_ph
from treatsim.safety.parts.people import people
from treatsim.safety.parts.units import units
from treatsim.safety.path_credit import totals_in_product

HOUR = 3600.0


def served(flow, solved=(True,), mean=None, **plan) -> Additions:
    settings = {"level": "full", "losses": 0.0, "running_time": 10 * HOUR} | plan
    details = Details({} if mean is None else {"largest_mean_flow": Value(mean, "flow")})
    result = SimpleNamespace(
        product=SimpleNamespace(flow=flow), solved=np.array(solved), all_details={"tank": details},
        sections={"people": PeopleParameters(**settings)},
        sheet=plant.sheet([plant.unit("intake")], "intake > tank"),
    )  # fmt: skip
    return people(result, Additions())


def value(found: Additions, key: str):
    return np.asarray(found.values[f"product.{key}"].value)


def test_litres_are_shared_out():
    """1 m3/h for 10 h is 10 m3: 666 people at 15 L (sphere_2011), 1333 at 7.5, 3333 at 3."""
    found = served(1 / HOUR)
    assert_allclose(value(found, "daily_volume"), 10.0, rtol=1e-12)
    assert value(found, "people_served") == value(found, "people_served_full") == 666
    assert value(found, "people_served_survival") == 1333
    assert value(found, "people_served_drinking") == 3333
    assert not found.limits


def test_without_a_plan_the_usual_day_is_assumed_and_said():
    """Common practice, no source: 8 h a day, 15 L each, 15 % lost: 1 m3/h serves 453."""
    result = SimpleNamespace(
        product=SimpleNamespace(flow=1 / HOUR), solved=np.array([True]), all_details={},
        sections={},
    )  # fmt: skip
    found = people(result, Additions())
    assert value(found, "people_served") == 453
    (words,) = found.notes
    assert "8 h" in words
    assert "15 % lost" in words
    assert not served(1 / HOUR).notes


def test_a_point_without_an_answer_serves_nobody():
    found = served(np.array([1.0, 1.0]) / HOUR, solved=(True, False))
    assert_array_equal(value(found, "people_served"), [666, 0])
    assert_array_equal(value(found, "daily_volume"), [10.0, 0.0])


def test_beds_come_before_people_and_never_leave_less_than_nobody():
    """20 beds at 60 L a day (sphere_2011, upper end) take 1.2 m3 of 10."""
    assert value(served(1 / HOUR, institutions={"inpatient": 20}), "people_served") == 586
    assert value(served(1 / HOUR, institutions={"inpatient": 2000}), "people_served") == 0


@pytest.mark.parametrize(("number", "state"), [(666.0, "met"), (667.0, "not_met")])
def test_people_asked_for_are_a_limit(number, state):
    (row,) = served(1 / HOUR, number=number).limits
    assert (row.state(), row.binding_input) == (state, "intake.flow")


def test_closed_tanks_that_take_less_hold_the_plant_back_and_it_is_told():
    found = served(np.array([1.0, 0.4]) / HOUR, solved=(True, True), mean=0.5 / HOUR)
    assert_allclose(value(found, "daily_volume"), [5.0, 4.0], rtol=1e-12)
    (told,) = found.findings
    assert_array_equal(told.where, [True, False])
    assert not served(0.5 / HOUR, mean=0.5 / HOUR).findings


@pytest.mark.parametrize(
    ("running", "drawing", "share"),
    [
        (8, 4, 1 / 2),  # in the 4 h without drawing comes half of the day's water
        (4, 8, 1 / 2),
        (10, 10, 0.0),
        (12, 3, 3 / 4),
        (3, 12, 3 / 4),
    ],
)
def test_the_tank_holds_what_comes_or_goes_alone(running, drawing, share):
    """By hand: of the longer time only the shorter is shared; 1 - short/long of the day is kept."""
    found = served(1e-3, running_time=running * HOUR, drawing_time=drawing * HOUR)
    day = 3.6 * running
    assert_allclose(value(found, "tank_buffer"), share * day, rtol=1e-6, atol=1e-6)


# what is asked of the barriers


def test_what_the_rules_ask():
    """cfr_141_72: virus 4, Giardia 3; cfr_141_711: Cryptosporidium by the bin."""
    for number, crypto in zip((1, 2, 3, 4), (2.0, 4.0, 5.0, 5.5), strict=True):
        proof = HealthParameters(
            target="us_surface_water", cryptosporidium_bin=number, survey_done="yes"
        )
        logs, low, source, words = asked(proof)
        assert logs == {"virus": 4.0, "giardia": 3.0, "cryptosporidium": crypto}
        assert not low
        assert source["cryptosporidium"] == "cfr_141_711"
        assert source["virus"] == "cfr_141_72"
        assert words.endswith(f"bin {number}")


@pytest.mark.parametrize(("stars", "logs"), [(3, (4, 5, 4, 4)), (2, (2, 3, 2, 2))])
def test_what_the_stars_ask(stars, logs):
    """who_household_2011: bacteria, virus, protozoa; both protozoa are held."""
    proof = HealthParameters(target="household", stars=stars, survey_done="yes")
    found = asked(proof)[0]
    assert tuple(found[c] for c in ("bacteria", "virus", "giardia", "cryptosporidium")) == logs


def test_of_several_stars_the_most_are_asked_of_every_point():
    proof = HealthParameters(target="household", stars=np.array([2, 3]), survey_done="yes")
    assert asked(proof)[0]["virus"] == 5


def test_without_a_target_nothing_is_asked():
    assert asked(None) == asked(HealthParameters(survey_done="yes")) == ({}, {}, {}, "")


def test_a_dose_is_asked_by_table_or_as_stated():
    """cfr_141_720: 12 mJ/cm2 for 3 log of Cryptosporidium, 186 for 4 log of virus."""
    assert required_dose({"organism": "cryptosporidium", "log": 3})[0] == 120.0
    assert required_dose({"organism": "virus", "log": 4})[:2] == (1860.0, "cfr_141_720")
    assert_allclose(required_dose({"organism": "ms2", "dose": "40 mJ/cm2"})[0], 400.0)
    more, less = (required_dose({"organism": "ms2", "log": log})[0] for log in (2.0, 1.0))
    assert more > less > 0


def test_the_flow_is_moved_by_what_moves_the_water():
    assert mover(plant.sheet([plant.unit("intake")], "intake > tank")) == "intake.flow"
    assert mover(SimpleNamespace(units={})) == ""


def test_acidity_is_that_of_the_dosing_else_of_the_source():
    water = SimpleNamespace(ph=7.4)
    dosing = plant.unit("chlorine_dosing", ph=8.1)
    sheet = SimpleNamespace(units={"intake": plant.unit("intake"), "dosing": dosing})
    assert chlorine_ph(SimpleNamespace(sheet=sheet, sections={"water": water})) == 8.1
    sheet.units["dosing"] = plant.unit("chlorine_dosing", ph=None)
    assert chlorine_ph(SimpleNamespace(sheet=sheet, sections={"water": water})) == 7.4
    assert chlorine_ph(SimpleNamespace(sheet=sheet, sections={})) is None


# what a case lets stand


def test_a_unit_is_held_to_what_the_case_puts_in_place():
    own = [Limit(key, key, 2.0, "<=", 1.0, "factor", "data sheet") for key in ("a", "b", "c")]
    unit = SimpleNamespace(in_company=lambda _: Details())
    overrides = {"bag": {"a": Override(3.0, "new bags"), "b": Override(reason="tonight"),
                         "c": Override(1.5)}}  # fmt: skip
    result = SimpleNamespace(
        sheet=SimpleNamespace(units={"bag": unit}), details=lambda _: Details(limits=own),
        context=SimpleNamespace(overrides=overrides),
    )  # fmt: skip
    rows = units(result, Additions()).limits
    assert [row.state() for row in rows] == ["met", "waived", "not_met"]
    assert [row.address for row in rows] == ["bag.a", "bag.b", "bag.c"]
    assert [row.source for row in rows] == [
        "stated in the case: new bags", "data sheet", "stated in the case",
    ]  # fmt: skip
    result.context.overrides = {}
    assert [row.state() for row in units(result, Additions()).limits] == ["not_met"] * 3


# cautions


@pytest.mark.parametrize(
    ("altitude", "minutes"),
    [(0.0, "1 min"), (2000.0, "1 min"), (2001.0, "3 min"), (None, "1 min (3 above 2000 m)")],
)
def test_boiling_takes_three_minutes_above_2000_m(altitude, minutes):
    """cdc_household_chlorine."""
    line = short_cautions([], altitude)[1]
    assert line.endswith(f" {minutes}.")
    assert len(line) < 80


def test_the_general_cautions_always_stand_and_no_hazard_is_passed_over():
    assert set(cautions_for([])) < set(cautions_for(["chlorine"]))
    assert len(short_cautions(["chlorine", "chlorine"])) == 3


def test_boiling_is_said_to_be_in_vain_for_what_is_dissolved_too_much():
    kept = [
        Limit(name, address, 1.0, "<=", 0.5, quantity, "", group=group)
        for name, address, quantity, group in (
            ("arsenic in the product", "product.arsenic", "concentration", "health"),
            ("log credit for virus", "credit.virus", "log_reduction", "health"),
            ("lowest pH of the product", "product.ph", "ph", "practice"),
        )
    ]
    assert too_much_dissolved(kept) == ["arsenic"]
    assert "arsenic" in short_cautions([], 0.0, ["arsenic"])[2]
    with pytest.raises(KeyError, match="no such group"):
        cautions_for(["chlorin"])


# ways of the water


def two_ways(kind: str, barriers: dict, flows: dict):
    """One unit with two inlets, behind a unit on each of its ways."""
    joined = plant.unit(kind)
    first, second = joined.inlets
    sheet = SimpleNamespace(
        units={"a": plant.unit("hose", "a"), "b": plant.unit("hose", "b"), kind: joined},
        order=("a", "b", kind), tears=(),
        wiring=SimpleNamespace(
            feeds={(kind, first): ("a", "outlet"), (kind, second): ("b", "outlet")}
        ),
    )  # fmt: skip
    flows = {("a", "inlet"): 1.0, ("b", "inlet"): 1.0, (kind, first): flows["a"],
             (kind, second): flows["b"]}  # fmt: skip
    return totals_in_product(sheet, flows, (kind, joined.outlets[0]), barriers)["virus"]


def test_where_streams_meet_survival_is_averaged():
    """A tenth untreated leaves 1 log of 4, whichever way it comes: -log10(0.1 + 0.9e-4)."""
    for treated, other in (("a", "b"), ("b", "a")):
        row = {treated: Barrier(treated, {"virus": 4.0}, "definition")}
        logs = two_ways("combining_tee", row, {treated: 0.9, other: 0.1})
        assert_allclose(logs, -np.log10(0.1 + 0.9e-4), rtol=1e-9)


def test_what_leaves_an_exchanger_counts_as_the_worst_that_enters():
    rows = {name: Barrier(name, {"virus": log}, "definition") for name, log in (("a", 4), ("b", 1))}
    assert_allclose(two_ways("pressure_exchanger", rows, {"a": 0.5, "b": 0.5}), 1.0, rtol=1e-12)
