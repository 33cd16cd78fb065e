"""Four cases written from `new` and `describe` alone: what the first try is told, and the last."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command import treatsim

HERE = Path(__file__).parent / "from_scratch"

FIRST = {  # words in the messages of the first try, all in one round
    "lake": (
        'water.uv_transmittance = 0.82: a bare number; write a text with its unit, for example "82',
        "people.level is missing",
        "or give per_person",
        "lake_pump.best_flow is missing: curve needs it",
        "basin.tanks_in_series is missing",
        "uv.end_of_life_factor is missing",
    ),
    "well": (
        'water.pH: no such key; did you mean "ph"?',
        'water.report: no such key; did you mean "ions"?',
        "ro.vessels_in_parallel is missing",
    ),
    "warm_sea": (
        'tee has no outlet "1"; its outlets: run, branch',
        'mix has no inlet "2"; its inlets: run, branch',
    ),
    "two_pass": (
        "pass2 has several outlets, or none: name one; its outlets: permeate, concentrate",
    ),
}


@pytest.mark.parametrize("name", FIRST)
def test_the_first_try_is_told_all_that_is_wrong_at_once(name):
    run = treatsim("solve", HERE / f"{name}_first.toml")
    assert run.status == 2
    assert [words for words in FIRST[name] if words not in run.err] == []


@pytest.mark.parametrize("name", FIRST)
def test_the_last_try_is_solved_and_promises_nothing_it_cannot_keep(name):
    run = treatsim("solve", HERE / f"{name}.toml", "--json")
    answer = json.loads(run.out)
    assert answer["solved"]
    assert answer["state"] == "not_met"  # each leaves a limit, or what nobody measured, open
    assert run.status == 1


def values(name):
    return json.loads(treatsim("solve", HERE / f"{name}.toml", "--json").out)["values"]


def test_the_report_as_calcium_carbonate_and_as_nitrogen_is_read_by_molar_mass():
    """Nitrate 62.0049 over nitrogen 14.0067 g/mol (IUPAC 2021, from memory)."""
    nitrate = values("well")["analytes.nitrate.before"]
    factor = {"mg/L": 1.0, "g/L": 1e3, "kg/m3": 1e3}[nitrate["unit"]]
    assert nitrate["value"] * factor == pytest.approx(17 * 62.0049 / 14.0067, rel=1e-3)


def test_a_blend_holds_what_its_two_waters_bring():
    told = values("two_pass")
    assert told["product.flow"]["value"] == pytest.approx(
        told["pass2.permeate.flow"]["value"] + told["bypass.branch.flow"]["value"], rel=1e-3
    )
