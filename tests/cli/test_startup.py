"""The command of the first minutes: what it answers, and when it says no."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from command import treatsim

RIVER = "cases/river.toml"


def test_a_start_that_holds_its_water_back_is_done():
    run = treatsim("startup", RIVER)
    assert run.status == 0
    assert "no water under dose reaches the product" in run.out
    assert "boil at a rolling boil" in run.out


def test_a_slow_valve_lets_water_under_dose_pass_and_says_how_much():
    run = treatsim(
        "startup",
        RIVER,
        "--event",
        "lamp_failure@600s",
        "--set",
        "startup.valve_time=20 s",
        "--json",
    )
    told = json.loads(run.out)
    assert run.status == 1
    assert told["state"] == "not_met"
    assert told["events"][0]["under_dose"]["value"] > 1
    assert told["events"][0]["under_dose"]["unit"] == "L"


def test_a_lamp_that_never_reaches_its_set_point_never_opens_the_valve():
    run = treatsim("startup", RIVER, "--set", "uv.ageing_factor=0.3")
    assert run.status == 1
    assert "never" in run.out


@pytest.mark.parametrize(
    ("event", "says"),
    [
        ("nova@600s", 'no event "nova"; known: lamp_failure'),
        ("lamp_failure@-5s", "lies between 0 s and 24 h"),
        ("lamp_failure@600", "a unit is missing"),
        ("lamp_failure", "write KIND@TIME"),
    ],
)
def test_an_event_that_is_none(event, says):
    run = treatsim("startup", RIVER, "--event", event)
    assert run.status == 2
    assert says in run.err


def test_a_case_without_its_start_says_what_is_missing():
    run = treatsim("startup", "cases/worn_well.toml")
    assert run.status == 2
    assert "[startup] is missing" in run.err


def test_without_a_target_nothing_is_judged(tmp_path):
    text = Path(RIVER).read_text("utf-8")
    line = next(row for row in text.splitlines() if row.startswith("target = "))
    path = tmp_path / "case.toml"
    path.write_text(text.replace(line, ""))
    run = treatsim("startup", path, "--json")
    assert json.loads(run.out)["state"] == "not_judged"
    assert treatsim("startup", path).status == 0


def test_raw_water_led_round_the_light_is_refused(tmp_path):
    text = Path(RIVER).read_text("utf-8")
    line = next(row for row in text.splitlines() if row.startswith("links = "))
    links = (
        "strainer > lift_pump > hose > split",
        "split.run > bags > cartridges > uv > mix.run",
        "split.branch > valve > mix.branch",
        "mix > tank",
    )
    path = tmp_path / "blend.toml"
    path.write_text(
        text.replace(line, f"links = {json.dumps(links)}")
        + '\n[units.split]\nkind = "dividing_tee"\nfraction = "5 %"\n'
        + '[units.valve]\nkind = "throttle_valve"\n[units.mix]\nkind = "combining_tee"\n'
    )
    assert treatsim("solve", path).status in (0, 1)
    run = treatsim("startup", path)
    assert run.status == 2
    assert "water reaches the product round uv" in run.err


def test_membranes_are_held_against_salt_pressure_and_suction():
    run = treatsim("startup", "cases/sea.toml")
    assert run.status == 0
    assert "gain of pressure at the membranes" in run.out
    slow = treatsim("startup", "cases/sea.toml", "--set", "startup.pump_ramp=20 s", "--json")
    told = json.loads(slow.out)
    assert slow.status == 1
    assert told["state"] == "not_met"
    states = {row["name"]: row["state"] for row in told["membranes"]["limits"]}
    assert states == {"over_limit": "met", "pressure_rate": "not_met", "drawn_back": "met"}


@pytest.mark.parametrize(
    "case", ["river_chlorine", "small_unit", "sea", "sea_recovery", "brackish_well", "papers_well"]
)
def test_every_demo_with_a_start_keeps_its_limits(case):
    assert treatsim("startup", f"cases/{case}.toml").status == 0


def test_a_dial_beyond_the_lamp_never_starts():
    run = treatsim("startup", "cases/river_beyond.toml")
    assert run.status == 1
    assert "NEVER: the water does not come to its dose" in run.out
    assert "the product valve never stays open" in run.out


@pytest.mark.parametrize("kind", ["river", "lake", "brackish", "sea", "sea_recovery"])
def test_a_starter_tells_its_start_once_its_lines_are_uncommented(kind, tmp_path):
    lines, inside = [], False
    for row in treatsim("new", kind).out.splitlines():
        inside = (inside or row == "# [startup]") and bool(row.strip())
        written = re.match(r"# (\[startup\]|[a-z_]+ = .*)", row) if inside else None
        lines.append(written[1] if written else row)
    path = tmp_path / f"{kind}.toml"
    path.write_text("\n".join(lines))
    told = json.loads(treatsim("startup", path, "--json").out)
    assert told["state"] in ("met", "not_met")


def test_two_passes_start_and_each_is_told():
    run = treatsim("startup", "cases/sea_two_pass.toml")
    assert run.status == 0
    assert "drawn back by osmosis until the flush, second" in run.out
    assert "go by the conductivity behind it" in run.out.replace("\n  ", "")
    salty = treatsim("startup", "cases/sea_two_pass.toml", "--set", "startup.salt_limit=150 mg/L")
    assert salty.status == 1
    assert "NEVER" in salty.out
