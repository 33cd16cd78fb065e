"""The command of the day: what it answers by the clock, and when it says no."""

from __future__ import annotations

import json
import re
from functools import cache

import numpy as np
import pytest
from command import treatsim

SEA, RIVER = "cases/sea.toml", "cases/river.toml"
TANK = (
    "--set", "people.level=survival", "--set", "people.losses=15 %", "--set",
    "people.running_time=10 h", "--set", "operation.tank=4 m3", "--set",
    "people.number=300 people",
)  # fmt: skip


@cache
def document(case: str, *options: str) -> dict:
    run = treatsim("day", case, "--json", *options)
    return json.loads(run.out) | {"status": run.status}


def hours(told: dict, name: str) -> np.ndarray:
    return np.array(told["hours"][name]["values"])


def litres(told: dict) -> float:
    return told["water"]["value"]


@pytest.mark.parametrize("case", [SEA, RIVER])
def test_a_dull_day_has_less_sun_and_less_water_than_a_clear_one(case):
    clear, dull = (document(case, "--date", "08-10", *more) for more in ((), ("--dull",)))
    assert dull["irradiation"]["value"] < dull["usual_irradiation"]["value"]
    assert dull["irradiation"]["value"] < clear["irradiation"]["value"]
    assert litres(dull) < litres(clear)
    assert hours(clear, "water").sum() == pytest.approx(litres(clear), rel=1e-9)


def test_the_train_runs_between_the_hours_told_and_not_outside():
    told = document(SEA, "--date", "06-15")
    on = hours(told, "train") > 0
    minutes = [tuple(int(p) for p in run[end].split(":")) for run in told["runs"]
               for end in ("from", "to")]  # fmt: skip
    edges = np.array([hour + minute / 60 for hour, minute in minutes]).reshape(-1, 2)
    for hour in range(24):
        told_on = bool(np.any((edges[:, 0] < hour + 1) & (edges[:, 1] > hour)))
        assert told_on == on[hour], hour
    assert not on[:6].any(), "the schedule of the case begins at 6:00"
    assert not on[20:].any(), "and ends at 20:00"


def test_without_a_date_it_is_the_month_in_which_the_array_gives_least():
    assert document(SEA)["day"] == "10 December"


def test_tools_cost_water_while_energy_is_short_and_none_when_the_tank_is_full():
    short, full = document(SEA, "--date", "12-10"), document(SEA, "--date", "04-15", *TANK)
    noon = 12
    assert short["tools_may_be_plugged_in"][noon]
    # 1 kWh is 149 L at 6.7 kWh/m3 where the train stops for it, and as much less as a higher dial
    # takes for a litre where it only eases; with it may go one start more or less, as the page says
    on = hours(short, "train") > 3000
    last = np.polyfit(hours(short, "train")[on], hours(short, "water")[on], 1)[0] * 1000
    assert 40 < last < 1000 / 6.7
    line = next(text for text in short["notes"] if "one start more or less" in text)
    start = float(re.search(r"moves them by ([\d.]+) L", line)[1])
    cost = hours(short, "cost_of_tools")
    assert last - start <= cost[noon] <= 1000 / 6.7 + start
    assert np.all(cost <= 1000 / 6.7 + 2 * start), "starts of this day and of the next"
    assert hours(full, "cost_of_tools")[noon] == pytest.approx(0.0, abs=0.5)
    assert hours(full, "unused")[noon] > 1.0
    assert np.all(hours(full, "tank") <= 4000 * (1 + 1e-9))


def test_smaller_tools_cost_less_and_find_more_hours():
    """A third of the power at the same hour is a third of the litres, but for a start."""
    large, small = (document(RIVER, *more) for more in ((), ("--set", "loads.tools=300 W")))
    assert small["tools"]["value"] == pytest.approx(300.0)
    may = [np.array(told["tools_may_be_plugged_in"]) for told in (large, small)]
    assert may[1].sum() > may[0].sum()
    assert np.all(may[1] | ~may[0]), "what a large tool may, a small one may"
    cost = [hours(told, "cost_of_tools") for told in (large, small)]
    assert np.all(cost[1][may[0]] < 0.5 * cost[0][may[0]])


def test_tools_that_get_nothing_may_not_be_plugged_in():
    told = document(RIVER, "--dull", "--date", "08-10")
    assert not any(told["tools_may_be_plugged_in"])
    assert any("at no hour" in line for line in told["answer"])


def test_a_night_for_which_too_little_is_left_is_not_met():
    small = ("--set", "battery.capacity=0.3 kWh", "--set", "loads.standby=200 W")
    told = document(SEA, "--dull", *small)
    assert told["status"] == 1
    assert told["night"]["missing"]["value"] > 0
    assert any("NOT ENOUGH" in line for line in told["answer"])


def test_a_limit_missed_in_the_case_is_not_met():
    told = document(SEA, "--set", "cartridge.largest_flow=1 m3/h")
    assert told["status"] == 1
    assert told["answer"][0].startswith("NOT MET at the setting")


@pytest.mark.parametrize("options", [("--dull",), ("--date", "04-15", *TANK), ("--units", "us")])
def test_it_is_one_screen(options):
    lines = treatsim("day", SEA, *options).out.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize("date", ["13-01", "02-30", "June", ""])
def test_no_such_day(date):
    run = treatsim("day", SEA, f"--date={date}")
    assert run.status == 2
    assert "month and day belong here" in run.err
    assert len(run.err.splitlines()) <= 2


def test_a_case_without_sun_names_every_table():
    run = treatsim("day", "cases/sea_recovery.toml")
    assert run.status == 2
    assert all(f"[{name}]" in run.err for name in ("sun", "array", "battery", "operation"))


def test_hours_that_run_past_midnight_are_told():
    """Two hours exchanged are a load of most of the day; a lamp of the evening is none of these."""
    run = treatsim("day", "cases/sea.toml", "--set", "loads.deferrable=500 W 13:00 to 10:00",
                   "--set", "operation.schedule=20:30 to 10:00")  # fmt: skip
    told = [line for line in run.out.splitlines() if "past midnight" in line]
    assert "500 W 13:00 to 10:00 runs past midnight, 21 hours a day" in told[0]
    assert "operation.schedule: 20:30 to 10:00 runs past midnight, 13.5 hours a day" in told[1]
    assert len(told) == 2
