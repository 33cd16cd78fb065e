"""A case from standard input; one change for several cases; completion in a shell."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys

import argcomplete
import pytest
from command import RIVER, ROOT, treatsim

SEA = ROOT / "cases/sea.toml"


def given(monkeypatch, raw: bytes):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(raw), "utf-8"))


def test_a_case_from_standard_input(monkeypatch):
    given(monkeypatch, RIVER.read_bytes())
    data = json.loads(treatsim("solve", "-", "--json").out)
    assert data["case"] == "standard input"
    assert data["values"] == json.loads(treatsim("solve", RIVER, "--json").out)["values"]


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "standard input: water.kind is missing"),
        (b"title = 3\n", "standard input:1: title = 3"),
        (b"\xff\xfe", "standard input: byte 0 is no UTF-8 text"),
        (b"#" * 1_000_001, "standard input: this is no case file; at most 1 MB is read"),
    ],
)
def test_faults_of_standard_input(raw, words, monkeypatch):
    given(monkeypatch, raw)
    run = treatsim("solve", "-")
    assert (run.status, run.out) == (2, "")
    assert words in run.err


def test_a_case_from_standard_input_is_described_as_it_comes(monkeypatch):
    for title in ("first", "second"):
        raw = RIVER.read_text("utf-8").replace("Flood camp", title).encode()
        given(monkeypatch, raw)
        assert json.loads(treatsim("describe", "-", "--json").out)["about"].startswith(title)
    given(monkeypatch, RIVER.read_bytes())
    run = treatsim("describe", "-", "uv.dose_credited")
    assert run.status == 0, run.err
    assert "a result of standard input" in run.out


def test_no_standard_input(monkeypatch):
    monkeypatch.setattr(sys, "stdin", None)
    assert "standard input: nothing comes from there" in treatsim("solve", "-").err


def test_standard_input_is_one_case():
    run = treatsim("compare", "-", "-")
    assert run.status == 2
    assert "standard input holds one case: name - once" in run.err


def compared(*words) -> list[float]:
    run = treatsim("compare", RIVER, SEA, "--json", *words)
    assert run.status == 0, run.err
    rows = json.loads(run.out)["rows"]
    flows = next(row for row in rows if row["address"] == "product.flow")
    return [value["value"] for value in flows["values"]]


def test_a_change_applies_to_every_case_that_has_the_address():
    plain = compared()
    one = compared("--set", "lift_pump.speed=60 %")
    assert one[0] < plain[0]
    assert one[1] == plain[1]
    both = compared("--set", "water.temperature=15 degC")
    assert both[0] != plain[0]
    assert both[1] != plain[1]


def test_a_change_that_no_case_has():
    run = treatsim("compare", RIVER, SEA, "--set", "lift_pump.sped=60 %", "--set", "x.y=1 m")
    assert (run.status, run.out) == (2, "")
    assert '--set lift_pump.sped: no case has the address "lift_pump.sped"' in run.err
    assert '--set x.y: no case has the address "x.y"' in run.err


def test_a_change_that_is_wrong_is_told_with_its_case():
    run = treatsim("compare", RIVER, SEA, "--set", "lift_pump.speed=900 %")
    assert run.status == 2
    assert "units.lift_pump.speed" in run.err
    assert str(RIVER) in run.err


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        ("treatsim so", {"solve", "sources"}),
        ("treatsim solve case.toml --u", {"--units"}),
        ("treatsim solve case.toml --units ", {"si", "us"}),
        ("treatsim new la", {"lake"}),
        ("treatsim describe uv_", {"uv_reactor"}),
        (f"treatsim find {RIVER} --adjust lift_pump.sp", {"lift_pump.speed"}),
    ],
)
def test_a_shell_is_offered_what_may_come_next(typed, offered, tmp_path):
    told = tmp_path / "told"
    words = {"_ARGCOMPLETE": "1", "COMP_LINE": typed, "COMP_POINT": str(len(typed)),
             "_ARGCOMPLETE_IFS": "\n", "_ARGCOMPLETE_STDOUT_FILENAME": str(told),
             "PYTHONPATH": str(ROOT)}  # fmt: skip
    code = "from treatsim.cli import main; main()"
    subprocess.run([sys.executable, "-c", code], env=os.environ | words, timeout=60, check=True)
    assert {word.strip() for word in told.read_text("utf-8").split("\n")} == offered


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_has_its_script(shell):
    assert "treatsim" in argcomplete.shellcode(["treatsim"], shell=shell)
