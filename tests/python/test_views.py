"""What a notebook shows, and what goes out to data frames and grids."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from plant import ROOT

import treatsim
from treatsim import RequestError

SPEED, CLEAR = "lift_pump.speed", "water.uv_transmittance"


@pytest.fixture(scope="module")
def case():
    return treatsim.load(ROOT / "cases/river.toml")


@pytest.fixture(scope="module")
def table(case):
    return treatsim.sweep(case, {SPEED: "20 %:80 %:3", CLEAR: "80 %,90 %"})


def test_a_short_word_for_everything(case, table):
    result = case.solve()
    many = case.solve({SPEED: [0.2, 0.7, 0.8]})
    found = treatsim.find(case, SPEED, "product.flow >= 6 m3/h")
    best = treatsim.find(case, SPEED, best="largest product.flow")
    shown = [case, result, many, treatsim.judge(result), treatsim.judge(many), found, best, table]
    for thing in [*shown, treatsim.solve(case)]:
        assert repr(thing).startswith(f"<{type(thing).__name__}"), repr(thing)
        assert len(repr(thing).splitlines()) == 1
    assert "3 points, 2 with an answer; nothing judged" in repr(many)
    assert "1 no answer" in repr(treatsim.judge(many))
    assert str(found).splitlines() == found.lines()


def test_a_result_never_looks_judged(case):
    for result in (case.solve(), case.solve({SPEED: [0.2, 1.0]})):
        assert "nothing is judged" in result._repr_html_()
        assert "nothing judged" in repr(result)
    assert "not met" in treatsim.solve(case.changed(parameters=faster(case)))._repr_html_()


def test_a_case_shows_what_it_states_and_solves_nothing(case):
    shown = case._repr_html_()
    assert "nothing is solved here" in shown
    assert "<td>lift_pump</td><td>feed_pump</td><td>speed = 74 %</td>" in shown
    assert "salinity = 300 mg/L" in shown
    many = case.changed(parameters=faster(case, np.array([0.8, 0.9])))
    assert "speed = 2 values" in many._repr_html_()
    held = treatsim.load(ROOT / "cases/well_sulfate.toml")
    assert all(f"such that {hold.until} = " in held._repr_html_() for hold in held.holds)


def faster(case, speed=1.1):
    import dataclasses

    pump = dataclasses.replace(case.parameters["lift_pump"], speed=speed)
    return {**case.parameters, "lift_pump": pump}


def test_html_is_escaped(case):
    odd = case.changed(title="<script>alert(1)</script>")
    for shown in (odd, odd.solve(), treatsim.solve(odd)):
        assert "<script>" not in shown._repr_html_()


def test_points_without_an_answer_are_no_number(case):
    many = case.solve({SPEED: [0.2, 0.7]})
    for flow in (many["product.flow"], treatsim.judge(many)["product.flow"]):
        assert np.isnan(flow[0])
        assert flow[1] > 0
    frame = many.to_pandas()
    assert frame["product.flow [m3/h]"].isna().tolist() == [True, False]
    assert_allclose(frame["product.flow [m3/h]"][1], many["product.flow"][1].to("m3/h"))


def test_a_wrong_address_names_the_nearest(case, table):
    for asked in (case.solve(), treatsim.solve(case), treatsim.judge(case.solve()), table):
        with pytest.raises(RequestError, match=r"near: .*product\.flow"):
            asked["product.flw"]


def test_a_grid_as_xarray(table):
    data = table.to_xarray()
    assert data["product.flow"].dims == (SPEED, CLEAR)
    assert data["product.flow"].shape == (3, 2)
    assert data["product.flow"].attrs["units"] == "m3/h"
    assert data[SPEED].attrs["units"] == "%"
    assert_allclose(data[SPEED], [20, 50, 80])
    assert_allclose(data[CLEAR], [80, 90])
    flow = table["product.flow"].to("m3/h").reshape(3, 2)
    assert_allclose(data["product.flow"], flow, rtol=1e-12)
    assert data["state"].values[0].tolist() == ["no_answer", "no_answer"]
    one = data["uv.dose_credited"].sel({SPEED: 80, CLEAR: 90}).item()
    assert one == pytest.approx(table["uv.dose_credited"][5].to("mJ/cm2"))
    assert table.to_xarray("us")["product.flow"].attrs["units"] == "gal/min"


def test_words_and_counts_span_a_grid(case):
    vary = {"uv.emission": "isotropic,cosine", "uv.tanks_in_series": "5,10"}
    data = treatsim.sweep(case, vary, show=["uv.dose_credited"]).to_xarray()
    assert data["uv.emission"].values.tolist() == ["isotropic", "cosine"]
    assert data["uv.tanks_in_series"].values.tolist() == [5, 10]
    assert data["uv.dose_credited"].shape == (2, 2)
