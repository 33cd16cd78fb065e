"""The document of solve keeps to its JSON schema, which the package carries."""

from __future__ import annotations

import copy
import json
from importlib.resources import files

import jsonschema
import pytest
from command import ROOT, treatsim

SCHEMA = json.loads((files("treatsim") / "report/solve_schema.json").read_text())
CASES = sorted((ROOT / "cases").glob("*.toml"))
DRY = ("--set", "lift_pump.speed=20 %")  # too slow to lift the water: no operating point


def check(document):
    jsonschema.Draft202012Validator(SCHEMA).validate(document)


def solved(*arguments):
    return json.loads(treatsim("solve", *arguments, "--json").out)


def test_the_schema_is_one():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_answers_keep_to_it(case):
    for system in ("si", "us"):
        answer = solved(case, "--units", system)
        assert answer["solved"]
        check(answer)


def test_no_operating_point_keeps_to_it():
    answer = solved(ROOT / "cases/river.toml", *DRY)
    assert not answer["solved"]
    check(answer)


def turn(limit):
    limit["meets"] = not limit["meets"]


BROKEN = {
    "no state": lambda d: d.pop("state"),
    "met without an answer": lambda d: d.update(solved=False),
    "a promise over a limit not met": lambda d: d.update(meets=True, state="not_met"),
    "a limit met and not met": lambda d: d["criteria"][0].update(
        meets=not d["criteria"][0]["meets"]
    ),
    "a value without a unit": lambda d: next(iter(d["values"].values())).pop("unit"),
    "a key of its own": lambda d: d.update(verdict="fine"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_what_is_no_answer_is_refused(name):
    answer = copy.deepcopy(solved(ROOT / "cases/river.toml"))
    BROKEN[name](answer)
    with pytest.raises(jsonschema.ValidationError):
        check(answer)
