"""--out writes whole or not at all; colour only where it can be seen."""

from __future__ import annotations

import csv
import errno
import json
import os
import stat
import sys
from pathlib import Path

import pytest
from command import RIVER, treatsim

from treatsim.report import files


def left(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_file(tmp_path):
    target = tmp_path / "out.json"
    run = treatsim("solve", RIVER, "--json", "--out", target)
    assert run.status == 0
    assert run.out == ""
    assert target.read_text("utf-8") == treatsim("solve", RIVER, "--json").out
    assert left(tmp_path) == ["out.json"]
    assert stat.S_IMODE(target.stat().st_mode) & 0o400


def test_the_status_stays_that_of_the_case(tmp_path):
    run = treatsim("solve", RIVER, "--set", "lift_pump.speed=110 %", "--out", tmp_path / "x.txt")
    assert run.status == 1


def test_a_directory(tmp_path):
    run = treatsim("solve", RIVER, "--out", tmp_path)
    assert run.status == 2
    assert "this is a directory; name a file" in run.err


def test_a_folder_that_is_not_there(tmp_path):
    run = treatsim("solve", RIVER, "--out", tmp_path / "no" / "out.txt")
    assert run.status == 2
    assert "cannot be written: no such file or directory" in run.err
    assert left(tmp_path) == []


def test_a_name_too_long(tmp_path):
    run = treatsim("solve", RIVER, "--out", tmp_path / ("x" * 400 + ".txt"))
    assert run.status == 2
    assert "cannot be written" in run.err


def test_a_started_case_is_not_lost(tmp_path):
    target = tmp_path / "camp.toml"
    assert treatsim("new", "river", "--out", target).status == 0
    target.write_text("edited", "utf-8")
    run = treatsim("new", "river", "--out", target)
    assert (run.status, target.read_text("utf-8")) == (2, "edited")
    assert "is there already; name a new file" in run.err


def test_a_device_is_not_replaced():
    run = treatsim("sources", "--out", os.devnull)
    assert run.status == 2
    assert "no plain file" in run.err
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)


@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_without_permission(tmp_path):
    tmp_path.chmod(0o500)
    run = treatsim("solve", RIVER, "--out", tmp_path / "out.txt")
    tmp_path.chmod(0o700)
    assert run.status == 2
    assert "permission denied" in run.err


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_full_disk_leaves_the_old_file(tmp_path, monkeypatch, step):
    target = tmp_path / "out.txt"
    target.write_text("old")

    def full(*_args, **_kwargs):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    if step == "fsync":
        monkeypatch.setattr(files.os, "fsync", full)
    else:
        monkeypatch.setattr(files.Path, "replace", full)
    run = treatsim("solve", RIVER, "--out", target)
    assert run.status == 2
    assert "cannot be written: no space left on device" in run.err
    assert target.read_text() == "old"
    assert left(tmp_path) == ["out.txt"]


class Terminal:
    """A terminal that keeps what is written to it."""

    encoding = "utf-8"

    def __init__(self):
        self.text = ""

    def write(self, text):
        self.text += text

    def flush(self):
        pass

    def isatty(self):
        return True


def on_a_terminal(monkeypatch, **environment) -> str:
    from treatsim import cli

    monkeypatch.delenv("NO_COLOR", raising=False)
    for name, value in environment.items():
        monkeypatch.setenv(name, value)
    terminal = Terminal()
    monkeypatch.setattr(sys, "stdout", terminal)
    cli.main(["solve", str(RIVER)])
    return terminal.text


def test_colour_only_on_a_terminal(monkeypatch, tmp_path):
    assert "\x1b[" not in treatsim("solve", RIVER).out
    target = tmp_path / "x.txt"
    treatsim("solve", RIVER, "--out", target)
    assert "\x1b[" not in target.read_text("utf-8")
    assert "\x1b[" in on_a_terminal(monkeypatch)


def test_no_color_is_honoured(monkeypatch):
    assert "\x1b[" not in on_a_terminal(monkeypatch, NO_COLOR="1")


def test_a_pipe_forced_by_the_environment_stays_plain(monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "\x1b[" not in treatsim("solve", RIVER).out


LEGAL = {
    ("new", "river"): ".toml",
    ("solve", RIVER): ".txt or .json",
    ("find", RIVER, "--adjust", "lift_pump.speed"): ".txt or .json",
    ("sweep", RIVER, "--vary", "lift_pump.speed=70 %,80 %"): ".csv, .xlsx, .parquet or .json",
    ("compare", RIVER, RIVER): ".txt, .json or .csv",
    ("describe",): ".txt or .json",
    ("sources",): ".txt",
}


@pytest.mark.parametrize("command", LEGAL, ids=lambda words: words[0])
@pytest.mark.parametrize("name", ["x.pdf", "x"])
def test_an_unknown_suffix_is_refused_with_the_legal_ones(command, name, tmp_path):
    run = treatsim(*command, "--out", tmp_path / name)
    assert (run.status, run.out, left(tmp_path)) == (2, "", [])
    assert f"{name}: the name ends in {LEGAL[command]}" in run.err


def test_the_suffix_says_the_form(tmp_path):
    for name in ("river.json", "river.txt", "both.csv"):
        command = ("compare", RIVER, RIVER) if name == "both.csv" else ("solve", RIVER)
        assert treatsim(*command, "--out", tmp_path / name).status == 0
    assert json.loads((tmp_path / "river.json").read_text("utf-8"))["solved"]
    assert (tmp_path / "river.txt").read_text("utf-8") == treatsim("solve", RIVER).out
    rows = list(csv.reader((tmp_path / "both.csv").read_text("utf-8").splitlines()))
    assert {len(row) for row in rows} == {6}
    assert rows[0] == ["group", "name", "address", "unit", str(RIVER), str(RIVER)]
    flow = next(row for row in rows if row[2] == "product.flow")
    solved = json.loads((tmp_path / "river.json").read_text("utf-8"))["values"]["product.flow"]
    assert flow[3] == solved["unit"]
    assert float(flow[4]) == float(flow[5]) == pytest.approx(solved["value"], rel=1e-9)


def test_json_asked_for_twice_over_must_agree(tmp_path):
    run = treatsim("solve", RIVER, "--json", "--out", tmp_path / "x.txt")
    assert (run.status, left(tmp_path)) == (2, [])
    assert "--json writes a .json file" in run.err


def test_a_sweep_as_json(tmp_path):
    words = ("sweep", RIVER, "--vary", "lift_pump.speed=5 %,74 %", "--show", "uv.dose_credited")
    run = treatsim(*words, "--json")
    data = json.loads(run.out)
    heads = [column["address"] for column in data["columns"]]
    assert (heads[0], data["columns"][0]["unit"], data["inputs"]) == ("lift_pump.speed", "%", 1)
    low, high = (dict(zip(heads, row, strict=True)) for row in data["rows"])
    assert low["uv.dose_credited"] is None
    assert low["state"] == "no_answer"
    assert "nothing flows" in low["status"]
    solved = json.loads(treatsim("solve", RIVER, "--json").out)["values"]["uv.dose_credited"]
    assert high["uv.dose_credited"] == pytest.approx(solved["value"], rel=1e-8)
    treatsim(*words, "--out", tmp_path / "x.json")
    assert json.loads((tmp_path / "x.json").read_text("utf-8")) == data
