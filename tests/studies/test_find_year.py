"""Sizes for which years meet what is asked: monotone, held against the year itself, refusals."""

from __future__ import annotations

import functools
import importlib
import json
import re

import numpy as np
import pytest
from command import treatsim

import treatsim as package
from treatsim import cases
from treatsim.running.prepared import prepared
from treatsim.studies.find_year import find_year
from treatsim.studies.requirements import targets

SEA = "cases/sea.toml"
ASKED = "year.water_on_95_percent_of_days >= 3000 L"
YEARS = 4


@pytest.fixture(autouse=True)
def few_years(monkeypatch):
    """Fewer than a case draws: how a size is looked for does not depend on how many."""
    for name in ("treatsim.studies.find_year", "treatsim.running.year"):
        few = functools.partial(prepared, years=YEARS)
        monkeypatch.setattr(importlib.import_module(name), "prepared", few)


def sizes(address: str, *asked: str):
    return find_year(cases.load(SEA), [address], targets(asked))


def test_a_larger_array_never_makes_less_and_the_edge_is_where_the_year_says():
    found = sizes("array.peak_power", "year.water_mean >= 6 m3")
    row = found.results["year.water_mean"]
    assert np.all(np.diff(row) > -1e-6), "the same years for every size"
    edge = float(found.tried[found.edge])
    assert found.met[found.edge]
    assert not found.met[found.edge - 1]
    assert found.tried[found.edge - 1] > edge / 1.0025  # the step stated, 64 ** (1 / 12 ** 3)
    told = treatsim("year", SEA, "--json", "--set", f"array.peak_power={edge!r} W")
    mean = json.loads(told.out)["values"]["year.water_mean"]["value"] / 1000
    assert mean == pytest.approx(row[found.edge], rel=1e-9)
    assert mean >= 6 > row[found.edge - 1]


def test_the_size_told_is_rounded_to_the_side_that_meets():
    found = package.find(cases.load(SEA), "array.peak_power", ASKED)
    told = float(re.search(r"met from ([\d.]+) W up", found.lines()[0])[1])
    assert told >= found.tried[found.edge]
    document = found.document()
    assert document["met"] == "above"
    assert document["edge"]["value"] == pytest.approx(found.tried[found.edge])


SOLAR = ("site", "sun", "array", "battery", "loads", "operation")


def test_a_tank_among_the_units_is_a_size_and_keeps_its_contact_time():
    """A small tank holds chlorine too short: it is no answer, whatever water it gives."""
    data, river = (cases.load(f"cases/{name}.toml").data for name in ("river_chlorine", "river"))
    case = cases.interpret({**data, **{table: river[table] for table in SOLAR}}, SEA)
    seen = []
    asked = targets(["year.water_mean >= 1 L"])
    found = find_year(case, ["tank.volume"], asked, lambda done, total: seen.append((done, total)))
    assert found.edge is not None
    assert not found.fit[found.edge - 1]
    assert any("miss a limit" in line for line in found.lines())
    assert seen[-1][0] == seen[-1][1]
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


def test_what_no_size_meets_is_not_found():
    run = treatsim("find", SEA, "--adjust", "battery.capacity", "--until",
                   "year.water_on_95_percent_of_days >= 50 m3")  # fmt: skip
    assert run.status == 1
    assert "met by no size" in run.out


def test_no_size_makes_water_fit_that_misses_a_limit():
    run = treatsim("find", SEA, "--adjust", "battery.capacity", "--until", "year.water_mean >= 1 L",
                   "--set", "cartridge.largest_flow=1 m3/h")  # fmt: skip
    assert run.status == 1
    assert "no size makes this water fit" in run.out


@pytest.mark.parametrize(
    ("adjust", "until", "says"),
    [
        ("array.peak_power", "year.litres >= 5 L", "one of year.water_mean"),
        ("array.peak_power", "year.water_mean >= 5 kWh", "no unit of volume"),
        ("array.peak_power", "year.water_mean >= 5 m3/day", "leave /day out"),
        ("water.temperature", "year.water_mean >= 5 L", "a size of [array]"),
        ("loads.inverter_efficiency", "year.water_mean >= 5 L", "a size of [array]"),
        ("operation.tank", "year.water_mean >= 5 L", "needs a value above 0"),
        ("cartridge.capacity", "year.water_mean >= 5 L", "the volume of a storage tank"),
        ("array.tilts", "year.water_mean >= 5 L", "array.tilt"),
        ("battery.chemistry", "year.water_mean >= 5 L", "battery.chemistry"),
        ("battery.capacity", "year.days_short_at_the_tap <= 5 %", "[people] is needed"),
    ],
)
def test_nonsense_is_refused_in_a_line(adjust, until, says):
    run = treatsim("find", SEA, "--adjust", adjust, "--until", until)
    assert run.status == 2
    assert says in run.err
    assert len(run.err.splitlines()) == 2
    assert "Traceback" not in run.err
