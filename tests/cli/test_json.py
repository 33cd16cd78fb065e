"""The document of --json: its shape, its addresses, its numbers."""

from __future__ import annotations

import json
import math
from functools import cache

import pytest
from command import RIVER, ROOT, river, treatsim
from numpy.testing import assert_allclose

from treatsim import __version__
from treatsim.operations.outcome import GROUPS

KEYS = {
    "treatsim": str,
    "case": str,
    "title": str,
    "state": str,
    "meets": bool,
    "not_met": int,
    "not_judged": int,
    "waived": int,
    "criteria": list,
    "values": dict,
    "excursions": list,
    "cautions": list,
    "sources": list,
}
LIMIT = {"name", "address", "state", "class", "meets", "source", "binding_input"}
JUDGED = {"value", "relation", "limit", "unit", "margin"}
ADDRESSES = (
    "uv.inlet.flow",
    "uv.fluence_rate_mean",
    "uv.residence_time",
    "uv.dose_mean",
    "uv.dose_min",
    "uv.dose_credited",
    "uv.wall_irradiance",
    "product.flow",
    "product.people_served",
    "energy.specific",
    "energy.lift_pump.power",
    "energy.uv.power",
    *(
        f"uv.red.{o}.{m}"
        for o in ("ms2", "cryptosporidium")
        for m in ("unmixed", "laminar", "tanks")
    ),
    *(f"uv.log_credit.{o}" for o in ("cryptosporidium", "giardia", "virus")),
)
RO_ADDRESSES = (
    "ro.feed.flow",
    "ro.feed.pressure",
    "ro.permeate.flow",
    "ro.permeate.concentration",
    "ro.concentrate.concentration",
    "ro.recovery",
    "ro.pressure_drop",
    "ro.polarisation_max",
    "ro.net_driving_pressure_min",
    "ro.flux_mean",
    "ro.flux_first",
    "ro.flux_last",
    "energy.specific",
    "energy.least_work",
    "energy.second_law_efficiency",
    "product.flow",
)
CASES = sorted((ROOT / "cases").glob("*.toml"))


@cache
def document(*arguments):
    """The document of a case, read by several tests and changed by none."""
    run = treatsim("solve", *arguments, "--json")

    def refuse(token):
        raise AssertionError(f"{token} is no JSON")

    return json.loads(run.out, parse_constant=refuse)


def test_its_shape():
    data = document(RIVER)
    for key, kind in KEYS.items():
        assert isinstance(data[key], kind), key
    assert data["treatsim"] == __version__
    assert data["case"].endswith("river.toml")
    assert data["state"] == "not_judged"
    for row in data["criteria"]:
        open_ = row["state"] == "not_judged"
        assert set(row) - {"chance"} == LIMIT | ({"needs"} if open_ else JUDGED)
        assert row["class"] in GROUPS
        assert open_ or row["relation"] in (">=", "<=")
    for address, item in data["values"].items():
        assert set(item) == {"value", "unit"}, address


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_address_of_the_river_train(address):
    assert math.isfinite(document(RIVER)["values"][address]["value"])


@pytest.mark.parametrize("address", RO_ADDRESSES)
def test_every_address_of_reverse_osmosis(address):
    assert math.isfinite(document(ROOT / "cases/sea.toml")["values"][address]["value"])


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_every_case_gives_clean_json(path):
    data = document(path)
    assert data["values"]
    judged = [row for row in data["criteria"] if row["state"] != "not_judged"]
    for row in judged:
        value = row["value"] if row["relation"] == ">=" else -row["value"]
        limit = row["limit"] if row["relation"] == ">=" else -row["limit"]
        assert row["meets"] == (value >= limit - 1e-6 * abs(limit))
        assert (row["margin"] >= -1e-6) == row["meets"]
    assert data["meets"] == all(row["meets"] for row in data["criteria"])
    assert data["not_judged"] == len(data["criteria"]) - len(judged)
    assert data["not_met"] == sum(row["state"] == "not_met" for row in data["criteria"])


def test_criteria_point_at_values_and_inputs():
    data = document(RIVER)
    for row in [row for row in data["criteria"] if row["state"] != "not_judged"]:
        assert data["values"][row["address"]]["unit"] == row["unit"]
        assert_allclose(data["values"][row["address"]]["value"], row["value"], rtol=1e-12)
        if row["binding_input"]:
            number = row["binding_input"].split(".")
            assert len(number) == 2


def test_without_an_operating_point():
    data = document(RIVER, "--set", "lift_pump.speed=20 %")
    assert data["solved"] is False
    assert data["meets"] is False
    assert data["values"] == {}
    assert "nothing flows" in data["reason"]


def test_endless_becomes_null(tmp_path):
    path = river(
        tmp_path,
        (
            '{ value = "7 mg/L", spread = "3 mg/L", distribution = "lognormal" }',
            '"0 mg/L"',
        ),
    )
    assert document(path)["values"]["bags.hours_by_mass"] == {"value": None, "unit": "h"}


def test_units():
    si, us = document(RIVER), document(RIVER, "--units", "us")
    assert us["values"]["product.flow"]["unit"] == "gal/min"
    gallons = si["values"]["product.flow"]["value"] / 0.2271247
    assert_allclose(us["values"]["product.flow"]["value"], gallons, rtol=1e-6)
    assert us["values"]["hose.inlet.pressure"]["unit"] == "psi"
    assert us["meets"] == si["meets"]


def test_the_text_carries_both():
    run = treatsim("solve", RIVER, "--units", "us")
    assert "gal/min" in run.out
    assert "psi" in treatsim("solve", RIVER, "--units", "us", "--full").out


def test_a_change_is_applied():
    base, changed = document(RIVER), document(RIVER, "--set", "lift_pump.speed=90 %")
    assert changed["values"]["product.flow"]["value"] > base["values"]["product.flow"]["value"]
    both = document(RIVER, "--set", "lift_pump.speed=90 %", "--set", "uv.ageing_factor=1.0")
    assert both["values"]["uv.dose_mean"]["value"] > changed["values"]["uv.dose_mean"]["value"]


def test_json_is_the_same_twice():
    assert treatsim("solve", RIVER, "--json").out == treatsim("solve", RIVER, "--json").out
