"""Every case to start from solves, keeps its own limits, and says what is left unjudged."""

from __future__ import annotations

import dataclasses
import json
import re
import tomllib

import numpy as np
import pytest
from command import treatsim

from treatsim import cases, operations
from treatsim.power.months import months_of
from treatsim.power.weather import mean_days
from treatsim.report.starters import kinds, starter
from treatsim.safety.verdict import judge

TRAINS = ("river", "lake", "brackish", "sea", "sea_recovery", "two_pass", "everything")


@pytest.fixture(scope="module", params=TRAINS)
def start(request):
    case = cases.interpret(tomllib.loads(starter(request.param)), f"{request.param}.toml")
    return request.param, case, judge(case.solve())


def test_every_train_has_a_start():
    assert tuple(kinds()) == TRAINS


def test_it_breaks_none_of_its_limits(start):
    _, _, verdict = start
    assert verdict.result.solved[0], verdict.result.reason(0)
    assert not verdict.of_state("not_met")
    assert not verdict.of_state("waived")


def test_it_says_of_every_limit_not_judged_why(start):
    name, _, verdict = start
    text = starter(name)
    for limit in verdict.of_state("not_judged"):
        assert f"# Not judged yet: {limit.needs}:" in text, limit.name
    said = re.findall(r"# Not judged yet: ([a-z_.]+):", text)
    assert set(said) == {limit.needs for limit in verdict.of_state("not_judged")}


def test_it_says_nothing_against_itself(start):
    """No element outside what it is made for, no pump that runs out.

    That the mixing of the light is a guess is told: a start has no reactor to trace. So is the
    taste of what one pass leaves of sea water, which is no limit.
    """
    _, _, verdict = start
    known = ("the tanks in series are a guess", "may be noticed")
    assert [line for line in verdict.told(0) if not any(word in line for word in known)] == []


def test_it_asks_for_nothing_outside_a_formula(start):
    """But for boron in what is left of sea water, saltier than the 45 g/kg of its constant."""
    boron = "boric acid constant in sea water"
    assert [line for line in start[2].excursions(0) if boron not in line] == []


@pytest.mark.parametrize("name", TRAINS)
def test_new_writes_what_solve_reads(name, tmp_path):
    path = tmp_path / f"{name}.toml"
    assert treatsim("new", name, "--out", path).status == 0
    run = treatsim("solve", path, "--json")
    assert run.status == 0, run.err
    assert json.loads(run.out)["solved"]


@pytest.mark.parametrize("name", TRAINS)
def test_it_reads_well(name):
    lines = starter(name).splitlines()
    assert max(map(len, lines)) <= 100
    assert "invented" in starter(name)
    assert "treatsim describe" in starter(name)


def test_everything_has_every_key_of_its_units():
    text = starter("everything")
    data = tomllib.loads(text)
    for name, table in data["units"].items():
        part = text.partition(f"\n[units.{name}]\n")[2].partition("\n\n")[0]
        for item in dataclasses.fields(operations.parameters_class(table["kind"])):
            assert re.search(rf"^(# )?{item.name} = ", part, re.MULTILINE), f"{name}.{item.name}"


def test_what_everything_leaves_out_could_be_written():
    """Every commented entry, one at a time, is read as an entry of its table."""
    text = starter("everything")
    table = ""
    for line in text.splitlines():
        table = line.strip("[]") if line.startswith("[") else table
        entry = re.match(r"# ([a-z_]+) = (.*)$", line)
        if not entry or not table.startswith(("units.", "site", "water", "people", "health")):
            continue
        if entry[2] == "[":  # a list over several lines: read below, with its table
            continue
        assert tomllib.loads(f"{entry[1]} = {entry[2]}")


def test_an_unknown_start_names_the_nearest():
    run = treatsim("new", "rivr")
    assert run.status == 2
    assert 'did you mean "river"?' in run.err
    assert "two_pass" in treatsim("new", "xyzzy").err


@pytest.mark.parametrize("name", ["river", "lake", "sea", "everything"])
def test_sun_and_array_are_there_as_comments_that_can_be_taken_off(name):
    text = starter(name)
    assert "sun" not in tomllib.loads(text)
    wanted, inside = [], False
    for line in text.splitlines():
        inside = (inside and line != "") or line in ("# [sun]", "# [array]")
        prose = inside and not re.match(r"# (\[|[a-z_]+ = |  \"|\]$)", line)
        wanted.append(line if not inside or prose else line.removeprefix("# "))
    sections = cases.interpret(tomllib.loads("\n".join(wanted)), f"{name}.toml").sections
    year = mean_days(sections["site"], sections["sun"])
    found = months_of(sections["array"], sections["site"], year)
    assert np.all(found.power > 0.03 * sections["array"].peak_power), "in the darkest month too"
