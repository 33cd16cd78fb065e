"""Sizes for which years meet what is asked: monotone, held against the year itself, refusals."""

from __future__ import annotations

import dataclasses
import functools
import importlib
import json
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from command import treatsim

import treatsim as package
from treatsim import cases
from treatsim.report.plots import table
from treatsim.running.prepared import prepared
from treatsim.studies.find_pairs import Pair, Pairs, _mass, _Rung
from treatsim.studies.find_year import find_year
from treatsim.studies.requirements import targets
from treatsim.studies.year_sizes import results_at, sized

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
    return find_year(cases.load(SEA), address, targets(asked))


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
    found = find_year(case, "tank.volume", asked, lambda done, total: seen.append((done, total)))
    assert found.edge is not None
    assert not found.fit[found.edge - 1]
    assert any("miss a limit" in line for line in found.lines())
    assert seen[-1][0] == seen[-1][1]
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)


@cache
def pairs():
    """The pairs of the gallery, which a test of figures works out anew: battery, array, litres."""
    rows = table.from_csv(Path("figures/sea-size-pairs.csv").read_text("utf-8"))
    litres = float(re.search(r"least (\d+) L", str(rows["asked"][0]))[1])
    return rows["battery [kWh]"], rows["array [W]"], litres


def test_a_pair_is_just_enough_and_a_larger_battery_asks_for_no_larger_array():
    """By the years themselves: enough at the pair, too little with the array told before it."""
    battery, array, litres = pairs()
    assert np.all(np.diff(array) <= 0)
    assert array[0] > 1.5 * array[-1], "a small battery is paid for by the array"
    case = cases.load(SEA)
    sizes = [
        {"array.peak_power": float(a) * part, "battery.capacity": float(b) * 3.6e6}
        for b, a in zip(battery[:3], array[:3], strict=True) for part in (1.0, 0.985)
    ]  # fmt: skip
    tried = results_at(case, prepared(case, Path("cases")), sizes, lambda done, total: None)
    found = tried.results["year.water_on_95_percent_of_days"] * 1000
    assert np.all(found[::2] >= litres)
    assert np.all(found[1::2] < litres)
    mean = [float(water.mean()) * 1000 for water in tried.water]
    assert mean == pytest.approx(tried.results["year.water_mean"] * 1000, rel=1e-12)


def test_a_battery_carries_its_power_and_its_mass_with_it():
    """Half the cells take half the power: a bank of a tenth that still gives 8 kW is none."""
    case = cases.load(SEA)
    half = sized(case, {"battery.capacity": 10 * 3.6e6, "array.peak_power": 9000.0})
    assert half.sections["battery"].charge_power == pytest.approx(4000.0)
    assert half.sections["battery"].discharge_power == pytest.approx(4000.0)
    assert _mass(case, {"array.peak_power": 2.0, "battery.capacity": 0.5}) == 2 * 540 + 0.5 * 180
    assert _mass(case, {"array.peak_power": 2.0, "operation.tank": 0.5}) is None


PAIR = Pair(36e6, 8873.5, False, {"year.water_mean": 3.0}, {"year.water_mean": (2.9, 3.1)}, 620.0)


def test_pairs_are_told_rounded_up_and_none_as_none():
    asked = tuple(targets(["year.water_mean >= 3 m3"]))
    short = Pair(9e6, float("nan"), False, {}, {}, None)
    found = Pairs(("array.peak_power", "battery.capacity"), ("power", "energy"), (9000.0, 72e6),
                  72000.0, asked, (short, PAIR), (), ("germs",))  # fmt: skip
    lines = "\n".join(found.lines())
    assert "8880 W" in lines
    assert "none to 72000 W" in lines
    assert "lightest of these: 8880 W with 10 kWh" in lines
    assert "2900 L to 3100 L" in lines
    assert "NOT JUDGED" in lines
    assert found.found
    missed = dataclasses.replace(found, missed=("germs",))
    assert not missed.found
    assert "no size makes this water fit" in "\n".join(missed.lines())
    rows = found.document()["pairs"]
    assert rows[0]["array.peak_power"] is None
    assert rows[1]["mass"] == {"value": 620.0, "unit": "kg"}


def test_no_pair_is_enough_where_any_larger_array_fails():
    rung = _Rung(1.0, np.array([1.0, 2.0, 4.0]))
    rung.add(np.array([True, False, True]), [({}, np.zeros(1))] * 3)
    assert rung.edge == 2
    assert np.all((rung.next > 2) & (rung.next < 4))
    rung = _Rung(1.0, np.array([1.0, 2.0]))
    rung.add(np.array([True, False]), [({}, np.zeros(1))] * 2)
    assert rung.edge == 2
    assert rung.next.size == 0


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
        ("array.peak_power loads.tools", "year.water_mean >= 5 L", "two of array.peak_power"),
        ("array.peak_power array.peak_power", "year.water_mean >= 5 L", "stands twice"),
        ("array.peak_power operation.tank", "year.water_mean >= 5 L", "needs a value above 0"),
        ("array.peak_power battery.capacity array.tilt", "year.water_mean >= 5 L", "two together"),
        ("battery.capacity", "year.days_short_at_the_tap <= 5 %", "[people] is needed"),
    ],
)
def test_nonsense_is_refused_in_a_line(adjust, until, says):
    both = [word for one in adjust.split() for word in ("--adjust", one)]
    run = treatsim("find", SEA, *both, "--until", until)
    assert run.status == 2
    assert says in run.err
    assert len(run.err.splitlines()) == 2
    assert "Traceback" not in run.err
