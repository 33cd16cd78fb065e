"""The life of membranes: each state is that of the case so set, and what runs out does."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from command import ROOT

from treatsim import cases, cli
from treatsim.errors import RequestError
from treatsim.flowsheet.hold import Hold
from treatsim.report.ageing_text import ageing_text
from treatsim.safety.verdict import judge
from treatsim.studies.ageing import AGES, _reach, ageing

SEA = str(ROOT / "cases/sea.toml")
DIAL = "high_pressure_pump.outlet_pressure"
SLIP = {
    "high_pressure_pump.volumetric_efficiency": "92 %",
    "high_pressure_pump.slip_pressure": "50 bar",
}


def case(path=SEA, **changes):
    return cases.load(path, changes)


@pytest.fixture(scope="module")
def sea():
    return ageing(cases.load(SEA))


def grid(verdicts, address):
    """A value by age and water, shape (3, 3)."""
    rows = [np.broadcast_to(v.value(address).value, (v.result.points,))[:3] for v in verdicts]
    return np.array(rows).T


@pytest.mark.parametrize(
    ("n", "water", "salt", "temperature"),
    [(0, 1.0, 1.0, "21 degC"), (1, 0.88, 1.25, "26 degC"), (2, 0.75, 1.6, "31 degC")],
)
def test_each_state_is_the_case_set_so(sea, n, water, salt, temperature):
    """Solved alone by another way in; the same verdict falls."""
    alone = judge(case(**{
        "ro.water_permeability_ratio": str(water), "ro.salt_permeability_ratio": str(salt),
        "water.temperature": temperature,
    }).solve())  # fmt: skip
    product = float(np.ravel(alone.value("product.flow").value)[0])
    assert grid(sea.fixed, "product.flow")[n, n] == pytest.approx(product, rel=1e-8)
    states = {limit.address: limit.state(0) for limit in alone.limits}
    assert {limit.address: limit.state(n) for limit in sea.fixed[n].limits} == states


def test_today_needs_what_gives_the_design_flow(sea):
    """The pressure told, typed into the case, gives the flow: 0.68 m3/h."""
    pressure = grid(sea.kept, DIAL)[1, 1]
    alone = case(**{DIAL: f"{pressure / 1e5:.12f} bar"}).solve()
    assert float(np.ravel(alone.value("product.flow").value)[0]) == pytest.approx(
        0.68 / 3600, rel=1e-6
    )


def test_cold_water_and_age_ask_for_pressure_and_warm_water_and_age_for_salt(sea):
    """Permeability of water and of salt rise with temperature (Arrhenius); published everywhere."""
    pressure = grid(sea.kept, DIAL)
    salt = grid(sea.kept, "product.concentration")
    assert np.all(np.diff(pressure, axis=0) > 0)
    assert np.all(np.diff(pressure, axis=1) < 0)
    assert np.all(np.diff(salt, axis=0) > 0)
    assert np.all(np.diff(salt, axis=1) > 0)


def test_new_and_cold_against_the_closed_form_of_a_pure_feed():
    """With hardly any salt, friction apart, J = A (P - P_p): pressure goes as one over A.

    The temperature factor of water is exp[22 kJ/mol / R (1/T - 1/T')], that of the class used.
    """
    found = ageing(case(**{
        "water.salinity": "0.05 g/kg", "ageing.design_flow": "0.4 m3/h",
        "high_pressure_pump.flow": "1.2 m3/h", DIAL: "12 bar", "ageing.coldest": "10 degC",
    }))  # fmt: skip
    pressure = grid(found.kept, "ro.feed.pressure")
    drop = grid(found.kept, "ro.pressure_drop")
    driving = pressure - drop / 2
    assert driving[2, 1] / driving[0, 1] == pytest.approx(1 / 0.75, rel=0.02)
    arrhenius = np.exp(22e3 / 8.314 * (1 / 283.15 - 1 / 299.15))
    assert driving[0, 0] / driving[0, 1] == pytest.approx(arrhenius, rel=0.02)


def test_where_something_runs_out_it_does(sea):
    """Just before, the limit is kept; just behind, it is not; years by hand from the loss."""
    reach = sea.reaches[0]
    assert "salt in the product" in reach.binds
    assert reach.years == pytest.approx(np.log(reach.ratio / 0.88) / np.log(0.94), rel=1e-9)
    exponent = np.log(1.6 / 1.25) / np.log(0.75 / 0.88)
    for factor, state in ((1.02, "met"), (0.98, "not_met")):
        ratio = reach.ratio * factor
        moved = case(**{
            "ro.water_permeability_ratio": f"{ratio:.12f}", "water.temperature": "21 degC",
            "ro.salt_permeability_ratio": f"{1.25 * (ratio / 0.88) ** exponent:.12f}",
            "ageing.end_water_permeability_ratio": "0.3",
        })  # fmt: skip
        held = moved.changed(holds=(Hold(DIAL, "product.flow", 0.68 / 3600),))
        verdict = judge(held.solve())
        limit = next(x for x in verdict.limits if x.address == "product.concentration")
        assert limit.state() == state


def test_what_nobody_judges_beyond_a_rung_is_not_kept_beyond_it(sea):
    """Who is hurt: who plans years on a limit that could no longer be told."""
    kept = sea.kept[0]
    row = next(x for x in kept.limits if x.address == "product.concentration")
    told = np.where(np.arange(kept.result.points) < len(AGES) + 4, 0.5 * row.limit, np.nan)
    blind = SimpleNamespace(result=kept.result, limits=(replace(row, value=told),))
    reach = _reach(blind, sea.ladder, 0.88, 0.06)
    assert reach.binds == "salt in the product, not judged beyond"
    assert reach.ratio == pytest.approx(sea.ladder[3])


def test_what_is_asked_beyond_all_ratings_is_refused_today():
    found = ageing(case(**{"ageing.design_flow": "1.2 m3/h"}))
    assert all(reach.years <= 0 for reach in found.reaches)
    text = ageing_text(cases.load(SEA), found)
    assert text.count("NOT to be had from the membranes of today") == 3
    assert all(verdict.state(n) == "not_met" for verdict in found.kept for n in range(3))


def test_a_rated_pump_ends_before_the_vessel_and_wear_takes_flow():
    rated = ageing(case(**{"high_pressure_pump.largest_pressure": "56 bar"}))
    assert "pressure behind the pump" in rated.reaches[0].binds
    worn = ageing(case(**SLIP, **{"ageing.end_wear": "2"}))
    share = grid(worn.fixed, "high_pressure_pump.volumetric_efficiency")
    lift = grid(worn.fixed, "high_pressure_pump.pressure_lift")
    slip = 0.08 * np.array([[1.0], [1.0], [2.0]]) * lift / 50e5
    np.testing.assert_allclose(1 - share, slip, rtol=1e-9)


def test_an_array_too_small_for_the_train_runs_out_first():
    found = ageing(case(**{"array.peak_power": "5.6 kW"}))
    assert all("array" in reach.binds for reach in found.reaches[:1])
    power = sum(d.power for d in found.kept[0].result.all_details.values())[3:]
    near = np.interp(-np.log(found.reaches[0].ratio), -np.log(found.ladder), power)
    assert near == pytest.approx(5.6e3 * 0.94, rel=1e-3)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"ageing.end_water_permeability_ratio": "0.9"}, "are at 0.88 already"),
        ({"ageing.end_salt_permeability_ratio": "1.1"}, "are at 1.25 already"),
        ({"ageing.warmest": "20 degC"}, "colder than coldest"),
        ({"ageing.dial": "high_pressure_pump.flow"}, "no pressure that the case states"),
        ({"ageing.dial": "high_pressure_pump.pressure"}, "no input has the address"),
        ({"high_pressure_pump.wear": "2"}, "it multiplies a slip"),
        ({"high_pressure_pump.slip_pressure": "50 bar"}, "volumetric_efficiency is missing"),
    ],
)
def test_what_cannot_be_is_refused(changes, words):
    with pytest.raises(RequestError, match=words):
        ageing(case(**changes))


@pytest.mark.parametrize(("name", "words"), [("river", "ageing is missing"),
                                             ("sea_recovery", "ageing is missing")])  # fmt: skip
def test_a_case_without_the_table_says_so(name, words, capsys):
    assert cli.main(["ageing", str(ROOT / "cases" / f"{name}.toml")]) == 2
    assert words in capsys.readouterr().err


def test_command_says_no_and_the_document_tells_the_same(capsys):
    """The mean flux is missed by new membranes in warm water: exit 1, named with its states."""
    assert cli.main(["ageing", SEA]) == 1
    page = capsys.readouterr().out
    assert "NOT met: mean flux of the vessel (ro): new at 26 degC" in page
    assert page.count("\n") <= 45  # one screen; all of it by --full, misses in both
    assert cli.main(["ageing", SEA, "--full"]) == 1
    full = capsys.readouterr().out
    assert "WHAT THIS RESTS ON" in full
    assert full.count("\n") > page.count("\n")
    assert [x for x in page.splitlines() if "NOT met" in x and x.startswith(" - ")] == [
        x for x in full.splitlines() if "NOT met" in x and x.startswith(" - ")
    ]
    assert cli.main(["ageing", SEA, "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert [row["age"] for row in told["at_the_setting"]] == list(np.repeat(AGES, 3))
    broken = [row for row in told["at_the_setting"] if "ro.flux_mean" in row["not_met"]]
    assert {(row["age"], row["temperature"]["value"]) for row in broken} == {
        ("new", 26.0), ("new", 31.0), ("today", 31.0)
    }  # fmt: skip
    assert told["runs_out"][0]["binds"] == "salt in the product"
