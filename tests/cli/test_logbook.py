"""The command of a log: demo logs, forms of output, and when it says no."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from pathlib import Path

import pytest
from command import treatsim

WELL = ("cases/worn_well.toml", "cases/worn_well.csv")
RIVER = ("cases/river_log.toml", "cases/river_log.csv")
O_RING = "O-ring, interconnector or torn element"


@pytest.fixture(scope="module")
def well():
    return treatsim("logbook", *WELL)


def short(folder, *changes, head=None, rows=200):
    """The first rows of the well's log, changed."""
    lines = Path(WELL[1]).read_text("utf-8").splitlines()[1 : rows + 2]
    lines[0] = head or lines[0]
    for line, old, new in changes:
        assert old in lines[line - 1]
        lines[line - 1] = lines[line - 1].replace(old, new)
    path = folder / "log.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def test_the_worn_well_is_diagnosed(well):
    """What was put into the demo: dead rows, an O-ring, fouling at the front."""
    assert well.status == 1
    text = " ".join(well.out.split())
    assert "1008 rows, 991 used" in text
    assert f"NOT to be given out: ro: {O_RING} suspected" in text
    for line in ("lines 143 to 144, 505:", "line 313:", "lines 399 to 410:", "line 423:"):
        assert line in text
    assert "1. O-RING" in text
    assert "2. FOULING AT THE FRONT" in text
    assert text.index("O-RING") < text.index("FOULING")
    assert "A pattern is no proof" in text
    assert max(map(len, well.out.splitlines())) <= 80


def test_the_river_is_diagnosed():
    run = treatsim("logbook", *RIVER, "--json")
    told = json.loads(run.out)
    assert run.status == 1
    found = {unit["unit"]: [c["name"] for c in unit["causes"]] for unit in told["units"]}
    assert found["lift_pump"] == ["wear of the pump"]
    assert found["bags"] == ["loading, as filters do"]
    assert found["cartridges"] == ["bypass"]
    assert "fouling of the sleeve" in found["uv"]
    assert told["urgent"] == [line for line in told["urgent"] if line.startswith("cartridges")]
    assert run.lines == told["urgent"]  # told on standard error where no page leads with it


def test_json_has_every_row_and_every_fault(well):
    told = json.loads(treatsim("logbook", *WELL, "--json").out)
    (unit,) = told["units"]
    dropped = {fault["line"] for fault in told["faults"] if fault["dropped"]}
    assert told["rows"] == len(unit["lines"]) + len(dropped) == 1008
    assert dropped.isdisjoint(unit["lines"])
    assert len(unit["series"]["water"]["values"]) == len(unit["lines"])
    assert [event["text"] for event in told["events"]] == ["cartridge changed", "meter cleaned"]
    assert told["acts"] is True


def test_a_csv_has_a_line_for_every_number(tmp_path):
    out = tmp_path / "rows.csv"
    treatsim("logbook", *WELL, "--out", out)
    table = list(csv.DictReader(io.StringIO(out.read_text("utf-8"))))
    water = [row for row in table if row["quantity"] == "water"]
    assert len(water) == 991
    assert 0.9 < float(water[0]["value"]) < 0.95
    assert float(water[0]["standard_error"]) > 0


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_a_picture(tmp_path, suffix):
    out = tmp_path / f"log.{suffix}"
    treatsim("logbook", *WELL, "--out", out)
    assert out.stat().st_size > 10_000


def test_the_case_as_it_is_today(tmp_path):
    """Membranes without what runs past the seal; and the stop goes with the case."""
    out = tmp_path / "today.toml"
    run = treatsim("logbook", *WELL, "--out", out)
    assert run.status == 1
    text = out.read_text("utf-8")
    data = tomllib.loads(text)
    ro = data["units"]["ro"]
    assert f"# ro: {O_RING}: suspected" in text
    assert "# ro: fouling at the front" in text
    assert 0.80 < ro["water_permeability_ratio"]["value"] < 0.83
    assert 1.10 < ro["salt_permeability_ratio"]["value"] < 1.18  # 1.15 was put in; with leak 2.2
    assert O_RING in ro["salt_permeability_ratio"]["source"]
    assert 1.40 < ro["pressure_drop_ratio"]["value"] < 1.50
    assert data["logbook"]["stop"] == [f"ro: {O_RING} suspected"]
    solved = treatsim("solve", out)
    assert solved.status == 1
    assert "NOT fit to be given out" in solved.out
    assert "by its log" in solved.out


def test_a_stop_stays_until_a_person_takes_it_out(tmp_path):
    """A later log in which nothing is wrong does not take it out; taking the line out does."""
    first, later = tmp_path / "first.toml", tmp_path / "later.toml"
    treatsim("logbook", *WELL, "--out", first)
    treatsim("logbook", first, short(tmp_path), "--out", later)
    stop = tomllib.loads(later.read_text("utf-8"))["logbook"]["stop"]
    assert stop == [f"ro: {O_RING} suspected"]
    text = later.read_text("utf-8")
    later.write_text("\n".join(x for x in text.splitlines() if not x.startswith("stop")), "utf-8")
    assert "by its log" not in treatsim("solve", later).out


def test_a_log_in_which_nothing_is_wrong_is_done(tmp_path):
    run = treatsim("logbook", WELL[0], short(tmp_path, rows=120))
    assert run.status == 0
    assert "nothing to be done by these readings" in run.out


def test_last_rows_left_out_is_no_all_clear(tmp_path):
    lines = Path(WELL[1]).read_text("utf-8").splitlines()[1:122]
    lines[-2:] = [line.rsplit(",", 3)[0] + ",none,24.0," for line in lines[-2:]]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(lines) + "\n", "utf-8")
    run = treatsim("logbook", WELL[0], path)
    assert run.status == 1
    assert "the last 2 rows are left out: the state of today is not judged" in " ".join(
        run.out.split()
    )


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("ro.feed.flow", "raw.flow", "ro: its log needs ro.feed.flow or ro.concentrate.flow"),
        ("water.temperature", "air.temperature", "ro: its log needs water.temperature"),
        ("ro.permeate.conductivity", "x", "needs ro.permeate.conductivity or"),
        ("time", "when", 'no column "time"'),
    ],
)
def test_a_missing_column_is_named(tmp_path, old, new, says):
    head = Path(WELL[1]).read_text("utf-8").splitlines()[1].replace(old, new)
    run = treatsim("logbook", WELL[0], short(tmp_path, head=head))
    assert run.status == 2
    assert says in run.err
    assert "Traceback" not in run.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("cases/sea.toml", WELL[1]), "a table [logbook] with the instruments' errors"),
        ((WELL[0], "cases/none.csv"), "no such file"),
        ((WELL[0], "cases/worn_well.toml"), 'no column "time"'),
        ((WELL[0], "cases"), "not readable"),
        ((*WELL, "--set", "logbook.flow_error=70 %"), "not above 30 %"),
        ((*WELL, "--set", "logbook.feed_solids=0.66"), "a unit is missing"),
        ((*WELL, "--set", "logbook.feed_solids=0.66 mg/L"), "mg/L per uS/cm"),
    ],
)
def test_a_wrong_request(arguments, says):
    run = treatsim("logbook", *arguments)
    assert run.status == 2
    assert says in run.err
    assert "Traceback" not in run.err


@pytest.mark.parametrize("stop", ['"checked"', "[1]", "{}"])
def test_a_stop_is_a_list_of_texts(tmp_path, stop):
    path = tmp_path / "case.toml"
    text = Path(WELL[0]).read_text("utf-8")
    path.write_text(text.replace("[logbook]\n", f"[logbook]\nstop = {stop}\n"), "utf-8")
    run = treatsim("solve", path)
    assert run.status == 2
    assert "stop" in run.err
    assert "a list of texts belongs here" in run.err


def test_us_units(tmp_path):
    run = treatsim("logbook", WELL[0], short(tmp_path), "--units", "us")
    assert "gal/min" in run.out
    assert "m3/h" not in run.out
